"""Each change is one step of undo, also in Edit Mode, where Blender's own steps keep meshes alone.

How single settings are undone there is looked at in a window (tests/window): a script pushes no steps.
"""

import bpy
import pytest


@pytest.fixture
def edited(panels):
    """A shell that was laid flat, in Edit Mode, with steps pushed as a window does."""
    panels()
    bpy.ops.foamwright.flatten()
    bpy.ops.ed.undo_push(message="laid flat")
    bpy.ops.object.mode_set(mode="EDIT")
    bpy.ops.ed.undo_push(message="Edit Mode")


def shell():
    return bpy.data.objects["shell"]


def run(operator, **words):
    """As a button does, with a step of undo."""
    assert getattr(bpy.ops.foamwright, operator)("EXEC_DEFAULT", True, **words) == {"FINISHED"}


def test_undoing_flatten_in_edit_mode_leaves_what_was_set_before_it(edited):
    bpy.ops.foamwright.clear("EXEC_DEFAULT", True)
    state = shell().foamwright
    state.runs[0].joint_choice = "MITRE"
    bpy.ops.ed.undo_push(message="locked")
    state.pieces[0].thickness_mm = 8
    bpy.ops.ed.undo_push(message="foam")
    bpy.context.scene.foamwright.thickness_mm = 6
    bpy.ops.ed.undo_push(message="foam of all")
    run("flatten")
    assert shell().mode == "EDIT"
    bpy.ops.ed.undo()
    state = shell().foamwright
    assert state.results is None
    assert (state.runs[0].joint_choice, state.pieces[0].thickness_mm) == ("MITRE", 8)
    assert state.settings.thickness_mm == bpy.context.scene.foamwright.thickness_mm == 6
    bpy.ops.ed.redo()
    state = shell().foamwright
    assert state.results is not None
    assert (state.runs[0].joint_choice, state.pieces[0].thickness_mm) == ("MITRE", 8)


def test_an_edit_of_the_mesh_and_a_job_after_it_are_undone_one_by_one(edited):
    bpy.ops.mesh.select_all(action="SELECT")
    bpy.ops.mesh.subdivide()
    bpy.ops.ed.undo_push(message="subdivided")
    run("flatten")
    bpy.ops.ed.undo()
    shell().update_from_editmode()
    assert len(shell().data.polygons) == 8
    bpy.ops.object.mode_set(mode="OBJECT")
    assert len(shell().data.polygons) == 8


def test_an_undone_name_leaves_no_label(panels, module):
    obj, overlay = panels(), module("addon.overlay")
    bpy.ops.foamwright.flatten()
    bpy.ops.ed.undo_push(message="laid flat")
    old = obj.foamwright.pieces[0].name
    overlay.show(obj)
    try:
        run("rename_piece", piece=old, new_name="Brow")
        assert {"Brow"} == {label.words for label in overlay.shown()} & {"Brow", old}
        bpy.ops.ed.undo()
        assert {old} == {label.words for label in overlay.shown()} & {"Brow", old}
        bpy.ops.ed.redo()
        assert {"Brow"} == {label.words for label in overlay.shown()} & {"Brow", old}
    finally:
        overlay.hide()
    assert not overlay.shown()


def test_labels_of_undone_results_are_gone(panels, module):
    panels()
    bpy.ops.ed.undo_push(message="made")
    run("flatten")
    overlay = module("addon.overlay")
    overlay.show(shell())
    try:
        bpy.ops.ed.undo()
        assert not overlay.shown()
    finally:
        overlay.hide()
