import json
import math

import bpy
import pytest

SIDES = 16


@pytest.fixture
def headless(module):
    return module("addon.headless")


@pytest.fixture
def cuff(tmp_path):
    """An OBJ file of an open sleeve, 120 mm wide and 90 mm high, its numbers in mm; no seams."""
    ring = [(60 * math.cos(2 * math.pi * i / SIDES), 60 * math.sin(2 * math.pi * i / SIDES)) for i in range(SIDES)]
    lines = [f"v {x:.4f} {z} {-y:.4f}" for z in (0, 90) for x, y in ring]
    lines += [f"f {i + 1} {(i + 1) % SIDES + 1} {(i + 1) % SIDES + SIDES + 1} {i + SIDES + 1}" for i in range(SIDES)]
    path = tmp_path / "cuff.obj"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def flat_area(piece):
    """mm^2, the sum of the triangles on the flat."""
    points = piece["flat"]["vertices"]
    area = 0.0
    for i, j, k in piece["flat"]["triangles"]:
        (ax, ay), (bx, by), (cx, cy) = points[i], points[j], points[k]
        area += ((bx - ax) * (cy - ay) - (cx - ax) * (by - ay)) / 2
    return area


def test_a_file_in_millimetres_becomes_templates(cuff, folder, headless, capfd):
    headless.run(cuff, folder, kinds={"JSON", "SUMMARY"})
    told = capfd.readouterr().out
    assert "taken for millimetres" in told
    assert all(stage in told for stage in ("import", "seams", "flatten", "write files"))
    document = json.loads((folder / "cuff-pattern.json").read_text(encoding="utf-8"))
    # the middle of the foam is a regular polygon whose sides lie 2.5 mm further in than the model's; at a cut
    # there is no bend that would take length from the two edges
    corner = math.tan(math.pi / SIDES)
    width = 2 * SIDES * (60 * math.cos(math.pi / SIDES) - 2.5) * corner + len(document["pieces"]) * 2 * 2.5 * corner
    assert sum(map(flat_area, document["pieces"])) == pytest.approx(width * 90, rel=1e-4)
    assert (folder / "cuff-summary.pdf").exists()


def test_layers_are_cut_when_asked_for(tmp_path, folder, headless):
    corners = [
        (0, 0, 0),
        (200, 0, 0),
        (200, 200, 0),
        (0, 200, 0),
        (70, 70, 9),
        (130, 70, 9),
        (130, 130, 9),
        (70, 130, 9),
    ]
    lines = [f"v {x} {z} {-y}" for x, y, z in corners] + ["f 1 2 3 4", "f 5 6 7 8"]
    path = tmp_path / "crest.obj"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    assert headless.main([str(path), "--out", str(folder), "--layers"]) == 0
    document = json.loads((folder / "crest-pattern.json").read_text(encoding="utf-8"))
    assert [layer["stock"]["thickness_mm"] for layer in document["layers"]] == [4.0]
    assert len(document["pieces"]) == 2


def test_seams_can_be_suggested_and_are_told(cuff, folder, headless, capfd):
    assert headless.main([str(cuff), "--out", str(folder), "--seams", "suggest", "--strain", "4"]) == 0
    told = capfd.readouterr().out
    # a sleeve of flat foam wants one slit from rim to rim
    assert "plan: 1 piece, 90 mm of seam, worst strain 0.0 %" in told
    assert len(bpy.context.object.foamwright.pieces) == 1
    assert bpy.context.scene.foamwright.cuts.strain_percent == pytest.approx(4)


def test_what_makes_no_sense_is_refused_before_the_work(folder, headless, module):
    wrong, nan = module("core.errors").SettingsError, float("nan")
    for words, told in (
        ({"seams": "guess"}, "suggest"),
        ({"seams": "suggest", "strain": 0.0}, "strain limit"),
        *(({"thickness": thickness}, "Foam .* makes no sense") for thickness in (0.0, -5.0, 101.0, nan)),
        *(({"size": size}, "A shell of .* makes no sense") for size in (0.0, -300.0, nan, float("inf"))),
    ):
        with pytest.raises(wrong, match=told):
            headless.run("monkey", folder, **words)
    assert not bpy.data.objects


def test_the_command_says_what_is_wrong_and_fails(tmp_path, folder, headless, capfd):
    for name in ("note.txt", "broken.blend", "empty.obj"):
        (tmp_path / name).write_text("no model", encoding="utf-8")
    for name, words in (
        ("missing.obj", "There is no file"),
        ("note.txt", "cannot be imported; convert it"),
        ("broken.blend", "cannot be imported"),
        ("empty.obj", "holds no mesh"),
    ):
        assert headless.main([str(tmp_path / name), "--out", str(folder)]) == 1
        assert words in capfd.readouterr().err
    assert not folder.exists()


def test_the_command_passes_its_options_on(cuff, folder, headless, module, monkeypatch):
    writers = module("addon.writers")
    monkeypatch.setattr(writers, "KINDS", tuple(kind for kind in writers.KINDS if kind.key == "JSON"))
    arguments = [str(cuff), "--out", str(folder), "--thickness", "4", "--seams", "all", "--size", "150"]
    assert headless.main(arguments) == 0
    document = json.loads((folder / "cuff-pattern.json").read_text(encoding="utf-8"))
    assert {piece["stock"]["thickness_mm"] for piece in document["pieces"]} == {4}
    axes = zip(*document["shell"]["vertices"], strict=True)
    assert max(max(axis) - min(axis) for axis in axes) == pytest.approx(150, rel=1e-4)
