"""Long work as steps: a generator that yields `Progress` and returns its result.

Whoever runs it may stop between two steps; nothing is written anywhere until the end. Work that is put together of
other work gives each its `share`, so that the whole goes from 0 to 1 and never back.
"""

from __future__ import annotations

from collections.abc import Callable, Generator, Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor, wait
from contextlib import closing
from dataclasses import dataclass
from typing import TypeVar

Result = TypeVar("Result")

LEFT_BY_A_TURN = 0.3
"""Part of the way that is kept for the turns to come. First rounds of mending and of laying flat take the most."""

LOOK_S = 0.02
"""Time between two looks at whether work in a thread is done: well under a blink."""


@dataclass(frozen=True)
class Progress:
    """What is being done, in the maker's words, and how far the work is (0 to 1)."""

    stage: str
    part: float


Steps = Generator[Progress, None, Result]


def finish(steps: Generator[Progress, None, Result]) -> Result:
    """Run the steps to the end and return their result."""
    while True:
        try:
            next(steps)
        except StopIteration as end:
            return end.value


def in_thread(work: Callable[[], Result], at: Progress) -> Steps[Result]:
    """Work that cannot be divided, beside whoever waits for it; it must touch nothing that others change, and keep no
    sparse factor: SuperLU frees one only in the thread that made it.

    Yields `at` meanwhile. When the generator is closed the work runs out on its own and nobody hears of it.
    """
    pool = ThreadPoolExecutor(1, "foamwright-work")
    try:
        answer = pool.submit(work)
        while wait([answer], LOOK_S).not_done:
            yield at
        return answer.result()
    finally:
        pool.shutdown(wait=False)


def share(steps: Generator[Progress, None, Result], first: float, last: float) -> Steps[Result]:
    """The steps as a part of longer work, from `first` to `last` of it; where they begin anew it stands still."""
    with closing(steps):
        done = 0.0
        while True:
            try:
                step = next(steps)
            except StopIteration as end:
                return end.value
            done = max(done, step.part)
            yield Progress(step.stage, min(last, first + (last - first) * done))


def even(count: int, first: float = 0.0) -> Iterator[tuple[float, float]]:
    """As many equal shares of what follows `first`."""
    for number in range(count):
        yield first + (1 - first) * number / count, first + (1 - first) * (number + 1) / count


def nearing(turn: int) -> tuple[float, float]:
    """The share of one of several turns, counted from 0, where any may be the last: most of what is left."""
    return 1 - LEFT_BY_A_TURN**turn, 1 - LEFT_BY_A_TURN ** (turn + 1)


def telling(stage: str, parts: Iterable[float]) -> Steps[None]:
    """Work that yields bare parts from 0 to 1, as steps of one stage."""
    for part in parts:
        yield Progress(stage, part)
