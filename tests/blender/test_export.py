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
    written = {path.name: path.read_bytes()[:8] for path in folder.glob("[!.]*")}
    assert set(written) == {
        "shell-templates-a4.pdf",
        "shell-templates-letter.pdf",
        "shell-summary.pdf",
        "shell-sheet-1.svg",
        "shell-sheet-1.dxf",
        "shell-pattern.json",
        "shell-pieces.glb",
        "shell-heatmap.png",
        "shell-shell.png",
    }
    assert all(written[name].startswith(b"%PDF") for name in written if name.endswith(".pdf"))
    assert all(written[name].startswith(b"\x89PNG") for name in written if name.endswith(".png"))
    assert ElementTree.parse(folder / "shell-sheet-1.svg").getroot().get("width") == "1000mm"
    assert json.loads((folder / "shell-pattern.json").read_text(encoding="utf-8"))["unit"] == "mm"


def test_the_numbered_model_has_each_piece_at_its_place_in_metres(panels, folder):
    panels()
    bpy.ops.foamwright.flatten()
    bpy.ops.foamwright.export(directory=str(folder), kinds={"GLB"})
    data = (folder / "shell-pieces.glb").read_bytes()
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
    outcome, stages = writers.Outcome(), []
    steps = writers.write_files(pattern, folder, {"PDF_A4", "SVG", "JSON"}, outcome)
    for progress in steps:
        stages.append(progress)
        if progress.stage == "Writing shell-pattern.json":
            break
    steps.close()
    assert [path.name for path in outcome.written] == ["shell-templates-a4.pdf", "shell-sheet-1.svg"]
    assert sorted(path.name for path in folder.glob("[!.]*")) == ["shell-sheet-1.svg", "shell-templates-a4.pdf"]
    assert any("shell-templates-a4.pdf, page" in progress.stage for progress in stages)
    parts = [progress.part for progress in stages]
    assert parts == sorted(parts)
    assert 0 <= parts[0] < parts[-1] < 1


def test_another_shells_files_and_the_makers_stay_and_older_ones_are_told(flat_box, panels, folder, capfd):
    folder.mkdir()
    (folder / "notes.txt").write_text("mine", encoding="utf-8")
    bpy.ops.foamwright.export(directory=str(folder), kinds={"SVG", "JSON"})
    mine = {path.name: path.read_bytes() for path in folder.glob("[!.]*")}
    panels(name="Jack's 2nd_plate")
    bpy.ops.foamwright.flatten()
    bpy.ops.foamwright.export(directory=str(folder), kinds={"SVG", "JSON"})
    assert {name: (folder / name).read_bytes() for name in mine} == mine
    assert {path.name for path in folder.glob("jack-s-2nd-plate-*")} == {
        "jack-s-2nd-plate-sheet-1.svg",
        "jack-s-2nd-plate-pattern.json",
    }
    assert "earlier" not in capfd.readouterr().out
    bpy.context.scene.foamwright.thickness_mm = 8
    bpy.ops.foamwright.flatten()
    bpy.ops.foamwright.export(directory=str(folder), kinds={"SVG"})
    told = capfd.readouterr().out
    assert "in place of those of an earlier export: 1" in told
    assert "Warning" in told
    assert "still of an earlier pattern: jack-s-2nd-plate-pattern.json" in told


def test_a_later_export_with_fewer_sheets_leaves_no_old_one(panels, folder, capfd):
    panels()
    settings = bpy.context.scene.foamwright
    settings.sheet_width_mm, settings.sheet_height_mm = 125, 95
    bpy.ops.foamwright.flatten()
    bpy.ops.foamwright.export(directory=str(folder), kinds={"SVG", "DXF"})
    assert len(list(folder.glob("*sheet-2.*"))) == 2
    settings.sheet_width_mm = 600
    bpy.ops.foamwright.flatten()
    bpy.ops.foamwright.export(directory=str(folder), kinds={"SVG", "DXF"})
    assert {path.name for path in folder.glob("[!.]*")} == {"shell-sheet-1.svg", "shell-sheet-1.dxf"}
    assert "removed, as this pattern has none: shell-sheet-2.svg, shell-sheet-2.dxf" in capfd.readouterr().out


def test_one_kind_that_fails_does_not_stop_the_others_and_all_is_told_at_the_end(flat_box, folder, module, monkeypatch):
    def fail(*_what):
        raise ValueError("too large on page 2")

    monkeypatch.setattr(module("core.sheets.svg"), "_document", fail)
    monkeypatch.setattr(module("core.sheets.summary"), "_write", fail)
    with pytest.raises(RuntimeError) as refused:
        bpy.ops.foamwright.export(directory=str(folder), kinds={"SVG", "SUMMARY", "JSON", "DXF"})
    for words in ("'shell-sheet-1.svg' cannot be made", "'shell-summary.pdf' cannot be made", "Files written to"):
        assert words in str(refused.value)
    assert {path.name for path in folder.glob("[!.]*")} == {"shell-pattern.json", "shell-sheet-1.dxf"}


@pytest.mark.parametrize("directory", ["", " ", "//", "//out"])
def test_an_export_to_no_place_asks_for_one(flat_box, tmp_path, monkeypatch, directory):
    monkeypatch.chdir(tmp_path)
    with pytest.raises(RuntimeError, match="choose"):
        bpy.ops.foamwright.export(directory=directory, kinds={"JSON"})
    with pytest.raises(RuntimeError, match="choose"):
        bpy.ops.foamwright.heatmap_picture(filepath=directory)
    assert not list(tmp_path.iterdir())
    bpy.ops.wm.save_as_mainfile(filepath=str(tmp_path / "saved.blend"))
    if directory.strip():
        bpy.ops.foamwright.export(directory=directory, kinds={"JSON"})
        assert len(list(tmp_path.rglob("shell-pattern.json"))) == 1


def test_an_export_of_nothing_says_so(flat_box, folder):
    with pytest.raises(RuntimeError, match="choose what to write"):
        bpy.ops.foamwright.export(directory=str(folder), kinds=set())
    assert not folder.exists()


def test_a_file_browser_that_is_closed_changes_nothing_and_stops_no_job(module, monkeypatch):
    # Blender calls an operator's own `cancel` then; an operator made by a script is no longer at hand afterwards
    jobs = module("addon.jobs")
    running = object()
    monkeypatch.setattr(jobs, "running", running)
    job = module("addon.operators.export").FOAMWRIGHT_OT_export
    assert job.cancel(type("Closed", (), {"_timer": job._timer})(), bpy.context) is None
    assert jobs.running is running


@pytest.mark.parametrize(
    ("shell", "name"),
    [("Beetle helmet, Nr. 2", "beetle-helmet-nr-2"), ("Жук 虫", "жук-虫"), ("../../x", "x"), ("=!", "shell")],
)
def test_files_are_named_after_their_shell(module, shell, name):
    assert module("addon.writers").file_name(shell, "sheet-1.svg") == f"{name}-sheet-1.svg"


def test_a_name_of_a_file_is_never_too_long(module):
    assert len(module("addon.writers").file_name("𐐷" * 300, "templates-letter.pdf").encode()) < 255


def test_exporting_an_old_pattern_is_told(flat_box, folder, capfd):
    bpy.context.scene.foamwright.thickness_mm = 8
    bpy.ops.foamwright.export(directory=str(folder), kinds={"JSON"})
    assert "has changed since" in capfd.readouterr().out


def test_it_stands_in_the_export_menu_and_the_context_menus(module):
    menus = module("addon.menus")
    for menu, draw in menus._homes():
        assert draw in menu._dyn_ui_initialize()
