"""Random polygons, with and without holes, and random bevels through the outline engine: none may crash it, cross
itself, or keep foam that a bevel cuts away.

    python scripts/stress_outlines.py --count 10000 --seed 1

Prints how many polygons were tried, how many kept an inside face, and every seed that failed; the exit code
says whether all held. `tests/test_outline_stress.py` runs a few hundred of them each time.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import shapely
from foamwright.core.outline import GRID_MM, REACH, offset_polygon
from shapely import Polygon

STEEPEST_DEG = 80.0
LOOSE_MM = 0.05


@dataclass(frozen=True, eq=False)
class Trial:
    """A polygon, foam in mm, and a bevel in degrees for each of its sides.

    rings : each (n, 2) mm, the outer one first and counter-clockwise, holes clockwise; bevels_deg : per ring (n,)
    """

    rings: tuple[np.ndarray, ...]
    thickness: float
    bevels_deg: tuple[np.ndarray, ...]

    @property
    def inward(self) -> list[np.ndarray]:
        return [self.thickness * np.tan(np.radians(bevels)) for bevels in self.bevels_deg]

    @property
    def whole(self) -> Polygon:
        return Polygon(self.rings[0], self.rings[1:])


def random_trial(seed: int) -> Trial:
    """Stars, wavy rims, combs and needles, half of them with holes, with steady, changing or wild bevels."""
    random = np.random.default_rng(seed)
    outer = random_ring(random)
    bevels = [_random_bevels(random, len(outer))]
    thickness = float(random.uniform(2, 10))
    holes = list(_random_holes(random, Polygon(outer)))
    bevels += [_random_bevels(random, len(hole)) for hole in holes]
    return Trial((outer, *holes), thickness, tuple(bevels))


def fault_of(trial: Trial) -> str:
    """What is wrong with the inside outline of a trial, "" if nothing is."""
    try:
        parts = offset_polygon(trial.rings, trial.inward)
    except Exception as problem:  # any crash is what is looked for
        return f"crash: {problem!r}"
    for part in parts:
        if not part.is_valid or not all(ring.is_simple for ring in (part.exterior, *part.interiors)):
            return "an outline that crosses itself"
        if not part.exterior.is_ccw or any(ring.is_ccw for ring in part.interiors):
            return "an outline that runs backwards"
    if all((inward >= 0).all() for inward in trial.inward) and _outside(parts, trial.whole) > LOOSE_MM:
        return "an inside outline that leaves the outside one though every bevel is a ridge"
    if _standing(parts, trial) > LOOSE_MM:
        return "an inside outline that keeps what a bevel cuts away"
    return ""


def _outside(parts: list[Polygon], whole: Polygon) -> float:
    """How far in mm parts stick out of the polygon, as area over its length."""
    return max((part.difference(whole.buffer(1e-3)).area / whole.length for part in parts), default=0.0)


def _standing(parts: list[Polygon], trial: Trial) -> float:
    """How far in mm parts reach into the strip under a bevel that cuts inwards, as area over its length, at most;
    what a bevel that leans outwards may bring back is left out, and strips beside one, which may be a pocket that
    closes."""
    strips, brought_back = [], []
    for ring, inward in zip(trial.rings, trial.inward, strict=True):
        step = np.roll(ring, -1, axis=0) - ring
        deep = inward[:, None] * np.stack([-step[:, 1], step[:, 0]], axis=1) / np.linalg.norm(step, axis=1)[:, None]
        corners = np.stack([ring, ring + step, ring + step + deep, ring + deep], axis=1)
        leaning_out = inward < 0
        beside = np.roll(leaning_out, 1) | np.roll(leaning_out, -1)
        strips += list(shapely.polygons(corners[(inward > LOOSE_MM) & ~beside]))
        sides = shapely.linestrings(corners[leaning_out, :2])
        brought_back += list(shapely.buffer(sides, REACH * -inward[leaning_out]))
    kept = shapely.difference(shapely.MultiPolygon(parts), shapely.union_all(brought_back), grid_size=GRID_MM)
    shapely.prepare(kept)
    return max((strip.intersection(kept).area / strip.length for strip in strips), default=0.0)


def _random_bevels(random: np.random.Generator, n: int) -> np.ndarray:
    bevels = [
        random.uniform(-STEEPEST_DEG, STEEPEST_DEG, n),
        np.repeat(random.uniform(-50, 50, 6), -(-n // 6))[:n],
        random.choice([0.0, 22.5, 45.0, -30.0], n),
        20 + 25 * np.sin(np.linspace(0, 2 * np.pi, n)),
        np.full(n, random.choice([0.0, 15.0, 45.0])),
    ]
    return bevels[int(random.integers(len(bevels)))]


def random_ring(random: np.random.Generator) -> np.ndarray:
    """A star-shaped simple polygon: spiky, wavy, round or toothed, with many short sides or few."""
    while True:
        n = int(random.integers(3, 60))
        turn = np.sort(random.uniform(0, 2 * np.pi, n))
        radius = [
            random.uniform(5, 60, n),
            40 + 10 * np.sin(3 * turn + random.uniform(0, 6)) + random.normal(0, 0.3, n),
            np.full(n, random.uniform(2, 50)),
            np.where(np.arange(n) % 2, 60.0, random.uniform(10, 50)),
        ][int(random.integers(4))]
        ring = np.stack([radius * np.cos(turn), radius * np.sin(turn)], axis=1) * random.uniform(0.2, 2, 2)
        shape = Polygon(ring)
        if shape.is_valid and shape.area > 1 and shape.exterior.is_ccw:
            return ring


def _random_holes(random: np.random.Generator, room: Polygon) -> Iterator[np.ndarray]:
    """None to three clockwise rings, each clear of the rim and of the others, sometimes by very little."""
    for _ in range(int(random.choice([0, 0, 0, 1, 2, 3]))):
        spots = random.uniform(room.bounds[:2], room.bounds[2:], (30, 2))
        inside = spots[shapely.contains_xy(room, spots)]
        if not len(inside):
            return
        clear = shapely.distance(shapely.points(inside), room.boundary)
        size = float(clear.max()) * random.uniform(0.3, 0.98)
        ring = random_ring(random)
        ring = (ring * size / np.linalg.norm(ring, axis=1).max() + inside[int(np.argmax(clear))])[::-1]
        if Polygon(ring).area > 1:
            yield ring
            room = room.difference(Polygon(ring))


def main() -> int:
    parser = argparse.ArgumentParser(description="Random polygons with random bevels through the outline engine.")
    parser.add_argument("--count", type=int, default=10_000)
    parser.add_argument("--seed", type=int, default=1, help="the first seed")
    options = parser.parse_args()
    started, faults, empty, split, holed = time.perf_counter(), 0, 0, 0, 0
    for seed in range(options.seed, options.seed + options.count):
        trial = random_trial(seed)
        fault = fault_of(trial)
        if fault:
            faults += 1
            print(f"seed {seed}: {fault}", flush=True)
            continue
        parts = offset_polygon(trial.rings, trial.inward)
        empty, split, holed = empty + (not parts), split + (len(parts) > 1), holed + (len(trial.rings) > 1)
    took = time.perf_counter() - started
    print(f"{options.count} polygons, {holed} with holes, {faults} faults; {empty} eaten whole, {split} split")
    print(f"{took:.0f} s")
    return 1 if faults else 0


if __name__ == "__main__":
    raise SystemExit(main())
