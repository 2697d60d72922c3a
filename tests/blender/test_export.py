import json
import struct
import xml.etree.ElementTree as ElementTree

import bpy
import pytest


@pytest.fixture
def flat_box(box):
    obj = box()
    bpy.ops.foamwright.flatten()
    return obj


def test_every_kind_of_file_is_written_and_nothing_stays_in_the_scene(
    flat_box, folder, everything, module, monkeypatch
):
    monkeypatch.setattr(module("addon.picture"), "PIXELS_PER_UNIT", 200)
    before = everything()
    kinds = {kind.key for kind in module("addon.writers").KINDS}
    bpy.ops.foamwright.export(directory=str(folder), kinds=kinds)
    assert everything() == before
    assert bpy.context.scene is not None
    written = {path.name: path.read_bytes()[:8] for path in folder.iterdir()}
    assert set(written) == {
        "templates-a4.pdf",
        "templates-letter.pdf",
        "summary.pdf",
        "sheet-1.svg",
        "sheet-1.dxf",
        "pattern.json",
        "pieces.glb",
        "heatmap.png",
        "shell.png",
    }
    assert all(written[name].startswith(b"%PDF") for name in written if name.endswith(".pdf"))
    assert all(written[name].startswith(b"\x89PNG") for name in written if name.endswith(".png"))
    assert ElementTree.parse(folder / "sheet-1.svg").getroot().get("width") == "1000mm"
    assert json.loads((folder / "pattern.json").read_text(encoding="utf-8"))["unit"] == "mm"


def test_the_numbered_model_has_each_piece_at_its_place_in_metres(panels, folder):
    panels()
    bpy.ops.foamwright.flatten()
    bpy.ops.foamwright.export(directory=str(folder), kinds={"GLB"})
    data = (folder / "pieces.glb").read_bytes()
    assert data[:4] == b"glTF"
    (length,) = struct.unpack("<I", data[12:16])
    document = json.loads(data[20 : 20 + length])
    names = {node["name"] for node in document["nodes"]}
    assert names >= {"Number 1", "Number 2"}
    bodies = [node for node in document["nodes"] if node["name"].startswith(("01 ", "02 "))]
    assert len(bodies) == 2
    spans = []
    for node in bodies:
        primitive = document["meshes"][node["mesh"]]["primitives"][0]
        box = document["accessors"][primitive["attributes"]["POSITION"]]
        assert "COLOR_0" in primitive["attributes"]
        spans.append((box["min"], box["max"]))
    low = [min(values) for values in zip(*(span[0] for span in spans), strict=True)]
    high = [max(values) for values in zip(*(span[1] for span in spans), strict=True)]
    # glTF has y up: Blender's (x, y, z) arrives as (x, z, -y)
    assert low == pytest.approx((0, -0.064279, -0.08), abs=1e-5)
    assert high == pytest.approx((0.176604, 0, 0), abs=1e-5)


def test_the_heatmap_picture_is_written_where_asked(flat_box, tmp_path):
    bpy.ops.foamwright.heatmap_picture(filepath=str(tmp_path / "strain.png"))
    assert (tmp_path / "strain.png").read_bytes().startswith(b"\x89PNG")


@pytest.mark.parametrize("kind", ["PDF_A4", "SVG", "DXF", "JSON", "SUMMARY", "GLB", "HEATMAP", "SHELL_PICTURE"])
def test_a_folder_that_cannot_be_written_is_named(flat_box, tmp_path, everything, kind):
    (tmp_path / "file").write_text("in the way", encoding="utf-8")
    before = everything()
    with pytest.raises(RuntimeError, match=r"file.*Choose a folder"):
        bpy.ops.foamwright.export(directory=str(tmp_path / "file" / "out"), kinds={kind})
    assert everything() == before
    assert (tmp_path / "file").read_text(encoding="utf-8") == "in the way"


def test_an_export_that_is_stopped_keeps_the_files_that_are_whole(flat_box, folder, module):
    writers, pattern = module("addon.writers"), module("addon.results").stored_pattern(flat_box)
    written, stages = [], []
    steps = writers.write_files(pattern, folder, {"PDF_A4", "SVG", "JSON"}, written)
    for progress in steps:
        stages.append(progress)
        if progress.stage == "Writing pattern.json":
            break
    steps.close()
    assert [path.name for path in written] == ["templates-a4.pdf", "sheet-1.svg"]
    assert sorted(path.name for path in folder.iterdir()) == ["sheet-1.svg", "templates-a4.pdf"]
    assert any("templates-a4.pdf, page" in progress.stage for progress in stages)
    parts = [progress.part for progress in stages]
    assert parts == sorted(parts)
    assert 0 <= parts[0] < parts[-1] < 1


def test_exporting_an_old_pattern_is_told(flat_box, folder, capfd):
    bpy.context.scene.foamwright.thickness_mm = 8
    bpy.ops.foamwright.export(directory=str(folder), kinds={"JSON"})
    assert "has changed since" in capfd.readouterr().out


def test_it_stands_in_the_export_menu_and_the_context_menus(module):
    menus = module("addon.menus")
    for menu, draw in menus._homes():
        assert draw in menu._dyn_ui_initialize()
