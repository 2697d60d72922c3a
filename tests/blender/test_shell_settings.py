"""What is set for a shell stays with it."""

import bpy
import pytest


def activate(obj):
    bpy.context.view_layer.objects.active = obj


@pytest.fixture
def pair(panels, box):
    """Two shells, the first laid flat in foam of 5 mm; the second is active."""
    first = panels(name="first")
    bpy.ops.foamwright.flatten()
    return first, box(name="second")


def thickness(module, obj):
    return module("addon.shell_settings").settings_of(bpy.context.scene, obj).stock.thickness_mm


@pytest.fixture
def outdated(module):
    return lambda obj: module("addon.summary").is_outdated(bpy.context.scene, obj)


@pytest.mark.parametrize("by", ["scene", "shell"])
def test_what_is_set_for_a_second_shell_leaves_the_first_as_it_is(pair, module, outdated, by):
    first, second = pair
    group = bpy.context.scene.foamwright if by == "scene" else second.foamwright.settings
    group.thickness_mm, group.joint_rule, group.cuts.strain_percent = 10, "MITRE", 3
    assert not outdated(first)
    assert (thickness(module, first), thickness(module, second)) == (5, 10)
    bpy.ops.foamwright.flatten()
    results = module("addon.results")
    assert results.stored_pattern(second).pieces[0].stock.thickness_mm == 10
    activate(first)
    bpy.ops.foamwright.flatten()
    assert results.stored_pattern(first).pieces[0].stock.thickness_mm == 5
    assert module("addon.shell_settings").group_of(bpy.context.scene, first).cuts.strain_percent == 5
    assert not outdated(second)


def test_a_setting_of_the_scene_is_set_for_the_active_shell_and_nothing_else_with_it(pair, module, outdated):
    first, _ = pair
    bpy.context.scene.foamwright.thickness_mm = 10
    activate(first)
    bpy.context.scene.foamwright.feather_mm = 2
    own = first.foamwright.settings
    assert (own.thickness_mm, own.feather_mm) == (5, 2)
    assert outdated(first)


def test_a_new_shell_begins_with_the_settings_used_last(pair, panels, module):
    bpy.context.scene.foamwright.thickness_mm, bpy.context.scene.foamwright.skin_mm = 10, 0.5
    third = panels(name="third")
    assert thickness(module, third) == 10
    bpy.ops.foamwright.flatten()
    bpy.context.scene.foamwright.foam_name = "stiff"
    own, last = third.foamwright.settings, bpy.context.scene.foamwright
    assert (own.thickness_mm, own.skin_mm, own.foam_name) == pytest.approx((10, 0.5, "stiff"), abs=1e-6)
    assert (last.thickness_mm, last.skin_mm, last.foam_name) == pytest.approx((10, 0.5, "stiff"), abs=1e-6)


def another(group, prop):
    """A value that the property may have and has not."""
    old = getattr(group, prop.identifier)
    if prop.type == "BOOLEAN":
        return not old
    if prop.type == "STRING":
        return f"{old}x"
    if prop.type == "ENUM":
        return next(item.identifier for item in prop.enum_items if item.identifier != old)
    return old - 0.25 if prop.type == "FLOAT" and old + 0.25 > prop.hard_max else old + (1, 0.25)[prop.type == "FLOAT"]


def test_every_setting_is_carried_over(pair):
    """Each property of the group, whatever it is, reaches shell and scene, so that none is forgotten."""
    _, second = pair
    scene, own = bpy.context.scene.foamwright, second.foamwright.settings
    for source, twin in ((scene, own), (scene.cuts, own.cuts), (own, scene), (own.cuts, scene.cuts)):
        for prop in source.bl_rna.properties:
            name = prop.identifier
            if prop.is_readonly or name in ("name", "is_own"):
                continue
            old, new = getattr(source, name), another(source, prop)
            setattr(source, name, new)
            assert getattr(twin, name) == getattr(source, name) != old, name
            assert own.is_own


def test_a_copy_of_a_shell_has_settings_of_its_own(pair, module, outdated):
    first, _ = pair
    activate(first)
    copy = first.copy()
    bpy.context.collection.objects.link(copy)
    activate(copy)
    bpy.context.scene.foamwright.thickness_mm = 8
    assert (thickness(module, first), thickness(module, copy)) == (5, 8)
    assert not outdated(first)


def test_a_file_of_an_earlier_version_keeps_what_its_scene_said(pair, module, outdated, tmp_path):
    first, second = pair
    bpy.context.scene.foamwright.thickness_mm = 5
    for obj in pair:
        obj.foamwright.settings.is_own = False
    bpy.ops.wm.save_as_mainfile(filepath=str(tmp_path / "old.blend"))
    bpy.ops.wm.open_mainfile(filepath=str(tmp_path / "old.blend"))
    first, second = bpy.data.objects["first"], bpy.data.objects["second"]
    assert not outdated(first)
    activate(second)
    bpy.context.scene.foamwright.thickness_mm = 10
    assert not outdated(first)
    assert (thickness(module, first), thickness(module, second)) == (5, 10)


def test_settings_are_kept_in_the_file_and_travel_with_the_shell(pair, module, tmp_path):
    bpy.context.scene.foamwright.thickness_mm = 10
    path = tmp_path / "two.blend"
    bpy.ops.wm.save_as_mainfile(filepath=str(path))
    bpy.ops.wm.read_homefile(use_factory_startup=True, use_empty=True)
    bpy.ops.wm.append(directory=f"{path}/Object/", filename="second")
    assert thickness(module, bpy.data.objects["second"]) == 10


def test_undo_takes_back_a_setting_of_the_shell_alone(pair, module):
    bpy.context.scene.foamwright.thickness_mm = 8
    bpy.ops.ed.undo_push(message="8 mm")
    bpy.context.scene.foamwright.thickness_mm = 10
    bpy.ops.ed.undo_push(message="10 mm")
    bpy.ops.ed.undo()
    first, second = bpy.data.objects["first"], bpy.data.objects["second"]
    assert (thickness(module, first), thickness(module, second)) == (5, 8)


def test_your_foam_is_set_for_the_active_shell(pair, module, outdated):
    first, second = pair
    bpy.ops.foamwright.use_stock(stock="EVA 10 mm")
    assert thickness(module, second) == 10
    bpy.ops.foamwright.calibrate()
    assert second.foamwright.settings.neutral_depth == bpy.context.scene.foamwright.neutral_depth
    assert not outdated(first)


@pytest.mark.parametrize("by", ["scene", "shell"])
@pytest.mark.parametrize("name", ["thickness_mm", "sheet_width_mm", "seam_priority"])
def test_a_number_that_is_none_is_refused_and_sets_nothing_going_round(pair, by, name):
    """A damaged file may hold one, and no number equals it, itself not either."""
    _, second = pair
    bpy.ops.foamwright.check()
    group = bpy.context.scene.foamwright if by == "scene" else second.foamwright.settings
    setattr(group, name, float("nan"))
    with pytest.raises(RuntimeError):
        bpy.ops.foamwright.flatten()
    setattr(group, name, {"thickness_mm": 5.0, "sheet_width_mm": 1000.0, "seam_priority": 1.0}[name])
    assert bpy.ops.foamwright.flatten() == {"FINISHED"}
