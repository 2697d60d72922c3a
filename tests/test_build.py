"""Cut list, materials and glue-up order."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import solids
from foamwright.core.build import CAUTIONS, cut_list, glue_order, glue_steps, materials
from foamwright.core.layout import Sheet
from foamwright.core.sheets.tables import material_rows
from planar_pieces import faceted, pattern_of
from sample_pattern import sample_pattern


def test_cut_list_of_a_box():
    rows = cut_list(pattern_of(faceted(solids.box(200, 150, 100), joint_rule="mitre")))
    sizes = sorted((row.width_mm, row.height_mm) for row in rows)
    np.testing.assert_allclose(sizes, [(150, 100)] * 2 + [(200, 100)] * 2 + [(200, 150)] * 2)
    assert {row.name: row.area_mm2 for row in rows} == pytest.approx(
        {row.name: row.width_mm * row.height_mm for row in rows}
    )
    assert {row.quantity for row in rows} == {1}
    assert {row.stock for row in rows} == {"EVA 10 mm"}
    assert [row.mate for row in rows if row.mate]


def test_size_counts_the_longer_inside_of_a_valley():
    pattern = pattern_of(faceted(solids.box(200, 150, 100), joint_rule="mitre"))
    piece = pattern.pieces[0]
    grown = replace(piece, inside_outline=(piece.outside_outline[0] * 1.1,))
    plain, wide = (cut_list(replace(pattern, pieces=(p,)))[0] for p in (piece, grown))
    assert wide.width_mm > plain.width_mm
    assert wide.area_mm2 == plain.area_mm2


@pytest.mark.parametrize(("rule", "millilitres"), [("butt", 26.5), ("mitre", 37.4)])
def test_adhesive_of_five_metres_of_seam(rule, millilitres):
    """Seams 5 m, t 10, both faces, two coats at 7.56 m2/L: 26.5 mL square, 37.4 mL mitred at 45 deg (computed)."""
    need = materials(pattern_of(faceted(solids.cube(5000 / 12), joint_rule=rule)))
    assert need.glue_mm == pytest.approx(5000)
    assert need.adhesive_ml == pytest.approx(millilitres, abs=0.05)
    assert need.filler_ml == 0


def test_materials_count_foam_by_stock():
    pattern = pattern_of(faceted(solids.cube(100)))
    sheets = tuple(Sheet(number, "EVA 10 mm", 1000, 600, (), 0.5) for number in (1, 2))
    (need,) = materials(replace(pattern, sheets=sheets)).foam
    assert (need.stock, need.pieces, need.sheets) == ("EVA 10 mm", 6, 2)
    assert need.area_mm2 == pytest.approx(60000)


@pytest.mark.parametrize(
    ("side", "told"), [(10, "6 cm²"), (100, "600 cm²"), (129, "998 cm²"), (130, "0.10 m²"), (500, "1.50 m²")]
)
def test_small_areas_of_foam_are_told_in_small_units(side, told):
    """Six squares; a square metre is ten thousand square centimetres."""
    (foam, _) = material_rows(pattern_of(faceted(solids.cube(side), thickness=1.0)))
    assert f"6 pieces, {told} net" in foam[1]


def test_adhesive_is_told_for_what_there_is_to_glue():
    plate = np.array([(-40.0, -30, 0), (40, -30, 0), (40, 30, 0), (-40, 30, 0)]), [[0, 1, 2, 3]]
    bare = pattern_of(faceted(plate))
    assert [row[0] for row in material_rows(bare)] == ["EVA 10 mm"]
    layered = replace(bare, layers=bare.pieces)
    assert material_rows(layered)[-1] == ("adhesive", "about 3 ml for 48 cm² of layers")  # two faces, two coats
    assert "joints" in material_rows(pattern_of(faceted(solids.box())))[-1][1]


def test_grooves_are_glued_and_scores_filled():
    pattern = sample_pattern()
    bare = replace(pattern, pieces=tuple(replace(piece, folds=()) for piece in pattern.pieces))
    grooves = scores = glue = 0.0
    for piece in pattern.pieces:
        for fold in piece.folds:
            length = np.linalg.norm(np.diff(piece.flat[fold.path], axis=0), axis=1).sum()
            if fold.kind == "groove":
                grooves += length
                glue += 2 * length * fold.depth_mm / np.cos(np.radians(fold.bend_deg / 2))
            else:
                scores += length * fold.depth_mm**2 * np.tan(np.radians(abs(fold.bend_deg) / 2))
    assert grooves > 0
    assert scores > 0
    one, other = materials(pattern), materials(bare)
    assert one.glue_mm - other.glue_mm == pytest.approx(grooves)
    assert one.glue_face_mm2 - other.glue_face_mm2 == pytest.approx(glue)
    assert one.filler_ml - other.filler_ml == pytest.approx(scores / 1000)


@pytest.mark.parametrize("mesh", [solids.dodecahedron(), solids.box(), solids.truncated_icosahedron(40)])
def test_every_joint_is_glued_once_and_each_step_touches_what_is_there(mesh):
    pattern = pattern_of(faceted(mesh))
    steps = glue_steps(pattern)
    letters = [letter for step in steps for letter in step.joints]
    assert sorted(letters) == sorted(joint.letter for joint in pattern.joints)
    joints = {joint.letter: joint for joint in pattern.joints}
    areas = {row.name: row.area_mm2 for row in cut_list(pattern)}
    together = None
    for step in steps:
        for pair in ({joints[x].a.piece, joints[x].b.piece} for x in step.joints):
            if together is None:
                together = {max(pair, key=lambda name: areas[name])}
                assert areas[next(iter(together))] == pytest.approx(max(areas.values()))
            assert pair & together
        together |= {name for x in step.joints for name in (joints[x].a.piece, joints[x].b.piece)}


def test_groups_are_built_first_and_joined_last():
    pattern = pattern_of(faceted(solids.box(200, 150, 100)))
    groups = ["head", "head", "head", "neck", "neck", "neck"]
    pieces = tuple(replace(piece, group=group) for piece, group in zip(pattern.pieces, groups, strict=True))
    pattern = replace(pattern, pieces=pieces)
    group_of = {piece.name: piece.group for piece in pieces}
    joints = {joint.letter: joint for joint in pattern.joints}
    across = [
        [group_of[joints[x].a.piece] != group_of[joints[x].b.piece] for x in step.joints]
        for step in glue_steps(pattern)
    ]
    assert all(len(set(step)) == 1 for step in across)
    order = [step[0] for step in across]
    assert order == sorted(order)
    assert order[-1]


def test_glue_order_says_what_goes_where():
    pattern = pattern_of(faceted(solids.box(200, 150, 100)))
    for sentence, step in zip(glue_order(pattern), glue_steps(pattern), strict=True):
        assert sentence.endswith(": " + ", ".join(step.joints))
        assert sentence.startswith("Group main: add piece ")
        new, _, old = step.words.removeprefix("Group main: add piece ").partition(" to ")
        joints = [joint for joint in pattern.joints if joint.letter in step.joints]
        assert {joint.a.piece for joint in joints} | {joint.b.piece for joint in joints} == {new, *old.split(" and ")}


def test_darts_come_first():
    pattern = pattern_of(faceted(solids.box()))
    last = pattern.joints[-1]
    dart = replace(last, letter="Z", b=replace(last.b, piece=last.a.piece))
    order = glue_order(replace(pattern, joints=(*pattern.joints[:-1], dart)))
    assert order[0] == f"Close piece {last.a.piece} on itself: Z"


def test_cautions_defer_to_data_sheets_and_promise_no_protection():
    together = " ".join(CAUTIONS)
    for words in (
        "not protective equipment",
        "safety data sheets",
        "licensed",
        "vapour",
        "Heated foam",
        "blade",
        "dust",
    ):
        assert words in together
