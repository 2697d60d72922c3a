"""Findings as the printed lists tell them: those of one kind together, with the pieces or joints they are about."""

from __future__ import annotations

from collections.abc import Sequence

from ..check import Finding
from ..pattern import Pattern

OF_PIECES = {
    "overlap": "lie over themselves on the flat and cannot be cut from one sheet",
    "narrow-piece": "are too narrow for their bevels",
    "heavy-bevel": "need bevels over the limit",
    "feather-edge": "run out thin beside a bevel",
    "tight-bend": "bend tighter than their foam stands",
    "deep-groove": "have cuts that go through the foam",
    "crowded-grooves": "have grooves that run into each other",
    "over-strain": "are strained far over what their foam takes heated, and cannot be made as they are",
    "hot-strain": "must stretch or squeeze by more than their foam takes heated",
    "cold-strain": "must stretch or squeeze by more than their foam takes cold",
    "closed-gap": "have bevels that need foam across a gap of the same piece",
    "corner-trim": "have corners to be trimmed against pieces that they meet only in a point",
    "corner-overlap": "overlap pieces that they meet only in a point",
    "build-up": "do not get their modelled height from their own foam",
}
OF_JOINTS = {
    "unequal-seam": "are longer on one piece than on the other",
    "butt-mismatch": "have square edges that overlap or gape by more than the limit",
}


def finding_lines(pattern: Pattern) -> list[str]:
    """In full, one line a kind, in the order of the findings; what is alone of its kind keeps its own words."""
    lines: list[str] = []
    for found, (words, names) in _kinds(pattern):
        own = [f"{finding.message} {finding.mend}" for finding in found]
        lines += [f"{words}: {', '.join(names)}. For one: {own[0]}"] if words else own
    return lines


def finding_heads(pattern: Pattern) -> list[str]:
    """In brief, one line a kind, without names and mends."""
    heads: list[str] = []
    for found, (words, _) in _kinds(pattern):
        heads += [f"{words}."] if words else [finding.message for finding in found]
    return heads


# --- helpers -----------------------------------------------------------------------------------

Told = tuple[str, list[str]]


def _kinds(pattern: Pattern) -> list[tuple[list[Finding], Told]]:
    """The findings of each kind with what is said of them together, no words where each speaks for itself."""
    by_kind: dict[str, list[Finding]] = {}
    for finding in pattern.findings:
        by_kind.setdefault(finding.kind, []).append(finding)
    return [(found, _told(pattern, kind, found)) for kind, found in by_kind.items()]


def _told(pattern: Pattern, kind: str, found: Sequence[Finding]) -> Told:
    """ "4 pieces need bevels over the limit" and their names."""
    if kind in OF_PIECES:
        names, thing, words = list(dict.fromkeys(f.piece for f in found if f.piece)), "piece", OF_PIECES[kind]
    elif kind in OF_JOINTS:
        names, thing, words = _letters(pattern, found), "joint", OF_JOINTS[kind]
    else:
        return "", []
    return (f"{_counted(names, thing)} {words}" if len(names) > 1 else ""), names


def _letters(pattern: Pattern, found: Sequence[Finding]) -> list[str]:
    edges = {edge for finding in found for edge in finding.edges}
    return [joint.letter for joint in pattern.joints if not edges.isdisjoint(joint.edges.tolist())]


def _counted(names: Sequence[str], thing: str) -> str:
    return f"{len(names)} {thing}{'s' if len(names) > 1 else ''}"
