"""The shell as a GLB file: every piece a mesh of its own at its place, with its number on it."""

from __future__ import annotations

from pathlib import Path

import bpy
import numpy as np
from mathutils import Matrix, Vector

from ..core.files import write_whole
from ..core.glb import Part, glb
from ..core.heat import strain_colour, worst_strain
from ..core.pattern import Pattern, PatternPiece
from ..core.places import piece_place
from .throwaway import text_curve, throwaway_scene

METRES = 1e-3
NUMBER_M = 0.014
LIFT_M = 0.0005
"""A number stands this far off the surface, so that the two do not flicker."""
INK = (0.15, 0.15, 0.15)


def write_glb(pattern: Pattern, path: str | Path) -> Path:
    """Write the numbered model, in metres; returns its path. Raises ExportError."""
    return write_whole(path, lambda draft: _put(draft, pattern))


def _put(draft: Path, pattern: Pattern) -> None:
    with throwaway_scene():
        parts = [_part(pattern, piece, number) for number, piece in enumerate(pattern.pieces, start=1)]
    draft.write_bytes(glb(parts))


def _part(pattern: Pattern, piece: PatternPiece, number: int) -> Part:
    points = pattern.shell.vertices[piece.patch.shell_vertex] * METRES
    return Part(
        f"{number:02d} {piece.name}",
        points[piece.patch.triangles],
        strain_colour(worst_strain(piece.stretch), piece.stock.hot_limit),
        [_number(pattern, piece, number)],
    )


def _number(pattern: Pattern, piece: PatternPiece, number: int) -> Part:
    """The digits of a number, lying on the piece."""
    point, normal = (Vector(array.tolist()) for array in piece_place(pattern.shell, piece.faces))
    turn = normal.to_track_quat("Z", "Y").to_matrix().to_4x4()
    mesh = bpy.data.meshes.new_from_object(bpy.data.objects.new("Number", text_curve(str(number), NUMBER_M)))
    mesh.transform(Matrix.Translation(point * METRES + normal * LIFT_M) @ turn)
    mesh.calc_loop_triangles()
    points = np.array([vertex.co for vertex in mesh.vertices])
    triangles = points[np.array([triangle.vertices for triangle in mesh.loop_triangles])]
    return Part(f"Number {number}", triangles, np.tile(INK, (len(triangles), 1)))
