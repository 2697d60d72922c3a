"""Bends tighter than the foam allows, and the kerfs that relieve them."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
import shapely
import solids
from foamwright.core.flatten import flatten_pieces
from foamwright.core.foam import Stock
from foamwright.core.folds import find_folds, opening
from foamwright.core.kerf_lines import with_kerfs
from foamwright.core.pieces import cut_pieces
from foamwright.core.progress import finish
from foamwright.core.settings import PieceChoice, Settings
from foamwright.core.shell import Shell
from foamwright.core.tight_bends import find_tight_bends, kerf_closing, kerf_count
from shapely import LineString, Polygon

FOAM = Stock("foam", 10.0, skin_mm=2.0, tightest_bend=3.0, kerf_mm=2.0)
PLAIN = Settings(stock=FOAM)


def _bends(mesh, settings: Settings = PLAIN):
    shell = Shell.build(*mesh)
    (piece,), _ = cut_pieces(shell, settings)
    return shell, piece, find_tight_bends(shell, piece, find_folds(shell, piece, settings), settings)


def _bent_panel(radius: float, angle: float, wing: float = 60.0, steps: int = 12, valley: bool = False):
    """Two flat wings joined by a round bend about the y axis, its outside radius given (inside for a valley)."""
    turn = np.linspace(0, angle, steps + 1)
    x, z = radius * np.sin(turn), radius * np.cos(turn) - radius
    way = np.array([np.cos(angle), -np.sin(angle)])
    profile = np.vstack([(-wing, 0), np.stack([x, z], axis=1), np.array([x[-1], z[-1]]) + wing * way])
    if valley:
        profile[:, 1] *= -1
    y = np.linspace(0, 80, 5)
    points = np.stack([np.tile(profile[:, 0], (5, 1)), np.tile(y[:, None], (1, len(profile))),
                       np.tile(profile[:, 1], (5, 1))], axis=-1)  # fmt: skip
    return solids.grid(points)


# --- kerf bending ------------------------------------------------------------------------------


def test_kerf_of_2_by_8():
    """k 2, d 8: 14.250 degrees exact, 14.324 by k / d; 90 degrees take 7 kerfs either way (computed)."""
    assert np.degrees(kerf_closing(2.0, 8.0)) == pytest.approx(14.250, abs=5e-4)
    assert kerf_count(np.pi / 2, 2.0, 8.0) == 7


def test_kerf_calculator_page():
    """A public kerf calculator: 3/4 in panel, 90 degrees, inside radius 6 in, kerf 1/8, web 1/8 in: the inside
    shortens by 1.0799 in, which 9 kerfs close. It turns each kerf about the middle of the web, not about its
    root: that is the same triangle with half a web more depth."""
    thickness, web, kerf = 0.75, 0.125, 0.125
    assert np.pi / 2 * (thickness - web / 2) == pytest.approx(1.0799, abs=1e-4)
    assert kerf_count(np.pi / 2, kerf, thickness - web / 2) == 9


def test_kerfs_close_the_bend_and_no_fewer_would():
    for bend in np.radians([10, 45, 90, 135]):
        for kerf, depth in ((1.0, 4.0), (2.0, 8.0), (3.0, 3.0)):
            count = kerf_count(bend, kerf, depth)
            assert count * kerf_closing(kerf, depth) >= bend - 1e-9
            assert (count - 1) * kerf_closing(kerf, depth) < bend


# --- finding tight bends -----------------------------------------------------------------------


@pytest.mark.parametrize("angle", np.radians([45, 90, 120]))
def test_a_tight_ridge_is_found_and_measured(angle):
    shell, _, (bend,) = _bends(_bent_panel(35.0, angle))
    # the polygon of 12 chords turns by 11/12 between its inner edges, and by halves at both ends
    assert bend.bend_deg == pytest.approx(np.degrees(angle), rel=0.02)
    assert bend.radius_mm == pytest.approx(25.0, rel=0.08)
    assert bend.treatment == "heat-form"
    assert bend.count == 0
    x = shell.vertices[shell.edges[bend.edges]][:, :, 0]
    assert x.min() > -1e-9


def test_a_wide_bend_is_none():
    assert _bends(_bent_panel(45.0, np.pi / 2))[2] == ()


def test_a_valley_is_judged_by_the_modelled_face():
    """Its inside radius is that of the outside face: 35 mm is wide enough, 25 mm is not."""
    assert _bends(_bent_panel(35.0, np.pi / 2, valley=True))[2] == ()
    (bend,) = _bends(_bent_panel(25.0, np.pi / 2, valley=True))[2]
    assert bend.bend_deg == pytest.approx(-90, rel=0.02)
    assert bend.radius_mm == pytest.approx(25.0, rel=0.1)
    assert (bend.treatment, bend.count) == ("heat-form", 0)


def test_triangulating_a_mesh_changes_no_bend():
    mesh = _bent_panel(35.0, np.pi / 2)
    (plain,), (cut,) = _bends(mesh)[2], _bends(solids.triangulated(mesh))[2]
    assert cut.bend_deg == pytest.approx(plain.bend_deg)
    assert cut.arc_mm == pytest.approx(plain.arc_mm)
    assert np.array_equal(cut.path, plain.path)


def test_two_bends_with_a_face_between_them_stay_two():
    """A channel: both its lower corners are round, its floor is flat and in two strips."""
    half = _bent_panel(35.0, np.pi / 2, wing=60.0)[0].reshape(5, -1, 3)
    other = half[:, ::-1] * (-1, 1, 1)
    both = np.concatenate([other[:, :-1] - (60.0, 0, 0), half[:, 1:] + (60.0, 0, 0)], axis=1)
    floor = np.zeros((5, 1, 3)) + (both[:, 13:14] + both[:, 14:15]) / 2
    mesh = solids.grid(np.concatenate([both[:, :14], floor, both[:, 14:]], axis=1))
    for made in (mesh, solids.triangulated(mesh)):
        assert [bend.bend_deg for bend in _bends(made)[2]] == pytest.approx([90, 90], rel=0.02)


def test_a_dent_is_no_bend_and_a_fold_is_a_fold():
    mesh = _bent_panel(15.0, np.radians(16), steps=2)
    assert _bends(mesh)[2] == ()
    shell, piece, bends = _bends(_bent_panel(6.0, np.radians(80), steps=2))
    folds = find_folds(shell, piece, Settings(stock=FOAM))
    folded = np.concatenate([fold.edges for fold in folds])
    assert len(folded)
    assert not any(np.isin(bend.edges, folded).any() for bend in bends)


@pytest.mark.parametrize(("valley", "treatment"), [(False, "kerfs"), (True, "scores")])
def test_each_piece_may_have_its_own_treatment(valley, treatment):
    settings = Settings(stock=FOAM, pieces={"P1": PieceChoice(tight_bends="kerfs")})
    (bend,) = _bends(_bent_panel(25.0, np.pi / 2, valley=valley), settings)[2]
    assert bend.treatment == treatment
    settings = Settings(stock=FOAM, tight_bends="kerfs", pieces={"P1": PieceChoice(tight_bends="heat-form")})
    (bend,) = _bends(_bent_panel(25.0, np.pi / 2, valley=valley), settings)[2]
    assert bend.treatment == "heat-form"


# --- kerfs on the flat -------------------------------------------------------------------------


def _laid(mesh, settings: Settings):
    shell = Shell.build(*mesh)
    pieces, _ = cut_pieces(shell, settings)
    piece = pieces[0]
    bends = find_tight_bends(shell, piece, (), settings)
    (flat,) = finish(flatten_pieces(shell, pieces, [bends], settings))
    ring = flat.vertices[np.append(piece.patch.loops[0], piece.patch.loops[0][0])]
    return shell, flat.vertices, Polygon(ring), with_kerfs(shell, piece, flat.vertices, bends, (ring,))


def test_kerfs_are_spread_evenly_over_the_arc():
    settings = Settings(stock=FOAM, tight_bends="kerfs")
    _, flat, face, (bend,) = _laid(_bent_panel(35.0, np.pi / 2), settings)
    assert (bend.count, bend.depth_mm, bend.kerf_mm) == (7, 8.0, 2.0)
    # they lie in the layer that keeps its length, 1 mm (half the skin) below the outside face
    assert bend.spacing_mm * bend.count == pytest.approx(bend.arc_mm * (35 - 1) / 35, rel=5e-3)
    slots = [Polygon(ring) for ring in bend.kerfs]
    assert len(slots) == 7
    assert not bend.leaves_no_web
    for slot in slots:
        assert face.buffer(1e-6).contains(slot)
        assert slot.area == pytest.approx(2.0 * 80.0, rel=1e-3)
    apart = [one.centroid.distance(other.centroid) for one, other in pairwise(slots)]
    assert apart == pytest.approx([bend.spacing_mm] * 6, abs=5e-3)
    assert bend.least_spacing_mm == pytest.approx(bend.spacing_mm, abs=5e-3)
    middle = shapely.union_all(slots).centroid
    assert middle.distance(shapely.Point(flat[bend.path].mean(axis=0))) < 0.5


def test_a_kerfed_bend_keeps_the_length_of_its_outside():
    """Over 90 degrees round an outside radius of 35 mm: pi / 2 (35 - depth of the layer that keeps its length),
    1 mm (half the skin) under the kerfs, 5 mm in foam that is bent whole."""
    for treatment, depth in (("kerfs", 1.0), ("heat-form", 5.0)):
        settings = Settings(stock=FOAM, tight_bends=treatment)
        _, _, face, _ = _laid(_bent_panel(35.0, np.pi / 2, steps=40), settings)
        across = face.area / 80.0
        assert across == pytest.approx(2 * 60 + np.pi / 2 * (35 - depth), abs=0.35)


def test_kerfs_too_close_to_leave_foam_are_told():
    settings = Settings(stock=Stock("foam", 10.0, skin_mm=1.0, kerf_mm=2.0), tight_bends="kerfs")
    (bend,) = _bends(_bent_panel(12.0, np.radians(150), steps=24), settings)[2]
    assert bend.spacing_mm < 3.0
    assert bend.leaves_no_web


# --- scores in valleys -------------------------------------------------------------------------


@pytest.mark.parametrize("angle", np.radians([60, 90, 120]))
def test_scores_of_a_valley_open_by_its_bend_and_no_wider_than_a_kerf(angle):
    """Depth half the foam, as the score of one fold; the openings 2 d tan(A / (2 n)) turn back to the whole bend."""
    settings = Settings(stock=FOAM, tight_bends="kerfs")
    _, _, face, (bend,) = _laid(_bent_panel(25.0, angle, valley=True), settings)
    assert (bend.treatment, bend.depth_mm, bend.kerf_mm, bend.kerfs) == ("scores", 5.0, 0.0, ())
    assert len(bend.lines) == bend.count
    turned = bend.count * 2 * np.arctan(bend.opening_mm / (2 * bend.depth_mm))
    assert np.degrees(turned) == pytest.approx(-bend.bend_deg)
    assert bend.opening_mm <= FOAM.kerf_mm < opening(bend.depth_mm, bend.bend_deg / (bend.count - 1))
    for line in bend.lines:
        assert np.linalg.norm(line[1] - line[0]) == pytest.approx(80.0, rel=1e-3)
        assert face.buffer(1e-3).contains(LineString(line))


def test_a_scored_valley_keeps_the_length_under_its_scores():
    """Over 90 degrees round an outside face of radius 25 mm: pi / 2 (25 + depth of the layer that keeps its length),
    half of the 5 mm that the scores leave."""
    settings = Settings(stock=FOAM, tight_bends="kerfs")
    _, _, face, _ = _laid(_bent_panel(25.0, np.pi / 2, steps=40, valley=True), settings)
    assert face.area / 80.0 == pytest.approx(2 * 60 + np.pi / 2 * (25 + 2.5), abs=0.35)


# --- bends that are no cylinders ---------------------------------------------------------------


def _cone(valley: bool, n_up: int = 4, angle: float = 120.0):
    """A part of a cone, modelled on its own outside face or, for a valley, seen from its axis."""
    points, faces = solids.frustum_patch(28, 12, 50, np.radians(angle), 24, n_up)
    return points, [face[::-1] for face in faces] if valley else faces


def _apex(shell: Shell, piece, flat: np.ndarray) -> np.ndarray:
    """Where the first and the last column of the mesh, laid flat, would meet."""
    place = np.empty(len(shell.vertices), int)
    place[piece.patch.shell_vertex] = np.arange(piece.patch.vertex_count)
    rows = len(shell.vertices) // 25
    (a, b), (c, d) = (flat[place[[column, (rows - 1) * 25 + column]]] for column in (0, 24))
    steps = np.linalg.solve(np.stack([b - a, c - d], axis=1), c - a)
    return a + steps[0] * (b - a)


@pytest.mark.parametrize("valley", [False, True], ids=["ridge", "valley"])
@pytest.mark.parametrize("made", [lambda mesh: mesh, solids.triangulated], ids=["quads", "triangles"])
@pytest.mark.parametrize("n_up", [1, 4])
def test_on_a_cone_they_run_through_its_apex(valley, made, n_up):
    mesh = made(_cone(valley, n_up))
    shell, piece, flat, bend = _laid_cone(mesh)
    apex = _apex(shell, piece, flat)
    assert len(bend.lines) == bend.count > 3
    slant = np.hypot(50, 28 - 12)
    ways = []
    for start, end in bend.lines:
        along = (end - start) / np.linalg.norm(end - start)
        away = start - apex
        # the apex is some 60 mm from the middle of the piece
        assert abs(away[0] * along[1] - away[1] * along[0]) < 0.15
        assert np.linalg.norm(end - start) == pytest.approx(slant, rel=0.03)
        ways.append(np.arctan2(along[1], along[0]))
    turns = np.diff(np.unwrap(np.array(ways) * 2) / 2)
    assert turns == pytest.approx([turns.mean()] * len(turns), rel=0.02)
    assert bend.least_spacing_mm < 0.8 * bend.spacing_mm


def _laid_cone(mesh):
    settings = Settings(stock=FOAM, tight_bends="kerfs")
    shell = Shell.build(*mesh)
    pieces, _ = cut_pieces(shell, settings)
    (piece,) = pieces
    (bend,) = find_tight_bends(shell, piece, (), settings)
    (flat,) = finish(flatten_pieces(shell, pieces, [(bend,)], settings))
    ring = flat.vertices[np.append(piece.patch.loops[0], piece.patch.loops[0][0])]
    (laid,) = with_kerfs(shell, piece, flat.vertices, (bend,), (ring,))
    return shell, piece, flat.vertices, laid


def test_each_takes_its_share_where_the_bend_is_uneven():
    """A bend that turns twice as much over its second half has twice as many kerfs there."""
    settings = Settings(stock=FOAM, tight_bends="kerfs")
    turn = np.concatenate([np.linspace(0, np.pi / 6, 11), np.linspace(np.pi / 6, np.pi / 2, 11)[1:]])
    profile = np.cumsum(np.vstack([(0, 0), np.stack([np.cos(turn), -np.sin(turn)], axis=1) * 1.5]), axis=0)
    points = np.stack([np.tile(profile[:, 0], (5, 1)), np.tile(np.linspace(0, 80, 5)[:, None], (1, 22)),
                       np.tile(profile[:, 1], (5, 1))], axis=-1)  # fmt: skip
    _, _, _, (bend,) = _laid(solids.grid(points), settings)
    across = np.sort(np.array([line.mean(axis=0) for line in bend.lines]) @ _across(bend.lines[0]))
    gaps = np.diff(across)
    wide, narrow = sorted((gaps[:2].mean(), gaps[-2:].mean()), reverse=True)
    assert wide == pytest.approx(2 * narrow, rel=0.1)


def _across(line: np.ndarray) -> np.ndarray:
    along = (line[1] - line[0]) / np.linalg.norm(line[1] - line[0])
    return np.array([-along[1], along[0]])
