"""Pieces of flat faces for the tests of joints, marks and build notes: shells cut along every edge; hinged strips."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import solids
from foamwright.core.flatten import Flat
from foamwright.core.foam import Stock, eva
from foamwright.core.joints import JointRun, both_outlines, joint_runs
from foamwright.core.marks import write_notes
from foamwright.core.notches import Notch, place_notches
from foamwright.core.pattern import Pattern, PatternPiece
from foamwright.core.pieces import Piece, cut_pieces
from foamwright.core.progress import finish
from foamwright.core.settings import Settings
from foamwright.core.shell import Shell
from foamwright.core.tracing import traced_lines

Rings = tuple[np.ndarray, ...]


@dataclass(frozen=True, eq=False)
class Faceted:
    """A shell cut along every edge, with flats and joints; `origin`, `axes` place each flat back on the shell."""

    shell: Shell
    settings: Settings
    pieces: tuple[Piece, ...]
    flats: tuple[np.ndarray, ...]
    joints: tuple[JointRun, ...]
    axes: tuple[np.ndarray, ...]

    def in_space(self, number: int, ring: np.ndarray, depth: float) -> np.ndarray:
        """Points (n, 2) of a piece's flat to (n, 3) mm, `depth` below its outside face."""
        along, across, normal = self.axes[number]
        base = self.shell.vertices[self.pieces[number].patch.shell_vertex] @ normal
        return ring @ np.stack([along, across]) + (base.mean() - depth) * normal

    def outlines(self, number: int) -> tuple[tuple[np.ndarray, ...], tuple[np.ndarray, ...]]:
        return both_outlines(self.pieces[number], self.flats[number], self.joints, self.settings.model_is_inside)

    def notches(self, number: int) -> tuple[Notch, ...]:
        return notches_of(self.pieces[number], self.flats[number], self.joints, self.settings)


def faceted(mesh: tuple[np.ndarray, Sequence], thickness: float = 10.0, **choices: object) -> Faceted:
    vertices, faces = mesh
    bare = Shell.build(vertices, faces)
    shell = bare.with_seams(np.ones(bare.edge_count, bool))
    settings = Settings(stock=eva(thickness), **choices)
    pieces, _ = cut_pieces(shell, settings)
    axes = tuple(_axes(shell, piece) for piece in pieces)
    flats = tuple(
        shell.vertices[piece.patch.shell_vertex] @ axis[:2].T for piece, axis in zip(pieces, axes, strict=True)
    )
    return Faceted(shell, settings, pieces, flats, joint_runs(shell, pieces, flats, settings), axes)


def pattern_of(cut: Faceted) -> Pattern:
    """The shell as a finished pattern without sheets."""
    finished = []
    for number, (piece, flat) in enumerate(zip(cut.pieces, cut.flats, strict=True)):
        outside, inside = cut.outlines(number)
        notches = cut.notches(number)
        notes = finish(write_notes(piece, number + 1, flat, outside, cut.joints, (), notches))
        finished.append(replace(bare_piece(piece, flat, outside, inside), notches=notches, notes=notes))
    piece_of_face = np.empty(cut.shell.face_count, int)
    for number, piece in enumerate(cut.pieces):
        piece_of_face[piece.faces] = number
    return Pattern(cut.shell, piece_of_face, tuple(finished), cut.joints, (), ())


def bare_piece(piece: Piece, flat: np.ndarray, outside: Rings, inside: Rings) -> PatternPiece:
    laid = Flat(flat, np.ones((len(piece.patch.triangles), 2)), piece.patch.step_lengths(flat))
    return PatternPiece.bare(piece, laid, outside, inside)


def traced_around(piece: Piece, flat: np.ndarray, joints: Sequence[JointRun], settings: Settings) -> Rings:
    """The lines to trace of the piece with these joints."""
    return traced_lines(bare_piece(piece, flat, *both_outlines(piece, flat, joints, settings.model_is_inside)))


def notches_of(piece: Piece, flat: np.ndarray, joints: Sequence[JointRun], settings: Settings) -> tuple[Notch, ...]:
    return place_notches(piece, flat, joints, settings, traced_around(piece, flat, joints, settings))


def side_vectors(ring: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Middles, unit inward normals and lengths of the sides of a closed counter-clockwise ring (n + 1, 2)."""
    step = np.diff(ring, axis=0)
    length = np.linalg.norm(step, axis=1)
    along = step / length[:, None]
    return (ring[1:] + ring[:-1]) / 2, np.stack([-along[:, 1], along[:, 0]], axis=1), length


def _axes(shell: Shell, piece: Piece) -> np.ndarray:
    """(3, 3): two directions in the face's plane and its outward normal, right-handed."""
    normal = shell.face_normal[piece.faces[0]]
    ring = shell.face(int(piece.faces[0]))
    along = shell.vertices[ring[1]] - shell.vertices[ring[0]]
    along = along - normal * (along @ normal)
    along /= np.linalg.norm(along)
    return np.stack([along, np.cross(normal, along), normal])


def hinge(bends_deg: Sequence[float], step: float = 10.0, wide: float = 40.0, stock: Stock | None = None):
    """Two strips along x joined by a seam at y = 0; at vertex i the far strip is bent by bends_deg[i]."""
    x, bend = step * np.arange(len(bends_deg)), np.radians(bends_deg)
    rows = [
        np.stack([x, np.full_like(x, -wide), 0 * x], axis=1),
        np.stack([x, 0 * x, 0 * x], axis=1),
        np.stack([x, wide * np.cos(bend), -wide * np.sin(bend)], axis=1),
    ]
    vertices, faces = solids.grid(np.stack(rows))
    n = len(x)
    shell = Shell.build(vertices, faces, seams=[(n + i, n + i + 1) for i in range(n - 1)])
    pieces, _ = cut_pieces(shell, Settings(stock=stock or eva(5.0)))
    flats = []
    for piece in pieces:
        points = shell.vertices[piece.patch.shell_vertex]
        flats.append(np.stack([points[:, 0], np.sign(points[:, 1]) * np.hypot(points[:, 1], points[:, 2])], axis=1))
    return shell, pieces, flats


def in_plane(shell: Shell, pieces) -> list[np.ndarray]:
    return [shell.vertices[piece.patch.shell_vertex][:, :2] for piece in pieces]
