"""The maker's list of foam, kept in the extension's own folder so that every file and every start knows it."""

from __future__ import annotations

from itertools import count
from pathlib import Path

import bpy

from ..core.errors import FoamwrightError, FormatError
from ..core.foam import Stock
from ..core.stock_library import StockLibrary, read_library, write_library

FILE = "stock.json"

_known: tuple[int, StockLibrary] | None = None
"""When the file was changed last, and what it held."""

notice = ""
"""Why the maker's list is not used, until they keep or forget a stock."""


def library() -> StockLibrary:
    """The list; the usual sheets until the maker keeps one of their own, and where their list cannot be read."""
    global _known
    path = _path()
    try:
        changed = path.stat().st_mtime_ns
    except FileNotFoundError:
        return StockLibrary()
    except OSError:
        changed = 0
    if _known is None or _known[0] != changed:
        _known = changed, _read(path)
    return _known[1]


def _read(path: Path) -> StockLibrary:
    global notice
    try:
        return read_library(path)
    except FoamwrightError as problem:
        notice = f"Your list of foam is not used: {problem} The usual sheets stand in for it."
        if isinstance(problem, FormatError):
            notice += _put_aside(path)
        print(notice)
        return StockLibrary()


def _put_aside(path: Path) -> str:
    """Give a broken list another name, so that a new one can be begun and nothing is lost; says so in words."""
    names = (path.with_name(f"{path.stem}-broken-{number}{path.suffix}") for number in count(1))
    aside = next(name for name in names if not name.exists())
    try:
        path.rename(aside)
    except OSError:
        return f" Put '{path}' aside yourself."
    return f" It was put aside beside it as '{aside.name}'."


def keep(stock: Stock) -> None:
    """Put a stock on the list, in place of one of its name.

    Raises ExportError if it cannot be written, FormatError where a broken list is in the way.
    """
    _write(library().keeping(stock))


def forget(name: str) -> None:
    """Take a stock off the list. Raises SettingsError for a name that is not on it."""
    _write(library().without(name))


def _write(changed: StockLibrary) -> None:
    global _known, notice
    path = _path()
    if path.exists():
        read_library(path)  # what cannot be read, nor put aside, is never written over
    write_library(changed, path)
    _known, notice = None, ""


def _path() -> Path:
    package = (__package__ or "").rpartition(".")[0]
    try:
        folder = bpy.utils.extension_path_user(package, create=True)
    except ValueError:  # a checkout is no installed extension
        folder = bpy.utils.user_resource("CONFIG", path="foamwright", create=True)
    return Path(folder) / FILE
