import bpy
import numpy as np
import pytest
from mathutils import Vector
from shapes import BOX, BOX_SEAMS


@pytest.fixture
def colours(module):
    return module("addon.colours")


@pytest.fixture
def kinds(module):
    return module("core.flag_colours").FLAG_KINDS


def flats():
    return [obj for obj in bpy.data.objects if obj.foamwright.flat_of]


def face_colours(mesh, name="Foam flags"):
    """The colour of the first corner of every face, after a look that its other corners have it too."""
    attribute = mesh.color_attributes[name]
    values = np.empty(len(mesh.loops) * 4, np.float32)
    attribute.data.foreach_get("color_srgb", values)
    corners = values.reshape(-1, 4)[:, :3]
    for face in mesh.polygons:
        assert np.ptp(corners[list(face.loop_indices)], axis=0).max() < 0.01
    return np.array([corners[face.loop_start] for face in mesh.polygons])


def colour_of(kinds, words):
    return next(kind.colour for kind in kinds if kind.words == words)


@pytest.fixture
def steep(panels):
    """Two panels whose bevels of 20 degrees each are called heavy."""
    obj = panels()
    bpy.context.scene.foamwright.heavy_bevel = np.radians(15)
    bpy.ops.foamwright.flatten()
    return obj


def test_flagged_faces_have_the_colour_of_their_flag_on_the_shell_and_on_the_flats(steep, kinds):
    wanted = colour_of(kinds, "Heavy bevel")
    for mesh in (steep.data, *(flat.data for flat in flats())):
        assert face_colours(mesh) == pytest.approx(np.tile(wanted, (len(mesh.polygons), 1)), abs=0.01)


def test_faces_without_a_flag_stay_plain(make, module):
    # a strip of four faces with a seam at one end: bevels touch the faces beside it alone
    points = [(x, y, -max(x - 100, 0) * 0.8) for y in (0, 80) for x in (-200, -100, 0, 100, 176)]
    faces = [[i, i + 1, i + 6, i + 5] for i in range(4)]
    obj = make(points, faces, seams=[(3, 8)])
    bpy.ops.foamwright.flatten()
    plain = module("core.flag_colours").PLAIN
    is_plain = np.abs(face_colours(obj.data) - plain).max(axis=1) < 0.01
    assert is_plain.tolist() == [True, True, False, False]
    of_flats = np.concatenate([np.abs(face_colours(flat.data) - plain).max(axis=1) < 0.01 for flat in flats()])
    assert of_flats.sum() == 4, "two faces of two triangles each"


def test_the_maker_chooses_between_strain_and_flags(steep, colours):
    meshes = [steep.data, *(flat.data for flat in flats())]
    assert all(mesh.color_attributes.active_color.name == colours.STRAIN for mesh in meshes)
    bpy.ops.foamwright.colours(what="FLAGS")
    assert all(mesh.color_attributes.active_color.name == colours.FLAGS for mesh in meshes)
    bpy.ops.foamwright.colours(what="NONE")
    bpy.ops.foamwright.colours(what="STRAIN")
    assert all(mesh.color_attributes.active_color.name == colours.STRAIN for mesh in meshes)


def test_what_is_shown_is_read_from_the_viewport(steep, colours):
    (space,) = (area.spaces.active for area in bpy.context.screen.areas if area.type == "VIEW_3D")
    space.shading.type, space.shading.color_type = "SOLID", "MATERIAL"
    assert colours.shown(space.shading, [steep.data]) == ""
    space.shading.color_type = "VERTEX"
    assert colours.shown(space.shading, [steep.data]) == colours.STRAIN
    bpy.ops.foamwright.colours(what="FLAGS")
    assert colours.shown(space.shading, [steep.data]) == colours.FLAGS
    space.shading.type = "WIREFRAME"
    assert colours.shown(space.shading, [steep.data]) == ""


def test_flattening_again_keeps_to_what_was_chosen(steep, colours):
    bpy.ops.foamwright.colours(what="FLAGS")
    bpy.ops.foamwright.flatten()
    assert colours.worn([steep.data]) == colours.FLAGS
    assert {colours.worn([flat.data]) for flat in flats()} == {colours.FLAGS}


def test_the_legend_names_what_is_there_and_nothing_else(steep, kinds):
    flagged = steep.foamwright.results.foamwright.flagged
    assert {kind.words for kind, is_there in zip(kinds, flagged, strict=True) if is_there} == {"Heavy bevel"}
    bpy.context.scene.foamwright.heavy_bevel = np.radians(45)
    bpy.ops.foamwright.flatten()
    flagged = steep.foamwright.results.foamwright.flagged
    (kind,) = [kind for kind, is_there in zip(kinds, flagged, strict=True) if is_there]
    assert "undercut" in kind.findings


def test_icons_of_the_legend_have_the_colours_of_the_faces(kinds, module):
    legend = module("addon.legend")
    for place, kind in enumerate(kinds):
        assert legend.pixels_of("Foam flags", place)[:4] == pytest.approx([*kind.colour, 1.0], abs=0.005)


def test_the_legend_of_strain_tells_the_limits_of_the_foam(steep, module, colours):
    legend, state = module("addon.legend"), steep.foamwright.results.foamwright
    words = [words for words, _ in legend.lines_of(colours.STRAIN, state)]
    assert words == ["squeezed 10 % and more", "squeezed 5 %", "unchanged", "pulled 5 %", "pulled 10 % and more"]
    assert not legend.lines_of("", state)
    bpy.context.scene.foamwright.hot_limit_percent = 15
    bpy.ops.foamwright.flatten()
    (first, *_) = legend.lines_of(colours.STRAIN, steep.foamwright.results.foamwright)
    assert first[0] == "squeezed 15 % and more"
    least, middle, most = (legend.pixels_of(colours.STRAIN, place)[:3] for place in (0, 2, 4))
    assert least[2] > least[0], "squeezed is blue"
    assert most[0] > most[2], "pulled is orange"
    assert min(middle) > 0.9


def test_results_of_an_earlier_version_have_no_flags_and_say_so(steep, capfd):
    for mesh in (steep.data, *(flat.data for flat in flats())):
        mesh.color_attributes.remove(mesh.color_attributes["Foam flags"])
    assert bpy.ops.foamwright.colours(what="FLAGS") == {"CANCELLED"}
    assert "flatten again" in capfd.readouterr().out


def test_removing_the_results_takes_all_colours_off(steep):
    bpy.ops.foamwright.clear()
    assert not steep.data.color_attributes
    assert "foam_strain" not in steep.data.attributes


def test_colours_can_be_changed_in_edit_mode(steep, colours):
    bpy.ops.object.mode_set(mode="EDIT")
    bpy.ops.foamwright.colours(what="FLAGS")
    assert steep.mode == "EDIT"
    bpy.ops.object.mode_set(mode="OBJECT")
    assert colours.worn([steep.data]) == colours.FLAGS


# --- the view ---------------------------------------------------------------------------------------


@pytest.fixture
def view():
    (space,) = (area.spaces.active for area in bpy.context.screen.areas if area.type == "VIEW_3D")
    return space.region_3d


def look_from(view, *direction):
    view.view_rotation = Vector(direction).to_track_quat("Z", "Y")
    view.view_location, view.view_distance = (5, 5, 5), 30


def sight(view):
    return view.view_rotation @ Vector((0, 0, -1))


@pytest.fixture
def flipped(make):
    """A box, moved and turned, whose top face looks inwards."""
    faces = [face if number != 1 else face[::-1] for number, face in enumerate(BOX[1])]
    obj = make(BOX[0], faces, seams=BOX_SEAMS)
    obj.location, obj.rotation_euler.x = (2, 0, 0), np.pi / 2
    bpy.context.view_layer.update()
    bpy.ops.foamwright.check()
    place = next(number for number, one in enumerate(obj.foamwright.findings) if one.faces == "1")
    return obj, place


def test_selecting_what_is_wrong_turns_the_view_to_it(flipped, view):
    obj, place = flipped
    look_from(view, 0.3, 0.3, 1)
    bpy.ops.foamwright.select_place(index=place)
    obj.update_from_editmode()
    (face,) = (face for face in obj.data.polygons if face.select)
    assert tuple(view.view_location) == pytest.approx(tuple(obj.matrix_world @ face.center), abs=1e-3)
    assert view.view_distance < 1
    assert sight(view).dot(obj.matrix_world.to_3x3() @ face.normal) < 0, "it is looked at from its outside"


def test_the_view_stays_as_it_stands_where_the_place_is_seen(flipped, view):
    obj, place = flipped
    outside = obj.matrix_world.to_3x3() @ obj.data.polygons[1].normal
    look_from(view, *(outside + Vector((0.4, 0.2, 0.1))))
    before = sight(view)
    bpy.ops.foamwright.select_place(index=place)
    assert sight(view).angle(before) < 1e-3


def test_a_place_that_looks_all_ways_does_not_turn_the_view(box, view, module):
    obj = box()
    bpy.ops.object.mode_set(mode="EDIT")
    bpy.ops.mesh.select_all(action="SELECT")
    look_from(view, 0.3, 0.3, 1)
    before = sight(view)
    module("addon.view").turn_to_selection(bpy.context, obj)
    assert sight(view).angle(before) < 1e-3
    assert tuple(view.view_location) == pytest.approx((0.06, 0.045, 0.03), abs=1e-3)


# --- what a run has made is no shell -------------------------------------------------------------------


def test_the_outline_of_a_foam_sheet_is_no_shell(steep):
    frame = next(obj for obj in bpy.data.objects if obj.name.startswith("Sheet 1"))
    bpy.context.view_layer.objects.active = frame
    for name in ("check", "flatten", "mark_seams", "complete_seams", "find_pieces", "suggest_seams", "export"):
        assert not getattr(bpy.ops.foamwright, name).poll()


def test_a_deleted_shell_is_not_kept_in_the_file_by_its_results(steep, tmp_path):
    path = str(tmp_path / "shell.blend")
    name = steep.name
    bpy.ops.object.select_all(action="DESELECT")
    steep.select_set(True)
    bpy.ops.object.delete()
    bpy.ops.wm.save_as_mainfile(filepath=path)
    bpy.ops.wm.open_mainfile(filepath=path)
    assert name not in bpy.data.objects
    assert len(flats()) == 2, "what was made stays"


def test_a_shell_that_is_only_hidden_or_elsewhere_keeps_its_results(steep, tmp_path, module):
    path = str(tmp_path / "shell.blend")
    aside = bpy.data.collections.new("aside")
    aside.use_fake_user = True
    aside.objects.link(steep)
    bpy.context.collection.objects.unlink(steep)
    bpy.ops.wm.save_as_mainfile(filepath=path)
    bpy.ops.wm.open_mainfile(filepath=path)
    shell = bpy.data.objects["shell"]
    assert module("addon.results").results_of(shell) is not None


def test_undoing_the_deletion_of_a_shell_brings_its_results_back(steep, module, tmp_path):
    results = module("addon.results")
    bpy.ops.ed.undo_push(message="laid flat")
    bpy.ops.object.select_all(action="DESELECT")
    steep.select_set(True)
    bpy.ops.object.delete("EXEC_DEFAULT", True)
    bpy.ops.wm.save_as_mainfile(filepath=str(tmp_path / "shell.blend"))
    bpy.ops.ed.undo()
    assert results.results_of(bpy.data.objects["shell"]) is not None
