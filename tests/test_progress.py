"""The bar of one job runs from 0 to 1 and never back, whatever work the job is put together of."""

import threading
from collections.abc import Iterable
from functools import cache
from itertools import pairwise

import numpy as np
import pytest
import solids
from foamwright.core.pieces import split
from foamwright.core.progress import Progress, Steps, finish, in_thread, nearing, share, telling
from foamwright.core.seams import SuggestionLimits, complete_seams, removable_seams, suggest, where_to_cut
from foamwright.core.settings import Settings
from foamwright.core.shell import Shell
from foamwright.core.unfold import unfold
from hypothesis import given
from hypothesis import strategies as st

parts = st.floats(0, 1)


def counted(told: Iterable[float], result: str) -> Steps[str]:
    yield from telling("counting", told)
    return result


def parts_of(steps: Steps) -> list[float]:
    return [step.part for step in steps]


@given(st.lists(parts), st.lists(parts), st.lists(parts, min_size=3, max_size=3).map(sorted))
def test_shares_never_fall_and_keep_to_their_place(one, other, ends):
    first, middle, last = ends

    def both() -> Steps[str]:
        told = yield from share(counted(one, "one"), first, middle)
        return told + (yield from share(counted(other, "other"), middle, last))

    told = parts_of(both())
    assert len(told) == len(one) + len(other)
    assert told == sorted(told)
    assert all(first <= part <= middle for part in told[: len(one)])
    assert all(middle <= part <= last for part in told[len(one) :])
    assert finish(both()) == "oneother"


def test_a_share_begins_and_ends_where_it_should():
    assert parts_of(share(counted((0.0, 0.5, 1.0), ""), 0.2, 0.6)) == pytest.approx([0.2, 0.4, 0.6])
    assert parts_of(share(counted((0.0, 0.8, 0.0, 0.9), ""), 0.0, 1.0)) == [0.0, 0.8, 0.8, 0.9]


def test_work_that_is_stopped_within_a_share_is_closed():
    closed = []

    def work() -> Steps[None]:
        try:
            yield Progress("working", 0.5)
            yield Progress("working", 1.0)
        finally:
            closed.append(True)

    steps = share(share(work(), 0, 0.5), 0, 0.5)
    assert next(steps) == Progress("working", 0.125)
    steps.close()
    assert closed == [True]


def test_turns_follow_each_other_and_come_near_to_the_end():
    shares = [nearing(turn) for turn in range(8)]
    assert shares[0][0] == 0
    assert all(one[1] == other[0] for one, other in pairwise(shares))
    assert all(first < last < 1 for first, last in shares)
    assert shares[-1][1] > 0.99


# --- whole jobs ------------------------------------------------------------------------------------


FOAM = Settings(nest_seconds=1)


@cache
def bumpy() -> Shell:
    points, faces = solids.bumpy()
    return Shell.build(3 * points, faces)


@cache
def cut_more_than_needed() -> Shell:
    return finish(complete_seams(bumpy(), float(np.radians(35))))


@cache
def torus() -> Shell:
    return Shell.build(*solids.torus(n_around=48, n_tube=24))


def first_piece_of(shell: Shell) -> np.ndarray:
    return np.flatnonzero(split(shell) == 0)


JOBS = {
    "suggest, of few faces": lambda: suggest(torus(), SuggestionLimits(0.08)),
    "suggest, of many": lambda: suggest(bumpy()),
    "suggest, in foam": lambda: suggest(bumpy(), foam=FOAM),
    "suggest, of one piece": lambda: suggest(
        cut_more_than_needed(), SuggestionLimits(0.01), faces=first_piece_of(cut_more_than_needed())
    ),
    "where to cut": lambda: where_to_cut(
        cut_more_than_needed(), first_piece_of(cut_more_than_needed()), SuggestionLimits(0.005), foam=FOAM
    ),
    "removable seams": lambda: removable_seams(cut_more_than_needed(), SuggestionLimits(0.1), foam=FOAM),
    "missing cuts": lambda: complete_seams(bumpy()),
    "pattern": lambda: unfold(cut_more_than_needed(), FOAM),
}


@pytest.mark.parametrize("job", JOBS.values(), ids=JOBS)
def test_the_bar_of_a_job_never_falls_nor_leaps(job):
    steps = [*job(), Progress("done", 1.0)]
    told = [step.part for step in steps]
    assert told == sorted(told)
    assert told[0] == 0
    assert told[-2] >= 0.8
    # the nester's part is one of time, and it may be done early
    assert max(b.part - a.part for a, b in pairwise(steps) if not a.stage.startswith("Nesting")) < 0.25


def test_the_bar_of_a_suggestion_keeps_moving():
    told = parts_of(suggest(bumpy(), foam=FOAM))
    assert np.unique(told, return_counts=True)[1].max() < len(told) / 5
    assert told[len(told) // 4] < 0.5 < told[3 * len(told) // 4]


def test_work_in_a_thread_reports_while_it_goes_on():
    """The work ends only after it was reported on three times."""
    seen = threading.Event()
    steps = in_thread(lambda: seen.wait(60), Progress("working", 0.5))
    assert [next(steps) for _ in range(3)] == [Progress("working", 0.5)] * 3
    seen.set()
    assert finish(steps) is True


def test_what_goes_wrong_in_a_thread_reaches_who_waits():
    with pytest.raises(ZeroDivisionError):
        finish(in_thread(lambda: 1 / 0, Progress("working", 0.0)))


def test_work_in_a_thread_can_be_left():
    seen = threading.Event()
    steps = in_thread(lambda: seen.wait(60), Progress("working", 0.0))
    next(steps)
    steps.close()  # does not wait for the work
    seen.set()
