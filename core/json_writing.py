"""A document of dicts, sequences and arrays as JSON, some of its text at a time."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import numpy as np

MOST_ROWS = 10_000
"""Of a list whose text is made at a time: a hundredth of a second."""

DEEP = 4
"""Levels that are taken apart; what lies deeper is small."""


def texts(document: Any, encode: json.JSONEncoder, depth: int = DEEP) -> Iterator[str]:
    """What `encode` makes of the document, in parts; arrays are lists."""
    if depth and isinstance(document, Mapping):
        for number, (key, value) in enumerate(document.items()):
            yield f"{encode.item_separator if number else '{'}{encode.encode(key)}{encode.key_separator}"
            yield from texts(value, encode, depth - 1)
        yield "}" if document else "{}"
    elif depth and isinstance(document, list) and any(isinstance(value, Mapping) for value in document[:1]):
        for number, value in enumerate(document):
            yield encode.item_separator if number else "["
            yield from texts(value, encode, depth - 1)
        yield "]"
    elif isinstance(document, Sequence | np.ndarray) and not isinstance(document, str) and len(document) > MOST_ROWS:
        for first in range(0, len(document), MOST_ROWS):
            rows = encode.encode(plain(document[first : first + MOST_ROWS]))
            yield (encode.item_separator if first else "[") + rows[1:-1]
        yield "]"
    else:
        yield encode.encode(plain(document))


def plain(document: Any) -> Any:
    """The same of dicts, lists, numbers and text alone."""
    if isinstance(document, np.ndarray):
        return document.tolist()
    if isinstance(document, Mapping):
        return {key: plain(value) for key, value in document.items()}
    if isinstance(document, list | tuple) and not all(isinstance(value, int | float | str) for value in document):
        return [plain(value) for value in document]
    return document
