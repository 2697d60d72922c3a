"""Full-size paper templates: small pieces share pages, large ones run over several that are joined.

Makers trace from paper, so paper has a layout of its own, apart from the foam sheets. The same pattern always
gives the same pages.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import shapely
from shapely import Polygon

from ..errors import SettingsError
from ..outline import face_of
from . import Placement
from .footprint import candidate_turns, footprint, rim_points, snug_turn, turned_box
from .shelf import lay_on_shelves

if TYPE_CHECKING:
    from ..pattern import Pattern, PatternPiece

OVERLAP_MM = 10.0
CLEARANCE_MM = 2.0
"""Kept between an outline and the rim of the drawing area, for the width of the line."""
BETWEEN_PIECES_MM = 8.0
MOST_PAGES_OF_A_PIECE = 400
MARK_SHIFTS = (0.0, 0.05, -0.05, 0.1, -0.1, 0.15, -0.15, 0.2)
"""How far a registration mark is moved off words, in parts of the edge."""


@dataclass(frozen=True)
class Paper:
    """A sheet of printer paper, upright. margin_mm stays white but for the joins' page numbers.

    The strip of `strip_mm` at the foot carries the scale bar and the page's name; above it lies the drawing
    area.
    """

    name: str
    width_mm: float
    height_mm: float
    margin_mm: float = 10.0
    strip_mm: float = 20.0

    @property
    def drawing_area(self) -> tuple[float, float, float, float]:
        """Left, bottom, right, top in mm from the paper's lower left corner."""
        margin = self.margin_mm
        return margin, margin + self.strip_mm, self.width_mm - margin, self.height_mm - margin

    @property
    def drawing_size(self) -> tuple[float, float]:
        left, bottom, right, top = self.drawing_area
        return right - left, top - bottom

    @property
    def size_in_words(self) -> str:
        return f"{self.name}, {self.width_mm:g} x {self.height_mm:g} mm"


A4 = Paper("A4", 210.0, 297.0)
LETTER = Paper("Letter", 215.9, 279.4)


@dataclass(frozen=True)
class Join:
    """An edge at which a page meets another.

    side : "left", "right", "top" or "bottom"; page : number of the neighbour
    marks : registration marks ((x, y), ...), mm on the paper, in the middle of the overlap
    """

    side: str
    page: int
    marks: tuple[tuple[float, float], ...]

    @property
    def words(self) -> str:
        return f"joins page {self.page}"


@dataclass(frozen=True)
class Page:
    """One full-size page.

    group : pages that are joined to each other share it; a page on its own is its own group
    row, column : place in the group, from 1 at the top left, of `rows` by `columns`
    placements : pieces on this page, mm from the paper's lower left corner; drawn within the drawing area
    """

    number: int
    group: int
    row: int
    column: int
    rows: int
    columns: int
    joins: tuple[Join, ...]
    placements: tuple[Placement, ...]

    @property
    def pieces(self) -> tuple[str, ...]:
        return tuple(placement.piece for placement in self.placements)

    @property
    def tiled(self) -> bool:
        return self.rows * self.columns > 1


def paginate(pattern: Pattern, paper: Paper, first_number: int = 1) -> tuple[Page, ...]:
    """Pages with every piece of the pattern at full size: joined groups first, then the shared pages.

    Pages are numbered from `first_number`. Raises SettingsError for paper too small to draw on.
    """
    width, height = (side - 2 * CLEARANCE_MM for side in paper.drawing_size)
    if min(width, height) < 100:
        raise SettingsError(f"{paper.size_in_words}, is too small for full-size templates; take A4, Letter or larger.")
    small: list[tuple[str, Polygon]] = []
    pages: list[Page] = []
    for piece in pattern.parts:
        shape = _with_words_around(piece)
        if snug_turn(rim_points(shape), width, height) is not None:
            small.append((piece.name, shape))
        else:
            group = pages[-1].group + 1 if pages else 1
            pages += _tiles(piece, shape, paper, group, first_number + len(pages))
    left, bottom, _, _ = paper.drawing_area
    for placements in lay_on_shelves(small, width, height, BETWEEN_PIECES_MM):
        on_paper = tuple(
            replace(p, x=p.x + left + CLEARANCE_MM, y=p.y + bottom + CLEARANCE_MM)
            for p in _centred(placements, small, width, height)
        )
        group = pages[-1].group + 1 if pages else 1
        pages.append(Page(first_number + len(pages), group, 1, 1, 1, 1, (), on_paper))
    return tuple(pages)


def _with_words_around(piece: PatternPiece) -> Polygon:
    """The footprint together with the words that found no room on the piece."""
    shape = footprint(piece)
    led = [shapely.union(note.box, note.leader).convex_hull for note in piece.notes if note.leader]
    outside = [words.buffer(CLEARANCE_MM / 2) for words in led if not shapely.contains(shape, words)]
    joined = shapely.union_all([shape, *outside])
    return Polygon((joined if isinstance(joined, Polygon) else joined.convex_hull).exterior)


def _centred(
    placements: list[Placement], small: list[tuple[str, Polygon]], width: float, height: float
) -> list[Placement]:
    """The same placements moved together to the middle of the drawing area."""
    shape_of = dict(small)
    points = np.concatenate([p.apply(rim_points(shape_of[p.piece])) for p in placements])
    shift = (np.array([width, height]) - points.min(axis=0) - points.max(axis=0)) / 2
    return [replace(p, x=p.x + float(shift[0]), y=p.y + float(shift[1])) for p in placements]


@dataclass(frozen=True)
class _Grid:
    """Tiles over a turned piece: origin is the lower left corner of the lowest left tile, mm."""

    turn: float
    rows: int
    columns: int
    x: float
    y: float
    used: tuple[tuple[int, int], ...]
    """(row from the bottom, column), both from 0, of the tiles that show some of the piece."""


def _tiles(piece: PatternPiece, shape: Polygon, paper: Paper, group: int, first_number: int) -> list[Page]:
    grid = _fewest_pages(piece, shape, paper)
    step_x, step_y = (side - OVERLAP_MM for side in paper.drawing_size)
    left, bottom, _, _ = paper.drawing_area
    in_reading_order = sorted(grid.used, key=lambda tile: (-tile[0], tile[1]))
    number = {tile: first_number + i for i, tile in enumerate(in_reading_order)}
    words = _words_on(piece)

    def placed_on(row: int, column: int) -> Placement:
        x, y = left - grid.x - column * step_x, bottom - grid.y - row * step_y
        return Placement(piece.name, grid.turn, float(x), float(y))

    def marks(side: str, row: int, column: int) -> tuple[tuple[float, float], ...]:
        # both pages carry the same points: the page to the left or below chooses them
        if side == "left":
            return tuple((x - step_x, y) for x, y in marks("right", row, column - 1))
        if side == "bottom":
            return tuple((x, y - step_y) for x, y in marks("top", row - 1, column))
        return _marks(side, paper, shapely.transform(words, placed_on(row, column).apply))

    pages = []
    for row, column in in_reading_order:
        around = {
            "left": (row, column - 1),
            "right": (row, column + 1),
            "top": (row + 1, column),
            "bottom": (row - 1, column),
        }
        joins = tuple(Join(side, number[t], marks(side, row, column)) for side, t in around.items() if t in number)
        placement = placed_on(row, column)
        place = (grid.rows - row, column + 1, grid.rows, grid.columns)
        pages.append(Page(number[row, column], group, *place, joins, (placement,)))
    return pages


def _marks(side: str, paper: Paper, words: shapely.Geometry) -> tuple[tuple[float, float], ...]:
    """Two marks in the middle of the overlap, near a quarter and three quarters of the edge, clear of words if
    they can be."""
    left, bottom, right, top = paper.drawing_area
    half = OVERLAP_MM / 2

    def point(part: float) -> tuple[float, float]:
        if side == "right":
            return right - half, bottom + part * (top - bottom)
        return left + part * (right - left), top - half

    def is_clear(x: float, y: float) -> bool:
        return not words.intersects(shapely.box(x - 4, y - 5, x + 4, y + 4))

    def mark(middle: float) -> tuple[float, float]:
        tried = [point(middle + away) for away in MARK_SHIFTS]
        return next((place for place in tried if is_clear(*place)), tried[0])

    return mark(0.25), mark(0.75)


def _words_on(piece: PatternPiece) -> shapely.Geometry:
    """What is written on the piece's flat, and the notches with their labels."""
    words = [shape for note in piece.notes for shape in (note.box, note.leader) if shape]
    face = face_of(piece.outside_outline)
    notches = [shapely.Point(notch.at(face, 4)).buffer(5) for notch in piece.notches]
    return shapely.union_all([*words, *notches])


def _fewest_pages(piece: PatternPiece, shape: Polygon, paper: Paper) -> _Grid:
    """The turn and grid with the fewest pages; of equals an upright or lying one, else as drawn."""
    step = np.array(paper.drawing_size) - OVERLAP_MM
    points = rim_points(shape)
    angles = candidate_turns(points)
    low, size = turned_box(points, angles)
    counts = np.maximum(1, np.ceil((size + 2 * CLEARANCE_MM - OVERLAP_MM) / step - 1e-9)).astype(int)
    pages = counts.prod(axis=1)
    if pages.min() > MOST_PAGES_OF_A_PIECE:
        raise SettingsError(
            f"Piece '{piece.name}' needs over {MOST_PAGES_OF_A_PIECE} pages of {paper.name}; "
            "check the size of the model, or mark seams across the piece."
        )
    outline = shape.simplify(0.1).buffer(CLEARANCE_MM / 2)
    from_drawn = np.round(np.abs((np.degrees(angles) + 90) % 180 - 90), 6)
    best: _Grid | None = None
    slanted = np.minimum(from_drawn, 90 - from_drawn) > 0.01
    for index in np.lexsort((np.arange(len(angles)), from_drawn, slanted, pages)):
        if best is not None and pages[index] >= 2 * len(best.used):
            break  # a grid that must stand over half empty is no better to join
        columns, rows = (int(count) for count in counts[index])
        origin = low[index] - (counts[index] * step + OVERLAP_MM - size[index]) / 2
        turned = shapely.affinity.rotate(outline, angles[index], origin=(0, 0), use_radians=True)
        used = _tiles_met(turned, origin, rows, columns, step)
        if best is None or len(used) < len(best.used):
            best = _Grid(float(angles[index]), rows, columns, float(origin[0]), float(origin[1]), used)
    assert best is not None
    return best


def _tiles_met(
    turned: Polygon, origin: np.ndarray, rows: int, columns: int, step: np.ndarray
) -> tuple[tuple[int, int], ...]:
    """Tiles whose own share meets the shape; shares meet in the middle of the overlaps."""
    row, column = (part.ravel() for part in np.indices((rows, columns)))
    place = np.stack([column, row], axis=1)
    last = np.array([columns - 1, rows - 1])
    low = origin + place * step + np.where(place > 0, OVERLAP_MM / 2, 0.0)
    high = origin + (place + 1) * step + np.where(place < last, OVERLAP_MM / 2, OVERLAP_MM)
    shapely.prepare(turned)
    met = shapely.intersects(turned, shapely.box(low[:, 0], low[:, 1], high[:, 0], high[:, 1]))
    return tuple((int(r), int(c)) for r, c in zip(row[met], column[met], strict=True))
