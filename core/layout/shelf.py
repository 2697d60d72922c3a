"""Plain packing of boxes on shelves: the same boxes always lie the same way."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from shapely import Polygon

from . import Placement
from .footprint import rim_points, snug_turn, turned_box


@dataclass
class _Shelf:
    bin: int
    floor: float
    height: float
    filled: float


def pack_boxes(sizes: Sequence[tuple[float, float]], width: float, height: float, gap: float) -> list[tuple]:
    """(bin, x, y) of the lower left corner of each box in bins of width x height mm, gap mm between boxes.

    First fit by decreasing height (Coffman, Garey, Johnson and Tarjan, Performance bounds for level-oriented
    two-dimensional packing algorithms, SIAM Journal on Computing 9, 1980), shelves stacked in bins.
    Every box must fit a bin.
    """
    spots: list[tuple] = [(0, 0.0, 0.0)] * len(sizes)
    shelves: list[_Shelf] = []
    tops: list[float] = []
    for index in sorted(range(len(sizes)), key=lambda i: (-round(sizes[i][1], 6), -round(sizes[i][0], 6), i)):
        wide, tall = sizes[index]
        shelf = next((s for s in shelves if s.filled + wide <= width + 1e-9 and tall <= s.height + 1e-9), None)
        if shelf is None:
            bin_index = next((b for b, top in enumerate(tops) if top + tall <= height + 1e-9), len(tops))
            if bin_index == len(tops):
                tops.append(0.0)
            shelf = _Shelf(bin_index, tops[bin_index], tall, 0.0)
            tops[bin_index] += tall + gap
            shelves.append(shelf)
        spots[index] = (shelf.bin, shelf.filled, shelf.floor)
        shelf.filled += wide + gap
    return spots


def lay_on_shelves(
    shapes: Sequence[tuple[str, Polygon]], width: float, height: float, gap: float
) -> list[list[Placement]]:
    """Placements per bin, origin at the bin's lower left corner; each shape must fit a bin at some turn."""
    lows, sizes, turns = [], [], []
    for name, shape in shapes:
        points = rim_points(shape)
        turn = snug_turn(points, width, height)
        if turn is None:
            raise ValueError(f"{name} does not fit {width:g} x {height:g} mm")
        low, size = turned_box(points, np.array([turn]))
        turns.append(turn)
        lows.append(low[0])
        sizes.append((float(size[0, 0]), float(size[0, 1])))
    bins: list[list[Placement]] = []
    for (name, _), turn, low, (number, x, y) in zip(
        shapes, turns, lows, pack_boxes(sizes, width, height, gap), strict=True
    ):
        while len(bins) <= number:
            bins.append([])
        bins[number].append(Placement(name, turn, float(x - low[0]), float(y - low[1])))
    return bins
