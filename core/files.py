"""Writing a file whole or not at all."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from .errors import ExportError


def write_whole(path: str | Path, write: Callable[[Path], None]) -> Path:
    """Let `write` fill the file of `whole_file`; returns its path."""
    with whole_file(path) as draft:
        write(draft)
    return Path(path)


@contextmanager
def whole_file(path: str | Path) -> Iterator[Path]:
    """A draft beside `path` to be filled meanwhile, then put in place; a failure leaves what was there before.

    Raises ExportError naming the folder and the way out.
    """
    target = Path(path)
    try:
        handle, name = tempfile.mkstemp(dir=target.parent, prefix=f".{target.stem}-", suffix=target.suffix)
        os.close(handle)
    except OSError as problem:
        raise _refusal(target, problem) from problem
    draft = Path(name)
    try:
        yield draft
        draft.chmod(0o644)
        draft.replace(target)
    except OSError as problem:
        raise _refusal(target, problem) from problem
    finally:
        draft.unlink(missing_ok=True)


def _refusal(target: Path, problem: OSError) -> ExportError:
    why = problem.strerror or str(problem)
    return ExportError(
        f"'{target.name}' cannot be written to the folder '{target.parent}': {why}. "
        "Choose a folder that exists and that you may write to, or close the program that holds the file open."
    )
