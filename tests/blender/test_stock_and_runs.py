"""The maker's own foam, and choices for single joints and rims."""

import bpy
import pytest
from shapes import BOX


@pytest.fixture
def flat_panels(panels, module):
    def made():
        obj = panels()
        bpy.ops.foamwright.flatten()
        return obj, lambda: module("addon.results").stored_pattern(obj)

    return made


@pytest.fixture(autouse=True)
def no_list_of_foam(module):
    path = module("addon.stock_file")._path()
    path.unlink(missing_ok=True)
    yield
    path.unlink(missing_ok=True)


def test_usual_sheets_until_the_maker_keeps_one(module):
    assert module("addon.stock_file").library() == module("core.stock_library").StockLibrary()
    bpy.ops.foamwright.use_stock(stock="EVA 8 mm")
    group = bpy.context.scene.foamwright
    assert (group.foam_name, group.thickness_mm) == ("EVA", 8)
    assert group.to_stock() == module("core.foam").eva(8.0)


def test_a_kept_stock_is_found_again_in_another_file(module):
    group = bpy.context.scene.foamwright
    group.foam_name, group.thickness_mm, group.neutral_depth, group.kerf_mm = "Dense", 7.5, 0.42, 1.6
    kept = group.to_stock()
    assert (kept.kerf_mm, kept.neutral_depth) == (1.6, 0.42)
    bpy.ops.foamwright.keep_stock()
    bpy.ops.wm.read_homefile(use_factory_startup=True, use_empty=True)
    assert bpy.context.scene.foamwright.foam_name == "EVA"
    bpy.ops.foamwright.use_stock(stock="Dense 7.5 mm")
    assert bpy.context.scene.foamwright.to_stock() == kept
    assert kept in bpy.context.scene.foamwright.to_core().stocks
    bpy.ops.foamwright.forget_stock()
    assert kept not in module("addon.stock_file").library().stocks
    with pytest.raises(RuntimeError, match=r"no stock 'Dense 7\.5 mm'"):
        bpy.ops.foamwright.forget_stock()


def test_a_bent_strip_sets_the_neutral_depth():
    bpy.ops.foamwright.calibrate(flat_mm=300, outer_mm=307, inner_mm=291)
    assert bpy.context.scene.foamwright.neutral_depth == pytest.approx(7 / 16)
    with pytest.raises(RuntimeError, match="Measure again"):
        bpy.ops.foamwright.calibrate(flat_mm=320, outer_mm=307, inner_mm=291)


def test_joints_and_rims_are_listed(flat_panels):
    obj, pattern = flat_panels()
    assert [run.name for run in obj.foamwright.runs] == [run.letter for run in pattern().runs]
    joint = obj.foamwright.runs[0]
    assert {joint.one, joint.other} == {piece.name for piece in pattern().pieces}
    assert "mitre" in joint.told
    assert [run.is_rim for run in obj.foamwright.runs] == [False, True, True]


def test_a_locked_joint_keeps_its_letter_and_rule_through_an_edit(flat_panels, module):
    obj, pattern = flat_panels()
    obj.foamwright.runs[0].joint_choice = "BUTT"
    assert module("addon.summary").is_outdated(bpy.context.scene, obj)
    bpy.ops.foamwright.flatten()
    assert not module("addon.summary").is_outdated(bpy.context.scene, obj)
    assert [(j.letter, j.rule, j.locked) for j in pattern().joints] == [("A", "butt", True)]
    bpy.ops.object.mode_set(mode="EDIT")
    bpy.ops.mesh.select_all(action="SELECT")
    bpy.ops.mesh.subdivide()
    bpy.ops.object.mode_set(mode="OBJECT")
    bpy.ops.foamwright.flatten()
    (joint,) = pattern().joints
    assert (joint.letter, joint.rule, joint.locked, len(joint.edges)) == ("A", "butt", True, 2)


def test_a_rim_may_have_its_own_finish(flat_panels):
    obj, pattern = flat_panels()
    obj.foamwright.runs[1].rim_choice = "ROUNDED"
    bpy.ops.foamwright.flatten()
    assert [rim.style for rim in pattern().rims] == ["rounded", "square"]


def test_a_renamed_piece_is_renamed_in_its_runs(flat_panels):
    obj, _ = flat_panels()
    old = obj.foamwright.pieces[0].name
    bpy.ops.foamwright.rename_piece(piece=old, new_name="Brow")
    names = {name for run in obj.foamwright.runs for name in (run.one, run.other)}
    assert "Brow" in names
    assert old not in names


def test_settings_of_rims_and_bends_reach_core(module):
    group = bpy.context.scene.foamwright
    group.rim_style, group.tight_bends, group.feather_mm, group.butt_mismatch_mm = "ROUNDED", "KERFS", 1.5, 3.0
    settings = group.to_core()
    assert (settings.rim_style, settings.tight_bends) == ("rounded", "kerfs")
    assert (settings.feather_mm, settings.butt_mismatch_mm) == (1.5, 3.0)


def test_flags_are_listed_with_faces_to_select(make, module):
    every = {frozenset((f[i], f[i - 1])) for f in BOX[1] for i in range(len(f))}
    obj = make(*BOX, seams=[tuple(pair) for pair in every])
    bpy.context.scene.foamwright.heavy_bevel = 0.5
    bpy.ops.foamwright.flatten()
    heavy = [finding for finding in obj.foamwright.findings if "bevels of up to" in finding.message]
    assert heavy
    assert all(finding.faces for finding in heavy)
