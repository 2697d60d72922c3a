"""Random polygons with random bevels through the outline engine: none may crash it or cross itself.

    python scripts/stress_outlines.py --count 10000 --seed 1

Prints how many polygons were tried, how many kept an inside face, and every seed that failed; the exit code
says whether all held. `tests/test_outline_stress.py` runs a few hundred of them each time.
"""

from __future__ import annotations

import argparse
import time
from dataclasses import dataclass

import numpy as np
from foamwright.core.outline import offset_ring
from shapely import Polygon

STEEPEST_DEG = 80.0
LOOSE_MM = 0.05


@dataclass(frozen=True, eq=False)
class Trial:
    """A simple counter-clockwise polygon (n, 2) mm, foam in mm, and a bevel (n,) in degrees for each side."""

    ring: np.ndarray
    thickness: float
    bevel_deg: np.ndarray

    @property
    def inward(self) -> np.ndarray:
        return self.thickness * np.tan(np.radians(self.bevel_deg))


def random_trial(seed: int) -> Trial:
    """Stars, wavy rims, combs and needles, with steady, changing or wild bevels."""
    random = np.random.default_rng(seed)
    ring = _random_ring(random)
    n = len(ring)
    bevels = [
        random.uniform(-STEEPEST_DEG, STEEPEST_DEG, n),
        np.repeat(random.uniform(-50, 50, 6), -(-n // 6))[:n],
        random.choice([0.0, 22.5, 45.0, -30.0], n),
        20 + 25 * np.sin(np.linspace(0, 2 * np.pi, n)),
    ]
    return Trial(ring, float(random.uniform(2, 10)), bevels[int(random.integers(4))])


def fault_of(trial: Trial) -> str:
    """What is wrong with the inside outline of a trial, "" if nothing is."""
    try:
        parts = offset_ring(trial.ring, trial.inward)
    except Exception as problem:  # any crash is what is looked for
        return f"crash: {problem!r}"
    for part in parts:
        if not part.is_valid or not part.exterior.is_simple:
            return "an outline that crosses itself"
        if not part.exterior.is_ccw:
            return "an outline that runs backwards"
    if (trial.inward >= 0).all() and _outside(parts, trial.ring) > LOOSE_MM:
        return "an inside outline that leaves the outside one though every bevel is a ridge"
    return ""


def _outside(parts: list[Polygon], ring: np.ndarray) -> float:
    """How far in mm parts stick out of the ring, as area over its length."""
    whole = Polygon(ring)
    return max((part.difference(whole.buffer(1e-3)).area / whole.length for part in parts), default=0.0)


def _random_ring(random: np.random.Generator) -> np.ndarray:
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


def main() -> int:
    parser = argparse.ArgumentParser(description="Random polygons with random bevels through the outline engine.")
    parser.add_argument("--count", type=int, default=10_000)
    parser.add_argument("--seed", type=int, default=1, help="the first seed")
    options = parser.parse_args()
    started, faults, empty, split = time.perf_counter(), 0, 0, 0
    for seed in range(options.seed, options.seed + options.count):
        trial = random_trial(seed)
        fault = fault_of(trial)
        if fault:
            faults += 1
            print(f"seed {seed}: {fault}", flush=True)
            continue
        parts = offset_ring(trial.ring, trial.inward)
        empty, split = empty + (not parts), split + (len(parts) > 1)
    took = time.perf_counter() - started
    print(f"{options.count} polygons, {faults} faults; {empty} eaten whole, {split} split; {took:.0f} s")
    return 1 if faults else 0


if __name__ == "__main__":
    raise SystemExit(main())
