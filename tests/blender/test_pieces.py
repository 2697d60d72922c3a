import math

import bpy
import pytest


@pytest.fixture
def flat_panels(panels):
    def made():
        obj = panels()
        bpy.ops.foamwright.flatten()
        return obj

    return made


def test_pieces_are_listed_without_laying_them_flat(panels):
    obj = panels()
    bpy.ops.foamwright.find_pieces()
    assert len(obj.foamwright.pieces) == 2
    assert not any(piece.is_flat for piece in obj.foamwright.pieces)
    assert obj.foamwright.results is None


def test_a_new_name_stands_everywhere(flat_panels, module):
    obj = flat_panels()
    old, other = (piece.name for piece in obj.foamwright.pieces)
    bpy.ops.foamwright.rename_piece(piece=old, new_name="Brow")
    pattern = module("addon.results").stored_pattern(obj)
    assert {piece.name for piece in pattern.pieces} == {"Brow", other}
    (label,) = (note for note in pattern.piece("Brow").notes if note.role == "name")
    assert label.lines[0].split()[1] == "Brow"
    assert {pattern.joints[0].a.piece, pattern.joints[0].b.piece} == {"Brow", other}
    assert {p.piece for sheet in pattern.sheets for p in sheet.placements} == {"Brow", other}
    assert bpy.data.objects["Brow"].foamwright.flat_of == "Brow"
    assert old not in bpy.data.objects


def test_listed_findings_follow_a_new_name(flat_panels):
    bpy.context.scene.foamwright.heavy_bevel = math.radians(10)
    obj = flat_panels()
    old = obj.foamwright.pieces[0].name
    before = [item.message for item in obj.foamwright.findings]
    bpy.ops.foamwright.rename_piece(piece=old, new_name="Brow")
    after = [item.message for item in obj.foamwright.findings]
    assert any(f"Piece {old} " in words for words in before)
    assert after == [words.replace(f"Piece {old} ", "Piece Brow ") for words in before]


def test_a_name_survives_the_next_run_and_an_edit(flat_panels):
    obj = flat_panels()
    bpy.ops.foamwright.rename_piece(piece=obj.foamwright.pieces[0].name, new_name="Brow")
    bpy.ops.object.mode_set(mode="EDIT")
    bpy.ops.mesh.select_all(action="SELECT")
    bpy.ops.mesh.subdivide()
    bpy.ops.object.mode_set(mode="OBJECT")
    bpy.ops.foamwright.flatten()
    assert "Brow" in obj.foamwright.pieces


def test_a_name_in_use_is_refused(flat_panels):
    obj = flat_panels()
    first, second = (piece.name for piece in obj.foamwright.pieces)
    with pytest.raises(RuntimeError, match="not in use"):
        bpy.ops.foamwright.rename_piece(piece=first, new_name=second)
    assert [piece.name for piece in obj.foamwright.pieces] == [first, second]


def test_a_piece_of_other_foam_goes_to_a_sheet_of_its_own(flat_panels, module):
    obj = flat_panels()
    name = obj.foamwright.pieces[1].name
    bpy.ops.foamwright.set_piece_stock(piece=name, thickness_mm=8)
    assert module("addon.summary").is_outdated(bpy.context.scene, obj)
    bpy.ops.foamwright.flatten()
    pattern = module("addon.results").stored_pattern(obj)
    assert {piece.name: piece.stock.thickness_mm for piece in pattern.pieces}[name] == 8
    assert {sheet.stock for sheet in pattern.sheets} == {"EVA 5 mm", "EVA 8 mm"}


def test_a_group_reaches_the_pattern(flat_panels, module):
    obj = flat_panels()
    obj.foamwright.pieces[0].group = "head"
    bpy.ops.foamwright.flatten()
    assert module("addon.results").stored_pattern(obj).pieces[0].group == "head"


def test_foam_for_a_piece_that_is_not_there_is_refused(flat_panels):
    flat_panels()
    with pytest.raises(RuntimeError, match="no piece 'Wing'"):
        bpy.ops.foamwright.set_piece_stock(piece="Wing", thickness_mm=8)


def test_settings_reach_core_as_they_were_typed(module):
    from math import radians

    group = bpy.context.scene.foamwright
    group.thickness_mm, group.cold_limit_percent, group.joint_rule = 4.2, 7.5, "ONE_SIDED"
    group.butt_limit, group.fold_limit = radians(9), radians(33)
    settings = group.to_core()
    assert settings.stock.name == "EVA 4.2 mm"
    assert (settings.stock.thickness_mm, settings.stock.cold_limit) == (4.2, 0.075)
    assert (settings.joint_rule, settings.butt_limit_deg, settings.fold_limit_deg) == ("one-sided", 9, 33)
    assert settings.stock.skin_mm == pytest.approx(0.84)


def test_untouched_settings_are_cores_own(module):
    bpy.context.scene.foamwright.nest_seconds = 6
    assert bpy.context.scene.foamwright.to_core() == module("core.settings").Settings()


@pytest.mark.parametrize("names", [["left", "right"], ["right", "left"]])
def test_a_run_that_puts_the_list_in_order_is_not_an_edit(panels, module, names):
    obj = panels()
    module("addon.piece_list").name_faces(bpy.context, obj, names)
    listed = [piece.name for piece in obj.foamwright.pieces]
    if listed == sorted(names):
        obj.foamwright.pieces.move(0, 1)
    for piece in obj.foamwright.pieces:
        piece.group = "arm"
    bpy.ops.foamwright.flatten()
    assert not module("addon.summary").is_outdated(bpy.context.scene, obj)
