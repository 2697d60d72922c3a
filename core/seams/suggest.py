"""Suggest where to cut, say why each cut is there, and which seams could go."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
from scipy.spatial import KDTree

from ..errors import MeshError
from ..flatten import Flattener
from ..progress import Progress, Steps, even, share, telling
from ..settings import Settings
from ..shell import Shell
from .carry import Likeness
from .choices import EdgeChoices, SuggestionLimits
from .draft import DOUBTFUL, Draft
from .finished import finished
from .improve import divide, helping_cuts, prove, take_out
from .outlook import Laid
from .plan import Cut, PieceOutlook, Plan, mean_bend_deg
from .runs import seam_runs
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

MOST_OFFERED, NOTABLY = 5, 0.98
"""Cuts of one piece that are laid flat to find the one that helps most, and what is to be left of the trouble by it."""

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
    Raises MeshError for faces without area, and where there are none to cut.
    """
    draft = Draft.of(shell, limits or SuggestionLimits(), choices or EdgeChoices())
    region = np.arange(shell.face_count)
    part, edge = draft, np.arange(shell.edge_count)
    if faces is not None:
        region = draft.with_twin_faces(_chosen(shell, faces))
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
    return (yield from share(_plan_of(draft, region, part, small, best.laid), *next(shares)))


def _chosen(shell: Shell, faces: np.ndarray) -> np.ndarray:
    """(p,) int sorted, the faces to cut."""
    if not len(faces):
        raise MeshError(f"'{shell.name}': there is no face among those to cut; choose a piece, or some faces.")
    return np.sort(np.asarray(faces, np.int64))


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
    draft = Draft.of(shell, limits or SuggestionLimits(), choices or EdgeChoices())
    piece = _chosen(shell, faces)
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
        _strain(before),
        max(map(_strain, after)),
        len(after) - 1,
        mean_bend_deg(shell, edges),
        False,
    )


def _badness(draft: Draft, laid: list[Laid | None]) -> tuple[float, float]:
    """How far the worst piece is from the limits, and how much of pieces lies over themselves."""
    return _worst(draft, laid), sum(one.doubled for one in laid if one is not None)


def _helps(before: tuple[float, float], after: tuple[float, float]) -> bool:
    lies_less_over_itself = after[0] <= before[0] and after[1] < NOTABLY * before[1]
    return after[0] <= NOTABLY * before[0] or lies_less_over_itself


def removable_seams(
    shell: Shell, limits: SuggestionLimits | None = None, foam: Settings | None = None
) -> Steps[tuple[Cut, ...]]:
    """Runs of the shell's seams that could go, each by itself, without passing the limits. Yields Progress.

    foam : as in `suggest`.
    """
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
    plan = yield from share(_plan_of(draft, np.arange(shell.face_count), draft, same, laid), 0.15, 0.4)
    found = []
    for cut, (first, last) in zip(plan.cuts, even(len(plan.cuts), 0.4), strict=True):
        yield Progress("Trying without", first)
        if cut.strain_before <= DOUBTFUL * draft.limits.strain:
            seam = draft.seam
            draft.seam = draft.without(cut.edges)
            then = yield from share(finished(draft, foam, flattener), first, last)
            joined = [then[number] for number in np.unique(draft.label[shell.edge_faces[cut.edges]])]
            if _worst(draft, joined) <= 1 and _worst(draft, then) <= max(1.0, _worst(draft, laid)):
                found.append(replace(cut, strain_before=max(map(_strain, joined))))
            draft.seam = seam
    return tuple(found)


def _plan_of(draft: Draft, region: np.ndarray, part: Draft, small: Likeness, laid: list[Laid | None]) -> Steps[Plan]:
    """The plan with the reason for every cut in `region` (p,) and what becomes of every piece.

    draft : the whole shell; part : the same, or its faces of the region alone; laid : per piece of that
    """
    yield Progress("Finding reasons", 0.0)
    shell = draft.shell
    within = np.zeros(shell.face_count, bool)
    within[region] = True
    outlooks = [_outlook(draft, faces, region if within[faces].all() else None, part, laid) for faces in draft.pieces()]
    runs = [run for run in _own_runs(draft) if within[shell.edge_faces[run]].all()]
    before = yield from share(_strains_before(small.rough, shell, runs), 0, 0.95)
    cuts: list[Cut] = []
    for run, strain in zip(runs, before, strict=True):
        yield Progress("Finding reasons", 0.95 + 0.05 * len(cuts) / len(runs))
        cuts.append(_cut(draft, run, strain, outlooks))
    order = sorted(range(len(cuts)), key=lambda i: -cuts[i].length_mm)
    return Plan(shell.with_seams(draft.seam), tuple(cuts[i] for i in order), tuple(outlooks))


def _own_runs(draft: Draft) -> list[np.ndarray]:
    """Runs of seam that with their mirror images are all of it, every edge once.

    Where the shell mirrors itself in part, a run and its image may branch at different places.
    """
    left, own = draft.seam.copy(), []
    for run in sorted(seam_runs(draft.shell, draft.seam, draft.kept), key=draft.is_own, reverse=True):
        run = run[left[run]]
        if len(run):
            own.append(run)
            left[draft.with_images(run)] = False
    return own


def _outlook(
    draft: Draft, faces: np.ndarray, region: np.ndarray | None, part: Draft, laid: list[Laid | None]
) -> PieceOutlook:
    """region : numbers that the faces of `part` have in the draft, None for a piece that it does not hold."""
    one = draft.really(faces) if region is None else laid[part.label[np.searchsorted(region, faces[0])]]
    size, doubled = ((0.0, 0.0), 0.0) if one is None else (one.size_mm, one.doubled)
    return PieceOutlook(faces, _strain(one), size, doubled > 0)


def _strains_before(rough: Draft, shell: Shell, runs: list[np.ndarray]) -> Steps[list[float]]:
    """For each run of the fine shell what the forecast says of leaving out the rough run that it follows."""
    forecast = np.full(rough.shell.edge_count, np.nan)
    rough_runs = [run for run in seam_runs(rough.shell, rough.seam, rough.kept) if rough.is_own(run)]
    for number, run in enumerate(rough_runs):
        yield Progress("Finding reasons", number / len(rough_runs))
        edges = rough.with_images(run)
        without = rough.seam.copy()
        without[edges] = False
        joined = rough.own_pieces(rough.pieces(rough.around(edges), without))
        forecast[edges] = max(rough.state(piece, without).strain for piece in joined)
    known = np.flatnonzero(~np.isnan(forecast))
    if not len(known):
        return [np.inf] * len(runs)
    tree = KDTree(rough.shell.vertices[rough.shell.edges[known]].mean(axis=1))
    middles = [shell.vertices[shell.edges[run]].mean(axis=1) for run in runs]
    return [float(np.median(forecast[known[tree.query(middle)[1]]])) for middle in middles]


def _cut(draft: Draft, run: np.ndarray, strain_before: float, outlooks: list[PieceOutlook]) -> Cut:
    shell, edges = draft.shell, draft.with_images(run)
    region = draft.around(edges)
    without = draft.seam.copy()
    without[edges] = False
    now, then = draft.pieces(region), draft.pieces(region, without)
    strain_after = max(outlooks[draft.label[piece[0]]].strain for piece in now)
    return Cut(
        edges,
        float(shell.edge_length[edges].sum()),
        max(strain_before, strain_after),
        strain_after,
        len(now) - len(then),
        mean_bend_deg(shell, edges),
        bool(draft.kept[run[0]]),
    )


def _worst(draft: Draft, laid: list[Laid | None]) -> float:
    return max(map(draft.trouble_of, laid))


def _strain(laid: Laid | None) -> float:
    return np.inf if laid is None else laid.strain
