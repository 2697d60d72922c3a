"""Totals of a plan with cuts left out: known at once where the pieces are, and true when they are laid flat."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import pytest
import solids
from foamwright.core.cut_words import cut_words
from foamwright.core.pieces import split
from foamwright.core.plan_totals import Reckoning
from foamwright.core.progress import finish
from foamwright.core.report import report
from foamwright.core.seams import PieceOutlook, Plan
from foamwright.core.settings import Settings
from foamwright.core.shell import Shell
from foamwright.core.unfold import unfold
from hypothesis import given
from hypothesis import strategies as st
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components


def quarters() -> Shell:
    """A tube cut into four strips."""
    shell = Shell.build(*solids.tube(n_around=16))
    upright = np.ptp(shell.vertices[shell.edges][:, :, 2], axis=1) > 1
    turn = np.degrees(np.arctan2(*shell.vertices[shell.edges].mean(axis=1)[:, :2].T)).round(3)
    return shell.with_seams(upright & (np.abs((turn + 360) % 90 - turn[upright].max() % 90) < 0.01))


def cuts_of(shell: Shell) -> list[np.ndarray]:
    """The lines of seam, each by its place around the tube."""
    at = np.flatnonzero(shell.seam)
    place = shell.vertices[shell.edges[at]].mean(axis=1)[:, :2].round(3)
    _, line = np.unique(place, axis=0, return_inverse=True)
    return [at[line.reshape(-1) == number] for number in range(int(line.max()) + 1)]


def counted(shell: Shell) -> int:
    joined = shell.edge_faces[shell.edge_is_consistent & ~shell.seam].T
    graph = coo_array((np.ones(joined.shape[1]), tuple(joined)), shape=(shell.face_count,) * 2)
    return connected_components(graph, directed=False)[0]


@given(st.sets(st.integers(0, 3)))
def test_pieces_and_length_are_known_at_once_whatever_is_left_out(left_out):
    shell = without(quarters(), left_out)
    totals = Reckoning().totals(shell)
    assert totals.pieces == counted(shell)
    assert totals.length_mm == pytest.approx((4 - len(left_out)) * 80.0)
    assert totals.results is None


def without(shell: Shell, left_out: Iterable[int]) -> Shell:
    seam, lines = shell.seam.copy(), cuts_of(shell)
    for number in left_out:
        seam[lines[number]] = False
    return shell.with_seams(seam)


def test_seams_on_an_open_rim_are_no_length():
    shell = quarters()
    with_rim = shell.with_seams(shell.seam | ~shell.edge_is_consistent)
    assert Reckoning().totals(with_rim).length_mm == pytest.approx(Reckoning().totals(shell).length_mm)


def test_what_a_plan_says_is_known_until_a_cut_is_left_out_and_again_when_it_is_back():
    shell = quarters()
    pieces = tuple(PieceOutlook(np.flatnonzero(split(shell) == n), 0.01 * n, (80.0, 70.0), n == 2) for n in range(4))
    reckoning = Reckoning()
    reckoning.keep(Plan(shell, (), pieces))
    told = [(result.strain, result.lies_over_itself) for result in reckoning.totals(shell).results]
    assert told == [(0.0, False), (0.01, False), (0.02, True), (0.03, False)]
    assert reckoning.totals(without(shell, [1])).results is None
    assert reckoning.totals(shell).results is not None


def test_what_was_worked_out_is_not_worked_out_again():
    shell, reckoning = without(quarters(), [2]), Reckoning()
    first = finish(reckoning.work_out(shell, Settings()))
    assert len(first.results) == 3
    assert list(reckoning.work_out(shell, Settings())) == []
    assert reckoning.totals(shell).results == first.results
    assert reckoning.totals(shell.with_vertices(shell.vertices * 1.01)).results is None, "another shape"


def test_the_strain_is_that_of_the_finished_pattern():
    bare = Shell.build(*solids.saddle())
    middle = np.median(bare.vertices[:, 0])
    shell = bare.with_seams(np.abs(bare.vertices[bare.edges][:, :, 0] - middle).max(axis=1) < 1e-6)
    totals = finish(Reckoning().work_out(shell, Settings()))
    pattern = finish(unfold(shell, Settings(nest_seconds=1)))
    wanted = sorted(piece.common for piece in report(pattern).pieces)
    assert len(wanted) == 2
    # there by the area of the flats, here by that of the shell
    assert sorted(result.strain for result in totals.results) == pytest.approx(wanted, rel=0.02)
    assert min(wanted) > 0.005


def test_a_closed_piece_has_no_strain_to_tell():
    totals = finish(Reckoning().work_out(Shell.build(*solids.tube()), Settings()))
    assert [result.strain for result in totals.results] == [np.inf]


@pytest.mark.parametrize(
    ("bend", "words"),
    [
        (68.0, "ridge 68°: bevel 34° on each edge; without the cut a V-groove that closes"),
        (-68.0, "valley 68°: bevel 34° on each edge, inside longer; without the cut a score that opens"),
        (20.0, "ridge 20°: bevel 20° on one edge; without the cut the foam bends uncut"),
        (8.0, "ridge 8°: square edges; without the cut the foam bends uncut"),
        (0.0, "flat: square edges; without the cut the foam bends uncut"),
    ],
)
def test_both_choices_at_a_cut_are_told(bend, words):
    assert cut_words(bend, Settings()) == words


def test_the_choices_at_a_cut_go_by_the_settings():
    assert "square edges; without the cut a V-groove" in cut_words(68.0, Settings(joint_rule="butt"))
    assert "bevel 68° on one edge" in cut_words(68.0, Settings(joint_rule="one-sided"))
    assert cut_words(68.0, Settings(fold_limit_deg=70.0)).endswith("the foam bends uncut")
