"""Left and right: the mirror plane of a shell, and which vertex and face mirrors which."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import KDTree

from .progress import Progress, Steps, even, finish, share
from .shell import Shell

STAGE = "Looking for left and right"

SAME_PLANE = 1e-3
"""Part of the tolerance within which two planes are one."""

MATCH_TOLERANCE = 1e-4
"""Part of the shell's largest dimension within which two places are one: 0.03 mm on a helmet, far under
what a knife can follow, far over the rounding of single-precision positions."""


@dataclass(frozen=True, eq=False)
class MirrorMap:
    """A plane at `offset` mm on `axis` and the elements that mirror each other across it.

    vertex : (n,) int and face : (f,) int, the mirror image of each, -1 where it has none
    """

    axis: int
    offset: float
    vertex: np.ndarray
    face: np.ndarray


def mirror_map(shell: Shell, axis: int = 0) -> MirrorMap | None:
    """As `finding_mirror`, at once."""
    return finish(finding_mirror(shell, axis))


def finding_mirror(shell: Shell, axis: int = 0) -> Steps[MirrorMap | None]:
    """The mirror plane across `axis`, or None when under half of the faces have a mirror image. Yields Progress.

    Tries the middle of the shell's box, the middle of its surface and the origin, and keeps the plane that
    pairs most faces, so a one-sided ornament does not hide the symmetry of the rest.
    """
    low, high = shell.vertices[:, axis].min(), shell.vertices[:, axis].max()
    area = shell.face_area.sum() or 1.0
    middle = float(shell.face_centre[:, axis] @ shell.face_area / area)
    tolerance = MATCH_TOLERANCE * float(shell.size.max())
    offsets: list[float] = []
    for offset in ((low + high) / 2, middle, 0.0):
        if all(abs(offset - other) > SAME_PLANE * tolerance for other in offsets):
            offsets.append(float(offset))
    yield Progress(STAGE, 0.0)
    trees = _Trees.of(shell, tolerance)
    best: MirrorMap | None = None
    for offset, (first, last) in zip(offsets, even(len(offsets)), strict=True):
        found = yield from share(_across(shell, axis, offset, trees, tolerance), first, last)
        if best is None or (found.face >= 0).sum() > (best.face >= 0).sum():
            best = found
    assert best is not None
    return best if 2 * (best.face >= 0).sum() >= shell.face_count else None


@dataclass(frozen=True, eq=False)
class _Trees:
    """What mirrored places are looked up in: vertices, and face centres pushed a little along their normals, so that of
    two faces at one place, as of a panel with two sides, the one that looks the right way is found.

    places : (n,) int, the same number for vertices at the same place
    """

    vertices: KDTree
    faces: KDTree
    places: np.ndarray

    @classmethod
    def of(cls, shell: Shell, tolerance: float) -> _Trees:
        vertices = KDTree(shell.vertices)
        pairs = vertices.query_pairs(tolerance, output_type="ndarray")
        graph = coo_array((np.ones(len(pairs)), pairs.T), shape=(len(shell.vertices),) * 2)
        faces = KDTree(np.hstack([shell.face_centre, tolerance / 4 * shell.face_normal]))
        return cls(vertices, faces, connected_components(graph, directed=False)[1])


def _across(shell: Shell, axis: int, offset: float, trees: _Trees, tolerance: float) -> Steps[MirrorMap]:
    flip = np.ones(3)
    flip[axis] = -1
    shift = np.zeros(3)
    shift[axis] = 2 * offset

    def nearest(tree: KDTree) -> np.ndarray:
        images = tree.data * np.resize(flip, tree.m)
        images[:, :3] += shift
        distance, found = tree.query(images, distance_upper_bound=tolerance)
        return np.where(np.isfinite(distance), found, -1)

    yield Progress(STAGE, 0.0)
    face = nearest(trees.faces)
    yield Progress(STAGE, 0.4)
    vertex_nearby = nearest(trees.vertices)
    yield Progress(STAGE, 0.8)
    place = np.where(vertex_nearby >= 0, trees.places[vertex_nearby], -1)
    corner = _mirror_corners(shell, face, trees.places, place)
    whole = np.logical_and.reduceat(corner >= 0, shell.face_start[:-1])
    face = np.where(whole & (np.diff(shell.face_start) == np.diff(shell.face_start)[face]), face, -1)
    face = _mutual(face)
    vertex = _mutual(_corner_images(shell, face, corner))
    # where vertices or faces lie on top of each other, some may have been paired crosswise
    agrees = vertex[shell.corner_vertex] == shell.corner_vertex[corner]
    face = _mutual(np.where(np.logical_and.reduceat(agrees, shell.face_start[:-1]), face, -1))
    return MirrorMap(axis, offset, _corner_images(shell, face, corner), face)


def _mutual(image: np.ndarray) -> np.ndarray:
    """(n,) int, images of elements that are the images of theirs, -1 for others."""
    return np.where((image >= 0) & (image[image] == np.arange(len(image))), image, -1)


def _corner_images(shell: Shell, face: np.ndarray, corner: np.ndarray) -> np.ndarray:
    """(n,) int, the image of each vertex as its faces' corners have it, -1 where no face has an image."""
    vertex = np.full(len(shell.vertices), -1)
    kept = face[shell.corner_face] >= 0
    vertex[shell.corner_vertex[kept]] = shell.corner_vertex[corner[kept]]
    return vertex


def _mirror_corners(shell: Shell, face: np.ndarray, places: np.ndarray, image: np.ndarray) -> np.ndarray:
    """(c,) int, the corner of the mirrored face at the mirrored place, -1 where there is none.

    Goes by the face, not by the nearest vertex: along a slit two vertices share one place.
    """
    base = places.max() + 1
    keys = shell.corner_face * base + places[shell.corner_vertex]
    order = np.argsort(keys, kind="stable")
    wanted_face, wanted_place = face[shell.corner_face], image[shell.corner_vertex]
    wanted = wanted_face * base + wanted_place
    slot = np.minimum(np.searchsorted(keys[order], wanted), len(keys) - 1)
    found = (keys[order][slot] == wanted) & (wanted_face >= 0) & (wanted_place >= 0)
    return np.where(found, order[slot], -1)
