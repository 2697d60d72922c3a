"""Where a flat piece lies over itself, and the push that parts it.

With every triangle upright, the rims run round every point as often as the patch covers it. So it covers a point twice
only if its rims cross, or if a hole is turned inside out, as a slit is whose lips lie over each other: it is enough to
look there.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
import shapely
from scipy.sparse import coo_array
from scipy.sparse.csgraph import dijkstra

from ..patch import Patch
from ..shell import Shell

MARGIN_MM = 0.5
"""Gap to leave between parted rims: a little over the width of a pencil line."""
MOST_PAIRS = 1_000_000
"""Points and steps that are compared at a time, for the sake of memory."""
LEAST_DOUBLED_MM2 = 0.01
"""Area covered twice that a knife cannot tell from none; the lips of a slit in flat foam touch all along."""
CONTACT_STIFFNESS = 10.0
"""Push of a contact over the stiffness of the foam beside it."""


def rim_steps(loops: Sequence[np.ndarray]) -> np.ndarray:
    """(s, 2) int, the steps of all rims one after another."""
    return np.concatenate([np.stack([loop, np.roll(loop, -1)], axis=1) for loop in loops])


def crossing_steps(flat: np.ndarray, loops: Sequence[np.ndarray]) -> np.ndarray:
    """(c, 2) int, pairs of rim steps (numbered as in `rim_steps`) that cross on the flat (v, 2)."""
    steps = rim_steps(loops)
    lines = shapely.linestrings(flat[steps])
    # only boxes are asked of the tree: its own predicates cost many times the four sides below
    one, other = shapely.STRtree(lines).query(lines)
    apart = (one < other) & ~(steps[one][:, :, None] == steps[other][:, None, :]).any(axis=(1, 2))
    one, other = one[apart], other[apart]
    (a, b), (c, d) = flat[steps[one]].transpose(1, 2, 0), flat[steps[other]].transpose(1, 2, 0)
    crossing = (_side(a, b, c) * _side(a, b, d) < 0) & (_side(c, d, a) * _side(c, d, b) < 0)
    return np.stack([one[crossing], other[crossing]], axis=1)


def _side(start: np.ndarray, end: np.ndarray, point: np.ndarray) -> np.ndarray:
    """(c,) over 0 where points (2, c) lie on the left of steps."""
    return (end[0] - start[0]) * (point[1] - start[1]) - (end[1] - start[1]) * (point[0] - start[0])


def inverted_holes(flat: np.ndarray, loops: Sequence[np.ndarray]) -> list[int]:
    """Numbers of the rims, but for the longest way round, that have the patch inside: they run counter-clockwise."""
    areas = [_enclosed(flat[loop]) for loop in loops]
    outer = int(np.argmax(np.abs(areas)))
    return [number for number, area in enumerate(areas) if area > 0 and number != outer]


def _enclosed(ring: np.ndarray) -> float:
    """mm^2 within a ring (r, 2), negative where it runs clockwise."""
    (x, y), (next_x, next_y) = (ring - ring[0]).T, (np.roll(ring, -1, axis=0) - ring[0]).T
    return float(x @ next_y - next_x @ y) / 2


def doubled_area(flat: np.ndarray, loops: Sequence[np.ndarray]) -> float:
    """mm^2 that lie over other parts of a patch laid flat, or upside down; flat (v, 2) mm, loops its rims."""
    if not len(crossing_steps(flat, loops)) and not inverted_holes(flat, loops):
        return 0.0
    rims = shapely.union_all([shapely.linearrings(flat[loop]) for loop in loops])
    parts = shapely.get_parts(shapely.polygonize([rims]))
    turns = winding(shapely.get_coordinates(shapely.point_on_surface(parts)), flat[rim_steps(loops)])
    return float(np.maximum(turns - 1, -turns).clip(0) @ shapely.area(parts))


def lies_over_itself(flat: np.ndarray, loops: Sequence[np.ndarray]) -> bool:
    """Whether a patch laid flat covers more than LEAST_DOUBLED_MM2 twice."""
    return doubled_area(flat, loops) > LEAST_DOUBLED_MM2


def find_contacts(flat: np.ndarray, loops: Sequence[np.ndarray]) -> np.ndarray:
    """(c, 3) int, rim vertices v that lie over the patch, each with the rim step p-q to be pushed out across.

    Of two lips that overlap each has the other's vertices on its inner side, and their rims run against each
    other: the nearest such step is the way out. Where two steps cross and neither has an end under the patch,
    the end that is least deep behind the other step goes.
    """
    crossing, inverted = crossing_steps(flat, loops), inverted_holes(flat, loops)
    if not len(crossing) and not inverted:
        return np.empty((0, 3), np.int64)
    steps = rim_steps(loops)
    start, end = flat[steps[:, 0]], flat[steps[:, 1]]
    along = (end - start) / np.linalg.norm(end - start, axis=1)[:, None]
    tangent = np.zeros_like(flat)
    np.add.at(tangent, steps[:, 0], along)
    np.add.at(tangent, steps[:, 1], along)

    def depth(vertex: int) -> np.ndarray:
        """How far a vertex lies on the inner side of every step."""
        offset = flat[vertex] - start
        return along[:, 0] * offset[:, 1] - along[:, 1] * offset[:, 0]

    covered = np.unique(np.concatenate([_covered(flat, loops), *(loops[number] for number in inverted)]))
    contacts = []
    for v in covered:
        facing = (along @ tangent[v] < 0) & (depth(v) > 0) & (steps != v).all(axis=1)
        distance = np.where(facing, _distance(flat[v], start, end), np.inf)
        nearest = int(np.argmin(distance))
        if np.isfinite(distance[nearest]):
            contacts.append((v, *steps[nearest]))
    for one, other in crossing[~np.isin(steps[crossing], covered).any(axis=(1, 2))]:
        ways = [(depth(v)[step], v, step) for here, step in ((one, other), (other, one)) for v in steps[here]]
        _, v, step = min(way for way in ways if way[0] > 0)
        contacts.append((v, *steps[step]))
    return np.array(contacts, np.int64).reshape(-1, 3)


def _covered(flat: np.ndarray, loops: Sequence[np.ndarray]) -> np.ndarray:
    """Rim vertices under which the patch lies once more."""
    rim = np.concatenate(loops)
    # a vertex of the rim has the patch on one side only, and lies on neither side of its own steps: once round is free
    return rim[winding(flat[rim], flat[rim_steps(loops)]) > 1]


def winding(points: np.ndarray, steps: np.ndarray) -> np.ndarray:
    """(p,) how many times closed lines of steps (s, 2, 2) run around each of points (p, 2)."""
    (x0, y0), (x1, y1) = steps[:, 0].T, steps[:, 1].T
    turns = []
    for some in np.array_split(points, 1 + len(points) * len(steps) // MOST_PAIRS):
        x, y = some.T[:, :, None]
        side = (x1 - x0) * (y - y0) - (x - x0) * (y1 - y0)
        up, down = (y0 <= y) & (y1 > y) & (side > 0), (y1 <= y) & (y0 > y) & (side < 0)
        turns.append(up.sum(axis=1) - down.sum(axis=1))
    return np.concatenate(turns)


def _distance(point: np.ndarray, start: np.ndarray, end: np.ndarray) -> np.ndarray:
    along = end - start
    part = np.clip(np.einsum("ij,ij->i", point - start, along) / np.einsum("ij,ij->i", along, along), 0, 1)
    return np.linalg.norm(start + part[:, None] * along - point, axis=1)


class Contacts:
    """Vertices pushed out across rim steps, with a margin: a one-sided quadratic penalty."""

    def __init__(self, triples: np.ndarray) -> None:
        """triples : (c, 3) int, vertex v and step p-q with the patch on its left."""
        self.elements = triples
        self.weight = np.ones(len(triples))

    def depth(self, flat: np.ndarray) -> np.ndarray:
        """(c,) mm that each vertex still has to go."""
        v, p, q = flat[self.elements].transpose(1, 0, 2)
        along = q - p
        inside = (along[:, 0] * (v - p)[:, 1] - along[:, 1] * (v - p)[:, 0]) / np.linalg.norm(along, axis=1)
        return np.maximum(inside + MARGIN_MM, 0.0)

    def stiffen(self, flat: np.ndarray, stiffness: np.ndarray) -> None:
        """Choose weights that outweigh the foam; stiffness : (v,) energy per mm^2 at each vertex."""
        self.weight = CONTACT_STIFFNESS * np.median(stiffness[self.elements]) * np.ones(len(self.elements))

    def value(self, flat: np.ndarray) -> float:
        return float(self.weight @ self.depth(flat) ** 2)

    def derivatives(self, flat: np.ndarray) -> tuple[float, np.ndarray, np.ndarray]:
        """Value, gradient (c, 6) and Gauss-Newton Hessian (c, 6, 6)."""
        v, p, q = flat[self.elements].transpose(1, 0, 2)
        length = np.linalg.norm(q - p, axis=1)
        along = (q - p) / length[:, None]
        inward = np.stack([-along[:, 1], along[:, 0]], axis=1)
        part = np.einsum("ij,ij->i", v - p, along) / length
        slope = np.concatenate([inward, -(1 - part)[:, None] * inward, -part[:, None] * inward], axis=1)
        depth = self.depth(flat)
        slope = np.where(depth[:, None] > 0, slope, 0.0)
        gradient = (2 * self.weight * depth)[:, None] * slope
        hessian = (2 * self.weight)[:, None, None] * slope[:, :, None] * slope[:, None, :]
        return float(self.weight @ depth**2), gradient, hessian


def freeing_cut(flat: np.ndarray, patch: Patch, pair_is_edge: Callable[[np.ndarray], np.ndarray]) -> np.ndarray:
    """(k + 1,) int, patch vertices of a short cut that separates two lips that cross; empty where none do. A hole
    that is turned inside out is such a pair of lips, too.

    flat : (v, 2) mm. pair_is_edge : tells for vertex pairs (p, 2) of the patch which are edges of the mesh.
    The cut runs from the bottom of the pocket between the lips to the nearest rim that is not the pocket's own.
    """
    crossing, inverted = crossing_steps(flat, patch.loops), inverted_holes(flat, patch.loops)
    if not len(crossing) and not inverted:
        return np.empty(0, np.int64)
    steps = rim_steps(patch.loops)
    pocket = _pocket(patch.loops, *crossing[0]) if len(crossing) else patch.loops[inverted[0]]
    bottom = pocket[len(pocket) // 2]
    sides = np.concatenate([patch.triangles[:, [i, (i + 1) % 3]] for i in range(3)])
    sides = sides[pair_is_edge(sides)]
    length = np.linalg.norm(flat[sides[:, 0]] - flat[sides[:, 1]], axis=1)
    graph = coo_array((length, sides.T), shape=(len(flat),) * 2).tocsr()
    distance, before = dijkstra(graph, directed=False, indices=bottom, return_predecessors=True)
    goals = np.setdiff1d(steps[:, 0], pocket)
    vertex = goals[np.argmin(distance[goals])]
    if not np.isfinite(distance[vertex]):
        return np.empty(0, np.int64)
    path = [int(vertex)]
    while path[-1] != bottom:
        path.append(int(before[path[-1]]))
    return np.array(path)


def freeing_path(shell: Shell, patch: Patch, flat: np.ndarray) -> np.ndarray:
    """`freeing_cut` along the edges of the shell that the patch is of."""
    return freeing_cut(flat, patch, lambda pairs: shell.edge_between(patch.shell_vertex[pairs]) >= 0)


def _pocket(loops: Sequence[np.ndarray], one: int, other: int) -> np.ndarray:
    """The rim vertices between two steps, the shorter way round; the whole rim of the first if they lie on two."""
    ends = np.cumsum([len(loop) for loop in loops])
    number, second = np.searchsorted(ends, [one, other], side="right")
    loop = loops[number]
    if number != second:
        return loop
    base = ends[number] - len(loop)
    low, high = sorted((one - base, other - base))
    between = loop[low + 1 : high + 1]
    around = np.concatenate([loop[high + 1 :], loop[: low + 1]])
    return min(between, around, key=len)
