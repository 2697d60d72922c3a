"""The assembled shell as a line drawing: seen from one side, hidden lines left out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from .pattern import Pattern
from .places import is_seen, piece_place
from .shell import Shell
from .shell_views import turned

SEEN_FROM_ABOVE_DEG = 15.0

STEPS_ACROSS = 80
"""A line is judged in bits no longer than this part of the shell, so that it ends where something covers it."""

TOUCHING = 0.005
"""What covers a point by less, in parts of the shell's size, is the surface it lies on."""

LEAST_SEEN = 0.25
"""A piece is named in the views in which it fills this part of its area, and in the one in which it fills most."""


@dataclass(frozen=True, eq=False)
class ShellDrawing:
    """A view in mm, x right, y up, the middle of the shell at the origin.

    borders, folds : lines, each (r, 2)
    pieces : piece name -> where to write its number (2,)
    joints : letter -> places (n, 2) to write it, the middle of what is seen of the joint first
    """

    borders: list[np.ndarray]
    folds: list[np.ndarray]
    pieces: dict[str, np.ndarray]
    joints: dict[str, np.ndarray]


def shell_drawings(pattern: Pattern, from_deg: tuple[float, ...]) -> list[ShellDrawing]:
    """One view for each direction, as `turned` counts them; every piece is named in one at least."""
    views = [_View(pattern.shell, azimuth) for azimuth in from_deg]
    seen = np.array([[view.area_seen[piece.faces].sum() for view in views] for piece in pattern.pieces])
    area = np.array([pattern.shell.face_area[piece.faces].sum() for piece in pattern.pieces])[:, None]
    named = (seen > 0) & ((seen >= LEAST_SEEN * area) | (seen == seen.max(axis=1, keepdims=True)))
    return [view.drawing(pattern, named[:, index]) for index, view in enumerate(views)]


class _View:
    def __init__(self, shell: Shell, azimuth_deg: float) -> None:
        self.shell = shell
        middle = (shell.vertices.min(axis=0) + shell.vertices.max(axis=0)) / 2
        self.points = turned(shell.vertices - middle, azimuth_deg, SEEN_FROM_ABOVE_DEG)
        self.middle, self.azimuth_deg = middle, azimuth_deg
        self.tolerance = TOUCHING * float(np.linalg.norm(shell.size))
        corners = self.points[shell.triangles]
        # a triangle seen edge on covers nothing
        spread = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
        broad = np.abs(spread[:, 2]) > 1e-9 * self.tolerance**2
        self.triangles, self.corners = shell.triangles[broad], corners[broad]
        self.tree = shapely.STRtree(shapely.polygons(self.corners[:, :, :2]))
        # the eye looks down from z in the picture, so along -z
        normals = turned(shell.face_normal, azimuth_deg, SEEN_FROM_ABOVE_DEG)
        self.faces_eye = np.array([is_seen(normal, (0, 0, -1)) for normal in normals])
        face_points = turned(shell.face_centre - middle, azimuth_deg, SEEN_FROM_ABOVE_DEG)
        self.face_seen = self.faces_eye.copy()
        self.face_seen[self.faces_eye] = self._uncovered(face_points[self.faces_eye])
        self.area_seen = np.where(self.face_seen, shell.face_area * normals[:, 2], 0.0)

    def drawing(self, pattern: Pattern, named: np.ndarray) -> ShellDrawing:
        shell = self.shell
        border = shell.seam | shell.edge_is_rim
        left, right = shell.edge_faces.T
        outline = (right >= 0) & (self.faces_eye[left] != self.faces_eye[right])
        towards = self.faces_eye[left] | ((right >= 0) & self.faces_eye[right])
        fold = np.zeros(shell.edge_count, bool)
        for piece in pattern.pieces:
            for run in piece.folds:
                fold[run.edges] = True
        border = (border | outline) & towards
        at_outline = outline | shell.edge_is_rim
        pieces = {
            piece.name: self._at(piece_place(shell, piece.faces[self.face_seen[piece.faces]])[0])
            for piece, wanted in zip(pattern.pieces, named, strict=True)
            if wanted
        }
        return ShellDrawing(
            self._lines(np.flatnonzero(border), at_outline),
            self._lines(np.flatnonzero(fold & towards & ~border), at_outline),
            pieces,
            self._joints(pattern),
        )

    def _joints(self, pattern: Pattern) -> dict[str, np.ndarray]:
        places = {}
        for joint in pattern.joints:
            middles = self.points[self.shell.edges[joint.edges]].mean(axis=1)
            seen = self.face_seen[self.shell.edge_faces[joint.edges]].any(axis=1)
            if not seen.any():
                continue
            middles = middles[seen][:, :2]
            halfway = np.abs(np.arange(len(middles)) - (len(middles) - 1) / 2)
            places[joint.letter] = middles[np.argsort(halfway, kind="stable")]
        return places

    def _at(self, point: np.ndarray) -> np.ndarray:
        return turned((point - self.middle)[None], self.azimuth_deg, SEEN_FROM_ABOVE_DEG)[0, :2]

    def _lines(self, edges: np.ndarray, at_outline: np.ndarray) -> list[np.ndarray]:
        """What is seen of the edges: cut into short bits, judged bit by bit, and put together again."""
        start, end = self.points[self.shell.edges[edges]].transpose(1, 0, 2)
        longest = float(np.linalg.norm(self.shell.size)) / STEPS_ACROSS
        count = np.maximum(np.ceil(np.linalg.norm(end - start, axis=1) / longest), 1).astype(int)
        which = np.repeat(np.arange(len(edges)), count)
        number = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
        along = np.stack([number, number + 1], axis=1) / count[which, None]
        bits = start[which, None] + along[:, :, None] * (end - start)[which, None]
        # where the surface turns away, what adjoins the outline is too steep to tell before from behind
        forgiven = np.where(at_outline[edges, None], self.shell.edges[edges], -1)[which]
        seen = bits[self._uncovered(bits.mean(axis=1), forgiven)][:, :, :2]
        merged = shapely.line_merge(shapely.multilinestrings(seen.round(6)))
        return [shapely.get_coordinates(line) for line in shapely.get_parts(merged)]

    def _uncovered(self, points: np.ndarray, forgiven: np.ndarray | None = None) -> np.ndarray:
        """(n,) bool, whether no triangle lies between the points (n, 3) and the eye.

        forgiven : (n, 2) shell vertices whose triangles do not count, -1 for none
        """
        point, triangle = self.tree.query(shapely.points(points[:, :2]), predicate="within")
        a, b, c = self.corners[triangle].transpose(1, 0, 2)
        normal = np.cross(b - a, c - a)
        covers = -(normal * (points[point] - a)).sum(axis=1) / normal[:, 2] > self.tolerance
        if forgiven is not None:
            covers &= ~(self.triangles[triangle][:, :, None] == forgiven[point][:, None, :]).any(axis=(1, 2))
        free = np.ones(len(points), bool)
        free[point[covers]] = False
        return free
