"""Seams from marks and sharp edges, and the completion of unprepared shells."""

import numpy as np
import pytest
import solids
from foamwright.core.errors import SettingsError
from foamwright.core.pieces import cut_pieces, split
from foamwright.core.progress import Progress, finish
from foamwright.core.seams import complete_seams, seams_from
from foamwright.core.settings import Settings
from foamwright.core.shell import Shell


def _two_spheres():
    return solids.together(solids.sphere(40), solids.moved(solids.sphere(60), (150, 0, 0)))


def _knobbly_ring():
    vertices, faces = solids.torus(80, 30, 48, 24)
    x, y, z = vertices.T
    return vertices * (1 + 0.1 * np.sin(x / 15) * np.cos(y / 11) * np.cos(z / 9))[:, None], faces


UNPREPARED = [
    solids.cube,
    solids.gridded_box,
    solids.dodecahedron,
    solids.sphere,
    solids.torus,
    _knobbly_ring,
    solids.bumpy,
    solids.tube,
    _two_spheres,
]


def _all_in_one_cone(shell, faces, limit):
    mean = shell.face_vector[faces].sum(axis=0)
    cosine = shell.face_normal[faces] @ (mean / np.linalg.norm(mean))
    area = shell.face_area[faces]
    return area[cosine >= np.cos(limit)].sum() >= 0.95 * area.sum()


# --- where seams come from -------------------------------------------------------------------------


def test_sources():
    shell = Shell.build(*solids.gridded_box(100, 100, 100, 2))
    marked = shell.with_seams(np.arange(shell.edge_count) == np.argmin(np.abs(shell.edge_bend)))
    sharp = np.isclose(shell.edge_bend, np.pi / 2)
    assert np.array_equal(seams_from(marked, "stored").seam, marked.seam)
    assert np.array_equal(seams_from(marked, "sharp").seam, sharp)
    assert np.array_equal(seams_from(marked, "all").seam, sharp | marked.seam)
    assert not seams_from(marked, "sharp", 95).seam.any()


def test_valleys_are_sharp_too():
    vertices, faces = solids.cube()
    assert seams_from(Shell.build(vertices, [face[::-1] for face in faces]), "sharp").seam.all()


def test_unknown_source_is_refused():
    with pytest.raises(SettingsError, match=r"'guess'.*stored, sharp, all"):
        seams_from(Shell.build(*solids.cube()), "guess")


# --- completion ------------------------------------------------------------------------------------


@pytest.mark.parametrize("make", UNPREPARED)
def test_completed_shells_can_be_cut(make):
    shell = Shell.build(*make())
    done = finish(complete_seams(shell))
    pieces, _ = cut_pieces(done, Settings())  # raises MissingCutError where a cut is missing
    assert len(pieces) < shell.face_count
    assert not (done.seam & ~shell.edge_is_consistent).any()


@pytest.mark.parametrize("make", [solids.sphere, _knobbly_ring, solids.bumpy])
def test_completed_pieces_look_one_way(make):
    shell = Shell.build(*make())
    pieces, _ = cut_pieces(finish(complete_seams(shell)), Settings())
    assert all(_all_in_one_cone(shell, piece.faces, 1.4 * np.radians(50)) for piece in pieces)
    # the wider cone is for what a tiny fragment was joined to
    strict = [piece for piece in pieces if _all_in_one_cone(shell, piece.faces, np.radians(50))]
    assert sum(shell.face_area[piece.faces].sum() for piece in strict) > 0.7 * shell.face_area.sum()


@pytest.mark.parametrize("make", [solids.sphere, solids.bumpy])
def test_a_tighter_limit_gives_more_pieces(make):
    shell = Shell.build(*make())
    wide, tight = (split(finish(complete_seams(shell, np.radians(limit)))).max() for limit in (60, 25))
    assert wide < tight


def test_pieces_that_are_fine_stay_as_they_are():
    for make in (solids.flat_sheet, solids.cylinder_patch, solids.frustum_patch, solids.saddle):
        shell = Shell.build(*make())
        assert not finish(complete_seams(shell)).seam.any()
    cap = Shell.build(*solids.sphere_cap(100, np.radians(45)))
    assert not finish(complete_seams(cap)).seam.any()


def test_seams_of_the_maker_are_kept():
    shell = Shell.build(*solids.bumpy())
    marked = shell.with_seams(shell.vertices[shell.edges][:, :, 2].prod(axis=1) < 0)
    done = finish(complete_seams(marked))
    assert done.seam[marked.seam].all()
    assert done.seam.sum() > marked.seam.sum()


def test_a_box_is_cut_along_its_edges():
    """Without curvature inside the sides, seams belong on the edges."""
    shell = Shell.build(*solids.triangulated(solids.gridded_box(100, 80, 60, 5)))
    done = finish(complete_seams(shell))
    assert np.allclose(np.abs(done.edge_bend[done.seam]), np.pi / 2)


def test_a_tube_off_the_mirror_plane_is_slit_once():
    vertices, faces = solids.tube(50, 80, 16, 4)
    shell = Shell.build(vertices @ _turn_z(0.1).T, faces)
    done = finish(complete_seams(shell))
    assert split(done).max() == 0
    assert done.edge_length[done.seam].sum() == pytest.approx(80)


@pytest.mark.parametrize(("height", "slit"), [(5, False), (15, True)])
def test_a_ring_is_slit_where_it_is_a_funnel(height, slit):
    """sin(b) of the half-apex angle b is 0.97 and 0.8: laid flat whole, the rims would differ by 3 and 25 %."""
    vertices, faces = solids.funnel(50, 30, height)
    done = finish(complete_seams(Shell.build(vertices @ _turn_z(0.01).T, faces)))
    assert done.edge_length[done.seam].sum() == pytest.approx(np.hypot(20, height) if slit else 0)


def _turn_z(angle):
    return np.array([[np.cos(angle), -np.sin(angle), 0], [np.sin(angle), np.cos(angle), 0], [0, 0, 1]])


def test_no_limit_only_opens_what_is_closed():
    shell = Shell.build(*solids.bumpy())
    done = finish(complete_seams(shell, np.inf))
    assert split(done).max() == 0
    cut_pieces(done, Settings())


@pytest.mark.parametrize("make", [solids.sphere, solids.torus, solids.gridded_box])
def test_symmetric_shells_are_cut_symmetrically(make):
    done = finish(complete_seams(Shell.build(*make())))
    middle = done.vertices[done.edges].mean(axis=1)[done.seam].round(5) + 0.0
    assert {tuple(p) for p in middle} == {tuple(p) for p in (middle * (-1, 1, 1)) + 0.0}


def test_same_input_gives_same_seams():
    mesh = solids.bumpy()
    assert np.array_equal(*(finish(complete_seams(Shell.build(*mesh))).seam for _ in range(2)))


def test_progress_is_reported_and_the_work_can_stop():
    steps = complete_seams(Shell.build(*solids.bumpy()))
    reports = [next(steps) for _ in range(5)]
    assert all(isinstance(report, Progress) and 0 <= report.part <= 1 for report in reports)
    steps.close()


def test_noise_does_not_shatter_a_scan():
    """A sphere with every vertex shaken by a tenth of its edge keeps to about the pieces of a smooth one."""
    vertices, faces = solids.icosphere(100, 4)
    noise = np.random.default_rng(1).normal(0, 0.07 * 100 / 16, vertices.shape)
    smooth, rough = (
        split(finish(complete_seams(Shell.build(points, faces)))).max() + 1 for points in (vertices, vertices + noise)
    )
    assert rough <= 2 * smooth
