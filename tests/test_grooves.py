"""Mouths of V-grooves: width, ends at rims, where folds meet and within a piece."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
import solids
from foamwright.core.foam import Stock
from foamwright.core.folds import find_folds
from foamwright.core.grooves import with_mouths
from foamwright.core.joints import both_outlines, joint_runs
from foamwright.core.pieces import cut_pieces
from foamwright.core.settings import Settings
from foamwright.core.shell import Shell
from hypothesis import given
from hypothesis import strategies as st
from shapely import Polygon

FOAM = Settings(stock=Stock("foam", 6.0, skin_mm=1.0), joint_rule="mitre")


def _cut(shell: Shell, flat_of, settings: Settings = FOAM):
    """The only piece's flat, the polygon of its inside face, and its folds with mouths."""
    (piece,), _ = cut_pieces(shell, settings)
    flat = flat_of(shell.vertices[piece.patch.shell_vertex])
    joints = joint_runs(shell, [piece], [flat], settings)
    _, inside = both_outlines(piece, flat, joints)
    folds = with_mouths(shell, piece.patch, flat, find_folds(shell, piece, settings), inside)
    return flat, Polygon(inside[0], inside[1:]), folds


def _mouth(fold) -> Polygon:
    return Polygon(fold.mouth[0], fold.mouth[1:])


def _pleats(bends_deg, panel=40.0, depth=60.0, slant=0.0):
    """Panels side by side, joined along lines that slant by `slant` mm over their length of `depth`; and a flat."""
    heading = -np.radians(np.concatenate([[0.0], np.cumsum(bends_deg)]))
    x = np.concatenate([[0.0], np.cumsum(panel * np.cos(heading))])
    z = np.concatenate([[0.0], np.cumsum(panel * np.sin(heading))])
    rows = [np.stack([x, np.full_like(x, y), z], axis=1) for y in (0.0, depth)]
    flat_x = panel * np.arange(len(x))

    def flat_of(points: np.ndarray) -> np.ndarray:
        column = np.argmin(np.linalg.norm(points[:, None, [0, 2]] - np.stack([x, z], axis=1)[None], axis=2), axis=1)
        return np.stack([flat_x[column] + slant * points[:, 1] / depth, points[:, 1]], axis=1)

    return Shell.build(*solids.grid(np.stack(rows))), flat_of


GROOVES = [(8, 90, 16.000), (8, 60, 9.238), (8, 45, 6.627), (5, 90, 10.000), (4, 45, 3.314), (3.2, 110, 9.140)]


@pytest.mark.parametrize(("depth", "bend", "width"), GROOVES)
def test_a_straight_groove_is_a_strip_of_the_table(depth, bend, width):
    """w = 2 d tan(phi / 2) (computed table of V-grooves), from rim to rim."""
    shell, flat_of = _pleats([bend])
    _, face, (fold,) = _cut(shell, flat_of, Settings(stock=Stock("foam", depth + 1.0, skin_mm=1.0)))
    low, _, high, _ = _mouth(fold).bounds
    assert (low, high) == pytest.approx((40 - width / 2, 40 + width / 2), abs=1e-3)
    assert _mouth(fold).area == pytest.approx(width * 60, abs=0.1)
    assert shapely.difference(_mouth(fold), face.buffer(1e-6)).area < 1e-6


def test_a_slanting_groove_runs_through_both_rims():
    shell, flat_of = _pleats([60.0], slant=25.0)
    _, face, (fold,) = _cut(shell, flat_of)
    wide = 2 * 5 * np.tan(np.radians(30))
    # the strip between the rims is a parallelogram: no corner of foam is left standing beside the groove
    assert _mouth(fold).area == pytest.approx(wide * np.hypot(60, 25), rel=1e-3)
    assert len(shapely.get_parts(face.difference(_mouth(fold)))) == 2


def test_a_score_takes_nothing_away():
    shell, flat_of = _pleats([-60.0])
    _, _, (fold,) = _cut(shell, flat_of)
    assert fold.kind == "score"
    assert fold.mouth == ()


def _tray(side: float = 80.0, wall: float = 50.0) -> Shell:
    """A box without a lid, slit down its upright edges."""
    h = side / 2
    floor = [(-h, -h, 0), (h, -h, 0), (h, h, 0), (-h, h, 0)]
    top = [(x, y, wall) for x, y, _ in floor]
    sides = [[i, (i + 1) % 4, 4 + (i + 1) % 4, 4 + i] for i in range(4)]
    return Shell.build(floor + top, [[3, 2, 1, 0], *sides], seams=[(i, 4 + i) for i in range(4)])


def _tray_flat(shell: Shell, piece) -> np.ndarray:
    """Each wall laid out beside the floor, seen from outside (from below: x is turned round)."""
    flat = np.empty((piece.patch.vertex_count, 2))
    for triangle, face in zip(piece.patch.triangles, piece.patch.triangle_face, strict=True):
        points = shell.vertices[piece.patch.shell_vertex[triangle]]
        out = shell.face_normal[face][:2]
        spread = points[:, :2] + points[:, 2:] * out
        flat[triangle] = spread * (-1, 1)
    return flat


def test_grooves_that_meet_in_a_corner_end_in_mitres():
    shell = _tray()
    (piece,), _ = cut_pieces(shell, FOAM)
    flat = _tray_flat(shell, piece)
    joints = joint_runs(shell, [piece], [flat], FOAM)
    _, inside = both_outlines(piece, flat, joints)
    folds = with_mouths(shell, piece.patch, flat, find_folds(shell, piece, FOAM), inside)
    assert [fold.kind for fold in folds] == ["groove"] * 4
    left = shapely.get_parts(Polygon(inside[0]).difference(shapely.union_all([_mouth(f) for f in folds])))
    floor = next(part for part in left if part.contains(shapely.Point(0, 0)))
    # the floor's inside face is the floor less d tan(45) all round; the mitres of the slits, which are as deep as
    # the foam and not as the grooves, take 1 mm more of its corners
    whole = shapely.box(-35, -35, 35, 35)
    assert floor.difference(whole).area < 1e-6
    assert whole.difference(floor).area == pytest.approx(4 * 1.0, abs=0.01)
    walls = [part for part in left if part is not floor and part.area > 1]
    # a wall's inside face: from the groove to the top, between the mitres (6 mm) of its slits
    assert [wall.area for wall in walls] == pytest.approx([(50 - 5) * (80 - 12)] * 4, abs=1.0)


def _roof(folds: int, rise: float) -> tuple[Shell, np.ndarray]:
    """A pyramid with its apex in a vertex, and roughly its flat: the net with a slit along the first edge."""
    vertices, faces = solids.pyramid(folds, 60.0, rise, base=False)
    ring = np.linalg.norm(vertices[0] - vertices[1])
    apex = 2 * np.arcsin(ring / 2 / np.linalg.norm(vertices[0] - vertices[-1]))
    shell = Shell.build(vertices, faces, seams=[(0, folds)])
    (piece,), _ = cut_pieces(shell, FOAM)
    flat = np.zeros((piece.patch.vertex_count, 2))
    # walk the faces round the apex
    for triangle, face in zip(piece.patch.triangles, piece.patch.triangle_face, strict=True):
        for vertex in triangle:
            number = piece.patch.shell_vertex[vertex]
            if number < folds:
                turn = apex * (face + (number == (face + 1) % folds))
                size = np.linalg.norm(vertices[number] - vertices[-1])
                flat[vertex] = size * np.array([np.cos(turn), np.sin(turn)])
    return shell, flat


@given(st.integers(4, 8), st.floats(25, 80))
def test_panels_between_meeting_grooves_keep_a_corner_of_their_own(sides, rise):
    shell, flat = _roof(sides, rise)
    (piece,), _ = cut_pieces(shell, FOAM)
    inside = (flat[np.append(piece.patch.loops[0], piece.patch.loops[0][0])],)
    folds = with_mouths(shell, piece.patch, flat, find_folds(shell, piece, FOAM), inside)
    grooves = [fold for fold in folds if fold.kind == "groove"]
    mouths = [_mouth(fold) for fold in grooves]
    for i, one in enumerate(mouths):
        for other in mouths[:i]:
            assert shapely.intersection(one, other, grid_size=1e-6).area < 0.02
    # every limit is half a mouth from its fold
    for fold, mouth in zip(grooves, mouths, strict=True):
        middle = flat[fold.path].mean(axis=0)
        assert mouth.exterior.distance(shapely.Point(middle)) == pytest.approx(fold.mouth_mm / 2, abs=1e-3)


def test_a_groove_that_ends_within_the_piece_ends_in_a_point():
    x, y = np.meshgrid(np.arange(7) * 20.0, np.arange(5) * 20.0)
    # a crease along y = 40 that fades out from x = 60 on
    drop = np.where(x <= 60, 1.0, np.clip((100 - x) / 40, 0, 1)) * np.abs(y - 40) * -0.5
    shell = Shell.build(*solids.grid(np.stack([x, y, drop], axis=-1)))
    flat, _, folds = _cut(shell, lambda points: points[:, :2])
    (fold,) = [fold for fold in folds if fold.kind == "groove"]
    tip = flat[fold.path][np.argmax(flat[fold.path][:, 0])]
    mouth = _mouth(fold)
    assert mouth.bounds[2] == pytest.approx(tip[0], abs=1e-6)
    near = mouth.intersection(shapely.box(tip[0] - 0.5, -99, tip[0] + 1, 99))
    assert np.ptp(np.array(near.exterior.coords)[:, 1]) < fold.mouth_mm / 2


def test_the_mouth_of_a_round_fold_is_a_ring():
    n = 48
    turn = 2 * np.pi * np.arange(n) / n
    rings = [np.stack([r * np.cos(turn), r * np.sin(turn), np.full(n, z)], axis=1) for r, z in ((40, 0), (60, -20))]
    vertices = np.vstack([*rings, (0, 0, 0)])
    faces = [[2 * n, i, (i + 1) % n] for i in range(n)]
    faces += [[i, n + i, n + (i + 1) % n, (i + 1) % n] for i in range(n)]
    _, _, (fold,) = _cut(Shell.build(vertices, faces), lambda points: points[:, :2])
    assert len(fold.mouth) == 2
    assert _mouth(fold).area == pytest.approx(2 * np.pi * 40 * fold.mouth_mm, rel=0.01)


def test_half_a_mouth_is_taken_on_each_side_as_the_bend_changes():
    """A fold whose bend grows from 40 to 80 degrees is narrow at one end and wide at the other."""
    x = np.linspace(0, 120, 13)
    bend = np.radians(np.linspace(40, 80, 13)) / 2
    rows = [np.stack([x, s * 40 * np.cos(bend), -40 * np.sin(bend)], axis=1) for s in (-1.0, 1.0)]
    rows.insert(1, np.stack([x, 0 * x, 0 * x], axis=1))
    flat_rows = np.repeat([-40.0, 0.0, 40.0], 13)
    shell = Shell.build(*solids.grid(np.stack(rows)))
    _, _, (fold,) = _cut(shell, lambda points: np.stack([points[:, 0], flat_rows], axis=1))
    for place in (15.0, 60.0, 105.0):
        across = _mouth(fold).intersection(shapely.LineString([(place, -60), (place, 60)])).length
        wanted = 2 * 5 * np.tan(np.radians(40 + 40 * place / 120) / 2)
        assert across == pytest.approx(wanted, abs=0.05)
