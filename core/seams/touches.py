"""The last touches on a plan that has come out: seams are drawn straighter, and go if they are not needed."""

from __future__ import annotations

from functools import reduce

import numpy as np

from ..flatten import Flattener
from ..progress import Progress, Steps, nearing, share
from ..settings import Settings
from .draft import PIECE_PRICE, Draft
from .finished import finished
from .runs import seam_runs
from .settle import Settled, failing_of, mended, merit_of, outcomes
from .smoothing import nearest, straighter

MOST_TOUCHED = 12_000
"""Triangles of a shell up to which it gets them. The paths on finer ones turn little, their teeth are small, and a
forecast would hold the window up."""

MOST_IDLE, LEAST_GAIN = 8, 25.0
"""Runs that a plan is tried without, and mm of seam that this must save to be worth a try."""

SEEMS_IDLE = 1.1
"""Times the limit that the forecast without a run may be, or times what it was the spread of the potential, for it to
be tried. Either can be far too high, for other reasons."""

MOST_PROOFS, MENDINGS, DEARER = 5, 1, 1.03
"""Times that a plan with straighter seams is laid flat, rounds of mending that it gets then, and times its price that
it may cost for them."""


def touched_up(best: Settled, foam: Settings | None, flattener: Flattener) -> Steps[Settled]:
    """The plan with straighter seams, and without what is not needed; what is left then may be drawn straighter yet."""
    best = yield from share(drawn_straighter(best, foam, flattener), 0, 0.25)
    best = yield from share(without_idle_runs(best, foam, flattener), 0.25, 0.75)
    return (yield from share(drawn_straighter(best, foam, flattener), 0.75, 1))


def _taken_up(best: Settled) -> Draft:
    """The draft with the plan's seams, its forecasts set right by how that came out."""
    fine = best.likeness.fine
    fine.seam = best.seam
    for faces, one in outcomes(fine, best.laid):
        fine.learn(faces, one)
    return fine


def without_idle_runs(best: Settled, foam: Settings | None, flattener: Flattener) -> Steps[Settled]:
    """Try how the plan comes out without runs that seem not to be needed, those that save most first."""
    fine, tried = _taken_up(best), 0
    runs = [run for run in seam_runs(fine.shell, fine.seam, fine.kept) if fine.free[run].all() and fine.is_own(run)]
    gains = [_gain(fine, run) for run in runs]
    for rank, number in enumerate(np.argsort(gains, kind="stable")[::-1]):
        run = runs[number]
        if tried == MOST_IDLE or gains[number] < LEAST_GAIN:
            break
        done = max(tried / MOST_IDLE, rank / len(runs))
        yield Progress("Trying without", done)
        if fine.seam[run].all() and _seems_idle(fine, run):
            tried += 1
            fine.seam = fine.without(run)
            laid = yield from share(finished(fine, foam, flattener), done, max(done, tried / MOST_IDLE))
            if merit_of(fine, laid) < best.merit:
                best = Settled(best.likeness, merit_of(fine, laid), fine.seam, laid)
            fine.seam = best.seam
    return best


def _gain(fine: Draft, run: np.ndarray) -> float:
    """What the plan costs less without a run, mm."""
    edges = fine.with_images(run)
    region = fine.around(edges)
    fewer = len(fine.pieces(region)) - len(fine.pieces(region, fine.without(run)))
    return float(fine.price[edges].sum()) + PIECE_PRICE * fewer


def _seems_idle(fine: Draft, run: np.ndarray) -> bool:
    """Whether by one forecast or the other the pieces that it divides could be one."""
    seam, region = fine.without(run), fine.around(fine.with_images(run))
    now, then = fine.own_pieces(fine.pieces(region)), fine.own_pieces(fine.pieces(region, seam))
    before = max(fine.spread(piece, fine.seam) for piece in now)
    if max(fine.spread(piece, seam) for piece in then) <= SEEMS_IDLE * before:
        return True
    return all(fine.state(piece, seam).strain <= SEEMS_IDLE * fine.limits.strain for piece in then)


def drawn_straighter(best: Settled, foam: Settings | None, flattener: Flattener) -> Steps[Settled]:
    """The plan with straighter seams, but for those that it does not come out as well with."""
    fine = _taken_up(best)
    strokes = yield from share(straighter(fine), 0, 0.5)
    for turn in range(MOST_PROOFS):
        if not strokes:
            break
        fine.seam = reduce(lambda seam, stroke: stroke.drawn(seam), strokes, best.seam)
        first, last = ((1 + part) / 2 for part in nearing(turn))
        laid = yield from share(finished(fine, foam, flattener), first, (first + last) / 2)
        drawn = fine.seam
        # the crooked way may have been just long enough: a dart makes up for that
        whole = yield from share(mended(fine, laid, foam, flattener, MENDINGS), (first + last) / 2, last)
        merit = merit_of(fine, whole)
        if merit[0] <= best.merit[0] and merit[1] <= DEARER * best.merit[1]:
            return Settled(best.likeness, merit, fine.seam, whole)
        fine.seam = drawn
        worst = {nearest(fine, strokes, faces, one) for faces, one in failing_of(fine, laid)} or {strokes[-1]}
        strokes = [stroke for stroke in strokes if stroke not in worst]
    return best
