"""The list of findings on a shell object, with the place of each in the mesh's own numbers."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import bpy

from ..core.check import Finding
from ..core.shell import Shell
from .shell_state import FoamwrightFinding

Place = tuple[list[int], list[tuple[int, int]], list[int]]
"""Vertices, edges as vertex pairs, faces."""


def list_findings(obj: bpy.types.Object, shell: Shell, findings: Sequence[Finding]) -> None:
    """Write `findings` to the object's list."""
    state = obj.foamwright
    state.findings.clear()
    for finding in findings:
        item = state.findings.add()
        item.severity, item.message, item.mend = finding.severity, finding.message, finding.mend
        item.vertices = _numbers(finding.vertices)
        item.edges = _numbers(vertex for pair in vertex_pairs(shell, finding.edges) for vertex in pair)
        item.faces = _numbers(finding.faces)
    state.checked, state.active_finding = True, 0


def reword_findings(obj: bpy.types.Object, before: Sequence[Finding], after: Sequence[Finding]) -> None:
    """Say listed findings in the words of `after`, in the order of `before`, the same in the words that are listed."""
    words = {old.message: new.message for old, new in zip(before, after, strict=True)}
    for item in obj.foamwright.findings:
        item.message = words.get(item.message, item.message)


def place_of(item: FoamwrightFinding) -> Place:
    """Where a listed finding is."""
    ends = _read(item.edges)
    return _read(item.vertices), list(zip(ends[::2], ends[1::2], strict=True)), _read(item.faces)


def vertex_pairs(shell: Shell, edges: Sequence[int]) -> list[tuple[int, int]]:
    """Shell edges as pairs of vertices, which the mesh numbers alike."""
    return [(int(low), int(high)) for low, high in shell.edges[list(edges)]]


def _numbers(numbers: Iterable[int]) -> str:
    return " ".join(map(str, numbers))


def _read(words: str) -> list[int]:
    return [int(word) for word in words.split()]
