"""A coarse likeness to plan on, and the way back: every run as a smooth path along the fine edges."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.sparse import csr_array
from scipy.sparse.csgraph import dijkstra
from scipy.spatial import KDTree

from ..curvature import angle_defect
from ..progress import Steps, even, share
from ..shell import Shell
from .coarse import Coarse, coarsened
from .draft import Draft
from .paths import length_of, smooth_path, unbent
from .runs import chain_of, seam_runs

PLANNED_ON = (400, 1000)
"""Triangles that plans are worked out on."""

WORTHWHILE = 1.5
"""Times as many triangles from which on a coarser likeness is worth its loss."""

UNFAITHFUL = 0.25
"""Part by which the total curvature of a likeness may differ."""

STRICT = 0.015
"""Strain limit under which the facets of a likeness matter: what is nearly developable is planned on as it is."""

CORRIDOR = 0.3
"""How far a path may stray before it costs double, in mean coarse edges; most of a fine edge at least."""

DETOUR = 2.5
"""Longest path that still stands for a coarse edge, in longest coarse edges."""

CHUNK = 64
"""Searches at a time, to bound the memory they take."""


@dataclass(frozen=True, eq=False)
class Likeness:
    """A task and the same task on a coarser shell, or on its own where it is coarse enough (`coarse` None).

    face : (f,) int, per fine face the nearest rough one
    """

    fine: Draft
    rough: Draft
    coarse: Coarse | None
    face: np.ndarray

    @classmethod
    def faithful(cls, fine: Draft) -> Steps[list[Likeness]]:
        """Some that curve about as much in all; the shell itself where none does, as of a rough scan."""
        wanted = _total_curvature(fine.shell)
        found = []
        counts = PLANNED_ON if fine.limits.strain >= STRICT else ()
        for count, (first, last) in zip(counts, even(len(counts)), strict=True):
            likeness = yield from share(cls.of(fine, count), first, last)
            miss = abs(_total_curvature(likeness.rough.shell) - wanted)
            if likeness.coarse is not None and miss <= UNFAITHFUL * wanted:
                found.append(likeness)
        return found or [(yield from cls.of(fine, fine.triangle_count))]

    @classmethod
    def of(cls, fine: Draft, triangle_count: int, strictness: float = 1.0) -> Steps[Likeness]:
        """On about so many triangles, the strain limit taken times `strictness`."""
        if fine.triangle_count <= WORTHWHILE * triangle_count:
            return cls(fine, fine, None, np.arange(fine.shell.face_count))
        coarse = yield from coarsened(fine.shell, triangle_count, fine.kept, fine.twins)
        kept = coarse.on_line & coarse.shell.edge_is_consistent
        limits = replace(fine.limits, strain=strictness * fine.limits.strain)
        rough = Draft(coarse.shell, limits, kept, _carried_price(fine, coarse))
        return cls(fine, rough, coarse, KDTree(coarse.shell.face_centre).query(fine.shell.face_centre)[1])

    def carry(self) -> None:
        """Give the fine shell the seams of the rough one."""
        if self.coarse is None:
            self.fine.seam = self.rough.seam
        else:
            self.fine.seam = _carried_seam(self.fine, self.coarse, self.rough)
            self.fine.seam = self._without_chips()

    def _without_chips(self) -> np.ndarray:
        """(k,) bool, the seams of the fine shell, each second piece for a rough one joined to the first."""
        fine, area = self.fine, self.fine.shell.face_area
        pieces = fine.pieces()
        match = [int(self.rough.label[self.counterpart(faces)[0]]) for faces in pieces]
        size = [float(area[faces].sum()) for faces in pieces]
        first = {one: max((i for i in range(len(pieces)) if match[i] == one), key=lambda i: size[i]) for one in match}
        seam = fine.seam.copy()
        runs = seam_runs(fine.shell, fine.seam, fine.kept)
        between: dict[tuple[int, int], list[np.ndarray]] = {}
        for run in runs:
            one, other = np.sort(fine.label[fine.shell.edge_faces[run[0]]]).tolist()
            between.setdefault((one, other), []).append(run)
        for number in range(len(pieces)):
            one, other = sorted((number, first[match[number]]))
            shared = [run for run in between.get((one, other), []) if fine.free[run].all() and one != other]
            # joined along two runs a disk would become a ring
            shared = [run for run in shared if self._is_one(run, one, other)]
            if shared:
                longest = max(shared, key=lambda run: fine.shell.edge_length[run].sum())
                seam[fine.with_images(longest)] = False
        return seam

    def _is_one(self, run: np.ndarray, one: int, other: int) -> bool:
        """Whether the image of a run between two pieces is the run itself, or between two others."""
        edges = self.fine.with_images(run)
        sides = np.sort(self.fine.label[self.fine.shell.edge_faces[edges]], axis=1)
        return len(edges) == len(run) or not (sides == (one, other)).all()

    def counterpart(self, faces: np.ndarray) -> np.ndarray:
        """(p,) int, the faces of the rough piece that a fine piece (p,) mostly lies over."""
        if self.coarse is None:
            return faces
        share = np.bincount(self.rough.label[self.face[faces]], self.fine.shell.face_area[faces])
        return np.flatnonzero(self.rough.label == share.argmax())


def _total_curvature(shell: Shell) -> float:
    """rad, angle defects without sign, of all vertices but those on rims."""
    defect = np.abs(angle_defect(shell.vertices, shell.triangles))
    defect[shell.edges[~shell.edge_is_consistent]] = 0.0
    return float(defect.sum())


def _carried_price(fine: Draft, coarse: Coarse) -> np.ndarray:
    """(k,) mm, the cheapest path along fine edges between the ends of each coarse edge."""
    shell, ends = coarse.shell, coarse.vertex[coarse.shell.edges]
    limit = DETOUR * float(shell.edge_length.max())
    price = _path_prices(_graph(fine, fine.price), ends, limit)
    # what is dear all around is out of reach of the search
    far = ~np.isfinite(price)
    price[far] = shell.edge_length[far] * _density(fine)[ends[far]].mean(axis=1)
    if fine.twins is not None:
        # an edge that is its own mirror image needs a path that is so too: in the plane, or one edge across
        own = (fine.twins.vertex[ends[:, 0]] == ends[:, 0]) & (fine.twins.vertex[ends[:, 1]] == ends[:, 1])
        in_plane = np.where(fine.twins.on_plane, fine.price, np.inf)
        price[own] = _path_prices(_graph(fine, in_plane), ends[own], limit)
        across = (fine.twins.vertex[ends[:, 0]] == ends[:, 1]) & (fine.shell.edge_between(ends) < 0)
        price[across] = np.inf
        # no seam along an edge whose image runs the other way across a pair of triangles
        image = fine.twins.vertex[ends]
        place = np.searchsorted(coarse.vertex, np.maximum(image, 0))
        missing = (coarse.vertex[np.minimum(place, len(coarse.vertex) - 1)] == image).all(axis=1)
        missing &= shell.edge_between(np.minimum(place, len(coarse.vertex) - 1)) < 0
        price[missing] = np.inf
    return price


def _path_prices(graph: csr_array, ends: np.ndarray, limit: float) -> np.ndarray:
    """(k,) mm, the cheapest path between each pair of vertices `ends` (k, 2); infinite over the limit."""
    price = np.full(len(ends), np.inf)
    order = np.argsort(ends[:, 0], kind="stable")
    sources = np.unique(ends[:, 0])
    for start in range(0, len(sources), CHUNK):
        some = sources[start : start + CHUNK]
        distance = dijkstra(graph, directed=False, indices=some, limit=limit)
        edges = order[np.searchsorted(ends[order, 0], some[0]) : np.searchsorted(ends[order, 0], some[-1], "right")]
        price[edges] = distance[np.searchsorted(some, ends[edges, 0]), ends[edges, 1]]
    return price


def _density(fine: Draft) -> np.ndarray:
    """(n,) price over length of the edges around each vertex, infinite where none may be cut."""
    shell, usable = fine.shell, np.isfinite(fine.price)
    total = np.zeros((len(shell.vertices), 2))
    for column in shell.edges[usable].T:
        np.add.at(total, column, np.column_stack([fine.price[usable], shell.edge_length[usable]]))
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(total[:, 1] > 0, total[:, 0] / total[:, 1], np.inf)


def _graph(draft: Draft, price: np.ndarray) -> csr_array:
    usable = np.isfinite(price) & draft.free
    count = len(draft.shell.vertices)
    return csr_array((price[usable], draft.shell.edges[usable].T), shape=(count, count))


def _carried_seam(fine: Draft, coarse: Coarse, rough: Draft) -> np.ndarray:
    """(k,) bool, the fine edges that stand for the seams of the rough draft, mirrored where the shell is."""
    shell = fine.shell
    runs = seam_runs(rough.shell, rough.seam & ~rough.kept, rough.kept)
    runs = [chain_of(rough.shell, run) for run in runs if rough.is_own(run)]
    runs = [part for chain in runs for part in _parts(fine, coarse.vertex[chain])]
    runs = [part for chain in runs for part in unbent(shell.vertices, chain)]
    runs.sort(key=lambda chain: -length_of(shell.vertices[chain]))
    walls = np.zeros(len(shell.vertices), bool)
    walls[shell.edges[fine.kept | ~fine.inner]] = True
    walls[[end for chain in runs for end in (chain[0], chain[-1])]] = True
    found = fine.kept.copy()
    width = max(CORRIDOR * float(rough.shell.edge_length.mean()), 0.7 * float(shell.edge_length.mean()))
    for chain in runs:
        path = smooth_path(fine, chain, width, walls)
        if len(path):
            edges = shell.edge_between(np.column_stack([path[:-1], path[1:]]))
            found[fine.with_images(edges)] = True
            walls[shell.edges[fine.with_images(edges)]] = True
    return found


def _parts(fine: Draft, chain: np.ndarray) -> list[np.ndarray]:
    """A chain of fine vertices in parts with two ends each, on the left of a mirror plane if there is one.

    Of a chain that is its own mirror image only the left half is wanted.
    """
    if fine.twins is None or fine.twins.left[chain].all():
        return _opened(chain)
    left, image = fine.twins.left[chain], fine.twins.vertex[chain]
    if set(image.tolist()) != set(chain.tolist()):
        return _opened(chain if 2 * left.sum() > len(chain) else image)
    groups = np.split(np.arange(len(chain)), np.flatnonzero(np.diff(left.astype(int))) + 1)
    halves = [chain[group] for group in groups if left[group[0]] and len(group) > 1]
    across = image[:-1] == chain[1:]
    links = [np.array(pair) for pair in zip(chain[:-1][across], chain[1:][across], strict=True)]
    return links + [part for half in halves for part in _opened(half)]


def _opened(chain: np.ndarray) -> list[np.ndarray]:
    if chain[0] != chain[-1]:
        return [chain]
    third = max(1, (len(chain) - 1) // 3)
    return [chain[: third + 1], chain[third : 2 * third + 1], chain[2 * third :]]
