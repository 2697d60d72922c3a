import bpy
import pytest


def test_it_comes_and_goes_twice(module):
    root = module("addon").__package__.removesuffix(".addon")
    package = __import__(root, fromlist=["register"])
    for _ in range(2):
        package.unregister()
        assert not hasattr(bpy.types.Scene, "foamwright")
        assert not hasattr(bpy.types, "FOAMWRIGHT_OT_flatten")
        package.register()
        assert hasattr(bpy.types.Scene, "foamwright")
        assert hasattr(bpy.types, "FOAMWRIGHT_PT_flatten")


def test_a_missing_library_is_named_with_the_way_out(module, monkeypatch):
    addon = module("addon")
    monkeypatch.setattr(addon, "NEEDED", ("numpy", "no_such_library"))
    with pytest.raises(ImportError, match=r"no_such_library.*Install the Foamwright zip"):
        addon.register()


def test_every_operator_and_property_tells_what_it_is_for(module):
    operators = module("addon.operators").CLASSES
    assert len(operators) >= 12
    for operator in operators:
        assert operator.bl_idname.startswith("foamwright.")
        assert operator.__doc__
    for name, setting in module("addon.settings").FoamwrightSettings.bl_rna.properties.items():
        if name not in {"rna_type", "name"}:
            assert setting.description, name


def test_nothing_to_work_on_greys_the_buttons():
    for name in ("check", "flatten", "mark_seams", "complete_seams", "find_pieces", "export", "clear", "colours"):
        assert not getattr(bpy.ops.foamwright, name).poll()


def test_a_flat_piece_is_no_shell(panels):
    panels()
    bpy.ops.foamwright.flatten()
    bpy.context.view_layer.objects.active = next(obj for obj in bpy.data.objects if obj.foamwright.flat_of)
    for name in ("check", "flatten", "mark_seams", "complete_seams", "find_pieces", "export", "select_place"):
        assert not getattr(bpy.ops.foamwright, name).poll()


def test_results_and_pieces_are_wanted_before_their_buttons_work(box):
    box()
    assert bpy.ops.foamwright.flatten.poll()
    for name in ("export", "colours", "heatmap_picture", "clear", "labels", "rename_piece", "set_piece_stock"):
        assert not getattr(bpy.ops.foamwright, name).poll()
