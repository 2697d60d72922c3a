"""Taking a parsed JSON document apart, with errors that say where in it something is wrong."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

import numpy as np

from .errors import ExportError, FoamwrightError, FormatError

Made = TypeVar("Made")
LARGEST = 2**53
"""Whole numbers up to this are told apart by every reader of JSON (RFC 8259, section 6)."""


def read_document(path: str | Path, of: str = "pattern") -> Any:
    """What a JSON file holds; `of` is what it should be, in words.

    Raises ExportError if the file cannot be read, FormatError if it is not JSON.
    """
    try:
        # some editors begin a text with a mark of its bytes' order
        text = Path(path).read_text(encoding="utf-8-sig")
    except OSError as problem:
        why = problem.strerror or str(problem)
        raise ExportError(f"'{path}' cannot be read: {why}. Choose a file that exists and may be read.") from problem
    except UnicodeDecodeError as problem:
        raise FormatError(f"'{path}' is not a text file; choose a {of} that Foamwright wrote.") from problem
    return parse_document(text, f"'{path}'", of)


def parse_document(text: str, name: str, of: str = "pattern") -> Any:
    """What a JSON text holds; `name` is what to call it in a message. Raises FormatError if it is not JSON."""
    try:
        return json.loads(text)
    except (ValueError, RecursionError) as problem:  # a ValueError too where a number has thousands of digits
        raise FormatError(f"{name} is not JSON ({problem}); choose a {of} that Foamwright wrote.") from problem


@dataclass(frozen=True)
class Node:
    """A value in the document and the path that leads to it, as "pieces[2].flat"; `of` is what is read."""

    value: Any
    path: str
    of: str = "pattern"

    def __getitem__(self, key: str) -> Node:
        if not isinstance(self.value, dict):
            raise self.wrong("should be an object with named values")
        if key not in self.value:
            raise self.wrong(f"has no '{key}'")
        return Node(self.value[key], f"{self.path}.{key}" if self.path else key, self.of)

    def wrong(self, what: str) -> FormatError:
        place = f"'{self.path}'" if self.path else "the document"
        return FormatError(f"This is not a {self.of} that can be read: {place} {what}. Export the {self.of} anew.")

    def list(self) -> Iterator[Node]:
        if not isinstance(self.value, list):
            raise self.wrong("should be a list")
        return (Node(value, f"{self.path}[{index}]", self.of) for index, value in enumerate(self.value))

    def text(self) -> str:
        if not isinstance(self.value, str):
            raise self.wrong("should be text")
        try:
            self.value.encode()
        except UnicodeEncodeError:
            raise self.wrong("holds half a sign") from None
        return self.value

    def text_or_none(self) -> str | None:
        return None if self.value is None else self.text()

    def number(self) -> float:
        if isinstance(self.value, bool) or not isinstance(self.value, int | float):
            raise self.wrong("should be a number")
        try:
            number = float(self.value)
        except OverflowError:
            number = math.inf
        if not math.isfinite(number):
            raise self.wrong("should be a number")
        return number

    def integer(self) -> int:
        if isinstance(self.value, bool) or not isinstance(self.value, int):
            raise self.wrong("should be a whole number")
        if abs(self.value) > LARGEST:
            raise self.wrong("is too large")
        return self.value

    def boolean(self) -> bool:
        if not isinstance(self.value, bool):
            raise self.wrong("should be true or false")
        return self.value

    def integers(self, below: int | None = None, columns: int | None = None) -> np.ndarray:
        """(n,) or (n, columns) int64, each from 0 to below `below` if given."""
        array = self._array(columns)
        if array.size and array.dtype.kind != "i":  # what is too large for it comes as another kind
            raise self.wrong("should hold whole numbers")
        if below is not None and array.size and not 0 <= array.min() <= array.max() < below:
            raise self.wrong(f"names an element outside 0 to {below - 1}")
        return array.astype(np.int64)

    def rings(self, below: int) -> tuple[np.ndarray, np.ndarray]:
        """Lists of whole numbers from 0 to below `below`: all one after another (c,), and where each starts (n + 1,),
        the end of the last included."""
        rows = list(self.list())
        try:
            joined = Node([value for row in self.value for value in row], self.path, self.of).integers(below)
        except (TypeError, FormatError):
            # one by one, to say which is wrong
            joined = np.concatenate([np.empty(0, np.int64), *(row.integers(below) for row in rows)])
        return joined, np.cumsum([0, *(len(row.value) for row in rows)])

    def numbers(self, columns: int | None = None) -> np.ndarray:
        """(n,) or (n, columns) float."""
        array = self._array(columns)
        if array.size and array.dtype.kind not in "iuf":
            raise self.wrong("should hold numbers")
        if not np.isfinite(array.astype(float)).all():
            raise self.wrong("holds a value that is not a finite number")
        return array.astype(float)

    def pair(self) -> tuple[float, float]:
        values = self.numbers()
        if len(values) != 2:
            raise self.wrong("should be two numbers")
        return float(values[0]), float(values[1])

    def made(self, make: Callable[[], Made]) -> Made:
        """What `make` builds; its refusal is told together with this place."""
        try:
            return make()
        except FormatError:
            raise
        except FoamwrightError as problem:
            raise self.wrong(f"does not hold together ({problem})") from problem

    def _array(self, columns: int | None) -> np.ndarray:
        if not isinstance(self.value, list):
            raise self.wrong("should be a list of numbers")
        try:
            array = np.array(self.value)
        except ValueError:
            raise self.wrong("has rows of different length") from None
        shape_wanted = 1 if columns is None else 2
        if not array.size:
            return np.empty((0,) if columns is None else (0, columns), np.int64)
        if array.ndim != shape_wanted or (columns is not None and array.shape[1] != columns):
            rows = "numbers" if columns is None else f"rows of {columns} numbers"
            raise self.wrong(f"should be a list of {rows}")
        return array
