"""Pieces on foam sheets: packed by the strip nester where it is at hand, on plain shelves where not.

The nester packs an endless strip. Here a strip as high as the sheet is packed, what lies within the first
sheet's width stays there, and the rest is packed again. It works to a time budget, so its placement is not
repeatable; whatever comes back is checked for gaps and overlaps before it is believed.
"""

from __future__ import annotations

import os
import threading
import time
from collections.abc import Sequence
from math import ceil, radians
from typing import TYPE_CHECKING

import numpy as np
import shapely
from shapely import Polygon, box

from ..check import Finding
from ..errors import SettingsError
from ..foam import Stock
from ..progress import Progress, Steps, even, share
from ..settings import Settings
from . import Placement, Sheet
from .footprint import footprint, placed, rim_points, snug_turn, turned_box
from .shelf import lay_on_shelves

try:
    import spyrrow
except ImportError:
    # no wheel for this platform; the silencer is for mypy, to whom a module is never None
    spyrrow = None  # type: ignore[assignment]

if TYPE_CHECKING:
    from ..pattern import PatternPiece

SHEET_MARGIN_MM = 5.0
SIMPLIFY_MM = 0.1
DENT_MM = 1.0
"""Dents narrower than twice this are filled before nesting: nothing would fit into them."""
LOOSE_FILL = 0.6
"""Part of a sheet that irregular pieces usually fill: only used to share the time budget among sheets."""
SEED = 1

Shapes = list[tuple[str, Polygon]]
Bins = list[list[Placement]]


def nest(pieces: Sequence[PatternPiece], settings: Settings) -> Steps[tuple[tuple[Sheet, ...], tuple[Finding, ...]]]:
    """Place every piece on a sheet of its stock, turned freely, never mirrored.

    Returns sheets numbered from 1, in the order of the stocks' first pieces, and a finding for each stock whose
    pieces lie in plain rows. Raises SettingsError for a piece that no sheet takes.
    """
    by_stock: dict[Stock, Shapes] = {}
    for piece in pieces:
        by_stock.setdefault(piece.stock, []).append((piece.name, footprint(piece)))
    for stock, shapes in by_stock.items():
        _refuse_too_large(stock, shapes)
    sheets: list[Sheet] = []
    found: list[Finding] = []
    for (stock, shapes), (first, last) in zip(by_stock.items(), even(len(by_stock)), strict=True):
        bins, own = yield from share(_fill_sheets(stock, shapes, settings), first, last)
        found += own
        for placements in bins:
            sheets.append(_sheet(len(sheets) + 1, stock, shapes, placements))
    return tuple(sheets), tuple(found)


def _room(stock: Stock) -> tuple[float, float]:
    return stock.sheet_width_mm - 2 * SHEET_MARGIN_MM, stock.sheet_height_mm - 2 * SHEET_MARGIN_MM


def _refuse_too_large(stock: Stock, shapes: Shapes) -> None:
    width, height = _room(stock)
    for name, shape in shapes:
        points = rim_points(shape)
        if snug_turn(points, width, height) is None:
            snug = snug_turn(points, np.inf, np.inf)
            _, size = turned_box(points, np.array([snug]))
            longer, shorter = sorted(size[0], reverse=True)
            raise SettingsError(
                f"Piece '{name}' measures {longer:.0f} x {shorter:.0f} mm, too large for a sheet of {stock.name} "
                f"({stock.sheet_width_mm:g} x {stock.sheet_height_mm:g} mm with {SHEET_MARGIN_MM:g} mm kept clear "
                "at the edges); give this stock a bigger sheet, or mark a seam across the piece."
            )


def _sheet(number: int, stock: Stock, shapes: Shapes, placements: list[Placement]) -> Sheet:
    shape_of = dict(shapes)
    on_sheet = [placed(shape_of[placement.piece], placement) for placement in placements]
    used = max(shape.bounds[2] for shape in on_sheet) * stock.sheet_height_mm
    fill = sum(shape.area for shape in on_sheet) / used
    return Sheet(number, stock.name, stock.sheet_width_mm, stock.sheet_height_mm, tuple(placements), float(fill))


def _fill_sheets(stock: Stock, shapes: Shapes, settings: Settings) -> Steps[tuple[Bins, list[Finding]]]:
    """Placements per sheet, and a finding where the nester did not make them."""
    stage = f"Nesting on {stock.name}"
    yield Progress(stage, 0.0)
    if _is_little(stock, shapes, settings):
        return _rows(stock, shapes, settings), []
    if spyrrow is None:
        mend = "Move the pieces together by eye before you cut, or install the Foamwright made for your system."
        return _rows(stock, shapes, settings), [_plain(stock, "the nester is missing on this platform", mend)]
    width, height = _room(stock)
    sheets_guessed = ceil(sum(shape.area for _, shape in shapes) / (LOOSE_FILL * width * height))
    seconds = max(1, settings.nest_seconds // sheets_guessed)
    bins: Bins = []
    waiting = shapes
    while waiting:
        if _is_little(stock, waiting, settings):
            return bins + _rows(stock, waiting, settings), []
        strip = yield from _pack_strip(stage, stock, waiting, settings, seconds, 1 - len(waiting) / len(shapes))
        first = _on_first_sheet(stock, waiting, strip, settings)
        if not first:
            mend = "Flatten again with a longer nesting time, or move the pieces together by eye before you cut."
            plain = _plain(stock, "the nester found no sound placement", mend)
            return bins + _rows(stock, waiting, settings), [plain]
        bins.append(first)
        done = {placement.piece for placement in first}
        waiting = [(name, shape) for name, shape in waiting if name not in done]
    return min(bins, _rows(stock, shapes, settings), key=len), []


def _is_little(stock: Stock, shapes: Shapes, settings: Settings) -> bool:
    """Whether there is nothing to be gained by a search: one piece, or so little that a strip as high as the sheet
    would be narrower than the gap, with which the nester cannot begin."""
    area = sum(shape.area for _, shape in shapes)
    return len(shapes) == 1 or area <= _strip_gap(settings) * _strip_height(stock, settings)


def _strip_gap(settings: Settings) -> float:
    # simplifying moves a rim by at most SIMPLIFY_MM, and the nester keeps the gap from the strip's edges too
    return settings.part_gap_mm + 2 * SIMPLIFY_MM


def _strip_height(stock: Stock, settings: Settings) -> float:
    return _room(stock)[1] + 2 * _strip_gap(settings)


def _plain(stock: Stock, why: str, mend: str) -> Finding:
    message = f"Pieces of {stock.name} lie in plain rows, which takes more foam: {why}."
    return Finding("plain-rows", "note", message, mend)


def _rows(stock: Stock, shapes: Shapes, settings: Settings) -> Bins:
    bins = lay_on_shelves(shapes, *_room(stock), settings.part_gap_mm)
    return [[_moved(placement, SHEET_MARGIN_MM, SHEET_MARGIN_MM) for placement in bin] for bin in bins]


def _moved(placement: Placement, x: float, y: float) -> Placement:
    return Placement(placement.piece, placement.angle, placement.x + x, placement.y + y)


def _pack_strip(
    stage: str, stock: Stock, shapes: Shapes, settings: Settings, seconds: int, done: float
) -> Steps[list[Placement]]:
    """Placements on an endless strip, or nothing where the nester gives up.

    The nester cannot be stopped: when the generator is closed its thread runs out the budget on its own,
    touching nothing. Python waits for it before it ends (not a daemon: the nester panics when Python is gone).
    """
    gap, strip_height = _strip_gap(settings), _strip_height(stock, settings)
    answer: list[Placement] = []

    def work() -> None:
        try:
            items = [spyrrow.Item(name, _simple_ring(shape), 1, None) for name, shape in shapes]
            config = spyrrow.StripPackingConfig(
                min_items_separation=gap,
                total_computation_time=seconds,
                num_workers=max(1, (os.cpu_count() or 1) - 1),  # one core for the window
                seed=SEED,
            )
            solution = spyrrow.StripPackingInstance(stock.name, strip_height, items).solve(config)
            shift = SHEET_MARGIN_MM - gap
            answer.extend(
                Placement(item.id, radians(item.rotation), item.translation[0] + shift, item.translation[1] + shift)
                for item in solution.placed_items
            )
        except (KeyboardInterrupt, SystemExit):
            raise
        except BaseException:  # the nester panics with a BaseException of its own; no answer means plain rows
            answer.clear()

    thread = threading.Thread(target=work, name="foamwright-nester")
    began = time.monotonic()
    thread.start()
    while thread.is_alive():
        thread.join(0.05)
        part = min(1.0, (time.monotonic() - began) / seconds)
        yield Progress(stage, done + (1 - done) * part)
    return answer


def _simple_ring(shape: Polygon) -> list[tuple[float, float]]:
    """The rim without needless points, a hair wider, its small dents filled: the nester refuses a rim that touches
    itself at a point, and some with a jog in a straight side."""
    wider = shape.buffer(SIMPLIFY_MM / 2 + DENT_MM).buffer(-DENT_MM).simplify(SIMPLIFY_MM / 2)
    return list(wider.exterior.coords)


def _on_first_sheet(stock: Stock, shapes: Shapes, strip: list[Placement], settings: Settings) -> list[Placement]:
    """The placements of the strip that lie within the first sheet; none if they are not sound."""
    right = stock.sheet_width_mm - SHEET_MARGIN_MM + 1e-6
    shape_of = dict(shapes)
    if {placement.piece for placement in strip} != set(shape_of):
        return []
    first = [p for p in strip if placed(shape_of[p.piece], p).bounds[2] <= right]
    on_sheet = [placed(shape_of[placement.piece], placement) for placement in first]
    return first if sound(on_sheet, stock, settings.part_gap_mm) else []


def sound(on_sheet: list[Polygon], stock: Stock, gap: float) -> bool:
    """Whether placed shapes keep the sheet's margin and the gap between each other (to 0.001 mm)."""
    clear = box(0, 0, stock.sheet_width_mm, stock.sheet_height_mm).buffer(-SHEET_MARGIN_MM + 1e-3)
    if not all(clear.covers(shape) for shape in on_sheet):
        return False
    tree = shapely.STRtree(on_sheet)
    one, other = tree.query(on_sheet, predicate="dwithin", distance=max(gap - 1e-3, 0.0))
    apart = one < other
    if gap > 1e-3:
        return not apart.any()
    pairs = zip(one[apart], other[apart], strict=True)
    return all(on_sheet[i].intersection(on_sheet[j]).area < 1e-3 for i, j in pairs)
