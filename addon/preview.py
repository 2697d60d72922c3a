"""A plan that waits to be taken, drawn over its shell. What is drawn is made when something changes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import blf
import bpy
import gpu
import numpy as np
from bpy.app.handlers import persistent
from gpu_extras.batch import batch_for_shader
from mathutils import Matrix

from ..core.dashes import dashes
from ..core.errors import FoamwrightError
from . import bridge, plans
from .cut_settings import FoamwrightCut

FONT, WORDS_SIZE, WORDS_ABOVE = 0, 13, 40
CASING = (0.0, 0.0, 0.0, 0.9)
NEARER = 0.003
"""Part of the distance by which lines are drawn before the surface that they lie on."""


@dataclass(frozen=True)
class Style:
    """Colour, width in pixels, and dash and gap in hundredths of the shell's largest side."""

    colour: tuple[float, float, float, float]
    width: float
    dash: float
    gap: float


# each by its dashes as well as by its colour
NEW = Style((1.0, 0.9, 0.1, 1.0), 3.0, 2.4, 1.6)
GOING = Style((1.0, 0.45, 0.9, 1.0), 3.0, 0.5, 1.0)
KEPT = Style((0.9, 0.9, 0.9, 1.0), 2.0, 1.0, 0.0)
LEFT_OUT = Style((0.8, 0.8, 0.8, 1.0), 2.0, 0.5, 2.2)
LOOKED_AT_WIDER = 3.0


@dataclass(frozen=True, eq=False)
class Line:
    """Bits (s, 2, 3) of one cut's line, in mm as the shell stood."""

    bits: np.ndarray
    style: Style
    is_looked_at: bool


@dataclass(frozen=True, eq=False)
class Picture:
    """All lines of a plan; `key` says what they were made from, `to_local` takes mm to the object's own space."""

    object_name: str
    key: tuple
    lines: tuple[Line, ...]
    to_local: Matrix
    words: str


_picture: Picture | None = None
_batches: list[tuple[Any, Style, float]] = []
_handles: list = []


def picture() -> Picture | None:
    """What is drawn, or would be on a screen."""
    return _picture


def refresh(context: bpy.types.Context) -> None:
    """Make the picture of the active shell's plan, if there is one and it still fits the mesh."""
    global _picture
    obj = context.object
    if not plans.waits(obj) or plans.is_outdated(obj):
        changed, _picture = _picture is not None, None
    else:
        key = _key(obj)
        changed = _picture is None or _picture.key != key
        if changed:
            _picture = _picture_of(context, obj, key)
    if changed:
        _batches.clear()


def _key(obj: bpy.types.Object) -> tuple:
    plan = obj.foamwright.plan
    cuts = tuple((cut.edges, cut.wanted, cut.kept) for cut in plan.cuts)
    return obj.name_full, plan.kind, plan.active_cut, plan.made_for, plan.heading, plan.told, cuts


def _picture_of(context: bpy.types.Context, obj: bpy.types.Object, key: tuple) -> Picture | None:
    plan, looked_at = obj.foamwright.plan, plans.active_cut(obj)
    try:
        shell = bridge.shell_from_object(context, obj)
        edges_of_cuts = [plans.shell_edges(shell, cut) for cut in plan.cuts]
    except FoamwrightError:  # told when the plan is taken
        return None
    side = float(shell.size.max()) / 100
    lines = []
    for cut, edges in zip(plan.cuts, edges_of_cuts, strict=True):
        style = _style(plan.kind, cut)
        if (edges >= 0).all():
            lines.append(Line(dashes(shell, edges, style.dash * side, style.gap * side), style, cut == looked_at))
    unit = 1.0 / bridge.mm_per_unit(context.scene)
    to_local = obj.matrix_world.inverted_safe() @ Matrix.Scale(unit, 4)
    return Picture(obj.name_full, key, tuple(lines), to_local, plan.heading or plan.told)


def _style(kind: str, cut: FoamwrightCut) -> Style:
    if cut.kept:
        return KEPT
    if not cut.wanted:
        return LEFT_OUT
    return NEW if kind == "CUT" else GOING


# --- drawing ----------------------------------------------------------------------------------------


def _shown_object() -> bpy.types.Object | None:
    """The object whose picture is to be drawn now."""
    if _picture is None or not bpy.context.space_data.overlay.show_overlays:
        return None
    obj = bpy.context.object
    shown = plans.waits(obj) and obj.name_full == _picture.object_name and obj.visible_get()
    return obj if shown else None


def _draw_lines() -> None:
    obj = _shown_object()
    if obj is None:
        return
    shader = gpu.shader.from_builtin("POLYLINE_UNIFORM_COLOR")
    if not _batches:
        _batches.extend(_batches_of(shader, _picture))
    region, view = bpy.context.region, bpy.context.region_data
    scale = bpy.context.preferences.system.ui_scale
    # shrunk towards the eye a perspective picture is the same, only nearer
    nearer = Matrix.Translation((0.0, 0.0, NEARER * view.view_distance))
    if view.is_perspective:
        nearer = Matrix.Scale(1.0 - NEARER, 4)
    gpu.state.depth_test_set("LESS_EQUAL")
    gpu.state.depth_mask_set(False)  # a casing must not hide the line in it
    gpu.state.blend_set("ALPHA")
    with gpu.matrix.push_pop():
        gpu.matrix.load_matrix(nearer @ gpu.matrix.get_model_view_matrix() @ obj.matrix_world @ _picture.to_local)
        shader.bind()
        shader.uniform_float("viewportSize", (region.width, region.height))
        for casing in (True, False):
            for batch, style, width in _batches:
                shader.uniform_float("lineWidth", (width + 2.0 * casing) * scale)
                shader.uniform_float("color", CASING if casing else style.colour)
                batch.draw(shader)
    gpu.state.depth_test_set("NONE")
    gpu.state.blend_set("NONE")


def _batches_of(shader: Any, picture: Picture) -> list[tuple[Any, Style, float]]:
    batches = []
    for line in picture.lines:
        points = np.ascontiguousarray(line.bits.reshape(-1, 3), np.float32)
        width = line.style.width + LOOKED_AT_WIDER * line.is_looked_at
        batches.append((batch_for_shader(shader, "LINES", {"pos": points}), line.style, width))
    return batches


def _draw_words() -> None:
    if _shown_object() is None:
        return
    scale = bpy.context.preferences.system.ui_scale
    blf.size(FONT, WORDS_SIZE * scale)
    blf.enable(FONT, blf.SHADOW)
    blf.shadow(FONT, 3, *CASING)
    blf.color(FONT, *NEW.colour)
    width, _ = blf.dimensions(FONT, _picture.words)
    blf.position(FONT, (bpy.context.region.width - width) / 2, WORDS_ABOVE * scale, 0)
    blf.draw(FONT, _picture.words)
    blf.disable(FONT, blf.SHADOW)


@persistent
def _forget(*_what) -> None:
    """Another file: its objects are others, even of the same names."""
    global _picture
    _picture = None
    _batches.clear()


def register() -> None:
    bpy.app.handlers.load_pre.append(_forget)
    if not bpy.app.background:
        for draw, moment in ((_draw_lines, "POST_VIEW"), (_draw_words, "POST_PIXEL")):
            _handles.append(bpy.types.SpaceView3D.draw_handler_add(draw, (), "WINDOW", moment))


def unregister() -> None:
    for handle in _handles:
        bpy.types.SpaceView3D.draw_handler_remove(handle, "WINDOW")
    _handles.clear()
    if _forget in bpy.app.handlers.load_pre:
        bpy.app.handlers.load_pre.remove(_forget)
    _forget()
