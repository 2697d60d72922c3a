import math

import bpy
import numpy as np
import pytest
from shapes import BOX, BOX_SEAMS


@pytest.fixture
def read(module):
    return lambda obj: module("addon.bridge").shell_from_object(bpy.context, obj)


def volume(shell):
    """Signed volume in mm^3: positive where all faces look outside (divergence theorem)."""
    a, b, c = (shell.vertices[shell.triangles[:, i]] for i in range(3))
    return float(np.einsum("ij,ij->i", a, np.cross(b, c)).sum() / 6)


def test_a_box_arrives_in_millimetres_with_its_seams(box, read):
    shell = read(box())
    assert shell.size == pytest.approx((120, 90, 60), abs=1e-3)
    assert volume(shell) == pytest.approx(120 * 90 * 60, rel=1e-5)
    assert {tuple(pair) for pair in shell.edges[shell.seam].tolist()} == set(BOX_SEAMS)


@pytest.mark.parametrize(("system", "scale", "factor"), [("METRIC", 0.001, 0.001), ("IMPERIAL", 2, 2), ("NONE", 5, 1)])
def test_the_scene_unit_counts_once(box, read, system, scale, factor):
    bpy.context.scene.unit_settings.system = system
    bpy.context.scene.unit_settings.scale_length = scale
    assert read(box()).size == pytest.approx(np.array((120, 90, 60)) * factor, rel=1e-5)


def test_place_turn_and_scale_of_the_object_count(box, read):
    obj = box()
    obj.location, obj.rotation_euler, obj.scale = (1, 2, 3), (0, 0, math.pi / 2), (2, 1, 1)
    bpy.context.view_layer.update()
    shell = read(obj)
    assert shell.size == pytest.approx((90, 240, 60), abs=1e-2)
    assert shell.vertices.min(axis=0) == pytest.approx((1000 - 90, 2000, 3000), abs=1e-2)


def test_a_mirrored_object_is_not_turned_inside_out(box, read):
    obj = box()
    obj.scale.x = -1
    bpy.context.view_layer.update()
    shell = read(obj)
    assert volume(shell) == pytest.approx(120 * 90 * 60, rel=1e-5)
    assert shell.seam.sum() == len(BOX_SEAMS)


def test_a_parent_counts(box, read):
    obj, parent = box(), bpy.data.objects.new("parent", None)
    bpy.context.collection.objects.link(parent)
    parent.scale = (3, 3, 3)
    obj.parent = parent
    bpy.context.view_layer.update()
    assert read(obj).size == pytest.approx((360, 270, 180), rel=1e-5)


def test_modifiers_count_with_the_seams_they_carry(panels, read):
    obj = panels()
    mirror = obj.modifiers.new("Mirror", "MIRROR")
    mirror.use_axis = (False, True, False)
    shell = read(obj)
    assert shell.face_count == 4
    assert shell.seam.sum() == 2


def test_sharp_edges_are_folds(make, read):
    shell = read(make(*BOX, sharp=[(0, 1)]))
    assert shell.edges[shell.fold].tolist() == [[0, 1]]


def test_a_seam_on_a_loose_edge_does_no_harm(make, read):
    obj = make([*BOX[0], (500, 0, 0)], BOX[1])
    obj.data.edges.add(1)
    obj.data.edges[-1].vertices = (0, 8)
    obj.data.edges[-1].use_seam = True
    assert not read(obj).seam.any()


def test_edit_mode_is_read_as_it_stands(box, read):
    import bmesh

    obj = box()
    bpy.ops.object.mode_set(mode="EDIT")
    mesh = bmesh.from_edit_mesh(obj.data)
    for edge in mesh.edges:
        edge.seam = False
    for vertex in mesh.verts:
        vertex.co.x *= 2
    bmesh.update_edit_mesh(obj.data)
    shell = read(obj)
    assert obj.mode == "EDIT"
    assert not shell.seam.any()
    assert shell.size[0] == pytest.approx(240, abs=1e-3)


@pytest.mark.parametrize("mode", ["OBJECT", "EDIT"])
def test_seams_are_written_back_on_the_right_edges(box, read, module, mode):
    obj = box()
    shell = read(obj)
    wanted = ~shell.seam
    bpy.ops.object.mode_set(mode=mode)
    module("addon.own_mesh").write_seams(bpy.context, obj, shell, wanted)
    assert obj.mode == mode
    assert (read(obj).seam == wanted).all()


def test_names_given_to_faces_come_back(panels, module):
    obj = panels()
    module("addon.piece_list").name_faces(bpy.context, obj, ["brow", ""])
    assert module("addon.bridge").shell_and_face_names(bpy.context, obj)[1] == ["brow", ""]


def test_the_fingerprint_sees_what_a_run_reads(box, module):
    obj, scene = box(), bpy.context.scene

    def fingerprint():
        return module("addon.bridge").look(bpy.context, obj).fingerprint

    seen = [fingerprint()]
    assert fingerprint() == seen[0]
    obj.data.vertices[0].co.x += 0.001
    seen.append(fingerprint())
    obj.data.edges[0].use_seam = not obj.data.edges[0].use_seam
    seen.append(fingerprint())
    obj.location.x = 1
    bpy.context.view_layer.update()
    seen.append(fingerprint())
    scene.unit_settings.scale_length = 0.5
    seen.append(fingerprint())
    assert len(set(seen)) == 5
