"""Flags of a pattern as one kind a face, and the colour each kind is shown in."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .pattern import Pattern

NO_FLAG = -1
PLAIN = (0.96, 0.96, 0.96)
"""A face without a flag."""


@dataclass(frozen=True)
class FlagKind:
    """words : for a legend; findings : kinds of `Finding` that it stands for; colour : sRGB 0 to 1."""

    words: str
    findings: tuple[str, ...]
    colour: tuple[float, float, float]


# the gravest first; colours stay apart for all kinds of colour vision and are bright enough to be shaded, which leaves
# room for no more of them; what every bevel has is palest
FLAG_KINDS = (
    FlagKind("Groove too deep or crowded", ("deep-groove", "crowded-grooves"), (0.50, 0.18, 0.80)),
    FlagKind("Feather edge", ("feather-edge",), (0.72, 0.30, 0.12)),
    FlagKind("Heavy bevel", ("heavy-bevel",), (0.85, 0.30, 1.00)),
    FlagKind("Edges or corners overlap or gape", ("butt-mismatch", "closed-gap", "corner-overlap"), (0.05, 0.50, 0.54)),
    FlagKind("Bend too tight", ("tight-bend",), (0.17, 0.72, 0.60)),
    FlagKind("Strain over the limits", ("over-strain", "hot-strain", "cold-strain"), (1.00, 0.74, 0.02)),
    FlagKind("Undercut or trimmed corner", ("undercut", "corner-trim"), (0.73, 0.77, 1.00)),
)
_PLACE = {finding: place for place, kind in enumerate(FLAG_KINDS) for finding in kind.findings}


def face_flags(pattern: Pattern) -> np.ndarray:
    """(f,) int, per shell face the place in FLAG_KINDS of its gravest flag, NO_FLAG for none.

    What is warned of is graver than what is noted, then the order of FLAG_KINDS counts.
    """
    flags = np.full(pattern.shell.face_count, NO_FLAG)
    listed = [finding for finding in pattern.findings if finding.kind in _PLACE]
    for finding in sorted(listed, key=lambda one: (one.severity == "note", _PLACE[one.kind]), reverse=True):
        flags[list(finding.faces)] = _PLACE[finding.kind]
    return flags


def flag_colours(flags: np.ndarray) -> np.ndarray:
    """(n, 3) sRGB 0 to 1; flags : (n,) int from `face_flags`."""
    return np.array([*(kind.colour for kind in FLAG_KINDS), PLAIN])[flags]
