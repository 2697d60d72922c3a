"""Paper templates: every line of every piece is on a page, at full size, and pages that join overlap by 10 mm."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
import shapely
from foamwright.core.errors import SettingsError
from foamwright.core.layout.footprint import footprint, placed
from foamwright.core.layout.paging import A4, LETTER, OVERLAP_MM, Paper, paginate
from foamwright.core.marks import Note
from sample_pattern import sample_pattern
from shapely import LineString, box

A3 = Paper("A3", 297.0, 420.0)


@pytest.mark.parametrize("paper", [A4, LETTER, A3])
def test_every_point_of_every_outline_lies_on_a_page(paper):
    pattern = sample_pattern()
    pages = paginate(pattern, paper)
    area = box(*paper.drawing_area)
    for piece in pattern.pieces:
        shown = [page for page in pages if piece.name in page.pieces]
        for ring in (*piece.outside_outline, *piece.inside_outline):
            left_over = LineString(ring)
            for page in shown:
                placement = page.placements[page.pieces.index(piece.name)]
                # bring the drawing area back to the piece's own flat
                back = shapely.transform(area, lambda points, p=placement: _undo(p, points))
                left_over = left_over.difference(back.buffer(1e-9))
            assert left_over.length == pytest.approx(0, abs=1e-9)


def _undo(placement, points):
    turned = points - (placement.x, placement.y)
    return replace(placement, angle=-placement.angle, x=0.0, y=0.0).apply(turned)


@pytest.mark.parametrize("paper", [A4, LETTER])
def test_joined_pages_overlap_by_ten_millimetres_and_share_their_marks(paper):
    pages = {page.number: page for page in paginate(sample_pattern(), paper)}
    left, bottom, right, top = paper.drawing_area
    opposite = {"left": "right", "right": "left", "top": "bottom", "bottom": "top"}
    joins = 0
    for page in pages.values():
        for join in page.joins:
            other = pages[join.page]
            back = next(j for j in other.joins if j.side == opposite[join.side])
            assert back.page == page.number
            shift = np.subtract(
                (page.placements[0].x, page.placements[0].y), (other.placements[0].x, other.placements[0].y)
            )
            # the neighbour's drawing area as it lies on this page
            neighbour = box(left + shift[0], bottom + shift[1], right + shift[0], top + shift[1])
            shared = neighbour.intersection(box(*paper.drawing_area)).bounds
            thin = 0 if join.side in ("left", "right") else 1
            assert shared[thin + 2] - shared[thin] == pytest.approx(OVERLAP_MM)
            assert np.array(join.marks) == pytest.approx(np.array(back.marks) + shift)
            assert join.marks[0][thin] == pytest.approx((shared[thin] + shared[thin + 2]) / 2)
            assert join.words == f"joins page {other.number}"
            joins += 1
    assert joins > 4


def test_registration_marks_keep_off_words():
    pattern = sample_pattern()
    piece = pattern.piece("back plate")

    def marks_with(notes):
        written = replace(piece, notes=notes)
        return [
            (page.placements[0], mark)
            for page in paginate(replace(pattern, pieces=(written,)), A4)
            for join in page.joins
            for mark in join.marks
        ]

    bare = marks_with(())
    placement, mark = bare[0]
    x, y = _undo(placement, np.array([mark]))[0].tolist()
    note = Note("joint", ("A  square",), (x, y), -placement.angle, 3.0)
    moved = marks_with((note,))
    assert len(moved) == len(bare)
    for placement, mark in moved:
        assert placed(note.box, placement).distance(shapely.Point(mark)) > 2.5
    assert sum(one != other for one, other in zip(bare, moved, strict=True)) == 2


def test_small_pieces_share_a_page_without_touching():
    pattern = sample_pattern()
    shapes = {piece.name: footprint(piece) for piece in pattern.pieces}
    pages = [page for page in paginate(pattern, A4) if not page.tiled]
    assert sorted(name for page in pages for name in page.pieces) == [
        "cheek plate left",
        "cheek plate right",
        "ear disc left",
        "ear disc right",
    ]
    assert len(pages) == 2
    for page in pages:
        on_page = [placed(shapes[p.piece], p) for p in page.placements]
        assert all(box(*A4.drawing_area).covers(shape) for shape in on_page)
        assert all(a.distance(b) > 5 for i, a in enumerate(on_page) for b in on_page[:i])


def test_pages_are_few_numbered_in_reading_order_and_the_same_each_time():
    pattern = sample_pattern()
    pages = paginate(pattern, A4, first_number=5)
    assert pages == paginate(pattern, A4, first_number=5)
    assert [page.number for page in pages] == list(range(5, 5 + len(pages)))
    band = [page for page in pages if page.pieces == ("brow band",)]
    # 500 x 60 mm along the 257 mm height of the drawing area, or slanted over a corner: two pages in any case
    assert len(band) == 2
    for one, other in pairwise(pages):
        if one.group == other.group:
            assert (one.row, one.column) < (other.row, other.column)


def test_no_group_is_larger_than_the_piece_laid_as_drawn_needs():
    pattern = sample_pattern()
    pages = paginate(pattern, A4)
    step = np.array(A4.drawing_size) - OVERLAP_MM
    for name in ("brow band", "back plate"):
        size = np.ptp(pattern.piece(name).flat, axis=0)
        as_drawn = np.ceil((size + 4 - OVERLAP_MM) / step).prod()
        assert 0 < sum(name in page.pieces for page in pages) <= as_drawn


def test_paper_too_small_and_piece_too_large_are_refused():
    pattern = sample_pattern()
    with pytest.raises(SettingsError, match="too small"):
        paginate(pattern, Paper("card", 100.0, 150.0))
    piece = pattern.piece("back plate")
    huge = replace(piece, outside_outline=(piece.outside_outline[0] * 100,), inside_outline=())
    with pytest.raises(SettingsError, match="'back plate' needs over 400 pages"):
        paginate(replace(pattern, pieces=(huge,)), A4)
