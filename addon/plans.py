"""The plan on a shell object: written, looked at, taken or dropped."""

from __future__ import annotations

import contextlib
from collections.abc import Sequence
from dataclasses import replace

import bpy
import numpy as np

from ..core.cut_words import cut_words
from ..core.errors import FoamwrightError, MeshError
from ..core.plan_totals import Reckoning, Totals
from ..core.seams import Cut, Plan, percent
from ..core.settings import Settings
from ..core.shell import Shell
from . import bridge, own_mesh
from .cut_settings import FoamwrightCut
from .findings import numbers, pairs
from .shell_settings import settings_of

_reckonings: dict[str, Reckoning] = {}


def reckoning_in(settings: Settings) -> Reckoning:
    """What the plans of this session came to in this foam, so that a cut taken back in is known at once."""
    return _reckonings.setdefault(repr(replace(settings, pieces={})), Reckoning())


def store_plan(obj: bpy.types.Object, shell: Shell, plan: Plan, limit: float, settings: Settings) -> None:
    """Keep a whole plan; limit : the strain it was to keep to, part of 1."""
    reckoning_in(settings).keep(plan)
    _store(obj, "CUT", shell, plan.cuts, "", limit, settings)


def store_cut(obj: bpy.types.Object, shell: Shell, piece: str, cut: Cut, limit: float, settings: Settings) -> None:
    """Keep one more cut for a piece."""
    _store(obj, "CUT", shell, [cut], f"One more cut for {piece}", limit, settings)


def store_removable(obj: bpy.types.Object, shell: Shell, runs: Sequence[Cut], limit: float, settings: Settings) -> None:
    """Keep runs of seams that could go."""
    longest_first = sorted(runs, key=lambda run: -run.length_mm)
    _store(obj, "REMOVE", shell, longest_first, f"Seams that could go, each by itself: {len(runs)}", limit, settings)


def told(totals: Totals) -> str:
    """What the shell comes to, in one line."""
    pieces = "1 piece" if totals.pieces == 1 else f"{totals.pieces} pieces"
    return f"{pieces}, {totals.length_mm:.0f} mm of seam, {_worst(totals)}"


def _worst(totals: Totals) -> str:
    if totals.results is None:
        return "strain not reckoned yet"
    strain = max(piece.strain for piece in totals.results)
    return f"worst strain {percent(strain):.1f} %" if np.isfinite(strain) else "not all can be laid flat"


def _short_of(totals: Totals, limit: float) -> str:
    """What is not reached, in words."""
    results = totals.results or ()
    over = sum(piece.strain > limit for piece in results)
    doubled = sum(piece.lies_over_itself for piece in results)
    words = [f"pieces over {100 * limit:g} %: {over}"] if over else []
    words += [f"pieces that lie over themselves: {doubled}"] if doubled else []
    return ", ".join(words)


def _store(
    obj: bpy.types.Object,
    kind: str,
    shell: Shell,
    cuts: Sequence[Cut],
    heading: str,
    limit: float,
    settings: Settings,
) -> None:
    drop(obj)
    plan = obj.foamwright.plan
    origins = own_mesh.origins_of(bpy.context, obj, shell)
    for number, cut in enumerate(_as_marked(shell, origins, cuts)):
        item = plan.cuts.add()
        # of seams that could go, each by itself, only the longest is ticked
        item.wanted = kind == "CUT" or number == 0
        item.reason, item.length_mm, item.kept = cut.reason, cut.length_mm, cut.kept
        item.gain, item.bend = _gain(cut, kind), cut_words(cut.bend_deg, settings)
        item.edges = numbers(shell.edges[cut.edges].ravel())
        item.own_edges = numbers(origins.pairs[np.unique(origins.edge[cut.edges])].ravel())
    plan.kind, plan.heading, plan.limit = kind, heading, limit
    plan.made_for = bridge.look(bpy.context, obj).shape
    reckon(obj, shell, settings)


def _as_marked(shell: Shell, origins: own_mesh.Origins, cuts: Sequence[Cut]) -> list[Cut]:
    """Cuts along whole own edges, on every side of a mirror: what becomes of them when they are marked.

    Without those that no mark can make or clear, and every edge in one cut alone.
    """
    whole, taken = [], np.zeros(shell.edge_count, bool)
    for cut in cuts:
        edges = np.flatnonzero(own_mesh.as_marked(origins, cut.edges) & ~taken)
        if (origins.edge[cut.edges] >= 0).all() and len(edges):
            taken[edges] = True
            same = len(edges) == len(cut.edges)
            length = cut.length_mm if same else float(shell.edge_length[edges].sum())
            whole.append(cut if same else replace(cut, edges=edges, length_mm=length))
    return whole


def reckon(obj: bpy.types.Object, shell: Shell, settings: Settings) -> None:
    """Say what the plan comes to as it is ticked now, as far as that is known. Raises MeshError for an outdated plan.

    shell : the object's own, as its seams are before the plan is taken
    """
    plan = obj.foamwright.plan
    totals = reckoning_in(settings).totals(shell.with_seams(seams_with_plan(obj, shell)))
    plan.told, plan.warning = told(totals), _short_of(totals, plan.limit)
    plan.is_reckoned = totals.results is not None
    if plan.warning and plan.kind == "CUT" and not plan.heading and all(cut.wanted for cut in plan.cuts):
        plan.warning += ". No allowed cut helps them more"


def reckon_again(context: bpy.types.Context, obj: bpy.types.Object) -> None:
    """After a tick has changed; a plan that is being written has not been made for anything yet."""
    if waits(obj) and obj.foamwright.plan.made_for and not is_outdated(obj):
        with contextlib.suppress(FoamwrightError):  # said in full when the plan is taken
            reckon(obj, bridge.shell_from_object(context, obj), settings_of(context.scene, obj))


def _gain(cut: Cut, kind: str) -> str:
    """Strain as it is and as it will be, in short."""
    now, then = (cut.strain_before, cut.strain_after) if kind == "CUT" else (cut.strain_after, cut.strain_before)
    return f"{percent(now):.1f} → {percent(then):.1f} %" if np.isfinite(now) else f"closed → {percent(then):.1f} %"


def drop(obj: bpy.types.Object) -> None:
    """Forget the plan."""
    plan = obj.foamwright.plan
    plan.cuts.clear()
    plan.told = plan.warning = plan.made_for = plan.heading = ""
    plan.active_cut = 0


def waits(obj: bpy.types.Object | None) -> bool:
    """Whether the object has a plan that waits to be taken."""
    return obj is not None and obj.type == "MESH" and len(obj.foamwright.plan.cuts) > 0


def is_outdated(obj: bpy.types.Object) -> bool:
    """The mesh or its modifiers changed since the plan was made; marking seams is no such change."""
    if not waits(obj):
        return False
    try:
        return obj.foamwright.plan.made_for != bridge.look(bpy.context, obj).shape
    except MeshError:
        return True


def seams_with_plan(obj: bpy.types.Object, shell: Shell) -> np.ndarray:
    """(k,) bool, the seams of the shell as they are when the plan is taken.

    Raises MeshError for an outdated plan, FormatError for a damaged one.
    """
    plan, seam = obj.foamwright.plan, shell.seam.copy()
    outdated = MeshError(f"'{obj.name}': the mesh was edited since this plan was made; drop it and ask again.")
    if is_outdated(obj):
        raise outdated
    for item in plan.cuts:
        if item.wanted and not item.kept:
            edges = shell_edges(shell, item)
            if (edges < 0).any():
                raise outdated
            seam[edges] = plan.kind == "CUT"
    return seam


def shell_edges(shell: Shell, item: FoamwrightCut) -> np.ndarray:
    """(e,) int, the shell edges of a listed cut, -1 for what is none. Raises FormatError for a damaged plan."""
    return shell.edge_between(np.array(pairs(item.edges), np.int64).reshape(-1, 2))


def place_of(item: FoamwrightCut) -> own_mesh.Place:
    """The own edges of a listed cut. Raises FormatError for a damaged plan."""
    return own_mesh.Place(edges=pairs(item.own_edges))


def active_cut(obj: bpy.types.Object | None) -> FoamwrightCut | None:
    """The cut that is chosen in the list."""
    if not waits(obj):
        return None
    plan = obj.foamwright.plan
    return plan.cuts[max(0, min(plan.active_cut, len(plan.cuts) - 1))]


def select_active(context: bpy.types.Context, obj: bpy.types.Object) -> None:
    """In Edit Mode select the edges of the chosen cut; elsewhere nothing is selected behind the maker's back."""
    item = active_cut(obj)
    if item is not None and obj.mode == "EDIT" and not is_outdated(obj):
        with contextlib.suppress(FoamwrightError):  # said in full when it is asked for
            own_mesh.select_elements(context, obj, place_of(item))
