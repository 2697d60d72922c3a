import numpy as np
import pytest
from foamwright.core.dashes import dashes
from foamwright.core.shell import Shell
from hypothesis import given
from hypothesis import strategies as st

SIDE = 12


@pytest.fixture(scope="module")
def sheet():
    """A flat sheet of 12 x 12 squares of 10 mm."""
    points = [(10.0 * x, 10.0 * y, 0.0) for y in range(SIDE + 1) for x in range(SIDE + 1)]
    row = SIDE + 1
    corners = [y * row + x for y in range(SIDE) for x in range(SIDE)]
    return Shell.build(points, [(c, c + 1, c + row + 1, c + row) for c in corners])


def edges_along(shell, places):
    """Edges between vertices given as (column, row), one after another."""
    numbers = [y * (SIDE + 1) + x for x, y in places]
    return shell.edge_between(np.column_stack([numbers[:-1], numbers[1:]]))


def length(bits):
    return np.linalg.norm(bits[:, 1] - bits[:, 0], axis=1).sum()


STAIRS = [(2, 2), (3, 2), (3, 3), (4, 3), (4, 4), (5, 4), (6, 4), (6, 5)]


@given(st.floats(1, 200), st.floats(0.5, 100))
def test_dashes_cover_their_share_and_both_ends(sheet, dash, gap):
    edges = edges_along(sheet, STAIRS)
    bits = dashes(sheet, edges, dash, gap)
    total = 10.0 * len(edges)
    gaps = max(round((total - dash) / (dash + gap)), 0)
    assert length(bits) == pytest.approx(total * (gaps + 1) * dash / (gaps * (dash + gap) + dash), rel=1e-9)
    ends = {tuple(point) for point in np.round(bits.reshape(-1, 3), 6)}
    assert {(20.0, 20.0, 0.0), (60.0, 50.0, 0.0)} <= ends
    # on a grid every bit that does not cut a corner runs along one axis, on a grid line
    assert (np.isclose(bits[:, 0], bits[:, 1]).sum(axis=1) == 2).all()


def test_without_a_gap_the_line_is_whole(sheet):
    edges = edges_along(sheet, STAIRS)
    assert length(dashes(sheet, edges, 4.0, 0.0)) == pytest.approx(10.0 * len(edges))


def test_closed_runs_and_several_runs_are_dashed(sheet):
    around = [(x, 2) for x in range(2, 6)] + [(5, y) for y in range(3, 6)]
    around += [(x, 5) for x in range(4, 1, -1)] + [(2, y) for y in range(4, 1, -1)]
    edges = np.concatenate([edges_along(sheet, around), edges_along(sheet, [(8, 8), (9, 8), (10, 8)])])
    bits = dashes(sheet, edges, 5.0, 5.0)
    # 12 edges around: 5 of every 10 mm but for the dash that closes the ring; 2 edges by themselves: two dashes
    assert length(dashes(sheet, edges, 1.0, 0.0)) == pytest.approx(140.0)
    assert 60 < length(bits) < 80
    assert bits[:, :, 0].max() == pytest.approx(100)


def test_no_edges_make_no_dashes(sheet):
    assert dashes(sheet, np.empty(0, np.int64), 5.0, 5.0).shape == (0, 2, 3)
