"""DXF sheets read back with ezdxf: unit, layers, closed outlines of the right length and area, a true square."""

import os
import subprocess
import sys

import ezdxf
import numpy as np
import pytest
from foamwright.core.errors import ExportError
from foamwright.core.sheets.drawing import LAYERS, LINE_TYPES
from foamwright.core.sheets.dxf import write_dxf
from sample_pattern import sample_pattern
from shapely import Polygon


@pytest.fixture
def sheet(tmp_path):
    pattern = sample_pattern()
    path = write_dxf(pattern, pattern.sheets[1], tmp_path / "sheet-2.dxf")
    return pattern, pattern.sheets[1], ezdxf.readfile(path)


def _lines(document, layer):
    return list(document.modelspace().query(f'LWPOLYLINE[layer=="{layer}"]'))


def _points(line):
    return np.array([(x, y) for x, y, *_ in line.get_points()])


def test_file_is_sound_and_says_millimetres(sheet):
    document = sheet[-1]
    assert document.header["$INSUNITS"] == 4
    assert document.header["$MEASUREMENT"] == 1
    auditor = document.audit()
    assert not auditor.errors
    assert not auditor.fixes
    words = [text.dxf.text for text in document.modelspace().query("TEXT")]
    assert "unit: millimetre" in words
    assert "this square is 100 x 100 mm" in words
    assert "ear disc left" in words


def test_layers_carry_line_types_and_widths(sheet):
    document = sheet[-1]
    for layer in LAYERS:
        found = document.layers.get(layer.key)
        assert found.dxf.lineweight == round(layer.line.width_mm * 100)
        wanted = layer.line.name if layer.line.dashes else "CONTINUOUS"
        assert found.dxf.linetype.lower() == wanted.lower()
    dashed = next(line for line in LINE_TYPES if line.iso == "02.1")
    lengths = [tag.value for tag in document.linetypes.get(dashed.name).pattern_tags.tags if tag.code == 49]
    assert lengths == pytest.approx([dashed.dashes[0], -dashed.dashes[1]])


def test_outlines_are_closed_and_keep_length_area_and_place(sheet):
    pattern, foam, document = sheet
    drawn = _lines(document, "cut-line")
    wanted = [p.apply(ring) for p in foam.placements for ring in pattern.piece(p.piece).outside_outline]
    assert len(drawn) == len(wanted) == 4
    for line, ring in zip(drawn, wanted, strict=True):
        assert line.closed
        points = _points(line)
        assert points == pytest.approx(ring[:-1], abs=1e-6)
        assert Polygon(points).length == pytest.approx(Polygon(ring).length, abs=0.001)
        assert Polygon(points).area == pytest.approx(Polygon(ring).area, abs=0.001)


def test_reference_square_is_100_mm_and_off_the_sheet(sheet):
    (square,) = _lines(sheet[-1], "reference")
    assert square.closed
    points = _points(square)
    assert np.ptp(points, axis=0) == pytest.approx((100, 100))
    assert Polygon(points).area == pytest.approx(10000)
    assert points[:, 1].max() < 0


def test_folded_piece_has_all_its_lines(tmp_path):
    pattern = sample_pattern()
    document = ezdxf.readfile(write_dxf(pattern, pattern.sheets[0], tmp_path / "sheet-1.dxf"))
    open_folds = [line for line in _lines(document, "fold-line") if not line.closed]
    assert len(open_folds) == 4
    assert len(_lines(document, "groove-limit")) == 3
    assert len(_lines(document, "notch")) == 4
    assert len(document.modelspace().query('HATCH[layer=="up-arrow"]')) == 4


def test_same_pattern_same_bytes_and_the_switch_is_put_back(tmp_path):
    pattern = sample_pattern("甲 ö\nbreak")
    one, other = (write_dxf(pattern, pattern.sheets[0], tmp_path / f"{i}.dxf") for i in range(2))
    assert one.read_bytes() == other.read_bytes()
    assert not ezdxf.options.write_fixed_meta_data_for_testing


def test_folder_that_does_not_exist_is_named(tmp_path):
    pattern = sample_pattern()
    with pytest.raises(ExportError, match=r"sheet.dxf' cannot be written to the folder .*none"):
        write_dxf(pattern, pattern.sheets[0], tmp_path / "none" / "sheet.dxf")
    assert not ezdxf.options.write_fixed_meta_data_for_testing


@pytest.mark.parametrize("where", ["working folder", "user's folder", "environment", "cache"])
def test_broken_files_of_the_library_lying_about_do_no_harm_and_none_is_left(tmp_path, where):
    home, here = tmp_path / "home", tmp_path / "here"
    here.mkdir()
    stray = {
        "working folder": here / "ezdxf.ini",
        "user's folder": home / ".config" / "ezdxf" / "ezdxf.ini",
        "environment": home / "own.ini",
        "cache": home / ".cache" / "ezdxf" / "font_manager_cache.json",
    }[where]
    stray.parent.mkdir(parents=True, exist_ok=True)
    stray.write_bytes(b"\xff\xfe[\x00c\x00")
    surroundings = {name: value for name, value in os.environ.items() if not name.startswith("XDG")}
    surroundings |= {"HOME": str(home), "EZDXF_CONFIG_FILE": str(home / "own.ini"), "EZDXF_DISABLE_C_EXT": "1"}
    before = sorted(tmp_path.rglob("*"))
    told = subprocess.run(
        [
            sys.executable,
            "-c",
            "import os, foamwright.core.sheets.dxf as dxf; print(dxf.options.disable_c_ext, "
            "os.environ.get('XDG_CACHE_HOME'), os.environ['EZDXF_DISABLE_C_EXT'])",
        ],
        cwd=here,
        env=surroundings,
        capture_output=True,
        text=True,
        check=True,
    )
    assert told.stdout.split() == ["False", "None", "1"]
    assert sorted(tmp_path.rglob("*")) == before
