"""Nesting: no overlaps, inside the sheets, and honest errors. The placement itself is not repeatable."""

from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from foamwright.core.errors import SettingsError
from foamwright.core.foam import eva
from foamwright.core.layout import nest as nest_module
from foamwright.core.layout.footprint import footprint, placed, rim_points, snug_turn, turned_box, used_size
from foamwright.core.layout.nest import SHEET_MARGIN_MM, nest, sound
from foamwright.core.layout.shelf import pack_boxes
from foamwright.core.progress import finish
from foamwright.core.settings import Settings
from hypothesis import given
from hypothesis import strategies as st
from sample_pattern import THICK, THIN, sample_pattern
from shapely import MultiPolygon, Polygon, box

QUICK = Settings(nest_seconds=1, part_gap_mm=4.0)


def _check_sheets(pieces, sheets, gap):
    shapes = {piece.name: footprint(piece) for piece in pieces}
    stock = {piece.name: piece.stock.name for piece in pieces}
    names = [placement.piece for sheet in sheets for placement in sheet.placements]
    assert sorted(names) == sorted(shapes)
    assert [sheet.number for sheet in sheets] == list(range(1, len(sheets) + 1))
    for sheet in sheets:
        assert {stock[placement.piece] for placement in sheet.placements} == {sheet.stock}
        on_sheet = [placed(shapes[placement.piece], placement) for placement in sheet.placements]
        clear = box(0, 0, sheet.width_mm, sheet.height_mm).buffer(-SHEET_MARGIN_MM + 0.01)
        assert all(clear.covers(shape) for shape in on_sheet)
        for one, other in combinations(on_sheet, 2):
            assert one.distance(other) >= gap - 0.01
        used = max(shape.bounds[2] for shape in on_sheet) * sheet.height_mm
        long, high = used_size(pieces, sheet)
        assert (long, high) == pytest.approx(tuple(np.ptp(np.reshape(MultiPolygon(on_sheet).bounds, (2, 2)), axis=0)))
        assert sheet.fill == pytest.approx(sum(shape.area for shape in on_sheet) / used)


def _copies(count):
    pieces = sample_pattern().pieces
    return [replace(pieces[i % len(pieces)], name=f"{pieces[i % len(pieces)].name} {i}") for i in range(count)]


@pytest.mark.skipif(nest_module.spyrrow is None, reason="the nester has no wheel here")
def test_nester_fills_sheets_by_stock_without_overlap():
    pieces = sample_pattern().pieces
    sheets, found = finish(nest(pieces, QUICK))
    _check_sheets(pieces, sheets, QUICK.part_gap_mm)
    assert [sheet.stock for sheet in sheets] == [THIN.name, THICK.name]
    assert not found


@pytest.mark.skipif(nest_module.spyrrow is None, reason="the nester has no wheel here")
def test_what_does_not_fit_the_first_sheet_goes_to_the_next():
    pieces = [piece for piece in _copies(24) if piece.stock == THIN]
    sheets, _ = finish(nest(pieces, QUICK))
    assert len(sheets) > 1
    _check_sheets(pieces, sheets, QUICK.part_gap_mm)


@pytest.mark.skipif(nest_module.spyrrow is None, reason="the nester has no wheel here")
@pytest.mark.parametrize(("side", "gap"), [(3.0, 0.0), (3.0, 4.0), (24.0, 4.0), (26.0, 4.0), (26.0, 10.0)])
def test_a_few_small_pieces_are_no_trouble(side, gap):
    ring = np.array([(0, 0), (side, 0), (side, side), (0, side), (0, 0)], float)
    small = [replace(piece, outside_outline=(ring,), inside_outline=(ring,), stock=THIN) for piece in _copies(4)]
    sheets, found = finish(nest(small, replace(QUICK, part_gap_mm=gap)))
    _check_sheets(small, sheets, gap)
    assert not found


def test_rows_when_the_nester_is_missing_say_so_and_repeat(monkeypatch):
    monkeypatch.setattr(nest_module, "spyrrow", None)
    pieces = _copies(18)
    (first, found), (second, _) = finish(nest(pieces, QUICK)), finish(nest(pieces, QUICK))
    _check_sheets(pieces, first, QUICK.part_gap_mm)
    assert first == second
    assert [finding.kind for finding in found] == ["plain-rows"] * 2
    for finding, stock in zip(found, (THIN, THICK), strict=True):
        assert stock.name in finding.message
        assert "the nester is missing" in finding.message
        assert finding.severity == "note"
    assert finish(nest(pieces[:1], QUICK))[1] == (), "a single piece has nothing to gain"


class _Panic(BaseException):
    pass


class _PanickingNester:
    @staticmethod
    def Item(name, shape, demand, turns):
        raise _Panic(name)


class _StackingNester:
    """Answers every request with all items on top of each other."""

    @staticmethod
    def Item(name, shape, demand, turns):
        return name

    @staticmethod
    def StripPackingConfig(**choices):
        return None

    class StripPackingInstance:
        def __init__(self, name, height, items):
            self.items = items

        def solve(self, config):
            placed_item = type("PlacedItem", (), {"rotation": 0.0, "translation": (50.0, 50.0)})
            items = [type("Named", (placed_item,), {"id": name}) for name in self.items]
            return type("Solution", (), {"placed_items": items})


@pytest.mark.parametrize("nester", [_PanickingNester, _StackingNester])
def test_a_nester_that_panics_or_lies_is_not_believed(monkeypatch, nester):
    monkeypatch.setattr(nest_module, "spyrrow", nester)
    pieces = sample_pattern().pieces
    sheets, found = finish(nest(pieces, QUICK))
    _check_sheets(pieces, sheets, QUICK.part_gap_mm)
    assert [finding.kind for finding in found] == ["plain-rows"] * 2
    assert "no sound placement" in found[0].message


def test_closing_the_steps_early_is_clean():
    steps = nest(sample_pattern().pieces, QUICK)
    next(steps)
    next(steps)
    steps.close()
    with pytest.raises(StopIteration):
        next(steps)


def test_piece_larger_than_its_sheet_is_named_with_size_and_way_out():
    small = replace(THIN, sheet_width_mm=400.0, sheet_height_mm=300.0)
    pieces = [replace(piece, stock=small) for piece in sample_pattern().pieces]
    with pytest.raises(SettingsError, match=r"'brow band' measures 500 x 60 mm.*400 x 300.*bigger sheet.*seam"):
        finish(nest(pieces, QUICK))


def test_a_bar_that_fits_only_on_the_diagonal_is_found():
    bar = np.array([(0, 0), (1080, 0), (1080, 10), (0, 10)], float)
    turn = snug_turn(bar, 990, 590)
    assert turn is not None
    _, size = turned_box(bar, np.array([turn]))
    assert (size[0] <= (990, 590)).all()
    assert snug_turn(bar * 1.2, 990, 590) is None


def test_footprint_covers_both_faces():
    for piece in sample_pattern().pieces:
        room = footprint(piece).buffer(1e-9)
        assert room.covers(Polygon(piece.outside_outline[0]))
        assert room.covers(Polygon(piece.inside_outline[0]))


def test_soundness_check_sees_overlap_crowding_and_overhang():
    stock = eva(5.0)
    one = box(10, 10, 60, 60)
    assert sound([one, box(65, 10, 90, 60)], stock, 4.0)
    assert not sound([one, box(62, 10, 90, 60)], stock, 4.0)
    assert sound([one, box(60, 10, 90, 60)], stock, 0.0)
    assert not sound([one, box(59, 10, 90, 60)], stock, 0.0)
    assert not sound([box(2, 10, 60, 60)], stock, 4.0)


@given(st.lists(st.tuples(st.floats(1, 90), st.floats(1, 60)), min_size=1, max_size=30), st.floats(0, 5))
def test_boxes_on_shelves_never_overlap(sizes, gap):
    spots = pack_boxes(sizes, 100.0, 70.0, gap)
    boxes = [(b, x, y, x + w, y + h) for (b, x, y), (w, h) in zip(spots, sizes, strict=True)]
    for _, x0, y0, x1, y1 in boxes:
        assert min(x0, y0) >= 0
        assert x1 <= 100 + 1e-6
        assert y1 <= 70 + 1e-6
    for one, other in combinations(boxes, 2):
        apart_x = max(one[1], other[1]) - min(one[3], other[3])
        apart_y = max(one[2], other[2]) - min(one[4], other[4])
        assert one[0] != other[0] or max(apart_x, apart_y) >= gap - 1e-6


def test_snug_turn_of_a_turned_rectangle_lays_it_flat():
    angle = 0.3
    spin = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
    points = rim_points(Polygon(np.array([(0, 0), (80, 0), (80, 20), (0, 20)], float) @ spin))
    turn = snug_turn(points, 200, 100)
    _, size = turned_box(points, np.array([turn]))
    assert size[0] == pytest.approx((80, 20))
