"""SVG sheets read back as XML: true millimetres through width, height and viewBox; every layer; the same bytes."""

import re
from dataclasses import replace
from xml.etree import ElementTree as ET

import numpy as np
import pytest
import shapely
from foamwright.core.errors import ExportError
from foamwright.core.foam import eva
from foamwright.core.layout import Placement
from foamwright.core.marks import Note
from foamwright.core.progress import finish
from foamwright.core.settings import Settings
from foamwright.core.sheets.drawing import (
    CUT,
    FOLD,
    GROOVE,
    INSIDE,
    LAYERS,
    LEADER_DOT_MM,
    OUTSIDE,
    WORDS,
    Line,
    Region,
    Text,
    draw_piece,
)
from foamwright.core.sheets.svg import write_svg
from foamwright.core.shell import Shell
from foamwright.core.unfold import unfold
from sample_pattern import sample_pattern
from shapely import LinearRing, LineString, MultiLineString, Point, Polygon

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture
def sheet(tmp_path):
    pattern = sample_pattern()
    path = write_svg(pattern, pattern.sheets[0], tmp_path / "sheet-1.svg")
    return pattern, pattern.sheets[0], ET.parse(path).getroot()


def _scale(root):
    """mm per user unit, across and down, from the size attributes (CSS: mm is an absolute unit)."""
    wide, tall = (float(re.fullmatch(r"([\d.]+)mm", root.get(side))[1]) for side in ("width", "height"))
    left, top, box_wide, box_tall = (float(part) for part in root.get("viewBox").split())
    assert (left, top) == (0, 0)
    return wide / box_wide, tall / box_tall


def _points(path):
    numbers = [float(part) for part in re.findall(r"-?[\d.]+(?:e-?\d+)?", path.get("d"))]
    return np.reshape(numbers, (-1, 2))


def _layer(root, key):
    return next(group for group in root.iter(f"{SVG}g") if group.get("id") == key)


def test_one_user_unit_is_one_millimetre_and_the_sheet_is_the_page(sheet):
    _, foam, root = sheet
    assert _scale(root) == (1.0, 1.0)
    assert root.get("width") == f"{foam.width_mm:g}mm"
    assert root.get("height") == f"{foam.height_mm:g}mm"


def test_layers_are_named_groups_with_iso_widths_and_dashes(sheet):
    root = sheet[-1]
    groups = list(root.iter(f"{SVG}g"))
    assert [group.get("id") for group in groups] == [layer.key for layer in LAYERS]
    looks = {(group.get("stroke-width"), group.get("stroke-dasharray")) for group in groups if len(group)}
    assert _layer(root, "cut-line").get("stroke-width") == "0.5"
    assert _layer(root, "fold-line").get("stroke-width") == "0.25"
    assert len(looks) >= 4  # told apart without colour
    assert {element.get("stroke") for element in root.iter()} <= {None, "none", "#000000"}


def test_outlines_keep_length_area_and_place(sheet):
    pattern, foam, root = sheet
    paths = {path.get("data-piece"): [] for path in _layer(root, "cut-line")}
    for path in _layer(root, "cut-line"):
        assert path.get("d").endswith("Z")
        paths[path.get("data-piece")].append(_points(path))
    for placement in foam.placements:
        piece = pattern.piece(placement.piece)
        assert len(paths[piece.name]) == len(piece.outside_outline)
        for points, ring in zip(paths[piece.name], piece.outside_outline, strict=True):
            drawn, wanted = Polygon(points), Polygon(ring)
            assert drawn.length == pytest.approx(wanted.length, abs=0.001)
            assert drawn.area == pytest.approx(wanted.area, abs=0.001 * wanted.length)
            upright = np.column_stack([points[:, 0], foam.height_mm - points[:, 1]])
            assert upright == pytest.approx(placement.apply(ring)[:-1], abs=1e-4)


def test_no_piece_is_mirrored(sheet):
    pattern, _, root = sheet
    for path in _layer(root, "cut-line"):
        # counter-clockwise on the flat (y up) is clockwise on the screen (y down)
        signed = Polygon(_points(path)).exterior.is_ccw
        assert Polygon(pattern.piece(path.get("data-piece")).outside_outline[0]).exterior.is_ccw
        assert not signed


def test_reference_bar_is_100_mm_and_meets_no_piece(sheet):
    _, _, root = sheet
    (path,) = _layer(root, "reference").findall(f"{SVG}path")
    points = _points(path)
    assert np.ptp(points[:, 0]) == pytest.approx(100)
    bar = LineString(points)
    assert all(bar.distance(LineString(_points(other))) > 0.5 for other in _layer(root, "cut-line"))
    assert [text.text for text in _layer(root, "reference").findall(f"{SVG}text")] == ["100 mm"]


def test_same_pattern_same_bytes_and_odd_names_stay_whole(tmp_path):
    pattern = sample_pattern('<甲> & "ö"\x07')
    one, other = (write_svg(pattern, pattern.sheets[0], tmp_path / f"{i}.svg") for i in range(2))
    assert one.read_bytes() == other.read_bytes()
    assert ET.parse(one).getroot().find(f"{SVG}title").text.startswith('<甲> & "ö", sheet 1')


def test_folder_that_does_not_exist_is_named(tmp_path):
    pattern = sample_pattern()
    with pytest.raises(ExportError, match=r"sheet.svg' cannot be written to the folder .*none"):
        write_svg(pattern, pattern.sheets[0], tmp_path / "none" / "sheet.svg")


# --- the drawing model ---------------------------------------------------------------------------


def test_inside_outline_is_drawn_only_where_it_leaves_the_outside_one():
    pattern = sample_pattern()
    at = Placement("", 0.0, 0.0, 0.0)
    disc = draw_piece(pattern, pattern.piece("ear disc left"), at)
    assert not [line for line in disc if line.layer is INSIDE]
    band = pattern.piece("brow band")
    drawn = [line for line in draw_piece(pattern, band, at) if isinstance(line, Line) and line.layer is INSIDE]
    lines = MultiLineString([LineString(line.points) for line in drawn])
    assert lines.length == pytest.approx(200 + 2 * band.inside_outline[0][0, 1], abs=0.1)


def test_the_mouth_of_a_groove_is_drawn_and_a_score_has_none():
    pattern = sample_pattern()
    band = pattern.piece("brow band")
    drawn = draw_piece(pattern, band, Placement("brow band", 0.0, 0.0, 0.0))
    mouths = [LinearRing(line.points) for line in drawn if line.layer is GROOVE]
    assert len(mouths) == sum(fold.kind == "groove" for fold in band.folds)
    for fold in band.folds:
        middle = Point(band.flat[fold.path].mean(axis=0))
        near = [mouth for mouth in mouths if Polygon(mouth).contains(middle)]
        assert [mouth.distance(middle) for mouth in near] == pytest.approx(
            [fold.mouth_mm / 2] * (1 if fold.kind == "groove" else 0)
        )


def test_of_a_narrow_groove_only_the_middle_is_drawn():
    pattern = sample_pattern()
    band = pattern.piece("brow band")
    grooves = tuple(fold for fold in band.folds if fold.kind == "groove")
    for mouth_mm, rings in ((1.9, 0), (2.0, len(grooves))):
        folds = tuple(replace(fold, mouth_mm=mouth_mm) for fold in grooves)
        drawn = draw_piece(pattern, replace(band, folds=folds), Placement("brow band", 0.0, 0.0, 0.0))
        assert sum(line.layer is GROOVE for line in drawn) == rings
        assert sum(line.layer is FOLD for line in drawn) == 3 * len(grooves)


def test_a_leader_runs_from_the_words_to_a_dot_at_its_tip():
    pattern = sample_pattern()
    band = pattern.piece("brow band")
    note = Note("joint", ("A  square",), (20.0, -12.0), 0.0, 2.0, tip=(20.0, 0.0))
    drawn = draw_piece(pattern, replace(band, notes=(note,)), Placement("brow band", 0.0, 0.0, 0.0))
    (leader,) = [line for line in drawn if isinstance(line, Line) and line.layer is WORDS]
    assert leader.points[0] == pytest.approx((20.0, note.box.bounds[3]))
    assert leader.points[1] == pytest.approx((20.0, 0.0))
    (dot,) = [region for region in drawn if isinstance(region, Region) and region.layer is WORDS]
    assert dot.points.mean(axis=0) == pytest.approx((20.0, 0.0))


@pytest.mark.parametrize("turn", np.radians([0, 89, 90, 91, 180, 270, 359]))
def test_words_are_never_upside_down(turn):
    pattern = sample_pattern()
    for piece in pattern.pieces:
        bare = replace(piece, notches=())
        for text in draw_piece(pattern, bare, Placement(piece.name, float(turn), 0.0, 0.0)):
            if isinstance(text, Text):
                assert np.cos(text.angle) > -1e-3
                assert text.words != "UP" or np.cos(text.angle) == pytest.approx(1)


def test_up_arrow_keeps_off_leaders():
    """Words outside a small disc point into its middle, where the arrow would be."""
    pattern = sample_pattern()
    cheek = pattern.piece("cheek plate left")
    (arrow, *_) = _arrow(pattern, replace(cheek, notes=()))
    tip = tuple(arrow.points.mean(axis=0).tolist())
    note = Note("name", ("1 cheek plate left",), (tip[0] - 150.0, tip[1]), 0.0, 2.0, tip=tip)
    moved = shapely.union_all([LineString(part.points) for part in _arrow(pattern, replace(cheek, notes=(note,)))])
    assert moved.distance(note.leader) >= 2 * LEADER_DOT_MM


def _arrow(pattern, piece):
    drawn = draw_piece(pattern, piece, Placement(piece.name, 0.0, 0.0, 0.0))
    return [part for part in drawn if part.layer.key == "up-arrow" and not isinstance(part, Text)]


def test_up_arrow_points_to_the_top_of_the_shell():
    pattern = sample_pattern()
    piece = pattern.piece("cheek plate left")
    tip = next(p for p in draw_piece(pattern, piece, Placement("", 0.0, 0.0, 0.0)) if p.layer.key == "up-arrow")
    direction = tip.points[1] - tip.points[0]
    assert direction / np.linalg.norm(direction) == pytest.approx((0, 1), abs=1e-9)
    level = pattern.shell.with_vertices(pattern.shell.vertices * (1, 1, 0))
    flat_down = draw_piece(replace(pattern, shell=level), piece, Placement("", 0.0, 0.0, 0.0))
    assert not [p for p in flat_down if p.layer.key == "up-arrow"]


def _valley_pattern(blade_mm: float = 0.0):
    """Two panels that meet in a valley of 60 degrees, mitred: their inside faces are larger there."""
    x, turn = [0, 80, 80 + 80 * np.cos(np.pi / 3)], 80 * np.sin(np.pi / 3)
    points = np.array([[(a, b, c) for a, c in zip(x, (0, 0, turn), strict=True)] for b in (0, 60)], float)
    vertices, faces = points.reshape(-1, 3), [[0, 1, 4, 3], [1, 2, 5, 4]]
    shell = Shell.build(vertices, faces, seams=[(1, 4)])
    stock = replace(eva(5.0), blade_mm=blade_mm)
    return finish(unfold(shell, Settings(stock=stock, joint_rule="mitre", nest_seconds=1)))


def _lines_of(pattern, piece, layer):
    drawn = draw_piece(pattern, piece, Placement("", 0.0, 0.0, 0.0))
    return [line for line in drawn if isinstance(line, Line) and line.layer is layer]


def test_where_the_inside_face_is_larger_its_outline_is_traced():
    pattern = _valley_pattern()
    wider = 5 * np.tan(np.radians(30))
    for piece in pattern.pieces:
        (cut,) = _lines_of(pattern, piece, CUT)
        assert sorted(np.ptp(cut.points, axis=0)) == pytest.approx([60, 80 + wider], abs=0.01)
        # the outside outline is drawn where it lies within, and the inside one is the traced line there
        (short,) = _lines_of(pattern, piece, OUTSIDE)
        assert LineString(short.points).length == pytest.approx(60, abs=0.1)
        assert not _lines_of(pattern, piece, INSIDE)
        assert Polygon(cut.points).buffer(0.01).contains(LineString(short.points))


def test_half_of_what_the_blade_takes_is_added_to_the_traced_line():
    plain, wide = _valley_pattern(), _valley_pattern(0.8)
    for piece, same in zip(plain.pieces, wide.pieces, strict=True):
        (one,), (other,) = _lines_of(plain, piece, CUT), _lines_of(wide, same, CUT)
        assert np.ptp(other.points, axis=0) - np.ptp(one.points, axis=0) == pytest.approx([0.8, 0.8], abs=0.01)
        np.testing.assert_array_equal(piece.outside_outline[0], same.outside_outline[0])
