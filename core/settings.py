"""The maker's choices for one run, as one frozen value."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from .errors import SettingsError
from .foam import Stock, eva

JOINT_RULES = ("auto", "butt", "one-sided", "mitre")


@dataclass(frozen=True)
class PieceChoice:
    """What the maker said of one piece; None leaves the shell's own."""

    stock: Stock | None = None
    group: str | None = None


@dataclass(frozen=True)
class Settings:
    """All angles in degrees, as the maker reads them; lengths in mm.

    stock : the foam of every piece that has no choice of its own
    pieces : choices by piece name
    model_is_inside : the mesh is the inside face of the shell, not its outside face
    joint_rule : how the bend of a joint is shared; "auto" goes by the two limits:
        butt up to `butt_limit_deg`, one-sided up to `one_sided_limit_deg`, mitre above
    fold_limit_deg : an edge inside a piece that bends more than this is grooved or scored
    seam_priority : how far the two sides of a seam are brought to one length: 1 wholly, 0 not at all
    squeeze_cost : how much dearer squeezing is than pulling, 1 is equal
    """

    stock: Stock = field(default_factory=lambda: eva(5.0))
    pieces: Mapping[str, PieceChoice] = field(default_factory=lambda: MappingProxyType({}))
    model_is_inside: bool = False
    joint_rule: str = "auto"
    butt_limit_deg: float = 12.0
    one_sided_limit_deg: float = 30.0
    heavy_bevel_deg: float = 45.0
    fold_limit_deg: float = 30.0
    seam_priority: float = 1.0
    squeeze_cost: float = 1.5
    notch_spacing_mm: float = 50.0
    part_gap_mm: float = 4.0
    nest_seconds: int = 6

    def __post_init__(self) -> None:
        if self.joint_rule not in JOINT_RULES:
            raise SettingsError(f"Joint rule '{self.joint_rule}' is unknown; choose one of {', '.join(JOINT_RULES)}.")
        if not 0 <= self.butt_limit_deg <= self.one_sided_limit_deg <= 180:
            raise SettingsError("Joint limits must grow: 0 <= butt limit <= one-sided limit <= 180 degrees.")
        if not 0 < self.fold_limit_deg <= 180:
            raise SettingsError("The fold limit must lie between 0 and 180 degrees.")
        if not 0 <= self.seam_priority <= 1 or self.squeeze_cost <= 0:
            raise SettingsError("Seam priority must lie between 0 and 1, and the cost of squeezing be over 0.")
        if self.notch_spacing_mm <= 0 or self.part_gap_mm < 0 or self.nest_seconds < 1:
            raise SettingsError("Notch spacing must be over 0 mm, the gap 0 or more, nesting time 1 s or more.")

    def stock_of(self, piece_name: str) -> Stock:
        choice = self.pieces.get(piece_name)
        return choice.stock if choice and choice.stock else self.stock
