"""One foam sheet as SVG: one user unit is one millimetre, every kind of line in a group of its own."""

from __future__ import annotations

from math import degrees
from pathlib import Path
from xml.etree import ElementTree as ET

import numpy as np

from ..files import write_whole
from ..layout import Sheet
from ..pattern import Pattern
from .drawing import LAYERS, Layer, Primitive, Region, Text
from .sheet_drawing import draw_sheet, reference_bar

SVG = "http://www.w3.org/2000/svg"
LAYERED = "http://www.inkscape.org/namespaces/inkscape"
"""Namespace of the attribute by which drawing programs know a group as a layer."""
CAPITAL_OF_SIZE = 0.72
"""Height of capitals over the size of the type, of a usual sans serif."""


def write_svg(pattern: Pattern, sheet: Sheet, path: str | Path) -> Path:
    """Write the sheet with a 100 mm reference bar. Raises ExportError if the file cannot be written."""
    ET.register_namespace("", SVG)
    ET.register_namespace("inkscape", LAYERED)
    return write_whole(path, lambda draft: _put(draft, pattern, sheet))


def _put(draft: Path, pattern: Pattern, sheet: Sheet) -> None:
    tree = ET.ElementTree(_document(pattern, sheet))
    ET.indent(tree)
    tree.write(draft, encoding="utf-8", xml_declaration=True)


def _document(pattern: Pattern, sheet: Sheet) -> ET.Element:
    size = {"width": f"{sheet.width_mm:g}mm", "height": f"{sheet.height_mm:g}mm"}
    root = ET.Element(f"{{{SVG}}}svg", {**size, "viewBox": f"0 0 {sheet.width_mm:g} {sheet.height_mm:g}"})
    title = ET.SubElement(root, f"{{{SVG}}}title")
    title.text = _printable(f"{pattern.shell.name}, sheet {sheet.number}: {sheet.stock}")
    groups = {layer.key: _group(root, layer) for layer in LAYERS}
    for name, primitives in draw_sheet(pattern, sheet):
        for primitive in primitives:
            element = _element(primitive, sheet.height_mm)
            element.set("data-piece", _printable(name))
            groups[primitive.layer.key].append(element)
    for primitive in reference_bar():
        groups[primitive.layer.key].append(_element(primitive, sheet.height_mm))
    return root


def _group(root: ET.Element, layer: Layer) -> ET.Element:
    dashes = {"stroke-dasharray": " ".join(f"{part:g}" for part in layer.line.dashes)} if layer.line.dashes else {}
    return ET.SubElement(
        root,
        f"{{{SVG}}}g",
        {
            "id": layer.key,
            f"{{{LAYERED}}}groupmode": "layer",
            f"{{{LAYERED}}}label": layer.label,
            "fill": "none",
            "stroke": "#000000",
            "stroke-width": f"{layer.line.width_mm:g}",
            "stroke-linejoin": "round",
            **dashes,
        },
    )


def _element(primitive: Primitive, sheet_height: float) -> ET.Element:
    if isinstance(primitive, Text):
        y = sheet_height - primitive.y
        x_text, y_text = _number(primitive.x), _number(y)
        size = primitive.height_mm / CAPITAL_OF_SIZE
        text = ET.Element(
            f"{{{SVG}}}text",
            {
                "transform": f"translate({x_text} {y_text}) rotate({-degrees(primitive.angle):.6g})",
                "y": _number(primitive.height_mm / 2),
                "font-family": "sans-serif",
                "font-size": f"{size:.4g}",
                "text-anchor": "middle",
                "fill": "#000000",
                "stroke": "none",
            },
        )
        text.text = _printable(primitive.words)
        return text
    closed = isinstance(primitive, Region) or primitive.closed
    path = ET.Element(f"{{{SVG}}}path", {"d": _path(primitive.points, sheet_height, closed)})
    if isinstance(primitive, Region):
        path.set("fill", "#000000")
    return path


def _path(points: np.ndarray, sheet_height: float, closed: bool) -> str:
    steps = [f"{_number(x)} {_number(sheet_height - y)}" for x, y in points]
    return f"M {' L '.join(steps)}{' Z' if closed else ''}"


def _number(value: float) -> str:
    """To a hundred-thousandth of a millimetre, without a needless tail or a minus zero."""
    return f"{round(float(value), 5) + 0.0:.5f}".rstrip("0").rstrip(".")


def _printable(words: str) -> str:
    """XML takes no control characters."""
    return "".join(sign for sign in words if sign.isprintable())
