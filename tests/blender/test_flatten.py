import json

import bpy
import numpy as np
import pytest


@pytest.fixture
def flat_of():
    """The flat objects by the name of their piece."""
    return lambda: {obj.foamwright.flat_of: obj for obj in bpy.data.objects if obj.foamwright.flat_of}


def mesh_area(mesh):
    return sum(face.area for face in mesh.polygons) * 1e6


def counts():
    kinds = ("objects", "meshes", "collections", "scenes", "materials", "curves")
    return {kind: len(getattr(bpy.data, kind)) for kind in kinds}


def test_a_box_becomes_one_flat_piece_beside_it(box, flat_of):
    obj = box()
    assert bpy.ops.foamwright.flatten() == {"FINISHED"}
    (piece,) = obj.foamwright.pieces
    flat = flat_of()[piece.name]
    names = {collection.name for collection in bpy.context.scene.collection.children_recursive}
    assert names >= {"Foamwright: shell", "Flat pieces", "Foam sheets"}
    assert flat.name == piece.name
    assert flat.location.x > 0.12
    # developable but for the corners, where the fold lines meet half a skin below the outside (0.5 mm on 60)
    assert max(piece.pull_percent, piece.squeeze_percent) < 1
    assert mesh_area(flat.data) == pytest.approx(2 * (120 * 90 + 90 * 60 + 60 * 120), rel=0.02)


@pytest.mark.nester
def test_the_flat_lies_on_its_sheet_where_the_pattern_says(panels, flat_of, module):
    obj = panels()
    bpy.ops.foamwright.flatten()
    bpy.context.view_layer.update()
    pattern = module("addon.results").stored_pattern(obj)
    assert len(pattern.pieces) == len(flat_of()) == 2
    assert max(piece.pull_percent + piece.squeeze_percent for piece in obj.foamwright.pieces) < 0.01
    frame = next(o for o in bpy.data.objects if o.name.startswith("Sheet 1"))
    for placement in pattern.sheets[0].placements:
        flat = flat_of()[placement.piece]
        there = np.array([flat.matrix_world @ vertex.co - frame.location for vertex in flat.data.vertices]) * 1000
        wanted = placement.apply(pattern.piece(placement.piece).flat)
        assert there[:, :2] == pytest.approx(wanted, abs=0.01)
        assert there[:, 2] == pytest.approx(0)


def test_strain_is_a_colour_attribute_on_flat_and_shell(panels, flat_of):
    obj = panels()
    bpy.ops.foamwright.flatten()
    for mesh in (obj.data, *(flat.data for flat in flat_of().values())):
        attribute = mesh.color_attributes.active_color
        assert attribute.name == "Foam strain"
        colours = np.empty(len(mesh.loops) * 4, np.float32)
        attribute.data.foreach_get("color_srgb", colours)
        # unstrained panels are neutral: near white, hardly any hue
        assert np.ptp(colours.reshape(-1, 4)[:, :3], axis=1).max() < 0.03
        assert colours.min() > 0.9
        assert mesh.attributes["foam_strain"].domain == "FACE"


def test_flattening_again_replaces_the_result_and_leaves_nothing_over(panels):
    panels()
    bpy.ops.foamwright.flatten()
    first = counts()
    bpy.ops.foamwright.flatten()
    assert counts() == first
    assert not [block for block in (*bpy.data.meshes, *bpy.data.objects) if block.users == 0]
    bpy.ops.foamwright.clear()
    assert counts() == {"objects": 1, "meshes": 1, "collections": 0, "scenes": 1, "materials": 0, "curves": 0}


def test_two_shells_keep_their_own_results(panels, box):
    first = panels(name="left")
    bpy.ops.foamwright.flatten()
    second = box(name="right")
    bpy.ops.foamwright.flatten()
    assert first.foamwright.results.foamwright.shell == first
    assert second.foamwright.results.foamwright.shell == second
    assert first.foamwright.results != second.foamwright.results


def test_a_copy_of_a_shell_does_not_take_its_results_away(panels):
    original = panels()
    bpy.ops.foamwright.flatten()
    copy = original.copy()
    copy.data = original.data.copy()
    bpy.context.collection.objects.link(copy)
    bpy.context.view_layer.objects.active = copy
    assert not bpy.ops.foamwright.export.poll()
    bpy.ops.foamwright.flatten()
    assert original.foamwright.results.foamwright.shell == original
    assert len([c for c in bpy.data.collections if c.name.startswith("Foamwright: ")]) == 2


def test_flattening_in_edit_mode_stays_there(panels, flat_of):
    obj = panels()
    bpy.ops.object.mode_set(mode="EDIT")
    bpy.ops.foamwright.flatten()
    assert obj.mode == "EDIT"
    assert len(flat_of()) == 2
    bpy.ops.object.mode_set(mode="OBJECT")
    assert obj.data.color_attributes.active_color.name == "Foam strain"


def test_one_undo_takes_it_all_back_and_redo_brings_it(panels, everything):
    panels()
    bpy.ops.ed.undo_push(message="before")
    before = everything()
    bpy.ops.foamwright.flatten("EXEC_DEFAULT", True)
    after = everything()
    assert after != before
    bpy.ops.ed.undo()
    assert everything() == before
    bpy.ops.ed.redo()
    assert everything() == after


def test_the_pattern_is_kept_in_the_file(panels, tmp_path, module):
    panels()
    bpy.ops.foamwright.flatten()
    bpy.ops.wm.save_as_mainfile(filepath=str(tmp_path / "shell.blend"))
    bpy.ops.wm.read_homefile(use_factory_startup=True, use_empty=True)
    bpy.ops.wm.open_mainfile(filepath=str(tmp_path / "shell.blend"))
    bpy.ops.foamwright.export(directory=str(tmp_path / "out"), kinds={"JSON"})
    document = json.loads((tmp_path / "out" / "shell-pattern.json").read_text(encoding="utf-8"))
    assert len(document["pieces"]) == 2


def test_the_summary_tells_when_the_result_is_old(panels, module):
    obj, summary = panels(), module("addon.summary")
    bpy.ops.foamwright.flatten()
    assert not summary.refresh(bpy.context).outdated
    bpy.context.scene.foamwright.thickness_mm = 8
    assert summary.refresh(bpy.context).outdated
    bpy.context.scene.foamwright.thickness_mm = 5
    assert not summary.refresh(bpy.context).outdated
    obj.data.vertices[0].co.y -= 0.01
    assert summary.refresh(bpy.context).outdated


def test_pieces_that_cannot_be_made_are_told_as_a_warning(panels, dome, capfd, module):
    panels()
    capfd.readouterr()
    bpy.ops.foamwright.flatten()
    assert "Info: 'shell' laid flat" in capfd.readouterr().out
    obj = dome()
    obj.scale.z = 1.5
    bpy.context.view_layer.update()
    bpy.ops.foamwright.flatten()
    told = "1 piece cannot be made as it is: P1 (strained far over what the foam takes heated)."
    assert f"Warning: {told} '{obj.name}' laid flat" in capfd.readouterr().out
    state = obj.foamwright.results.foamwright
    assert state.cannot_be_made == told
    (piece,) = obj.foamwright.pieces
    assert piece.why_not
    (strain,) = module("core.report").report(module("addon.results").stored_pattern(obj)).pieces
    assert piece.common_percent == pytest.approx(100 * strain.common, rel=1e-5)
    bpy.ops.foamwright.rename_piece(piece="P1", new_name="Crown")
    assert state.cannot_be_made == told.replace("P1", "Crown")


def test_heatmap_without_a_window_says_so(panels):
    panels()
    bpy.ops.foamwright.flatten()
    assert bpy.ops.foamwright.colours(what="FLAGS") == {"FINISHED"}
    assert bpy.ops.foamwright.labels() == {"FINISHED"}


def test_labels_stand_on_the_shell_and_on_the_flats(panels, module):
    obj = panels()
    bpy.ops.foamwright.flatten()
    overlay, results = module("addon.overlay"), module("addon.results")
    pattern = results.stored_pattern(obj)
    labels = overlay.labels_of(pattern, 0.001)
    assert {label.words for label in labels if label.is_joint} == {joint.letter for joint in pattern.joints}
    assert len(labels) == len(pattern.pieces) + len(pattern.joints)
    # both panels lie with their outside up, 40 degrees from each other
    assert all(label.outward[2] > 0.7 for label in labels)
    for label in labels:
        assert all(value >= -0.001 for value in (label.point[0], label.point[1], label.point[2] + 0.0643))
    flats = overlay.flat_labels(results.results_of(obj))
    assert {label.words for label in flats} == {piece.name for piece in pattern.pieces}
    assert min(label.point[0] for label in flats) > 0.176
    assert all(label.outward == pytest.approx((0, 0, 1)) for label in flats)


def test_labels_do_not_cover_each_other(module):
    is_free = module("addon.overlay").is_free
    taken = [(0, 0, 10, 5), (20, 0, 30, 5)]
    assert is_free((10, 0, 20, 5), taken)
    assert is_free((0, 5, 30, 9), taken)
    assert not is_free((9, 4, 21, 6), taken)
    assert not is_free((2, 1, 3, 2), taken)


def test_plain_rows_are_told_with_the_findings_also_in_background(panels):
    obj = panels()  # pieces lie in plain rows in these tests, as where the nester is missing
    bpy.ops.foamwright.flatten()
    assert any("plain rows" in finding.message and finding.severity == "note" for finding in obj.foamwright.findings)
