"""Cut pieces put back together as solids, to measure whether they meet: a computation of its own.

Nothing here asks the joints for a bevel or a bend. A piece is known by its two outlines on the flat, its
thickness, and the place of its outside face on the shell; the rest is lines, rotations and polygons in space.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from foamwright.core.corner_trims import Corners, find_corners
from foamwright.core.flatten import flatten_pieces
from foamwright.core.folds import FoldRun, find_folds
from foamwright.core.grooves import with_mouths
from foamwright.core.joints import JointRun, both_outlines, joint_runs
from foamwright.core.pieces import Piece, cut_pieces
from foamwright.core.progress import finish
from foamwright.core.settings import Settings
from foamwright.core.shell import Shell
from scipy.optimize import linprog
from scipy.spatial import ConvexHull

FAR_MM = 25.0
"""How much of each piece a cross-section shows."""


@dataclass(frozen=True, eq=False)
class Cut:
    """A shell walked as far as its outlines; `outside` and `inside` are closed rings (r, 2) mm per piece."""

    shell: Shell
    pieces: Sequence[Piece]
    flats: Sequence[np.ndarray]
    joints: Sequence[JointRun]
    folds: Sequence[tuple[FoldRun, ...]]
    outside: Sequence[tuple[np.ndarray, ...]]
    inside: Sequence[tuple[np.ndarray, ...]]


def cut(shell: Shell, settings: Settings, face_names: Sequence[str] | None = None) -> Cut:
    pieces, _ = cut_pieces(shell, settings, face_names)
    folds = [find_folds(shell, piece, settings) for piece in pieces]
    flats = [flat.vertices for flat in finish(flatten_pieces(shell, pieces, folds, settings))]
    return with_rule(Cut(shell, pieces, flats, (), folds, (), ()), settings)


def with_rule(known: Cut, settings: Settings, *, trimmed: bool = True) -> Cut:
    """The same flats with joints by other settings: how pieces meet does not change how they lie flat."""
    joints = joint_runs(known.shell, known.pieces, known.flats, settings)
    corners = find_corners(known.shell, known.pieces, known.flats, joints) if trimmed else Corners((), ())
    pairs = [
        both_outlines(piece, flat, joints, cut_off=corners.cuts_of(piece.name))
        for piece, flat in zip(known.pieces, known.flats, strict=True)
    ]
    folds = [
        with_mouths(known.shell, piece.patch, flat, folds, inside)
        for piece, flat, folds, (_, inside) in zip(known.pieces, known.flats, known.folds, pairs, strict=True)
    ]
    outside, inside = zip(*pairs, strict=True)
    return Cut(known.shell, known.pieces, known.flats, joints, folds, outside, inside)


# --- flat-faced pieces, whole ------------------------------------------------------------------


def solid_of(cut: Cut, number: int) -> tuple[np.ndarray, np.ndarray]:
    """Corners in space (n, 3) of the outside and of the inside face of a piece that is one plane face."""
    piece, flat = cut.pieces[number], cut.flats[number]
    there = cut.shell.vertices[piece.patch.shell_vertex]
    # the rigid motion that lays the flat on the shell (Kabsch, A solution for the best rotation to relate two
    # sets of vectors, Acta Crystallographica A32, 1976)
    here = np.column_stack([flat, np.zeros(len(flat))])
    u, _, vt = np.linalg.svd((here - here.mean(axis=0)).T @ (there - there.mean(axis=0)))
    turn = u @ np.diag([1, 1, np.sign(np.linalg.det(u @ vt))]) @ vt

    def place(ring: np.ndarray, depth: float) -> np.ndarray:
        lifted = np.column_stack([ring[:-1], np.full(len(ring) - 1, -depth)])
        return (lifted - here.mean(axis=0)) @ turn + there.mean(axis=0)

    return place(cut.outside[number][0], 0.0), place(cut.inside[number][0], piece.stock.thickness_mm)


def penetration(one: np.ndarray, other: np.ndarray) -> float:
    """Diameter in mm of the largest ball that fits into both of two convex solids, given by their corners (n, 3)."""
    planes = np.vstack([ConvexHull(solid).equations for solid in (one, other)])
    rows = np.column_stack([planes[:, :3], np.ones(len(planes))])
    found = linprog((0, 0, 0, -1), rows, -planes[:, 3], bounds=[(None, None)] * 4)
    return 2 * float(found.x[3]) if found.success else 0.0


# --- cross-sections ----------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class Section:
    """Two pieces where they meet, cut square to the edge at its middle; coordinates in mm in that plane, the
    outside edge at the origin.

    a, b : (4, 2) corners of each piece's section: outside edge, far outside, far inside, inside edge
    """

    a: np.ndarray
    b: np.ndarray
    edge: int

    @property
    def face_distance(self) -> float:
        """How far in mm the two cut faces lie apart, at most (Hausdorff)."""
        one, other = (shapely.LineString([side[0], side[3]]) for side in (self.a, self.b))
        return float(shapely.hausdorff_distance(one, other, densify=0.1))

    @property
    def inside_mismatch(self) -> float:
        """What the inside faces have too much (+, they overlap) or too little (-, they gape) to end in one line."""
        corner = _crossing(self.a[2], self.a[3], self.b[2], self.b[3])
        return sum(_beyond(side[2], side[3], corner) for side in (self.a, self.b))

    @property
    def bend_deg(self) -> float:
        """Turn from one outside face to the other, seen in the plane of the section."""
        one, other = -self.a[1], self.b[1]
        return abs(float(np.degrees(np.arctan2(one[0] * other[1] - one[1] * other[0], one @ other))))

    @property
    def overlap_mm(self) -> float:
        """Length of both inside faces that lies within the other piece, measured on the polygons."""
        one, other = shapely.Polygon(self.a), shapely.Polygon(self.b)
        faces = (shapely.LineString(self.a[2:4]), other), (shapely.LineString(self.b[2:4]), one)
        return float(sum(face.intersection(piece).length for face, piece in faces))


def sections(cut: Cut) -> list[Section]:
    """Where pieces meet: a section in the middle of every seam edge whose inside line is there to be found."""
    sides: dict[int, list[tuple[np.ndarray, np.ndarray, float, float]]] = {}
    shell = cut.shell
    for number, piece in enumerate(cut.pieces):
        rings = shapely.MultiLineString([shapely.LineString(ring) for ring in cut.inside[number]])
        for loop, edges in zip(piece.patch.loops, piece.patch.loop_edges, strict=True):
            ends = np.roll(loop, -1)
            for start, end, edge in zip(loop.tolist(), ends.tolist(), edges.tolist(), strict=True):
                if not shell.edge_is_consistent[edge]:
                    continue
                setback = _setback(cut.flats[number][start], cut.flats[number][end], rings, piece.stock.thickness_mm)
                here, there = (shell.vertices[piece.patch.shell_vertex[v]] for v in (start, end))
                normal = _normal_beside(shell, piece, start, end)
                inward = np.cross(normal, (there - here) / np.linalg.norm(there - here))
                sides.setdefault(edge, []).append((inward, normal, setback, piece.stock.thickness_mm))
    return [
        _section(edge, *pair) for edge, pair in sides.items() if len(pair) == 2 and np.isfinite(pair[0][2] + pair[1][2])
    ]


def groove_gaps(cut: Cut, number: int, fold: FoldRun) -> np.ndarray:
    """(k,) mm per edge of a groove: how far the two lips of its mouth lie apart when the piece is bent.

    Each face runs from the root of the groove, `depth` from the inside face, to where the mouth ends beside the
    middle of the edge; the two are turned against each other by the angle between the shell's faces there.
    """
    flat = cut.flats[number]
    mouth = shapely.MultiLineString([shapely.LineString(ring) for ring in fold.mouth])
    gaps = []
    for start, end, edge in zip(fold.path[:-1], fold.path[1:], fold.edges.tolist(), strict=True):
        lips = []
        for ends in ((flat[start], flat[end]), (flat[end], flat[start])):
            lips.append((_setback(*ends, mouth, fold.depth_mm, one_way=True), fold.depth_mm))
        one, other = (shell_normal(cut.shell, face) for face in cut.shell.edge_faces[edge].tolist())
        turn = np.arccos(np.clip(one @ other, -1, 1)) / 2
        # the left lip turned clockwise and the right one counter-clockwise meet in the middle
        near = [np.array([c * np.cos(turn) - d * np.sin(turn), c * np.sin(turn) + d * np.cos(turn)]) for c, d in lips]
        gaps.append(near[0][0] + near[1][0])
    return np.array(gaps)


def shell_normal(shell: Shell, face: int) -> np.ndarray:
    ring = shell.vertices[shell.face(face)]
    area = sum(np.cross(ring[i - 1] - ring[0], ring[i] - ring[0]) for i in range(2, len(ring)))
    return area / np.linalg.norm(area)


def _section(edge: int, one: tuple, other: tuple) -> Section:
    # axes of the plane: along the first piece, and against its normal
    x, y = one[0], one[1]

    def corners(inward: np.ndarray, normal: np.ndarray, setback: float, thickness: float) -> np.ndarray:
        spots = [
            0 * inward,
            FAR_MM * inward,
            FAR_MM * inward - thickness * normal,
            setback * inward - thickness * normal,
        ]
        return np.array([(spot @ x, spot @ y) for spot in spots])

    return Section(corners(*one), corners(*other), edge)


def _setback(
    start: np.ndarray, end: np.ndarray, rings: shapely.Geometry, thickness: float, *, one_way: bool = False
) -> float:
    """How far the nearest of the rings lies to the left of the middle of a step, measured square to it, or to the
    right (-) unless one_way; nan if nowhere near."""
    middle, along = (start + end) / 2, (end - start) / np.linalg.norm(end - start)
    inward = np.array([-along[1], along[0]])
    reach = 4 * thickness
    back = 0.0 if one_way else reach
    ray = shapely.LineString([middle - back * inward, middle + reach * inward])
    hits = shapely.get_coordinates(shapely.intersection(ray, rings))
    if not len(hits):
        return float("nan")
    place = (hits - middle) @ inward
    return float(place[np.argmin(np.abs(place))])


def _normal_beside(shell: Shell, piece: Piece, start: int, end: int) -> np.ndarray:
    """Outward unit normal of the piece's own face at a rim step."""
    for triangle, face in zip(piece.patch.triangles.tolist(), piece.patch.triangle_face.tolist(), strict=True):
        if start in triangle and triangle[(triangle.index(start) + 1) % 3] == end:
            return shell_normal(shell, face)
    raise AssertionError("a rim step without a triangle")


def _crossing(a: np.ndarray, b: np.ndarray, c: np.ndarray, d: np.ndarray) -> np.ndarray:
    """Where the line through a and b meets the line through c and d; the middle of b and d if they run alike."""
    matrix = np.stack([b - a, c - d], axis=1)
    if abs(np.linalg.det(matrix)) < 1e-9 * np.linalg.norm(b - a) * np.linalg.norm(d - c):
        return (b + d) / 2
    return a + np.linalg.solve(matrix, c - a)[0] * (b - a)


def _beyond(far: np.ndarray, end: np.ndarray, corner: np.ndarray) -> float:
    """How far the line from `far` runs on past `corner` to `end`; negative if it ends short of it."""
    along = (end - far) / np.linalg.norm(end - far)
    return float((end - corner) @ along)
