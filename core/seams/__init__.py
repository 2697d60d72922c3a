"""Where to cut: the maker's seams and sharp edges, seams that complete a shell, and a plan of the best cuts."""

from __future__ import annotations

from .choices import EdgeChoices, SuggestionLimits
from .plan import Cut, PieceOutlook, Plan, percent
from .single_cuts import removable_seams, where_to_cut
from .sources import SOURCES, complete_seams, seams_from
from .suggest import suggest

__all__ = [
    "SOURCES",
    "Cut",
    "EdgeChoices",
    "PieceOutlook",
    "Plan",
    "SuggestionLimits",
    "complete_seams",
    "percent",
    "removable_seams",
    "seams_from",
    "suggest",
    "where_to_cut",
]
