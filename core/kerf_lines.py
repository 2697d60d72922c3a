"""Where relief kerfs and scores lie on the flat: along the straight lines of their bend, each with its share of turn.

A bend of sheet has a straight line through each point (a ruling), along which its normal does not change. So the lines
of equal normal are the rulings: side by side on a cylinder, through the apex on a cone.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np
import shapely
from shapely import LineString, Polygon

from .outline import parts_of
from .patch import Patch
from .pieces import Piece
from .shell import Shell
from .tight_bends import TightBend

END_PART = 0.02
"""Faces whose normals are within this part of the turn of its end are where the bend ends."""


SQUARELY = 8
"""Power by which sides count less the more they slant."""


def with_kerfs(
    shell: Shell, piece: Piece, flat: np.ndarray, bends: Sequence[TightBend], inside: Sequence[np.ndarray]
) -> tuple[TightBend, ...]:
    """The bends of one piece with their kerfs or scores on the flat (v, 2) mm: straight, each where its share of the
    turn is, and no further than the bend and the inside face (rings `inside`) go."""
    face = Polygon(inside[0], inside[1:]).buffer(0) if inside else Polygon()
    return tuple(_laid(shell, piece, flat, bend, face) if bend.count else bend for bend in bends)


def _laid(shell: Shell, piece: Piece, flat: np.ndarray, bend: TightBend, face: shapely.Geometry) -> TightBend:
    patch = piece.patch
    triangles = np.isin(patch.triangle_face, shell.edge_faces[bend.edges])
    room = shapely.union_all(shapely.polygons(flat[patch.triangles[triangles]])).buffer(1e-6).intersection(face)
    reach = float(np.ptp(flat, axis=0).sum())
    shortest = max(bend.kerf_mm, bend.opening_mm)
    turned = _turned(shell, patch, flat, bend, triangles)
    lines = []
    for level in (np.arange(bend.count) + 0.5) / bend.count:
        ruling = _ruling(flat[patch.triangles[triangles]], turned[patch.triangles[triangles]], level, reach)
        parts = [] if ruling is None else shapely.get_parts(shapely.intersection(ruling, room))
        lines.append([part for part in parts if isinstance(part, LineString) and part.length > shortest])
    drawn = [shapely.MultiLineString(parts) for parts in lines if parts]
    apart = [float(one.centroid.distance(other.centroid)) for one, other in pairwise(drawn)]
    slots = [
        polygon
        for part in (part for parts in lines for part in parts if bend.kerf_mm)
        for polygon in parts_of(part.buffer(bend.kerf_mm / 2, cap_style="flat").intersection(face))
    ]
    return replace(
        bend,
        spacing_mm=float(np.mean(apart)) if apart else bend.spacing_mm,
        least_spacing_mm=min((float(a.distance(b)) for a, b in pairwise(drawn)), default=bend.least_spacing_mm),
        lines=tuple(shapely.get_coordinates(part) for parts in lines for part in parts),
        kerfs=tuple(np.array(polygon.exterior.coords) for polygon in slots),
    )


def _turned(shell: Shell, patch: Patch, flat: np.ndarray, bend: TightBend, triangles: np.ndarray) -> np.ndarray:
    """(v,) how far the bend has turned at each of its vertices, 0 to 1; any number elsewhere.

    Told by where the normals of the faces `triangles` (m,) bool point, seen along the bend; the mean of the faces at a
    vertex, but where the bend ends all of the turn is on its own side.
    """
    edges = bend.edges
    vector, weight = shell.edge_vector[edges], np.abs(shell.edge_bend[edges]) / shell.edge_length[edges]
    axis = np.linalg.eigh(np.einsum("ki,kj,k->ij", vector, vector, weight))[1][:, -1]
    normal = shell.face_normal[patch.triangle_face[triangles]]
    ahead = normal.mean(axis=0) - (normal.mean(axis=0) @ axis) * axis
    aside = np.cross(axis, ahead)
    angle = np.arctan2(normal @ aside, normal @ ahead)
    part = (angle - angle.min()) / np.ptp(angle)
    corners, spread = patch.triangles[triangles], np.repeat(part, 3)
    at, share = corners.ravel(), _corner_angles(flat[corners]).ravel()
    total = np.bincount(at, share, patch.vertex_count)
    turned = np.bincount(at, share * spread, patch.vertex_count) / np.maximum(total, 1e-12)
    turned[at[spread < END_PART]] = 0.0
    turned[at[spread > 1 - END_PART]] = 1.0
    return turned


def _corner_angles(corners: np.ndarray) -> np.ndarray:
    """(m, 3) rad of flat triangles (m, 3, 2)."""
    ahead, behind = np.roll(corners, -1, axis=1) - corners, np.roll(corners, 1, axis=1) - corners
    cross = ahead[..., 0] * behind[..., 1] - ahead[..., 1] * behind[..., 0]
    return np.arctan2(np.abs(cross), np.einsum("mvi,mvi->mv", ahead, behind))


def _ruling(corners: np.ndarray, turned: np.ndarray, level: float, reach: float) -> LineString | None:
    """The straight line nearest to where `turned` (m, 3) is at the level in flat triangles (m, 3, 2); None where it is
    nowhere. It runs on by `reach` mm both ways."""
    side = np.roll(corners, -1, axis=1) - corners
    before, after = turned - level, np.roll(turned, -1, axis=1) - level
    crossed = (before < 0) != (after < 0)
    crossed &= (crossed.sum(axis=1) == 2)[:, None]
    if not crossed.any():
        return None
    points = corners[crossed] + (before[crossed] / (before - after)[crossed])[:, None] * side[crossed]
    length = np.repeat(np.linalg.norm(np.diff(points.reshape(-1, 2, 2), axis=1)[:, 0], axis=1), 2) + 1e-9
    centre, along = _line_through(points, length)
    # halfway on a side that runs slanting from one ruling to the next is not halfway between them
    across = np.abs(side[crossed] @ (-along[1], along[0])) / np.linalg.norm(side[crossed], axis=1)
    centre, along = _line_through(points, length * across**SQUARELY)
    return LineString([centre - reach * along, centre + reach * along])


def _line_through(points: np.ndarray, weight: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """A point and the unit direction of the line nearest to points (n, 2) by total least squares."""
    centre = weight @ points / weight.sum()
    away = points - centre
    return centre, np.linalg.eigh(np.einsum("k,ki,kj->ij", weight, away, away))[1][:, -1]
