"""How long a window stands still while a job is at work, and how the job's time grows with the mesh. Run through
bench.py: it needs no peer, so its figures are seconds of this machine."""

from __future__ import annotations

import argparse
import math
import time
from collections import defaultdict
from pathlib import Path

import numpy as np
from foamwright.core.check import examining
from foamwright.core.pattern import Pattern
from foamwright.core.pattern_json import writing_text
from foamwright.core.progress import Progress, Steps
from foamwright.core.renaming import renaming
from foamwright.core.settings import Settings
from foamwright.core.shell import Shell
from foamwright.core.unfold import unfold

SIZES = (10_000, 40_000, 100_000)
FOAM = Settings(nest_seconds=1)


def fine_helmet(faces: int) -> Shell:
    """An egg of 190 x 230 mm, open below, with a brow: eight pieces by four upright seams and one level one."""
    rows = int(math.sqrt(faces / 2))
    around = 4 * round(faces / rows / 4)
    down, turn = np.pi * np.linspace(0.62, 0.02, rows)[:, None], 2 * np.pi * np.arange(around) / around
    radius = 1 + 0.04 * np.exp(-(((down - 1.25) / 0.12) ** 2)) * (0.5 + 0.5 * np.cos(turn))
    level = 130 * np.cos(down) + 0 * turn
    rings = np.stack([95 * radius * np.sin(down) * np.cos(turn), 115 * radius * np.sin(down) * np.sin(turn), level], 2)
    vertex = np.arange(rows * around).reshape(rows, around)
    onward = np.roll(vertex, -1, axis=1)
    quads = np.stack([vertex[:-1], onward[:-1], onward[1:], vertex[1:]], axis=2).reshape(-1, 4)
    top = rows * around
    cap = np.stack([vertex[-1], onward[-1], np.full(around, top)], axis=1)
    upright = vertex[:, :: around // 4]
    middle = (rows - 1) // 2
    seams = [
        np.stack([upright[:-1].ravel(), upright[1:].ravel()], axis=1),
        np.stack([upright[-1], np.full(4, top)], axis=1),
        np.stack([vertex[middle], onward[middle]], axis=1),
    ]
    points = np.vstack([rings.reshape(-1, 3), (0, 0, 130 * math.cos(0.02 * np.pi) + 0.4)])
    return Shell.build(points, [*quads, *cap], np.concatenate(seams), name=f"helmet of {faces}")


def measured(name: str, steps: Steps) -> tuple[object, float]:
    """The result and the seconds it took; prints the longest time between two steps of each stage."""
    longest: dict[str, float] = defaultdict(float)
    began = last = time.perf_counter()
    step = Progress("begin", 0.0)
    count = 0
    while True:
        try:
            following = next(steps)
        except StopIteration as end:
            result = end.value
            break
        finally:
            now = time.perf_counter()
            longest[step.stage], last = max(longest[step.stage], now - last), now
        step, count = following, count + 1
    worst = sorted(longest.items(), key=lambda item: -item[1])[:4]
    told = ", ".join(f"{stage} {seconds:.2f}" for stage, seconds in worst)
    print(f"  {name:10s}{last - began:8.1f} s in {count:5d} steps; longest: {told}", flush=True)
    return result, last - began


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--bunny", type=Path, help="taken for symmetry with the other benches")
    parser.add_argument("--quick", action="store_true")
    sizes = SIZES[:-1] if parser.parse_args().quick else SIZES
    taken: dict[str, list[float]] = defaultdict(list)
    for size in sizes:
        shell = fine_helmet(size)
        print(f"helmet of {shell.face_count} faces", flush=True)
        taken["check"].append(measured("check", examining(shell))[1])
        pattern, seconds = measured("flatten", unfold(shell, FOAM))
        assert isinstance(pattern, Pattern)
        taken["flatten"].append(seconds)
        taken["rename"].append(measured("rename", renaming(pattern, pattern.pieces[0].name, "Brow"))[1])
        taken["keep"].append(measured("keep", writing_text(pattern))[1])
    for job, runs in taken.items():
        power = math.log(runs[-1] / runs[0]) / math.log(sizes[-1] / sizes[0])
        print(f"{job} grows as faces to the power {power:.1f}")


if __name__ == "__main__":
    main()
