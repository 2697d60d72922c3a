"""The list of joints and open rims on a shell object: letters, the maker's choices, what the last run said."""

from __future__ import annotations

import bpy
import numpy as np

from ..core.joints import JointRun, RimRun
from ..core.pattern import Pattern
from ..core.run_letters import letters_of_edges
from ..core.sheets.tables import joint_words_of, rim_words_of


def list_runs(obj: bpy.types.Object, pattern: Pattern) -> np.ndarray:
    """Write the runs of `pattern` to the object's list, keeping the choices made for a letter.

    Returns per shell edge (k,) int the key of its run, 0 for none. A key stays with its letter for good, so that
    edges can say which run they were in.
    """
    items = obj.foamwright.runs
    kept = {item.name: (item.key, item.joint_choice, item.rim_choice) for item in items}
    last_key = max((key for key, *_ in kept.values()), default=0)
    items.clear()
    keys = {"": 0}
    for run in pattern.runs:
        if run.letter not in kept:
            last_key += 1
        item = items.add()
        item.name = run.letter
        item.key, item.joint_choice, item.rim_choice = kept.get(run.letter, (last_key, "AUTO", "AUTO"))
        item.one, item.other = _pieces(run)
        item.told = rim_words_of(run) if isinstance(run, RimRun) else joint_words_of(run)
        keys[run.letter] = item.key
    obj.foamwright.active_run = min(obj.foamwright.active_run, max(len(items) - 1, 0))
    return np.array([keys[letter] for letter in letters_of_edges(pattern.runs, pattern.shell.edge_count)])


def lost_runs(obj: bpy.types.Object, pattern: Pattern) -> list[str]:
    """Locks of listed runs that `pattern` has not, in words; to be asked before `list_runs`."""
    there = {run.letter for run in pattern.runs}
    return [
        f"the lock of rim {item.name} ({item.one})"
        if item.is_rim
        else f"the lock of joint {item.name} ({item.one}, {item.other})"
        for item in obj.foamwright.runs
        if item.has_choice and item.name not in there
    ]


def _pieces(run: JointRun | RimRun) -> tuple[str, str]:
    return (run.side.piece, "") if isinstance(run, RimRun) else (run.a.piece, run.b.piece)


def active_run(obj: bpy.types.Object | None):
    """The run chosen in the list, or None."""
    if obj is None or obj.type != "MESH":
        return None
    state = obj.foamwright
    return state.runs[max(0, min(state.active_run, len(state.runs) - 1))] if state.runs else None
