"""The maker's own list of foam, kept in a JSON file."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass, fields
from pathlib import Path
from typing import Any

from .errors import FormatError, SettingsError
from .files import write_whole
from .foam import EVA_SHEETS, Stock
from .json_reading import Node, read_document

FORMAT, VERSION, WORDS = "foamwright stock", 1, "list of stock"


@dataclass(frozen=True)
class StockLibrary:
    """Stocks, each name once."""

    stocks: tuple[Stock, ...] = EVA_SHEETS

    def __post_init__(self) -> None:
        names = [stock.name for stock in self.stocks]
        twice = {name for name in names if names.count(name) > 1}
        if twice:
            raise SettingsError(f"Two stocks are called '{min(twice)}'; give each a name of its own.")

    def stock(self, name: str) -> Stock:
        """Raises SettingsError for a name that the library does not hold."""
        for stock in self.stocks:
            if stock.name == name:
                return stock
        raise SettingsError(f"There is no stock '{name}'; choose one of {', '.join(s.name for s in self.stocks)}.")

    def keeping(self, stock: Stock) -> StockLibrary:
        """With this stock, in place of one of its name; thinnest first."""
        stocks = [*(other for other in self.stocks if other.name != stock.name), stock]
        return StockLibrary(tuple(sorted(stocks, key=lambda one: (one.thickness_mm, one.name))))

    def without(self, name: str) -> StockLibrary:
        self.stock(name)
        return StockLibrary(tuple(stock for stock in self.stocks if stock.name != name))


def write_library(library: StockLibrary, path: str | Path) -> Path:
    """Write the list, readable by eye. Raises ExportError if the file cannot be written."""
    document = {"format": FORMAT, "version": VERSION, "unit": "mm", "stocks": [asdict(s) for s in library.stocks]}
    text = json.dumps(document, ensure_ascii=False, allow_nan=False, indent=2)

    def put(draft: Path) -> None:
        draft.write_text(text + "\n", encoding="utf-8")

    return write_whole(path, put)


def read_library(path: str | Path) -> StockLibrary:
    """Read a list. A value that a stock does not give takes its usual one, so that lists of older versions can
    be read. Raises ExportError if the file cannot be read, FormatError if it holds no list of stock."""
    return library_from(read_document(path, WORDS))


def library_from(document: Any) -> StockLibrary:
    """Raises FormatError that says where the document is wrong."""
    root = Node(document, "", WORDS)
    if root["format"].value != FORMAT:
        raise root["format"].wrong(f"should be '{FORMAT}'")
    if root["version"].integer() > VERSION:
        raise FormatError(f"This list of stock is of version {root['version'].value}; update Foamwright to read it.")
    stocks = tuple(_stock_in(node) for node in root["stocks"].list())
    return root["stocks"].made(lambda: StockLibrary(stocks))


def _stock_in(node: Node) -> Stock:
    name, thickness = node["name"].text(), node["thickness_mm"].number()
    given = {
        field.name: node[field.name].number()
        for field in fields(Stock)
        if field.name not in ("name", "thickness_mm") and field.name in node.value
    }
    return node.made(lambda: Stock(name, thickness, **given))
