"""Where on the assembled shell a name or a letter is written."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from .pattern import Pattern
from .shell import Shell

Place = tuple[np.ndarray, np.ndarray]
"""A point (3,) mm on the shell, and the direction (3,) outwards there."""


def piece_place(shell: Shell, faces: np.ndarray) -> Place:
    """A point (3,) mm on the surface, in the middle of `faces` (p,), and the outward normal (3,) there.

    The middle of a curved piece hangs in the air, so the face centre nearest to it is taken.
    """
    weight = shell.face_area[faces]
    if not weight.any():
        weight = np.ones(len(faces))
    middle = np.average(shell.face_centre[faces], axis=0, weights=weight)
    nearest = faces[int(np.argmin(np.linalg.norm(shell.face_centre[faces] - middle, axis=1)))]
    return shell.face_centre[nearest], shell.face_normal[nearest]


def run_place(shell: Shell, edges: np.ndarray) -> Place:
    """The point (3,) mm halfway along the edges of a run, in their order, and between the normals of its faces."""
    length = shell.edge_length[edges]
    covered = np.cumsum(length)
    middle = edges[int(np.searchsorted(covered, covered[-1] / 2))]
    faces = shell.edge_faces[middle]
    outward = shell.face_normal[faces[faces >= 0]].sum(axis=0)
    return shell.vertices[shell.edges[middle]].mean(axis=0), outward


def is_seen(outward: Sequence[float], sight: Sequence[float]) -> bool:
    """Whether a side that looks `outward` (3,) is turned to an eye that looks along `sight` (3,)."""
    return float(np.dot(outward, sight)) < 0


def piece_places(pattern: Pattern) -> dict[str, Place]:
    """Per piece name its place on the shell."""
    return {piece.name: piece_place(pattern.shell, piece.faces) for piece in pattern.pieces}


def joint_places(pattern: Pattern) -> dict[str, Place]:
    """Per joint letter its place on the shell."""
    return {joint.letter: run_place(pattern.shell, joint.edges) for joint in pattern.joints}
