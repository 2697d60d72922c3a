"""A picture of the flat pieces coloured by strain, with a scale; hatched where the foam should be heated.

Nothing is told by colour alone: every piece carries its largest pull and squeeze in figures, and hatching that
leans to the right (pulled) or to the left (squeezed) covers what is over the stock's limit for cold foam.
"""

from __future__ import annotations

from math import ceil, sqrt
from pathlib import Path

import numpy as np
import shapely
from PIL import Image, ImageDraw, ImageFont
from shapely import Polygon

from ..files import write_whole
from ..heat import SCALE, full_colour_at, strain_colour, worst_strain
from ..layout import Placement
from ..layout.footprint import footprint, placed
from ..layout.shelf import lay_on_shelves
from ..pattern import Pattern, PatternPiece
from .fonts import BOLD, PLAIN, font_file, showable
from .tables import common_words, percent, piece_number

WIDE_PX, LONGEST_PX = 1800, 4000
"""Usual width, and what neither side exceeds: a picture that is too tall is made wider, then its pieces smaller."""
FINER = 2
"""Drawn this much larger and reduced, for smooth edges."""
SIDE_PX, HEAD_PX, FOOT_PX = 60, 190, 86
HATCH_PX = 9
INK = (20, 20, 20)


def write_heatmap(pattern: Pattern, path: str | Path) -> Path:
    """Write the picture as PNG. Raises ExportError if the file cannot be written."""
    return write_whole(path, lambda draft: _Heatmap(pattern).picture().save(draft, format="PNG"))


class _Heatmap:
    def __init__(self, pattern: Pattern) -> None:
        self.pattern = pattern
        self.strain = {piece.name: worst_strain(piece.stretch) for piece in pattern.pieces}
        self.limits = full_colour_at(pattern)

    def picture(self) -> Image.Image:
        shapes = {piece.name: footprint(piece) for piece in self.pattern.pieces}
        placements, wide, tall, scale = _lay_out(shapes)
        self.scale, self.floor = scale * FINER, (HEAD_PX + tall) * FINER
        image = Image.new("RGB", (wide * FINER, (HEAD_PX + tall + FOOT_PX) * FINER), (255, 255, 255))
        self.pen = ImageDraw.Draw(image)
        self._head()
        for placement in placements:
            self._piece(self.pattern.piece(placement.piece), placement)
        for placement in placements:
            self._caption(self.pattern.piece(placement.piece), placed(shapes[placement.piece], placement))
        return image.reduce(FINER)

    def _pixels(self, points: np.ndarray) -> list[tuple[float, float]]:
        flipped = np.asarray(points) * (self.scale, -self.scale) + (SIDE_PX * FINER, self.floor)
        return [(float(x), float(y)) for x, y in flipped]

    def _piece(self, piece: PatternPiece, placement: Placement) -> None:
        flat = placement.apply(piece.flat)
        strain = self.strain[piece.name]
        colours = np.round(strain_colour(strain, piece.stock.hot_limit) * 255).astype(int)
        triangles = flat[piece.patch.triangles]
        for corners, colour in zip(triangles, colours, strict=True):
            self.pen.polygon(self._pixels(corners), fill=tuple(colour.tolist()))
        for over, lean in ((strain > piece.stock.cold_limit, 1), (strain < -piece.stock.cold_limit, -1)):
            self._hatch(triangles[over], lean)
        for ring in piece.outside_outline:
            self.pen.line(self._pixels(placement.apply(ring)), fill=INK, width=2 * FINER, joint="curve")

    def _hatch(self, triangles: np.ndarray, lean: int) -> None:
        if not len(triangles):
            return
        region = shapely.union_all([Polygon(corners) for corners in triangles])
        x0, y0, x1, y1 = region.bounds
        pitch = HATCH_PX * FINER / self.scale * sqrt(2)
        tall = y1 - y0
        starts = np.arange(x0 - tall, x1 + tall, pitch)
        lines = [[(x, y0), (x + lean * tall, y1)] for x in starts]
        for part in shapely.get_parts(shapely.multilinestrings(lines).intersection(region)):
            if part.geom_type == "LineString":
                self.pen.line(self._pixels(shapely.get_coordinates(part)), fill=INK, width=FINER)

    def _caption(self, piece: PatternPiece, shape: Polygon) -> None:
        x = (shape.bounds[0] + shape.bounds[2]) / 2
        at_x, at_y = self._pixels(np.array([[x, shape.bounds[1]]]))[0]
        self._words(f"{piece_number(self.pattern, piece.name)}  {piece.name}", at_x, at_y + 9 * FINER, 13, bold=True)
        strain = f"{percent(piece.largest_stretch)} / {percent(piece.largest_squeeze)}; 99 %: {common_words(piece)}"
        self._words(strain, at_x, at_y + 25 * FINER, 12)

    def _head(self) -> None:
        left = SIDE_PX * FINER
        self._words(f"{self.pattern.shell.name}: strain of the foam", left, 36 * FINER, 28, bold=True, anchor="lm")
        wide, tall, y = 760 * FINER, 26 * FINER, 74 * FINER
        shades = strain_colour(np.linspace(-1, 1, wide), 1.0)
        for offset, shade in enumerate(np.round(shades * 255).astype(int)):
            self.pen.line([(left + offset, y), (left + offset, y + tall)], fill=tuple(shade.tolist()))
        self.pen.rectangle([left, y, left + wide, y + tall], outline=INK, width=FINER)
        for share in SCALE:
            x = left + wide * (share + 1) / 2
            self.pen.line([(x, y + tall), (x, y + tall + 6 * FINER)], fill=INK, width=FINER)
            figures = dict.fromkeys(percent(1 + share * limit) for limit in self.limits)
            self._words(" / ".join(figures), x, y + tall + 16 * FINER, 13)
        for words, x in (("squeezed", left), ("unchanged", left + wide / 2), ("pulled", left + wide)):
            self._words(words, x, y + tall + 34 * FINER, 13)
        note = "Hatched: more than the stock takes cold, heat it. / pulled, \\ squeezed."
        self._words(note, left + wide + 60 * FINER, y + tall / 2, 14, anchor="lm")
        self._words(
            "Figures: largest pull / largest squeeze; what 99 % keeps to.",
            left + wide + 60 * FINER,
            y + tall + 16 * FINER,
            14,
            anchor="lm",
        )

    def _words(self, words: str, x: float, y: float, size: int, *, bold: bool = False, anchor: str = "mm") -> None:
        file = str(font_file(BOLD if bold else PLAIN))
        # plain layout: the shaping library clashes with the one that some Linux builds of Blender load
        font = ImageFont.truetype(file, size * FINER, layout_engine=ImageFont.Layout.BASIC)
        self.pen.text((x, y), showable(words), fill=INK, font=font, anchor=anchor)


def _lay_out(shapes: dict[str, Polygon]) -> tuple[list[Placement], int, int, float]:
    """Placements in mm, the picture's width and the height the pieces take in pixels, pixels in a mm."""
    area = sum(shape.area for shape in shapes.values())
    span = max(max(np.ptp(np.reshape(shape.bounds, (2, 2)), axis=0)) for shape in shapes.values())
    width = max(1.05 * span, 1.3 * sqrt(area / 0.6))
    gap = width * 0.035
    scale = (WIDE_PX - 2 * SIDE_PX) / width
    while True:
        (placements,) = lay_on_shelves(list(shapes.items()), width, float("inf"), gap)
        top = max(placed(shapes[p.piece], p).bounds[3] for p in placements)
        tall = ceil(top * scale)
        if tall <= LONGEST_PX - HEAD_PX - FOOT_PX:
            return placements, round(width * scale) + 2 * SIDE_PX, tall, scale
        width *= 1.2
        scale = min(scale, (LONGEST_PX - 2 * SIDE_PX) / width)
