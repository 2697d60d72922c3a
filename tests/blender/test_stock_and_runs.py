"""The maker's own foam, and choices for single joints and rims."""

import math

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


@pytest.mark.parametrize(
    "words",
    ["", '{"format":"foamwright stock","version":1,"stocks":[{"name":"a","thi', "[]", '{"version":' + "9" * 5000 + "}"],
    ids=range(4),
)
def test_a_broken_list_is_put_aside_and_told_and_the_work_goes_on(panels, module, capfd, words):
    stock_file, usual = module("addon.stock_file"), module("core.stock_library").StockLibrary()
    path = stock_file._path()
    path.write_text(words, encoding="utf-8")
    panels()
    bpy.ops.foamwright.check()
    bpy.ops.foamwright.flatten()
    (aside,) = path.parent.glob("stock-broken-*.json")
    assert aside.read_text(encoding="utf-8") == words
    assert not path.exists()
    for told in (capfd.readouterr().out, stock_file.notice):
        assert "The usual sheets stand in for it" in told
        assert aside.name in told
    assert stock_file.library() == usual
    bpy.ops.foamwright.keep_stock()
    assert path.exists()
    assert not stock_file.notice
    aside.unlink()


def test_a_list_that_cannot_be_read_nor_put_aside_is_never_written_over(panels, module, monkeypatch):
    stock_file = module("addon.stock_file")
    path = stock_file._path()
    path.write_text("{", encoding="utf-8")

    def refuse(*_what):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(type(path), "rename", refuse)
    panels()
    bpy.ops.foamwright.flatten()
    assert "aside yourself" in stock_file.notice
    with pytest.raises(RuntimeError, match="is not JSON"):
        bpy.ops.foamwright.keep_stock()
    assert path.read_text(encoding="utf-8") == "{"


def test_a_folder_in_the_place_of_the_list_stops_only_the_keeping(panels, module):
    path = module("addon.stock_file")._path()
    path.mkdir()
    panels()
    bpy.ops.foamwright.flatten()
    with pytest.raises(RuntimeError, match="cannot be read"):
        bpy.ops.foamwright.keep_stock()
    path.rmdir()


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


def _quads(points, across):
    rows = len(points) // across
    return points, [
        (r * across + c, r * across + c + 1, (r + 1) * across + c + 1, (r + 1) * across + c)
        for r in range(rows - 1)
        for c in range(across - 1)
    ]


@pytest.fixture
def raised_panel(make):
    """A panel of 60 mm, 10 mm over a plate of 200 mm."""
    plate, faces = _quads([(x, y, 0) for y in (0, 100, 200) for x in (0, 100, 200)], 3)
    panel, own = _quads([(70 + x, 70 + y, 10) for y in (0, 60) for x in (0, 60)], 2)
    return lambda: make(plate + panel, faces + [tuple(v + len(plate) for v in face) for face in own])


def test_layers_are_cut_when_the_maker_wants_them(raised_panel, module):
    obj = raised_panel()
    group = bpy.context.scene.foamwright
    group.thickness_mm = 6.0
    bpy.ops.foamwright.flatten()
    results = module("addon.results")
    assert results.stored_pattern(obj).layers == ()
    group.cut_layers = True
    assert module("addon.summary").is_outdated(bpy.context.scene, obj)
    bpy.ops.foamwright.flatten()
    (layer,) = results.stored_pattern(obj).layers
    assert (layer.stock.thickness_mm, layer.layer_of) == (4.0, "P1")
    outline = next(o for o in results.results_of(obj).all_objects if o.name == layer.name)
    assert not module("addon.shell_state").is_shell(outline)
    assert [round(1000 * side) for side in outline.dimensions] == [60, 60, 0]
    assert [piece.name for piece in obj.foamwright.pieces] == ["P1", "P2"]
    bpy.ops.foamwright.rename_piece(piece="P1", new_name="Crest plate")
    assert [part.name for part in results.stored_pattern(obj).layers] == ["Crest plate, layer 2 of 2"]
    assert outline.name == "Crest plate, layer 2 of 2"


@pytest.mark.parametrize(("side", "cuts"), [(1, "kerfs"), (-1, "scores")])
def test_tight_bends_of_ridges_and_valleys_are_relieved_alike(make, module, side, cuts):
    """Two panels with a round bend of 90 degrees and 12 mm radius between them, in foam of 6 mm."""
    turns = [math.radians(angle) for angle in range(0, 91, 9)]
    arc = [(12 * math.sin(t), 12 * math.cos(t)) for t in turns]
    profile = [(-60, 12), *arc, (12, -60)]
    points, faces = _quads([(x, y, side * z) for y in (0, 80) for x, z in profile], len(profile))
    obj = make(points, faces)
    group = bpy.context.scene.foamwright
    group.thickness_mm = 6.0
    for choice, treatment in (("HEAT_FORM", "heat-form"), ("KERFS", cuts)):
        group.tight_bends = choice
        bpy.ops.foamwright.flatten()
        (piece,) = module("addon.results").stored_pattern(obj).pieces
        (bend,) = piece.bends
        assert bend.treatment == treatment
        assert len(bend.lines) == bend.count
    assert bend.count > 1


def test_flags_are_listed_with_faces_to_select(make, module):
    every = {frozenset((f[i], f[i - 1])) for f in BOX[1] for i in range(len(f))}
    obj = make(*BOX, seams=[tuple(pair) for pair in every])
    bpy.context.scene.foamwright.heavy_bevel = 0.5
    bpy.ops.foamwright.flatten()
    heavy = [finding for finding in obj.foamwright.findings if "bevels of up to" in finding.message]
    assert heavy
    assert all(finding.faces for finding in heavy)
