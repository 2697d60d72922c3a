"""Build-up layers: what is cut to bring a panel to its modelled height, on the sheets, in lists and files."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree as ET

import ezdxf
import foamwright.core
import jsonschema
import numpy as np
import pypdfium2
import pytest
import solids
from foamwright.core.build import COATS, COVERAGE_M2_PER_L, cut_list, glue_order, materials
from foamwright.core.check_pattern import examine_pattern
from foamwright.core.errors import SettingsError
from foamwright.core.foam import eva
from foamwright.core.makeable import unmakeable
from foamwright.core.pattern import Pattern
from foamwright.core.pattern_json import from_dict, to_dict
from foamwright.core.renaming import renamed
from foamwright.core.settings import PieceChoice, Settings
from foamwright.core.sheets.drawing import CUT
from foamwright.core.sheets.dxf import write_dxf
from foamwright.core.sheets.pdf import write_pdf
from foamwright.core.sheets.svg import write_svg
from hypothesis import given
from hypothesis import settings as effort
from hypothesis import strategies as st
from shapely import Polygon
from test_buildup import behind_a_window, laid, over_a_plate, walled_panel

STOCKS = tuple(eva(t) for t in (2.0, 4.0, 5.0, 6.0, 8.0, 10.0))
PLAIN = Settings(stock=eva(6.0), stocks=STOCKS, cut_layers=True, nest_seconds=1)
SIDE = 60.0


def _with(**choices) -> Settings:
    return Settings(**{"stock": eva(6.0), "stocks": STOCKS, "cut_layers": True, "nest_seconds": 1} | choices)


def _area(rings) -> float:
    return Polygon(rings[0], rings[1:]).area


def _told(pattern: Pattern) -> str:
    (finding,) = [f for f in pattern.findings if f.kind == "build-up"]
    return finding.mend


@pytest.fixture(scope="module")
def raised() -> Pattern:
    """A panel of 60 mm that stands 10 mm over a plate, all cut from 6 mm foam."""
    return laid(over_a_plate(10.0, SIDE), PLAIN)


# --- what is cut -------------------------------------------------------------------------------


def test_the_missing_height_is_cut_and_named_after_its_panel(raised):
    (layer,) = raised.layers
    assert (layer.name, layer.layer_of, layer.mate) == ("P1, layer 2 of 2", "P1", None)
    assert layer.stock.thickness_mm + raised.piece("P1").stock.thickness_mm == pytest.approx(10.0)
    assert _area(layer.outside_outline) == pytest.approx(SIDE**2, rel=1e-9)
    assert _area(layer.inside_outline) == pytest.approx(SIDE**2, rel=1e-9)
    assert (layer.folds, layer.notches, layer.bends) == ((), (), ())
    assert layer.group == raised.piece("P1").group
    assert "4 mm is cut to go under it, exactly" in _told(raised)


def test_nothing_is_cut_unless_asked():
    assert laid(over_a_plate(10.0), _with(cut_layers=False)).layers == ()


@effort(max_examples=12, deadline=None)
@given(st.integers(70, 390), st.sampled_from([4.0, 5.0, 6.0]))
def test_the_stack_makes_the_height_as_nearly_as_the_stock_does(tenths, top):
    height = tenths / 10
    pattern = laid(over_a_plate(height), _with(stock=eva(top)))
    layers = pattern.layers
    thicknesses = [layer.stock.thickness_mm for layer in layers]
    assert abs(top + sum(thicknesses) - height) <= 1.0 + 1e-6  # sheets of 2 mm steps and 5 mm, four at most
    assert thicknesses == sorted(thicknesses, reverse=True)
    count = len(layers) + 1
    assert [layer.name for layer in layers] == [f"P1, layer {n} of {count}" for n in range(2, count + 1)]
    for layer in layers:
        assert _area(layer.outside_outline) == pytest.approx(SIDE**2)


def test_edges_of_layers_go_on_along_the_bevel():
    """At depth z a rim bevelled by 30 degrees lies z tan 30 within the face."""
    pattern = laid(over_a_plate(14.0), _with(stock=eva(4.0), stocks=STOCKS[:-1], rim_style="bevelled"))
    depths = [4.0, 12.0, 14.0]
    faces = [(layer.outside_outline, layer.inside_outline) for layer in pattern.layers]
    for (outside, inside), top, foot in zip(faces, depths[:-1], depths[1:], strict=True):
        for rings, depth in ((outside, top), (inside, foot)):
            assert _area(rings) == pytest.approx((SIDE - 2 * depth * np.tan(np.pi / 6)) ** 2, rel=1e-6)
    for layer in pattern.layers:
        assert any("bevel 30" in line for note in layer.notes for line in note.lines)
        room = Polygon(layer.outside_outline[0])
        assert all(room.contains(note.box) for note in layer.notes)


def _curved(height: float, radius: float = 200.0, turn: float = 0.6):
    """A panel round a cylinder, bent by `turn` rad, `height` over the plate of that radius."""
    plate = solids.cylinder_patch(radius, 1.2, 160, 48, 8)
    panel, faces = solids.cylinder_patch(radius + height, turn, 80, 24, 4)
    cosine, sine = np.cos(0.3), np.sin(0.3)
    panel = panel @ np.array([[cosine, sine, 0], [-sine, cosine, 0], [0, 0, 1]]) + (0, 0, 40)
    return solids.together(plate, (panel, faces))


def test_a_layer_under_a_bent_panel_is_shorter_by_its_depth():
    """Its middle keeps its length: turn (R - depth of its middle), as for every bent piece."""
    pattern = laid(_curved(10.0), PLAIN)
    (layer,) = pattern.layers
    panel = pattern.piece(layer.layer_of)
    # 24 chords turn by 23/24 from the first to the last
    turn = 0.6 * 23 / 24
    assert _area(panel.outside_outline) / 80 == pytest.approx(0.6 * 210 - turn * 3, abs=0.02)
    assert _area(layer.outside_outline) / 80 == pytest.approx(0.6 * 210 - turn * (6 + 2), abs=0.02)
    assert np.abs(layer.stretch - 1).max() < 1e-3


def test_layers_of_mates_are_mates():
    panels = [solids.moved(solids.flat_sheet(40, 60, 4, 6), (x, -30, 10)) for x in (-60, 20)]
    plate = solids.moved(solids.flat_sheet(240, 160, 8, 8), (-120, -80, 0))
    pattern = laid(solids.together(plate, *panels), PLAIN)
    left, right = pattern.layers
    assert {left.name, right.name} == {"P1 L, layer 2 of 2", "P1 R, layer 2 of 2"}
    assert (left.mate, right.mate) == (right.name, left.name)
    uneven = laid(solids.together(plate, *panels), _with(pieces={"P1 L": PieceChoice(eva(10.0))}))
    assert [(layer.name, layer.mate) for layer in uneven.layers] == [("P1 R, layer 2 of 2", None)]


def test_halves_that_are_joined_have_layers_that_meet():
    """Two halves of a roof over a roof: their seam is a ridge, its mitre goes on through the layers."""
    slope = np.radians(15.0)

    def roof(width, depth, lift):
        points, faces = solids.flat_sheet(width, depth, 4, 4)
        points = points - (width / 2, depth / 2, 0)
        points[:, 2] = lift - np.tan(slope) * np.abs(points[:, 0])
        return points, faces

    def along_the_top(shell):
        return (
            (np.abs(shell.vertices[shell.edges][:, :, 0]).max(axis=1) < 1e-9)
            & (shell.edge_face_count == 2)
            & (shell.vertices[shell.edges][:, :, 2].min(axis=1) > 5)
        )

    mesh = solids.together(roof(240, 160, 0.0), roof(80, 60, 10.0 / np.cos(slope)))
    pattern = laid(mesh, _with(joint_rule="mitre"), seams=along_the_top)
    one, other = pattern.layers
    for layer in (one, other):
        long = 40 / np.cos(slope)
        assert _area(layer.outside_outline) == pytest.approx(60 * (long - 6 * np.tan(slope)), rel=1e-6)
        assert _area(layer.inside_outline) == pytest.approx(60 * (long - 10 * np.tan(slope)), rel=1e-6)
    assert one.mate == other.name


def _pyramid(size: float, apex: float):
    """Four sides on a base of 2 to 1, 30 degrees steep at most; the open side of each in 16 steps."""
    ring = [(-2, -1), (2, -1), (2, 1), (-2, 1)]
    base = [np.linspace(one, other, 16, endpoint=False) for one, other in zip(ring, [*ring[1:], ring[0]], strict=True)]
    points = size * np.vstack(base) / 2
    height = size / 2 * np.tan(np.radians(30.0))
    vertices = np.vstack([np.column_stack([points, np.full(64, apex - height)]), (0, 0, apex)])
    return vertices, [[step, (step + 1) % 64, 64] for step in range(64)]


def test_corners_of_layers_are_trimmed_as_one_foam_of_their_depth_would_be():
    def ridges(shell):
        return shell.edge_bend > 0.1

    outer = _pyramid(100.0, 11.0)  # 9.5 and 10.6 mm over the sides of the inner one
    choices = _with(joint_rule="mitre", stocks=(eva(4.0),))
    pattern = laid(solids.together(outer, _pyramid(240.0, 0.0)), choices, seams=ridges)
    whole = laid(outer, _with(joint_rule="mitre", stock=eva(10.0)), seams=ridges)
    layers = {layer.layer_of: layer for layer in pattern.layers}
    assert len(layers) == 4
    for name, layer in layers.items():
        assert _area(layer.outside_outline) == pytest.approx(_area(pattern.piece(name).inside_outline), rel=1e-6)
        assert _area(layer.inside_outline) == pytest.approx(_area(whole.piece(name).inside_outline), rel=1e-6)
    assert {f.piece for f in whole.findings if f.kind == "corner-trim"} & set(layers)


def test_a_spacer_is_what_of_the_panel_lies_under_foam():
    pattern = laid(behind_a_window(9.0), _with(stock=eva(5.0)))
    (spacer,) = pattern.layers
    assert spacer.name == f"{spacer.layer_of}, spacer 1 of 1"
    assert spacer.stock.thickness_mm == 4.0
    assert _area(spacer.outside_outline) == pytest.approx(110**2 - 80**2, rel=1e-6)
    assert len(spacer.outside_outline) == 2
    assert "onto the face of" in glue_order(pattern)[0]


def test_layers_below_an_inside_face_begin_at_it():
    """The modelled face is the inside one: a layer of 4 mm begins there, and a bevel of 30 degrees goes on from it."""
    choices = _with(stock=eva(5.0), model_is_inside=True, rim_style="bevelled", rim_bevel_deg=30.0)
    (layer,) = laid(over_a_plate(9.0), choices).layers
    assert _area(layer.outside_outline) == pytest.approx(SIDE**2)
    assert _area(layer.inside_outline) == pytest.approx((SIDE - 8 * np.tan(np.pi / 6)) ** 2, rel=1e-6)
    (bent,) = laid(_curved(9.0), choices).layers
    assert np.ptp(bent.flat[:, 0]) == pytest.approx(0.6 * (209 - 2), abs=0.1)


# --- what is refused ---------------------------------------------------------------------------


def _bent_over(height: float, radius: float, steps: int):
    """A panel with a bend of 60 degrees parallel to a plate bent alike, `height` apart."""

    def sheet(radius, wing, depth):
        turn = np.linspace(0, np.pi / 3, steps + 1)
        x, z = radius * np.sin(turn), radius * np.cos(turn)
        way = np.array([0.5, -np.sqrt(0.75)])
        profile = np.vstack([(-wing, radius), np.stack([x, z], axis=1), np.array([x[-1], z[-1]]) + wing * way])
        y = np.linspace(-depth, depth, 5)
        return solids.grid(
            np.stack(
                [
                    np.tile(profile[:, 0], (5, 1)),
                    np.tile(y[:, None], (1, len(profile))),
                    np.tile(profile[:, 1], (5, 1)),
                ],
                axis=-1,
            )
        )

    return solids.together(sheet(radius, 120, 120), sheet(radius + height, 60, 60))


@pytest.mark.parametrize(
    ("mesh", "why"),
    [
        (_bent_over(10.0, 6.0, 1), "folded"),
        (_bent_over(10.0, 6.0, 12), "bent too tightly"),
        (walled_panel(12.0), "its joints hold it there"),
    ],
)
def test_a_panel_no_layer_fits_is_told(mesh, why):
    pattern = laid(mesh, PLAIN, seams=(lambda shell: np.abs(shell.edge_bend) > 1) if "joints" in why else None)
    assert pattern.layers == ()
    assert any(why in f.mend for f in pattern.findings if f.kind == "build-up")


def test_bevels_that_meet_within_the_stack_leave_nothing_to_cut():
    pattern = laid(over_a_plate(20.0, 30.0), _with(rim_style="bevelled", rim_bevel_deg=45.0))
    assert pattern.layers == ()
    assert "its bevels leave no foam that deep" in _told(pattern)


def test_a_layer_that_lies_over_itself_is_flagged(raised):
    (layer,) = raised.layers
    twisted = layer.flat * np.where(layer.flat[:, 1:] > layer.flat[:, 1].mean(), (-1, 1), (1, 1))
    pattern = replace(raised, layers=(replace(layer, flat=twisted),))
    found = [f for f in examine_pattern(pattern, PLAIN) if f.kind == "overlap"]
    assert [finding.piece for finding in found] == [layer.name]
    assert list(unmakeable(pattern.with_findings(tuple(found)))) == [layer.name]
    (told,) = renamed(pattern.with_findings(tuple(found)), "P1", "Crest").findings
    assert told.message.startswith("Piece Crest, layer 2 of 2 lies over itself")


def test_a_recess_without_overlap_is_only_told():
    pattern = laid(walled_panel(-12.0), PLAIN, seams=lambda shell: np.abs(shell.edge_bend) > 1)
    assert pattern.layers == ()


def test_a_piece_must_not_have_the_name_of_a_layer():
    shell_faces = 64 + 16
    names = ["P1, layer 2 of 2"] * 64 + ["P1"] * 16
    assert len(names) == shell_faces
    with pytest.raises(SettingsError, match="name of a build-up layer"):
        laid(over_a_plate(10.0), PLAIN, face_names=names)


# --- lists and files ---------------------------------------------------------------------------


def test_layers_are_on_the_sheets_of_their_stock_and_in_the_lists(raised):
    sheet_of = {p.piece: sheet.stock for sheet in raised.sheets for p in sheet.placements}
    assert sheet_of == {part.name: part.stock.name for part in raised.parts}
    rows = {row.name: row for row in cut_list(raised)}
    row = rows["P1, layer 2 of 2"]
    assert (row.stock, row.quantity, row.area_mm2) == ("EVA 4 mm", 1, pytest.approx(SIDE**2))
    need = materials(raised)
    assert {foam.stock: foam.pieces for foam in need.foam} == {"EVA 6 mm": 2, "EVA 4 mm": 1}
    assert need.layer_mm2 == pytest.approx(SIDE**2)
    assert need.adhesive_ml == pytest.approx(2 * SIDE**2 * 1e-6 * COATS / COVERAGE_M2_PER_L * 1e3)
    first, last = glue_order(raised)
    assert first == "Glue layer 2 of 2 (EVA 4 mm) under P1, its rim flush"
    assert last.startswith("Glue P1 onto P2, its outside face 10.0 mm above")


def test_layer_of_a_stock_in_use_shares_its_sheets():
    thin = eva(4.0)
    pattern = laid(over_a_plate(8.0), _with(stock=thin))
    assert [layer.stock for layer in pattern.layers] == [thin]
    assert len(pattern.sheets) == 1


def test_pattern_json_keeps_layers(raised):
    document = json.loads(json.dumps(to_dict(raised)))
    schema = Path(foamwright.core.__file__).parent / "pattern.schema.json"
    jsonschema.Draft202012Validator(json.loads(schema.read_text(encoding="utf-8"))).validate(document)
    assert document["layers"][0]["layer_of"] == "P1"
    assert to_dict(from_dict(document)) == to_dict(raised)


def test_a_renamed_panel_renames_its_layers(raised):
    crest = renamed(raised, "P1", "Crest plate")
    (layer,) = crest.layers
    assert (layer.name, layer.layer_of) == ("Crest plate, layer 2 of 2", "Crest plate")
    assert {p.piece for sheet in crest.sheets for p in sheet.placements} == {part.name for part in crest.parts}
    assert any("Crest plate" in line for note in layer.notes for line in note.lines)


def test_sheets_read_back_with_the_layer_in_true_size(raised, tmp_path):
    sheet = next(s for s in raised.sheets if s.stock == "EVA 4 mm")
    root = ET.parse(write_svg(raised, sheet, tmp_path / "sheet.svg")).getroot()
    (path,) = [p for p in root.iter() if p.get("data-piece") == "P1, layer 2 of 2" and "d" in p.attrib][:1]
    numbers = [float(part) for part in re.findall(r"-?[\d.]+", path.get("d"))]
    assert Polygon(np.reshape(numbers, (-1, 2))).area == pytest.approx(SIDE**2, abs=0.1)
    document = ezdxf.readfile(write_dxf(raised, sheet, tmp_path / "sheet.dxf"))
    (line,) = document.modelspace().query(f'LWPOLYLINE[layer=="{CUT.key}"]')
    assert Polygon([(x, y) for x, y, *_ in line.get_points()]).area == pytest.approx(SIDE**2, abs=0.1)


def test_templates_list_and_show_the_layer(raised, tmp_path):
    book = pypdfium2.PdfDocument(write_pdf(raised, tmp_path / "templates.pdf"))
    texts = [page.get_textpage().get_text_range() for page in book]
    whole = " ".join(" ".join(texts).split())
    assert "build-up layers" in whole
    assert "Glue layer 2 of 2 (EVA 4 mm) under P1" in whole
    assert "layer 1 is the panel itself" in whole
    assert "3 P1" in texts[-1]
    assert "EVA 4 mm" in texts[-1]
