"""Long work as steps: a generator that yields `Progress` and returns its result.

Whoever runs it may stop between two steps; nothing is written anywhere until the end.
"""

from __future__ import annotations

from collections.abc import Generator
from dataclasses import dataclass
from typing import TypeVar

Result = TypeVar("Result")


@dataclass(frozen=True)
class Progress:
    """What is being done, in the maker's words, and how far it is (0 to 1) within this stage."""

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
