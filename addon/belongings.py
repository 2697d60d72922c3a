"""What a run made, and nothing else: told by the list that its collection of results keeps, and taken away again.

Names and properties are copied when a maker copies an object; the list of a collection is not, unless the collection is
copied with all that is in it, and then it names the copies.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

import bpy

from . import bridge

ROOMS = ("Flat pieces", "Foam sheets")
"""Names of the collections inside one of results, by which those of earlier versions are known."""


def keep(root: bpy.types.Collection, obj: bpy.types.Object) -> None:
    """Note that a run made `obj`, with its mesh as it is now."""
    obj.foamwright.results, obj.foamwright.is_listed = root, True
    item = root.foamwright.made.add()
    item.thing, item.shape = obj, bridge.shape_print(bridge.mesh_of(obj))


def made_in(root: bpy.types.Collection) -> list[bpy.types.Object]:
    """What the run of these results made and is still there."""
    state = root.foamwright
    things = [item.thing for item in state.made] if state.keeps_list else _made_earlier(root)
    return [thing for thing in things if thing is not None and thing.users_collection]


def is_made(obj: bpy.types.Object) -> bool:
    """A run made it: a flat piece, or an outline. A copy that the maker made of one is the maker's."""
    own = obj.foamwright
    if not (own.flat_of or own.is_frame):
        return False
    if not own.is_listed:
        return True
    root = own.results
    return root is not None and not _is_copy(root) and any(item.thing == obj for item in root.foamwright.made)


def flats_of(root: bpy.types.Collection | None) -> list[bpy.types.Object]:
    """Flat pieces among what a run made."""
    things = made_in(root) if root is not None else []
    return [thing for thing in things if thing.foamwright.flat_of and thing.type == "MESH"]


def _is_copy(root: bpy.types.Collection) -> bool:
    """The maker copied the collection of results of a shell that has its own still."""
    shell = root.foamwright.shell
    return shell is not None and shell.foamwright.results not in (None, root)


def is_left_over(root: bpy.types.Collection | None) -> bool:
    """Results of a shell that is there no more."""
    if root is None or _is_copy(root):
        return False
    shell = root.foamwright.shell
    return shell is None or not shell.users_collection or shell.foamwright.results is None


def left_over_at(obj: bpy.types.Object | None) -> bpy.types.Collection | None:
    """The results without a shell to which this flat or outline belongs."""
    if obj is None or not is_made(obj):
        return None
    root = obj.foamwright.results or next((root for root in bpy.data.collections if obj in made_in(root)), None)
    return root if is_left_over(root) else None


def remove_results(root: bpy.types.Collection) -> None:
    """Remove what a run made; all else that was put there moves to where the results were.

    A flat that was edited since is the maker's work by now, and stays as well.
    """
    state = root.foamwright
    if state.keeps_list:
        ours = [item.thing for item in state.made if item.thing is not None and _is_untouched(item)]
        rooms = [room for room in (state.flats, state.frames) if room is not None]
    else:
        ours, rooms = _made_earlier(root), _rooms_made_earlier(root)
    _give_away({obj for obj in bpy.data.objects if obj.foamwright.results == root} - {*ours, state.shell})
    _let_go_of_parents(set(ours))
    remove_objects(ours)
    for collection in (*rooms, root):
        _dissolve(collection)


def remove_objects(objects) -> None:
    """Remove objects and their data, so that nothing is left without a user."""
    for obj in list(objects):
        data = obj.data
        bpy.data.objects.remove(obj)
        if data is not None and data.users == 0:
            bpy.data.batch_remove([data])


def pointers_to_deleted(root: bpy.types.Collection) -> Iterator[tuple[Any, str]]:
    """Properties, each with its owner, that name what the maker has deleted: it is in no collection any more."""
    state = root.foamwright
    for owner, name in [(state, "shell"), *((item, "thing") for item in state.made)]:
        obj = getattr(owner, name)
        if obj is not None and not obj.users_collection and not obj.use_fake_user:
            yield owner, name


def _is_untouched(item) -> bool:
    thing = item.thing
    return thing.type == "MESH" and item.shape == bridge.shape_print(bridge.mesh_of(thing))


def _made_earlier(root: bpy.types.Collection) -> list[bpy.types.Object]:
    """Of results that keep no list, from an earlier version: of things alike, the first; copies have later names."""
    first: dict[tuple[str, bool], bpy.types.Object] = {}
    for obj in sorted(root.all_objects, key=lambda obj: (len(obj.name), obj.name)):
        own = obj.foamwright
        if own.flat_of or own.is_frame:
            first.setdefault((own.flat_of or _without_number(obj.name), own.is_frame), obj)
    return list(first.values())


def _rooms_made_earlier(root: bpy.types.Collection) -> list[bpy.types.Collection]:
    return [room for room in root.children if _without_number(room.name) in ROOMS]


def _without_number(name: str) -> str:
    """Blender gives copies a number behind a dot."""
    return re.sub(r"\.\d{3,}$", "", name)


def _give_away(objects: set[bpy.types.Object]) -> None:
    """From now on these are the maker's like any other."""
    for obj in objects:
        own = obj.foamwright
        if obj.library is None and (own.flat_of or own.is_frame):
            own.flat_of, own.is_frame, own.is_listed = "", False, False


def _let_go_of_parents(ours: set[bpy.types.Object]) -> None:
    """What the maker parented to something of ours stays where it is seen."""
    for obj in bpy.data.objects:
        if obj.parent in ours and obj not in ours and obj.library is None:
            place = obj.matrix_world.copy()
            obj.parent = None
            obj.matrix_world = place


def _dissolve(collection: bpy.types.Collection) -> None:
    """Remove a collection; what is in no other moves to the collection that it was in."""
    above = _above(collection)
    for obj in collection.objects:
        if len(obj.users_collection) == 1:
            above.objects.link(obj)
    for child in collection.children:
        if sum(child.name in other.children for other in _all_collections()) == 1:
            above.children.link(child)
    bpy.data.collections.remove(collection)


def _above(collection: bpy.types.Collection) -> bpy.types.Collection:
    holders = (one for one in _all_collections() if one.library is None and collection.name in one.children)
    return next(holders, bpy.context.scene.collection)


def _all_collections() -> list[bpy.types.Collection]:
    return [*(scene.collection for scene in bpy.data.scenes), *bpy.data.collections]
