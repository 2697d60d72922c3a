"""The maker's list of foam, kept in the extension's own folder so that every file and every start knows it."""

from __future__ import annotations

from pathlib import Path

import bpy

from ..core.foam import Stock
from ..core.stock_library import StockLibrary, read_library, write_library

FILE = "stock.json"

_known: tuple[int, StockLibrary] | None = None
"""When the file was changed last, and what it held."""


def library() -> StockLibrary:
    """The list; the usual sheets until the maker keeps one of their own. Raises FormatError for a broken file."""
    global _known
    path = _path()
    if not path.exists():
        return StockLibrary()
    changed = path.stat().st_mtime_ns
    if _known is None or _known[0] != changed:
        _known = changed, read_library(path)
    return _known[1]


def keep(stock: Stock) -> None:
    """Put a stock on the list, in place of one of its name. Raises ExportError if it cannot be written."""
    _write(library().keeping(stock))


def forget(name: str) -> None:
    """Take a stock off the list. Raises SettingsError for a name that is not on it."""
    _write(library().without(name))


def _write(changed: StockLibrary) -> None:
    global _known
    write_library(changed, _path())
    _known = None


def _path() -> Path:
    package = (__package__ or "").rpartition(".")[0]
    try:
        folder = bpy.utils.extension_path_user(package, create=True)
    except ValueError:  # a checkout is no installed extension
        folder = bpy.utils.user_resource("CONFIG", path="foamwright", create=True)
    return Path(folder) / FILE
