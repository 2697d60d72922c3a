"""The steps of a random walk: what Foamwright does, and what a maker does beside it; see operator_walk.py."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import bmesh
import bpy

if TYPE_CHECKING:
    from operator_walk import Walk

MINE, LEDGER, FILE = "mine", "ledger", "walk.blend"
MOST_SHELLS, MOST_SCENES = 4, 3
NAMES = ("cap", "Brow", "P1", "Foamwright: cap", "Шлем", "Sheet 1: EVA 5 mm", "Flat pieces", "..", "shell.001")


class Skip(Exception):
    """There is nothing this step could be done to."""


class Step:
    """What is done, how often, whether Foamwright does it, and whether it is a step of history itself."""

    def __init__(self, do: Callable[[Walk], None], weight: int, is_ours: bool, is_history: bool):
        self.do, self.weight, self.is_ours, self.is_history = do, weight, is_ours, is_history


STEPS: dict[str, Step] = {}


def step(weight: int = 1, *, is_ours: bool = False, is_history: bool = False):
    def keep(do: Callable[[Walk], None]):
        STEPS[do.__name__] = Step(do, weight, is_ours, is_history)
        return do

    return keep


# --- steps of Foamwright ------------------------------------------------------------------------------


@step(8, is_ours=True)
def flatten(walk: Walk) -> None:
    walk.active()
    walk.call("flatten")


@step(3, is_ours=True)
def clear(walk: Walk) -> None:
    walk.active()
    walk.call("clear")


@step(2, is_ours=True)
def clear_at_a_flat(walk: Walk) -> None:
    walk.activate(walk.pick(walk.results()))
    walk.call("clear")


def _plain(operator: str, weight: int = 1) -> None:
    def do(walk: Walk) -> None:
        walk.active()
        walk.call(operator)

    do.__name__ = operator
    step(weight, is_ours=True)(do)


for _operator in (
    "check", "find_pieces", "complete_seams", "suggest_seams", "where_to_cut", "removable_seams", "reckon_plan",
    "take_plan", "drop_plan", "select_cut", "paint_cuts", "forbid_cut", "select_forbidden", "calibrate",
):  # fmt: skip
    _plain(_operator)


@step(2)
def rename_piece(walk: Walk) -> None:
    piece = walk.pick(walk.active().foamwright.pieces)
    walk.call("rename_piece", piece=piece.name, new_name=walk.random.choice((*NAMES, "  ", "Ear L", "over P1")))


@step(2)
def set_piece_foam(walk: Walk) -> None:
    piece = walk.pick(walk.active().foamwright.pieces)
    walk.call("set_piece_stock", piece=piece.name, thickness_mm=walk.random.choice((0, 2, 8, 100)))


@step(2)
def set_foam(walk: Walk) -> None:
    settings = bpy.context.scene.foamwright
    settings.thickness_mm = walk.random.choice((3, 5, 8, 12))
    settings.model_is_inside = walk.random.random() < 0.5


@step(1)
def use_stock(walk: Walk) -> None:
    walk.call("use_stock", stock="EVA 10 mm")


@step(1)
def lock_joint(walk: Walk) -> None:
    run = walk.pick(walk.active().foamwright.runs)
    run.joint_choice = walk.random.choice(("AUTO", "BUTT", "MITRE"))
    run.rim_choice = walk.random.choice(("AUTO", "BEVELLED"))


@step(1)
def untick(walk: Walk) -> None:
    walk.pick(walk.active().foamwright.plan.cuts).wanted ^= True


@step(1)
def colours(walk: Walk) -> None:
    walk.active()
    walk.call("colours", what=walk.random.choice(("STRAIN", "FLAGS", "NONE")))


@step(1)
def select_place(walk: Walk) -> None:
    walk.active()
    walk.call("select_place", index=walk.random.randrange(-1, 4))


@step(2)
def export(walk: Walk) -> None:
    walk.active()
    walk.call("export", directory=str(walk.folder), kinds={"JSON", "SVG", "GLB"})


# --- steps of the maker -------------------------------------------------------------------------------


@step(1)
def add_shell(walk: Walk) -> None:
    walk.object_mode()
    if len(walk.shells()) >= MOST_SHELLS:
        raise Skip
    walk.add_shell()


@step(4)
def move_to_a_collection(walk: Walk) -> None:
    obj, home = walk.pick([*walk.shells(), *walk.results()]), walk.pick(walk.collections())
    if obj.name in home.objects:
        raise Skip
    if walk.random.random() < 0.6:
        for other in list(obj.users_collection):
            other.objects.unlink(obj)
    home.objects.link(obj)


@step(2)
def move_a_collection(walk: Walk) -> None:
    child, home = walk.pick(bpy.context.scene.collection.children_recursive), walk.pick(walk.collections())
    if child == home or home in child.children_recursive or child.name in home.children:
        raise Skip
    for other in [bpy.context.scene.collection, *bpy.data.collections]:
        if child.name in other.children:
            other.children.unlink(child)
    home.children.link(child)


@step(1)
def add_collection(walk: Walk) -> None:
    walk.pick(walk.collections()).children.link(bpy.data.collections.new(walk.random.choice(NAMES)))


@step(1)
def remove_collection(walk: Walk) -> None:
    """As the outliner does it: what was in it moves up."""
    walk.object_mode()
    gone = walk.pick(bpy.context.scene.collection.children_recursive)
    for obj in list(gone.objects):
        if len(obj.users_collection) == 1:
            bpy.context.scene.collection.objects.link(obj)
    for child in list(gone.children):
        if child.name not in bpy.context.scene.collection.children:
            bpy.context.scene.collection.children.link(child)
    bpy.data.collections.remove(gone)


@step(2)
def rename_something(walk: Walk) -> None:
    thing = walk.pick([*walk.shells(), *walk.results(), *bpy.context.scene.collection.children_recursive])
    thing.name = walk.random.choice(NAMES)


@step(2)
def duplicate_shell(walk: Walk) -> None:
    if len(walk.shells()) >= MOST_SHELLS:
        raise Skip
    walk.select(walk.pick(walk.shells()))
    bpy.ops.object.duplicate(linked=walk.random.random() < 0.5)
    walk.own(bpy.context.view_layer.objects.active)


@step(2)
def duplicate_flat(walk: Walk) -> None:
    flat = walk.select(walk.pick(walk.results()))
    if not flat.data.polygons or len(walk.shells()) >= MOST_SHELLS:
        raise Skip
    bpy.ops.object.duplicate(linked=walk.random.random() < 0.5)
    walk.own(bpy.context.view_layer.objects.active)


@step(1)
def edit_flat(walk: Walk) -> None:
    """It is the maker's from now on."""
    flat = walk.activate(walk.pick([flat for flat in walk.results() if MINE not in flat]))
    if not flat.data.polygons or flat.data.users > 1:
        raise Skip
    flat.data.vertices[0].co.x += 0.002
    walk.own(flat)


@step(2)
def delete_shell(walk: Walk) -> None:
    shell = walk.select(walk.pick(walk.shells()))
    if len(walk.shells()) == 1:
        raise Skip
    walk.disown(shell)
    bpy.ops.object.delete()


@step(1)
def delete_results(walk: Walk) -> None:
    for flat in walk.results()[: walk.random.randrange(1, 4)]:
        if MINE not in flat:
            walk.select(flat)
            bpy.ops.object.delete()


@step(1)
def parent_to_a_flat(walk: Walk) -> None:
    walk.object_mode()
    flat, shell = walk.pick(walk.results()), walk.pick(walk.shells())
    if flat.parent is None:
        shell.parent = flat


@step(1)
def join_flat_into_shell(walk: Walk) -> None:
    walk.select(walk.pick(walk.shells()))
    flat = walk.pick([flat for flat in walk.results() if MINE not in flat])
    if bpy.context.view_layer.objects.get(flat.name) is None:
        raise Skip
    flat.select_set(True)
    if not flat.select_get():
        raise Skip
    bpy.ops.object.join()


@step(1)
def join_shell_into_flat(walk: Walk) -> None:
    flat = walk.pick([flat for flat in walk.results() if MINE not in flat])
    shell = walk.pick(walk.shells())
    if len(walk.shells()) == 1 or bpy.context.view_layer.objects.get(shell.name) is None:
        raise Skip
    walk.select(flat)
    shell.select_set(True)
    if not shell.select_get():
        raise Skip
    walk.disown(shell)
    bpy.ops.object.join()
    walk.own(flat)


@step(1)
def mark_seam(walk: Walk) -> None:
    obj = walk.active()
    walk.object_mode()
    for _ in range(walk.random.randrange(1, 6)):
        walk.pick(obj.data.edges).use_seam ^= True


@step(1)
def move_corner(walk: Walk) -> None:
    obj = walk.active()
    walk.object_mode()
    walk.pick(obj.data.vertices).co.x += 0.003
    obj.data.update()


@step(1)
def delete_face(walk: Walk) -> None:
    obj = walk.active()
    walk.object_mode()
    if len(obj.data.polygons) < 4:
        raise Skip
    mesh = bmesh.new()
    mesh.from_mesh(obj.data)
    bmesh.ops.delete(mesh, geom=[walk.pick(mesh.faces)], context="FACES")
    mesh.to_mesh(obj.data)
    mesh.free()


@step(1)
def add_modifier(walk: Walk) -> None:
    obj = walk.active()
    if len(obj.modifiers) > 1:
        raise Skip
    obj.modifiers.new("Modifier", walk.random.choice(("MIRROR", "SMOOTH", "SUBSURF", "SOLIDIFY")))


@step(1)
def remove_modifiers(walk: Walk) -> None:
    walk.active().modifiers.clear()


@step(1)
def scale(walk: Walk) -> None:
    walk.active().scale.x *= walk.random.choice((1.1, -1, 0.9))


@step(1)
def hide(walk: Walk) -> None:
    obj = walk.pick(walk.shells())
    walk.object_mode()
    obj.hide_set(walk.random.random() < 0.5)
    obj.hide_viewport = walk.random.random() < 0.2


@step(2)
def edit_mode(walk: Walk) -> None:
    obj = walk.active()
    bpy.ops.object.mode_set(mode="EDIT" if obj.mode == "OBJECT" else "OBJECT")


@step(2)
def choose_shell(walk: Walk) -> None:
    walk.activate(walk.pick(walk.shells()))


@step(1)
def copy_scene(walk: Walk) -> None:
    walk.object_mode()
    if len(bpy.data.scenes) >= MOST_SCENES:
        raise Skip
    bpy.ops.scene.new(type=walk.random.choice(("FULL_COPY", "LINK_COPY")))


@step(1)
def choose_scene(walk: Walk) -> None:
    walk.object_mode()
    bpy.context.window.scene = walk.pick(bpy.data.scenes)


@step(1)
def append_results(walk: Walk) -> None:
    """Collections of the saved file once more, with the shells in them or pointed to by them."""
    path = walk.folder / FILE
    walk.object_mode()
    if not path.exists() or len(walk.shells()) >= MOST_SHELLS or len(bpy.data.objects) > 60:
        raise Skip
    if bpy.data.filepath == str(path):
        raise Skip
    with bpy.data.libraries.load(str(path)) as (source, target):
        target.collections = [walk.pick(source.collections)]
    for collection in target.collections:
        if collection is not None and collection.name not in bpy.context.scene.collection.children:
            bpy.context.scene.collection.children.link(collection)


@step(1)
def purge(walk: Walk) -> None:
    walk.object_mode()
    bpy.ops.outliner.orphans_purge(do_recursive=True)


@step(6, is_history=True)
def undo(walk: Walk) -> None:
    _history(walk, bpy.ops.ed.undo)


@step(4, is_history=True)
def redo(walk: Walk) -> None:
    _history(walk, bpy.ops.ed.redo)


def _history(walk: Walk, go: Callable[[], set[str]]) -> None:
    if not go.poll():
        raise Skip
    go()


@step(1, is_history=True)
def save_a_copy(walk: Walk) -> None:
    walk.object_mode()
    bpy.ops.wm.save_as_mainfile(filepath=str(walk.folder / FILE), check_existing=False, copy=True)


@step(2, is_history=True)
def save_and_reload(walk: Walk) -> None:
    walk.object_mode()
    path = str(walk.folder / "reload.blend")
    bpy.ops.wm.save_as_mainfile(filepath=path, check_existing=False)
    bpy.ops.wm.open_mainfile(filepath=path)
    walk.enable()
