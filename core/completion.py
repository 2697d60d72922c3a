"""Cutting an unprepared shell: divide by the directions faces look in, then join what still lies flat."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_array, diags_array
from scipy.sparse.csgraph import connected_components
from scipy.sparse.linalg import splu

from .curvature import angle_defect
from .opening import MissingCut, missing_cut
from .patch import cut_patch
from .shell import Shell
from .symmetry import mirror_map

TURN_LIMIT = float(np.radians(50))
"""Angle between a piece's mean normal and its faces up to which it lies flat with about 6 % strain: half of
log(a / sin a) for a cap of angular radius a (Milnor, A Problem in Cartography, Amer. Math. Monthly 76, 1969)."""

TURN_SHARE = 0.95
"""Part of the area that must keep to the limit: a noisy scan always has some faces that look elsewhere."""

POINT = 0.6
"""rad, angle defect of a vertex around which faces must stretch by a tenth (1 / (1 - 0.6 / 2 pi)) to lie flat;
they count among those that do not keep to the limit."""

RING_TURNING = -2 * np.pi / 1.2
"""rad, a ring whose hole turns less to the right is a funnel: laid flat whole, one rim would stretch or squeeze
by more than a tenth more than the other; it is slit."""

DEVELOPABLE = 0.3
"""rad, angle defects inside a piece, added up without sign, that flat foam takes up wherever they are."""

TINY_SHARE, TINY_TURN = 0.2, 1.4
"""A piece under this part of the mean area may join a neighbour up to a limit wider by this factor."""

BLUR = 0.002
"""Square of the width, as a part of the piece's area, over which directions are evened out before dividing."""

CREASE = float(np.radians(20))
"""Bend at which an edge lets through a third of the evening out, so that borders settle in creases."""

ISLAND_SHARE = 0.05
"""Part of a piece's area under which a fragment goes to the other side."""


class Completion:
    """The work of adding seams to one shell; `seam` (k,) bool holds the cuts so far."""

    def __init__(self, shell: Shell, turn_limit: float) -> None:
        self.shell = shell
        self.turn_limit = turn_limit
        self.seam = shell.seam.copy()
        self.inner = shell.edge_is_consistent
        self.left, self.right = shell.edge_faces.T
        self.defect = np.abs(angle_defect(shell.vertices, shell.triangles))
        self.halves = _halves(shell)
        self.own = np.arange(shell.face_count)
        if self.halves is not None:
            self.own = self.halves.left
            self.seam |= self.halves.plane

    # --- dividing ------------------------------------------------------------------------------

    def divide(self) -> Iterator[float]:
        """Cut until every piece is fine; yields the part of the area that is."""
        waiting = self._components(self.own)
        total, done = self.shell.face_area[self.own].sum(), 0.0
        while waiting:
            faces = waiting.pop()
            yield float(done / total) if total else 0.0
            if not self._is_bounded(faces, self.seam, self.turn_limit):
                self.seam[self._border(faces, self._two_sides(faces))] = True
            elif (missing := self._missing_cut(faces, self.seam)) is not None:
                self.seam[missing.edges] = True
            else:
                done += self.shell.face_area[faces].sum()
                continue
            waiting += self._components(faces)

    def _two_sides(self, faces: np.ndarray) -> np.ndarray:
        """(p,) bool, the faces in two groups by where they look, with an even border."""
        shell, area = self.shell, self.shell.face_area[faces]
        first, second, edge = self._links(faces)
        looks = _two_means(shell.face_normal[faces], area)
        apart = np.linalg.norm(shell.face_centre[faces[first]] - shell.face_centre[faces[second]], axis=1)
        # an edge in a crease lets little through and costs little as a border
        width = shell.edge_length[edge] * np.exp(-((shell.edge_bend[edge] / CREASE) ** 2))
        side = _evened(looks, area, first, second, width / np.maximum(apart, 1e-9)) > 0
        side = _shortened(side, first, second, width)
        side = _without_islands(side, area, first, second)
        return looks > 0 if side.all() or not side.any() else side

    # --- joining -------------------------------------------------------------------------------

    def join(self) -> Iterator[float]:
        """Take added seams out again between neighbours that are fine as one piece; yields 0 to 1."""
        refused: set[tuple[int, ...]] = set()
        merged = True
        while merged:
            merged = False
            members = self._components(self.own)
            pairs = self._neighbours(members)
            touched: set[int] = set()
            for step, (one, other, limit) in enumerate(pairs):
                yield step / len(pairs)
                key = (members[one][0], len(members[one]), members[other][0], len(members[other]))
                if one in touched or other in touched or key in refused:
                    continue
                if self._join_two(members[one], members[other], limit):
                    touched |= {one, other}
                    merged = True
                else:
                    refused.add(key)
        if self.halves is not None:
            self.seam |= self.seam[self.halves.edge_image]
            for faces in self._components(self.own):
                yield 1.0
                self._join_two(faces, self.halves.face_image[faces], self.turn_limit)

    def _neighbours(self, members: list[np.ndarray]) -> list[tuple[int, int, float]]:
        """Pairs of pieces with an added seam and none of the maker's between them, and the limit for each.

        Tiny pieces first, then those that share most of the smaller one's outline.
        """
        label = np.full(self.shell.face_count, -1)
        for number, faces in enumerate(members):
            label[faces] = number
        area = np.array([self.shell.face_area[faces].sum() for faces in members])
        tiny = area < TINY_SHARE * area.mean()
        cut = np.flatnonzero(self.inner & self.seam)
        one, other = np.sort([label[self.left[cut]], label[self.right[cut]]], axis=0)
        real = (one >= 0) & (one != other)
        pair, which = np.unique(np.stack([one[real], other[real]], axis=1), axis=0, return_inverse=True)
        length = self.shell.edge_length[cut[real]]
        shared = np.bincount(which.reshape(-1), length, minlength=len(pair))
        marked = np.bincount(which.reshape(-1), self.shell.seam[cut[real]], minlength=len(pair)) > 0
        outline = np.bincount(np.append(one[real], other[real]), np.append(length, length), minlength=len(members))
        share = shared / np.maximum(outline[pair].min(axis=1), 1e-9)
        small = tiny[pair].any(axis=1)
        limit = np.where(small, TINY_TURN * self.turn_limit, self.turn_limit)
        order = np.lexsort((-share, ~small))
        return [(int(pair[i, 0]), int(pair[i, 1]), float(limit[i])) for i in order if not marked[i]]

    def _join_two(self, one: np.ndarray, other: np.ndarray, limit: float) -> bool:
        faces = np.sort(np.concatenate([one, other]))
        seam = self.seam.copy()
        between = self._border(faces, np.isin(faces, one))
        seam[between[~self.shell.seam[between]]] = False
        fine = self._is_bounded(faces, seam, limit) and self._missing_cut(faces, seam) is None
        if fine:
            self.seam = seam
        return fine

    # --- the state of one piece ----------------------------------------------------------------

    def _is_bounded(self, faces: np.ndarray, seam: np.ndarray, limit: float) -> bool:
        """Whether most of a piece looks one way without a point in it, or hardly any of it curves both ways."""
        if not np.isfinite(limit):
            return True
        shell = self.shell
        # a vertex is free to open up where two cuts or a rim meet it
        cuts = np.bincount(shell.edges[seam | ~self.inner].ravel(), minlength=len(self.defect))
        held = np.where(cuts < 2, self.defect, 0.0)
        within = np.zeros(shell.face_count, bool)
        within[faces] = True
        corner = np.flatnonzero(within[shell.corner_face])
        vertex = shell.corner_vertex[corner]
        if held[np.unique(vertex)].sum() <= DEVELOPABLE:
            return True
        within[shell.corner_face[corner[held[vertex] > POINT]]] = False
        vector, area = shell.face_vector[faces], shell.face_area[faces]
        mean = vector.sum(axis=0)
        along = vector @ (mean / (np.linalg.norm(mean) or 1.0))
        keeps = within[faces] & (along >= area * np.cos(min(limit, np.pi)))
        return bool(area[keeps].sum() >= TURN_SHARE * area.sum())

    def _missing_cut(self, faces: np.ndarray, seam: np.ndarray) -> MissingCut | None:
        return missing_cut(self.shell, cut_patch(self.shell, faces, seam), RING_TURNING)

    def _links(self, faces: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Neighbours within `faces` across uncut edges: positions of the two and the edge, (e,) int each."""
        place = np.full(self.shell.face_count + 1, -1)
        place[faces] = np.arange(len(faces))
        first, second = place[self.left], place[self.right]
        edge = np.flatnonzero(self.inner & ~self.seam & (first >= 0) & (second >= 0))
        return first[edge], second[edge], edge

    def _components(self, faces: np.ndarray) -> list[np.ndarray]:
        first, second, _ = self._links(faces)
        label = _joined(len(faces), first, second)
        order = np.argsort(label, kind="stable")
        return np.split(faces[order], np.cumsum(np.bincount(label))[:-1])

    def _border(self, faces: np.ndarray, side: np.ndarray) -> np.ndarray:
        """Edges between the faces of one side and those of the other."""
        state = np.zeros(self.shell.face_count + 1, int)
        state[faces] = np.where(side, 1, -1)
        return np.flatnonzero(self.inner & (state[self.left] * state[self.right] < 0))


# --- symmetry --------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class _Halves:
    """A shell that mirrors itself: faces of the left half, edges on the plane, images of edges and faces."""

    left: np.ndarray
    plane: np.ndarray
    edge_image: np.ndarray
    face_image: np.ndarray


def _halves(shell: Shell) -> _Halves | None:
    """The two halves, or None where the shell, its seams, or its edges along the plane are not symmetric."""
    mirror = mirror_map(shell)
    if mirror is None or (mirror.face < 0).any():
        return None
    image = shell.edge_between(mirror.vertex[shell.edges])
    is_left = shell.face_centre[:, mirror.axis] > mirror.offset
    crosses = shell.edge_is_consistent & (is_left[shell.edge_faces[:, 0]] != is_left[shell.edge_faces[:, 1]])
    plane = crosses & (image == np.arange(len(image)))
    if (image < 0).any() or (shell.seam != shell.seam[image]).any() or (crosses & ~plane).any():
        return None
    if (is_left == is_left[mirror.face]).any():
        return None
    return _Halves(np.flatnonzero(is_left), plane, image, mirror.face)


# --- two groups ------------------------------------------------------------------------------------


def _two_means(normal: np.ndarray, area: np.ndarray) -> np.ndarray:
    """(p,) float, how much more each face looks the one way than the other; both signs occur.

    Starts with the direction in which the normals differ most, then Lloyd's steps.
    """
    mean = area @ normal / area.sum()
    _, axes = np.linalg.eigh((normal - mean).T @ ((normal - mean) * area[:, None]))
    axis = axes[:, -1] * (1 if axes[np.argmax(np.abs(axes[:, -1])), -1] > 0 else -1)
    looks = (normal - mean) @ axis
    for _ in range(10):
        side = looks > 0
        one, other = (area[half] @ normal[half] / area[half].sum() for half in (side, ~side))
        better = normal @ (one - other) - (one @ one - other @ other) / 2
        if (better > 0).all() or not (better > 0).any():
            break
        looks = better
    return looks


def _evened(
    values: np.ndarray, area: np.ndarray, first: np.ndarray, second: np.ndarray, flow: np.ndarray
) -> np.ndarray:
    """Values after heat has flowed between neighbours for a while (one implicit step)."""
    count = len(values)
    size = (count, count)
    joint = coo_array((np.append(flow, flow), (np.append(first, second), np.append(second, first))), shape=size).tocsr()
    time = BLUR * area.sum()
    diagonal = area + time * joint.sum(axis=1)
    system = (diags_array(diagonal) - time * joint).tocsc()
    return splu(system, permc_spec="MMD_AT_PLUS_A", options={"SymmetricMode": True}).solve(area * values)


def _shortened(side: np.ndarray, first: np.ndarray, second: np.ndarray, width: np.ndarray) -> np.ndarray:
    """Sides after faces went over that have more border than common ground, from each side in turn."""
    side = side.copy()
    for turn in range(8):
        unlike = np.where(side[first] != side[second], width, -width)
        gain = np.bincount(np.append(first, second), np.append(unlike, unlike), minlength=len(side))
        side[(gain > 1e-9) & (side == bool(turn % 2))] ^= True
    return side


def _without_islands(side: np.ndarray, area: np.ndarray, first: np.ndarray, second: np.ndarray) -> np.ndarray:
    """Sides after small fragments went over to what surrounds them."""
    same = side[first] == side[second]
    label = _joined(len(side), first[same], second[same])
    fragment = np.bincount(label, area)
    return np.where((fragment < ISLAND_SHARE * area.sum())[label], ~side, side)


def _joined(count: int, first: np.ndarray, second: np.ndarray) -> np.ndarray:
    graph = coo_array((np.ones(len(first)), (first, second)), shape=(count, count))
    return connected_components(graph, directed=False)[1]
