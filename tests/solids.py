"""Meshes for the tests: every function returns (vertices (n, 3) mm, faces) with outsides outward."""

from __future__ import annotations

from itertools import product

import numpy as np
from scipy.spatial import ConvexHull, Delaunay

Mesh = tuple[np.ndarray, list[list[int]]]

GOLDEN = (1 + 5**0.5) / 2


# --- convex solids ---------------------------------------------------------------------------------


def hull(points: np.ndarray) -> Mesh:
    """The convex hull with coplanar triangles merged into polygons, ordered counter-clockwise from outside."""
    points = np.asarray(points, float)
    planes = ConvexHull(points).equations
    faces: dict[tuple, np.ndarray] = {tuple(np.round(plane, 6) + 0.0): plane for plane in planes}
    size = np.ptp(points)
    rings = []
    for plane in faces.values():
        normal, offset = plane[:3], plane[3]
        on = np.flatnonzero(np.abs(points @ normal + offset) < 1e-6 * size)
        spoke = points[on] - points[on].mean(axis=0)
        along = spoke[0] / np.linalg.norm(spoke[0])
        angle = np.arctan2(spoke @ np.cross(normal, along), spoke @ along)
        rings.append([int(v) for v in on[np.argsort(angle)]])
    return points, sorted(rings)


def _with_edge(points: np.ndarray, edge: float) -> Mesh:
    vertices, faces = hull(points)
    first = faces[0]
    return vertices * (edge / np.linalg.norm(vertices[first[0]] - vertices[first[1]])), faces


def _cyclic(points: list[tuple[float, float, float]]) -> np.ndarray:
    """Every point and its two cyclic shifts, each once."""
    every = [(p[i], p[(i + 1) % 3], p[(i + 2) % 3]) for p in points for i in range(3)]
    return np.unique(np.round(every, 12) + 0.0, axis=0)


def _signs(*values: float) -> list[tuple[float, float, float]]:
    return [tuple(s * v for s, v in zip(sign, values, strict=True)) for sign in product((1, -1), repeat=3)]


def tetrahedron(edge: float = 100.0) -> Mesh:
    return _with_edge(np.array([(1, 1, 1), (1, -1, -1), (-1, 1, -1), (-1, -1, 1)], float), edge)


def cube(edge: float = 100.0) -> Mesh:
    return _with_edge(np.array(_signs(1, 1, 1)), edge)


def octahedron(edge: float = 100.0) -> Mesh:
    return _with_edge(np.vstack([np.eye(3), -np.eye(3)]), edge)


def dodecahedron(edge: float = 100.0) -> Mesh:
    return _with_edge(np.vstack([_signs(1, 1, 1), _cyclic(_signs(0, 1 / GOLDEN, GOLDEN))]), edge)


def icosahedron(edge: float = 100.0) -> Mesh:
    return _with_edge(_cyclic(_signs(0, 1, GOLDEN)), edge)


def cuboctahedron(edge: float = 100.0) -> Mesh:
    return _with_edge(_cyclic(_signs(0, 1, 1)), edge)


def truncated_octahedron(edge: float = 100.0) -> Mesh:
    return _with_edge(_cyclic(_signs(0, 1, 2) + _signs(0, 2, 1)), edge)


def rhombicuboctahedron(edge: float = 100.0) -> Mesh:
    return _with_edge(_cyclic(_signs(1, 1, 1 + 2**0.5)), edge)


def icosidodecahedron(edge: float = 100.0) -> Mesh:
    return _with_edge(_cyclic(_signs(0, 0, GOLDEN) + _signs(0.5, GOLDEN / 2, GOLDEN**2 / 2)), edge)


def truncated_icosahedron(edge: float = 100.0) -> Mesh:
    corners = _signs(0, 1, 3 * GOLDEN) + _signs(1, 2 + GOLDEN, 2 * GOLDEN) + _signs(GOLDEN, 2, 2 * GOLDEN + 1)
    return _with_edge(_cyclic(corners), edge)


def snub_cube(edge: float = 100.0) -> Mesh:
    """Even permutations of (1, 1/t, t) with an even number of minus signs, odd ones with an odd number, where
    t^3 = t^2 + t + 1."""
    t = float(np.real(np.roots([1, -1, -1, -1])[0]))
    corners = _signs(1, 1 / t, t)
    even = [corner for corner in corners if sum(v < 0 for v in corner) % 2 == 0]
    odd = [(y, x, z) for x, y, z in corners if sum(v < 0 for v in (x, y, z)) % 2]
    return _with_edge(_cyclic(even + odd), edge)


PLATONIC = (tetrahedron, cube, octahedron, dodecahedron, icosahedron)
ARCHIMEDEAN = (
    cuboctahedron,
    truncated_octahedron,
    rhombicuboctahedron,
    icosidodecahedron,
    truncated_icosahedron,
)


def prism(n: int, radius: float = 50.0, height: float = 100.0) -> Mesh:
    """A right prism on a regular n-gon of circumradius `radius` (side 2 radius sin(pi/n)), base at z = 0."""
    angle = 2 * np.pi * np.arange(n) / n
    ring = np.stack([radius * np.cos(angle), radius * np.sin(angle), np.zeros(n)], axis=1)
    sides = [[i, (i + 1) % n, n + (i + 1) % n, n + i] for i in range(n)]
    return np.vstack([ring, ring + np.array((0, 0, height))]), [list(range(n))[::-1], list(range(n, 2 * n)), *sides]


def pyramid(n: int, radius: float = 50.0, height: float = 100.0, base: bool = True) -> Mesh:
    """A right pyramid on a regular n-gon of circumradius `radius`; the apex is the last vertex."""
    angle = 2 * np.pi * np.arange(n) / n
    ring = np.stack([radius * np.cos(angle), radius * np.sin(angle), np.zeros(n)], axis=1)
    sides = [[i, (i + 1) % n, n] for i in range(n)]
    return np.vstack([ring, (0, 0, height)]), [list(range(n))[::-1], *sides] if base else sides


def rectangular_pyramid(
    width: float = 200.0, depth: float = 120.0, height: float = 90.0, lean: tuple[float, float] = (0.0, 0.0)
) -> Mesh:
    """A pyramid on a rectangle, its apex moved off the middle by `lean`."""
    base = [(x * width / 2, y * depth / 2, 0.0) for x, y in ((-1, -1), (1, -1), (1, 1), (-1, 1))]
    return np.array([*base, (*lean, height)]), [[3, 2, 1, 0], [0, 1, 4], [1, 2, 4], [2, 3, 4], [3, 0, 4]]


def star(tips: np.ndarray) -> Mesh:
    """Triangles from the origin, the last vertex, to each two neighbours of a ring of tips (n, 3); open."""
    n = len(tips)
    return np.vstack([tips, np.zeros(3)]), [[i, (i + 1) % n, n] for i in range(n)]


def box(width: float = 100.0, depth: float = 60.0, height: float = 40.0) -> Mesh:
    """Corners at (+-width/2, +-depth/2, +-height/2)."""
    return hull(np.array(_signs(width / 2, depth / 2, height / 2)))


def gridded_box(width: float = 100.0, depth: float = 100.0, height: float = 100.0, cells: int = 6) -> Mesh:
    """A closed box, each side a grid of cells x cells quads."""
    points: dict[tuple[int, int, int], int] = {}
    faces = []
    steps = range(cells)
    for axis, end in product(range(3), (0, cells)):
        for i, j in product(steps, steps):
            ring = []
            for di, dj in ((0, 0), (1, 0), (1, 1), (0, 1)):
                place = [0, 0, 0]
                place[axis], place[(axis + 1) % 3], place[(axis + 2) % 3] = end, i + di, j + dj
                ring.append(points.setdefault(tuple(place), len(points)))
            faces.append(ring if end else ring[::-1])
    grid = np.array(list(points), float) / cells - 0.5
    return grid * (width, depth, height), faces


# --- open patches ----------------------------------------------------------------------------------


def grid(points: np.ndarray) -> Mesh:
    """Quads over a grid of points (rows, columns, 3); outside is columns cross rows."""
    rows, columns = points.shape[:2]
    number = np.arange(rows * columns).reshape(rows, columns)
    quads = np.stack([number[:-1, :-1], number[:-1, 1:], number[1:, 1:], number[1:, :-1]], axis=-1)
    return points.reshape(-1, 3), quads.reshape(-1, 4).tolist()


def flat_sheet(width: float = 100.0, height: float = 60.0, n_across: int = 6, n_up: int = 4) -> Mesh:
    x, y = np.meshgrid(np.linspace(0, width, n_across + 1), np.linspace(0, height, n_up + 1))
    return grid(np.stack([x, y, np.zeros_like(x)], axis=-1))


def cylinder_patch(
    radius: float = 100.0, angle: float = np.pi / 2, height: float = 80.0, n_around: int = 16, n_up: int = 4
) -> Mesh:
    """Part of a cylinder about z, from azimuth 0 to `angle` (under 2 pi, or two vertices coincide at 2 pi)."""
    a, z = np.meshgrid(np.linspace(0, angle, n_around + 1), np.linspace(0, height, n_up + 1))
    return grid(np.stack([radius * np.cos(a), radius * np.sin(a), z], axis=-1))


def tube(radius: float = 50.0, height: float = 80.0, n_around: int = 16, n_up: int = 4) -> Mesh:
    """A whole cylinder about z without its ends."""
    return _wrapped(cylinder_patch(radius, 2 * np.pi, height, n_around, n_up)[0], n_around, n_up)


def frustum_patch(
    base_radius: float = 50.0,
    top_radius: float = 30.0,
    height: float = 80.0,
    angle: float = 2 * np.pi,
    n_around: int = 48,
    n_up: int = 4,
) -> Mesh:
    """A frustum about z slit open at azimuth 0, vertices on the true cone; the slit has two sides of its own."""
    a, up = np.meshgrid(np.linspace(0, angle, n_around + 1), np.linspace(0, 1, n_up + 1))
    r = base_radius + (top_radius - base_radius) * up
    return grid(np.stack([r * np.cos(a), r * np.sin(a), height * up], axis=-1))


def funnel(base_radius: float = 50.0, top_radius: float = 30.0, height: float = 80.0, n_around: int = 48) -> Mesh:
    """A whole frustum about z without its ends."""
    return _wrapped(frustum_patch(base_radius, top_radius, height, 2 * np.pi, n_around, 4)[0], n_around, 4)


def saddle(size: float = 100.0, n: int = 10, height: float = 20.0) -> Mesh:
    """z = height (x^2 - y^2) / (size/2)^2 over a square of side `size`."""
    x, y = np.meshgrid(np.linspace(-1, 1, n + 1), np.linspace(-1, 1, n + 1))
    return grid(np.stack([x * size / 2, y * size / 2, height * (x**2 - y**2)], axis=-1))


def sphere_cap(radius: float = 100.0, angle: float = np.pi / 6, rings: int = 10) -> Mesh:
    """Near-even triangles on a sphere about the origin, within `angle` of +z; ring i holds 6 i vertices."""
    rows = [np.zeros((1, 2))]
    for i in range(1, rings + 1):
        turn = 2 * np.pi * np.arange(6 * i) / (6 * i)
        rows.append(np.stack([i / rings * np.cos(turn), i / rings * np.sin(turn)], axis=1))
    disk = np.vstack(rows)
    away, turn = angle * np.hypot(*disk.T), np.arctan2(disk[:, 1], disk[:, 0])
    points = radius * np.stack([np.sin(away) * np.cos(turn), np.sin(away) * np.sin(turn), np.cos(away)], axis=1)
    return points, _counter_clockwise(disk, Delaunay(disk).simplices)


def finger(
    ratio: float, n_around: int = 16, rings: int = 30, taper: float = 1.0, curl: float = 0.0, grade: float = 0.0
) -> Mesh:
    """A tube of radius 20 round +z, closed by half a ball, open at its foot; `ratio` its length over its radius.

    taper : radius at the tip over that at the foot; curl : rad that it turns by on its way; grade : over 0, rings lie
    closer together at the foot, by e^grade in all
    """
    radius, cap = 20.0, max(2, n_around // 4)
    up = np.linspace(0, 1, rings)
    up = np.expm1(grade * up) / np.expm1(grade) if grade else up
    width = radius * (1 - (1 - taper) * up)
    bow = np.linspace(0, np.pi / 2, cap + 1)[1:-1]
    around = np.append(width, width[-1] * np.cos(bow))
    height = np.append(ratio * radius * up, ratio * radius + width[-1] * np.sin(bow))
    turn = np.linspace(0, 2 * np.pi, n_around + 1)
    points = np.stack(
        [np.outer(around, np.cos(turn)), np.outer(around, np.sin(turn)), np.outer(height, np.ones_like(turn))], axis=2
    )
    points, faces = _wrapped(points.reshape(-1, 3), n_around, len(around) - 1)
    last, tip = len(points) - n_around, len(points)
    faces += [[last + k, last + (k + 1) % n_around, tip] for k in range(n_around)]
    points = np.append(points, [[0.0, 0.0, ratio * radius + width[-1]]], axis=0)
    if curl:
        bend = curl / points[-1, 2]
        way, angle = 1 / bend - points[:, 0], bend * points[:, 2]
        points = np.stack([1 / bend - way * np.cos(angle), points[:, 1], way * np.sin(angle)], axis=1)
    return points, faces


def slit_cone(slope: float, n_around: int = 16) -> tuple[np.ndarray, list[list[int]], list[tuple[int, int]]]:
    """A cone round -z and, as pairs of vertices, a seam from one side of its point to the other that reaches no rim."""
    turn, radius = np.linspace(0, 2 * np.pi, n_around + 1), np.array([15.0, 30.0, 50.0, 80.0])
    rings = [
        np.outer(radius, np.cos(turn)),
        np.outer(radius, np.sin(turn)),
        np.outer(-slope * radius, np.ones_like(turn)),
    ]
    body, faces = _wrapped(np.stack(rings, axis=2).reshape(-1, 3), n_around, 3)
    points = np.append(body, [[0.0, 0.0, 0.0]], axis=0)
    tip = len(body)
    faces = [face[::-1] for face in faces] + [[tip, k, (k + 1) % n_around] for k in range(n_around)]
    return points, faces, [(0, tip), (n_around // 2, tip)]


def _counter_clockwise(flat: np.ndarray, triangles: np.ndarray) -> list[list[int]]:
    a, b, c = (flat[triangles[:, i]] for i in range(3))
    area = (b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]
    # the rim of a regular ring is straight between its six corners: drop slivers without area
    turned = np.where((area < 0)[:, None], triangles[:, ::-1], triangles)
    return turned[np.abs(area) > 1e-9].tolist()


# --- closed round shapes ---------------------------------------------------------------------------


def _wrapped(points: np.ndarray, n_around: int, n_up: int) -> Mesh:
    """The grid of a patch with its last column joined to its first."""
    ring = points.reshape(n_up + 1, n_around + 1, 3)[:, :-1].reshape(-1, 3)
    number = np.arange(n_up * n_around + n_around).reshape(n_up + 1, n_around)
    right = np.roll(number, -1, axis=1)
    quads = np.stack([number[:-1], right[:-1], right[1:], number[1:]], axis=-1)
    return ring, quads.reshape(-1, 4).tolist()


def sphere(radius: float = 50.0, n_around: int = 24, n_up: int = 12) -> Mesh:
    """Quads between circles of latitude, triangles at the two poles."""
    up = np.linspace(-np.pi / 2, np.pi / 2, n_up + 1)[1:-1]
    a, b = np.meshgrid(2 * np.pi * np.arange(n_around) / n_around, up)
    ring = radius * np.stack([np.cos(b) * np.cos(a), np.cos(b) * np.sin(a), np.sin(b)], axis=-1).reshape(-1, 3)
    closed = np.concatenate([ring.reshape(n_up - 1, n_around, 3), ring.reshape(n_up - 1, n_around, 3)[:, :1]], axis=1)
    points, faces = _wrapped(closed, n_around, n_up - 2)
    south, north, top = len(points), len(points) + 1, (n_up - 2) * n_around
    faces += [[(c + 1) % n_around, c, south] for c in range(n_around)]
    faces += [[top + c, top + (c + 1) % n_around, north] for c in range(n_around)]
    return np.vstack([points, (0, 0, -radius), (0, 0, radius)]), faces


def icosphere(radius: float = 50.0, splits: int = 2) -> Mesh:
    """An icosahedron whose triangles were quartered `splits` times, vertices on the sphere."""
    points, faces = icosahedron()
    vertices = list(points / np.linalg.norm(points[0]))
    for _ in range(splits):
        middle: dict[tuple[int, int], int] = {}

        def halfway(i: int, j: int, middle: dict[tuple[int, int], int] = middle) -> int:
            key = (min(i, j), max(i, j))
            if key not in middle:
                middle[key] = len(vertices)
                point = vertices[i] + vertices[j]
                vertices.append(point / np.linalg.norm(point))
            return middle[key]

        quartered = []
        for a, b, c in faces:
            ab, bc, ca = halfway(a, b), halfway(b, c), halfway(c, a)
            quartered += [[a, ab, ca], [ab, b, bc], [ca, bc, c], [ab, bc, ca]]
        faces = quartered
    return radius * np.array(vertices), faces


def bumpy(radius: float = 80.0, height: float = 0.25, splits: int = 3) -> Mesh:
    """A closed potato: an icosphere swollen and dented by `height` of its radius, without symmetry."""
    points, faces = icosphere(1.0, splits)
    x, y, z = points.T
    swell = np.sin(3 * x + 1) * np.cos(2 * y) + 0.7 * np.sin(4 * z + 2 * x) * np.cos(3 * y + 0.5)
    return points * (radius * (1 + height * swell))[:, None], faces


def torus(major: float = 60.0, minor: float = 20.0, n_around: int = 24, n_tube: int = 12) -> Mesh:
    a, b = np.meshgrid(2 * np.pi * np.arange(n_around) / n_around, 2 * np.pi * np.arange(n_tube) / n_tube)
    out = major + minor * np.cos(b)
    points = np.stack([out * np.cos(a), out * np.sin(a), minor * np.sin(b)], axis=-1).reshape(-1, 3)
    number = np.arange(n_around * n_tube).reshape(n_tube, n_around)
    right, up = np.roll(number, -1, axis=1), np.roll(number, -1, axis=0)
    return points, np.stack([number, right, np.roll(up, -1, axis=1), up], axis=-1).reshape(-1, 4).tolist()


# --- changes ---------------------------------------------------------------------------------------


def together(*meshes: Mesh) -> Mesh:
    """Several meshes as one, not joined."""
    vertices, faces, count = [], [], 0
    for points, rings in meshes:
        vertices.append(points)
        faces += [[v + count for v in ring] for ring in rings]
        count += len(points)
    return np.vstack(vertices), faces


def moved(mesh: Mesh, offset: tuple[float, float, float]) -> Mesh:
    return mesh[0] + offset, mesh[1]


def triangulated(mesh: Mesh) -> Mesh:
    """Each face as a fan from its first corner (right for convex faces)."""
    return mesh[0], [[ring[0], ring[i], ring[i + 1]] for ring in mesh[1] for i in range(1, len(ring) - 1)]


def reordered(mesh: Mesh, seed: int) -> tuple[np.ndarray, list[list[int]], np.ndarray]:
    """The same mesh with its faces and vertices shuffled and its rings started elsewhere.

    Also returns the order: face i of the result is face order[i] of the input.
    """
    random = np.random.default_rng(seed)
    points, faces = mesh
    order = random.permutation(len(faces))
    new_number = random.permutation(len(points))
    shuffled = np.empty_like(points)
    shuffled[new_number] = points
    rings = [[int(new_number[v]) for v in np.roll(faces[f], random.integers(len(faces[f])))] for f in order]
    return shuffled, rings, order


def volume(mesh: Mesh) -> float:
    """Enclosed volume, positive where outsides face outward (divergence theorem)."""
    points, faces = triangulated(mesh)
    a, b, c = (points[np.array(faces)[:, i]] for i in range(3))
    return float(np.einsum("ij,ij->", a, np.cross(b, c)) / 6)
