"""The maker's mesh in millimetres, its topology as arrays, and the tags on its edges.

A `Shell` never changes. Everything downstream refers to its vertices, edges and faces by number.
Edges are the unordered vertex pairs of the faces, sorted, so equal meshes number their edges equally.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from .curvature import corner_angles
from .errors import MeshError
from .nearby import SizeClass, size_classes
from .triangulate import triangulate_faces


@dataclass(frozen=True, eq=False)
class Shell:
    """A polygon mesh, one side of it the outside face of the finished shell.

    vertices : (n, 3) float, mm
    corner_vertex : (c,) int, the faces' vertices one after another, counter-clockwise seen from outside
    face_start : (f + 1,) int, face i owns corners `face_start[i]:face_start[i + 1]`
    seam : (k,) bool per edge, cut here
    fold : (k,) bool per edge, bend here along a line
    """

    vertices: np.ndarray
    corner_vertex: np.ndarray
    face_start: np.ndarray
    seam: np.ndarray
    fold: np.ndarray
    name: str = "shell"

    @classmethod
    def build(
        cls,
        vertices: Sequence | np.ndarray,
        faces: Iterable[Sequence[int] | np.ndarray],
        seams: Iterable[tuple[int, int]] = (),
        folds: Iterable[tuple[int, int]] = (),
        name: str = "shell",
    ) -> Shell:
        """Make a shell from vertex positions (mm), faces and tagged vertex pairs.

        Raises MeshError for an empty mesh, a position that is not a number, a face with under three
        corners, a repeated or unknown vertex, a tagged pair that is no edge.
        """
        rings = list(faces)
        sides = np.fromiter(map(len, rings), np.int64, len(rings))
        corners = np.concatenate([np.empty(0, np.int64), *rings]) if len(rings) else np.empty(0, np.int64)
        return cls.of_corners(vertices, corners, np.concatenate([[0], np.cumsum(sides)]), seams, folds, name)

    @classmethod
    def of_corners(
        cls,
        vertices: Sequence | np.ndarray,
        corner_vertex: np.ndarray,
        face_start: np.ndarray,
        seams: Iterable[tuple[int, int]] | np.ndarray = (),
        folds: Iterable[tuple[int, int]] | np.ndarray = (),
        name: str = "shell",
    ) -> Shell:
        """As `build`, from faces that are arrays already: see `Shell`."""
        points = np.asarray(vertices, dtype=float).reshape(-1, 3)
        corner_vertex, face_start = np.asarray(corner_vertex, np.int64), np.asarray(face_start, np.int64)
        _refuse_unusable(name, points, corner_vertex, face_start)
        bare = cls(points, corner_vertex, face_start, np.empty(0, bool), np.empty(0, bool), name)
        return replace(bare, seam=bare._tag(seams, "seam"), fold=bare._tag(folds, "fold"))

    def with_seams(self, seam: np.ndarray) -> Shell:
        """The same shell with other cuts; seam : (k,) bool."""
        other = replace(self, seam=np.asarray(seam, bool))
        # topology and shape do not depend on the cuts: hand on what is known
        for name, known in self.__dict__.items():
            other.__dict__.setdefault(name, known)
        return other

    def with_vertices(self, vertices: np.ndarray) -> Shell:
        """The same topology and tags at other positions; vertices : (n, 3) mm."""
        return replace(self, vertices=np.asarray(vertices, float))

    # --- topology ------------------------------------------------------------------------------

    @property
    def face_count(self) -> int:
        return len(self.face_start) - 1

    @property
    def edge_count(self) -> int:
        return len(self.edges)

    def face(self, index: int) -> np.ndarray:
        """Vertices of one face, (s,) int."""
        return self.corner_vertex[self.face_start[index] : self.face_start[index + 1]]

    @property
    def faces(self) -> list[np.ndarray]:
        return np.split(self.corner_vertex, self.face_start[1:-1])

    @cached_property
    def corner_face(self) -> np.ndarray:
        """(c,) int, the face each corner belongs to."""
        return np.repeat(np.arange(self.face_count), np.diff(self.face_start))

    @cached_property
    def corner_next(self) -> np.ndarray:
        """(c,) int, the next corner around the same face."""
        following = np.arange(1, len(self.corner_vertex) + 1)
        following[self.face_start[1:] - 1] = self.face_start[:-1]
        return following

    @cached_property
    def _edge_table(self) -> tuple[np.ndarray, np.ndarray]:
        pairs = np.stack([self.corner_vertex, self.corner_vertex[self.corner_next]], axis=1)
        base = len(self.vertices)
        # one number a pair: rows are sorted many times slower
        keys, corner_edge = np.unique(pairs.min(axis=1) * base + pairs.max(axis=1), return_inverse=True)
        return np.stack(np.divmod(keys, base), axis=1), corner_edge.reshape(-1)

    @property
    def edges(self) -> np.ndarray:
        """(k, 2) int, vertex pairs with the smaller number first."""
        return self._edge_table[0]

    @property
    def corner_edge(self) -> np.ndarray:
        """(c,) int, the edge from each corner to the next."""
        return self._edge_table[1]

    @cached_property
    def edge_face_count(self) -> np.ndarray:
        """(k,) int, how many faces use each edge: 1 rim, 2 inside, more is non-manifold."""
        return np.bincount(self.corner_edge, minlength=self.edge_count)

    @cached_property
    def edge_faces(self) -> np.ndarray:
        """(k, 2) int, the two faces of each edge, the first one walking it from its smaller vertex; -1 for none.

        Where the two faces disagree about direction, or on an edge of more than two faces, the first two
        corners are taken in face order.
        """
        order = np.argsort(self.corner_edge, kind="stable")
        first = np.searchsorted(self.corner_edge[order], np.arange(self.edge_count))
        table = np.full((self.edge_count, 2), -1)
        forward = self.corner_vertex == self.edges[self.corner_edge, 0]
        table[:, 0] = self.corner_face[order[first]]
        shared = self.edge_face_count > 1
        table[shared, 1] = self.corner_face[order[first[shared] + 1]]
        backward_first = shared & ~forward[order[first]]
        table[backward_first] = table[backward_first][:, ::-1]
        return table

    @cached_property
    def edge_is_rim(self) -> np.ndarray:
        return self.edge_face_count == 1

    @cached_property
    def edge_is_consistent(self) -> np.ndarray:
        """(k,) bool, two faces that walk the edge in opposite directions, as neighbours should."""
        forward = self.corner_vertex == self.edges[self.corner_edge, 0]
        balance = np.bincount(self.corner_edge, weights=np.where(forward, 1, -1), minlength=self.edge_count)
        return (self.edge_face_count == 2) & (balance == 0)

    @cached_property
    def corner_across(self) -> np.ndarray:
        """(c,) int, the corner whose side is the same edge walked the other way, -1 on one that is not consistent."""
        order = np.argsort(self.corner_edge, kind="stable")
        one, other = order[self.edge_is_consistent[self.corner_edge[order]]].reshape(-1, 2).T
        across = np.full(len(self.corner_vertex), -1)
        across[one], across[other] = other, one
        return across

    def marked(self, faces: np.ndarray) -> np.ndarray:
        """(f,) bool, which faces are among `faces` (p,) int."""
        mark = np.zeros(self.face_count, bool)
        mark[faces] = True
        return mark

    def edge_between(self, pairs: np.ndarray) -> np.ndarray:
        """(p,) int, the edge of each vertex pair in `pairs` (p, 2), -1 where there is none."""
        wanted = np.sort(np.asarray(pairs, np.int64).reshape(-1, 2), axis=1)
        base = len(self.vertices)
        keys = self.edges[:, 0] * base + self.edges[:, 1]
        sought = wanted[:, 0] * base + wanted[:, 1]
        place = np.minimum(np.searchsorted(keys, sought), len(keys) - 1)
        return np.where(keys[place] == sought, place, -1)

    # --- geometry ------------------------------------------------------------------------------

    @cached_property
    def face_vector(self) -> np.ndarray:
        """(f, 3) mm^2, area times normal by Newell's rule (right for any planar polygon)."""
        here = self.vertices[self.corner_vertex]
        there = self.vertices[self.corner_vertex[self.corner_next]]
        base = self.vertices[self.corner_vertex[self.face_start[:-1]]][self.corner_face]
        return np.add.reduceat(np.cross(here - base, there - base), self.face_start[:-1]) / 2

    @cached_property
    def face_area(self) -> np.ndarray:
        return np.linalg.norm(self.face_vector, axis=1)

    @cached_property
    def face_normal(self) -> np.ndarray:
        """(f, 3) unit normals pointing outside; zero for a face without area."""
        return self.face_vector / np.where(self.face_area > 0, self.face_area, 1)[:, None]

    @cached_property
    def face_centre(self) -> np.ndarray:
        total = np.add.reduceat(self.vertices[self.corner_vertex], self.face_start[:-1])
        return total / np.diff(self.face_start)[:, None]

    @cached_property
    def edge_vector(self) -> np.ndarray:
        """(k, 3) mm, from the smaller vertex to the larger."""
        return self.vertices[self.edges[:, 1]] - self.vertices[self.edges[:, 0]]

    @cached_property
    def edge_length(self) -> np.ndarray:
        return np.linalg.norm(self.edge_vector, axis=1)

    @cached_property
    def edge_bend(self) -> np.ndarray:
        """(k,) rad, angle between the outward normals of the two faces, + ridge, - valley, 0 elsewhere."""
        bend = np.zeros(self.edge_count)
        shared = self.edge_is_consistent & (self.edge_length > 0)
        left, right = self.edge_faces[shared].T
        along = self.edge_vector[shared] / self.edge_length[shared, None]
        turn = np.cross(self.face_normal[left], self.face_normal[right])
        sine = np.einsum("ij,ij->i", turn, along)
        cosine = np.einsum("ij,ij->i", self.face_normal[left], self.face_normal[right])
        bend[shared] = np.arctan2(sine, cosine)
        return bend

    @cached_property
    def size(self) -> np.ndarray:
        """(3,) mm, width, depth and height of the box around the shell."""
        return np.ptp(self.vertices, axis=0)

    @cached_property
    def _triangulation(self) -> tuple[np.ndarray, np.ndarray]:
        return triangulate_faces(self.vertices, self.corner_vertex, self.face_start)

    @property
    def triangles(self) -> np.ndarray:
        """(m, 3) int, the faces split into triangles without new vertices."""
        return self._triangulation[0]

    @property
    def triangle_face(self) -> np.ndarray:
        """(m,) int, the face each triangle comes from."""
        return self._triangulation[1]

    @cached_property
    def triangle_corner(self) -> np.ndarray:
        """(m, 3) int, the corner of its face at each corner of a triangle."""
        # each (face, vertex) pair is one corner, because a face names a vertex once
        base = len(self.vertices)
        keys = self.corner_face * base + self.corner_vertex
        order = np.argsort(keys)
        return order[np.searchsorted(keys[order], self.triangle_face[:, None] * base + self.triangles)]

    def triangles_of(self, faces: np.ndarray) -> np.ndarray:
        """Numbers of the triangles of `faces` (p,) int, sorted."""
        return np.flatnonzero(self.marked(faces)[self.triangle_face])

    @cached_property
    def triangle_angle(self) -> np.ndarray:
        """(m, 3) rad, the angle of each triangle at each of its corners."""
        return corner_angles(self.vertices, self.triangles)

    @cached_property
    def triangle_classes(self) -> list[SizeClass]:
        """The triangles by size, to look for those that are near."""
        return size_classes(self.vertices[self.triangles])

    # --- helpers -------------------------------------------------------------------------------

    def _tag(self, pairs: Iterable[tuple[int, int]] | np.ndarray, what: str) -> np.ndarray:
        pairs = np.asarray(pairs if isinstance(pairs, np.ndarray) else list(pairs), np.int64).reshape(-1, 2)
        tagged = np.zeros(self.edge_count, bool)
        edge = self.edge_between(pairs)
        if (edge < 0).any():
            low, high = pairs[int(np.argmin(edge))]
            raise MeshError(
                f"'{self.name}': the {what} between vertices {low} and {high} is not an edge of any face; "
                f"mark the {what} on an edge of the mesh.",
                vertices=(low, high),
            )
        tagged[edge] = True
        return tagged


def _refuse_unusable(name: str, points: np.ndarray, corner_vertex: np.ndarray, face_start: np.ndarray) -> None:
    if not len(points) or len(face_start) < 2:
        raise MeshError(f"'{name}' has no faces; choose an object with a modelled surface.")
    wild = np.flatnonzero(~np.isfinite(points).all(axis=1))
    if len(wild):
        raise MeshError(
            f"'{name}': vertex {wild[0]} has a position that is not a number ({len(wild)} in all); "
            "delete these vertices or undo the edit that made them.",
            vertices=wild,
        )
    face = np.repeat(np.arange(len(face_start) - 1), np.diff(face_start))
    unknown = face[(corner_vertex < 0) | (corner_vertex >= len(points))]
    if len(unknown):
        raise MeshError(f"'{name}': face {unknown[0]} uses a vertex that does not exist.", faces=(int(unknown[0]),))
    order = np.lexsort((corner_vertex, face))
    again = (np.diff(face[order]) == 0) & (np.diff(corner_vertex[order]) == 0)
    narrow = np.union1d(np.flatnonzero(np.diff(face_start) < 3), face[order[1:][again]])
    if len(narrow):
        raise MeshError(
            f"'{name}': face {narrow[0]} has fewer than three different corners; dissolve or delete it.",
            faces=(int(narrow[0]),),
        )
