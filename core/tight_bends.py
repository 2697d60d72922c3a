"""Smooth bends tighter than the foam stands, and the rows of relief kerfs or scores that let it follow them.

On a ridge the inside face is squeezed: a kerf of width k and depth d, cut into it, closes by 2 atan(k / (2 d)); a bend
by A takes ceil(A / closing) of them, spread over its arc (kerf bending, exact form of the k / d of public calculators;
computed from the triangle that closes). In a valley it is pulled: n scores of depth d open by 2 d tan(A / (2 n)) each,
the same triangle; there are as many as keep each from opening wider than a kerf is cut.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.sparse import csr_array
from scipy.sparse.csgraph import connected_components

from .folds import FoldRun, inner_edges, opening
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
"""Kerfs or scores closer than this, in their widths, leave no foam between them."""


@dataclass(frozen=True, eq=False)
class TightBend:
    """A smooth bend of a piece whose inside radius is under what its stock allows.

    path : (v,) int, patch vertices in it; edges : (k,) int, shell edges
    bend_deg : turn across it at its strongest place, + ridge, - valley; arc_mm : length of that turn along the
        shell; radius_mm : inside radius there
    treatment : "heat-form", "kerfs" (ridge) or "scores" (valley)
    count, depth_mm : of the kerfs or scores, from the inside face; spacing_mm, least_spacing_mm : from one to the
        next, in their middles and where they come nearest; kerf_mm : width of a kerf; opening_mm : what a score opens
        to. All 0 where there is none.
    hinge_depth_mm : depth of the layer that keeps its length
    lines : (2, 2) mm each, the middles of kerfs or scores on the flat; kerfs : closed rings (r, 2) mm, the kerfs
        in their true width; none before the piece lies flat
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
    least_spacing_mm: float
    depth_mm: float
    kerf_mm: float
    opening_mm: float
    hinge_depth_mm: float
    lines: tuple[np.ndarray, ...] = ()
    kerfs: tuple[np.ndarray, ...] = ()

    @property
    def leaves_no_web(self) -> bool:
        """Whether the kerfs or scores would stand so close that nothing is left between them."""
        return self.count > 0 and self.least_spacing_mm < NO_WEB * max(self.kerf_mm, self.opening_mm)


def kerf_closing(kerf_mm: float, depth_mm: float) -> float:
    """rad, by how much one kerf lets the foam bend until it is closed."""
    return 2 * float(np.arctan(kerf_mm / (2 * depth_mm)))


def kerf_count(bend: float, kerf_mm: float, depth_mm: float) -> int:
    """How many kerfs a bend (rad) takes; or scores, of which none opens wider than kerf_mm."""
    return int(np.ceil(bend / kerf_closing(kerf_mm, depth_mm) - 1e-9))


def find_tight_bends(shell: Shell, piece: Piece, folds: Sequence[FoldRun], settings: Settings) -> tuple[TightBend, ...]:
    """Connected stretches of a piece, folds left out, that bend tighter than its stock allows.

    The bend of an edge counts over half of each face beside it.
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
    if not tight.any():
        return ()
    bends = []
    next_door = _next_door(shell, edges, bend)
    for members in _stretches(shell, edges, bend, np.flatnonzero(tight), next_door):
        # where the bend begins and ends a mesh turns by half a step: those edges count on one side
        brim, within = _brim(shell, edges, bend, members, np.flatnonzero(~tight & ~folded), next_door)
        chosen = np.concatenate([members, brim])
        lengths = np.concatenate([arc[members], (halves[brim] * within).sum(axis=1)])
        turn, length = _strongest(shell, edges[chosen], bend[chosen], lengths)
        if turn < np.radians(LEAST_TURN_DEG):
            continue
        sign = 1 if bend[members[0]] > 0 else -1
        outer = length / turn - (0.0 if hollow[members[0]] else stock.thickness_mm)
        treatment = (
            ("kerfs" if sign > 0 else "scores") if settings.tight_bends_of(piece.name) == "kerfs" else "heat-form"
        )
        # as deep as a groove or a score of one fold
        cut = stock.thickness_mm - stock.skin_mm if sign > 0 else stock.thickness_mm / 2
        depth = 0.0 if treatment == "heat-form" else cut
        count = kerf_count(turn, stock.kerf_mm, depth) if depth else 0
        spacing = length / count if count else 0.0
        bends.append(
            TightBend(
                piece=piece.name,
                path=np.unique(pairs[chosen]),
                edges=np.sort(edges[chosen]),
                bend_deg=sign * float(np.degrees(turn)),
                arc_mm=length,
                radius_mm=outer,
                treatment=treatment,
                count=count,
                spacing_mm=spacing,
                least_spacing_mm=spacing,
                depth_mm=depth,
                kerf_mm=stock.kerf_mm if treatment == "kerfs" else 0.0,
                opening_mm=opening(depth, np.degrees(turn) / count) if treatment == "scores" else 0.0,
                hinge_depth_mm=(stock.thickness_mm - depth if count else 2 * stock.neutral_depth * stock.thickness_mm)
                / 2,
            )
        )
    return tuple(bends)


# --- helpers -----------------------------------------------------------------------------------


def _halves(shell: Shell, edges: np.ndarray) -> np.ndarray:
    """(k, 2) mm, half the height of either face over each edge; a bend reaches no further into a wide face than
    into the narrow one across the edge."""
    face = shell.edge_faces[edges].ravel()
    if not len(face):
        return np.empty((0, 2))
    sizes = np.diff(shell.face_start)[face]
    first = np.cumsum(sizes) - sizes
    # all corners of all these faces, one face after the other, each with the edge it is measured from
    corner = np.arange(sizes.sum()) + np.repeat(shell.face_start[face] - first, sizes)
    edge = np.repeat(np.repeat(edges, 2), sizes)
    spoke = shell.vertices[shell.corner_vertex[corner]] - shell.vertices[shell.edges[edge, 0]]
    over = np.linalg.norm(np.cross(spoke, shell.edge_vector[edge]), axis=1) / shell.edge_length[edge]
    height = np.maximum.reduceat(over, first).reshape(-1, 2)
    return np.minimum(height, height[:, ::-1]) / 2


def _next_door(shell: Shell, edges: np.ndarray, bend: np.ndarray) -> csr_array:
    """(f, f) bool, each face with itself and with the triangles that make a level face with it: what was one face
    before it was triangulated."""
    flat = shell.edge_faces[edges[(np.abs(bend) < LEAST_BEND)]]
    flat = flat[(np.diff(shell.face_start)[flat] == 3).all(axis=1)]
    rows = np.concatenate([np.arange(shell.face_count), flat[:, 0], flat[:, 1]])
    columns = np.concatenate([np.arange(shell.face_count), flat[:, 1], flat[:, 0]])
    return csr_array((np.ones(len(rows), bool), (rows, columns)), shape=(shell.face_count,) * 2)


def _stretches(
    shell: Shell, edges: np.ndarray, bend: np.ndarray, tight: np.ndarray, next_door: csr_array
) -> list[np.ndarray]:
    """Positions in `edges` of tight edges that hang together: they bend the same way and share a face or an end."""
    found = []
    for sign in (1, -1):
        own = tight[np.sign(bend[tight]) == sign]
        rows = np.repeat(np.arange(len(own)), 2)
        beside = csr_array(
            (np.ones(len(rows)), (rows, shell.edge_faces[edges[own]].ravel())), (len(own), shell.face_count)
        )
        ends = csr_array((np.ones(len(rows)), (rows, shell.edges[edges[own]].ravel())), (len(own), len(shell.vertices)))
        near = beside @ next_door
        label = connected_components(near @ near.T + ends @ ends.T, directed=False)[1]
        found += [own[label == number] for number in range(label.max(initial=-1) + 1)]
    return sorted(found, key=lambda members: int(members.min()))


def _brim(
    shell: Shell, edges: np.ndarray, bend: np.ndarray, members: np.ndarray, others: np.ndarray, next_door: csr_array
) -> tuple[np.ndarray, np.ndarray]:
    """Positions in `edges` of those `others` that bend the same way in a face beside the stretch `members`, and (b, 2)
    bool, on which of their sides it is."""
    beside = np.zeros(shell.face_count)
    beside[shell.edge_faces[edges[members]]] = 1
    within = (next_door @ beside)[shell.edge_faces[edges[others]]] > 0
    chosen = within.any(axis=1) & (bend[others] * np.sign(bend[members[0]]) > LEAST_BEND)
    return others[chosen], within[chosen]


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
