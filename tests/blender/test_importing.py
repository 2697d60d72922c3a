"""Which mesh of a file is the shell."""

import math

import bpy
import pytest


@pytest.fixture
def importing(module):
    return module("addon.importing")


@pytest.fixture
def saved(tmp_path):
    """Save the file, empty Blender, and return the path: saved("crate.blend")."""

    def saved(name="crate.blend"):
        path = tmp_path / name
        bpy.ops.wm.save_as_mainfile(filepath=str(path), copy=True)
        bpy.ops.wm.read_homefile(use_factory_startup=True, use_empty=True)
        bpy.context.scene.foamwright.nest_seconds = 1
        return path

    return saved


def largest_mm(obj):
    return 1000 * max(obj.dimensions)


def test_the_size_can_be_said(importing):
    shell = importing.import_shell("monkey")
    importing.bring_to_size(shell, 240)
    assert largest_mm(shell) == pytest.approx(240, rel=1e-5)


def test_the_size_is_that_of_the_shell_with_its_modifiers(importing, module):
    shell = importing.import_shell("monkey")
    shell.modifiers.new("Finer", "SUBSURF").levels = 2
    importing.bring_to_size(shell, 240)
    assert module("addon.bridge").shell_from_object(bpy.context, shell).size.max() == pytest.approx(240, rel=1e-5)


def test_a_mesh_without_extent_is_left(box, importing):
    shell = box()
    shell.scale = (0.0, 0.0, 0.0)
    importing.bring_to_size(shell, 240)
    assert tuple(shell.scale) == (0.0, 0.0, 0.0)


def test_a_size_that_nobody_wears_is_changed_and_told(importing, capfd):
    shell = importing.import_shell("monkey")
    importing.bring_to_size(shell, None)
    assert largest_mm(shell) == pytest.approx(300, rel=1e-5)
    assert "give --size" in capfd.readouterr().out


def test_a_size_that_is_worn_is_left(importing, capfd):
    shell = importing.import_shell("monkey")
    shell.scale = (0.1, 0.1, 0.1)
    importing.bring_to_size(shell, None)
    assert largest_mm(shell) == pytest.approx(273.4, abs=0.1)
    assert "scaled" not in capfd.readouterr().out


FORMATS = [".obj", ".stl", ".ply", ".usdc", ".fbx", ".blend"]
# Blender 4.2's own exporter of glTF can crash, at once or long after; what it reads is tested from 4.5 on
FORMATS += [".glb"] if bpy.app.version >= (4, 5) else []


@pytest.mark.parametrize("suffix", FORMATS)
def test_what_blender_exports_comes_back_whole(box, tmp_path, importing, suffix):
    box()
    path = tmp_path / f"crate{suffix}"
    exporters = {
        ".obj": lambda: bpy.ops.wm.obj_export(filepath=str(path)),
        ".stl": lambda: bpy.ops.wm.stl_export(filepath=str(path)),
        ".ply": lambda: bpy.ops.wm.ply_export(filepath=str(path)),
        ".glb": lambda: bpy.ops.export_scene.gltf(filepath=str(path)),
        ".usdc": lambda: bpy.ops.wm.usd_export(filepath=str(path)),
        ".fbx": lambda: bpy.ops.export_scene.fbx(filepath=str(path)),
        ".blend": lambda: bpy.ops.wm.save_as_mainfile(filepath=str(path), copy=True),
    }
    exporters[suffix]()
    bpy.ops.wm.read_homefile(use_factory_startup=True, use_empty=True)
    shell = importing.import_shell(path)
    assert shell.name == "crate"
    assert bpy.context.object == shell
    assert shell.parent is None
    assert len(shell.data.vertices) == 8
    bpy.context.view_layer.update()
    assert sorted(1000 * side for side in shell.dimensions) == pytest.approx([60, 90, 120], rel=1e-4)


def test_a_bigger_mesh_beside_the_shell_is_not_taken_for_it(box, make, saved, importing):
    box(name="helmet")
    make([(-9000, -9000, 0), (9000, -9000, 0), (9000, 9000, 0), (-9000, 9000, 0)], [(0, 1, 2, 3)], name="ground")
    path = saved()
    told = r"'ground' \(18000 x 18000 x 0 mm\), 'helmet' \(120 x 90 x 60 mm\).*--object"
    with pytest.raises(importing.FormatError, match=told):
        importing.import_shell(path)
    bpy.ops.wm.read_homefile(use_factory_startup=True, use_empty=True)
    shell = importing.import_shell(path, ["helmet"])
    assert shell.name == "helmet"
    assert largest_mm(shell) == pytest.approx(120, rel=1e-5)
    importing.bring_to_size(shell, None)
    assert largest_mm(shell) == pytest.approx(120, rel=1e-5)


def test_objects_that_make_the_shell_together_are_named_and_become_one(box, saved, importing):
    box(name="one")
    doubled = box(name="two")
    doubled.location.x = 0.5
    doubled.modifiers.new("again", "ARRAY").relative_offset_displace[0] = 2.0
    shell = importing.import_shell(saved(), ["one", "two"])
    assert len(shell.data.vertices) == 24
    assert largest_mm(shell) == pytest.approx(500 + 360, rel=1e-5)
    assert shell.name == "crate"


def _hide_render(obj):
    obj.hide_render = True


def _hide_viewport(obj):
    obj.hide_viewport = True


def _close_its_eye(obj):
    obj.hide_set(True)


def _collection_of(obj):
    home = bpy.data.collections.new("aside")
    bpy.context.scene.collection.children.link(home)
    bpy.context.scene.collection.objects.unlink(obj)
    home.objects.link(obj)
    return home


def _hide_its_collection_from_render(obj):
    _collection_of(obj).hide_render = True


def _exclude_its_collection(obj):
    _collection_of(obj)
    bpy.context.view_layer.layer_collection.children["aside"].exclude = True


@pytest.mark.parametrize(
    ("hide", "where"),
    [
        (_hide_render, "render"),
        (_hide_viewport, "viewport"),
        (_close_its_eye, "viewport"),
        (_hide_its_collection_from_render, "render"),
        (_exclude_its_collection, "viewport"),
    ],
)
def test_what_is_hidden_is_left_out_and_told_and_can_be_named(box, panels, saved, importing, capfd, hide, where):
    panels(name="shown")
    hide(box(name="cutter"))
    path = saved()
    shell = importing.import_shell(path)
    assert len(shell.data.polygons) == 2
    assert f"left out: 'cutter', hidden {'from ' if where == 'render' else 'in the '}{where}" in capfd.readouterr().out
    bpy.ops.wm.read_homefile(use_factory_startup=True, use_empty=True)
    shell = importing.import_shell(path, ["cutter"])
    bpy.ops.foamwright.flatten()
    assert len(shell.data.polygons) == 6
    assert [piece.name for piece in shell.foamwright.pieces]


def test_a_file_where_all_is_hidden_says_so(box, saved, importing):
    _hide_render(box())
    with pytest.raises(importing.FormatError, match=r"neither hidden nor.*--object"):
        importing.import_shell(saved())


def test_a_shell_flattened_earlier_is_taken_alone_with_the_makers_choices(panels, saved, importing, capfd):
    obj = panels(name="Zed")  # its flats come before it in the alphabet
    bpy.ops.foamwright.flatten()
    obj.foamwright.pieces[0].thickness_mm = 3
    path = saved()
    shell = importing.import_shell(path)
    assert "made by Foamwright" in capfd.readouterr().out
    assert len(shell.data.polygons) == 2
    bpy.ops.foamwright.flatten()
    assert [piece.thickness_mm for piece in shell.foamwright.pieces] == [3, 0]
    bpy.ops.wm.read_homefile(use_factory_startup=True, use_empty=True)
    with pytest.raises(importing.FormatError, match="made by Foamwright; name the shell"):
        importing.import_shell(path, ["P1"])


def test_names_are_those_of_the_file_whatever_is_open(box, saved, importing):
    box(name="helmet")
    path = saved()
    box(name="helmet")
    box(name="crate")
    assert importing.import_shell(path, ["helmet"]).name == "helmet"
    with pytest.raises(importing.FormatError, match="no mesh 'hat'; it holds 'helmet'"):
        importing.import_shell(path, ["hat"])
    assert importing.import_shell(path).name == "crate"


def test_the_units_of_the_file_are_kept(box, saved, importing):
    box().scale = (10, 10, 10)
    bpy.context.scene.unit_settings.scale_length = 0.1
    shell = importing.import_shell(saved())
    importing.bring_to_size(shell, None)
    assert largest_mm(shell) == pytest.approx(1200, rel=1e-5)
    assert bpy.context.scene.unit_settings.scale_length == pytest.approx(0.1)


def test_a_vertex_without_a_place_is_refused(importing, module, box, saved):
    """Welding would put it onto any other."""
    box().data.vertices[0].co.x = math.nan
    file = saved("torn.blend")
    with pytest.raises(module("core.errors").FormatError, match=r"torn\.blend.*without a place.*: 1\."):
        importing.import_shell(file)
