"""Undo in Edit Mode, in a Blender with a window: each setting and each job is one step. Run as drive_window.py is."""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent))

import bpy
from drive_window import (
    all_is_quiet,
    install,
    make_shell,
    module,
    nest_for,
    open_sidebar,
    picture,
    press_keys,
    shell,
    wait,
)
from window_driver import run, view3d


def call(operator: str, **words):
    """As a button does, with a step of undo."""

    def call() -> float:
        with view3d():
            assert getattr(bpy.ops.foamwright, operator)("EXEC_DEFAULT", True, **words) == {"FINISHED"}
        return 1.5

    return call


def edit() -> None:
    with view3d():
        bpy.ops.object.mode_set("EXEC_DEFAULT", True, mode="EDIT")


def lock() -> float:
    shell().foamwright.runs[0].joint_choice = "MITRE"
    return 1.5


def set_foam() -> float:
    for thickness in (6, 7, 8):  # as while it is dragged
        bpy.context.scene.foamwright.thickness_mm = thickness
    return 1.5


def flatten() -> float:
    with view3d():
        bpy.ops.foamwright.flatten("INVOKE_DEFAULT")
    return 0.5


def is_now(*, name: str, joint: str, thickness: float, foam_of_results: float):
    def is_now() -> None:
        assert module("jobs").running is None, "the job did not come to its end in time"
        state = shell().foamwright
        pattern = module("results").stored_pattern(shell())
        found = state.pieces[0].name, state.runs[0].joint_choice, state.settings.thickness_mm
        assert (*found, pattern.pieces[0].stock.thickness_mm) == (name, joint, thickness, foam_of_results), found
        labels = {label.words for label in module("overlay").shown()}
        assert labels & {"P1", "Brow"} == {name}

    return is_now


def pause() -> float:
    """Timers that are due run between two steps, also where the drawing of one takes long."""
    return 1.0


def is_edited() -> None:
    assert shell().mode == "EDIT"


FIRST = {"name": "P1", "joint": "AUTO", "thickness": 5, "foam_of_results": 5}
LOCKED = {**FIRST, "joint": "MITRE"}
THICK = {**LOCKED, "thickness": 8}
RENAMED = {**THICK, "name": "Brow"}
FLAT = {**RENAMED, "foam_of_results": 8}
undo, redo = press_keys("ctrl+z", seconds=4.0), press_keys("ctrl+shift+z", seconds=4.0)

steps = [
    install,
    make_shell,
    open_sidebar,
    nest_for(1),
    call("flatten"),
    call("labels"),
    edit,
    is_now(**FIRST),
    lock,
    pause,
    is_edited,
    set_foam,
    call("rename_piece", piece="P1", new_name="Brow"),
    pause,
    is_edited,
    is_now(**RENAMED),
    flatten,
    *[wait] * 40,
    pause,
    is_edited,
    is_now(**FLAT),
    picture("edit-mode-flattened"),
    *[step for state in (RENAMED, THICK, LOCKED, FIRST) for step in (undo, is_now(**state))],
    is_edited,
    *[step for state in (LOCKED, THICK, RENAMED, FLAT) for step in (redo, is_now(**state))],
    all_is_quiet,
]

if __name__ == "__main__":
    run(steps)
