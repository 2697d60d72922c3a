"""Raised and recessed panels: found, measured, and built up from the maker's stock."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
import solids
from foamwright.core.buildup import find_buildups, layers_for
from foamwright.core.check_pattern import examine_pattern
from foamwright.core.foam import eva
from foamwright.core.pattern import Pattern
from foamwright.core.progress import finish
from foamwright.core.settings import PieceChoice, Settings
from foamwright.core.shell import Shell
from foamwright.core.unfold import unfold
from hypothesis import given
from hypothesis import strategies as st

NO_TEN = (2.0, 4.0, 5.0, 6.0, 8.0)


@pytest.mark.parametrize(
    ("height", "sheets", "layers", "error"),
    [
        (10.0, NO_TEN, (8, 2), 0.0),
        (10.0, (*NO_TEN, 10.0), (10,), 0.0),
        (16.0, NO_TEN, (8, 8), 0.0),
        (3.0, NO_TEN, (4,), 1.0),
        (7.2, NO_TEN, (5, 2), -0.2),
        (0.4, NO_TEN, (), -0.4),
        (100.0, (8.0,), (8, 8, 8, 8), -68.0),
    ],
)
def test_layers(height, sheets, layers, error):
    found, left = layers_for(height, sheets)
    assert found == layers
    assert left == pytest.approx(error)


@given(st.floats(0, 40), st.lists(st.sampled_from([1.5, 2.0, 3.0, 5.0, 7.5, 10.0]), min_size=1, max_size=4))
def test_no_other_stack_fits_better(height, sheets):
    layers, error = layers_for(height, sheets)
    assert error == pytest.approx(sum(layers) - height)
    assert list(layers) == sorted(layers, reverse=True)
    for count in range(5):
        for stack in product(set(sheets), repeat=count):
            assert abs(error) <= abs(sum(stack) - height) + 6e-4


def laid(mesh, settings: Settings, seams=None, face_names=None) -> Pattern:
    shell = Shell.build(*mesh)
    if seams is not None:
        shell = shell.with_seams(seams(shell))
    return finish(unfold(shell, settings, face_names))


def over_a_plate(height: float, size: float = 60.0, tilt: float = 0.0):
    """A loose square panel over the middle of a plate of 200 mm, its outside face `height` over the plate's."""
    plate = solids.flat_sheet(200, 200, 8, 8)
    panel, faces = solids.moved(solids.flat_sheet(size, size, 4, 4), (100 - size / 2, 100 - size / 2, height))
    panel[:, 2] += (panel[:, 0] - 100) * np.tan(np.radians(tilt))
    return solids.together(plate, (panel, faces))


def _finding(pattern: Pattern, settings: Settings):
    (finding,) = [f for f in examine_pattern(pattern, settings) if f.kind == "build-up"]
    return finding


def test_a_raised_panel_is_found_with_its_layers():
    settings = Settings(stock=eva(4.0), stocks=tuple(eva(t) for t in NO_TEN), nest_seconds=1)
    pattern = laid(over_a_plate(14.0), settings)
    (build,) = find_buildups(pattern, settings)
    assert len(pattern.piece(build.piece).faces) == 16
    assert build.over != build.piece
    assert (build.height_mm, build.foam_of, build.foam_mm) == (pytest.approx(14.0), build.piece, 4.0)
    assert [stock.thickness_mm for stock in build.layers] == [8, 2]
    assert build.error_mm == pytest.approx(0.0)
    finding = _finding(pattern, settings)
    assert "stands 14.0 mm over" in finding.message
    assert "8 + 2 mm under it, exactly" in finding.mend
    assert set(finding.faces) == set(pattern.piece(build.piece).faces.tolist())
    assert pattern.layers == ()


@pytest.mark.parametrize("height", [5.0, 5.4, 0.6, 60.0])
def test_a_panel_of_the_height_of_its_foam_or_none_needs_no_word(height):
    settings = Settings(stock=eva(5.0), nest_seconds=1)
    assert find_buildups(laid(over_a_plate(height), settings), settings) == ()


def test_its_own_thickness_counts():
    settings = Settings(stock=eva(5.0), pieces={"P1": PieceChoice(eva(10.0))}, nest_seconds=1)
    pattern = laid(over_a_plate(10.0), settings)
    assert len(pattern.piece("P1").faces) == 16
    assert find_buildups(pattern, settings) == ()


def test_foam_that_is_too_thick_or_too_far_off_is_told_with_the_better_one():
    settings = Settings(stock=eva(6.0), nest_seconds=1)
    thick = _finding(laid(over_a_plate(4.0), settings), settings)
    assert "2.0 mm too high" in thick.mend
    assert "With 4 mm foam for P1 itself it can be made exactly." in thick.mend
    settings = Settings(stock=eva(5.0), stocks=(eva(5.0), eva(8.0)), nest_seconds=1)
    coarse = _finding(laid(over_a_plate(8.0), settings), settings)
    assert "5 mm under it, 2.0 mm too high" in coarse.mend
    assert "With 8 mm foam for P1 itself it can be made exactly." in coarse.mend


def test_an_inside_face_that_is_modelled_has_the_foam_of_the_plate_above_it():
    settings = Settings(stock=eva(5.0), pieces={"P1": PieceChoice(eva(10.0))}, model_is_inside=True, nest_seconds=1)
    (build,) = find_buildups(laid(over_a_plate(9.0), settings), settings)
    assert (build.foam_of, build.foam_mm) == ("P2", 5.0)
    assert [stock.thickness_mm for stock in build.layers] == [4]


def test_what_is_not_parallel_is_no_panel():
    settings = Settings(stock=eva(5.0), nest_seconds=1)
    assert find_buildups(laid(over_a_plate(20.0, tilt=12.0), settings), settings) == ()


def behind_a_window(height: float):
    """A panel of 110 mm behind a window of 80 mm in a plate of 200 mm."""
    plate, quads = solids.flat_sheet(200, 200, 10, 10)
    centres = np.array([plate[q].mean(axis=0) for q in quads])
    frame = [q for q, centre in zip(quads, centres, strict=True) if np.abs(centre[:2] - 100).max() > 40]
    used = np.unique(np.concatenate(frame))
    number = np.full(len(plate), -1)
    number[used] = np.arange(len(used))
    panel = solids.moved(solids.flat_sheet(110, 110, 5, 5), (45, 45, -height))
    return solids.together((plate[used], [number[q].tolist() for q in frame]), panel)


def test_a_recessed_panel_wants_spacers():
    """A panel 9 mm behind the face of a plate of 5 mm: 4 mm go between."""
    settings = Settings(stock=eva(5.0), nest_seconds=1)
    pattern = laid(behind_a_window(9.0), settings)
    (build,) = find_buildups(pattern, settings)
    assert build.height_mm == pytest.approx(-9.0)
    assert ([stock.thickness_mm for stock in build.layers], build.error_mm) == ([4], pytest.approx(0.0))
    finding = _finding(pattern, settings)
    assert "lies 9.0 mm behind" in finding.message
    assert "4 mm between the two, exactly" in finding.mend


def walled_panel(height: float):
    """Drawn out of a plate with walls of its own."""
    vertices, faces = solids.flat_sheet(120, 120, 3, 3)
    top = np.array([5, 6, 10, 9])
    lifted = np.vstack([vertices, vertices[top] + (0, 0, height)])
    faces = [f for f in faces if set(f) != set(top.tolist())] + [[16, 17, 18, 19]]
    faces += [[top[i], top[(i + 1) % 4], 16 + (i + 1) % 4, 16 + i] for i in range(4)]
    return lifted, [[int(v) for v in f] for f in faces]


def test_a_panel_drawn_out_of_the_plate_is_found_too():
    """The top is cut from 5 mm foam and stands 12 mm high; its walls hold it there, so that nothing is cut for it."""
    settings = Settings(stock=eva(5.0), cut_layers=True, nest_seconds=1)
    pattern = laid(walled_panel(12.0), settings, seams=lambda shell: np.abs(shell.edge_bend) > 1)
    builds = [build for build in find_buildups(pattern, settings) if build.height_mm > 0]
    assert [[stock.thickness_mm for stock in build.layers] for build in builds] == [[5, 2]]
    assert builds[0].height_mm == pytest.approx(12.0)
    told = [f.mend for f in pattern.findings if f.piece == builds[0].piece and f.kind == "build-up"]
    assert "its joints hold it there" in told[0]
    assert pattern.layers == ()


def test_sound_solids_have_no_panels():
    for mesh in (solids.dodecahedron(80), solids.gridded_box(160, 120, 90, 4)):
        settings = Settings(stock=eva(5.0), nest_seconds=1)
        pattern = laid(mesh, settings, seams=lambda shell: np.abs(shell.edge_bend) > 0.5)
        assert find_buildups(pattern, settings) == ()
