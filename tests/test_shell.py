"""Shell topology and geometry, triangulation, and patches cut from a shell."""

import numpy as np
import pytest
import solids
from foamwright.core import triangulate
from foamwright.core.errors import MeshError
from foamwright.core.patch import cut_patch
from foamwright.core.pieces import split
from foamwright.core.shell import Shell
from hypothesis import given
from hypothesis import strategies as st

CLOSED = [*solids.PLATONIC, *solids.ARCHIMEDEAN, solids.box, solids.gridded_box, solids.sphere, solids.torus]
OPEN = [solids.flat_sheet, solids.cylinder_patch, solids.tube, solids.frustum_patch, solids.saddle, solids.sphere_cap]

# faces, edges, vertices: W. W. Rouse Ball, H. S. M. Coxeter, Mathematical Recreations and Essays (from memory)
COUNTS = {
    solids.tetrahedron: (4, 6, 4),
    solids.cube: (6, 12, 8),
    solids.octahedron: (8, 12, 6),
    solids.dodecahedron: (12, 30, 20),
    solids.icosahedron: (20, 30, 12),
    solids.cuboctahedron: (14, 24, 12),
    solids.truncated_octahedron: (14, 36, 24),
    solids.rhombicuboctahedron: (26, 48, 24),
    solids.icosidodecahedron: (32, 60, 30),
    solids.truncated_icosahedron: (32, 90, 60),
}

# dihedral angles in degrees: the shop table of bevels for regular solids, also arccos(1/3), 90, arccos(-1/3),
# arccos(-sqrt(5)/5), arccos(-sqrt(5)/3)
DIHEDRALS = {
    solids.tetrahedron: 70.528779,
    solids.cube: 90.0,
    solids.octahedron: 109.471221,
    solids.dodecahedron: 116.565051,
    solids.icosahedron: 138.189685,
}


@pytest.mark.parametrize("make", COUNTS)
def test_solids_have_the_published_counts_and_equal_edges(make):
    shell = Shell.build(*make(80.0))
    assert (shell.face_count, shell.edge_count, len(shell.vertices)) == COUNTS[make]
    assert np.allclose(shell.edge_length, 80.0)


@pytest.mark.parametrize("make", DIHEDRALS)
def test_bend_is_pi_less_the_dihedral_angle(make):
    shell = Shell.build(*make())
    assert np.allclose(180 - np.degrees(shell.edge_bend), DIHEDRALS[make], atol=1e-6)


def test_bend_is_negative_on_a_valley_and_zero_on_a_rim():
    vertices, faces = solids.box()
    inward = Shell.build(vertices, [face[::-1] for face in faces])
    assert np.allclose(inward.edge_bend, -np.pi / 2)
    assert not Shell.build(*solids.flat_sheet()).edge_bend.any()


@pytest.mark.parametrize("make", CLOSED)
def test_closed_meshes_face_outward_and_are_consistent(make):
    mesh = make()
    shell = Shell.build(*mesh)
    assert solids.volume(mesh) > 0
    assert shell.edge_is_consistent.all()
    assert not shell.edge_is_rim.any()
    assert np.allclose(shell.face_vector.sum(axis=0), 0, atol=1e-6)


@pytest.mark.parametrize("make", OPEN)
def test_open_meshes_have_rims(make):
    shell = Shell.build(*make())
    assert shell.edge_is_rim.any()
    assert (shell.edge_is_rim | shell.edge_is_consistent).all()


@pytest.mark.parametrize("make", CLOSED)
def test_edge_faces_walk_the_edge_from_its_smaller_vertex_first(make):
    shell = Shell.build(*make())
    for (low, high), (left, right) in zip(shell.edges.tolist(), shell.edge_faces.tolist(), strict=True):
        for face, start, end in ((left, low, high), (right, high, low)):
            ring = shell.face(face).tolist()
            assert ring[(ring.index(start) + 1) % len(ring)] == end


@given(st.integers(0, 10_000))
def test_numbering_does_not_change_the_shape(seed):
    mesh = solids.truncated_octahedron()
    vertices, faces, order = solids.reordered(mesh, seed)
    before, after = Shell.build(*mesh), Shell.build(vertices, faces)
    assert np.allclose(before.face_area[order], after.face_area)
    assert np.allclose(before.face_centre[order], after.face_centre)
    assert np.allclose(np.sort(before.edge_bend), np.sort(after.edge_bend))


def test_tagged_pairs_become_seams_and_folds_in_either_order():
    shell = Shell.build(*solids.flat_sheet(20, 20, 2, 2), seams=[(4, 1)], folds=[(4, 7), (3, 4)])
    assert shell.edges[shell.seam].tolist() == [[1, 4]]
    assert shell.edges[shell.fold].tolist() == [[3, 4], [4, 7]]


def test_with_seams_keeps_the_topology_and_leaves_the_first_alone():
    shell = Shell.build(*solids.cube())
    edges = shell.edges
    cut = shell.with_seams(np.ones(shell.edge_count, bool))
    assert cut.edges is edges
    assert cut.seam.all()
    assert not shell.seam.any()


@pytest.mark.parametrize(
    ("vertices", "faces", "words"),
    [
        ([], [], "no faces"),
        ([(0, 0, 0)], [], "no faces"),
        ([(0, 0, 0), (1, 0, 0), (np.nan, 1, 0)], [(0, 1, 2)], "vertex 2"),
        ([(0, 0, 0), (1, 0, 0), (0, np.inf, 0)], [(0, 1, 2)], "not a number"),
        ([(0, 0, 0), (1, 0, 0), (0, 1, 0)], [(0, 1)], "face 0"),
        ([(0, 0, 0), (1, 0, 0), (0, 1, 0)], [(0, 1, 1)], "three different corners"),
        ([(0, 0, 0), (1, 0, 0), (0, 1, 0)], [(0, 1, 3)], "does not exist"),
        ([(0, 0, 0), (1, 0, 0), (0, 1, 0)], [(0, 1, -1)], "does not exist"),
    ],
)
def test_unusable_meshes_are_refused_in_words(vertices, faces, words):
    with pytest.raises(MeshError, match=words):
        Shell.build(vertices, faces)


def test_a_seam_that_is_no_edge_is_refused():
    with pytest.raises(MeshError, match="not an edge"):
        Shell.build([(0, 0, 0), (1, 0, 0), (1, 1, 0), (0, 1, 0)], [(0, 1, 2, 3)], seams=[(0, 2)])


# --- triangles -------------------------------------------------------------------------------------


@pytest.mark.parametrize("make", CLOSED + OPEN)
def test_triangles_cover_the_faces_once(make):
    shell = Shell.build(*make())
    p = shell.vertices[shell.triangles]
    vector = np.cross(p[:, 1] - p[:, 0], p[:, 2] - p[:, 0]) / 2
    total = np.zeros((shell.face_count, 3))
    np.add.at(total, shell.triangle_face, vector)
    assert np.allclose(total, shell.face_vector)
    assert len(shell.triangles) == (np.diff(shell.face_start) - 2).sum()


@given(st.lists(st.floats(20, 100), min_size=5, max_size=14), st.integers(0, 10_000))
def test_any_star_shaped_polygon_is_clipped_without_overlap(radii, seed):
    angle = 2 * np.pi * np.arange(len(radii)) / len(radii)
    flat = np.stack([radii * np.cos(angle), radii * np.sin(angle), np.zeros(len(radii))], axis=1)
    turn = np.linalg.qr(np.random.default_rng(seed).normal(size=(3, 3)))[0]
    shell = Shell.build(flat @ turn.T, [list(range(len(radii)))])
    p = shell.vertices[shell.triangles]
    areas = np.cross(p[:, 1] - p[:, 0], p[:, 2] - p[:, 0]) @ shell.face_normal[0] / 2
    assert (areas > -1e-9).all()
    assert np.isclose(areas.sum(), shell.face_area[0])


def _spiral(turns, count):
    """A coiled strip of about `count` corners, too crooked to be seen from one point."""
    angle = np.linspace(0, 2 * np.pi * turns, count // 2)
    outer, inner = (np.stack([r * np.cos(angle), r * np.sin(angle)], axis=1) for r in (24 + 5 * angle, 20 + 5 * angle))
    return np.vstack([outer, inner[::-1]])


def _lobed(count):
    angle = 2 * np.pi * np.arange(count) / count
    return np.stack([np.cos(angle), np.sin(angle)], axis=1) * (90 + 10 * np.sin(9 * angle))[:, None]


def _jagged(count, seed):
    angle = 2 * np.pi * np.arange(count) / count
    radius = np.exp(np.random.default_rng(seed).normal(0, 0.6, count))
    return np.stack([radius * np.cos(angle), radius * np.sin(angle)], axis=1)


def _filled_once(polygon):
    """Whether a polygon (s, 2) comes apart into s - 2 upright triangles of its own area."""
    shell = Shell.build(np.column_stack([polygon, np.zeros(len(polygon))]), [np.arange(len(polygon))])
    a, b, c = polygon[shell.triangles].transpose(1, 0, 2)
    area = ((b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]) / 2
    x, y = polygon.T
    whole = (x * np.roll(y, -1) - np.roll(x, -1) * y).sum() / 2
    return len(area) == len(polygon) - 2 and (area > 0).all() and np.isclose(area.sum(), whole, rtol=1e-9)


@given(st.integers(5, 400), st.integers(0, 10_000))
def test_any_jagged_polygon_is_filled_once(count, seed):
    assert _filled_once(_jagged(count, seed))


@pytest.mark.parametrize(
    "polygon", [_lobed(2000), _spiral(1.5, 300), _spiral(12, 2000)], ids=["lobes", "coil", "coils"]
)
def test_a_polygon_of_many_corners_is_filled_once(polygon):
    assert _filled_once(polygon)


def test_a_polygon_with_a_slit_to_a_hole_is_filled_once():
    hole = [(30, 30), (30, 60), (60, 60), (60, 30), (30, 30)]
    assert _filled_once(np.array([(0, 0), (100, 0), (100, 100), (0, 100), (0, 0), *hole], float))


def test_work_on_a_polygon_grows_little_faster_than_its_corners(monkeypatch):
    looked_at = []
    turn = triangulate._turn
    monkeypatch.setattr(triangulate, "_turn", lambda a, b, c: looked_at.append(np.size(b - a)) or turn(a, b, c))

    def work(count):
        looked_at.clear()
        assert _filled_once(_lobed(count))
        return sum(looked_at)

    assert work(4000) < 4 * 1.7 * work(1000)


def test_faces_of_many_kinds_keep_their_own_triangles():
    sizes = [3, 70, 4, 6, 5, 6, 90, 4]
    rings = [_lobed(size) + np.array([250.0 * place, 0]) for place, size in enumerate(sizes)]
    shell = Shell.build(
        np.column_stack([np.vstack(rings), np.zeros(sum(sizes))]),
        np.split(np.arange(sum(sizes)), np.cumsum(sizes)[:-1]),
    )
    assert [np.sum(shell.triangle_face == face) for face in range(len(sizes))] == [size - 2 for size in sizes]
    corners = shell.corner_face[np.searchsorted(shell.corner_vertex, shell.triangles)]
    assert (corners == shell.triangle_face[:, None]).all()


def test_a_dented_quad_is_split_inside():
    shell = Shell.build([(0, 0, 0), (10, 0, 0), (1, 1, 0), (0, 10, 0)], [(0, 1, 2, 3)])
    p = shell.vertices[shell.triangles]
    assert (np.cross(p[:, 1] - p[:, 0], p[:, 2] - p[:, 0])[:, 2] > 0).all()


# --- patches ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("make", OPEN)
def test_patch_of_an_open_shell_is_the_shell(make):
    shell = Shell.build(*make())
    patch = cut_patch(shell, np.arange(shell.face_count))
    assert np.array_equal(patch.shell_vertex, np.arange(len(shell.vertices)))
    assert np.array_equal(patch.triangles, shell.triangles)
    assert sum(map(len, patch.loops)) == shell.edge_is_rim.sum()


@pytest.mark.parametrize("make", OPEN)
def test_rims_keep_the_patch_on_their_left(make):
    shell = Shell.build(*make())
    patch = cut_patch(shell, np.arange(shell.face_count))
    walked = {(int(a), int(b)) for t in patch.triangles for a, b in zip(t, np.roll(t, -1), strict=True)}
    for loop, edges in zip(patch.loops, patch.loop_edges, strict=True):
        for a, b, edge in zip(loop, np.roll(loop, -1), edges, strict=True):
            assert (int(a), int(b)) in walked
            assert set(patch.shell_vertex[[a, b]]) == set(shell.edges[edge])


def test_a_slit_has_two_sides():
    sheet = Shell.build(*solids.flat_sheet(60, 40, 6, 4))
    column = [(3 + 7 * row, 3 + 7 * (row + 1)) for row in range(2)]
    slit = Shell.build(sheet.vertices, sheet.faces, seams=column)
    patch = cut_patch(slit, np.arange(slit.face_count))
    assert patch.vertex_count == len(slit.vertices) + 2
    assert len(patch.loops) == 1
    assert sum(np.isin(patch.loop_edges[0], np.flatnonzero(slit.seam))) == 4


def test_a_seam_of_one_edge_inside_opens_nothing():
    sheet = Shell.build(*solids.flat_sheet(60, 40, 6, 4), seams=[(9, 10)])
    patch = cut_patch(sheet, np.arange(sheet.face_count))
    assert len(patch.loops) == 1
    assert patch.vertex_count == len(sheet.vertices)


def test_a_pinch_is_cut_in_two():
    """Two faces that touch at a vertex only: the patch gives each a vertex of its own."""
    shell = Shell.build(
        [(0, 0, 0), (10, 0, 0), (0, 10, 0), (-10, 0, 0), (0, -10, 0)],
        [(0, 1, 2), (0, 3, 4)],
    )
    patch = cut_patch(shell, np.arange(2))
    assert patch.vertex_count == 6
    assert len(patch.loops) == 2


@given(st.integers(0, 10_000))
def test_no_rim_passes_a_vertex_twice(seed):
    """Whatever hangs together: faces that cross, turn against each other or share an edge by threes."""
    rng = np.random.default_rng(seed)
    faces = np.array([rng.permutation(7)[:3] for _ in range(rng.integers(2, 20))])
    shell = Shell.build(rng.random((7, 3)), faces)
    patch = cut_patch(shell, np.arange(len(faces)), rng.random(shell.edge_count) < 0.2)
    on_rims = np.concatenate([np.empty(0, int), *patch.loops])
    assert len(np.unique(on_rims)) == len(on_rims)
    sides = np.stack([patch.triangles.ravel(), np.roll(patch.triangles, -1, axis=1).ravel()], axis=1)
    assert len(np.unique(sides, axis=0)) == len(sides)


@given(st.integers(0, 10_000))
def test_seams_of_a_patch_may_be_others_than_those_of_the_shell(seed):
    shell = Shell.build(*solids.bumpy(splits=1))
    rng = np.random.default_rng(seed)
    seam, faces = rng.random(shell.edge_count) < 0.3, rng.permutation(shell.face_count)[:40]
    patch, same = cut_patch(shell, faces, seam), cut_patch(shell.with_seams(seam), np.sort(faces))
    assert np.array_equal(patch.shell_vertex, same.shell_vertex)
    assert np.array_equal(patch.triangles, same.triangles)
    assert all(map(np.array_equal, patch.loop_edges, same.loop_edges))


@given(st.integers(0, 10_000))
def test_euler_characteristic_of_any_cut_sphere_counts_its_parts(seed):
    """Each patch that random seams cut from a sphere has V - E + F = 2 - rims."""
    shell = Shell.build(*solids.icosphere(50, 1))
    shell = shell.with_seams(np.random.default_rng(seed).random(shell.edge_count) < 0.5)
    label = split(shell)
    for piece in range(label.max() + 1):
        patch = cut_patch(shell, np.flatnonzero(label == piece))
        sides = len(patch.triangles) * 3
        on_rims = sum(map(len, patch.loops))
        edges = (sides - on_rims) // 2 + on_rims
        assert patch.vertex_count - edges + len(patch.triangles) == 2 - len(patch.loops)
