"""Corners where pieces meet only in a point: what the bevels of the edges leave there, and who gives way.

Bevels part neighbours. Where four or more pieces meet in a vertex, some share no edge and nothing parts them: unless
all faces there touch one round cone, as in a regular solid, they run into each other below the surface. Each is cut
by one more plane through the vertex, which shows as a small facet at the corner of the far outline.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations, product

import numpy as np
import shapely
from shapely import LineString, Polygon

from .corner_foam import REACH, Facet, are_apart, overlap, plane_between, unit
from .joints import JointRun, Run, bevel_slope, bevels_of_steps, far_parts
from .pattern import PatternPiece
from .pieces import Piece
from .progress import Progress, Steps, finish
from .shell import Shell

LEAST_MM = 0.05
"""Foam gives way by this much unasked."""

Pieces = Sequence[Piece | PatternPiece]


@dataclass(frozen=True, eq=False)
class CornerTrim:
    """What a piece loses of its far face at one corner.

    vertex : of the shell; others : the pieces it would run into; runs : letters of its own runs there
    depth_mm : how far behind the corner that the bevels leave the new facet lies
    cut : mm on the piece's flat, what the far outline loses
    """

    piece: str
    vertex: int
    others: tuple[str, ...]
    runs: tuple[str, ...]
    depth_mm: float
    cut: shapely.Geometry


@dataclass(frozen=True)
class CornerClash:
    """Two pieces that run into each other behind a vertex and that no trim parts.

    square : both are cut square there, so that neither gives way
    overlap_mm : diameter of the largest ball in what both fill
    """

    pieces: tuple[str, str]
    vertex: int
    square: bool
    overlap_mm: float


@dataclass(frozen=True)
class Corners:
    trims: tuple[CornerTrim, ...] = ()
    clashes: tuple[CornerClash, ...] = ()

    def cuts_of(self, piece: str) -> list[shapely.Geometry]:
        return [trim.cut for trim in self.trims if trim.piece == piece]


def find_corners(
    shell: Shell, pieces: Pieces, flats: Sequence[np.ndarray], runs: Sequence[Run], model_is_inside: bool = False
) -> Corners:
    """As `finding_corners`, at once."""
    return finish(finding_corners(shell, pieces, flats, runs, model_is_inside))


def finding_corners(
    shell: Shell,
    pieces: Pieces,
    flats: Sequence[np.ndarray],
    runs: Sequence[Run],
    model_is_inside: bool = False,
    stage: str = "Fitting joints",
) -> Steps[Corners]:
    """Where pieces that meet only in a vertex run into each other, and what each loses there. Yields Progress.

    flats : per piece (v, 2) mm; runs : of these pieces, and maybe of others. Both are cut by the plane half-way
    between their facets, turned no more than leaves the modelled faces whole. A piece with no bevelled joint at the
    corner stays square there: the other one gives way to it alone, and of two such neither does.
    """
    rims = _Rims.of(shell, pieces, flats, runs, model_is_inside)
    cuts: dict[_Sector, list[tuple[str, np.ndarray]]] = defaultdict(list)
    clashes: dict[tuple[tuple[str, str], int, bool], float] = defaultdict(float)
    touching = list(rims.sectors_that_only_touch())
    for number, (vertex, one, other) in enumerate(touching):
        names = pieces[one[0]].name, pieces[other[0]].name
        for a, b in product(rims.facets(*one), rims.facets(*other)):
            yield Progress(stage, number / len(touching))
            if are_apart(a, b) or (size := overlap(a, b)) < LEAST_MM:
                continue
            plane = plane_between(a, b)
            if plane is None:
                clash = names, vertex, not (a.gives_way or b.gives_way)
                clashes[clash] = max(clashes[clash], size)
                continue
            cuts[one].append((names[1], a.cut_by(plane)))
            cuts[other].append((names[0], b.cut_by(-plane)))
    trims = []
    for (number, vertex), lost in sorted(cuts.items()):
        yield Progress(stage, 1.0)
        trims.append(_trim(pieces[number], flats[number], vertex, lost, runs, model_is_inside))
    return Corners(
        tuple(trim for trim in trims if trim),
        tuple(CornerClash(*clash, size) for clash, size in sorted(clashes.items())),
    )


def _trim(
    piece: Piece | PatternPiece,
    flat: np.ndarray,
    vertex: int,
    lost: Sequence[tuple[str, np.ndarray]],
    runs: Sequence[Run],
    model_is_inside: bool,
) -> CornerTrim | None:
    """The trim by triangles, each with the piece it is lost to; None if it is nothing to speak of."""
    face = shapely.union_all(far_parts(piece, flat, runs, model_is_inside))
    depths = {}
    for place, (_, triangle) in enumerate(lost):
        points = shapely.points(shapely.get_coordinates(face.intersection(Polygon(triangle))))
        depth = float(shapely.distance(LineString(triangle[1:]), points).max(initial=0.0)) if len(points) else 0.0
        if depth >= LEAST_MM:
            depths[place] = depth
    if not depths:
        return None
    return CornerTrim(
        piece=piece.name,
        vertex=int(piece.patch.shell_vertex[vertex]),
        others=tuple(dict.fromkeys(lost[place][0] for place in depths)),
        runs=tuple(
            dict.fromkeys(
                run.letter for run in runs for side in run.sides if side.piece == piece.name and vertex in side.path
            )
        ),
        depth_mm=max(depths.values()),
        cut=shapely.union_all([Polygon(lost[place][1]) for place in depths]),
    )


# --- the rims ----------------------------------------------------------------------------------

_Sector = tuple[int, int]
"""A piece and one of its rim vertices, as numbers: what lies between two steps of its rim."""


@dataclass(frozen=True, eq=False)
class _Rims:
    """The rims of all pieces, by vertex.

    steps : per sector, its loop and the step that leads away from the vertex
    slope : per piece and loop (r,), what its cut goes in per mm of depth; bevelled : (r,) bool, by a joint's rule
    outward : 1 if the modelled face is the outside one, else -1
    """

    shell: Shell
    pieces: Pieces
    flats: Sequence[np.ndarray]
    steps: dict[_Sector, tuple[int, int]]
    slope: list[list[np.ndarray]]
    bevelled: list[list[np.ndarray]]
    outward: int

    @classmethod
    def of(
        cls, shell: Shell, pieces: Pieces, flats: Sequence[np.ndarray], runs: Sequence[Run], model_is_inside: bool
    ) -> _Rims:
        outward = -1 if model_is_inside else 1
        steps = {
            (number, vertex): (loop, step)
            for number, piece in enumerate(pieces)
            for loop, ring in enumerate(piece.patch.loops)
            for step, vertex in enumerate(ring.tolist())
        }
        slope = [[outward * bevel_slope(bevels) for bevels in bevels_of_steps(piece, runs)] for piece in pieces]
        return cls(shell, pieces, flats, steps, slope, _bevelled_steps(pieces, runs), outward)

    def sectors_that_only_touch(self) -> Iterator[tuple[int, _Sector, _Sector]]:
        """Shell vertices with two sectors there that share no edge."""
        at: dict[int, list[_Sector]] = defaultdict(list)
        for number, vertex in self.steps:
            at[int(self.pieces[number].patch.shell_vertex[vertex])].append((number, vertex))
        for place, sectors in sorted(at.items()):
            edges = [self._edges(sector) for sector in sectors] if len(sectors) > 2 else []
            for (one, its), (other, others) in combinations(zip(sectors, edges, strict=False), 2):
                if its.isdisjoint(others):
                    yield place, one, other

    def _edges(self, sector: _Sector) -> set[int]:
        loop, step = self.steps[sector]
        edges = self.pieces[sector[0]].patch.loop_edges[loop]
        return {int(edges[step - 1]), int(edges[step])}

    def facets(self, number: int, vertex: int) -> list[Facet]:
        """The triangles of the piece at the vertex, from the step that leads away to the one that arrives."""
        piece, (loop, step) = self.pieces[number], self.steps[number, vertex]
        patch, points = piece.patch, self.shell.vertices[piece.patch.shell_vertex]
        level = LEAST_MM / (REACH * piece.stock.thickness_mm)
        fan = _fan(points, patch.triangles, vertex, int(np.roll(patch.loops[loop], -step)[1]), level)
        sides = points[fan[:, 1:]] - points[vertex]
        normal = unit(np.cross(sides[:, 0], sides[:, 1]))
        into = -self.outward * normal
        walls = unit(np.stack([np.cross(normal, sides[:, 0]), np.cross(sides[:, 1], normal)], axis=1))
        slope, bevelled = self.slope[number][loop], self.bevelled[number][loop]
        walls[0, 0] -= slope[step] * into[0]
        walls[-1, 1] -= slope[step - 1] * into[-1]
        # within the piece the foam bends, and neighbours share it half and half
        walls[:-1, 1] = np.cross(sides[:-1, 1], normal[:-1] + normal[1:])
        walls[1:, 0] = -walls[:-1, 1]
        straight = _straight(points[np.roll(patch.loops[loop], -step)])
        onward = np.full((len(fan), 2), max(straight))
        onward[0, 0], onward[-1, 1] = straight
        gives_way = bool(bevelled[step] or bevelled[step - 1])
        flat, thickness = self.flats[number], piece.stock.thickness_mm
        return [
            Facet(into[i], sides[i], flat[fan[i]], unit(walls[i]), onward[i], thickness, gives_way)
            for i in range(len(fan))
        ]


def _fan(points: np.ndarray, triangles: np.ndarray, vertex: int, first: int, level: float) -> np.ndarray:
    """(f, 3) int, the triangles at a rim vertex, which leads each, in the order of the turn from side `first` on.

    Those whose sides rise less than `level`, per mm of their length, from one plane are taken as one: neither the mesh
    of a plane matters, nor how finely a round tip is modelled.
    """
    here = [np.roll(corners, -int(np.argmax(corners == vertex))) for corners in triangles[(triangles == vertex).any(1)]]
    after = {int(corners[1]): int(corners[2]) for corners in here}
    sides = [first]
    while sides[-1] in after:
        sides.append(after.pop(sides[-1]))
    ways = unit(points[sides] - points[vertex])
    fan, start = [], 0
    for end in range(2, len(sides) + 1):
        if end == len(sides) or not _one_plane(ways[start : end + 1], level):
            fan.append((vertex, sides[start], sides[end - 1]))
            start = end - 1
    return np.array(fan)


def _one_plane(ways: np.ndarray, level: float) -> bool:
    """Whether directions (w, 3) in the order of the turn span one plane sector of less than half a turn."""
    across = np.cross(ways[0], ways[-1])
    turns = np.cross(ways[:-1], ways[1:]) @ across
    return bool(across.any() and (turns > 0).all() and (np.abs(ways @ unit(across)) < level).all())


def _straight(ring: np.ndarray) -> tuple[float, float]:
    """How far in mm a rim (r, 3) runs straight from its first point: onwards, and backwards."""
    lengths = []
    for spoke in (ring[1:] - ring[0], ring[:0:-1] - ring[0]):
        along = spoke @ unit(spoke[0])
        off = np.sqrt(np.maximum((spoke**2).sum(axis=1) - along**2, 0))
        bends = np.flatnonzero((off > LEAST_MM) | (np.diff(along, prepend=0) <= 0))
        lengths.append(float(along[bends[0] - 1] if len(bends) else along[-1]))
    return lengths[0], lengths[1]


def _bevelled_steps(pieces: Pieces, runs: Sequence[Run]) -> list[list[np.ndarray]]:
    """Per piece and rim (r,) bool, whether a joint there is bevelled on either side."""
    steps = {piece.name: [np.zeros(len(loop), bool) for loop in piece.patch.loops] for piece in pieces}
    for run in runs:
        if isinstance(run, JointRun) and run.rule != "butt":
            for side in run.sides:
                if side.piece in steps:
                    steps[side.piece][side.loop][side.steps] = True
    return [steps[piece.name] for piece in pieces]
