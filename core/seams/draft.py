"""A plan in the making: the seams so far, and what they make of the pieces."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import csr_array
from scipy.sparse.csgraph import connected_components

from ..opening import missing_cut
from ..patch import Patch, cut_patch
from ..shell import Shell
from .choices import EdgeChoices, SuggestionLimits, edge_price
from .outlook import Laid, quickly_laid, really_laid
from .potential import scale_potential
from .twins import Twins

FORECAST = 0.60
"""Strain of the finished flat over that of the quick one, on most shells between 0.57 and 0.78."""

RATIOS = (0.4, 0.8)
"""Bounds of what is learnt of that; what is over them is learnt as a sum: thick foam can strain a flat piece."""

HOPELESS = 4.0
"""Times the limit over which the exact strain does not matter."""

PARTED = 0.0002
"""Part of its area by which the quick flat may lie over itself: flattening parts that at little cost."""

WORTH_LEARNING = 0.6
"""Part of the limit under which a piece's strain teaches nothing: flattening does not press it down."""

DOUBTFUL = 1.25
"""Times the limit at which the potential's word is taken."""

POTENTIAL_WORK = 4
"""Parts of the work of laying a piece flat that its potential takes."""

FAILED = 100.0
"""What a piece counts for that cannot be laid flat at all."""

PIECE_PRICE, NARROW_PRICE = 60.0, 200.0
"""mm of seam that a piece less is worth, and one less that is too narrow to handle."""

SPREAD = 0.35
"""Strain over the spread of the scale potential, at the least."""


@dataclass(frozen=True, eq=False)
class State:
    """How a piece fares. trouble : its worst strain or size over what is allowed; at most 1 is fine."""

    trouble: float
    strain: float
    laid: Laid | None = None


CLOSED = State(np.inf, np.inf)


@dataclass(frozen=True)
class Potential:
    """Of a piece: how far its scale potential spreads, and the energy in it."""

    spread: float
    energy: float


class Draft:
    """The work on one shell.

    seam : (k,) bool, the cuts so far; kept : (k,) bool, the maker's, which stay
    work : triangles laid flat so far, the measure of time that is the same on every machine
    ratio, extra : (f,) strain of the finished flat over that of the quick one, and on top of it, as learnt so far
    """

    def __init__(self, shell: Shell, limits: SuggestionLimits, kept: np.ndarray, price: np.ndarray) -> None:
        """kept : (k,) bool; price : (k,) mm, what a cut along each edge counts for, infinite where it must not be."""
        self.shell, self.limits = shell, limits
        self.twins = Twins.of(shell)
        self.inner = shell.edge_is_consistent
        self.kept = kept & self.inner
        if not np.array_equal(self.mirrored(self.kept), self.kept):
            self.twins = None  # the maker cut left and right differently: neither side speaks for the other
        if self.twins is not None:
            price = (price + price[self.twins.edge]) / 2
        self.free = self.inner & ~self.kept & np.isfinite(price)
        self.price = np.where(self.free, price, np.inf)
        self.ratio, self.extra = np.full(shell.face_count, FORECAST), np.zeros(shell.face_count)
        self.parted = np.full(shell.face_count, PARTED)
        self._potentials: dict[tuple[bytes, bytes], Potential | None] = {}
        self._quick: dict[tuple[bytes, bytes], Laid] = {}
        self._real: dict[tuple[bytes, bytes], Laid | None] = {}
        self.work = 0
        self._left, self._right = shell.edge_faces.T
        self._pieces: dict[tuple[bytes | None, bytes], list[np.ndarray]] = {}
        # the graph of faces, row by row: per corner the face across its edge, if that joins the two
        self._joins = self.inner[shell.corner_edge]
        self._beside = shell.corner_face[shell.corner_across].astype(np.int32)
        self.triangle_count = len(shell.triangles)
        self.seam = self.kept.copy()

    @classmethod
    def of(cls, shell: Shell, limits: SuggestionLimits, choices: EdgeChoices) -> Draft:
        """The task as the maker sets it."""
        kept = shell.seam if choices.keep is None else shell.seam | choices.keep
        price = edge_price(shell, choices)
        return cls(shell, limits, kept, price if choices.forbid is None else np.where(choices.forbid, np.inf, price))

    def afresh(self) -> Draft:
        """The same task with nothing done."""
        return Draft(self.shell, self.limits, self.kept, self.price)

    def part(self, faces: np.ndarray) -> tuple[Draft, np.ndarray]:
        """The same task for some faces alone, and per edge of theirs its number in the whole."""
        shell = self.shell
        vertex, numbers = np.unique(np.concatenate([shell.face(face) for face in faces]), return_inverse=True)
        rings = np.split(numbers.reshape(-1), np.cumsum(np.diff(shell.face_start)[faces])[:-1])
        part = Shell.build(shell.vertices[vertex], rings, name=shell.name)
        edge = shell.edge_between(vertex[part.edges])
        return Draft(part, self.limits, self.kept[edge], self.price[edge]), edge

    # --- pieces --------------------------------------------------------------------------------

    def mirrored(self, mask: np.ndarray) -> np.ndarray:
        """(k,) bool, edges of the mask and their mirror images."""
        return mask if self.twins is None else mask | mask[self.twins.edge]

    def with_images(self, edges: np.ndarray) -> np.ndarray:
        """Edge numbers with those of their mirror images."""
        return edges if self.twins is None else np.unique(np.append(edges, self.twins.edge[edges]))

    def pieces(self, faces: np.ndarray | None = None, seam: np.ndarray | None = None) -> list[np.ndarray]:
        """Faces that hang together, each piece (p,) int sorted; all of the shell or `faces` of it."""
        seam = self.seam if seam is None else seam
        key = None if faces is None else faces.tobytes(), seam.tobytes()
        if key not in self._pieces:
            self._pieces[key] = self._find_pieces(faces, seam)
        return list(self._pieces[key])

    def _find_pieces(self, faces: np.ndarray | None, seam: np.ndarray) -> list[np.ndarray]:
        shell = self.shell
        joins = self._joins & ~seam[shell.corner_edge]
        if faces is not None:
            within = shell.marked(faces)
            joins &= within[shell.corner_face] & within[self._beside]
        start = np.zeros(len(joins) + 1, np.int32)
        np.cumsum(joins, out=start[1:])
        beside, start = self._beside[joins], start[shell.face_start]
        graph = csr_array((np.ones(len(beside)), beside, start), shape=(shell.face_count,) * 2)
        # every join is there from both sides, so that strong components are the pieces, and found in half the time,
        # but only where two faces that share two edges are joined once
        graph.sum_duplicates()
        label = connected_components(graph, connection="strong")[1]
        faces = np.arange(shell.face_count) if faces is None else faces
        order = np.argsort(label[faces], kind="stable")
        pieces = np.split(faces[order], np.flatnonzero(np.diff(label[faces[order]])) + 1)
        return sorted(pieces, key=lambda piece: int(piece[0]))

    def own_pieces(self, pieces: list[np.ndarray]) -> list[np.ndarray]:
        """One of every two pieces that mirror each other, the left one, and all others."""
        if self.twins is None:
            return pieces
        label = np.full(self.shell.face_count, -1)
        for number, faces in enumerate(pieces):
            label[faces] = number
        own = []
        for number, faces in enumerate(pieces):
            twin = int(label[self.twins.face[faces[0]]])
            if twin in (-1, number) or len(pieces[twin]) != len(faces) or self._leftness(faces) >= 0:
                own.append(faces)
        return own

    def _leftness(self, faces: np.ndarray) -> int:
        assert self.twins is not None
        corner = self.shell.marked(faces)[self.shell.corner_face]
        on_left = self.twins.left[self.shell.corner_vertex[corner]]
        return int(on_left.sum() - (~on_left).sum())

    def around(self, edges: np.ndarray) -> np.ndarray:
        """(p,) int sorted, faces of all pieces beside some edges."""
        touched = np.unique(np.append(self._left[edges], self._right[edges]))
        return np.flatnonzero(np.isin(self.label, self.label[touched]))

    def with_twin_faces(self, faces: np.ndarray) -> np.ndarray:
        """Faces with their mirror images, sorted."""
        return np.unique(faces if self.twins is None else np.append(faces, self.twins.face[faces]))

    def inner_edges(self, faces: np.ndarray) -> np.ndarray:
        """Edges that may be cut with both faces among `faces`."""
        within = np.zeros(self.shell.face_count + 1, bool)
        within[faces] = True
        return np.flatnonzero(self.free & within[self._left] & within[self._right])

    def is_own(self, run: np.ndarray) -> bool:
        """Whether a run is the one of two mirror images to work on."""
        return self.twins is None or run.min() <= self.twins.edge[run].min()

    @property
    def seam(self) -> np.ndarray:
        return self._seam

    @seam.setter
    def seam(self, seam: np.ndarray) -> None:
        self._seam = seam
        label = np.empty(self.shell.face_count, np.int64)
        for number, faces in enumerate(self.pieces(seam=seam)):
            label[faces] = number
        self.label = label

    # --- how a piece fares ---------------------------------------------------------------------

    def patch(self, faces: np.ndarray, seam: np.ndarray) -> tuple[Shell, Patch, np.ndarray]:
        patch = cut_patch(self.shell, faces, seam)
        return self.shell, patch, self.shell.vertices[patch.shell_vertex]

    def _key(self, faces: np.ndarray, seam: np.ndarray) -> tuple[bytes, bytes]:
        within = np.zeros(self.shell.face_count + 1, bool)
        within[faces] = True
        slits = np.flatnonzero(seam & within[self._left] & within[self._right])
        return faces.tobytes(), slits.tobytes()

    def potential(self, faces: np.ndarray, seam: np.ndarray) -> Potential | None:
        """What the scale potential says of one piece, None for a piece that cannot be laid flat."""
        key = self._key(faces, seam)
        if key not in self._potentials:
            self._potentials[key] = self._find_potential(faces, seam)
        return self._potentials[key]

    def _find_potential(self, faces: np.ndarray, seam: np.ndarray) -> Potential | None:
        shell, patch, _ = self.patch(faces, seam)
        if not patch.loops or missing_cut(shell, patch) is not None:
            return None
        self.work += len(patch.triangles) // POTENTIAL_WORK
        values, energy = scale_potential(shell, patch)
        return Potential(float(np.ptp(np.quantile(values, [0.02, 0.98]))), energy)

    def laid(self, faces: np.ndarray, seam: np.ndarray) -> Laid:
        """The quick flat of an open piece."""
        key = self._key(faces, seam)
        if key not in self._quick:
            _, patch, points = self.patch(faces, seam)
            self._quick[key] = quickly_laid(points, patch)
            self.work += len(patch.triangles)
        return self._quick[key]

    def state(self, faces: np.ndarray, seam: np.ndarray | None = None) -> State:
        """The forecast for one piece; faces : (p,) int sorted."""
        seam = self.seam if seam is None else seam
        potential, limit = self.potential(faces, seam), self.limits.strain
        if potential is None:
            return CLOSED
        if SPREAD * potential.spread > HOPELESS * limit:
            return State(SPREAD * potential.spread / limit, SPREAD * potential.spread)
        laid = self.laid(faces, seam)
        area = self.shell.face_area[faces]
        strain = float(area @ (self.ratio[faces] * laid.strain + self.extra[faces]) / area.sum())
        return State(max(strain / limit, self._bulk(laid, faces)), strain, laid)

    def demerit(self, faces: np.ndarray | None = None) -> tuple[float, float]:
        """By how much pieces fail in all, then the price of the seams in mm, with what pieces and narrow ones count.

        Of the pieces that `faces` (p,) make up, or of all.
        """
        states = [self.state(piece) for piece in self.own_pieces(self.pieces(faces))]
        failing = sum(min(state.trouble - 1, FAILED) for state in states if state.trouble > 1)
        edges = self.free & self.seam
        if faces is not None:
            within = np.zeros(self.shell.edge_count, bool)
            within[self.inner_edges(faces)] = True
            edges &= within
        narrow = sum(map(self.is_narrow, states))
        return failing, float(self.price[edges].sum() + PIECE_PRICE * len(states) + NARROW_PRICE * narrow)

    def energy(self, faces: np.ndarray, seam: np.ndarray) -> float:
        potential = self.potential(faces, seam)
        return np.inf if potential is None else potential.energy

    def is_no_worse(self, faces: np.ndarray, seam: np.ndarray) -> bool:
        """Whether `faces` cut by other seams make pieces that are fine, or no worse than the worst of now."""
        now, then = self.own_pieces(self.pieces(faces)), self.own_pieces(self.pieces(faces, seam))
        states = [self.state(piece) for piece in now]
        allowed = max(1.0, max(state.trouble for state in states))
        # the potential tells at a tenth of the price where it is no use to lay the pieces flat
        spreads = [self._spread(piece, self.seam) for piece in now]
        rate = sum(state.strain for state in states) / max(sum(spreads), 1e-9)
        if max(self._spread(piece, seam) for piece in then) * rate > DOUBTFUL * allowed * self.limits.strain:
            return False
        return all(self.state(piece, seam).trouble <= allowed for piece in then)

    def _spread(self, faces: np.ndarray, seam: np.ndarray) -> float:
        potential = self.potential(faces, seam)
        return np.inf if potential is None else potential.spread

    def really(self, faces: np.ndarray) -> Laid | None:
        """One piece laid flat for good, None where it cannot be."""
        key = self._key(faces, self.seam)
        if key not in self._real:
            self._real[key] = None
            if self.potential(faces, self.seam) is not None:
                _, patch, points = self.patch(faces, self.seam)
                self._real[key] = really_laid(points, patch)
        return self._real[key]

    def real_trouble(self, faces: np.ndarray) -> float:
        return self.trouble_of(self.really(faces))

    def trouble_of(self, laid: Laid | None) -> float:
        """Worst strain or size of a finished piece over what is allowed; at most 1 is fine."""
        if laid is None:
            return np.inf
        bulk = max(laid.size_mm[0] / self.limits.sheet_mm[0], laid.size_mm[1] / self.limits.sheet_mm[1])
        return max(laid.strain / self.limits.strain, bulk, 2.0 if laid.doubled > 0 else 0.0)

    def learn(self, faces: np.ndarray, laid: Laid | None, caution: float = 1.0) -> None:
        """Set the forecast for a piece right by how it really comes out; caution : to be taken times that."""
        if laid is None or self.potential(faces, self.seam) is None:
            return
        quick, real = self.laid(faces, self.seam).strain, caution * laid.strain
        if max(laid.strain, FORECAST * quick) > WORTH_LEARNING * self.limits.strain:
            self.ratio[faces] = np.clip(real / max(quick, 1e-9), *RATIOS)
            self.extra[faces] = max(0.0, real - RATIOS[1] * quick)
        if laid.doubled > 0:
            self.parted[faces] = 0.0

    def _bulk(self, laid: Laid, faces: np.ndarray) -> float:
        """Over 1 for a piece that fits no sheet or lies over itself."""
        sheet = self.limits.sheet_mm
        too_big = max(laid.size_mm[0] / sheet[0], laid.size_mm[1] / sheet[1])
        return max(too_big, laid.doubled / max(float(self.parted[faces].min()), 1e-6))

    def is_narrow(self, state: State) -> bool:
        return state.laid is not None and state.laid.size_mm[1] < self.limits.narrowest_mm

    def with_cut(self, edges: np.ndarray) -> np.ndarray:
        seam = self.seam.copy()
        seam[self.with_images(edges)] = True
        return seam

    def without(self, edges: np.ndarray) -> np.ndarray:
        seam = self.seam.copy()
        seam[self.with_images(edges)] = False
        return seam | self.kept
