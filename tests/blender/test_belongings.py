"""What a run made is taken away again; nothing that is the maker's ever is."""

import bpy
import pytest
from mathutils import Matrix


@pytest.fixture
def laid_flat(panels):
    obj = panels()
    bpy.ops.foamwright.flatten()
    return obj


@pytest.fixture
def strap(make):
    """Something of the maker's own, in the scene collection."""

    def strap():
        shell = bpy.context.object
        thing = make([(0, 0, 0), (300, 0, 0), (300, 20, 0), (0, 20, 0)], [[0, 1, 2, 3]], name="my strap")
        activate(shell)
        return thing

    return strap


def activate(obj):
    for other in bpy.context.view_layer.objects:
        other.select_set(other == obj)
    bpy.context.view_layer.objects.active = obj


def move(obj, collection):
    for home in obj.users_collection:
        home.objects.unlink(obj)
    collection.objects.link(obj)


def flat(shell, number=0):
    return shell.foamwright.results.foamwright.made[number].thing


def names():
    return {obj.name for obj in bpy.data.objects}


def again(operator):
    assert getattr(bpy.ops.foamwright, operator)() == {"FINISHED"}
    bpy.context.view_layer.update()


BOTH = pytest.mark.parametrize("operator", ["flatten", "clear"])
PLACES = pytest.mark.parametrize("place", ["Foamwright: shell", "Flat pieces", "Foam sheets"])


@BOTH
@PLACES
def test_what_the_maker_put_among_the_results_goes_back_to_the_scene(laid_flat, strap, operator, place):
    thing = strap()
    move(thing, bpy.data.collections[place])
    again(operator)
    assert bpy.data.objects["my strap"].users_collection == (bpy.context.scene.collection,)
    assert bpy.context.scene.objects.get("my strap") is not None


@BOTH
def test_the_shell_itself_may_lie_among_its_results(laid_flat, operator):
    move(laid_flat, laid_flat.foamwright.results)
    again(operator)
    assert bpy.data.objects["shell"].users_collection == (bpy.context.scene.collection,)
    assert len(bpy.data.objects["shell"].data.polygons) == 2


@BOTH
def test_what_is_in_a_collection_of_the_makers_too_stays_there_alone(laid_flat, strap, operator):
    thing, mine = strap(), bpy.data.collections.new("mine")
    bpy.context.scene.collection.children.link(mine)
    move(thing, mine)
    laid_flat.foamwright.results.objects.link(thing)
    again(operator)
    assert bpy.data.objects["my strap"].users_collection == (mine,)


@BOTH
def test_a_collection_of_the_makers_among_the_results_stays_with_all_in_it(laid_flat, strap, operator):
    thing, mine = strap(), bpy.data.collections.new("mine")
    laid_flat.foamwright.results.children.link(mine)
    move(thing, mine)
    again(operator)
    assert mine.name in bpy.context.scene.collection.children
    assert bpy.data.objects["my strap"].users_collection == (mine,)


@BOTH
def test_results_moved_into_a_collection_give_back_what_is_not_theirs_there(laid_flat, strap, operator):
    thing, mine, root = strap(), bpy.data.collections.new("mine"), laid_flat.foamwright.results
    bpy.context.scene.collection.children.link(mine)
    bpy.context.scene.collection.children.unlink(root)
    mine.children.link(root)
    move(thing, root)
    again(operator)
    assert bpy.data.objects["my strap"].users_collection == (mine,)


@BOTH
@pytest.mark.parametrize("linked", [False, True])
def test_a_copy_of_a_flat_is_the_makers(laid_flat, operator, linked):
    activate(flat(laid_flat))
    bpy.ops.object.duplicate(linked=linked)
    copy = bpy.context.object
    copy.name = "my copy"
    assert bpy.ops.foamwright.check.poll(), "it can be a shell like any other mesh"
    activate(laid_flat)
    again(operator)
    activate(bpy.data.objects["my copy"])
    assert bpy.data.objects["my copy"].data.polygons
    assert bpy.ops.foamwright.check.poll()


def test_a_copy_of_a_flat_is_neither_named_nor_coloured_as_one(laid_flat, module):
    piece = flat(laid_flat).foamwright.flat_of
    activate(flat(laid_flat))
    bpy.ops.object.duplicate()
    copy = bpy.context.object
    copy.name = "my copy"
    activate(laid_flat)
    bpy.ops.foamwright.rename_piece(piece=piece, new_name="Brow")
    assert copy.name == "my copy"
    assert copy.data not in module("addon.results").meshes_of(laid_flat)


@BOTH
def test_a_flat_that_was_edited_is_the_makers(laid_flat, operator):
    edited = flat(laid_flat)
    edited.name = "my work"
    edited.data.vertices[0].co.x += 0.01
    again(operator)
    assert "my work" in names()
    activate(bpy.data.objects["my work"])
    assert bpy.ops.foamwright.check.poll()


@BOTH
def test_flats_are_removed_wherever_they_were_moved_and_turned(laid_flat, operator):
    mine = bpy.data.collections.new("mine")
    bpy.context.scene.collection.children.link(mine)
    moved = flat(laid_flat)
    moved.name = "the moved one"
    moved.location.x += 1
    move(moved, mine)
    again(operator)
    assert "the moved one" not in names()
    assert mine.name in bpy.data.collections


@BOTH
def test_what_is_parented_to_a_flat_stays_where_it_is_seen(laid_flat, strap, operator):
    thing = strap()
    thing.parent, thing.location = flat(laid_flat), (0.1, 0.2, 0.3)
    bpy.context.view_layer.update()
    place = Matrix(thing.matrix_world)
    again(operator)
    assert thing.parent is None
    assert all(
        abs(a - b) < 1e-6
        for one, other in zip(thing.matrix_world, place, strict=True)
        for a, b in zip(one, other, strict=True)
    )


def test_results_of_a_deleted_shell_can_be_removed(laid_flat, strap):
    thing, left = strap(), flat(laid_flat)
    move(thing, laid_flat.foamwright.results)
    activate(laid_flat)
    bpy.ops.object.delete()
    activate(left)
    assert bpy.ops.foamwright.clear() == {"FINISHED"}
    assert {obj.name for obj in bpy.context.scene.objects} == {"my strap"}
    assert not bpy.data.collections


def test_flats_of_a_living_shell_are_not_removed_by_themselves(laid_flat):
    activate(flat(laid_flat))
    assert not bpy.ops.foamwright.clear.poll()


def test_results_of_a_deleted_shell_can_be_removed_after_a_reload(laid_flat, tmp_path):
    name = flat(laid_flat).name
    activate(laid_flat)
    bpy.ops.object.delete()
    bpy.ops.wm.save_as_mainfile(filepath=str(tmp_path / "left.blend"))
    bpy.ops.wm.open_mainfile(filepath=str(tmp_path / "left.blend"))
    activate(bpy.data.objects[name])
    assert bpy.ops.foamwright.clear() == {"FINISHED"}
    assert not bpy.data.objects
    assert not bpy.data.collections


def test_a_copied_scene_has_results_of_its_own(laid_flat, module):
    first, results = bpy.context.scene, module("addon.results")
    bpy.ops.scene.new(type="FULL_COPY")
    (copy,) = (obj for obj in bpy.context.scene.objects if module("addon.shell_state").is_shell(obj))
    assert results.results_of(copy).foamwright.shell == copy
    before = {obj.name for obj in first.objects}
    activate(copy)
    again("clear")
    assert {obj.name for obj in first.objects} == before
    assert set(bpy.context.scene.objects) == {copy}
    assert results.results_of(bpy.data.objects["shell"]) is not None


def test_an_appended_shell_brings_its_own_results(laid_flat, tmp_path, module):
    path = tmp_path / "source.blend"
    bpy.ops.wm.save_as_mainfile(filepath=str(path), copy=True)
    bpy.ops.wm.append(directory=f"{path}/Collection/", filename="Foamwright: shell")
    copy = bpy.data.objects["shell.001"]
    activate(copy)
    before = {obj.name for obj in laid_flat.foamwright.results.all_objects}
    again("clear")
    assert names() == before | {"shell", "shell.001"}


def test_what_was_deleted_is_not_kept_in_the_file(laid_flat, tmp_path):
    gone = flat(laid_flat), laid_flat
    kept = {(obj.name, obj.data.name) for obj in gone}
    for obj in gone:
        activate(obj)
        bpy.ops.object.delete()
    path = str(tmp_path / "shell.blend")
    for _ in range(2):  # a mesh without a user goes one save later than its object, as Blender has it
        bpy.ops.wm.save_as_mainfile(filepath=path)
        bpy.ops.wm.open_mainfile(filepath=path)
    for name, mesh in kept:
        assert name not in bpy.data.objects
        assert mesh not in bpy.data.meshes


@BOTH
def test_a_flat_whose_deletion_was_undone_is_still_known(laid_flat, operator, tmp_path):
    bpy.ops.ed.undo_push(message="laid flat")
    activate(flat(laid_flat))
    bpy.ops.object.delete("EXEC_DEFAULT", True)
    bpy.ops.wm.save_as_mainfile(filepath=str(tmp_path / "shell.blend"))
    bpy.ops.ed.undo()
    activate(bpy.data.objects["shell"])
    again(operator)
    count = sum(bool(obj.foamwright.flat_of) for obj in bpy.data.objects)
    assert count == (2 if operator == "flatten" else 0)


@BOTH
def test_results_of_an_earlier_version_are_known_by_their_properties(laid_flat, strap, operator):
    thing, root = strap(), laid_flat.foamwright.results
    move(thing, bpy.data.collections["Flat pieces"])
    activate(flat(laid_flat))
    bpy.ops.object.duplicate()
    bpy.context.object.name = f"{flat(laid_flat).name}.001"
    activate(laid_flat)
    for item in root.foamwright.made:
        item.thing.foamwright.is_listed, item.thing.foamwright.results = False, None
    bpy.data.objects[f"{flat(laid_flat).name}.001"].foamwright.is_listed = False
    copy = f"{flat(laid_flat).name}.001"
    root.foamwright.made.clear()
    root.foamwright.keeps_list = False
    again("clear") if operator == "clear" else again("flatten")
    assert {"shell", "my strap", copy} <= names()
    assert len([obj for obj in bpy.data.objects if obj.name != copy and obj.foamwright.flat_of]) == 2 * (
        operator == "flatten"
    )
