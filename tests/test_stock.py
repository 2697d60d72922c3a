"""The maker's stock: what is refused, the list in a file, and the neutral depth of a bent strip."""

from __future__ import annotations

import json
from dataclasses import fields, replace

import numpy as np
import pytest
from foamwright.core.calibration import BentStrip, calibrated
from foamwright.core.errors import ExportError, FormatError, SettingsError
from foamwright.core.foam import EVA_SHEETS, Stock, eva
from foamwright.core.stock_library import StockLibrary, library_from, read_library, write_library
from hypothesis import given
from hypothesis import strategies as st


def test_usual_sheets():
    assert [stock.thickness_mm for stock in EVA_SHEETS] == [2, 4, 5, 6, 8, 10]
    assert [stock.skin_mm for stock in EVA_SHEETS] == [0.4, 0.8, 1, 1, 1, 1]


@pytest.mark.parametrize(
    "wrong",
    [
        {"name": " "},
        {"thickness_mm": 0},
        {"thickness_mm": float("nan")},
        {"sheet_width_mm": 0},
        {"sheet_height_mm": 1e300},
        {"neutral_depth": 1.1},
        {"skin_mm": 5.0},
        {"hot_limit": -0.1},
        {"tightest_bend": -1},
        {"kerf_mm": 0},
        {"blade_mm": -1},
    ],
)
def test_stock_that_cannot_be_is_refused(wrong):
    with pytest.raises(SettingsError):
        Stock(**{"name": "foam", "thickness_mm": 5.0, **wrong})


# --- the list ----------------------------------------------------------------------------------


def test_presets_are_kept_by_name():
    library = StockLibrary().keeping(replace(eva(3.0), name="scraps"))
    assert [stock.thickness_mm for stock in library.stocks] == [2, 3, 4, 5, 6, 8, 10]
    library = library.keeping(replace(library.stock("scraps"), neutral_depth=0.42))
    assert library.stock("scraps").neutral_depth == 0.42
    assert len(library.stocks) == 7
    assert library.without("scraps") == StockLibrary()
    with pytest.raises(SettingsError, match=r"no stock 'scraps'.*EVA 2 mm"):
        StockLibrary().without("scraps")
    with pytest.raises(SettingsError, match="Two stocks are called 'EVA 5 mm'"):
        StockLibrary((eva(5.0), eva(5.0)))


def test_written_and_read_back_nothing_is_lost(tmp_path):
    own = Stock("käfer 'dense'", 7.5, 1220.0, 610.0, 0.4375, 1.2, 0.04, 0.12, 2.5, 1.6, 0.3)
    assert {field.name for field in fields(Stock)} == set(vars(own))
    library = StockLibrary().keeping(own)
    assert read_library(write_library(library, tmp_path / "stock.json")) == library


def test_a_list_of_an_older_version_takes_usual_values(tmp_path):
    document = {"format": "foamwright stock", "version": 1, "stocks": [{"name": "foam", "thickness_mm": 4}]}
    assert library_from(document) == StockLibrary((Stock("foam", 4.0),))


@pytest.mark.parametrize(
    ("path", "value", "told"),
    [
        (("format",), "pattern", r"not a list of stock .*'format' should be"),
        (("version",), 2, r"update Foamwright"),
        (("stocks",), {}, r"'stocks' should be a list"),
        (("stocks", 1, "name"), 3, r"'stocks\[1\].name' should be text"),
        (("stocks", 1, "name"), "EVA 2 mm", r"Two stocks are called 'EVA 2 mm'"),
        (("stocks", 0, "thickness_mm"), 0, r"'stocks\[0\]' does not hold together.*thickness"),
        (("stocks", 0, "skin_mm"), "thin", r"skin_mm' should be a number"),
        (("stocks", 0, "thickness_mm"), 10**400, r"thickness_mm' should be a number"),
        (("stocks", 0), 5, r"'stocks\[0\]' should be an object"),
    ],
)
def test_a_broken_list_is_told_by_its_place(tmp_path, path, value, told):
    document = json.loads(write_library(StockLibrary(), tmp_path / "stock.json").read_text())
    inner = document
    for key in path[:-1]:
        inner = inner[key]
    inner[path[-1]] = value
    with pytest.raises(FormatError, match=told):
        library_from(document)


def test_a_file_that_is_no_list_is_refused(tmp_path):
    with pytest.raises(ExportError, match="cannot be read"):
        read_library(tmp_path / "none.json")
    (tmp_path / "bad.json").write_text("{")
    with pytest.raises(FormatError, match="choose a list of stock"):
        read_library(tmp_path / "bad.json")


def test_a_list_that_an_editor_has_marked_is_read(tmp_path):
    path = write_library(StockLibrary(), tmp_path / "stock.json")
    path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes())
    assert read_library(path) == StockLibrary()


# --- calibration -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("flat", "outer", "inner", "depth"),
    [
        # foam of 10 mm bent by 90 degrees round an inside radius of 75: bend allowance 125.664, outer arc
        # 133.518, inner arc 117.810 at K = 0.5 (computed from the published bend allowance A (R + K t))
        (125.664, 133.518, 117.810, 0.5),
        # 6 mm, R 40, 45 degrees, K 0.45 from the inside: allowance 33.537; arcs pi/4 x 46 and pi/4 x 40
        (33.537, 36.128, 31.416, 0.55),
        # head band: inner circumference 580, 10 mm: cut length 611.416, outer circumference 642.832
        (611.416, 642.832, 580.0, 0.5),
    ],
)
def test_neutral_depth_of_published_bends(flat, outer, inner, depth):
    assert BentStrip(flat, outer, inner).neutral_depth == pytest.approx(depth, abs=2e-4)


@given(st.floats(0, 1), st.floats(1, 12), st.floats(10, 200), st.floats(0.5, 6))
def test_neutral_depth_is_found_whatever_the_bend(depth, thickness, inside_radius, angle):
    outer, inner = angle * (inside_radius + thickness), angle * inside_radius
    flat = outer - angle * depth * thickness
    strip = BentStrip(flat, outer, inner)
    assert strip.neutral_depth == pytest.approx(depth, abs=1e-6)
    assert strip.bend_angle(thickness) == pytest.approx(angle, rel=1e-6)


def test_uncertainty_bounds_every_misreading():
    strip = BentStrip(300.0, 308.0, 292.0)
    errors = 0.5 * np.array(np.meshgrid([-1, 1], [-1, 1], [-1, 1])).reshape(3, -1).T
    off = [abs(BentStrip(300 + a, 308 + b, 292 + c).neutral_depth - 0.5) for a, b, c in errors]
    assert max(off) == pytest.approx(strip.uncertainty(0.5), rel=0.1)
    assert strip.uncertainty(0.5) == pytest.approx(1 / 16)


def test_strips_count_by_the_spread_of_their_arcs():
    short, long = BentStrip(100.0, 102.0, 98.0), BentStrip(300.0, 309.0, 297.0)
    assert (short.neutral_depth, long.neutral_depth) == (0.5, 0.75)
    assert calibrated(eva(5.0), (short, long)).neutral_depth == pytest.approx((0.5 * 4 + 0.75 * 12) / 16)
    assert calibrated(eva(5.0), short) == eva(5.0)


@pytest.mark.parametrize("wrong", [(0, 10, 9), (100, 99, 101), (100, 100, 100), (110, 105, 95), (90, 105, 95)])
def test_a_strip_that_cannot_be_is_refused(wrong):
    with pytest.raises(SettingsError):
        calibrated(eva(5.0), BentStrip(*wrong))


def test_no_strip_is_no_calibration():
    with pytest.raises(SettingsError, match="at least one strip"):
        calibrated(eva(5.0), ())
