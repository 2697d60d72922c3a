"""Which parts of a pattern cannot be made as they are, and why: said in one place for panel, page and report."""

from __future__ import annotations

from .pattern import Pattern, PatternPiece
from .report import common_strain

HOPELESS = 2.0
"""Times what the foam takes heated: up to there a piece is hard work on a form, beyond it no heating helps, it wants
a cut. With the usual 10 % this is a cap of 80 degrees, nearly half a ball, from one sheet (common practice)."""

EASY = 0.05
"""Strain that any foam sheet takes (common practice), whatever limits are set."""

WHY = {
    "overlap": "lying over itself on the flat",
    "over-strain": "strained far over what the foam takes heated",
    "narrow-piece": "too narrow for its bevels",
}
"""Kinds of findings about a piece that cannot be made, and what each says of it, the gravest first."""


def cannot_be_formed(piece: PatternPiece) -> bool:
    """Whether 99 % of its area keep to no strain that its foam could be brought to take."""
    return common_strain(piece) > max(HOPELESS * piece.stock.hot_limit, EASY)


def unmakeable(pattern: Pattern) -> dict[str, str]:
    """Parts that cannot be made as they are, in the pattern's order, each with its gravest reason."""
    found = {(finding.piece, finding.kind) for finding in pattern.findings}
    why = {part.name: next((WHY[kind] for kind in WHY if (part.name, kind) in found), "") for part in pattern.parts}
    return {name: words for name, words in why.items() if words}


def unmakeable_words(pattern: Pattern) -> str:
    """A sentence; empty where every part can be made."""
    why = unmakeable(pattern)
    if not why:
        return ""
    told = (f"{_some([name for name in why if why[name] == words])} ({words})" for words in dict.fromkeys(why.values()))
    one_or_many = (
        "1 piece cannot be made as it is" if len(why) == 1 else f"{len(why)} pieces cannot be made as they are"
    )
    return f"{one_or_many}: {'; '.join(told)}."


MOST_NAMED = 12
"""More names nobody reads in a sentence; the list of findings has them all."""


def _some(names: list[str]) -> str:
    more = len(names) - MOST_NAMED
    return ", ".join(names[:MOST_NAMED]) + (f" and {more} more" if more > 0 else "")
