"""Bends tighter than the foam allows, and the kerfs that relieve them."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
import shapely
import solids
from foamwright.core.flatten import flatten_pieces
from foamwright.core.foam import Stock
from foamwright.core.folds import find_folds
from foamwright.core.pieces import cut_pieces
from foamwright.core.progress import finish
from foamwright.core.settings import PieceChoice, Settings
from foamwright.core.shell import Shell
from foamwright.core.tight_bends import find_tight_bends, kerf_closing, kerf_count, with_kerfs
from shapely import Polygon

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
    """Its inside radius is that of the outside face: 35 mm is wide enough, 25 mm is not; kerfs would open."""
    settings = Settings(stock=FOAM, tight_bends="kerfs")
    assert _bends(_bent_panel(35.0, np.pi / 2, valley=True), settings)[2] == ()
    (bend,) = _bends(_bent_panel(25.0, np.pi / 2, valley=True), settings)[2]
    assert bend.bend_deg == pytest.approx(-90, rel=0.02)
    assert bend.radius_mm == pytest.approx(25.0, rel=0.1)
    assert bend.treatment == "heat-form"


def test_a_dent_is_no_bend_and_a_fold_is_a_fold():
    mesh = _bent_panel(15.0, np.radians(16), steps=2)
    assert _bends(mesh)[2] == ()
    shell, piece, bends = _bends(_bent_panel(6.0, np.radians(80), steps=2))
    folds = find_folds(shell, piece, Settings(stock=FOAM))
    folded = np.concatenate([fold.edges for fold in folds])
    assert len(folded)
    assert not any(np.isin(bend.edges, folded).any() for bend in bends)


def test_each_piece_may_have_its_own_treatment():
    settings = Settings(stock=FOAM, pieces={"P1": PieceChoice(tight_bends="kerfs")})
    (bend,) = _bends(_bent_panel(35.0, np.pi / 2), settings)[2]
    assert bend.treatment == "kerfs"


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
    assert bend.spacing_mm * bend.count == pytest.approx(bend.arc_mm)
    slots = [Polygon(ring) for ring in bend.kerfs]
    assert len(slots) == 7
    assert not bend.leaves_no_web
    for slot in slots:
        assert face.buffer(1e-6).contains(slot)
        assert slot.area == pytest.approx(2.0 * 80.0, rel=1e-3)
    apart = [one.centroid.distance(other.centroid) for one, other in pairwise(slots)]
    assert apart == pytest.approx([bend.spacing_mm] * 6)
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
