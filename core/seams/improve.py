"""The work on a plan: divide until every piece is fine, then take out what is not needed."""

from __future__ import annotations

from collections.abc import Generator, Iterator

import numpy as np

from ..progress import nearing
from .cuts import opening_cut, parting_cuts, relieving_cuts, small_cuts
from .draft import PARTED, Draft
from .outlook import Laid
from .runs import seam_runs

MOST_TRIED = 3
"""Cuts whose flat is looked at before one is chosen."""

MOST_SMALL = 6
"""Small cuts tried, spread over the cheap and the dear."""

PULLED = 0.4
"""Strain of the quick flat of a piece over its real one under which cuts in it are of no use."""

MOST_TURNS, EARLY_TURNS = 8, 2
"""Rounds of laying flat and mending, and those of them that also take seams out again."""

PATIENCE = 40
"""Triangles laid flat per face of the shell after which runs are taken out whole or not at all."""

SHORTEST_PART = 3
"""Edges in the shortest part of a run that is taken out by itself."""


def divide(draft: Draft, faces: np.ndarray | None = None) -> Iterator[float]:
    """Cut until every piece is fine, or none of the allowed cuts helps; yields the part of the area that is."""
    waiting = draft.own_pieces(draft.pieces(faces))
    total = sum(draft.shell.face_area[piece].sum() for piece in waiting) or 1.0
    done = 0.0
    while waiting:
        yield done / total
        piece = waiting.pop()
        cut = best_cut(draft, piece)
        if cut is None or draft.seam[draft.with_images(cut)].all():
            done += draft.shell.face_area[piece].sum()
            continue
        draft.seam = draft.with_cut(cut)
        waiting += draft.own_pieces(draft.pieces(piece))


def best_cut(draft: Draft, faces: np.ndarray) -> np.ndarray | None:
    """The cut that seems to help a piece most; None for a piece that is fine, or that no allowed cut helps."""
    state = draft.state(faces)
    if state.trouble <= 1:
        return None
    if not np.isfinite(draft.spread(faces, draft.seam)):
        return opening_cut(draft, faces)
    if state.laid is not None and state.strain <= draft.limits.strain:
        return _best_parting(draft, faces, parting_cuts(draft, faces, state.laid.flat))
    return _best_relief(draft, faces, relieving_cuts(draft, faces))


def helping_cuts(draft: Draft, faces: np.ndarray, laid: Laid | None) -> list[np.ndarray]:
    """Cuts that may help a piece that really comes out as `laid`, whatever the forecast says of it."""
    if laid is None:
        cut = opening_cut(draft, faces)
        return [] if cut is None else [cut]
    if laid.strain <= draft.limits.strain:
        return parting_cuts(draft, faces, laid.flat)
    return relieving_cuts(draft, faces)


def _best_parting(draft: Draft, faces: np.ndarray, cuts: list[np.ndarray]) -> np.ndarray | None:
    """The cheapest of the cuts after which all is fine, else the one that leaves least trouble."""

    def rank(cut: np.ndarray) -> tuple[int, float, float]:
        seam = draft.with_cut(cut)
        states = [draft.state(piece, seam) for piece in draft.pieces(faces, seam)]
        trouble = max(state.trouble for state in states)
        return sum(map(draft.is_narrow, states)), max(trouble, 1.0), float(draft.price[cut].sum())

    return min(cuts, key=rank, default=None)


def _best_relief(draft: Draft, faces: np.ndarray, cuts: list[np.ndarray]) -> np.ndarray | None:
    """The first of the cuts that makes no piece narrow or lie over itself, else the one with the least of that."""
    if len(cuts) < 2:
        return cuts[0] if cuts else None
    best = cuts[:MOST_TRIED]

    def flaws(cut: np.ndarray) -> tuple[int, float]:
        seam = draft.with_cut(cut)
        states = [draft.state(piece, seam) for piece in draft.pieces(faces, seam)]
        doubled = max(state.laid.doubled if state.laid is not None else 0.0 for state in states)
        return sum(map(draft.is_narrow, states)), max(PARTED, doubled)

    # a dart that makes the piece lie over itself would only call for more cuts
    found: list[tuple[tuple[int, float], int]] = []
    for number, cut in enumerate(best):
        found.append((flaws(cut), number))
        if found[-1][0] == (0, PARTED):
            break
    return best[min(found)[1]]


def take_out(draft: Draft, region: np.ndarray | None = None) -> Iterator[float]:
    """Take out runs of seam, whole or in part, dearest first, as long as all pieces stay fine; yields 0 to 1."""
    refused: set[bytes] = set()
    found = True
    last = draft.work + PATIENCE * draft.shell.face_count
    while found:
        found = False
        within = np.ones(draft.shell.edge_count, bool)
        if region is not None:
            within[:] = False
            within[draft.inner_edges(region)] = True
        runs = [run for run in seam_runs(draft.shell, draft.seam, draft.kept) if draft.free[run].all()]
        runs = [run for run in runs if within[run].all() and draft.is_own(run)]
        runs.sort(key=lambda run: -draft.price[run].sum())
        for number, run in enumerate(runs):
            yield number / len(runs)
            if draft.seam[run].all():
                found |= _take_out_of(draft, run, refused, last)


def _take_out_of(draft: Draft, run: np.ndarray, refused: set[bytes], last: int) -> bool:
    """Take a run out, or else what of its two halves can go."""
    region = draft.around(draft.with_images(run))
    key = run.tobytes() + region.tobytes()
    if key in refused:
        return False
    refused.add(key)
    seam = draft.without(run)
    if draft.is_no_worse(region, seam):
        draft.seam = seam
        return True
    if len(run) < 2 * SHORTEST_PART or draft.work > last:
        return False
    middle = len(run) // 2
    first = _take_out_of(draft, run[:middle], refused, last)
    return _take_out_of(draft, run[middle:], refused, last) or first


def prove(draft: Draft, faces: np.ndarray | None = None) -> Iterator[float]:
    """Lay every piece flat for good, learn from it, and mend what is not fine after all; yields 0 to 1."""
    for turn in range(MOST_TURNS):
        first, last = nearing(turn)
        failing = []
        for piece in draft.own_pieces(draft.pieces(faces)):
            yield first
            for _ in draft.laying(piece):
                yield first
            draft.learn(piece, draft.really(piece))
            if draft.real_trouble(piece) > 1:
                failing.append(piece)
        if not failing and turn > 0:
            return
        before = draft.seam
        middle = (first + last) / 2
        for number, piece in enumerate(failing):
            part = first + (middle - first) * number / len(failing)
            if draft.state(piece).trouble <= 1:
                for _ in mend(draft, piece, draft.really(piece)):
                    yield part
            for _ in divide(draft, piece):
                yield part
        if turn < EARLY_TURNS:
            region = faces if turn == 0 else draft.with_twin_faces(np.concatenate(failing))
            for done in take_out(draft, region):
                yield middle + (last - middle) * done
        elif np.array_equal(before, draft.seam):
            return


def mend(
    draft: Draft, faces: np.ndarray, laid: Laid | None, caution: float = 1.0, may_join: bool = True
) -> Iterator[None]:
    """One more cut, if any helps, in a piece that really fails, as `laid`; yields between tries.

    caution : times which the strain is taken
    """
    if may_join and joined(draft, faces, laid):
        return
    if laid is None or not np.isfinite(draft.state(faces).trouble):
        cut = best_cut(draft, faces)
    elif laid.strain > draft.limits.strain:
        cut = yield from _least_relief(draft, faces, laid, caution)
    else:
        flat = draft.laid(faces, draft.seam).flat
        flat = laid.flat if len(laid.flat) == len(flat) else flat
        cut = _best_parting(draft, faces, parting_cuts(draft, faces, flat))
    if cut is not None:
        draft.seam = draft.with_cut(cut)


def joined(draft: Draft, faces: np.ndarray, laid: Laid | None) -> bool:
    """Join a piece to a neighbour if that helps more than a cut, and can be: whether that was done."""
    if laid is None or not np.isfinite(draft.spread(faces, draft.seam)):
        return False
    # what its own shape hardly strains is pulled by its neighbours along their seams, or bent tighter than it is thick
    pulled = laid.strain > draft.limits.strain and draft.laid(faces, draft.seam).strain < PULLED * laid.strain
    return (pulled or laid.size_mm[1] < draft.limits.narrowest_mm) and _join(draft, faces)


def _join(draft: Draft, faces: np.ndarray) -> bool:
    """Join a piece to the neighbour it shares most seam with; False if it has none."""
    own, edges = draft.label[faces[0]], draft.shell.edge_faces
    runs = [run for run in seam_runs(draft.shell, draft.seam, draft.kept) if draft.free[run].all()]
    beside = [run for run in runs if (draft.label[edges[run[0]]] == own).sum() == 1]
    if not beside:
        return False
    draft.seam = draft.without(max(beside, key=lambda run: draft.shell.edge_length[run].sum()))
    return True


def _least_relief(
    draft: Draft, faces: np.ndarray, laid: Laid, caution: float
) -> Generator[None, None, np.ndarray | None]:
    """The cheapest small cut after which a piece that fails as `laid` would keep to the limit, else the best cut.

    laid : of these faces, or of those of a finer shell that they stand for
    """
    before = draft.laid(faces, draft.seam)
    cuts = small_cuts(draft, faces, (laid if len(laid.face_strain) == len(faces) else before).face_strain)
    cuts = list({cut.tobytes(): cut for cut in cuts}.values())
    cuts.sort(key=lambda cut: float(draft.price[cut].sum()))
    for cut in cuts[:: max(1, len(cuts) // MOST_SMALL)]:
        yield
        seam = draft.with_cut(cut)
        states = [draft.state(piece, seam) for piece in draft.pieces(faces, seam)]
        if any(state.laid is None or draft.is_narrow(state) or state.laid.doubled > PARTED for state in states):
            continue
        after = max(state.laid.strain for state in states if state.laid is not None)
        if caution * laid.strain * after / before.strain <= draft.limits.strain:
            return cut
    return _best_relief(draft, faces, relieving_cuts(draft, faces))
