"""A plan in the making: the seams so far, and the forecast of how the pieces they make fare."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..opening import missing_cut
from ..progress import Steps, finish
from ..shell import Shell
from .choices import EdgeChoices, SuggestionLimits, edge_price
from .division import Division
from .outlook import Laid, quickly_laid, really_laid
from .potential import scale_potential

FORECAST = 0.60
"""Strain of the finished flat over that of the quick one, on most shells between 0.57 and 0.78."""

RATIOS, MOST_EXTRA = (0.4, 1.2), 0.5
"""Bounds of what is learnt of that; what is over them is learnt as a sum: thick foam can strain a flat piece. The sum
takes this part of the limit at most, or no cut would seem to help."""

HOPELESS = 4.0
"""Times the limit over which the exact strain does not matter."""

PARTED = 0.0002
"""Part of its area by which the quick flat may lie over itself: flattening parts that at little cost."""

WORTH_LEARNING = 0.6
"""Part of the limit under which a piece's strain teaches nothing: flattening does not press it down."""

DOUBTFUL = 1.1
"""Times the limit at which the potential's word is taken."""

POTENTIAL_WORK = 4
"""Parts of the work of laying a piece flat that its potential takes."""

FAILED = 100.0
"""What a piece counts for that cannot be laid flat at all."""

PIECE_PRICE, NARROW_PRICE = 100.0, 200.0
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


class Draft(Division):
    """The work on one shell.

    work : triangles laid flat so far, the measure of time that is the same on every machine
    ratio, extra : (f,) strain of the finished flat over that of the quick one, and on top of it, as learnt so far
    """

    def __init__(self, shell: Shell, limits: SuggestionLimits, kept: np.ndarray, price: np.ndarray) -> None:
        """kept : (k,) bool; price : (k,) mm, what a cut along each edge counts for, infinite where it must not be."""
        super().__init__(shell, kept, price)
        self.limits, self.triangle_count, self.work = limits, len(shell.triangles), 0
        self.ratio, self.extra = np.full(shell.face_count, FORECAST), np.zeros(shell.face_count)
        self.parted = np.full(shell.face_count, PARTED)
        self._spreads: dict[tuple[bytes, bytes], float] = {}
        self._quick: dict[tuple[bytes, bytes], Laid] = {}
        self._real: dict[tuple[bytes, bytes], Laid | None] = {}

    @classmethod
    def of(cls, shell: Shell, limits: SuggestionLimits, choices: EdgeChoices) -> Draft:
        """The task as the maker sets it, on a shell that `refuse_unfit` lets pass."""
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

    # --- how a piece fares -----------------------------------------------------------------------

    def state(self, faces: np.ndarray, seam: np.ndarray | None = None) -> State:
        """The forecast for one piece; faces : (p,) int sorted."""
        seam = self.seam if seam is None else seam
        least, limit = SPREAD * self.spread(faces, seam), self.limits.strain
        if least > HOPELESS * limit:
            return State(least / limit, least)
        laid = self.laid(faces, seam)
        area = self.shell.face_area[faces]
        strain = float(area @ (self.ratio[faces] * laid.strain + self.extra[faces]) / area.sum())
        return State(max(strain / limit, self._bulk(laid, faces)), strain, laid)

    def _bulk(self, laid: Laid, faces: np.ndarray) -> float:
        """Over 1 for a piece that fits no sheet or lies over itself."""
        return max(self._oversize(laid), laid.doubled / max(float(self.parted[faces].min()), 1e-6))

    def _oversize(self, laid: Laid) -> float:
        return max(laid.size_mm[0] / self.limits.sheet_mm[0], laid.size_mm[1] / self.limits.sheet_mm[1])

    def is_narrow(self, state: State) -> bool:
        return state.laid is not None and state.laid.size_mm[1] < self.limits.narrowest_mm

    def spread(self, faces: np.ndarray, seam: np.ndarray) -> float:
        """Of the scale potential of one piece; infinite for a piece that cannot be laid flat."""
        key = self._key(faces, seam)
        if key not in self._spreads:
            self._spreads[key] = self._find_spread(faces, seam)
        return self._spreads[key]

    def _find_spread(self, faces: np.ndarray, seam: np.ndarray) -> float:
        patch, _ = self.patch(faces, seam)
        if not patch.loops or missing_cut(self.shell, patch) is not None:
            return np.inf
        self.work += len(patch.triangles) // POTENTIAL_WORK
        return scale_potential(self.shell, patch).spread

    def laid(self, faces: np.ndarray, seam: np.ndarray) -> Laid:
        """The quick flat of an open piece."""
        key = self._key(faces, seam)
        if key not in self._quick:
            patch, points = self.patch(faces, seam)
            self._quick[key] = quickly_laid(points, patch)
            self.work += len(patch.triangles)
        return self._quick[key]

    def _key(self, faces: np.ndarray, seam: np.ndarray) -> tuple[bytes, bytes]:
        return faces.tobytes(), seam[self.edges_within(faces)].tobytes()

    # --- how pieces fare in all ------------------------------------------------------------------

    def demerit(self, faces: np.ndarray | None = None) -> tuple[float, float]:
        """By how much pieces fail in all, then the price of the seams in mm, with what pieces and narrow ones count.

        Of the pieces that `faces` (p,) make up, or of all.
        """
        pieces = self.pieces(faces)
        states = [self.state(piece) for piece in self.own_pieces(pieces)]
        failing = sum(min(state.trouble - 1, FAILED) for state in states if state.trouble > 1)
        edges = np.flatnonzero(self.free) if faces is None else self.inner_edges(faces)
        seams = self.price[edges[self.seam[edges]]].sum()
        return failing, float(seams + PIECE_PRICE * len(pieces) + NARROW_PRICE * sum(map(self.is_narrow, states)))

    def is_no_worse(self, faces: np.ndarray, seam: np.ndarray) -> bool:
        """Whether `faces` cut by other seams make pieces that are fine, or no worse than the worst of now."""
        now, then = self.own_pieces(self.pieces(faces)), self.own_pieces(self.pieces(faces, seam))
        states = [self.state(piece) for piece in now]
        allowed = max(1.0, max(state.trouble for state in states))
        # the potential tells at a tenth of the price where it is no use to lay the pieces flat
        spreads = [self.spread(piece, self.seam) for piece in now]
        rate = sum(state.strain for state in states) / max(sum(spreads), 1e-9)
        if max(self.spread(piece, seam) for piece in then) * rate > DOUBTFUL * allowed * self.limits.strain:
            return False
        return all(self.state(piece, seam).trouble <= allowed for piece in then)

    # --- how a piece really comes out ------------------------------------------------------------

    def really(self, faces: np.ndarray) -> Laid | None:
        """As `laying`, at once."""
        return finish(self.laying(faces))

    def laying(self, faces: np.ndarray) -> Steps[Laid | None]:
        """One piece laid flat for good, None where it cannot be. Yields Progress."""
        key = self._key(faces, self.seam)
        if key not in self._real:
            laid = None
            if np.isfinite(self.spread(faces, self.seam)):
                patch, points = self.patch(faces, self.seam)
                laid = yield from really_laid(points, patch)
            self._real[key] = laid
        return self._real[key]

    def real_trouble(self, faces: np.ndarray) -> float:
        return self.trouble_of(self.really(faces))

    def trouble_of(self, laid: Laid | None) -> float:
        """Worst strain or size of a finished piece over what is allowed; at most 1 is fine."""
        if laid is None:
            return np.inf
        return max(laid.strain / self.limits.strain, self._oversize(laid), 2.0 if laid.doubled > 0 else 0.0)

    def learn(self, faces: np.ndarray, laid: Laid | None, caution: float = 1.0) -> None:
        """Set the forecast for a piece right by how it really comes out; caution : to be taken times that."""
        if laid is None or not np.isfinite(self.spread(faces, self.seam)):
            return
        quick, real = self.laid(faces, self.seam).strain, caution * laid.strain
        if max(laid.strain, FORECAST * quick) > WORTH_LEARNING * self.limits.strain:
            self.ratio[faces] = np.clip(real / max(quick, 1e-9), *RATIOS)
            self.extra[faces] = min(max(0.0, real - RATIOS[1] * quick), MOST_EXTRA * self.limits.strain)
        if laid.doubled > 0:
            self.parted[faces] = 0.0
