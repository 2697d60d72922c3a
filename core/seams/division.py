"""A shell divided by seams: what may be cut and at what price, the seams so far, and the pieces they make."""

from __future__ import annotations

import numpy as np
from scipy.sparse import csr_array
from scipy.sparse.csgraph import connected_components

from ..patch import Patch, cut_patch
from ..shell import Shell
from .twins import Twins


class Division:
    """Seams that change; where the shell mirrors itself, they come with their images.

    kept : (k,) bool, the maker's seams, which stay; inner : (k,) bool, edges that join two faces
    free : (k,) bool, edges that may be cut; price : (k,) mm, what a cut along each counts for, infinite on others
    seam : (k,) bool, the cuts so far; label : (f,) int, the piece of each face
    """

    def __init__(self, shell: Shell, kept: np.ndarray, price: np.ndarray) -> None:
        self.shell, self.twins = shell, Twins.of(shell)
        self.inner = shell.edge_is_consistent
        self.kept = kept & self.inner
        if not np.array_equal(self.mirrored(self.kept), self.kept):
            self.twins = None  # the maker cut left and right differently: neither side speaks for the other
        if self.twins is not None:
            price = (price + price[self.twins.edge]) / 2
        self.free = self.inner & ~self.kept & np.isfinite(price)
        self.price = np.where(self.free, price, np.inf)
        # the graph of faces, row by row: per corner the face across its edge, if that joins the two
        self._joins = self.inner[shell.corner_edge]
        self._beside = shell.corner_face[shell.corner_across].astype(np.int32)
        self._pieces: dict[tuple[bytes | None, bytes], list[np.ndarray]] = {}
        self._within: dict[bytes, np.ndarray] = {}
        self.seam = self.kept.copy()

    @property
    def seam(self) -> np.ndarray:
        return self._seam

    @seam.setter
    def seam(self, seam: np.ndarray) -> None:
        self._seam = seam
        label = np.empty(self.shell.face_count, np.int64)
        for number, faces in enumerate(self.pieces(seam=seam)):
            label[faces] = number
        self.label = label

    def with_cut(self, edges: np.ndarray) -> np.ndarray:
        seam = self.seam.copy()
        seam[self.with_images(edges)] = True
        return seam

    def without(self, edges: np.ndarray) -> np.ndarray:
        seam = self.seam.copy()
        seam[self.with_images(edges)] = False
        return seam | self.kept

    def mirrored(self, mask: np.ndarray) -> np.ndarray:
        """(k,) bool, edges of the mask and their mirror images."""
        return mask if self.twins is None else mask | mask[self.twins.edge]

    def with_images(self, edges: np.ndarray) -> np.ndarray:
        """Edge numbers with those of their mirror images."""
        return edges if self.twins is None else np.unique(np.append(edges, self.twins.edge[edges]))

    def with_twin_faces(self, faces: np.ndarray) -> np.ndarray:
        """Faces with their mirror images, sorted."""
        return np.unique(faces if self.twins is None else np.append(faces, self.twins.face[faces]))

    def is_own(self, run: np.ndarray) -> bool:
        """Whether a run is the one of two mirror images to work on."""
        return self.twins is None or run.min() <= self.twins.edge[run].min()

    # --- pieces ----------------------------------------------------------------------------------

    def pieces(self, faces: np.ndarray | None = None, seam: np.ndarray | None = None) -> list[np.ndarray]:
        """Faces that hang together, each piece (p,) int sorted; all of the shell or `faces` of it."""
        seam = self.seam if seam is None else seam
        key = None if faces is None else faces.tobytes(), seam.tobytes()
        if key not in self._pieces:
            self._pieces[key] = self._find_pieces(faces, seam)
        return list(self._pieces[key])

    def _find_pieces(self, faces: np.ndarray | None, seam: np.ndarray) -> list[np.ndarray]:
        shell = self.shell
        joins = self._joins & ~seam[shell.corner_edge]
        if faces is not None:
            within = shell.marked(faces)
            joins &= within[shell.corner_face] & within[self._beside]
        start = np.zeros(len(joins) + 1, np.int32)
        np.cumsum(joins, out=start[1:])
        beside, start = self._beside[joins], start[shell.face_start]
        graph = csr_array((np.ones(len(beside)), beside, start), shape=(shell.face_count,) * 2)
        # every join is there from both sides, so that strong components are the pieces, and found in half the time,
        # but only where two faces that share two edges are joined once
        graph.sum_duplicates()
        label = connected_components(graph, connection="strong")[1]
        faces = np.arange(shell.face_count) if faces is None else faces
        order = np.argsort(label[faces], kind="stable")
        pieces = np.split(faces[order], np.flatnonzero(np.diff(label[faces[order]])) + 1)
        return sorted((piece for piece in pieces if len(piece)), key=lambda piece: int(piece[0]))

    def own_pieces(self, pieces: list[np.ndarray]) -> list[np.ndarray]:
        """One of every two pieces that mirror each other, the left one, and all others."""
        if self.twins is None:
            return pieces
        label = np.full(self.shell.face_count, -1)
        for number, faces in enumerate(pieces):
            label[faces] = number
        own = []
        for number, faces in enumerate(pieces):
            twin = int(label[self.twins.face[faces[0]]])
            if twin in (-1, number) or len(pieces[twin]) != len(faces) or self._leftness(faces) >= 0:
                own.append(faces)
        return own

    def _leftness(self, faces: np.ndarray) -> int:
        assert self.twins is not None
        corner = self.shell.marked(faces)[self.shell.corner_face]
        on_left = self.twins.left[self.shell.corner_vertex[corner]]
        return int(on_left.sum() - (~on_left).sum())

    def around(self, edges: np.ndarray) -> np.ndarray:
        """(p,) int sorted, faces of all pieces beside some edges."""
        beside = np.zeros(self.shell.face_count, bool)
        beside[self.label[self.shell.edge_faces[edges]]] = True
        return np.flatnonzero(beside[self.label])

    def edges_within(self, faces: np.ndarray) -> np.ndarray:
        """Edges with both faces among `faces`."""
        key = faces.tobytes()
        if key not in self._within:
            self._within[key] = np.flatnonzero(self.shell.marked(faces)[self.shell.edge_faces].all(axis=1) & self.inner)
        return self._within[key]

    def inner_edges(self, faces: np.ndarray) -> np.ndarray:
        """Those of them that may be cut."""
        within = self.edges_within(faces)
        return within[self.free[within]]

    def patch(self, faces: np.ndarray, seam: np.ndarray) -> tuple[Patch, np.ndarray]:
        """The patch of some faces and where its vertices are, (v, 3) mm."""
        patch = cut_patch(self.shell, faces, seam)
        return patch, self.shell.vertices[patch.shell_vertex]
