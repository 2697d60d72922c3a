"""What mesh elements were before an edit: by a number that they carry, and by place where that does not decide.

A mesh keeps one number for each of its elements, through edits and modifiers. A modifier may make several elements
from one, as the two sides of a mirror, and elements that carry no number at all; these are told apart by place.
"""

from __future__ import annotations

import base64
import binascii
import zlib
from dataclasses import dataclass

import numpy as np
from scipy.spatial import KDTree

from .errors import FormatError

NOTHING = 0
"""The number, and the key, of an element that has none."""

_ROW = np.dtype([("number", "<i4"), ("key", "<i4"), ("place", "<f4", 3)])


@dataclass(frozen=True, eq=False)
class Memory:
    """Elements by number (p,) int and place (p, 3), with their keys (p,) int.

    Holds only elements whose number does not say their key already.
    """

    number: np.ndarray
    key: np.ndarray
    place: np.ndarray

    @classmethod
    def empty(cls) -> Memory:
        return cls(np.empty(0, np.int64), np.empty(0, np.int64), np.empty((0, 3)))

    def __len__(self) -> int:
        return len(self.number)


def own_numbers(origin: np.ndarray, key: np.ndarray, count: int) -> np.ndarray:
    """(count,) int, the number that each element of a mesh shall carry: the key of the first that is made from it.

    origin : (m,) int, the element of the mesh that each made one comes from, -1 for none; key : (m,) int
    """
    number = np.full(count, NOTHING)
    known = np.flatnonzero((origin >= 0) & (key != NOTHING))[::-1]
    number[origin[known]] = key[known]  # of several assignments the last one holds
    return number


def remember(number: np.ndarray, key: np.ndarray, place: np.ndarray) -> Memory:
    """What has to be kept of elements that carry `number` (m,) at `place` (m, 3), so that `recall` finds `key` (m,)."""
    unclear = np.isin(number, np.unique(number[number != key]))
    return Memory(number[unclear], key[unclear], place[unclear])


def recall(memory: Memory, number: np.ndarray, place: np.ndarray) -> np.ndarray:
    """(m,) int, the keys of elements that carry `number` (m,) int at `place` (m, 3), in the space of the memory's.

    Of elements that carry the same number the nearest decides; a number that is not remembered is the key itself.
    """
    key = np.array(number, np.int64)
    asked = np.isin(key, memory.number)
    if not asked.any():
        return key
    # a step from number to number that no distance makes up for
    extent = np.ptp(np.vstack([memory.place, place]), axis=0)
    step = 2.0 * float(np.linalg.norm(extent)) + 1.0
    numbers, remembered = np.unique(memory.number, return_inverse=True)
    tree = KDTree(np.column_stack([memory.place, step * remembered.reshape(-1)]))
    _, nearest = tree.query(np.column_stack([place[asked], step * np.searchsorted(numbers, key[asked])]))
    key[asked] = memory.key[nearest]
    return key


def to_text(memory: Memory) -> str:
    """The memory in letters, "" for an empty one."""
    if not len(memory):
        return ""
    rows = np.empty(len(memory), _ROW)
    rows["number"], rows["key"], rows["place"] = memory.number, memory.key, memory.place
    return base64.b64encode(zlib.compress(rows.tobytes())).decode("ascii")


def from_text(text: str) -> Memory:
    """What `to_text` wrote. Raises FormatError for anything else."""
    try:
        rows = np.frombuffer(zlib.decompress(base64.b64decode(text, validate=True)) if text else b"", _ROW)
    except (binascii.Error, zlib.error, ValueError) as problem:
        raise FormatError(f"What was remembered of pieces and runs cannot be read: {problem}.") from problem
    place = rows["place"].astype(float)
    if not np.isfinite(place).all():
        raise FormatError("What was remembered of pieces and runs cannot be read: a place is not a number.")
    return Memory(rows["number"].astype(np.int64), rows["key"].astype(np.int64), place)
