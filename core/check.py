"""Findings: what is wrong with a mesh or a pattern, where, and what mends it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Finding:
    """One thing the maker should know.

    kind : a short fixed word, as "open-rim" or "heavy-bevel"
    severity : "stop" (cannot go on), "warn" (will build badly) or "note"
    message : names the thing and what is wrong; mend : what to do
    piece : the piece it concerns, or None; vertices, edges, faces : shell elements to select
    """

    kind: str
    severity: str
    message: str
    mend: str
    piece: str | None = None
    vertices: tuple[int, ...] = ()
    edges: tuple[int, ...] = ()
    faces: tuple[int, ...] = ()
