"""The maker's choices for one run, as one frozen value."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from .errors import SettingsError
from .foam import EVA_SHEETS, Stock, eva

SQUEEZE_COST = 1.1
"""Squeezed foam buckles where pulled foam gives (common practice); much more than this raises every other strain."""

JOINT_RULES = ("auto", "butt", "one-sided", "mitre")
RIM_STYLES = ("square", "rounded", "bevelled")
TIGHT_BENDS = ("heat-form", "kerfs")


@dataclass(frozen=True)
class PieceChoice:
    """What the maker said of one piece; None leaves the shell's own."""

    stock: Stock | None = None
    group: str | None = None
    tight_bends: str | None = None

    def __post_init__(self) -> None:
        if self.tight_bends is not None:
            _refuse_unknown("Treatment of tight bends", self.tight_bends, TIGHT_BENDS)


@dataclass(frozen=True)
class RunChoice:
    """What the maker said of one run of edges, and locked against the rules of the whole shell.

    rule : of a joint "butt", "one-sided" or "mitre"; of an open rim "square", "rounded" or "bevelled"
    pieces : names of the pieces that meet in it (one for a rim or a dart); the run is found again by them
        where an edit has made its edges anew. Empty: the letter alone decides.
    """

    rule: str
    pieces: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        _refuse_unknown("Rule of a run", self.rule, (*JOINT_RULES[1:], *RIM_STYLES))


@dataclass(frozen=True)
class Settings:
    """All angles in degrees, as the maker reads them; lengths in mm.

    stock : the foam of every piece that has no choice of its own
    pieces : choices by piece name; runs : choices by the letter of the run
    stocks : the maker's stock, from which layers of raised panels are chosen
    model_is_inside : the mesh is the inside face of the shell, not its outside face
    joint_rule : how the bend of a joint is shared; "auto" goes by the two limits:
        butt up to `butt_limit_deg`, one-sided up to `one_sided_limit_deg`, mitre above
    rim_style : how open rims are finished: "square", "rounded" (by `rim_round_mm`, at most half the foam)
        or "bevelled" (by `rim_bevel_deg`, the inside outline the smaller one)
    heavy_bevel_deg, feather_mm, butt_mismatch_mm : what is reported: a bevel over this; foam thinner than
        this close to a bevelled edge; square edges that overlap or gape by more at the inside face
    fold_limit_deg : an edge inside a piece that bends more than this is grooved or scored
    tight_bends : what smooth bends tighter than the stock allows get: "heat-form" or relief "kerfs" (scores in a
        valley)
    cut_layers : the layers that raise a panel to its modelled height are cut as pieces of their own; off, they are
        only told, for a part may as well stand off on straps
    seam_priority : how far the two sides of a seam are brought to one length: 1 wholly, 0 not at all
    squeeze_cost : how much dearer squeezing is than pulling, 1 is equal
    """

    stock: Stock = field(default_factory=lambda: eva(5.0))
    pieces: Mapping[str, PieceChoice] = field(default_factory=lambda: MappingProxyType({}))
    runs: Mapping[str, RunChoice] = field(default_factory=lambda: MappingProxyType({}))
    stocks: tuple[Stock, ...] = EVA_SHEETS
    model_is_inside: bool = False
    joint_rule: str = "auto"
    butt_limit_deg: float = 12.0
    one_sided_limit_deg: float = 30.0
    heavy_bevel_deg: float = 45.0
    feather_mm: float = 1.0
    butt_mismatch_mm: float = 2.0
    rim_style: str = "square"
    rim_bevel_deg: float = 30.0
    rim_round_mm: float = 2.0
    fold_limit_deg: float = 30.0
    tight_bends: str = "heat-form"
    cut_layers: bool = False
    seam_priority: float = 1.0
    squeeze_cost: float = SQUEEZE_COST
    notch_spacing_mm: float = 50.0
    part_gap_mm: float = 4.0
    nest_seconds: int = 6

    def __post_init__(self) -> None:
        _refuse_unknown("Joint rule", self.joint_rule, JOINT_RULES)
        _refuse_unknown("Rim style", self.rim_style, RIM_STYLES)
        _refuse_unknown("Treatment of tight bends", self.tight_bends, TIGHT_BENDS)
        if not 0 <= self.butt_limit_deg <= self.one_sided_limit_deg <= 180:
            raise SettingsError("Joint limits must grow: 0 <= butt limit <= one-sided limit <= 180 degrees.")
        if not 0 < self.fold_limit_deg <= 180:
            raise SettingsError("The fold limit must lie between 0 and 180 degrees.")
        if not 0 <= self.rim_bevel_deg <= 80 or self.rim_round_mm < 0:
            raise SettingsError("The bevel of rims must lie between 0 and 80 degrees, their rounding be 0 mm or more.")
        if self.feather_mm < 0 or self.butt_mismatch_mm < 0:
            raise SettingsError("The limits for feather edges and for butt joints must be 0 mm or more.")
        if not 0 <= self.seam_priority <= 1 or self.squeeze_cost <= 0:
            raise SettingsError("Seam priority must lie between 0 and 1, and the cost of squeezing be over 0.")
        if self.notch_spacing_mm <= 0 or self.part_gap_mm < 0 or self.nest_seconds < 1:
            raise SettingsError("Notch spacing must be over 0 mm, the gap 0 or more, nesting time 1 s or more.")

    def stock_of(self, piece_name: str) -> Stock:
        choice = self.pieces.get(piece_name)
        return choice.stock if choice and choice.stock else self.stock

    def tight_bends_of(self, piece_name: str) -> str:
        choice = self.pieces.get(piece_name)
        return choice.tight_bends if choice and choice.tight_bends else self.tight_bends


def _refuse_unknown(what: str, word: str, known: tuple[str, ...]) -> None:
    if word not in known:
        raise SettingsError(f"{what} '{word}' is unknown; choose one of {', '.join(known)}.")
