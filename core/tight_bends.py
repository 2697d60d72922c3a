"""Smooth bends tighter than the foam stands, and the rows of relief kerfs that let it follow them.

A kerf of width k and depth d, cut into the inside face, closes by 2 atan(k / (2 d)); a bend by A takes
ceil(A / closing) of them, spread evenly over its arc (kerf bending, exact form of the k / d of public
calculators; computed from the triangle that closes).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from shapely import LineString, Polygon

from .folds import FoldRun, inner_edges
from .outline import parts_of
from .pieces import Piece
from .settings import Settings
from .shell import Shell

LEAST_TURN_DEG = 20.0
"""A stretch that turns less than this in all is a dent of the mesh, not a bend."""

LEAST_BEND = 1e-3
"""rad, under which an edge is flat."""

STATIONS = 15
"""Places along a bend at which its turn and its arc are measured."""

NO_WEB = 1.5
"""Kerfs closer than this, in kerf widths, leave no foam between them."""


@dataclass(frozen=True, eq=False)
class TightBend:
    """A smooth bend of a piece whose inside radius is under what its stock allows.

    path : (v,) int, patch vertices in it; edges : (k,) int, shell edges
    bend_deg : turn across it at its strongest place, + ridge, - valley; arc_mm : length of that turn along the
        shell; radius_mm : inside radius there
    treatment : "heat-form" or "kerfs"; for kerfs their count, spacing, depth from the inside face and width,
        else 0; hinge_depth_mm : depth of the layer that keeps its length
    kerfs : closed rings (r, 2) mm, the kerfs on the flat; none before the piece lies flat
    """

    piece: str
    path: np.ndarray
    edges: np.ndarray
    bend_deg: float
    arc_mm: float
    radius_mm: float
    treatment: str
    count: int
    spacing_mm: float
    depth_mm: float
    kerf_mm: float
    hinge_depth_mm: float
    kerfs: tuple[np.ndarray, ...] = ()

    @property
    def leaves_no_web(self) -> bool:
        """Whether the kerfs would stand so close that nothing is left between them."""
        return self.treatment == "kerfs" and self.spacing_mm < NO_WEB * self.kerf_mm


def kerf_closing(kerf_mm: float, depth_mm: float) -> float:
    """rad, by how much one kerf lets the foam bend until it is closed."""
    return 2 * float(np.arctan(kerf_mm / (2 * depth_mm)))


def kerf_count(bend: float, kerf_mm: float, depth_mm: float) -> int:
    """How many kerfs a bend (rad) takes."""
    return int(np.ceil(bend / kerf_closing(kerf_mm, depth_mm) - 1e-9))


def find_tight_bends(shell: Shell, piece: Piece, folds: Sequence[FoldRun], settings: Settings) -> tuple[TightBend, ...]:
    """Connected stretches of a piece, folds left out, that bend tighter than its stock allows.

    The bend of an edge counts over half of each face beside it. A valley can only be heat-formed: kerfs on the
    inside face would open.
    """
    stock = piece.stock
    pairs, edges = inner_edges(shell, piece.patch)
    bend = shell.edge_bend[edges]
    halves = _halves(shell, edges)
    arc = halves.sum(axis=1)
    folded = np.isin(edges, np.concatenate([np.empty(0, np.int64), *(fold.edges for fold in folds)]))
    with np.errstate(divide="ignore"):
        radius = arc / np.abs(bend)
    # on a ridge the modelled outside face is the long one
    hollow = bend < 0 if not settings.model_is_inside else bend > 0
    inside = np.where(hollow, radius, radius - stock.thickness_mm)
    tight = ~folded & (inside < stock.tightest_bend * stock.thickness_mm)
    bends = []
    for members in _stretches(shell, edges, bend, np.flatnonzero(tight)):
        # where the bend begins and ends a mesh turns by half a step: those edges count on one side
        brim = _brim(shell, edges, bend, members, np.flatnonzero(~tight & ~folded))
        within = np.isin(shell.edge_faces[edges[brim]], shell.edge_faces[edges[members]])
        chosen = np.concatenate([members, brim])
        lengths = np.concatenate([arc[members], (halves[brim] * within).sum(axis=1)])
        turn, length = _strongest(shell, edges[chosen], bend[chosen], lengths)
        if turn < np.radians(LEAST_TURN_DEG):
            continue
        sign = 1 if bend[members[0]] > 0 else -1
        outer = length / turn - (0.0 if hollow[members[0]] else stock.thickness_mm)
        kerfs = settings.tight_bends_of(piece.name) == "kerfs" and sign > 0
        depth = stock.thickness_mm - stock.skin_mm
        count = kerf_count(turn, stock.kerf_mm, depth) if kerfs else 0
        bends.append(
            TightBend(
                piece=piece.name,
                path=np.unique(pairs[chosen]),
                edges=np.sort(edges[chosen]),
                bend_deg=sign * float(np.degrees(turn)),
                arc_mm=length,
                radius_mm=outer,
                treatment="kerfs" if kerfs else "heat-form",
                count=count,
                spacing_mm=length / count if kerfs else 0.0,
                depth_mm=depth if kerfs else 0.0,
                kerf_mm=stock.kerf_mm if kerfs else 0.0,
                hinge_depth_mm=stock.skin_mm / 2 if kerfs else stock.neutral_depth * stock.thickness_mm,
            )
        )
    return tuple(bends)


def with_kerfs(
    shell: Shell, piece: Piece, flat: np.ndarray, bends: Sequence[TightBend], inside: Sequence[np.ndarray]
) -> tuple[TightBend, ...]:
    """The bends of one piece with their kerfs on the flat (v, 2) mm: straight, along the bend, evenly spread over
    its arc, and no further than the bend and the inside face (rings `inside`) go."""
    face = Polygon(inside[0], inside[1:]).buffer(0) if inside else Polygon()
    return tuple(
        replace(bend, kerfs=_kerfs(shell, piece, flat, bend, face)) if bend.treatment == "kerfs" else bend
        for bend in bends
    )


# --- helpers -----------------------------------------------------------------------------------


def _halves(shell: Shell, edges: np.ndarray) -> np.ndarray:
    """(k, 2) mm, half the height of either face over each edge; a bend reaches no further into a wide face than
    into the narrow one across the edge."""
    start = shell.vertices[shell.edges[edges, 0]]
    along = shell.edge_vector[edges] / shell.edge_length[edges, None]
    height = np.empty((len(edges), 2))
    for side in (0, 1):
        for number, face in enumerate(shell.edge_faces[edges, side].tolist()):
            spoke = shell.vertices[shell.face(face)] - start[number]
            height[number, side] = np.linalg.norm(np.cross(spoke, along[number]), axis=1).max()
    return np.minimum(height, height[:, ::-1]) / 2


def _stretches(shell: Shell, edges: np.ndarray, bend: np.ndarray, tight: np.ndarray) -> list[np.ndarray]:
    """Positions in `edges` of tight edges that hang together: they bend the same way and share a face or an end."""
    if not len(tight):
        return []
    count = shell.face_count + len(shell.vertices)
    touched = np.hstack([shell.edge_faces[edges[tight]], shell.face_count + shell.edges[edges[tight]]])
    nodes = touched + count * (bend[tight] > 0)[:, None]
    first = np.repeat(nodes[:, 0], 3)
    graph = coo_array((np.ones(len(first)), (first, nodes[:, 1:].ravel())), shape=(2 * count, 2 * count))
    label = connected_components(graph, directed=False)[1][nodes[:, 0]]
    return [tight[label == number] for number in dict.fromkeys(label.tolist())]


def _brim(shell: Shell, edges: np.ndarray, bend: np.ndarray, members: np.ndarray, others: np.ndarray) -> np.ndarray:
    """Positions in `edges` of those `others` that bend the same way in a face beside the stretch `members`."""
    beside = np.isin(shell.edge_faces[edges[others]], shell.edge_faces[edges[members]]).any(axis=1)
    return others[beside & (bend[others] * np.sign(bend[members[0]]) > LEAST_BEND)]


def _strongest(shell: Shell, edges: np.ndarray, bend: np.ndarray, arc: np.ndarray) -> tuple[float, float]:
    """Turn in rad, and arc in mm, across the stretch at the place along it where it turns most."""
    vector, weight = shell.edge_vector[edges], np.abs(bend)
    spread = np.einsum("ki,kj,k->ij", vector, vector, weight / shell.edge_length[edges])
    axis = np.linalg.eigh(spread)[1][:, -1]
    ends = np.sort(shell.vertices[shell.edges[edges]] @ axis, axis=1)
    low, high = ends.min(), ends.max()
    places = low + (high - low) * (np.arange(STATIONS) + 0.5) / STATIONS
    crossed = (ends[:, :1] <= places) & (places < ends[:, 1:])
    # an edge aslant to the bend turns it by less
    share = np.abs(vector @ axis) / shell.edge_length[edges]
    turns, arcs = (weight * share) @ crossed, (arc * share) @ crossed
    most = int(np.argmax(turns))
    return float(turns[most]), float(arcs[most])


def _kerfs(shell: Shell, piece: Piece, flat: np.ndarray, bend: TightBend, face: shapely.Geometry) -> tuple:
    patch = piece.patch
    beside = np.isin(patch.triangle_face, shell.edge_faces[bend.edges])
    region = shapely.union_all(shapely.polygons(flat[patch.triangles[beside]])).buffer(1e-6)
    room = shapely.intersection(region, face)
    corners = flat[patch.triangles[beside]]
    sides = patch.shell_vertex[patch.triangles[beside]]
    pairs = np.concatenate([sides[:, [i, (i + 1) % 3]] for i in range(3)])
    steps = np.concatenate([np.stack([corners[:, i], corners[:, (i + 1) % 3]], axis=1) for i in range(3)])
    chosen = np.isin(shell.edge_between(pairs), bend.edges)
    vector, middle = steps[chosen, 1] - steps[chosen, 0], steps[chosen].mean(axis=1)
    axis = np.linalg.eigh(vector.T @ vector)[1][:, -1]
    across = np.array([-axis[1], axis[0]])
    low, high = (middle @ across).min(), (middle @ across).max()
    reach = float(np.ptp(flat, axis=0).sum())
    centre = middle.mean(axis=0) + ((low + high) / 2 - middle.mean(axis=0) @ across) * across
    rings = []
    for place in (np.arange(bend.count) - (bend.count - 1) / 2) * bend.spacing_mm:
        foot = centre + place * across
        line = shapely.intersection(LineString([foot - reach * axis, foot + reach * axis]), room)
        lines = [
            part for part in shapely.get_parts(line) if isinstance(part, LineString) and part.length > bend.kerf_mm
        ]
        for part in lines:
            slot = shapely.intersection(part.buffer(bend.kerf_mm / 2, cap_style="flat"), face)
            rings += [np.array(polygon.exterior.coords) for polygon in parts_of(slot)]
    return tuple(rings)
