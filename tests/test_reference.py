"""The reference surface: foam of a thickness keeps the length of its neutral surface, a fold that of its hinge."""

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


def flat_of(shell: Shell, settings: Settings) -> tuple[np.ndarray, np.ndarray]:
    """Flat vertices of a shell of one piece, and the shell vertices under them."""
    pieces, _ = cut_pieces(shell, settings)
    folds = [find_folds(shell, piece, settings) for piece in pieces]
    (flat,) = finish(flatten_pieces(shell, pieces, folds, settings))
    return flat.vertices, pieces[0].patch.shell_vertex


def width_of(flat: np.ndarray) -> float:
    """Width of a flat band that may stand at any angle: the longer side of its upright frame."""
    return float(max(np.ptp(flat @ np.linalg.svd(flat - flat.mean(axis=0), full_matrices=False)[2].T, axis=0)))


def arc(outside_radius: float, angle: float, height: float, count: int) -> Shell:
    """A band whose first and last facets are half ones, so that its facets bend by `angle` in all."""
    step = angle / count
    # vertices on tangents: the first half facet starts square to the arc
    inner = (np.arange(count) + 0.5) * step
    outer = outside_radius / np.cos(step / 2)
    x = np.concatenate([[outside_radius], outer * np.cos(inner), [outside_radius * np.cos(angle)]])
    y = np.concatenate([[0.0], outer * np.sin(inner), [outside_radius * np.sin(angle)]])
    rows = [np.stack([x, y, np.full(len(x), z)], axis=1) for z in (0.0, height)]
    return Shell.build(*solids.grid(np.stack(rows)))


# Bend allowance BA = A (R + K t) with inside radius R and K from the inside: the flat length of the bent part.
# E5 and E6b: the formula that four public calculator pages agree on, digits computed from it.
@pytest.mark.parametrize(
    ("angle_deg", "inside_radius", "thickness", "k_inside", "expected"),
    [(90, 75, 10, 0.5, 125.664), (45, 40, 6, 0.45, 33.537), (120, 12, 5, 0.5, 30.369)],
)
def test_bend_allowance(angle_deg: float, inside_radius: float, thickness: float, k_inside: float, expected: float):
    stock = Stock("foam", thickness, neutral_depth=1 - k_inside)
    settings = Settings(stock=stock, fold_limit_deg=90.0)
    shell = arc(inside_radius + thickness, np.radians(angle_deg), 300.0, 720)
    flat, _ = flat_of(shell, settings)
    across = flat @ np.linalg.svd(flat - flat.mean(axis=0), full_matrices=False)[2].T
    assert min(np.ptp(across, axis=0)) == pytest.approx(expected, abs=0.01)


def test_head_band() -> None:
    """Inner circumference 580, t 10: cut length C + pi t = 611.416 (computed)."""
    shell = arc(580 / (2 * np.pi) + 10, 2 * np.pi * 0.999999, 40.0, 720)
    flat, _ = flat_of(shell, Settings(stock=Stock("foam", 10.0)))
    assert width_of(flat) == pytest.approx(611.416, abs=0.01)


def test_model_of_the_inside_face_gives_the_same_band() -> None:
    stock = Stock("foam", 10.0)
    inside = arc(580 / (2 * np.pi), 2 * np.pi * 0.999999, 40.0, 720)
    flat, _ = flat_of(inside, Settings(stock=stock, model_is_inside=True))
    assert width_of(flat) == pytest.approx(611.416, abs=0.01)


def test_outer_less_inner_arc_is_angle_times_thickness() -> None:
    widths = []
    for depth in (0.0, 1.0):
        shell = arc(85.0, np.pi / 2, 300.0, 360)
        flat, _ = flat_of(shell, Settings(stock=Stock("foam", 10.0, neutral_depth=depth)))
        across = flat @ np.linalg.svd(flat - flat.mean(axis=0), full_matrices=False)[2].T
        widths.append(min(np.ptp(across, axis=0)))
    assert widths[0] - widths[1] == pytest.approx(np.pi / 2 * 10, abs=0.01)


def angle_sheet(bend_deg: float) -> Shell:
    """Two panels 100 x 60 that meet along one edge; + bend is a ridge."""
    turn = np.radians(bend_deg)
    vertices = [[0, 0, 0], [100, 0, 0], [100, 60, 0], [0, 60, 0]]
    vertices += [[100, 60 + 60 * np.cos(turn), -60 * np.sin(turn)], [0, 60 + 60 * np.cos(turn), -60 * np.sin(turn)]]
    return Shell.build(vertices, [(0, 1, 2, 3), (3, 2, 4, 5)])


def test_groove_keeps_the_outside_length_less_its_skin() -> None:
    """A ridge folds about a hinge at half its skin: each panel is shorter by skin/2 tan(bend/2)."""
    stock = Stock("foam", 6.0, skin_mm=1.0)
    flat, _ = flat_of(angle_sheet(60.0), Settings(stock=stock))
    assert width_of(flat) == pytest.approx(120 - 2 * 0.5 * np.tan(np.radians(30)), abs=1e-6)


def test_score_keeps_its_hinge() -> None:
    """A valley opens from a score of half the thickness: the hinge lies a quarter deep and the panels grow."""
    stock = Stock("foam", 6.0)
    flat, _ = flat_of(angle_sheet(-60.0), Settings(stock=stock))
    assert width_of(flat) == pytest.approx(120 + 2 * 1.5 * np.tan(np.radians(30)), abs=1e-6)


def test_flat_panel_keeps_its_size_whatever_the_thickness() -> None:
    shell = Shell.build(*solids.flat_sheet(100.0, 60.0))
    flat, under = flat_of(shell, Settings(stock=Stock("foam", 10.0)))
    here = np.linalg.norm(shell.vertices[under][:, None] - shell.vertices[under][None], axis=2)
    assert np.linalg.norm(flat[:, None] - flat[None], axis=2) == pytest.approx(here, abs=1e-6)


def test_mates_come_out_as_exact_mirrors() -> None:
    points, faces = solids.sphere(100.0)
    shell = Shell.build(points, faces)
    middle = np.abs(shell.vertices[shell.edges][:, :, 0]).max(axis=1) < 1e-6
    equator = np.abs(shell.vertices[shell.edges][:, :, 2]).max(axis=1) < 1e-6
    settings = Settings()
    pieces, _ = cut_pieces(shell.with_seams(middle | equator), settings)
    flats = finish(flatten_pieces(shell, pieces, [()] * len(pieces), settings))
    assert len(pieces) == 4
    for piece, flat in zip(pieces, flats, strict=True):
        number = next(i for i, other in enumerate(pieces) if other.name == piece.mate)
        image = pieces[number].patch.triangles[:, ::-1]
        assert (flats[number].vertices[image] == flat.vertices[piece.patch.triangles] * (-1, 1)).all()


def test_foam_thicker_than_the_bend_is_round_still_lies_flat() -> None:
    """A tube of 3 mm radius in 10 mm foam: nothing to be built, but no triangle may turn inside out."""
    shell = Shell.build(*solids.cylinder_patch(3.0, 5.0, 20.0, 12, 4))
    flat, _ = flat_of(shell, Settings(stock=Stock("foam", 10.0), fold_limit_deg=90.0))
    assert np.isfinite(flat).all()
    assert np.ptp(flat, axis=0).min() > 3.0


def test_two_sides_that_lie_on_each_other_unfold_to_both() -> None:
    """As of a panel modelled from both sides: its corners have no normal, so nothing of it sinks."""
    points = np.array([[0.0, 0, 0], [60, 0, 0], [60, 40, 0], [0, 40, 0]])
    shell = Shell.build(points, [[0, 1, 2, 3], [3, 2, 1, 0]], [[1, 2], [2, 3], [3, 0]])
    flat, _ = flat_of(shell, Settings(stock=Stock("foam", 10.0), fold_limit_deg=180.0))
    sides = np.linalg.svd(flat - flat.mean(axis=0), full_matrices=False)[2]
    assert np.sort(np.ptp(flat @ sides.T, axis=0)) == pytest.approx([60, 80], abs=1e-6)
