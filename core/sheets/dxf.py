"""One foam sheet as DXF (R2010): millimetres, a layer and a line type for each kind of line."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from math import degrees
from pathlib import Path

from ..files import write_whole
from ..layout import Sheet
from ..pattern import Pattern
from .drawing import LAYERS, LineType, Primitive, Region, Text
from .dxf_library import Drawing, Modelspace, TextEntityAlignment, new, options
from .sheet_drawing import draw_sheet, reference_square

MILLIMETRES, METRIC = 4, 1


def write_dxf(pattern: Pattern, sheet: Sheet, path: str | Path) -> Path:
    """Write the sheet with a 100 mm reference square; the same input gives the same bytes.

    Raises ExportError if the file cannot be written.
    """
    return write_whole(path, lambda draft: _put(draft, pattern, sheet))


def _put(draft: Path, pattern: Pattern, sheet: Sheet) -> None:
    with _no_time_stamps():
        document = _document()
        space = document.modelspace()
        for _, primitives in draw_sheet(pattern, sheet):
            _add(space, primitives)
        _add(space, reference_square())
        document.header["$EXTMIN"] = (0, 0, 0)
        document.header["$EXTMAX"] = (sheet.width_mm, sheet.height_mm, 0)
        document.saveas(draft)


def _document() -> Drawing:
    document = new("R2010", setup=False)
    document.header["$INSUNITS"] = MILLIMETRES
    document.header["$MEASUREMENT"] = METRIC
    document.header["$LTSCALE"] = 1.0
    for layer in LAYERS:
        line_name = _line_type(document, layer.line)
        document.layers.add(
            layer.key, linetype=line_name, lineweight=round(layer.line.width_mm * 100), color=7
        ).description = layer.label
    return document


def _line_type(document: Drawing, line: LineType) -> str:
    """Name of the line type in the document, added if it is new; dashes positive, gaps negative, mm."""
    if not line.dashes:
        return "CONTINUOUS"
    if line.name not in document.linetypes:
        signed = [part if index % 2 == 0 else -part for index, part in enumerate(line.dashes)]
        document.linetypes.add(line.name, pattern=[sum(line.dashes), *signed], description=f"ISO 128 {line.iso}")
    return line.name


def _add(space: Modelspace, primitives: tuple[Primitive, ...]) -> None:
    for primitive in primitives:
        attributes: dict[str, object] = {"layer": primitive.layer.key}
        if isinstance(primitive, Text):
            attributes |= {"height": primitive.height_mm, "rotation": degrees(primitive.angle)}
            text = space.add_text(_printable(primitive.words), dxfattribs=attributes)
            text.set_placement((primitive.x, primitive.y), align=TextEntityAlignment.MIDDLE_CENTER)
        elif isinstance(primitive, Region):
            hatch = space.add_hatch(color=7, dxfattribs=attributes)
            hatch.paths.add_polyline_path([tuple(p) for p in primitive.points.tolist()], is_closed=True)
        else:
            space.add_lwpolyline(primitive.points.tolist(), close=primitive.closed, dxfattribs=attributes)


def _printable(words: str) -> str:
    """A line break would end the text's record in the file."""
    return "".join(sign for sign in words if sign.isprintable())


@contextmanager
def _no_time_stamps() -> Iterator[None]:
    """ezdxf writes the date and random ids unless told not to; the switch is its own and global."""
    before = options.write_fixed_meta_data_for_testing
    options.write_fixed_meta_data_for_testing = True
    try:
        yield
    finally:
        options.write_fixed_meta_data_for_testing = before
