"""The plan on a shell object: written, looked at, taken or dropped."""

from __future__ import annotations

from collections.abc import Sequence

import bpy
import numpy as np

from ..core.errors import MeshError
from ..core.seams import Cut, Plan
from ..core.shell import Shell
from . import bridge
from .cut_settings import FoamwrightCut
from .findings import vertex_pairs


def store_plan(obj: bpy.types.Object, shell: Shell, plan: Plan, limit: float) -> None:
    """Keep a whole plan; limit : the strain it was to keep to, part of 1."""
    _store(obj, "CUT", shell, plan.cuts, told(plan), _short_of(plan, limit))


def store_cut(obj: bpy.types.Object, shell: Shell, piece: str, cut: Cut) -> None:
    """Keep one more cut for a piece."""
    _store(obj, "CUT", shell, [cut], f"One more cut for {piece}", "")


def store_removable(obj: bpy.types.Object, shell: Shell, runs: Sequence[Cut]) -> None:
    """Keep runs of seams that could go."""
    longest_first = sorted(runs, key=lambda run: -run.length_mm)
    _store(obj, "REMOVE", shell, longest_first, f"Seams that could go, each by itself: {len(runs)}", "")


def told(plan: Plan) -> str:
    """The plan in one line."""
    worst = f"worst strain {100 * plan.strain:.1f} %" if np.isfinite(plan.strain) else "not all can be laid flat"
    pieces = "1 piece" if len(plan.pieces) == 1 else f"{len(plan.pieces)} pieces"
    return f"{pieces}, {plan.length_mm:.0f} mm of seam, {worst}"


def _short_of(plan: Plan, limit: float) -> str:
    """What the plan does not reach, in words."""
    over = sum(piece.strain > limit for piece in plan.pieces)
    doubled = sum(piece.lies_over_itself for piece in plan.pieces)
    words = [f"pieces over {100 * limit:g} %: {over}"] if over else []
    words += [f"pieces that lie over themselves: {doubled}"] if doubled else []
    return f"{', '.join(words)}. No allowed cut helps them more" if words else ""


def _store(obj: bpy.types.Object, kind: str, shell: Shell, cuts: Sequence[Cut], told: str, warning: str) -> None:
    drop(obj)
    plan = obj.foamwright.plan
    for number, cut in enumerate(cuts):
        item = plan.cuts.add()
        # of seams that could go, each by itself, only the longest is ticked
        item.wanted = kind == "CUT" or number == 0
        item.reason, item.length_mm, item.kept = cut.reason, cut.length_mm, cut.kept
        item.gain = _gain(cut, kind)
        item.edges = " ".join(str(vertex) for pair in vertex_pairs(shell, cut.edges.tolist()) for vertex in pair)
    plan.kind, plan.told, plan.warning = kind, told, warning
    plan.made_for = bridge.shape_print(obj)


def _gain(cut: Cut, kind: str) -> str:
    """Strain as it is and as it will be, in short."""
    now, then = (cut.strain_before, cut.strain_after) if kind == "CUT" else (cut.strain_after, cut.strain_before)
    return f"{100 * now:.1f} → {100 * then:.1f} %" if np.isfinite(now) else f"closed → {100 * then:.1f} %"


def drop(obj: bpy.types.Object) -> None:
    """Forget the plan."""
    plan = obj.foamwright.plan
    plan.cuts.clear()
    plan.told = plan.warning = plan.made_for = ""
    plan.active_cut = 0


def waits(obj: bpy.types.Object | None) -> bool:
    """Whether the object has a plan that waits to be taken."""
    return obj is not None and obj.type == "MESH" and len(obj.foamwright.plan.cuts) > 0


def is_outdated(obj: bpy.types.Object) -> bool:
    """The mesh was edited since the plan was made; marking seams is no edit."""
    return waits(obj) and obj.foamwright.plan.made_for != bridge.shape_print(obj)


def seams_with_plan(obj: bpy.types.Object, shell: Shell) -> np.ndarray:
    """(k,) bool, the seams of the shell as they are when the plan is taken. Raises MeshError for an outdated plan."""
    plan, seam = obj.foamwright.plan, shell.seam.copy()
    if is_outdated(obj):
        raise MeshError(f"'{obj.name}': the mesh was edited since this plan was made; drop it and ask again.")
    for item in plan.cuts:
        if item.wanted and not item.kept:
            seam[shell_edges(shell, item)] = plan.kind == "CUT"
    return seam


def shell_edges(shell: Shell, item: FoamwrightCut) -> np.ndarray:
    """(e,) int, the shell edges of a listed cut."""
    return shell.edge_between(np.array(pairs_of(item)).reshape(-1, 2))


def pairs_of(item: FoamwrightCut) -> list[tuple[int, int]]:
    """Vertex pairs of a listed cut."""
    ends = [int(word) for word in item.edges.split()]
    return list(zip(ends[::2], ends[1::2], strict=True))


def active_cut(obj: bpy.types.Object | None) -> FoamwrightCut | None:
    """The cut that is chosen in the list."""
    if not waits(obj):
        return None
    plan = obj.foamwright.plan
    return plan.cuts[min(plan.active_cut, len(plan.cuts) - 1)]


def select_active(context: bpy.types.Context, obj: bpy.types.Object) -> None:
    """In Edit Mode select the edges of the chosen cut; elsewhere nothing is selected behind the maker's back."""
    item = active_cut(obj)
    if item is not None and obj.mode == "EDIT" and not is_outdated(obj):
        bridge.select_elements(context, obj, [], pairs_of(item), [])
