"""Writing a file whole or not at all."""

from __future__ import annotations

import contextlib
import errno
import os
import secrets
import shutil
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from .errors import ExportError, FoamwrightError

DRAFT = ".foamwright-draft-"
"""How the names of files and folders begin that are not finished."""
OLD_S = 3600.0
"""A draft this old was left by a run that was killed; a younger one may be at work in another Blender."""
SCARCE_BYTES = 4096
"""A disk with less room is full: a block of most file systems."""


def write_whole(path: str | Path, write: Callable[[Path], object]) -> Path:
    """Let `write` fill the file of `whole_file`; returns its path."""
    with whole_file(path) as draft:
        write(draft)
    return Path(path)


@contextmanager
def whole_file(path: str | Path) -> Iterator[Path]:
    """A draft beside `path` to be filled meanwhile, then put in place; a failure leaves what was there before.

    Raises ExportError that names the file and the way out, also for whatever a drawing library raises.
    """
    target = Path(path)
    with _refusals_of(target):
        _sweep(target.parent)
        draft = target.parent / f"{DRAFT}{secrets.token_hex(4)}{target.suffix}"
        # made here and not by a library for passing files: those hide a file from everybody else
        os.close(os.open(draft, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o666))
    try:
        with _refusals_of(target):
            yield draft
        put_in_place(draft, target)
    finally:
        with contextlib.suppress(OSError):
            draft.unlink(missing_ok=True)


def put_in_place(draft: Path, target: Path) -> None:
    """Let a finished file replace `target`, unless that is write-protected. Raises ExportError."""
    with _refusals_of(target):
        # not asked of the system: it lets its administrator write to everything
        if target.is_file() and not target.stat().st_mode & 0o222:
            raise ExportError(f"'{target}' is write-protected and was left alone; choose another folder.")
        draft.replace(target)


@contextmanager
def draft_folder(home: Path) -> Iterator[Path]:
    """A folder in `home`, which is made if need be, for files that are not in place yet. Raises ExportError."""
    try:
        home.mkdir(parents=True, exist_ok=True)
        _sweep(home)
        drafts = home / f"{DRAFT}{secrets.token_hex(4)}"
        drafts.mkdir()
    except (OSError, ValueError) as problem:  # a path with a zero in it is a ValueError
        raise (_full(home) if _is_full(home, problem) else _cannot_be_made(home, problem)) from problem
    try:
        yield drafts
    finally:
        shutil.rmtree(drafts, ignore_errors=True)


def _sweep(folder: Path) -> None:
    """Remove what runs that were killed have left."""
    for draft in folder.glob(f"{DRAFT}*"):
        with contextlib.suppress(OSError):
            if time.time() - draft.lstat().st_mtime < OLD_S:
                continue
            if draft.is_dir() and not draft.is_symlink():
                shutil.rmtree(draft)
            else:
                draft.unlink()


@contextmanager
def _refusals_of(target: Path) -> Iterator[None]:
    """Turn what goes wrong meanwhile into an error that names the file and the way out."""
    folder = target.parent.parent if target.parent.name.startswith(DRAFT) else target.parent
    try:
        yield
    except Exception as problem:  # drawing libraries raise anything, also Exception itself
        if _is_full(folder, problem):
            raise _full(folder) from problem
        if isinstance(problem, FoamwrightError):
            raise
        raise _cannot_be_written(folder / target.name, problem) from problem


def _is_full(folder: Path, problem: Exception) -> bool:
    if isinstance(problem, OSError) and problem.errno is not None:
        return problem.errno in (errno.ENOSPC, errno.EDQUOT)
    try:
        return shutil.disk_usage(folder).free < SCARCE_BYTES  # not every library says why it failed
    except (OSError, ValueError):
        return False


def _full(folder: Path) -> ExportError:
    return ExportError(f"The disk of the folder '{folder}' is full; make room there, or choose a folder elsewhere.")


def _cannot_be_made(folder: Path, problem: Exception) -> ExportError:
    why = problem.strerror if isinstance(problem, OSError) else None
    return ExportError(
        f"The folder '{folder}' cannot be made or written to: {why or problem}. Choose a folder that you may write to."
    )


def _cannot_be_written(target: Path, problem: Exception) -> ExportError:
    if isinstance(problem, OSError):
        return ExportError(
            f"'{target.name}' cannot be written to the folder '{target.parent}': {problem.strerror or problem}. "
            "Choose a folder that exists and that you may write to, or close the program that holds the file open."
        )
    return ExportError(
        f"'{target.name}' cannot be made of this pattern ({type(problem).__name__}: {problem}). Flatten the shell "
        "again; if that does not help, leave this file out."
    )
