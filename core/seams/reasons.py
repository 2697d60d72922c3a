"""A plan told: what becomes of every piece, and the reason for every cut."""

from __future__ import annotations

import numpy as np
from scipy.spatial import KDTree

from ..progress import Progress, Steps, share
from ..shell import Shell
from .carry import Likeness
from .draft import Draft
from .outlook import Laid
from .plan import Cut, PieceOutlook, Plan, mean_bend_deg
from .runs import seam_runs


def plan_of(draft: Draft, region: np.ndarray, part: Draft, small: Likeness, laid: list[Laid | None]) -> Steps[Plan]:
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
    return PieceOutlook(faces, strain_of(one), size, doubled > 0)


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


def strain_of(laid: Laid | None) -> float:
    return np.inf if laid is None else laid.strain
