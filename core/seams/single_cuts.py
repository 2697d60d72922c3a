"""Cuts one at a time: the one more that helps a piece most, and those that a shell could do without."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..check import refuse_unfit
from ..flatten import Flattener
from ..progress import Progress, Steps, even, share
from ..settings import Settings
from ..shell import Shell
from .carry import Likeness
from .choices import EdgeChoices, SuggestionLimits, chosen_faces
from .draft import DOUBTFUL, Draft
from .finished import finished
from .improve import helping_cuts
from .outlook import Laid
from .plan import Cut, mean_bend_deg
from .reasons import plan_of, strain_of
from .settle import worst_of

MOST_OFFERED, NOTABLY = 5, 0.98
"""Cuts of one piece that are laid flat to find the one that helps most, and what is to be left of the trouble by it."""


def where_to_cut(
    shell: Shell,
    faces: np.ndarray,
    limits: SuggestionLimits | None = None,
    choices: EdgeChoices | None = None,
    foam: Settings | None = None,
) -> Steps[Cut | None]:
    """The one more cut that helps the piece of `faces` (p,) most, with its mirror image; None if it is fine or
    none of the likeliest cuts helps. foam : as in `suggest`. Yields Progress.
    """
    yield from share(refuse_unfit(shell), 0, 0)
    draft = Draft.of(shell, limits or SuggestionLimits(), choices or EdgeChoices())
    piece = chosen_faces(shell, faces)
    flattener = Flattener()
    laid = yield from share(finished(draft, foam, flattener), 0, 0.5)
    before = laid[draft.label[piece[0]]]
    if draft.trouble_of(before) <= 1:
        return None
    yield Progress("Trying cuts", 0.5)
    helpful, cuts = [], helping_cuts(draft, piece, before)[:MOST_OFFERED]
    for number, (cut, (first, last)) in enumerate(zip(cuts, even(len(cuts), 0.5), strict=True)):
        seam = draft.seam
        draft.seam = draft.with_cut(cut)
        laid = yield from share(finished(draft, foam, flattener), first, last)
        after = [laid[draft.label[part[0]]] for part in draft.pieces(piece)]
        # a closed piece may want more than one cut before it can be laid flat
        if before is None or _helps(_badness(draft, [before]), _badness(draft, after)):
            helpful.append((_badness(draft, after), number, draft.with_images(cut), after))
        draft.seam = seam
    if not helpful:
        return None
    _, _, edges, after = min(helpful, key=lambda one: one[:2])
    return Cut(
        edges,
        float(shell.edge_length[edges].sum()),
        strain_of(before),
        max(map(strain_of, after)),
        len(after) - 1,
        mean_bend_deg(shell, edges),
        False,
    )


def _badness(draft: Draft, laid: list[Laid | None]) -> tuple[float, float]:
    """How far the worst piece is from the limits, and how much of pieces lies over themselves."""
    return worst_of(draft, laid), sum(one.doubled for one in laid if one is not None)


def _helps(before: tuple[float, float], after: tuple[float, float]) -> bool:
    lies_less_over_itself = after[0] <= before[0] and after[1] < NOTABLY * before[1]
    return after[0] <= NOTABLY * before[0] or lies_less_over_itself


def removable_seams(
    shell: Shell, limits: SuggestionLimits | None = None, foam: Settings | None = None
) -> Steps[tuple[Cut, ...]]:
    """Runs of the shell's seams that could go, each by itself, without passing the limits. Yields Progress.

    foam : as in `suggest`.
    """
    yield from share(refuse_unfit(shell), 0, 0)
    bare = shell.with_seams(np.zeros(shell.edge_count, bool))
    draft = Draft.of(bare, limits or SuggestionLimits(), EdgeChoices())
    draft.seam = shell.seam & draft.inner
    if not np.array_equal(draft.mirrored(draft.seam), draft.seam):
        draft.twins = None  # cut differently left and right: no run takes an image with it that is no seam
    flattener = Flattener()
    laid = yield from share(finished(draft, foam, flattener), 0, 0.15)
    for faces, one in zip(draft.pieces(), laid, strict=True):
        draft.learn(faces, one)
    same = yield from Likeness.of(draft, draft.triangle_count)
    plan = yield from share(plan_of(draft, np.arange(shell.face_count), draft, same, laid), 0.15, 0.4)
    found = []
    for cut, (first, last) in zip(plan.cuts, even(len(plan.cuts), 0.4), strict=True):
        yield Progress("Trying without", first)
        if cut.strain_before <= DOUBTFUL * draft.limits.strain:
            seam = draft.seam
            draft.seam = draft.without(cut.edges)
            then = yield from share(finished(draft, foam, flattener), first, last)
            joined = [then[number] for number in np.unique(draft.label[shell.edge_faces[cut.edges]])]
            if worst_of(draft, joined) <= 1 and worst_of(draft, then) <= max(1.0, worst_of(draft, laid)):
                found.append(replace(cut, strain_before=max(map(strain_of, joined))))
            draft.seam = seam
    return tuple(found)
