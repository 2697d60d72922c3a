"""The inside outline of a bevelled piece: every edge of a ring moved by its own distance."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry import LinearRing, LineString, MultiPolygon, Polygon
from shapely.geometry.polygon import orient

REACH = 3.0
"""How far a moved edge may run past its end to meet its neighbour, in parts of the larger distance. Beyond it
(corners under about 37 degrees, or a bevel that changes on a nearly straight rim) the ends are joined straight."""

TIDY_MM = 1e-3
"""Below what a knife or a printer can show: wiggles under this are smoothed out of the result."""

HAIR_MM = 2e-4
"""What cutting shapes are smaller than what they cut away, so that they do not touch a right result."""

GRID_MM = 1e-6
"""Overlays are computed on this grid: without one, GEOS 3.13 at times loses a polygon whose sides lie on those
of the other."""

JOG_MM = 0.6
"""A step sideways under this, where the bevel changes a little along a rim, is eased to a slope for the knife."""

STRAIGHT_ON_DEG = 20.0
"""A rim that turns less than this at a corner runs on nearly straight."""

EASE = 40.0
"""Length of that slope in sizes of the step; it goes no further than to the middle of an edge."""

SLIT_MM = 0.3
"""What no knife cuts by intent (common practice)."""

SPECK_MM2 = 0.01
"""Parts smaller than this are rounding, not foam."""


def offset_polygon(rings: Sequence[np.ndarray], inward: Sequence[np.ndarray]) -> list[Polygon]:
    """What is left of a polygon with holes when each edge moves by its own distance; largest part first, maybe none.

    rings : each (n, 2) mm, first point not repeated, the polygon on the left: the outer ring first and
        counter-clockwise, holes clockwise; inward : per ring (n,) mm, as in `offset_ring`
    """
    parts = _moved(rings[0], inward[0])
    for ring, distance in zip(rings[1:], inward[1:], strict=True):
        # a hole is a polygon of its own that grows where this one shrinks; walked backwards, step i of the
        # ring is the one that led to its point i
        filled = _moved(ring[::-1], -np.roll(distance[::-1], -1))
        left = shapely.difference(MultiPolygon(parts), shapely.union_all(filled), grid_size=GRID_MM)
        corners = _corners_of(ring, distance)
        left = _less(left, shapely.union_all(corners.swept_strips())) if corners else left
        parts = [orient(part.simplify(TIDY_MM)) for part in parts_of(left)]
    return parts


def cut_away(parts: Sequence[Polygon], shape: shapely.Geometry) -> list[Polygon]:
    """What is left of the parts, largest first."""
    left = [rest for part in parts for rest in parts_of(shapely.difference(part, shape, grid_size=GRID_MM))]
    return sorted((orient(part) for part in left), key=lambda part: -part.area)


def _moved(ring: np.ndarray, inward: np.ndarray) -> list[Polygon]:
    plain = Polygon(ring)
    return [plain] if not inward.any() and plain.is_valid else offset_ring(ring, inward)


def offset_ring(ring: np.ndarray, inward: np.ndarray) -> list[Polygon]:
    """What is left of a polygon when each edge moves by its own distance; largest part first, maybe none.

    ring : (n, 2) mm, counter-clockwise, first point not repeated
    inward : (n,) mm, distance of the edge from point i to the next, + into the polygon, - out of it

    Neighbouring edges meet where their moved lines cross. The moved ring may then run through itself; the
    regions it winds around at least once are kept (Chen and McMains, Polygon Offsetting by Computing Winding
    Numbers, ASME DETC2005-85513, 2005), less the strip each inward edge has swept and what no edge can have
    reached: a part narrower than its strips would otherwise come back inside out. A pocket whose mouth closes is a
    hole from then on.
    """
    corners = _corners_of(ring, inward)
    if corners is None:
        return []
    left, whole = _wound_around(corners.moved_ring()), _wound_around(corners.point)
    if (inward <= 0).all() and shapely.difference(whole, left, grid_size=GRID_MM).area > SPECK_MM2:
        left = shapely.union(left, whole, grid_size=GRID_MM)
    swept, trimmed = (shapely.union_all(strips) for strips in (corners.swept_strips(), corners.trimmed_strips()))
    gone = swept.union(shapely.difference(trimmed, whole, grid_size=GRID_MM))
    gone = gone.union(_beyond_reach(left, [whole, *corners.outward_reach()]))
    return [_tidy(part, _pockets(part, whole, corners)) for part in parts_of(_less(left, gone))]


def _pockets(part: Polygon, whole: shapely.Geometry, corners: _Corners) -> list[LinearRing]:
    """Holes of a part in which the edges have not reached everything: the rim's own, not what loops of the moved ring
    leave. Slits that no knife goes into count as closed."""
    if not part.interiors:
        return []
    reached = shapely.union_all([whole, *corners.outward_strips()])
    still_open = shapely.difference([Polygon(ring) for ring in part.interiors], reached, grid_size=GRID_MM)
    is_open = ~shapely.is_empty(shapely.buffer(still_open, -SLIT_MM / 2))
    return [ring for ring, kept in zip(part.interiors, is_open, strict=True) if kept]


def _less(left: shapely.Geometry, gone: shapely.Geometry) -> shapely.Geometry:
    """`left` without `gone` and the hairs that this leaves standing."""
    kept = shapely.difference(left, gone, grid_size=GRID_MM)
    return _without_hairs(kept) if left.area - kept.area > SPECK_MM2 else left


def _beyond_reach(left: shapely.Geometry, reached: list[Polygon]) -> shapely.Geometry:
    """What of `left` lies clear of everything that can have been reached."""
    return shapely.difference(left, shapely.union_all(reached).buffer(HAIR_MM), grid_size=GRID_MM)


def parts_of(shape: shapely.Geometry) -> list[Polygon]:
    """Its polygons that are more than a speck, largest first."""
    polygons = [part for part in shapely.get_parts(shape) if isinstance(part, Polygon) and part.area > SPECK_MM2]
    return sorted(polygons, key=lambda part: -part.area)


def face_of(rings: Sequence[np.ndarray]) -> shapely.Geometry:
    """What closed rings (r, 2), the outer one first, go round; mended where they cross themselves, empty for none."""
    if not rings:
        return Polygon()
    return shapely.union_all(parts_of(shapely.make_valid(Polygon(rings[0], rings[1:]))))


@dataclass(frozen=True, eq=False)
class _Corners:
    """The corners of a ring between the edge before (1) and the edge after (2); each array has an entry a corner.

    point (n, 2); length of the edge after; d : distances inwards; u : directions; n : inward normals
    past_1, past_2 : how far the moved edges must run past the corner to meet, negative where they fall short
    meeting (n, 2) : where they meet, not finite where they do not
    """

    point: np.ndarray
    length: np.ndarray
    d1: np.ndarray
    d2: np.ndarray
    u1: np.ndarray
    u2: np.ndarray
    n1: np.ndarray
    n2: np.ndarray
    sine: np.ndarray
    past_1: np.ndarray
    past_2: np.ndarray
    meeting: np.ndarray

    @classmethod
    def of(cls, ring: np.ndarray, inward: np.ndarray) -> _Corners:
        step = np.roll(ring, -1, axis=0) - ring
        length = np.linalg.norm(step, axis=1)
        u2, d2 = step / length[:, None], inward
        n2 = np.stack([-u2[:, 1], u2[:, 0]], axis=1)
        u1, n1, d1 = np.roll(u2, 1, axis=0), np.roll(n2, 1, axis=0), np.roll(d2, 1)
        sine = u1[:, 0] * u2[:, 1] - u1[:, 1] * u2[:, 0]
        cosine = np.einsum("ij,ij->i", u1, u2)
        with np.errstate(divide="ignore", invalid="ignore"):
            # The meeting point m has n1.m = d1 and n2.m = d2. Split in a part for the mean, sound on straight
            # rims, and a part for the difference, sound on none and therefore left out where there is none.
            across = (d1 + d2) / 2 / (1 + cosine)
            along = np.where(d1 == d2, 0.0, (d1 - d2) / 2 / sine)
            past_1 = -across * sine + along * (1 + cosine)
            past_2 = -across * sine - along * (1 + cosine)
            meeting = ring + across[:, None] * (n1 + n2) + along[:, None] * (u1 + u2)
        # where the rim turns right back it is the tip of a slit, whose inward moved sides meet nowhere
        beyond = np.where(d1 + d2 > 0, np.inf, -np.inf)
        past_1, past_2 = (np.where(np.isnan(past), beyond, past) for past in (past_1, past_2))
        return cls(ring, length, d1, d2, u1, u2, n1, n2, sine, past_1, past_2, meeting)

    @property
    def reach(self) -> np.ndarray:
        return REACH * np.maximum(np.abs(self.d1), np.abs(self.d2)) + 1e-9

    @property
    def is_straight_on(self) -> np.ndarray:
        return np.einsum("ij,ij->i", self.u1, self.u2) > np.cos(np.radians(STRAIGHT_ON_DEG))

    def moved_ring(self) -> np.ndarray:
        """(m, 2) the ring through the meeting points of moved neighbours; it may cross itself."""
        meets = np.isfinite(self.meeting).all(axis=1)
        # two edges that are nearly one line and move differently would meet far along one of them
        slack = np.where(self.is_straight_on & (self.d1 != self.d2), 0.5, 1.0)
        for past, length in ((self.past_1, np.roll(self.length, 1)), (self.past_2, self.length)):
            meets &= (past <= self.reach) & (past >= -slack * length)
        # at an inward corner of the rim each edge owns the strip along its whole length, so neither may cut
        # the other's strip short
        meets &= (self.sine >= 0) | (self.past_1 * self.past_2 >= -1e-12)
        # beyond reach a tip is cut off square, its own distance past the corner
        tip = ~meets & (np.minimum(self.past_1, self.past_2) > 0)
        cap_1, cap_2 = np.where(tip, np.abs(self.d1), 0), np.where(tip, np.abs(self.d2), 0)
        ease_1, ease_2 = self._eased(~meets & ~tip)
        first = self.point + self.d1[:, None] * self.n1 + (cap_1 - ease_1)[:, None] * self.u1
        second = self.point + self.d2[:, None] * self.n2 - (cap_2 - ease_2)[:, None] * self.u2
        points = np.stack([np.where(meets[:, None], self.meeting, first), second], axis=1).reshape(-1, 2)
        return points[np.stack([np.ones_like(meets), ~meets], axis=1).reshape(-1)]

    def _eased(self, apart: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """How far the moved edges before and after are shortened at corners where the two lie a little `apart`.

        Where foam is cut away inwards only the edge that moves less far gives way, so that the slope adds no foam.
        """
        jog = np.abs(self.d1 - self.d2)
        small = apart & self.is_straight_on & (jog < JOG_MM)
        before = np.minimum(EASE * jog, np.roll(self.length, 1) / 2)
        after = np.minimum(EASE * jog, self.length / 2)
        both = np.maximum(self.d1, self.d2) <= 0
        one, other = small & (both | (self.d1 < self.d2)), small & (both | (self.d1 > self.d2))
        return np.where(one, before, 0), np.where(other, after, 0)

    def swept_strips(self) -> list[Polygon]:
        """What each edge cuts away as it moves inwards: rectangles, a hair smaller than the true strips.

        One runs along each edge. At an outward corner another runs on to where the edge meets its neighbour:
        the neighbour may be one short edge of a rim in small steps, and all of that rim is cut.
        """
        zero = np.zeros_like(self.d2)
        strips = _strips(self.point, self.u2, self.n2, zero, self.length, zero, self.d2)
        for along, normal, own, _, length in self._run_on():
            strips += _strips(self.point, along, normal, zero - 2 * HAIR_MM, length, zero, own)
        return strips

    def trimmed_strips(self) -> list[Polygon]:
        """What an edge cuts off a neighbour that moves further out than itself at an outward corner; this cuts
        nothing of the polygon, which may be near again on the far side of the strip."""
        strips = []
        for along, normal, own, other, length in self._run_on():
            back = np.full_like(length, -2 * HAIR_MM)
            strips += _strips(
                self.point, along, normal, back, length, np.minimum(other, 0), np.minimum(own, 2 * HAIR_MM)
            )
        return strips

    def _run_on(self) -> Iterator[tuple[np.ndarray, ...]]:
        """For both edges of each corner: direction past the corner, inward normal, own and other distance, and
        the length to run on, 0 at inward corners and where the two meet too far off."""
        for past, along, normal, own, other in (
            (self.past_1, self.u1, self.n1, self.d1, self.d2),
            (self.past_2, -self.u2, self.n2, self.d2, self.d1),
        ):
            # a neighbour that moves out ends square to itself, a little behind the corner
            length = np.maximum(past, -np.minimum(other, 0) * self.sine)
            # on a nearly straight rim the bevel ends with its edge: the knife follows the new bevel from there on
            goes_on = (self.sine > 0) & (past <= self.reach) & ~(self.is_straight_on & (self.d1 != self.d2))
            yield along, normal, own, other, np.where(goes_on, length, 0)

    def outward_reach(self) -> list[Polygon]:
        """Where the edges that move outwards may bring the ring, generously."""
        return list(shapely.buffer(self._moved_out(), -REACH * self.d2[self.d2 < 0] + HAIR_MM))

    def outward_strips(self) -> list[Polygon]:
        """What each edge adds as it moves outwards."""
        return list(shapely.buffer(self._moved_out(), -self.d2[self.d2 < 0], cap_style="flat"))

    def _moved_out(self) -> np.ndarray:
        ends = np.stack([self.point, np.roll(self.point, -1, axis=0)], axis=1)
        return shapely.linestrings(ends[self.d2 < 0])


def _corners_of(ring: np.ndarray, inward: np.ndarray) -> _Corners | None:
    """The corners of a ring without its edges of no length; None where that leaves no polygon."""
    real = np.linalg.norm(np.roll(ring, -1, axis=0) - ring, axis=1) > HAIR_MM
    return _Corners.of(ring[real], inward[real]) if real.sum() >= 3 else None


def _strips(
    corner: np.ndarray,
    along: np.ndarray,
    across: np.ndarray,
    start: np.ndarray,
    stop: np.ndarray,
    shallow: np.ndarray,
    deep: np.ndarray,
) -> list[Polygon]:
    """Rectangles from `start` to `stop` along and `shallow` to `deep` across, less a hair so that they do not
    touch a right result; those without area are left out."""
    low, high, deep = start + HAIR_MM, stop - HAIR_MM, deep - HAIR_MM
    chosen = (high - low > HAIR_MM) & (deep - shallow > HAIR_MM)
    corners = [
        corner + a[:, None] * along + b[:, None] * across
        for a, b in ((low, shallow), (high, shallow), (high, deep), (low, deep))
    ]
    return list(shapely.polygons(np.stack(corners, axis=1)[chosen]))


def _wound_around(ring: np.ndarray) -> Polygon | MultiPolygon:
    """The regions that the closed ring (n, 2) winds around counter-clockwise at least once."""
    noded = shapely.union_all([LineString(np.vstack([ring, ring[:1]]))])
    regions = [region for region in shapely.get_parts(shapely.polygonize(shapely.get_parts(noded))) if region.area > 0]
    if not regions:
        return MultiPolygon()
    inner = shapely.get_coordinates(shapely.point_on_surface(regions))
    keep = winding_numbers(ring, inner) > 0
    return shapely.union_all([region for region, kept in zip(regions, keep, strict=True) if kept])


def winding_numbers(ring: np.ndarray, points: np.ndarray) -> np.ndarray:
    """(p,) int, how often the closed ring (n, 2) goes counter-clockwise round each point (p, 2)."""
    a, b = ring[None], np.roll(ring, -1, axis=0)[None]
    p = points[:, None]
    side = (b[..., 0] - a[..., 0]) * (p[..., 1] - a[..., 1]) - (b[..., 1] - a[..., 1]) * (p[..., 0] - a[..., 0])
    upward = (a[..., 1] <= p[..., 1]) & (b[..., 1] > p[..., 1]) & (side > 0)
    downward = (a[..., 1] > p[..., 1]) & (b[..., 1] <= p[..., 1]) & (side < 0)
    return upward.sum(axis=1) - downward.sum(axis=1)


def _without_hairs(shape: Polygon | MultiPolygon) -> Polygon | MultiPolygon:
    """Shrunk and grown again, which loses what is thinner than the hair that strips leave standing."""
    shrunk = shape.buffer(-2 * HAIR_MM, join_style="mitre", mitre_limit=10)
    return shrunk.buffer(2 * HAIR_MM, join_style="mitre", mitre_limit=10)


def _tidy(part: Polygon, holes: Sequence[LinearRing]) -> Polygon:
    return orient(Polygon(_from_longest_side(part.exterior), holes).simplify(TIDY_MM))


def _from_longest_side(ring: LinearRing) -> np.ndarray:
    """Its points from the end of its longest side on: simplifying keeps the first point, so that it should be a
    true corner."""
    points = np.array(ring.coords)
    longest = int(np.argmax(np.linalg.norm(np.diff(points, axis=0), axis=1)))
    return np.roll(points[:-1], -longest - 1, axis=0)
