"""Suggest where to cut, say why each cut is there, and which seams could go."""

from __future__ import annotations

import numpy as np

from ..progress import Progress, Steps
from ..shell import Shell
from .choices import EdgeChoices, SuggestionLimits
from .draft import Draft
from .improve import best_cut, divide, prove, take_out
from .plan import Cut, PieceOutlook, Plan
from .runs import seam_runs
from .sources import complete_seams

STARTS = (float(np.radians(50)), float(np.radians(30)), None)
"""Turns by which shells are first divided; None starts from the bare shell. The best plan of all is kept."""

FEW_FACES = 1500
"""Shells with more faces get one start, to be done in seconds."""

PIECE_PRICE, NARROW_PRICE = 60.0, 200.0
"""mm of seam that a piece less is worth, and one less that is too narrow to handle."""


def suggest(
    shell: Shell,
    limits: SuggestionLimits | None = None,
    choices: EdgeChoices | None = None,
    faces: np.ndarray | None = None,
) -> Steps[Plan]:
    """A plan whose every piece lies flat within the limits, where the allowed edges can do that. Yields Progress.

    The shell's own seams stay, and so do those of `choices.keep`. faces : (p,) int, cut only these; all if None.
    Where the shell mirrors itself, its seams with it, the plan does so exactly. The same shell gives the same plan.
    """
    best: Draft | None = None
    starts = STARTS if shell.face_count <= FEW_FACES else STARTS[:1]
    for turn_limit in starts:
        draft = Draft(shell, limits or SuggestionLimits(), choices or EdgeChoices())
        region = None if faces is None else draft.with_twin_faces(np.asarray(faces, np.int64))
        yield from _work_out(draft, region, turn_limit)
        if best is None or _demerit(draft) < _demerit(best):
            best = draft
    assert best is not None
    yield Progress("Finding reasons", 0.0)
    return plan_of(best)


def _work_out(draft: Draft, region: np.ndarray | None, turn_limit: float | None) -> Steps[None]:
    """Plan from a first division by where faces look, or from the bare shell."""
    if turn_limit is not None:
        done = yield from complete_seams(draft.shell.with_seams(draft.kept), turn_limit)
        first = draft.mirrored(done.seam & draft.free)
        if region is not None:
            first[np.setdiff1d(np.arange(len(first)), draft.inner_edges(region))] = False
        draft.seam = draft.seam | first
    for part in divide(draft, region):
        yield Progress("Dividing the shell", part)
    for part in take_out(draft, region):
        yield Progress("Taking seams out again", part)
    for part in prove(draft, region):
        yield Progress("Laying pieces flat", part)


def _demerit(draft: Draft) -> tuple[int, float]:
    """How many pieces fail, then the price of a plan in mm, with what a piece more and a narrow piece count for."""
    pieces = draft.own_pieces(draft.pieces())
    failing = sum(draft.real_trouble(piece) > 1 for piece in pieces)
    narrow = sum(draft.is_narrow(draft.state(piece)) for piece in pieces)
    price = np.where(draft.free, draft.price, 0.0)[draft.seam].sum()
    return failing, float(price + PIECE_PRICE * len(pieces) + NARROW_PRICE * narrow)


def where_to_cut(
    shell: Shell,
    faces: np.ndarray,
    limits: SuggestionLimits | None = None,
    choices: EdgeChoices | None = None,
) -> Cut | None:
    """The one more cut that helps the piece of `faces` (p,) most, with its mirror image; None if it is fine or
    no allowed cut helps.
    """
    draft = Draft(shell, limits or SuggestionLimits(), choices or EdgeChoices())
    piece = np.sort(np.asarray(faces, np.int64))
    draft.learn(piece)
    cut = best_cut(draft, piece)
    if cut is None:
        return None
    before = draft.real_strain(piece)
    draft.seam = draft.with_cut(cut)
    after = draft.pieces(piece)
    edges = draft.with_images(cut)
    return Cut(
        edges,
        float(shell.edge_length[edges].sum()),
        before,
        max(draft.real_strain(part) for part in after),
        len(after) - 1,
        float(np.degrees(np.average(shell.edge_bend[edges], weights=shell.edge_length[edges]))),
        False,
    )


def removable_seams(shell: Shell, limits: SuggestionLimits | None = None) -> Steps[tuple[Cut, ...]]:
    """Runs of the shell's seams that could go, each by itself, without passing the limits. Yields Progress."""
    bare = shell.with_seams(np.zeros(shell.edge_count, bool))
    draft = Draft(bare, limits or SuggestionLimits(), EdgeChoices())
    draft.seam = shell.seam & draft.inner
    if not np.array_equal(draft.mirrored(draft.seam), draft.seam):
        draft.twins = None  # cut differently left and right: no run takes an image with it that is no seam
    for number, piece in enumerate(draft.own_pieces(draft.pieces())):
        yield Progress("Laying pieces flat", number / shell.face_count)
        draft.learn(piece)
    plan = plan_of(draft)
    found = []
    for number, cut in enumerate(plan.cuts):
        yield Progress("Trying without", number / len(plan.cuts))
        if cut.strain_before <= draft.limits.strain:
            seam = draft.seam
            draft.seam = draft.without(cut.edges)
            if all(draft.real_trouble(piece) <= 1 for piece in draft.own_pieces(draft.pieces(draft.around(cut.edges)))):
                found.append(cut)
            draft.seam = seam
    return tuple(found)


def plan_of(draft: Draft) -> Plan:
    """The draft as it stands, with the reason for every cut."""
    shell = draft.shell
    pieces = []
    for faces in draft.pieces():
        laid = draft.really(faces)
        strain, size = (np.inf, (0.0, 0.0)) if laid is None else (laid.strain, laid.size_mm)
        pieces.append(PieceOutlook(faces, strain, size, laid is not None and laid.doubled > 0))
    runs = [run for run in seam_runs(shell, draft.seam, draft.kept) if draft.is_own(run)]
    cuts = [_cut(draft, run) for run in runs]
    order = sorted(range(len(cuts)), key=lambda i: -cuts[i].length_mm)
    return Plan(shell.with_seams(draft.seam), tuple(cuts[i] for i in order), tuple(pieces))


def _cut(draft: Draft, run: np.ndarray) -> Cut:
    shell, edges = draft.shell, draft.with_images(run)
    region = draft.around(edges)
    without = draft.seam.copy()
    without[edges] = False
    now, then = draft.pieces(region), draft.pieces(region, without)
    return Cut(
        edges,
        float(shell.edge_length[edges].sum()),
        max(draft.state(piece, without).strain for piece in draft.own_pieces(then)),
        max(draft.real_strain(piece) for piece in draft.own_pieces(now)),
        len(now) - len(then),
        float(np.degrees(np.average(shell.edge_bend[edges], weights=np.maximum(shell.edge_length[edges], 1e-12)))),
        bool(draft.kept[run[0]]),
    )
