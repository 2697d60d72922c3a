"""Suggest where to cut: the plan that comes out best."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np

from ..check import refuse_unfit
from ..flatten import Flattener
from ..progress import Progress, Steps, even, share, telling
from ..settings import Settings
from ..shell import Shell
from .carry import Likeness
from .choices import EdgeChoices, SuggestionLimits, chosen_faces
from .draft import Draft
from .improve import divide, prove, take_out
from .plan import Plan
from .reasons import plan_of
from .settle import Effort, Settled, proved, settle
from .sources import complete_seams
from .touches import MOST_TOUCHED, touched_up, without_idle_runs

STARTS = (float(np.radians(50)), None)
"""Turns by which shells are first divided; None starts from the bare shell. The best plan of all is kept."""

JUDGED_ON, STRICTNESS = 3000, 0.97
"""Triangles that plans are judged on while they are looked for. A finer shell gets the plan of a likeness, held to a
little less strain because it is carried over, and mended where it fails after all."""

LOOKED_AT = 0.05
DONE_AS_IT_IS = (LOOKED_AT, 0.85, 0.97, 1.0)
DONE_ON_A_LIKENESS = (LOOKED_AT, 0.42, 0.52, 0.98, 1.0)
DONE_ON_A_FINE_ONE = (LOOKED_AT, 0.58, 0.75, 0.98, 1.0)
"""Parts of the work that are done when the likeness is there, and after each of the other stages in their turn, as
measured on helmets, heads and scans."""

FEW_FACES = 1500
FOR_FEW, FOR_MANY, ON_MANY = Effort(4, 4, 70), Effort(2, 3, 140), Effort(1, 1, 0)
"""For a shell of few faces, which is tried on several likenesses; for one of many faces; and for one of many that has
no likeness of few."""

STARTED = 1.3
"""Work on the first rough plan over that on one that follows it, as measured."""


def suggest(
    shell: Shell,
    limits: SuggestionLimits | None = None,
    choices: EdgeChoices | None = None,
    faces: np.ndarray | None = None,
    foam: Settings | None = None,
) -> Steps[Plan]:
    """A plan whose every piece lies flat within the limits, where the allowed edges can do that. Yields Progress.

    The shell's own seams stay, and so do those of `choices.keep`. faces : (p,) int, cut only these; all if None.
    foam : the maker's settings, to hold the finished pattern to the limits, with the thickness of its foam and its
    seams equally long; None for each piece alone, on the skin. Where the shell mirrors itself, its seams with it, the
    plan does so exactly. The same shell gives the same plan.
    Raises MeshError for what cannot be laid flat however it is cut, and where there are no faces to cut.
    """
    yield from share(refuse_unfit(shell), 0, 0)
    draft = Draft.of(shell, limits or SuggestionLimits(), choices or EdgeChoices())
    region = np.arange(shell.face_count)
    part, edge = draft, np.arange(shell.edge_count)
    if faces is not None:
        region = draft.with_twin_faces(chosen_faces(shell, faces))
        part, edge = draft.part(region)
    yield Progress("Looking at the shape", 0.0)
    whole = yield from share(Likeness.of(part, JUDGED_ON, STRICTNESS), 0, LOOKED_AT)
    is_fine = part.triangle_count > MOST_TOUCHED
    done = DONE_ON_A_FINE_ONE if is_fine else DONE_AS_IT_IS if whole.coarse is None else DONE_ON_A_LIKENESS
    shares, flattener = pairwise(done), Flattener()
    best = yield from share(_best_plan(whole.rough, foam, flattener), *next(shares))
    small = best.likeness
    if is_fine:
        best = yield from share(without_idle_runs(best, foam, flattener), *next(shares))
    if whole.coarse is not None:
        whole.rough.seam = best.seam
        best = yield from share(proved(whole, foam, flattener), *next(shares))
    if not is_fine:
        best = yield from share(touched_up(best, foam, flattener), *next(shares))
    part.seam = best.seam
    seam = draft.seam.copy()
    seam[edge] |= part.seam
    draft.seam = seam
    return (yield from share(plan_of(draft, region, part, small, best.laid), *next(shares)))


def _best_plan(draft: Draft, foam: Settings | None, flattener: Flattener) -> Steps[Settled]:
    """The best of the plans worked out on likenesses of a shell."""
    settled, likenesses = [], (yield from share(Likeness.faithful(draft), 0, LOOKED_AT))
    has_few = draft.shell.face_count <= FEW_FACES
    likenesses = likenesses if has_few else likenesses[:1]
    for likeness, (first, last) in zip(likenesses, even(len(likenesses), LOOKED_AT), strict=True):
        few = likeness.rough.shell.face_count <= FEW_FACES
        effort = FOR_FEW if has_few else FOR_MANY if few else ON_MANY
        begun = first + (last - first) * STARTED / (STARTED + effort.least)
        rough = yield from share(_best_start(likeness.rough), first, begun)
        settled.append((yield from share(settle(replace(likeness, rough=rough), foam, effort, flattener), begun, last)))
    return min(settled, key=lambda one: one.merit)


def _best_start(draft: Draft) -> Steps[Draft]:
    """The best of the plans that different first divisions lead to."""
    plans = []
    starts = STARTS if draft.shell.face_count <= FEW_FACES else STARTS[:1]
    for turn_limit, (first, last) in zip(starts, even(len(starts)), strict=True):
        plans.append((yield from share(_divided(draft.afresh(), turn_limit), first, last)))
    return min(plans, key=lambda plan: plan.demerit())


def _divided(draft: Draft, turn_limit: float | None) -> Steps[Draft]:
    """Start from a first division by where faces look, or from the bare shell."""
    if turn_limit is not None:
        done = yield from share(complete_seams(draft.shell.with_seams(draft.kept), turn_limit), 0, 0.05)
        draft.seam = draft.seam | draft.mirrored(done.seam & draft.free)
    yield from share(telling("Dividing the shell", divide(draft)), 0.05, 0.4)
    yield from share(telling("Taking seams out again", take_out(draft)), 0.4, 0.65)
    yield from share(telling("Laying pieces flat", prove(draft)), 0.65, 1)
    return draft
