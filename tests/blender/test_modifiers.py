"""Shells whose modifiers stay on: what a change of theirs makes of the results, and true sizes in every mode."""

import bpy
import pytest


def with_modifier(obj, kind, **words):
    modifier = obj.modifiers.new(kind.title(), kind)
    for name, value in words.items():
        setattr(modifier, name, value)
    return modifier


def finer(obj):
    modifier = with_modifier(obj, "SUBSURF", levels=1)
    return lambda: setattr(modifier, "levels", 2)


def tapered(obj):
    modifier = with_modifier(obj, "SIMPLE_DEFORM", deform_method="TAPER", factor=0.1)
    return lambda: setattr(modifier, "factor", 0.3)


def keyed(obj):
    obj.shape_key_add(name="Basis")
    key = obj.shape_key_add(name="Wide")
    for point in key.data:
        point.co.x *= 1.3
    key.value = 1.0
    return lambda: setattr(key, "value", 0.5)


def posed(obj):
    armature = bpy.data.armatures.new("Skeleton")
    skeleton = bpy.data.objects.new("Skeleton", armature)
    bpy.context.collection.objects.link(skeleton)
    bpy.context.view_layer.objects.active = skeleton
    bpy.ops.object.mode_set(mode="EDIT")
    bone = armature.edit_bones.new("Spine")
    bone.tail = (0, 0, 0.1)
    bpy.ops.object.mode_set(mode="OBJECT")
    bpy.context.view_layer.objects.active = obj
    obj.vertex_groups.new(name="Spine").add(range(len(obj.data.vertices)), 1.0, "REPLACE")
    with_modifier(obj, "ARMATURE", object=skeleton)
    return lambda: setattr(skeleton.pose.bones["Spine"], "scale", (1.0, 1.2, 1.0))


def wrapped(obj):
    bpy.ops.mesh.primitive_uv_sphere_add(radius=0.3)
    target = bpy.context.object
    bpy.context.view_layer.objects.active = obj
    with_modifier(obj, "SHRINKWRAP", target=target)
    return lambda: setattr(target, "scale", (1.3, 1.3, 1.3))


def parented(obj):
    parent = bpy.data.objects.new("Stand", None)
    bpy.context.collection.objects.link(parent)
    obj.parent = parent
    return lambda: setattr(parent, "scale", (1.1, 1.1, 1.1))


def scaled(obj):
    return lambda: setattr(obj, "scale", (1.1, 1.1, 1.1))


def measured(_obj):
    return lambda: setattr(bpy.context.scene.unit_settings, "scale_length", 0.5)


CHANGES = (finer, tapered, keyed, posed, wrapped, parented, scaled, measured)


@pytest.mark.parametrize("prepare", CHANGES, ids=lambda change: change.__name__)
def test_a_change_of_what_a_run_reads_makes_results_outdated(panels, module, folder, capfd, prepare):
    obj, summary = panels(), module("addon.summary")
    change = prepare(obj)
    bpy.ops.foamwright.flatten()
    assert not summary.refresh(bpy.context).outdated
    change()
    bpy.context.view_layer.update()
    assert summary.refresh(bpy.context).outdated
    capfd.readouterr()
    bpy.ops.foamwright.export(directory=str(folder), kinds={"JSON"})
    assert "has changed since it was laid flat" in capfd.readouterr().out


def test_a_file_opened_again_is_not_outdated_until_a_modifier_changes(panels, module, tmp_path):
    panels().modifiers.new("Finer", "SUBSURF")
    bpy.ops.foamwright.flatten()
    bpy.ops.wm.save_as_mainfile(filepath=str(tmp_path / "shell.blend"))
    bpy.ops.wm.read_homefile(use_factory_startup=True, use_empty=True)
    bpy.ops.wm.open_mainfile(filepath=str(tmp_path / "shell.blend"))
    refresh = module("addon.summary").refresh
    assert not refresh(bpy.context).outdated
    bpy.context.object.modifiers["Finer"].levels = 2
    assert refresh(bpy.context).outdated


@pytest.mark.parametrize("in_edit_mode", [True, False])
def test_edit_mode_is_read_and_counted_as_object_mode(panels, module, in_edit_mode):
    obj, summary, bridge = panels(), module("addon.summary"), module("addon.bridge")
    with_modifier(obj, "MIRROR", use_axis=(False, True, False), show_in_editmode=in_edit_mode)
    with_modifier(obj, "SUBSURF", show_in_editmode=in_edit_mode)
    bpy.ops.foamwright.flatten()
    seen = summary.refresh(bpy.context)
    shell = bridge.shell_from_object(bpy.context, obj)
    assert seen.size_mm == pytest.approx(shell.size, abs=1e-3)
    assert seen.faces == shell.face_count == 16
    bpy.ops.object.mode_set(mode="EDIT")
    assert summary.refresh(bpy.context) == seen
    assert not seen.outdated
    assert bridge.same_shell(shell, bridge.shell_from_object(bpy.context, obj))
    assert {modifier.show_in_editmode for modifier in obj.modifiers} == {in_edit_mode}


def test_a_plan_is_outdated_when_a_modifier_moves_the_shell(dome, module):
    obj, plans = dome(), module("addon.plans")
    deform = with_modifier(obj, "SIMPLE_DEFORM", deform_method="TAPER", factor=0.1)
    bpy.ops.foamwright.suggest_seams()
    assert not plans.is_outdated(obj)
    deform.factor = 0.3
    assert plans.is_outdated(obj)


def test_a_shell_whose_modifiers_blender_leaves_out_is_refused_with_the_reason(panels, module):
    obj = panels()
    obj.modifiers.new("Finer", "SUBSURF")
    obj.hide_viewport = True
    with pytest.raises(module("core.errors").MeshError, match="disabled in viewports"):
        module("addon.bridge").shell_from_object(bpy.context, obj)
    obj.hide_viewport = False
    obj.hide_set(True)
    assert module("addon.bridge").shell_from_object(bpy.context, obj).face_count == 8
