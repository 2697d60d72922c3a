"""The last part of the work on a plan: see how it really comes out, mend, learn, and look for a better one."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from ..flatten import Flattener
from ..progress import Progress, Steps, nearing, share, telling
from ..settings import Settings
from .carry import Likeness
from .draft import HOPELESS, Draft
from .finished import finished
from .improve import divide, joined, mend, take_out
from .outlook import Laid
from .redivide import redivide

MOST_MENDINGS, LAST_MENDINGS = 5, 6
"""Rounds of mending on the fine shell by small cuts, and of dividing what still fails then."""

WORTH_MENDING = 0.98
"""Part of the excess over the limits that a round of mending must leave at most for another one."""

NEARLY = 1.15
"""How far over the limits a plan may be to be mended before another is tried."""

CAUTION = 0.04
"""What is added with every round to the strain that is learnt of a piece that was thought fine and is not."""

SAME_TROUBLE = 0.1
"""Plans whose pieces are over the limits by about as much are told apart by their price."""

AT_FIRST, TURN = 0.05, (0.0, 0.15, 0.45, 0.5, 1.0)
"""Parts of the work: what the rough shell teaches before the first turn; and where in a turn its laying flat, mending,
learning, and looking for shorter seams begin and end. As measured on helmets, heads and scans."""

Lesson = tuple[np.ndarray, Laid | None]
"""Faces of a piece, and how it came out."""


class Effort(NamedTuple):
    """Rough plans that are tried at least, and at most where none of them keeps to the limits; triangles laid flat, per
    face of the rough shell, in search of each but the first."""

    least: int
    most: int
    patience: int


@dataclass(frozen=True, eq=False)
class Settled:
    """A plan as it comes out on the fine shell of a likeness, whose rough shell it was worked out on.

    merit : by how much its pieces are over the limits in all, and its price; the less the better
    laid : per piece of the fine shell cut by `seam` (k,)
    """

    likeness: Likeness
    merit: tuple[float, float]
    seam: np.ndarray
    laid: list[Laid | None]


def settle(likeness: Likeness, foam: Settings | None, effort: Effort, flattener: Flattener) -> Steps[Settled]:
    """Give the fine shell the best of a few rough plans, each mended where it fails there.

    What the fine shell teaches is held against the next rough plan. Where no mending helps, the plan that came
    nearest to the limits stays.
    """
    rough, fine, (least, most, patience) = likeness.rough, likeness.fine, effort
    best: Settled | None = None
    begun = 0.0
    if foam is not None and likeness.coarse is not None:
        # what the thickness adds shows on the rough shell already
        begun = AT_FIRST
        shown = yield from share(finished(rough, foam), 0, begun / 2)
        yield from share(_learn(rough, outcomes(rough, shown)), begun / 2, begun)
    for turn in range(most):
        # the last turn ends where another would begin to learn; what it leaves is for the last resort
        at = begun + (1 - begun) * (turn + np.array(TURN)) / ((least + most) / 2)
        likeness.carry()
        laid = yield from share(finished(fine, foam, flattener), *at[:2])
        lessons = _lessons(likeness, laid)
        if likeness.coarse is None or turn + 1 == most or worst_of(fine, laid) <= NEARLY:
            laid = yield from share(mended(fine, laid, foam, flattener, MOST_MENDINGS), *at[1:3])
        merit = merit_of(fine, laid)
        if best is None or merit < best.merit:
            best = Settled(likeness, merit, fine.seam, laid)
        if turn + 1 == most or (turn + 1 >= least and best.merit[0] == 0):
            break
        yield from share(_learn(rough, lessons), *at[2:4])
        yield from share(telling("Looking for shorter seams", redivide(rough, turn, patience)), *at[3:])
    assert best is not None
    best = yield from share(_divided_where_it_fails(best, foam, flattener), at[2], 1)
    fine.seam = best.seam
    return best


def proved(likeness: Likeness, foam: Settings | None, flattener: Flattener) -> Steps[Settled]:
    """The rough plan on the fine shell, mended where it fails there."""
    fine = likeness.fine
    likeness.carry()
    laid = yield from share(finished(fine, foam, flattener), 0, 0.5)
    laid = yield from share(mended(fine, laid, foam, flattener, MOST_MENDINGS), 0.5, 0.8)
    best = Settled(likeness, merit_of(fine, laid), fine.seam, laid)
    return (yield from share(_divided_where_it_fails(best, foam, flattener), 0.8, 1))


def _divided_where_it_fails(best: Settled, foam: Settings | None, flattener: Flattener) -> Steps[Settled]:
    """The last resort where small cuts do not help; the better of it and what there was."""
    fine, laid = best.likeness.fine, best.laid
    fine.seam = best.seam
    for number in range(LAST_MENDINGS):
        if best.merit[0] == 0:
            break
        before = fine.seam
        failing = failing_of(fine, laid)
        first, last = nearing(number)
        at = np.linspace(first, last, 4)
        for faces, one in failing:
            if not joined(fine, faces, one):
                fine.learn(faces, one, 1 + CAUTION * number)
                yield from share(telling("Mending pieces", divide(fine, faces)), *at[:2])
        if np.array_equal(before, fine.seam):
            break
        region = fine.with_twin_faces(np.concatenate([faces for faces, _ in failing]))
        yield from share(telling("Taking seams out again", take_out(fine, region)), *at[1:3])
        laid = yield from share(finished(fine, foam, flattener), *at[2:])
        if merit_of(fine, laid) < best.merit:
            best = Settled(best.likeness, merit_of(fine, laid), fine.seam, laid)
    return best


def merit_of(fine: Draft, laid: list[Laid | None]) -> tuple[float, float]:
    """By how much pieces are over what is allowed in all, and the price of the plan."""
    return float(SAME_TROUBLE * np.ceil(_excess(fine, laid) / SAME_TROUBLE)), fine.demerit()[1]


def worst_of(draft: Draft, laid: list[Laid | None]) -> float:
    """How far the worst of the pieces is from the limits; at most 1 is fine."""
    return max(map(draft.trouble_of, laid))


def failing_of(fine: Draft, laid: list[Laid | None]) -> list[Lesson]:
    """Those of the draft's own pieces that are over the limits."""
    return [(faces, one) for faces, one in outcomes(fine, laid) if fine.trouble_of(one) > 1]


def mended(
    fine: Draft, laid: list[Laid | None], foam: Settings | None, flattener: Flattener, rounds: int
) -> Steps[list[Laid | None]]:
    """Cut failing pieces of the fine shell until they are fine, or no cut helps."""
    may_join = True
    for number in range(rounds):
        failing = failing_of(fine, laid)
        before = fine.seam
        first, last = nearing(number)
        middle = first + (last - first) / 4
        yield from share(_each_mended(fine, failing, 1 + CAUTION * (number + 1), may_join), first, middle)
        if np.array_equal(before, fine.seam):
            break
        then = yield from share(finished(fine, foam, flattener), middle, last)
        helps = _excess(fine, then) <= WORTH_MENDING * _excess(fine, laid)
        if not helps and not may_join:
            fine.seam = before
            break
        if helps:
            laid = then
        else:
            fine.seam, may_join = before, False
    return laid


def _each_mended(draft: Draft, failing: list[Lesson], caution: float = 1.0, may_join: bool = True) -> Steps[None]:
    for number, (faces, one) in enumerate(failing):
        yield Progress("Mending pieces", number / len(failing))
        for _ in mend(draft, faces, one, caution, may_join):
            yield Progress("Mending pieces", number / len(failing))


def _excess(fine: Draft, laid: list[Laid | None]) -> float:
    """By how much pieces are over the limits in all."""
    return sum(min(fine.trouble_of(one), HOPELESS) - 1 for one in laid if fine.trouble_of(one) > 1)


def outcomes(fine: Draft, laid: list[Laid | None]) -> list[Lesson]:
    """The draft's own pieces with how each came out."""
    return [(faces, laid[fine.label[faces[0]]]) for faces in fine.own_pieces(fine.pieces())]


def _lessons(likeness: Likeness, laid: list[Laid | None]) -> list[Lesson]:
    """For every rough piece the worst that came of it on the fine shell."""
    worst: dict[int, Lesson] = {}
    for faces, one in outcomes(likeness.fine, laid):
        part = likeness.counterpart(faces)
        known = worst.get(int(part[0]))
        if known is None or likeness.fine.trouble_of(one) > likeness.fine.trouble_of(known[1]):
            worst[int(part[0])] = part, one
    return list(worst.values())


def _learn(rough: Draft, lessons: list[Lesson]) -> Steps[None]:
    """Set the rough forecasts right, mend what was thought fine, and take out what is not needed after all."""
    for faces, one in lessons:
        rough.learn(faces, one, 1 + CAUTION if rough.trouble_of(one) > 1 else 1.0)
    failing = [(faces, one) for faces, one in lessons if rough.trouble_of(one) > 1]
    yield from share(_each_mended(rough, failing), 0, 0.5)
    yield from share(telling("Taking seams out again", take_out(rough)), 0.5, 1)
