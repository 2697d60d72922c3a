"""Mirror plane and mirror mates of vertices and faces."""

import numpy as np
import pytest
import solids
from foamwright.core.shell import Shell
from foamwright.core.symmetry import mirror_map
from hypothesis import given
from hypothesis import strategies as st

SYMMETRIC = [solids.box, solids.gridded_box, solids.icosahedron, solids.sphere, solids.torus, solids.saddle]


def _reflected(points, offset):
    return points * (-1, 1, 1) + (2 * offset, 0, 0)


@pytest.mark.parametrize("make", SYMMETRIC)
def test_every_element_of_a_symmetric_mesh_has_its_image(make):
    shell = Shell.build(*make())
    mirror = mirror_map(shell)
    assert (mirror.vertex >= 0).all()
    assert (mirror.face >= 0).all()
    assert np.allclose(shell.vertices[mirror.vertex], _reflected(shell.vertices, mirror.offset), atol=1e-2)
    assert np.array_equal(mirror.vertex[mirror.vertex], np.arange(len(shell.vertices)))
    assert np.array_equal(mirror.face[mirror.face], np.arange(shell.face_count))
    for face, image in enumerate(mirror.face):
        assert set(mirror.vertex[shell.face(face)]) == set(shell.face(image))


@given(st.floats(-500, 500), st.floats(-500, 500), st.floats(-3, 3), st.integers(0, 10_000))
def test_plane_is_found_after_a_shift_a_turn_about_x_and_a_shuffle(x, y, angle, seed):
    turn = np.array([[1, 0, 0], [0, np.cos(angle), -np.sin(angle)], [0, np.sin(angle), np.cos(angle)]])
    vertices, faces, _ = solids.reordered(solids.sphere(50, 12, 8), seed)
    mirror = mirror_map(Shell.build(vertices @ turn.T + (x, y, 0), faces))
    assert mirror is not None
    assert np.isclose(mirror.offset, x, atol=1e-6)
    assert (mirror.face >= 0).all()


def test_other_axes():
    shell = Shell.build(*solids.moved(solids.box(), (3, 7, 11)))
    assert [mirror_map(shell, axis).offset for axis in range(3)] == pytest.approx([3, 7, 11])


def test_one_sided_ornament_leaves_the_rest_symmetric():
    ornament = solids.moved(solids.box(20, 20, 20), (120, 0, 0))
    shell = Shell.build(*solids.together(solids.gridded_box(), ornament))
    mirror = mirror_map(shell)
    assert np.isclose(mirror.offset, 0, atol=1e-9)
    assert (mirror.face >= 0).sum() == 216
    assert (mirror.face[216:] == -1).all()


def test_slit_vertices_go_to_the_side_their_face_is_on():
    """Two sheets that meet at x = 30 without being joined, mirrored by two at x = -30."""
    outer = solids.moved(solids.flat_sheet(30, 60, 3, 6), (30, 0, 0))
    inner = solids.flat_sheet(60, 60, 6, 6)
    mesh = solids.together(outer, solids.moved(inner, (-30, 0, 0)), solids.moved(outer, (-90, 0, 0)))
    shell = Shell.build(*mesh)
    mirror = mirror_map(shell)
    assert (mirror.face >= 0).all()
    assert np.array_equal(mirror.vertex[mirror.vertex], np.arange(len(shell.vertices)))


def test_no_plane_in_a_potato():
    assert mirror_map(Shell.build(*solids.bumpy(splits=2))) is None


def test_one_per_cent_more_on_one_side_is_no_symmetry():
    vertices, faces = solids.gridded_box()
    bent = vertices.copy()
    bent[vertices[:, 0] > 0, 1] *= 1.01
    assert mirror_map(Shell.build(bent, faces)) is None
