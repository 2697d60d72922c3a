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
from ..heat import strain_colour, worst_strain
from ..layout import Placement
from ..layout.footprint import footprint, placed
from ..layout.shelf import lay_on_shelves
from ..pattern import Pattern, PatternPiece
from .fonts import BOLD, PLAIN, font_file, showable
from .tables import percent, piece_number

WIDE_PX = 1800
FINER = 2
"""Drawn this much larger and reduced, for smooth edges."""
LEAST_SCALE_LIMIT = 0.02
CAPTION_PX = 46
HATCH_PX = 9
INK = (20, 20, 20)


def write_heatmap(pattern: Pattern, path: str | Path) -> Path:
    """Write the picture as PNG. Raises ExportError if the file cannot be written."""
    picture = _Heatmap(pattern).picture()
    return write_whole(path, lambda draft: picture.save(draft, format="PNG"))


class _Heatmap:
    def __init__(self, pattern: Pattern) -> None:
        self.pattern = pattern
        self.strain = {piece.name: worst_strain(piece.stretch) for piece in pattern.pieces}
        worst = max(float(np.abs(strain).max()) for strain in self.strain.values())
        self.limit = max(LEAST_SCALE_LIMIT, ceil(worst * 100 - 1e-6) / 100)

    def picture(self) -> Image.Image:
        shapes = [(piece.name, footprint(piece)) for piece in self.pattern.pieces]
        area = sum(shape.area for _, shape in shapes)
        span = max(max(np.ptp(np.reshape(shape.bounds, (2, 2)), axis=0)) for _, shape in shapes)
        width = max(1.05 * span, 1.3 * sqrt(area / 0.6))
        gap = width * 0.035
        (placements,) = lay_on_shelves(shapes, width, float("inf"), gap)
        on_picture = [placed(dict(shapes)[p.piece], p) for p in placements]
        tall = max(shape.bounds[3] for shape in on_picture)
        self.scale = (WIDE_PX - 120) * FINER / width
        head, foot = 190 * FINER, (CAPTION_PX + 40) * FINER
        self.floor = head + tall * self.scale
        size = (WIDE_PX * FINER, round(self.floor + foot))
        image = Image.new("RGB", size, (255, 255, 255))
        self.pen = ImageDraw.Draw(image)
        self._head()
        for placement in placements:
            self._piece(self.pattern.piece(placement.piece), placement)
        for placement, shape in zip(placements, on_picture, strict=True):
            self._caption(self.pattern.piece(placement.piece), shape)
        return image.resize((WIDE_PX, size[1] // FINER), Image.Resampling.LANCZOS)

    def _pixels(self, points: np.ndarray) -> list[tuple[float, float]]:
        flipped = np.asarray(points) * (self.scale, -self.scale) + (60 * FINER, self.floor)
        return [(float(x), float(y)) for x, y in flipped]

    def _piece(self, piece: PatternPiece, placement: Placement) -> None:
        flat = placement.apply(piece.flat)
        strain = self.strain[piece.name]
        colours = np.round(strain_colour(strain, self.limit) * 255).astype(int)
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
        strain = f"{percent(piece.largest_stretch)} / {percent(piece.largest_squeeze)}"
        self._words(strain, at_x, at_y + 25 * FINER, 12)

    def _head(self) -> None:
        left = 60 * FINER
        self._words(f"{self.pattern.shell.name}: strain of the foam", left, 36 * FINER, 28, bold=True, anchor="lm")
        wide, tall, y = 760 * FINER, 26 * FINER, 74 * FINER
        shades = strain_colour(np.linspace(-self.limit, self.limit, wide), self.limit)
        for offset, shade in enumerate(np.round(shades * 255).astype(int)):
            self.pen.line([(left + offset, y), (left + offset, y + tall)], fill=tuple(shade.tolist()))
        self.pen.rectangle([left, y, left + wide, y + tall], outline=INK, width=FINER)
        for share in np.linspace(-1, 1, 5):
            x = left + wide * (share + 1) / 2
            self.pen.line([(x, y + tall), (x, y + tall + 6 * FINER)], fill=INK, width=FINER)
            self._words(percent(1 + share * self.limit), x, y + tall + 16 * FINER, 13)
        for words, x in (("squeezed", left), ("unchanged", left + wide / 2), ("pulled", left + wide)):
            self._words(words, x, y + tall + 34 * FINER, 13)
        note = "Hatched: more than the stock takes cold, heat it. / pulled, \\ squeezed."
        self._words(note, left + wide + 60 * FINER, y + tall / 2, 14, anchor="lm")
        self._words(
            "Figures: largest pull / largest squeeze.", left + wide + 60 * FINER, y + tall + 16 * FINER, 14, anchor="lm"
        )

    def _words(self, words: str, x: float, y: float, size: int, *, bold: bool = False, anchor: str = "mm") -> None:
        file = str(font_file(BOLD if bold else PLAIN))
        # plain layout: the shaping library clashes with the one that some Linux builds of Blender load
        font = ImageFont.truetype(file, size * FINER, layout_engine=ImageFont.Layout.BASIC)
        self.pen.text((x, y), showable(words), fill=INK, font=font, anchor=anchor)
