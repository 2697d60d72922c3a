"""Bent sheets of published tables, modelled as shells and laid flat the whole way: allowance, deduction, bands.

Our neutral depth counts from the outside face and K of the tables from the inside: depth = 1 - K. The traps: the
K of the aviation handbook is tan(A / 2), no neutral axis; k of DIN 6935 is on half the thickness, so K = k / 2.
"""

from __future__ import annotations

import numpy as np
import pytest
import solids
from foamwright.core.flatten import flatten_pieces
from foamwright.core.foam import Stock
from foamwright.core.folds import find_folds
from foamwright.core.pieces import cut_pieces
from foamwright.core.progress import finish
from foamwright.core.settings import Settings
from foamwright.core.shell import Shell

INCH = 25.4
HANDBOOK_K = 0.0078 / 0.01743
"""What BA = (0.01743 R + 0.0078 T) N implies (Aviation Maintenance Technician Handbook, FAA-H-8083-31, ch. 4)."""


def _profile(flats: list[float], bends_deg: list[float], outside_radius: float) -> np.ndarray:
    """Points (n, 2) of the outside face: flats joined by round bends, each in chords that touch its arc."""
    points, here, heading = [np.zeros(2)], np.zeros(2), 0.0
    for flat, bend_deg in zip(flats, [*bends_deg, 0.0], strict=True):
        here = here + flat * np.array([np.cos(heading), -np.sin(heading)])
        points.append(here)
        steps = int(3 * bend_deg)
        step = np.radians(bend_deg) / max(steps, 1)
        for _ in range(steps):
            reach = outside_radius * np.tan(step / 2)
            corner = here + reach * np.array([np.cos(heading), -np.sin(heading)])
            heading += step
            here = corner + reach * np.array([np.cos(heading), -np.sin(heading)])
            points.append(corner)
    return np.array(points)


def _developed(flats, bends_deg, inside_radius, thickness, k) -> float:
    """Length of the sheet in mm, laid flat by the neutral surface."""
    profile = _profile(flats, bends_deg, inside_radius + thickness)
    profile = profile[np.concatenate([[True], np.linalg.norm(np.diff(profile, axis=0), axis=1) > 1e-9])]
    wide = 0.6 * float(sum(flats) + 20 * thickness)
    rows = [np.stack([profile[:, 0], np.full(len(profile), y), profile[:, 1]], axis=1) for y in (0.0, wide)]
    shell = Shell.build(*solids.grid(np.stack(rows)))
    stock = Stock("foam", thickness, neutral_depth=1 - k, skin_mm=0.2 * thickness)
    settings = Settings(stock=stock, fold_limit_deg=90.0)
    pieces, _ = cut_pieces(shell, settings)
    (flat,) = finish(flatten_pieces(shell, pieces, [find_folds(shell, pieces[0], settings)], settings))
    triangles = flat.vertices[pieces[0].patch.triangles]
    (ux, uy), (vx, vy) = (triangles[:, 1] - triangles[:, 0]).T, (triangles[:, 2] - triangles[:, 0]).T
    return abs(float((ux * vy - uy * vx).sum())) / 2 / wide


# E1, E2b: inputs, setbacks and flats of the handbook and of a workbook, "90 Degree Bends" (Sheet Metal Workbook,
# 6th ed., 2012); E1's total computed. In inches.
@pytest.mark.parametrize(
    ("flats", "radius", "thickness", "wanted", "tolerance"),
    [
        ([0.8, 1.6, 0.8], 0.16, 0.040, 3.7581, 0.001),
        ([0.740 - 0.082, 0.420 - 0.164, 1.050 - 0.164, 1.000 - 0.082], 0.032, 0.050, 2.973, 0.002),
    ],
)
def test_channels_of_the_handbooks(flats, radius, thickness, wanted, tolerance):
    bends = [90.0] * (len(flats) - 1)
    scaled = [flat * INCH for flat in flats]
    assert _developed(scaled, bends, radius * INCH, thickness * INCH, HANDBOOK_K) / INCH == pytest.approx(
        wanted, abs=tolerance
    )


# BA = A (R + K t), OSSB = (R + t) tan(A / 2), BD = 2 OSSB - BA (four public calculator pages agree); the
# allowance of E3 from such a page, the others computed.
BENDS = [
    # bend, inside radius, thickness, K, allowance, setback, deduction
    (90, 5, 2, 0.44, 9.236, 7.0, 4.764),
    (90, 75, 10, 0.5, 125.664, 85.000, 44.336),
    (45, 40, 6, 0.45, 33.537, 19.054, 4.571),
    (120, 12, 5, 0.5, 30.369, 29.445, 28.521),
]


@pytest.mark.parametrize(("bend", "radius", "thickness", "k", "allowance", "setback", "deduction"), BENDS)
def test_allowance_and_deduction(bend, radius, thickness, k, allowance, setback, deduction):
    legs = [60.0, 45.0]
    length = _developed(legs, [bend], radius, thickness, k)
    assert length == pytest.approx(sum(legs) + allowance, abs=0.005)
    # the same from the legs measured to the corner of the outside faces
    assert length == pytest.approx(sum(legs) + 2 * setback - deduction, abs=0.005)


def test_a_fold_without_radius():
    """R 0, t 10, A 30, K 0.5: allowance 2.618, deduction 2.741 (computed)."""
    assert _developed([60.0, 45.0], [30.0], 0.0, 10.0, 0.5) == pytest.approx(105 + 2.618, abs=0.005)


# DIN 6935: L = a + b - v with k = 0.65 + 0.5 log10(r / s) (E7: v of a German metal-trade table book with the
# formula's k; E8, E9 computed). The opening is the angle between the legs.
@pytest.mark.parametrize(
    ("opening", "radius", "thickness", "v"),
    [
        (60, 6, 5, 5.823),
        (90, 2, 2, 3.837),
        (60, 2, 2, 2.450),
        (120, 2, 2, 1.844),
        (90, 50, 10, 33.610),
    ],
)
def test_din_6935(opening, radius, thickness, v):
    a, b = 60.0 + radius + thickness, 45.0 + radius + thickness
    k = 0.65 + 0.5 * np.log10(radius / thickness)
    reach = radius + thickness
    # legs are measured to the outermost line up to a right angle, beyond it to the corner of the outside faces
    setback = reach if opening <= 90 else reach * np.tan(np.radians(180 - opening) / 2)
    length = _developed([a - setback, b - setback], [180.0 - opening], radius, thickness, k / 2)
    assert length == pytest.approx(a + b - v, abs=0.01)


# Inner circumference, thickness, cut length, outer circumference: C + pi t and C + 2 pi t (computed).
@pytest.mark.parametrize(
    ("inner", "thickness", "cut", "outer"),
    [(580, 10, 611.416, 642.832), (574, 6, 592.850, 611.699), (560, 5, 575.708, 591.416)],
)
def test_head_bands(inner, thickness, cut, outer):
    radius = inner / (2 * np.pi)
    assert 2 * np.pi * (radius + thickness) == pytest.approx(outer, abs=1e-3)
    # half a band twice: a whole one is closed
    half = _developed([0.0, 0.0], [180.0], radius, thickness, 0.5)
    assert 2 * half == pytest.approx(cut, abs=0.01)


def test_the_arcs_of_both_faces_differ_by_angle_times_thickness():
    """90 degrees, t 10: 15.708, whatever the radius (computed)."""
    for radius in (5.0, 75.0, 300.0):
        outer, inner = (_developed([50.0, 50.0], [90.0], radius, 10.0, k) for k in (1.0, 0.0))
        assert outer - inner == pytest.approx(15.708, abs=0.005)
