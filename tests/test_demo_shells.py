"""The demo's shells: well formed, mirrored to the bit, wearable, and buildable from flat foam."""

from collections import Counter

import numpy as np
import pytest
from beetle_sentry import ACTORS, DemoShell, forearm_guard, helmet, shoulder_plate
from foamwright.core.crossing import crossing_triangles
from foamwright.core.flatten import flatten_pieces
from foamwright.core.foam import eva
from foamwright.core.folds import find_folds
from foamwright.core.patch import cut_patch
from foamwright.core.pieces import cut_pieces, split
from foamwright.core.progress import finish
from foamwright.core.settings import PieceChoice, Settings
from foamwright.core.shell import Shell
from foamwright.core.unfold import unfold
from hypothesis import given
from hypothesis import strategies as st
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import ConvexHull, KDTree
from shell_maker import ShellMaker, rail, span

HELMETS = [helmet(actor) for actor in ACTORS]
SHELLS = [*HELMETS, shoulder_plate(), forearm_guard()]
FOAM_MM = 5.0

every_shell = pytest.mark.parametrize("demo", SHELLS, ids=lambda demo: demo.name)
every_helmet = pytest.mark.parametrize(
    ("actor", "demo"), list(zip(ACTORS, HELMETS, strict=True)), ids=[a.name for a in ACTORS]
)


def built(demo: DemoShell) -> Shell:
    return Shell.build(demo.vertices, demo.faces, demo.seams, demo.folds, demo.name)


def other_side(piece: str) -> str:
    return {" L": piece[:-1] + "R", " R": piece[:-1] + "L"}.get(piece[-2:], piece)


def mirror_numbers(demo: DemoShell) -> list[int]:
    place = {tuple(point): index for index, point in enumerate(demo.vertices.tolist())}
    return [place[(-x + 0.0, y, z)] for x, y, z in demo.vertices.tolist()]


# --- shape of the mesh ---------------------------------------------------------------------------


@every_shell
def test_mirrors_itself_to_the_bit_with_left_on_the_wearers_left(demo: DemoShell) -> None:
    mirror = mirror_numbers(demo)
    faces = Counter((frozenset(face), piece) for face, piece in zip(demo.faces, demo.face_names, strict=True))
    mirrored = Counter(
        (frozenset(mirror[v] for v in face), other_side(piece))
        for face, piece in zip(demo.faces, demo.face_names, strict=True)
    )
    assert faces == mirrored
    for tags in (demo.seams, demo.folds):
        assert set(tags) == {tuple(sorted((mirror[a], mirror[b]))) for a, b in tags}
    for face, piece in zip(demo.faces, demo.face_names, strict=True):
        side = {" L": 1, " R": -1}.get(piece[-2:], 0)
        assert side * demo.vertices[list(face), 0].mean() >= 0


@every_shell
def test_face_count_and_clean_flow(demo: DemoShell) -> None:
    low, high = (1500, 4000) if demo in HELMETS else (200, 900)
    assert low <= len(demo.faces) <= high
    quads = sum(len(face) == 4 for face in demo.faces)
    assert quads / len(demo.faces) > 0.95
    shell = built(demo)
    assert shell.face_area.min() > 1.0
    assert shell.edge_length.min() > 1.0


@every_shell
def test_is_an_oriented_surface_that_nowhere_crosses_itself(demo: DemoShell) -> None:
    shell = built(demo)
    assert shell.edge_face_count.max() == 2
    assert (shell.edge_is_consistent | shell.edge_is_rim).all()
    assert not len(finish(crossing_triangles(shell.vertices, shell.triangles)))
    assert len(np.unique(shell.vertices, axis=0)) == len(shell.vertices)
    assert len(np.unique(shell.corner_vertex)) == len(shell.vertices)


@every_shell
def test_faces_look_outside(demo: DemoShell) -> None:
    shell = built(demo)
    # every shell wraps the upright line from the origin down: middle of the head, shoulder, arm
    away = shell.face_centre.copy()
    away[:, 2] = np.maximum(away[:, 2], 0)
    outward = np.einsum("ij,ij->i", shell.face_vector, away)
    for piece in set(demo.face_names):
        assert outward[np.array(demo.face_names) == piece].sum() > 0, piece


@every_shell
def test_builds_the_same_twice(demo: DemoShell) -> None:
    again = {one.name: one for one in [*map(helmet, ACTORS), shoulder_plate(), forearm_guard()]}[demo.name]
    assert again.vertices.tobytes() == demo.vertices.tobytes()
    assert (again.faces, again.seams, again.folds) == (demo.faces, demo.seams, demo.folds)
    assert (again.face_names, again.stock_mm, again.groups) == (demo.face_names, demo.stock_mm, demo.groups)


# --- pieces --------------------------------------------------------------------------------------


@every_shell
def test_seams_part_exactly_the_named_pieces(demo: DemoShell) -> None:
    piece_of_face = split(built(demo))
    pairs = set(zip(piece_of_face.tolist(), demo.face_names, strict=True))
    assert len(pairs) == piece_of_face.max() + 1 == len(set(demo.face_names))
    assert set(demo.groups) == set(demo.face_names) >= set(demo.stock_mm)


@every_shell
def test_folds_lie_inside_a_piece(demo: DemoShell) -> None:
    shell = built(demo)
    names = np.array(demo.face_names)
    left, right = shell.edge_faces[shell.fold].T
    assert len(left)
    assert (names[left] == names[right]).all()
    assert not (shell.fold & shell.seam).any()


@every_shell
def test_every_piece_is_a_disc_but_the_ear_rings_with_their_hole(demo: DemoShell) -> None:
    shell = built(demo)
    names = np.array(demo.face_names)
    for piece in set(demo.face_names):
        patch = cut_patch(shell, np.flatnonzero(names == piece))
        edges = (3 * len(patch.triangles) + sum(map(len, patch.loops))) // 2
        rims = 2 if piece.startswith("ear ring") else 1
        assert len(patch.loops) == rims, piece
        # Euler: v - e + f = 2 - rims for a sphere with as many holes
        assert patch.vertex_count - edges + len(patch.triangles) == 2 - rims, piece


@every_shell
def test_pieces_lie_flat_with_modest_strain_and_mates_are_found(demo: DemoShell) -> None:
    shell = built(demo)
    settings = Settings(pieces={name: PieceChoice(stock=eva(t)) for name, t in demo.stock_mm.items()})
    pieces, _ = cut_pieces(shell, settings, demo.face_names)
    steps = flatten_pieces(shell, pieces, [find_folds(shell, piece, settings) for piece in pieces], settings)
    while True:
        try:
            next(steps)
        except StopIteration as end:
            flats = end.value
            break
    strain = {piece.name: np.abs(flat.stretch - 1).max() for piece, flat in zip(pieces, flats, strict=True)}
    assert max(strain.values()) < 0.07
    assert np.mean(np.array(list(strain.values())) < 0.05) > 0.85
    for piece in pieces:
        assert piece.mate == (other_side(piece.name) if piece.name[-2:] in (" L", " R") else None)
    # nothing too narrow to cut and glue: the mean width of a strip of its own length is over 15 mm
    for piece in pieces:
        width = shell.face_area[piece.faces].sum() / (np.ptp(shell.vertices[piece.patch.shell_vertex], axis=0).max())
        assert width > 15, piece.name


# --- the helmet on its head ------------------------------------------------------------------------


@every_helmet
def test_head_fits_inside_with_clearance(actor, demo: DemoShell) -> None:
    """The head as half an ellipsoid on an upright elliptic tube down to below the ears."""
    widest = 0.3 * actor.ear_to_top
    turn, tilt = np.meshgrid(np.linspace(0, 2 * np.pi, 240), np.linspace(0, np.pi / 2, 60))
    half = np.array([actor.breadth / 2, actor.length / 2, actor.ear_to_top - widest])
    skull = half * np.stack([np.cos(turn) * np.cos(tilt), np.sin(turn) * np.cos(tilt), np.sin(tilt)], axis=-1)
    skull = skull.reshape(-1, 3) + np.array([0, 0, widest])
    below = [skull[:240] - [0, 0, depth] for depth in np.arange(4, widest + 40, 4)]
    head = KDTree(np.concatenate([skull, *below]))
    gap, _ = head.query(demo.vertices[demo.vertices[:, 2] > -40])
    assert gap.min() > FOAM_MM + 12
    assert np.median(gap) < FOAM_MM + 30


@every_helmet
def test_tape_round_the_head_is_shorter_than_round_the_inside(actor, demo: DemoShell) -> None:
    level = 0.3 * actor.ear_to_top
    shell = built(demo)
    joined = split(shell)
    ears = [n for n, piece in zip(joined, demo.face_names, strict=True) if piece.startswith("ear")]
    low, high = (shell.vertices[shell.edges[:, i]] for i in (0, 1))
    above = low[:, 2] > level
    through = above != (high[:, 2] > level)
    through &= ~np.isin(joined[shell.edge_faces[:, 0]], ears)
    t = ((level - low[through, 2]) / (high[through, 2] - low[through, 2]))[:, None]
    slice_points = (low[through] + t * (high[through] - low[through]))[:, :2]
    outside = ConvexHull(slice_points).area
    # a convex line moved in by t is shorter by 2 pi t (Steiner's formula)
    inside = outside - 2 * np.pi * FOAM_MM
    assert inside > actor.circumference + 2 * np.pi * 10


def test_three_actors_three_sizes() -> None:
    """Sizes grow with the head, and the invented heads are plausible.

    Circumference from length and breadth: regressions on a public survey of 4,082 men and 1,986 women
    (ANSUR II, NATICK/TR-15/007, 2014), men 44.0 + 1.711 L + 1.225 B, SD 6.2; women 35.3 + 1.771 L +
    1.283 B, SD 10.9.
    """
    order = np.argsort([actor.circumference for actor in ACTORS])
    sizes = np.array([np.ptp(HELMETS[i].vertices, axis=0) for i in order])
    assert (np.diff(sizes, axis=0) > 3).all()
    for actor in ACTORS:
        man = 44.0 + 1.711 * actor.length + 1.225 * actor.breadth
        woman = 35.3 + 1.771 * actor.length + 1.283 * actor.breadth
        assert abs(actor.circumference - man) < 2 * 6.2 or abs(actor.circumference - woman) < 2 * 10.9


@every_helmet
def test_ear_rings_stand_proud_by_their_stock_and_bosses_by_a_layer_more(actor, demo: DemoShell) -> None:
    names = np.array(demo.face_names)
    shell = built(demo)
    assert demo.stock_mm == dict.fromkeys(("ear boss L", "ear boss R", "ear ring L", "ear ring R"), 8.0)
    side = np.flatnonzero(names == "side L")
    for piece, proud in (("ear ring L", 8.0), ("ear boss L", 8.0 + FOAM_MM)):
        centres = shell.face_centre[names == piece]
        nearest = side[np.argmin(np.linalg.norm(centres[:, None] - shell.face_centre[side], axis=2), axis=1)]
        height = np.einsum("ij,ij->i", centres - shell.face_centre[nearest], shell.face_normal[nearest])
        np.testing.assert_allclose(height, proud, atol=0.8)


def test_one_layer_of_the_shells_own_foam_goes_under_each_boss_and_no_other_piece() -> None:
    demo = HELMETS[0]
    choices = {name: PieceChoice(stock=eva(t)) for name, t in demo.stock_mm.items()}
    settings = Settings(stock=eva(FOAM_MM), pieces=choices, cut_layers=True, nest_seconds=1)
    pattern = finish(unfold(built(demo), settings, demo.face_names))
    stacks = {layer.layer_of: layer.stock.thickness_mm for layer in pattern.layers}
    assert stacks == {"ear boss L": FOAM_MM, "ear boss R": FOAM_MM}
    assert len(pattern.layers) == 2


@every_helmet
def test_visor_is_a_real_hole_with_room_for_both_eyes(actor, demo: DemoShell) -> None:
    """No face in front of either eye: half the distance between pupils is about 32 mm (common practice)."""
    shell = built(demo)
    corner = shell.vertices[shell.triangles]
    corner = corner[corner[:, :, 1].max(axis=1) < 0][:, :, [0, 2]]
    eye_level = 0.12 * actor.ear_to_top
    for sight in ([32.0, eye_level], [-32.0, eye_level], [0.0, eye_level]):
        a, b, c = (corner[:, i] - sight for i in range(3))
        turns = np.stack([p[:, 0] * q[:, 1] - p[:, 1] * q[:, 0] for p, q in ((a, b), (b, c), (c, a))], axis=1)
        assert not ((turns >= 0).all(axis=1) | (turns <= 0).all(axis=1)).any()
    # rims: the visor, the lower edge, two of each ear ring, one of each boss
    rim = shell.edges[shell.edge_is_rim]
    graph = coo_array((np.ones(len(rim)), rim.T), shape=(len(shell.vertices),) * 2)
    _, loop = connected_components(graph, directed=False)
    assert len(np.unique(loop[rim])) == 8


def test_hard_edges_call_for_mitres() -> None:
    shell = built(HELMETS[0])
    bend = np.degrees(np.abs(shell.edge_bend[shell.seam]))
    length = shell.edge_length[shell.seam]
    assert length[(bend > 20) & (bend < 60)].sum() / length.sum() > 0.4
    assert bend.max() < 75


# --- the tools -------------------------------------------------------------------------------------

coordinate = st.floats(-100, 100)


@given(st.lists(st.tuples(coordinate, coordinate, coordinate), min_size=2, max_size=6), st.integers(1, 4))
def test_rail_passes_through_its_control_points(points: list, count: int) -> None:
    points = [(x, y, z + 250 * i) for i, (x, y, z) in enumerate(points)]
    line = rail(points, [count] * (len(points) - 1))
    np.testing.assert_allclose(line[::count], points, atol=1e-9)


def test_rail_draws_a_circle_and_meets_the_mirror_plane_square() -> None:
    angle = np.radians([0, 30, 60, 90])
    circle = np.column_stack([50 * np.sin(angle), -50 * np.cos(angle), 0 * angle])
    line = rail(circle, (40, 40, 40), smooth_start=True)
    # a natural end has no curvature, so it is the smooth end that follows the circle
    np.testing.assert_allclose(np.linalg.norm(line[:40], axis=1), 50, rtol=2e-3)
    step = line[1] - line[0]
    assert abs(step[1] / step[0]) < 0.02


def test_span_keeps_its_rails_and_rises_by_its_bulge() -> None:
    a = np.array([[10.0, y, 40.0] for y in range(5)])
    b = np.array([[40.0, y, 10.0] for y in range(5)])
    grid = span(a, b, 4, 0.1, (0, 2, 0))
    np.testing.assert_array_equal(grid[:, 0], a)
    np.testing.assert_array_equal(grid[:, -1], b)
    chord = np.sqrt(1800)
    np.testing.assert_allclose(grid[2, 2], [25 + 0.1 * chord / np.sqrt(2), 2, 25 + 0.1 * chord / np.sqrt(2)])


def test_maker_welds_the_halves_and_cuts_where_the_piece_changes() -> None:
    x, z = np.meshgrid([0.0, 10.0, 20.0], [0.0, 10.0], indexing="ij")
    grid = np.stack([x, 0 * x, -z], axis=-1)
    maker = ShellMaker()
    maker.block(grid[:2], "front")
    maker.block(grid[1:], "cheek L")
    maker.fold(grid[0])
    demo = maker.finish("try", {"cheek": 8.0}, {"front": "face", "cheek": "face"})
    assert len(demo.vertices) == 10
    assert sorted(set(demo.face_names)) == ["cheek L", "cheek R", "front"]
    assert demo.stock_mm == {"cheek L": 8.0, "cheek R": 8.0}
    shell = built(demo)
    np.testing.assert_allclose(shell.face_normal, [[0, -1, 0]] * 4)
    assert (np.abs(shell.vertices[shell.edges[shell.seam]][:, :, 0]) == 10).all()
    assert (shell.vertices[shell.edges[shell.fold]][:, :, 0] == 0).all()
    assert (shell.seam.sum(), shell.fold.sum()) == (2, 1)
