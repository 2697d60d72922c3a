"""A pattern as a JSON document and back, without loss. `pattern.schema.json` beside this file describes it.

Numbers are written in the shortest form that reads back to the same value.
"""

from __future__ import annotations

import json
from dataclasses import asdict, fields
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np

from .check import Finding
from .errors import FormatError
from .files import write_whole
from .foam import Stock
from .folds import FoldRun
from .joints import JointRun, JointSide, RimRun
from .json_reading import Node, read_document
from .json_writing import plain, texts
from .layout import Placement, Sheet
from .marks import Note
from .notches import Notch
from .patch import Patch
from .pattern import Pattern, PatternPiece
from .progress import Progress, Steps
from .shell import Shell
from .tight_bends import TightBend

FORMAT, VERSION = "foamwright pattern", 1


def write_json(pattern: Pattern, path: str | Path) -> Path:
    """Write the pattern. Raises ExportError if the file cannot be written."""
    return write_whole(path, lambda draft: _put(draft, pattern))


def _put(draft: Path, pattern: Pattern) -> None:
    text = json.dumps(to_dict(pattern), ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    draft.write_text(text + "\n", encoding="utf-8")


def read_json(path: str | Path) -> Pattern:
    """Read a pattern. Raises ExportError if the file cannot be read, FormatError if it holds no pattern."""
    return from_dict(read_document(path))


# --- out ---------------------------------------------------------------------------------------


def to_dict(pattern: Pattern) -> dict[str, Any]:
    """The pattern as plain lists, dicts, numbers and text."""
    return plain(_document(pattern))


def writing_text(pattern: Pattern) -> Steps[str]:
    """The pattern as JSON. Yields Progress."""
    parts: list[str] = []
    for part in texts(_document(pattern), json.JSONEncoder(allow_nan=False)):
        yield Progress("Keeping the pattern", 0.0)
        parts.append(part)
    return "".join(parts)


def _document(pattern: Pattern) -> dict[str, Any]:
    shell = pattern.shell
    corners = shell.corner_vertex.tolist()
    return {
        "format": FORMAT,
        "version": VERSION,
        "unit": "mm",
        "shell": {
            "name": shell.name,
            "vertices": shell.vertices,
            "faces": [corners[start:stop] for start, stop in pairwise(shell.face_start.tolist())],
            "seams": shell.edges[shell.seam],
            "folds": shell.edges[shell.fold],
            "piece_of_face": pattern.piece_of_face,
        },
        "pieces": [_piece_out(piece) for piece in pattern.pieces],
        "joints": [_joint_out(joint) for joint in pattern.joints],
        "rims": [_rim_out(rim) for rim in pattern.rims],
        "layers": [_piece_out(layer) for layer in pattern.layers],
        "sheets": [asdict(sheet) for sheet in pattern.sheets],
        "findings": [_finding_out(finding) for finding in pattern.findings],
    }


def _piece_out(piece: PatternPiece) -> dict[str, Any]:
    patch = piece.patch
    return {
        "name": piece.name,
        "mate": piece.mate,
        "group": piece.group,
        "stock": asdict(piece.stock),
        "faces": piece.faces,
        "outside_outline": list(piece.outside_outline),
        "inside_outline": list(piece.inside_outline),
        "largest_stretch": piece.largest_stretch,
        "largest_squeeze": piece.largest_squeeze,
        "flat": {
            "vertices": piece.flat,
            "triangles": patch.triangles,
            "shell_vertex": patch.shell_vertex,
            "triangle_face": patch.triangle_face,
            "triangle_stretch": piece.stretch,
            "loops": list(patch.loops),
            "loop_edges": list(patch.loop_edges),
            "rim_reference_mm": list(piece.rim_reference),
        },
        "folds": [_fold_out(fold) for fold in piece.folds],
        "notches": [asdict(notch) for notch in piece.notches],
        "notes": [asdict(note) for note in piece.notes],
        "bends": [_bend_out(bend) for bend in piece.bends],
        "layer_of": piece.layer_of,
    }


def _fold_out(fold: FoldRun) -> dict[str, Any]:
    own = {field.name: getattr(fold, field.name) for field in fields(fold) if field.name != "piece"}
    return own | {"mouth": list(fold.mouth)}


def _bend_out(bend: TightBend) -> dict[str, Any]:
    own = {field.name: getattr(bend, field.name) for field in fields(bend) if field.name != "piece"}
    return own | {"lines": list(bend.lines), "kerfs": list(bend.kerfs)}


def _joint_out(joint: JointRun) -> dict[str, Any]:
    document: dict[str, Any] = {
        "letter": joint.letter,
        "bend_deg": joint.bend_deg,
        "bend_least_deg": joint.bend_least_deg,
        "bend_most_deg": joint.bend_most_deg,
        "rule": joint.rule,
        "mismatch_mm": joint.mismatch_mm,
        "locked": joint.locked,
        "edges": joint.edges,
    }
    return document | _side_out(joint.a, "_a") | _side_out(joint.b, "_b")


def _rim_out(rim: RimRun) -> dict[str, Any]:
    document: dict[str, Any] = {
        "letter": rim.letter,
        "style": rim.style,
        "round_mm": rim.round_mm,
        "locked": rim.locked,
        "edges": rim.edges,
    }
    return document | _side_out(rim.side, "")


def _side_out(side: JointSide, mark: str) -> dict[str, Any]:
    return {
        f"piece{mark}": side.piece,
        f"bevel{mark}_deg": side.bevel_deg,
        f"bevels{mark}_deg": side.bevels_deg,
        f"length{mark}_mm": side.length_mm,
        f"loop{mark}": side.loop,
        f"steps{mark}": side.steps,
        f"path{mark}": side.path,
    }


def _finding_out(finding: Finding) -> dict[str, Any]:
    elements = {key: [int(v) for v in getattr(finding, key)] for key in ("vertices", "edges", "faces")}
    return asdict(finding) | elements


# --- in ----------------------------------------------------------------------------------------


def from_dict(document: Any) -> Pattern:
    """The pattern that `to_dict` took apart. Raises FormatError that says where the document is wrong."""
    root = Node(document, "")
    if root["format"].value != FORMAT:
        raise root["format"].wrong(f"should be '{FORMAT}'")
    if root["version"].integer() != VERSION:
        raise FormatError(
            f"This pattern is of version {root['version'].value}, and this Foamwright reads version {VERSION}; "
            "update Foamwright or export the pattern anew."
        )
    shell = _shell_in(root["shell"])
    pieces = tuple(_piece_in(node, shell) for node in root["pieces"].list())
    layers = tuple(_piece_in(node, shell) for node in root["layers"].list())
    by_name = {piece.name: piece for piece in (*pieces, *layers)}
    if len(by_name) < len(pieces) + len(layers):
        raise root["pieces"].wrong("has two pieces of one name")
    piece_of_face = root["shell"]["piece_of_face"].integers(below=len(pieces))
    if len(piece_of_face) != shell.face_count:
        raise root["shell"]["piece_of_face"].wrong(f"should have one entry for each of {shell.face_count} faces")
    return Pattern(
        shell,
        piece_of_face,
        pieces,
        tuple(_joint_in(node, shell, by_name) for node in root["joints"].list()),
        tuple(_sheet_in(node, by_name) for node in root["sheets"].list()),
        tuple(_finding_in(node, shell) for node in root["findings"].list()),
        tuple(_rim_in(node, shell, by_name) for node in root["rims"].list()),
        layers,
    )


def _shell_in(node: Node) -> Shell:
    vertices = node["vertices"].numbers(columns=3)
    corners, starts = node["faces"].rings(below=len(vertices))
    seams, folds = (node[key].integers(below=len(vertices), columns=2) for key in ("seams", "folds"))
    name = node["name"].text()
    return node.made(lambda: Shell.of_corners(vertices, corners, starts, seams, folds, name))


def _piece_in(node: Node, shell: Shell) -> PatternPiece:
    flat = node["flat"]
    shell_vertex = flat["shell_vertex"].integers(below=len(shell.vertices))
    count = len(shell_vertex)
    patch = Patch(
        shell_vertex,
        flat["triangles"].integers(below=count, columns=3),
        flat["triangle_face"].integers(below=shell.face_count),
        tuple(loop.integers(below=count) for loop in flat["loops"].list()),
        tuple(edges.integers(below=shell.edge_count) for edges in flat["loop_edges"].list()),
    )
    vertices = flat["vertices"].numbers(columns=2)
    if len(vertices) != count:
        raise flat["vertices"].wrong(f"should have one position for each of {count} entries of 'shell_vertex'")
    stretch = flat["triangle_stretch"].numbers(columns=2)
    for key, rows in (("triangle_face", patch.triangle_face), ("triangle_stretch", stretch)):
        if len(rows) != len(patch.triangles):
            raise flat[key].wrong(f"should have one entry for each of {len(patch.triangles)} triangles")
    if [len(loop) for loop in patch.loops] != [len(edges) for edges in patch.loop_edges]:
        raise flat["loop_edges"].wrong("should have one edge for each vertex of 'loops'")
    rim_reference = tuple(lengths.numbers() for lengths in flat["rim_reference_mm"].list())
    if [len(loop) for loop in patch.loops] != [len(lengths) for lengths in rim_reference]:
        raise flat["rim_reference_mm"].wrong("should have one length for each vertex of 'loops'")
    name = node["name"].text()
    return PatternPiece(
        name,
        node["mate"].text_or_none(),
        node["group"].text(),
        _stock_in(node["stock"]),
        node["faces"].integers(below=shell.face_count),
        patch,
        vertices,
        stretch,
        rim_reference,
        tuple(_ring_in(ring) for ring in node["outside_outline"].list()),
        tuple(_ring_in(ring) for ring in node["inside_outline"].list()),
        tuple(_fold_in(fold, name, count, shell) for fold in node["folds"].list()),
        tuple(_notch_in(notch) for notch in node["notches"].list()),
        tuple(_note_in(note) for note in node["notes"].list()),
        tuple(_bend_in(bend, name, count, shell) for bend in node["bends"].list()),
        node["layer_of"].text_or_none(),
    )


def _ring_in(node: Node) -> np.ndarray:
    ring = node.numbers(columns=2)
    if len(ring) < 4 or (ring[0] != ring[-1]).any():
        raise node.wrong("should be a closed ring, its first point repeated at the end")
    return ring


def _stock_in(node: Node) -> Stock:
    numbers = {field.name: node[field.name].number() for field in fields(Stock) if field.name != "name"}
    return node.made(lambda: Stock(node["name"].text(), **numbers))


def _fold_in(node: Node, piece: str, vertex_count: int, shell: Shell) -> FoldRun:
    return FoldRun(
        piece,
        node["kind"].text(),
        node["path"].integers(below=vertex_count),
        node["edges"].integers(below=shell.edge_count),
        node["bend_deg"].number(),
        node["bend_least_deg"].number(),
        node["bend_most_deg"].number(),
        node["depth_mm"].number(),
        node["mouth_mm"].number(),
        node["hinge_depth_mm"].number(),
        tuple(_ring_in(ring) for ring in node["mouth"].list()),
    )


def _bend_in(node: Node, piece: str, vertex_count: int, shell: Shell) -> TightBend:
    return TightBend(
        piece,
        node["path"].integers(below=vertex_count),
        node["edges"].integers(below=shell.edge_count),
        node["bend_deg"].number(),
        node["arc_mm"].number(),
        node["radius_mm"].number(),
        node["treatment"].text(),
        node["count"].integer(),
        node["spacing_mm"].number(),
        node["least_spacing_mm"].number(),
        node["depth_mm"].number(),
        node["kerf_mm"].number(),
        node["opening_mm"].number(),
        node["hinge_depth_mm"].number(),
        tuple(line.numbers(columns=2) for line in node["lines"].list()),
        tuple(_ring_in(ring) for ring in node["kerfs"].list()),
    )


def _notch_in(node: Node) -> Notch:
    return Notch(node["joint"].text(), node["label"].text(), node["point"].pair(), node["inward"].pair())


def _note_in(node: Node) -> Note:
    lines = tuple(line.text() for line in node["lines"].list())
    anchor, angle, height = node["anchor"].pair(), node["angle"].number(), node["height_mm"].number()
    tip = None if node["tip"].value is None else node["tip"].pair()
    return Note(node["role"].text(), lines, anchor, angle, height, tip)


def _joint_in(node: Node, shell: Shell, pieces: dict[str, PatternPiece]) -> JointRun:
    return JointRun(
        node["letter"].text(),
        _side_in(node, "_a", pieces),
        _side_in(node, "_b", pieces),
        node["edges"].integers(below=shell.edge_count),
        node["bend_deg"].number(),
        node["bend_least_deg"].number(),
        node["bend_most_deg"].number(),
        node["rule"].text(),
        node["mismatch_mm"].number(),
        node["locked"].boolean(),
    )


def _rim_in(node: Node, shell: Shell, pieces: dict[str, PatternPiece]) -> RimRun:
    letter, edges = node["letter"].text(), node["edges"].integers(below=shell.edge_count)
    style, rounding, locked = node["style"].text(), node["round_mm"].number(), node["locked"].boolean()
    return RimRun(letter, _side_in(node, "", pieces), edges, style, rounding, locked)


def _side_in(node: Node, mark: str, pieces: dict[str, PatternPiece]) -> JointSide:
    """`mark` is what the names of the side's values carry, as "_a"."""
    piece = _known(node[f"piece{mark}"], pieces)
    loops = pieces[piece].patch.loops
    loop = node[f"loop{mark}"].integer()
    if not 0 <= loop < len(loops):
        raise node[f"loop{mark}"].wrong(f"names a rim that '{piece}' does not have")
    steps, bevels = node[f"steps{mark}"].integers(below=len(loops[loop])), node[f"bevels{mark}_deg"].numbers()
    if len(bevels) != len(steps):
        raise node[f"bevels{mark}_deg"].wrong(f"should have one bevel for each of {len(steps)} steps")
    return JointSide(
        piece,
        loop,
        steps,
        node[f"path{mark}"].integers(below=pieces[piece].patch.vertex_count),
        node[f"bevel{mark}_deg"].number(),
        bevels,
        node[f"length{mark}_mm"].number(),
    )


def _sheet_in(node: Node, pieces: dict[str, PatternPiece]) -> Sheet:
    placements = tuple(
        Placement(_known(p["piece"], pieces), p["angle"].number(), p["x"].number(), p["y"].number())
        for p in node["placements"].list()
    )
    width, height, fill = (node[key].number() for key in ("width_mm", "height_mm", "fill"))
    return Sheet(node["number"].integer(), node["stock"].text(), width, height, placements, fill)


def _finding_in(node: Node, shell: Shell) -> Finding:
    kind, severity, message, mend = (node[key].text() for key in ("kind", "severity", "message", "mend"))
    counts = {"vertices": len(shell.vertices), "edges": shell.edge_count, "faces": shell.face_count}
    elements = {key: tuple(node[key].integers(below=count).tolist()) for key, count in counts.items()}
    return Finding(kind, severity, message, mend, node["piece"].text_or_none(), **elements)


def _known(node: Node, pieces: dict[str, PatternPiece]) -> str:
    if node.text() not in pieces:
        raise node.wrong(f"names a piece that does not exist, '{node.value}'")
    return node.text()
