"""Piece names and joint letters over the viewport: what is written where, and the drawing of it."""

from __future__ import annotations

import contextlib
from dataclasses import dataclass

import blf
import bpy
from bpy.app.handlers import persistent
from bpy_extras.view3d_utils import location_3d_to_region_2d, region_2d_to_vector_3d
from mathutils import Vector

from ..core.errors import FoamwrightError
from ..core.pattern import Pattern
from ..core.places import is_seen, joint_places, piece_places
from . import belongings, bridge, results

FONT, NAME_SIZE, LETTER_SIZE = 0, 13, 11
NAME_COLOUR, LETTER_COLOUR = (1.0, 1.0, 1.0, 1.0), (1.0, 0.82, 0.45, 1.0)


Box = tuple[float, float, float, float]
"""Left, bottom, right, top."""


@dataclass(frozen=True)
class Label:
    """Words at a point of the world, in Blender units, to be read from the side to which `outward` points."""

    words: str
    point: tuple[float, float, float]
    outward: tuple[float, float, float]
    is_joint: bool = False


def labels_of(pattern: Pattern, unit: float) -> list[Label]:
    """Names and letters on the assembled shell; `unit`: Blender units in a millimetre."""
    names = [Label(name, tuple(point * unit), tuple(out)) for name, (point, out) in piece_places(pattern).items()]
    letters = joint_places(pattern).items()
    return names + [Label(letter, tuple(point * unit), tuple(out), True) for letter, (point, out) in letters]


def flat_labels(root: bpy.types.Collection) -> list[Label]:
    """Names on the flat pieces, wherever they have been moved to."""
    flats = belongings.flats_of(root)
    return [Label(flat.foamwright.flat_of, _middle(flat), tuple(flat.matrix_world.col[2].xyz)) for flat in flats]


def _middle(obj: bpy.types.Object) -> tuple[float, float, float]:
    corners = [Vector(corner) for corner in obj.bound_box]
    local = sum(corners, Vector()) / len(corners)
    local.rotate(obj.matrix_world.to_quaternion())
    middle = local * obj.matrix_world.median_scale + obj.matrix_world.translation
    return middle.x, middle.y, middle.z


_labels: list[Label] = []
_shell_name = ""
_handle = None


def is_shown() -> bool:
    return _handle is not None


def show(obj: bpy.types.Object) -> None:
    """Write the labels of this shell's pattern until `hide`. Raises MeshError without a pattern."""
    global _handle, _shell_name
    _shell_name = obj.name
    unit = 1.0 / bridge.mm_per_unit(bpy.context.scene)
    labels = labels_of(results.stored_pattern(obj), unit) + flat_labels(results.results_of(obj))
    _labels[:] = sorted(labels, key=lambda label: label.is_joint)  # where room is short, names come first
    if _handle is None:
        _handle = bpy.types.SpaceView3D.draw_handler_add(_draw, (), "WINDOW", "POST_PIXEL")


def shown() -> list[Label]:
    """The labels that are written now."""
    return list(_labels)


def follow(obj: bpy.types.Object) -> None:
    """The shell has a new pattern: write its labels, if labels are shown at all."""
    if is_shown():
        show(obj)


@persistent
def _on_other_state(*_what) -> None:
    """After undo, redo or another file names may be others."""
    refresh()


def refresh() -> None:
    """Write the labels of the shell as it is now, if labels are shown at all."""
    if is_shown():
        obj: bpy.types.Object | None = bpy.data.objects.get(_shell_name)
        _labels.clear()
        with contextlib.suppress(FoamwrightError):  # a shell whose pattern is damaged has no labels
            if results.results_of(obj) is not None:
                show(obj)


def hide() -> None:
    global _handle
    if _handle is not None:
        bpy.types.SpaceView3D.draw_handler_remove(_handle, "WINDOW")
        _handle = None
    _labels.clear()


def _draw() -> None:
    context = bpy.context
    gone = results.results_of(bpy.data.objects.get(_shell_name)) is None
    if gone or not context.space_data.overlay.show_overlays:
        return
    scale = context.preferences.system.ui_scale
    blf.enable(FONT, blf.SHADOW)
    blf.shadow(FONT, 3, 0.0, 0.0, 0.0, 0.9)
    taken: list[Box] = []
    for label in _labels:
        spot = _spot(context, label)
        if spot is None:
            continue
        blf.size(FONT, (LETTER_SIZE if label.is_joint else NAME_SIZE) * scale)
        width, height = blf.dimensions(FONT, label.words)
        box = (spot.x - width / 2, spot.y - height / 2, spot.x + width / 2, spot.y + height / 2)
        if is_free(box, taken):
            taken.append(box)
            blf.color(FONT, *(LETTER_COLOUR if label.is_joint else NAME_COLOUR))
            blf.position(FONT, box[0], box[1], 0)
            blf.draw(FONT, label.words)
    blf.disable(FONT, blf.SHADOW)


def _spot(context: bpy.types.Context, label: Label) -> Vector | None:
    """The pixel of a label; None behind the eye, outside the region, or on the far side of the shell."""
    spot = location_3d_to_region_2d(context.region, context.region_data, Vector(label.point))
    if spot is None:
        return None
    sight = region_2d_to_vector_3d(context.region, context.region_data, spot)
    return spot if is_seen(label.outward, sight.to_tuple()) else None


def is_free(box: Box, taken: list[Box]) -> bool:
    """Whether a box of pixels overlaps none that is taken."""
    return not any(
        box[0] < other[2] and other[0] < box[2] and box[1] < other[3] and other[1] < box[3] for other in taken
    )


def register() -> None:
    for moment in (bpy.app.handlers.undo_post, bpy.app.handlers.redo_post, bpy.app.handlers.load_post):
        moment.append(_on_other_state)


def unregister() -> None:
    for moment in (bpy.app.handlers.undo_post, bpy.app.handlers.redo_post, bpy.app.handlers.load_post):
        moment.remove(_on_other_state)
    hide()
