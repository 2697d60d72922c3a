"""Folds: which edges are folded, how they chain into lines, and the cut each line gets."""

from __future__ import annotations

import numpy as np
import pytest
import solids
from foamwright.core.foam import Stock
from foamwright.core.folds import FoldRun, find_folds
from foamwright.core.pieces import cut_pieces
from foamwright.core.settings import Settings
from foamwright.core.shell import Shell

FOAM = Settings(stock=Stock("foam", 5.0, skin_mm=1.0))


def _folds(shell: Shell, settings: Settings = FOAM) -> tuple[FoldRun, ...]:
    (piece,), _ = cut_pieces(shell, settings)
    return find_folds(shell, piece, settings)


def _pleats(bends_deg: list[float], panel: float = 30.0, rows: int = 3) -> tuple[np.ndarray, list]:
    """Panels side by side, each turned from the last by a bend (+ ridge seen from above)."""
    heading = -np.radians(np.concatenate([[0.0], np.cumsum(bends_deg)]))
    x = np.concatenate([[0.0], np.cumsum(panel * np.cos(heading))])
    z = np.concatenate([[0.0], np.cumsum(panel * np.sin(heading))])
    y = 20.0 * np.arange(rows + 1)
    points = np.stack([np.tile(x, (len(y), 1)), np.tile(y[:, None], (1, len(x))), np.tile(z, (len(y), 1))], axis=-1)
    return solids.grid(points)


def test_ridges_are_grooved_and_valleys_scored():
    shell = Shell.build(*_pleats([50.0, -40.0, 20.0]))
    ridge, valley = sorted(_folds(shell), key=lambda fold: -fold.bend_deg)  # 20 degrees bend smoothly
    assert (ridge.kind, valley.kind) == ("groove", "score")
    assert ridge.bend_deg == pytest.approx(50)
    assert ridge.depth_mm == pytest.approx(4.0)
    assert ridge.mouth_mm == pytest.approx(2 * 4 * np.tan(np.radians(25)))
    assert ridge.hinge_depth_mm == pytest.approx(0.5)
    assert valley.bend_deg == pytest.approx(-40)
    assert valley.depth_mm == pytest.approx(2.5)
    assert valley.mouth_mm == pytest.approx(2 * 2.5 * np.tan(np.radians(20)))
    assert valley.hinge_depth_mm == pytest.approx(1.25)


def test_a_fold_runs_from_rim_to_rim_as_one_line():
    shell = Shell.build(*_pleats([50.0], rows=4))
    (fold,) = _folds(shell)
    (piece,), _ = cut_pieces(shell, FOAM)
    assert len(fold.edges) == 4
    ends = shell.vertices[piece.patch.shell_vertex[fold.path]]
    assert np.abs(np.diff(ends[:, 1])) == pytest.approx([20.0] * 4)
    pairs = np.sort(piece.patch.shell_vertex[np.stack([fold.path[:-1], fold.path[1:]], axis=1)], axis=1)
    np.testing.assert_array_equal(pairs, shell.edges[fold.edges])


def test_a_marked_edge_is_a_fold_whatever_it_bends_but_not_if_it_is_flat():
    vertices, faces = _pleats([10.0, 0.0])
    marks = [(1 + 4 * row, 5 + 4 * row) for row in range(3)] + [(2 + 4 * row, 6 + 4 * row) for row in range(3)]
    (fold,) = _folds(Shell.build(vertices, faces, folds=marks))
    assert fold.bend_deg == pytest.approx(10)


def test_a_seam_is_no_fold():
    vertices, faces = _pleats([50.0])
    bare = Shell.build(vertices, faces)
    shell = bare.with_seams(np.abs(bare.edge_bend) > 0.5)
    pieces, _ = cut_pieces(shell, FOAM)
    assert len(pieces) == 2
    assert [find_folds(shell, piece, FOAM) for piece in pieces] == [(), ()]


def _open_box(cells: int = 4) -> Shell:
    """A box without a lid, slit down its four upright edges: one piece, folded along the edges of its floor."""
    vertices, faces = solids.gridded_box(80, 80, 80, cells)
    bare = Shell.build(vertices, faces)
    kept = [face for face, centre in zip(faces, bare.face_centre, strict=True) if centre[2] < 39]
    used = np.unique(np.concatenate(kept))
    number = np.full(len(vertices), -1)
    number[used] = np.arange(len(used))
    shell = Shell.build(vertices[used], [number[face].tolist() for face in kept])
    upright = np.isclose(np.abs(shell.vertices[shell.edges][:, :, :2]), 40).all(axis=(1, 2))
    return shell.with_seams(upright & ~np.isclose(shell.edge_vector[:, 2], 0))


def test_folds_end_in_the_corners_of_a_box():
    folds = _folds(_open_box())
    assert len(folds) == 4
    for fold in folds:
        assert len(fold.edges) == 4
        assert fold.bend_deg == pytest.approx(90)


def test_folds_end_where_more_than_two_meet():
    x, y = np.meshgrid(np.arange(5) * 20.0, np.arange(5) * 20.0)
    roof = -np.abs(x - 40) - np.abs(y - 40)
    folds = _folds(Shell.build(*solids.triangulated(solids.grid(np.stack([x, y, roof], axis=-1)))))
    middle = [fold for fold in folds if fold.kind == "groove"]
    assert [len(fold.edges) for fold in middle] == [2] * 4


def test_ridge_and_valley_in_one_line_are_two_folds():
    """A line along x whose sides are bent down on the left and up on the right."""
    x = np.arange(7) * 20.0
    tilt = np.radians([50, 50, 50, 0, -50, -50, -50])
    rows = [np.stack([x, s * 30 * np.cos(tilt / 2), -30 * np.sin(tilt / 2)], axis=1) for s in (-1, 0, 1)]
    rows[1] = np.stack([x, 0 * x, 0 * x], axis=1)
    folds = _folds(Shell.build(*solids.grid(np.stack(rows))))
    assert sorted(fold.kind for fold in folds) == ["groove", "score"]
    assert all(fold.bend_least_deg <= fold.bend_deg <= fold.bend_most_deg for fold in folds)


def test_a_round_fold_is_one_closed_line():
    """A flat disc with a collar bent down all round, slit once from collar to rim."""
    n = 24
    turn = 2 * np.pi * np.arange(n) / n
    rings = [
        np.stack([r * np.cos(turn), r * np.sin(turn), np.full(n, z)], axis=1) for r, z in ((20, 0), (40, 0), (60, -20))
    ]
    vertices = np.vstack([*rings, (0, 0, 0)])
    faces = [[3 * n, i, (i + 1) % n] for i in range(n)]
    faces += [
        [k * n + i, (k + 1) * n + i, (k + 1) * n + (i + 1) % n, k * n + (i + 1) % n] for k in (0, 1) for i in range(n)
    ]
    (fold,) = _folds(Shell.build(vertices, faces), Settings(stock=FOAM.stock, fold_limit_deg=20))
    assert len(fold.edges) == n
    assert fold.path[0] == fold.path[-1]
    assert fold.kind == "groove"


def test_a_sharp_edge_shorter_than_the_foam_is_thick_needs_a_mark():
    vertices, faces = _pleats([50.0], rows=1)
    small = vertices * (1.0, 0.2, 1.0)  # a fold of 4 mm
    assert _folds(Shell.build(small, faces)) == ()
    (fold,) = _folds(Shell.build(small, faces, folds=[(1, 4)]))
    assert fold.kind == "groove"


def test_both_sides_of_a_slit_are_kept_apart():
    """A fold that crosses the end of a slit runs on the patch's own vertices."""
    vertices, faces = _pleats([50.0], rows=4)
    shell = Shell.build(vertices, faces, seams=[(1, 4), (4, 7)])
    (fold,) = _folds(shell)
    assert len(fold.edges) == 2
    (piece,), _ = cut_pieces(shell, FOAM)
    assert set(fold.edges.tolist()).isdisjoint(np.flatnonzero(shell.seam).tolist())
    assert len(piece.patch.shell_vertex) == len(vertices) + 2


@pytest.mark.parametrize("seed", range(3))
def test_numbering_does_not_change_the_folds(seed):
    mesh = _pleats([50.0, -40.0, 35.0])
    vertices, faces, _ = solids.reordered(mesh, seed)

    def facts(shell):
        return sorted((f.kind, len(f.edges), round(f.bend_deg, 6), round(f.mouth_mm, 6)) for f in _folds(shell))

    assert facts(Shell.build(*mesh)) == facts(Shell.build(vertices, faces))
