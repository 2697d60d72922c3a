"""What leaves flattening is a flat that foam could be, or an error that names the piece and a cut that frees it."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
import solids
from foamwright.core.errors import FlattenError
from foamwright.core.flatten import Flattener, surface_of
from foamwright.core.flatten.energy import RestTriangles, signed_areas
from foamwright.core.flatten.overlap import doubled_area, lies_over_itself
from foamwright.core.flatten.reference import plane_corners
from foamwright.core.flatten.solver import NewtonSolver
from foamwright.core.flatten.soundness import TORN, WILD, fault_of
from foamwright.core.flatten.start import first_flat, is_upright
from foamwright.core.flatten.system import SingularSystemError, StepSystem
from foamwright.core.layout import nest
from foamwright.core.pattern import Pattern
from foamwright.core.progress import finish
from foamwright.core.settings import Settings
from foamwright.core.shell import Shell
from foamwright.core.unfold import unfold

SHAPES = {
    "stub": {"ratio": 1.5},
    "finger": {"ratio": 3.0, "rings": 60},
    "fine finger": {"ratio": 3.0, "rings": 400, "n_around": 10},
    "long finger": {"ratio": 5.0, "rings": 80},
    "horn": {"ratio": 5.0, "taper": 0.2, "curl": 1.0},
    "staff end": {"ratio": 15.0, "rings": 100},
    "staff": {"ratio": 40.0, "rings": 60, "n_around": 12},
    "fine staff": {"ratio": 20.0, "rings": 400, "n_around": 10},
    "tentacle": {"ratio": 20.0, "rings": 80, "taper": 0.2, "curl": 3.0},
    "finely tipped": {"ratio": 10.0, "rings": 60, "grade": -3.0},
    "finely footed": {"ratio": 10.0, "rings": 60, "grade": 3.0},
}
STRAIGHT = [name for name, shape in SHAPES.items() if "curl" not in shape]


@pytest.fixture(autouse=True)
def _plain_rows(monkeypatch: pytest.MonkeyPatch) -> None:
    """No test here asks how tightly pieces are packed."""
    monkeypatch.setattr(nest, "spyrrow", None)


def least_stretch(ratio: float, taper: float = 1.0, **_fineness: object) -> float:
    """What no flat of a straight finger can beat.

    Stretched and squeezed by at most a factor k, the tip stays at least 1/k of its distance D from the foot's rim, so
    that the rim runs round a circle of radius D/k; and it is at most k times its own length 2 pi R: k^2 >= D/R.
    """
    return np.sqrt(ratio + taper)


def flattened(shell: Shell) -> Pattern:
    return finish(unfold(shell, Settings(nest_seconds=1)))


def tried(shell: Shell) -> tuple[Pattern, None] | tuple[None, FlattenError]:
    try:
        return flattened(shell), None
    except FlattenError as refusal:
        return None, refusal


def doubly_covered(flat: np.ndarray, triangles: np.ndarray) -> float:
    """mm^2, from the triangles alone."""
    union = shapely.union_all(shapely.polygons(flat[triangles]), grid_size=1e-6)
    return float(signed_areas(flat, triangles).sum() - union.area)


@pytest.mark.parametrize("name", SHAPES)
def test_a_finger_comes_out_sane_or_is_refused_with_a_cut_that_frees_it(name: str) -> None:
    shell = Shell.build(*solids.finger(**SHAPES[name]), name=name)
    pattern, refusal = tried(shell)
    if pattern is None:
        assert "Piece P1" in str(refusal)
        assert name not in STRAIGHT or least_stretch(**SHAPES[name]) > 0.9 * TORN
        seam = np.zeros(shell.edge_count, bool)
        seam[list(refusal.edges)] = True
        pattern = flattened(shell.with_seams(seam))
    (piece,) = pattern.pieces
    assert np.isfinite(piece.flat).all()
    assert (signed_areas(piece.flat, piece.patch.triangles) > 0).all()
    assert piece.largest_stretch < WILD
    assert piece.largest_squeeze > 1 / WILD


@pytest.mark.parametrize("name", STRAIGHT)
def test_a_finger_is_laid_as_flat_as_can_be_wherever_numbers_reach(name: str) -> None:
    shell = Shell.build(*solids.finger(**SHAPES[name]))
    surface = surface_of(shell.vertices, shell.triangles)
    (flat,) = finish(Flattener().flatten([surface], np.empty((0, 4), np.int64)))
    floor = least_stretch(**SHAPES[name])
    if is_upright(flat, surface.triangles):
        sizes = np.linalg.svd(maps(flat, surface), compute_uv=False)
        # rings of chords are shorter than the circle, and the foot is not all there is to press down
        assert 0.95 * floor < max(sizes.max(), 1 / sizes.min()) < 1.16 * floor
    else:
        assert floor > 1.3 * TORN


def maps(flat: np.ndarray, surface) -> np.ndarray:
    """(m, 2, 2) from each triangle at rest to the flat."""
    rest, there = surface.corners, flat[surface.triangles]
    return np.linalg.solve(rest[:, 1:] - rest[:, :1], there[:, 1:] - there[:, :1])


def test_each_fault_of_a_flat_is_told() -> None:
    points, triangles = solids.triangulated(solids.flat_sheet(40, 30, 3, 3))
    triangles = np.array(triangles)
    rest = RestTriangles.from_corners(plane_corners(points[triangles]))
    flat = points[:, :2].copy()
    assert not fault_of(flat, triangles, rest)
    assert "turning faces over" in fault_of(flat * (-1, 1), triangles, rest)
    assert "turning faces over" in fault_of(np.full_like(flat, np.nan), triangles, rest)
    assert "turning faces over" in fault_of(flat * (1, 0), triangles, rest)
    assert "3.5 times" in fault_of(flat * (3.5, 1), triangles, rest)
    assert not fault_of(flat * (2.5, 1 / 2.5), triangles, rest)


def test_a_wild_spot_is_told_though_99_percent_are_fine() -> None:
    points, triangles = solids.triangulated(solids.flat_sheet(400, 300, 20, 15))
    triangles, flat = np.array(triangles), points[:, :2].copy()
    rest = RestTriangles.from_corners(plane_corners(points[triangles]))
    corner = int(np.flatnonzero((triangles == 0).any(axis=1))[0])
    others = triangles[corner][triangles[corner] != 0]
    # the first corner of the sheet, pushed to within a fortieth of its height from the side across
    flat[0] += 0.975 * (flat[others].mean(axis=0) - flat[0])
    assert "at one spot" in fault_of(flat, triangles, rest)


def test_a_system_without_a_solution_ends_the_search_where_it_is(monkeypatch: pytest.MonkeyPatch) -> None:
    points, triangles = solids.triangulated(solids.saddle(100.0, 6, 25.0))
    surface = surface_of(points, np.array(triangles))
    first = first_flat(surface.triangles, surface.corners, surface.loops, surface.vertex_count)

    def unsolvable(*_args: object) -> None:
        raise SingularSystemError("no solution")

    monkeypatch.setattr(StepSystem, "solve", unsolvable)
    solver = NewtonSolver(surface.triangles, surface.rest, surface.vertex_count)
    assert (finish(solver.minimise(first)) == first).all()


@pytest.mark.parametrize("slope", [0.1, 0.2, 0.4, 0.8, 1.5])
def test_the_lips_of_a_slit_do_not_lie_over_each_other_untold(slope: float) -> None:
    pattern = flattened(Shell.build(*solids.slit_cone(slope)))
    (piece,) = pattern.pieces
    doubled = doubly_covered(piece.flat, piece.patch.triangles)
    told = [finding for finding in pattern.findings if finding.kind == "overlap"]
    assert bool(told) == piece.lies_over_itself == (doubled > 0.01)
    if told:
        seam = pattern.shell.seam.copy()
        seam[list(told[0].edges)] = True
        freed = flattened(pattern.shell.with_seams(seam))
        assert not any(piece.lies_over_itself for piece in freed.pieces)
    else:
        outer, hole = sorted(
            (shapely.LinearRing(piece.flat[loop]) for loop in piece.patch.loops), key=lambda r: -r.length
        )
        assert outer.is_ccw
        assert not hole.is_ccw


def test_a_hole_turned_inside_out_is_covered_twice() -> None:
    outer = np.array([(0.0, 0), (100, 0), (100, 100), (0, 100)])
    hole = np.array([(40.0, 40), (40, 60), (60, 60), (60, 40)])
    flat, loops = np.concatenate([outer, hole]), [np.arange(4), np.arange(4, 8)]
    assert doubled_area(flat, loops) == 0
    flat[4:] = hole[::-1]
    assert doubled_area(flat, loops) == pytest.approx(400)
    assert lies_over_itself(flat, loops)
