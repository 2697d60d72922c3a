"""The list of findings on a shell object, with the place of each in the mesh's own numbers."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import bpy

from ..core.check import Finding
from ..core.errors import FormatError
from ..core.shell import Shell
from . import own_mesh
from .shell_state import FoamwrightFinding

DAMAGED = (
    "What this file keeps of findings and plans is damaged; check the shell again, or drop the plan and ask again."
)


def list_findings(context: bpy.types.Context, obj: bpy.types.Object, shell: Shell, findings: Sequence[Finding]) -> None:
    """Write `findings` on a shell just made from the object to its list."""
    origins = own_mesh.origins_of(context, obj, shell)
    state = obj.foamwright
    state.findings.clear()
    for finding in findings:
        item = state.findings.add()
        item.severity, item.message, item.mend = finding.severity, finding.message, finding.mend
        place = own_mesh.own_place(origins, shell, finding.vertices, finding.edges, finding.faces)
        item.vertices, item.faces, item.is_made = numbers(place.vertices), numbers(place.faces), place.is_made
        item.edges = numbers(vertex for pair in place.edges for vertex in pair)
    state.checked, state.active_finding = True, 0


def reword_findings(obj: bpy.types.Object, before: Sequence[Finding], after: Sequence[Finding]) -> None:
    """Say listed findings in the words of `after`, in the order of `before`, the same in the words that are listed."""
    words = {old.message: new.message for old, new in zip(before, after, strict=True)}
    for item in obj.foamwright.findings:
        item.message = words.get(item.message, item.message)


def place_of(item: FoamwrightFinding) -> own_mesh.Place:
    """Where a listed finding is. Raises FormatError where the file is damaged."""
    return own_mesh.Place(tuple(_read(item.vertices)), pairs(item.edges), tuple(_read(item.faces)), item.is_made)


def numbers(values: Iterable[int]) -> str:
    """With spaces between."""
    return " ".join(map(str, values))


def pairs(words: str) -> tuple[tuple[int, int], ...]:
    """Vertex pairs written one after another. Raises FormatError where the file is damaged."""
    ends = _read(words)
    if len(ends) % 2:
        raise FormatError(DAMAGED)
    return tuple(zip(ends[::2], ends[1::2], strict=True))


def _read(words: str) -> list[int]:
    listed = words.split()
    # as Blender counts elements: nothing below 0, nothing over 32 bits
    if not all(word.isascii() and word.isdigit() and len(word) < 11 and int(word) < 2**31 for word in listed):
        raise FormatError(DAMAGED)
    return [int(word) for word in listed]
