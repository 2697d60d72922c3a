"""Random shells of every kind through the whole way: each is refused with an error of Foamwright's own, or gives a
pattern in which everything holds that must.

    python scripts/stress.py --seed 1 --count 3000 --keep stress.jsonl

Each shell runs in a process of its own, with limits of memory and time where the platform has them. With --keep
one line of JSON a shell is added to the file, and shells that it holds already are not run again. Prints counts by
kind and by fault; the exit code says whether all held. `tests/test_whole_way.py` runs a few of them each time.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import time
import traceback
from collections import Counter
from pathlib import Path
from typing import Any

import foamwright.core.layout.nest as nest_room
from foamwright.core.errors import FlattenError, FoamwrightError, MissingCutError
from foamwright.core.pattern import Pattern
from foamwright.core.progress import finish
from foamwright.core.seams import complete_seams
from foamwright.core.shell import Shell
from foamwright.core.unfold import unfold
from pattern_faults import Fault, faults
from shell_kinds import KINDS, Trial, random_trial

NESTED_EACH = 10
"""One shell in so many is nested in earnest: that takes a second where plain shelves take none."""

CUTS_TAKEN = 6
"""How often an offered cut is made before a shell counts as refused."""

MEMORY_BYTES, SECONDS = 4 << 30, 240


def way_of(trial: Trial, nested: bool = False) -> tuple[Pattern, list[str]]:
    """The pattern of a shell, and what of its errors the offered cut has mended.

    Raises FoamwrightError as a maker would meet it.
    """
    shell = Shell.build(trial.vertices, trial.faces, trial.seams, trial.folds, f"{trial.kind} {trial.seed}")
    mended: list[str] = []
    nester = nest_room.spyrrow
    # a module where it is there, as in `nest` itself
    nest_room.spyrrow = nester if nested else None  # type: ignore[assignment]
    try:
        while True:
            try:
                return finish(unfold(shell, trial.settings)), mended
            except (MissingCutError, FlattenError) as problem:
                if len(mended) == CUTS_TAKEN or not problem.edges:
                    raise
                mended.append(type(problem).__name__)
                shell = _with_cut(shell, problem)
    finally:
        nest_room.spyrrow = nester


def _with_cut(shell: Shell, problem: MissingCutError | FlattenError) -> Shell:
    if isinstance(problem, MissingCutError):
        return finish(complete_seams(shell))
    seam = shell.seam.copy()
    seam[list(problem.edges)] = True
    return shell.with_seams(seam)


def outcome_of(trial: Trial, nested: bool = False) -> dict[str, Any]:
    """What came of a shell: "held", "refused" or "fault", and the faults."""
    settings = trial.settings
    told: dict[str, Any] = {
        "seed": trial.seed,
        "kind": trial.kind,
        "faces": len(trial.faces),
        "foam": round(settings.stock.thickness_mm, 2),
        "inside": settings.model_is_inside,
    }
    began = time.monotonic()
    try:
        pattern, mended = way_of(trial, nested)
        found = faults(pattern, settings)
        told |= {
            "outcome": "fault" if found else "held",
            "pieces": len(pattern.pieces),
            "mended": mended,
            "findings": Counter(finding.kind for finding in pattern.findings),
        }
    except FoamwrightError as problem:
        found = []
        told |= {"outcome": "refused", "error": f"{type(problem).__name__}: {problem}"}
    except Exception as problem:  # any other error is what is looked for
        found = [Fault(f"raised {type(problem).__name__}", "", str(problem)[:300])]
        told |= {"outcome": "fault", "trace": traceback.format_exc()[-2000:]}
    faulty = [[fault.kind, fault.where, fault.words] for fault in found]
    return told | {"faults": faulty, "seconds": round(time.monotonic() - began, 2)}


def _in_own_process(seed: int, kind: str | None) -> dict[str, Any]:
    """The outcome of a seed, also where the process is killed."""
    if not hasattr(os, "fork"):
        return _run(seed, kind)
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(reading)
        _limit()
        with os.fdopen(writing, "w") as pipe:
            json.dump(_run(seed, kind), pipe)
        os._exit(0)
    os.close(writing)
    with os.fdopen(reading) as pipe:
        text = pipe.read()
    _, status = os.waitpid(child, 0)
    if text:
        return json.loads(text)
    words = f"killed with status {status} (limits: {SECONDS} s, {MEMORY_BYTES >> 30} GB)"
    trial = random_trial(seed, kind)
    return {"seed": seed, "kind": trial.kind, "outcome": "fault", "faults": [["killed", "", words]]}


def _run(seed: int, kind: str | None) -> dict[str, Any]:
    return outcome_of(random_trial(seed, kind), nested=seed % NESTED_EACH == 0)


def _limit() -> None:
    import resource

    resource.setrlimit(resource.RLIMIT_AS, (MEMORY_BYTES, MEMORY_BYTES))
    resource.setrlimit(resource.RLIMIT_CPU, (SECONDS, SECONDS + 5))


def _kept(path: Path | None) -> dict[int, dict[str, Any]]:
    """Outcomes by seed; a last line that was cut off while it was written does not count."""
    outcomes = {}
    for line in path.read_text(encoding="utf-8").splitlines() if path and path.exists() else ():
        try:
            outcome = json.loads(line)
        except json.JSONDecodeError:
            continue
        outcomes[outcome["seed"]] = outcome
    return outcomes


def summary(outcomes: list[dict[str, Any]]) -> str:
    """Counts by kind and by fault, and the seeds of each fault."""
    lines = [f"{'kind':10}{'shells':>8}{'held':>8}{'cut':>8}{'refused':>9}{'fault':>8}"]
    for kind in (*KINDS, None):
        own = [outcome for outcome in outcomes if kind in (None, outcome["kind"])]
        ends = Counter(outcome["outcome"] for outcome in own)
        cut = sum(bool(outcome.get("mended")) for outcome in own)
        counts = f"{len(own):8}{ends['held']:8}{cut:8}{ends['refused']:9}{ends['fault']:8}"
        lines.append(f"{kind or 'all':10}{counts}")
    lines.append("cut: of those held, after a cut that an error had offered")
    for kind, seeds in sorted(_by_fault(outcomes).items()):
        lines.append(f"{kind}: {len(seeds)} shells, seeds {', '.join(map(str, seeds[:12]))}")
    errors = Counter(outcome["error"].split(":")[0] for outcome in outcomes if "error" in outcome)
    lines += [f"refused with {name}: {count}" for name, count in sorted(errors.items())]
    return "\n".join(lines)


def _by_fault(outcomes: list[dict[str, Any]]) -> dict[str, list[int]]:
    seeds: dict[str, list[int]] = {}
    for outcome in outcomes:
        for kind in dict.fromkeys(fault[0] for fault in outcome["faults"]):
            seeds.setdefault(kind, []).append(outcome["seed"])
    return seeds


def main() -> int:
    parser = argparse.ArgumentParser(description="Random shells of every kind through the whole way.")
    parser.add_argument("--seed", type=int, default=1, help="the first seed")
    parser.add_argument("--count", type=int, default=3000)
    parser.add_argument("--kind", choices=list(KINDS), help="only shells of this kind")
    parser.add_argument("--keep", type=Path, help="file of outcomes, to stop and go on")
    options = parser.parse_args()
    outcomes = _kept(options.keep)
    seeds = range(options.seed, options.seed + options.count)
    for seed in seeds:
        if seed in outcomes:
            continue
        outcome = outcomes[seed] = _in_own_process(seed, options.kind)
        if options.keep:
            with options.keep.open("a", encoding="utf-8") as file:
                file.write(json.dumps(outcome) + "\n")
        for fault in outcome["faults"]:
            print(f"seed {seed} ({outcome['kind']}): {': '.join(word for word in fault if word)}", flush=True)
    done = [outcomes[seed] for seed in seeds]
    print(summary(done))
    return 1 if any(outcome["faults"] for outcome in done) else 0


if __name__ == "__main__":
    sys.exit(main())
