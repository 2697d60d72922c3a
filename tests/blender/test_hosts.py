"""Shells that live in odd places: linked from another file, overridden, flat, of no size."""

import bpy
import pytest

JOBS = ("check", "flatten", "find_pieces", "suggest_seams", "complete_seams", "mark_seams")


@pytest.fixture
def library(panels, tmp_path):
    """A file with a shell in a collection, and an empty file beside it, open now."""
    collection = bpy.data.collections.new("Kit")
    bpy.context.scene.collection.children.link(collection)
    obj = panels()
    bpy.context.scene.collection.objects.unlink(obj)
    collection.objects.link(obj)
    path = tmp_path / "kit.blend"
    bpy.ops.wm.save_as_mainfile(filepath=str(path))
    bpy.ops.wm.read_homefile(use_factory_startup=True, use_empty=True)
    return path


def linked(library, what, name):
    with bpy.data.libraries.load(str(library), link=True) as (_, target):
        setattr(target, what, [name])
    return getattr(target, what)[0]


def activate(obj):
    if obj.name not in bpy.context.scene.objects:
        bpy.context.scene.collection.objects.link(obj)
    bpy.context.view_layer.objects.active = obj
    obj.select_set(True)


def is_refused(words):
    for operator in JOBS:
        with pytest.raises(RuntimeError, match=words) as told:
            getattr(bpy.ops.foamwright, operator)()
        assert "Make Local" in str(told.value)
        assert "Traceback" not in str(told.value)


def test_a_linked_shell_is_refused_before_anything_is_lost(library):
    activate(linked(library, "objects", "shell"))
    is_refused("the object is linked")
    assert len(bpy.data.collections) == 0


def test_a_shell_with_a_linked_mesh_is_refused(library):
    activate(bpy.data.objects.new("mine", linked(library, "meshes", "shell")))
    is_refused("its mesh is linked")


def test_an_overridden_shell_is_refused(library):
    collection = linked(library, "collections", "Kit")
    over = collection.override_hierarchy_create(bpy.context.scene, bpy.context.view_layer)
    (obj,) = over.all_objects
    activate(obj)
    is_refused("library override")


def test_made_local_it_can_be_worked_on(library):
    obj = linked(library, "objects", "shell")
    activate(obj)
    bpy.ops.object.make_local(type="SELECT_OBDATA")
    assert bpy.ops.foamwright.flatten() == {"FINISHED"}


def test_settings_of_the_scene_can_be_set_beside_a_linked_shell(library):
    activate(linked(library, "objects", "shell"))
    bpy.context.scene.foamwright.thickness_mm = 8
    assert bpy.context.scene.foamwright.thickness_mm == 8


def told_by(operator):
    """What an operator says when it does not go through."""
    try:
        getattr(bpy.ops.foamwright, operator)()
    except RuntimeError as problem:
        return str(problem)
    return ""


def grid(count, step=30):
    """Corners and faces of a wavy sheet of `count` x `count` squares."""
    points = [(x * step, y * step, 40 * ((x * y) % 3)) for y in range(count + 1) for x in range(count + 1)]
    row = count + 1
    return points, [[i, i + 1, i + row + 1, i + row] for i in range(count * row) if (i + 1) % row]


SIZELESS = {
    "a scale of zero on one axis": (*grid(8), (1, 0, 1)),
    "a scale of zero on two axes": (*grid(8), (0, 0, 1)),
    "a scale of zero": (*grid(8), (0, 0, 0)),
    "all in one point": ([(10, 10, 10)] * 4, [[0, 1, 2, 3]], (1, 1, 1)),
    "all on one line": ([(10, 0, 0), (20, 0, 0), (30, 0, 0), (40, 0, 0)], [[0, 1, 2, 3]], (1, 1, 1)),
}


@pytest.mark.parametrize(("points", "faces", "scale"), SIZELESS.values(), ids=SIZELESS)
@pytest.mark.parametrize("operator", [*JOBS, "removable_seams", "where_to_cut"])
def test_a_shell_without_extent_gets_a_message(make, module, points, faces, scale, operator):
    obj = make(points, faces)
    obj.scale = scale
    obj.foamwright.pieces.add().name = "P1"
    bpy.context.view_layer.update()
    told = told_by(operator)
    assert "Traceback" not in told
    assert not told or "shell" in told
    obj.foamwright.plan.cuts.add().edges = "0 1"
    module("addon.summary").refresh(bpy.context)


def test_a_flattened_shell_that_loses_its_extent_is_outdated(panels, module, tmp_path):
    obj = panels()
    bpy.ops.foamwright.flatten()
    obj.scale.x = 0
    bpy.context.view_layer.update()
    assert module("addon.summary").refresh(bpy.context).outdated
    assert bpy.ops.foamwright.export(directory=str(tmp_path), kinds={"JSON"}) == {"FINISHED"}
    assert bpy.ops.foamwright.clear() == {"FINISHED"}


@pytest.mark.parametrize(
    ("operator", "words"), [("select_forbidden", {}), ("select_place", {"index": 0}), ("paint_cuts", {})]
)
def test_on_a_hidden_shell_nothing_is_selected_and_it_is_said(panels, operator, words):
    obj = panels()
    bpy.ops.foamwright.check()
    obj.foamwright.findings.add().faces = "0"
    obj.hide_set(True)
    bpy.context.view_layer.objects.active = obj
    if operator == "select_place":
        words = {"index": len(obj.foamwright.findings) - 1}
    with pytest.raises(RuntimeError, match="is hidden") as told:
        getattr(bpy.ops.foamwright, operator)(**words)
    assert "Traceback" not in str(told.value)
    assert obj.mode == "OBJECT"


def test_a_hidden_shell_can_be_laid_flat(panels):
    obj = panels()
    obj.hide_set(True)
    bpy.context.view_layer.objects.active = obj
    assert bpy.ops.foamwright.flatten() == {"FINISHED"}


@pytest.mark.parametrize("operator", JOBS)
def test_a_mesh_that_is_edited_through_another_object_is_left_alone(panels, operator):
    """Blender writes no attribute of a mesh in Edit Mode, whichever of its objects is in it."""
    obj = panels()
    other = bpy.data.objects.new("other", obj.data)
    bpy.context.collection.objects.link(other)
    bpy.context.view_layer.objects.active = other
    bpy.ops.object.mode_set(mode="EDIT")
    bpy.context.view_layer.objects.active = obj
    with pytest.raises(RuntimeError, match="through another object") as told:
        getattr(bpy.ops.foamwright, operator)()
    assert "Traceback" not in str(told.value)
    bpy.context.view_layer.objects.active = other
    bpy.ops.object.mode_set(mode="OBJECT")
    bpy.context.view_layer.objects.active = obj
    assert bpy.ops.foamwright.flatten() == {"FINISHED"}
