"""Random shells of every kind a maker has, with seams, folds and settings: the same seed makes the same shell.

All are in mm. They may be hard to build, or impossible: what is asked of Foamwright is that it says so.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from foamwright.core.foam import Stock
from foamwright.core.settings import JOINT_RULES, RIM_STYLES, TIGHT_BENDS, Settings
from scipy.sparse import coo_array
from scipy.sparse.csgraph import dijkstra

Random = np.random.Generator
Faces = list[list[int]]
Mesh = tuple[np.ndarray, Faces]
Edges = set[tuple[int, int]]

THINNEST_MM, THICKEST_MM = 0.5, 30.0


@dataclass(frozen=True, eq=False)
class Trial:
    """One shell and what its maker chose; seams and folds are vertex pairs."""

    seed: int
    kind: str
    vertices: np.ndarray
    faces: Faces
    seams: list[tuple[int, int]]
    folds: list[tuple[int, int]]
    settings: Settings


def random_trial(seed: int, kind: str | None = None, coarse: bool = False) -> Trial:
    """The shell of a seed; coarse : with few faces, for a quick look."""
    random = np.random.default_rng(seed)
    any_kind = str(random.choice(list(KINDS)))
    kind = kind or any_kind
    make = KINDS[kind]
    mesh, seams = make(random, 0.3 if coarse else 1.0)
    vertices, faces = _some_windows(random, mesh) if random.random() < 0.2 else mesh
    edges = _edges_of(faces)
    if random.random() < 0.5:
        vertices = _roughened(random, vertices, edges, 10 ** random.uniform(-4, -1.3))
    seams = {edge for edge in seams if edge in edges} | set(_random_seams(random, vertices, faces, edges))
    folds = set(_some(random, sorted(edges - seams), 8)) if random.random() < 0.4 else set()
    return _without_loose(Trial(seed, kind, vertices, faces, sorted(seams), sorted(folds), random_settings(random)))


def _without_loose(trial: Trial) -> Trial:
    """The shell without the vertices that windows and planes have left alone."""
    used = np.unique(np.concatenate(trial.faces))
    number = {int(old): new for new, old in enumerate(used)}
    return replace(
        trial,
        vertices=trial.vertices[used],
        faces=[[number[v] for v in face] for face in trial.faces],
        seams=[(number[a], number[b]) for a, b in trial.seams],
        folds=[(number[a], number[b]) for a, b in trial.folds],
    )


def random_settings(random: Random) -> Settings:
    """Foam from the thinnest to the thickest sheet, either face modelled, every rule a maker may choose."""
    thickness = float(np.exp(random.uniform(np.log(THINNEST_MM), np.log(THICKEST_MM))))
    stock = Stock(
        "Sheet",
        thickness,
        sheet_width_mm=float(random.choice([1000, 1500, 2400])),
        sheet_height_mm=float(random.choice([600, 1000, 1500])),
        neutral_depth=float(random.choice([0.5, 0.5, 0.0, 0.35, 1.0])),
        skin_mm=min(1.0, 0.2 * thickness),
        tightest_bend=float(random.choice([3, 3, 0, 8])),
        kerf_mm=float(random.choice([2, 1, 4])),
        blade_mm=float(random.choice([0, 0, 0.4, 1.5])),
    )
    butt_limit = float(random.uniform(0, 40))
    return Settings(
        stock=stock,
        model_is_inside=bool(random.random() < 0.5),
        joint_rule=str(random.choice(["auto", *JOINT_RULES])),
        butt_limit_deg=butt_limit,
        one_sided_limit_deg=float(random.uniform(butt_limit, 90)),
        rim_style=str(random.choice(["square", *RIM_STYLES])),
        rim_bevel_deg=float(random.uniform(0, 80)),
        fold_limit_deg=float(random.choice([30, 30, 10, 60, 180])),
        tight_bends=str(random.choice(TIGHT_BENDS)),
        cut_layers=bool(random.random() < 0.3),
        seam_priority=float(random.choice([1, 1, 1, 1, 0.5, 0])),
        squeeze_cost=float(random.choice([1.1, 1.1, 1.0, 3.0])),
        notch_spacing_mm=float(random.choice([50, 50, 20, 200])),
        part_gap_mm=float(random.choice([4, 4, 0, 10])),
        nest_seconds=1,
    )


# --- the kinds: each makes a mesh and the seams that belong to it ------------------------------


def dome(random: Random, fine: float) -> tuple[Mesh, Edges]:
    """A cap of an ellipsoid with a pole, cut in gores or not at all."""
    around, up = _count(random, 8, 32, fine), _count(random, 3, 12, fine)
    reach, axes = random.uniform(0.2, 0.9) * np.pi, random.uniform(0.6, 1.4, 3) * _size(random)

    def place(along: float, turn: float) -> np.ndarray:
        down = reach * along
        return axes * (np.sin(down) * np.cos(turn), np.sin(down) * np.sin(turn), np.cos(down))

    mesh = _revolved(random, up, around, place)
    gores = _some(random, [_spoke(i, up, around) for i in range(around)], 6) if random.random() < 0.7 else []
    return mesh, {edge for gore in gores for edge in gore}


def finger(random: Random, fine: float) -> tuple[Mesh, Edges]:
    """A tube closed at one end with a round or flat cap, straight or curled, with no seam or one along it."""
    around, up = _count(random, 6, 16, fine), _count(random, 4, 30, fine)
    radius = random.uniform(6, 40)
    long, curl = radius * np.exp(random.uniform(0, np.log(60))), random.choice([1e-6, random.uniform(0, 4)])
    cap = random.uniform(0.02, 0.5)
    mesh = _revolved(random, up, around, _curled(long, radius, curl, lambda x: min(1.0, (x / cap) ** 0.5)))
    return mesh, set(_spoke(0, up, around)) if random.random() < 0.4 else set()


def horn(random: Random, fine: float) -> tuple[Mesh, Edges]:
    """A cone that curls to its tip, with no seam or up to three along it."""
    around, up = _count(random, 6, 16, fine), _count(random, 4, 30, fine)
    radius = random.uniform(10, 60)
    long, curl, power = (
        radius * np.exp(random.uniform(0.3, np.log(30))),
        random.uniform(1e-6, 7),
        random.uniform(0.5, 1.5),
    )
    mesh = _revolved(random, up, around, _curled(long, radius, curl, lambda x: x**power))
    lines = int(random.integers(0, 4))
    return mesh, {edge for i in range(lines) for edge in _spoke(i * around // max(lines, 1), up, around)}


def tube(random: Random, fine: float) -> tuple[Mesh, Edges]:
    """A wavy or tapered tube with a cut along it, which may stop short or be missing."""
    around, up = _count(random, 8, 32, fine), _count(random, 3, 14, fine)
    radius, long, taper = random.uniform(10, 150), random.uniform(0.3, 4), random.uniform(-0.6, 0.9)
    wave, phases = random.choice([0, random.uniform(0, 0.25)]), random.uniform(0, 6, 2)

    def place(u: float, v: float) -> tuple[float, float, float]:
        out = radius * (1 + taper * v) * (1 + wave * np.sin(6 * np.pi * u + phases[0]) * np.sin(4 * v + phases[1]))
        return out * np.cos(2 * np.pi * u), out * np.sin(2 * np.pi * u), radius * long * v

    mesh = _gridded(random, around, up, place, wrapped=True)
    stop = up if random.random() < 0.7 else int(random.integers(0, up))
    return mesh, {_edge(j, j + 1) for j in range(stop)}


def slit(random: Random, fine: float) -> tuple[Mesh, Edges]:
    """A dome, a saddle or a wave over a square with slits inside it that reach no rim."""
    n = _count(random, 8, 18, fine)
    half, bow = _size(random) / 2, random.uniform(0.05, 1.2) * random.choice([-1, 1], 2)

    def place(u: float, v: float) -> tuple[float, float, float]:
        x, y = 2 * u - 1, 2 * v - 1
        return half * x, half * y, half * (bow[0] * x * x + bow[1] * y * y)

    seams = set()
    for _ in range(random.integers(1, 4)):
        start, stop = np.sort(random.choice(np.arange(1, n), 2, replace=False))
        line = int(random.integers(1, n))
        across = random.random() < 0.5
        nodes = [line * (n + 1) + k if across else k * (n + 1) + line for k in range(start, stop + 1)]
        seams |= {_edge(a, b) for a, b in pairwise(nodes)}
    return _gridded(random, n, n, place), seams


def plate(random: Random, fine: float) -> tuple[Mesh, Edges]:
    """A flat or gently bent plate with holes."""
    n = _count(random, 6, 20, fine)
    half, bend, tall = _size(random) / 2, random.choice([0, random.uniform(-1.5, 1.5)]), random.uniform(0.3, 1)

    def place(u: float, v: float) -> tuple[float, float, float]:
        turn = bend * (2 * u - 1)
        flat = abs(bend) < 1e-6
        x, z = (2 * u - 1, 0.0) if flat else (np.sin(turn) / bend, (np.cos(turn) - 1) / bend)
        return half * x, half * tall * (2 * v - 1), half * z

    mesh = _gridded(random, n, n, place)
    for _ in range(random.integers(1, 4)):
        mesh = _some_windows(random, mesh)
    return mesh, set()


def strip(random: Random, fine: float) -> tuple[Mesh, Edges]:
    """A long narrow band, straight, curled up, or twisted."""
    long, wide = _count(random, 10, 80, fine), int(random.integers(1, 4))
    width = random.uniform(5, 30)
    length, curl, twist = width * random.uniform(4, 40), *random.choice([1e-6, 1, 2.5], 2)
    rise = random.uniform(0, 1) if curl < 1 else 1.5

    def place(u: float, v: float) -> np.ndarray:
        turn, lean, across = 2 * curl * u, twist * np.pi * u, width * (v - 0.5)
        along = np.array([np.sin(turn), 1 - np.cos(turn), 0]) * length / (2 * curl)
        normal = np.array([-np.sin(turn), np.cos(turn), 0])
        return along + across * (np.cos(lean) * np.array([0, 0, 1]) + np.sin(lean) * normal) + (0, 0, rise * width * u)

    return _gridded(random, long, wide, place), set()


def scan(random: Random, fine: float) -> tuple[Mesh, Edges]:
    """A rough potato of which planes have cut off parts, or a rough landscape."""
    n = _count(random, 8, 18, fine)
    size, waves = _size(random) / 2, random.uniform(-4, 4, (4, 3))
    height = random.uniform(0.02, 0.5)

    def swell(x: float, y: float) -> float:
        return 1 + height * float(np.sin(waves @ (x, y, 1.0)).sum()) / 2

    if random.random() < 0.4:
        mesh = _gridded(random, n, n, lambda u, v: (2 * size * u, 2 * size * v, size * swell(u, v)))
    else:
        mesh = _revolved(random, n, n, lambda along, turn: size * swell(along, turn) * _direction(along, turn), True)
    vertices, faces = mesh
    vertices = _roughened(random, vertices, _edges_of(faces), 10 ** random.uniform(-1.7, -0.6))
    return _cut_by_planes(random, (vertices, faces)), set()


def box(random: Random, fine: float) -> tuple[Mesh, Edges]:
    """A box or a cushion, its edges seams or folds or nothing."""
    n = max(1, _count(random, 1, 8, fine))
    number: dict[tuple[int, ...], int] = {}
    faces = []
    for axis in range(3):
        for end in (0, n):
            for i in range(n):
                for j in range(n):
                    ring = []
                    for di, dj in ((0, 0), (1, 0), (1, 1), (0, 1)):
                        place = [0, 0, 0]
                        place[axis], place[(axis + 1) % 3], place[(axis + 2) % 3] = end, i + di, j + dj
                        ring.append(number.setdefault(tuple(place), len(number)))
                    faces.append(ring if end else ring[::-1])
    vertices = np.array(list(number), float) / n * 2 - 1
    if random.random() < 0.5:
        vertices = vertices * (1.25 - np.linalg.norm(vertices, axis=1)[:, None] / 8)
    corners = {place: index for place, index in number.items() if sum(k in (0, n) for k in place) >= 2}
    ridges = {edge for edge in _edges_of(faces) if edge[0] in corners.values() and edge[1] in corners.values()}
    mesh = vertices * random.uniform(0.3, 1.2, 3) * _size(random) / 2, faces
    return _cut_by_planes(random, mesh), ridges if random.random() < 0.4 and n > 1 else set()


def ring(random: Random, fine: float) -> tuple[Mesh, Edges]:
    """A torus, or a part of one, with the two cuts that open it."""
    around, up = _count(random, 8, 22, fine), _count(random, 6, 14, fine)
    radius, slim = _size(random) / 2, random.uniform(0.1, 0.45)

    def place(u: float, v: float) -> tuple[float, float, float]:
        out = radius * (1 + slim * np.cos(2 * np.pi * v))
        return out * np.cos(2 * np.pi * u), out * np.sin(2 * np.pi * u), radius * slim * np.sin(2 * np.pi * v)

    mesh = _gridded(random, around, up, place, wrapped=True)
    return mesh, {_edge(j, j + 1) for j in range(up)} | {
        _edge(i * (up + 1), (i + 1) % around * (up + 1)) for i in range(around)
    }


KINDS: dict[str, Callable[[Random, float], tuple[Mesh, Edges]]] = {
    make.__name__: make for make in (dome, finger, horn, tube, slit, plate, strip, scan, box, ring)
}


# --- shapes ------------------------------------------------------------------------------------


def _size(random: Random) -> float:
    """Of a whole shell in mm: a thimble to a breastplate."""
    return float(np.exp(random.uniform(np.log(40), np.log(450))))


def _count(random: Random, least: int, most: int, fine: float) -> int:
    return int(random.integers(least, max(least + 1, round(least + (most - least) * fine))))


def _direction(along: float, turn: float) -> np.ndarray:
    down = np.pi * along
    return np.array([np.sin(down) * np.cos(turn), np.sin(down) * np.sin(turn), np.cos(down)])


def _roughened(random: Random, vertices: np.ndarray, edges: Edges, part: float) -> np.ndarray:
    """Moved at random by a part of how long edges are."""
    ends = np.array(sorted(edges))
    usual = float(np.median(np.linalg.norm(vertices[ends[:, 0]] - vertices[ends[:, 1]], axis=1)))
    return vertices + random.normal(0, part * usual, vertices.shape)


def _curled(
    long: float, radius: float, curl: float, wide: Callable[[float], float]
) -> Callable[[float, float], np.ndarray]:
    """Places on a tube along an arc that turns by `curl` rad; wide(x) : part of the radius at x from the tip."""

    def place(x: float, turn: float) -> np.ndarray:
        bend = curl * (1 - x)
        middle = (1 - np.cos(bend)) / curl, 0.0, np.sin(bend) / curl
        out = np.array([np.cos(bend), 0, -np.sin(bend)]) * np.cos(turn) + np.array([0, 1, 0]) * np.sin(turn)
        return long * np.array(middle) + radius * wide(x) * out

    return place


def _revolved(
    random: Random, up: int, around: int, place: Callable[[float, float], np.ndarray], closed: bool = False
) -> Mesh:
    """Rings of vertices from a tip, vertex 0, to an open rim or to another tip; outside is away from the axis."""
    rows = up if not closed else up - 1
    points = [place(0.0, 0.0)]
    points += [place(i / up, 2 * np.pi * j / around) for i in range(1, rows + 1) for j in range(around)]
    faces = [[0, 1 + j, 1 + (j + 1) % around] for j in range(around)]
    for i in range(rows - 1):
        here, there = 1 + i * around, 1 + (i + 1) * around
        quads = [[here + j, there + j, there + (j + 1) % around, here + (j + 1) % around] for j in range(around)]
        faces += quads
    if closed:
        points.append(place(1.0, 0.0))
        last = 1 + (rows - 1) * around
        faces += [[last + (j + 1) % around, last + j, len(points) - 1] for j in range(around)]
    return np.array(points), _split(random, faces)


def _spoke(turn: int, up: int, around: int) -> list[tuple[int, int]]:
    """Edges of `_revolved` from its tip to its rim."""
    nodes = [0, *(1 + i * around + turn for i in range(up))]
    return [_edge(a, b) for a, b in pairwise(nodes)]


def _gridded(
    random: Random,
    columns: int,
    rows: int,
    place: Callable[[float, float], np.ndarray | tuple[float, float, float]],
    wrapped: bool = False,
) -> Mesh:
    """Quads over u and v from 0 to 1, vertex i (rows + 1) + j at (i, j); wrapped : u = 1 is u = 0."""
    across = columns if wrapped else columns + 1
    points = [place(i / columns, j / rows) for i in range(across) for j in range(rows + 1)]

    def at(i: int, j: int) -> int:
        return i % across * (rows + 1) + j

    quads = [[at(i, j), at(i + 1, j), at(i + 1, j + 1), at(i, j + 1)] for i in range(columns) for j in range(rows)]
    return np.array(points, float), _split(random, quads)


def _split(random: Random, faces: Faces) -> Faces:
    """Faces as they are, all in triangles, or some quads along either diagonal."""
    style = random.choice(["quads", "triangles", "mixed"])
    if style == "quads":
        return faces
    split = []
    for face in faces:
        if len(face) == 4 and (style == "triangles" or random.random() < 0.7):
            a, b, c, d = np.roll(face, int(random.integers(2))).tolist() if style == "mixed" else face
            split += [[a, b, c], [a, c, d]]
        else:
            split.append(face)
    return split


# --- cuts --------------------------------------------------------------------------------------


def _cut_by_planes(random: Random, mesh: Mesh) -> Mesh:
    vertices, faces = mesh
    middle = np.array([vertices[face].mean(axis=0) for face in faces])
    reach = np.ptp(vertices, axis=0).max() / 2
    keep = np.ones(len(faces), bool)
    for _ in range(random.integers(1, 4)):
        normal = random.normal(0, 1, 3)
        below = (middle - middle.mean(axis=0)) @ normal < random.uniform(-0.5, 0.8) * reach * np.linalg.norm(normal)
        if (keep & below).sum() >= 12:
            keep &= below
    return _kept(mesh, keep)


def _some_windows(random: Random, mesh: Mesh) -> Mesh:
    vertices, faces = mesh
    middle = np.array([vertices[face].mean(axis=0) for face in faces])
    keep = np.ones(len(faces), bool)
    for _ in range(random.integers(1, 3)):
        away = np.linalg.norm(middle - middle[random.integers(len(middle))], axis=1)
        clear = away > random.uniform(0.05, 0.3) * np.ptp(vertices, axis=0).max() / 2
        if (keep & clear).sum() >= 12:
            keep &= clear
    return _kept(mesh, keep)


def _kept(mesh: Mesh, keep: np.ndarray) -> Mesh:
    """The mesh without some faces; all vertices stay, so that edges keep their names."""
    vertices, faces = mesh
    return vertices, [face for face, kept in zip(faces, keep, strict=True) if kept]


def _random_seams(random: Random, vertices: np.ndarray, faces: Faces, edges: Edges) -> Iterator[tuple[int, int]]:
    """Lines from vertex to vertex, rims of random patches, and stray edges; often none."""
    if random.random() < 0.4:
        yield from _lines(random, vertices, edges, int(random.integers(1, 7)))
    if random.random() < 0.3:
        yield from _patch_rims(random, vertices, faces, int(random.integers(2, 10)))
    if random.random() < 0.2:
        yield from _some(random, sorted(edges), 5)


def _lines(random: Random, vertices: np.ndarray, edges: Edges, count: int) -> Iterator[tuple[int, int]]:
    ends = np.array(sorted(edges))
    length = np.linalg.norm(vertices[ends[:, 0]] - vertices[ends[:, 1]], axis=1) * random.uniform(0.3, 1.7, len(ends))
    graph = coo_array((length, ends.T), shape=(len(vertices),) * 2).tocsr()
    used = np.unique(ends)
    for start, goal in random.choice(used, (count, 2)):
        _, before = dijkstra(graph, directed=False, indices=start, return_predecessors=True)
        while before[goal] >= 0:
            yield _edge(int(goal), int(before[goal]))
            goal = before[goal]


def _patch_rims(random: Random, vertices: np.ndarray, faces: Faces, count: int) -> Iterator[tuple[int, int]]:
    middle = np.array([vertices[face].mean(axis=0) for face in faces])
    hearts = middle[random.integers(len(middle), size=count)]
    patch = np.argmin(np.linalg.norm(middle[:, None] - hearts[None], axis=2), axis=1)
    owner: dict[tuple[int, int], int] = {}
    for number, face in enumerate(faces):
        for edge in _sides(face):
            if patch[owner.setdefault(edge, number)] != patch[number]:
                yield edge


def _edges_of(faces: Faces) -> Edges:
    return {edge for face in faces for edge in _sides(face)}


def _sides(face: list[int]) -> Iterator[tuple[int, int]]:
    return (_edge(a, b) for a, b in zip(face, face[1:] + face[:1], strict=True))


def _edge(a: int, b: int) -> tuple[int, int]:
    return (a, b) if a < b else (b, a)


def _some(random: Random, things: list, most: int) -> list:
    """Up to so many of them, each once."""
    count = min(len(things), int(random.integers(1, most + 1)))
    return [things[i] for i in random.choice(len(things), count, replace=False)]
