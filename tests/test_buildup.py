"""Raised and recessed panels: found, measured, and built up from the maker's stock."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
import solids
from foamwright.core.buildup import find_buildups, layers_for
from foamwright.core.check_pattern import examine_pattern
from foamwright.core.foam import EVA_SHEETS, eva
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


def _laid(mesh, settings: Settings, seams=None) -> Pattern:
    shell = Shell.build(*mesh)
    if seams is not None:
        shell = shell.with_seams(seams(shell))
    return finish(unfold(shell, settings))


def _over_a_plate(height: float, size: float = 60.0, tilt: float = 0.0):
    """A loose square panel over the middle of a plate of 200 mm, its outside face `height` over the plate's."""
    plate = solids.flat_sheet(200, 200, 8, 8)
    panel, faces = solids.moved(solids.flat_sheet(size, size, 4, 4), (100 - size / 2, 100 - size / 2, height))
    panel[:, 2] += (panel[:, 0] - 100) * np.tan(np.radians(tilt))
    return solids.together(plate, (panel, faces))


def test_a_raised_panel_is_found_with_its_layers():
    settings = Settings(stock=eva(5.0), stocks=tuple(eva(t) for t in NO_TEN), nest_seconds=1)
    pattern = _laid(_over_a_plate(10.0), settings)
    (build,) = find_buildups(pattern, settings.stocks)
    assert len(pattern.piece(build.piece).faces) == 16
    assert build.over != build.piece
    assert build.height_mm == pytest.approx(10.0)
    assert (build.layers_mm, build.error_mm) == ((8, 2), pytest.approx(0.0))
    (finding,) = [f for f in examine_pattern(pattern, settings) if f.kind == "build-up"]
    assert "stands 10.0 mm over" in finding.message
    assert "8 + 2 mm, exactly" in finding.mend
    assert set(finding.faces) == set(pattern.piece(build.piece).faces.tolist())


@pytest.mark.parametrize("height", [5.0, 5.4, 0.6, 60.0])
def test_a_panel_of_the_height_of_its_foam_or_none_needs_no_word(height):
    settings = Settings(stock=eva(5.0), nest_seconds=1)
    assert find_buildups(_laid(_over_a_plate(height), settings), EVA_SHEETS) == ()


def test_its_own_thickness_counts():
    settings = Settings(stock=eva(5.0), pieces={"P1": PieceChoice(eva(10.0))}, nest_seconds=1)
    pattern = _laid(_over_a_plate(10.0), settings)
    assert len(pattern.piece("P1").faces) == 16
    assert find_buildups(pattern, EVA_SHEETS) == ()


def test_what_is_not_parallel_is_no_panel():
    settings = Settings(stock=eva(5.0), nest_seconds=1)
    assert find_buildups(_laid(_over_a_plate(20.0, tilt=12.0), settings), EVA_SHEETS) == ()


def test_a_recessed_panel_wants_spacers():
    """A panel behind a window of 60 mm, its face 9 mm behind that of the plate of 5 mm: 4 mm go between."""
    plate, quads = solids.flat_sheet(200, 200, 10, 10)
    centres = np.array([plate[q].mean(axis=0) for q in quads])
    frame = [q for q, centre in zip(quads, centres, strict=True) if np.abs(centre[:2] - 100).max() > 40]
    used = np.unique(np.concatenate(frame))
    number = np.full(len(plate), -1)
    number[used] = np.arange(len(used))
    panel = solids.moved(solids.flat_sheet(110, 110, 5, 5), (45, 45, -9.0))
    mesh = solids.together((plate[used], [number[q].tolist() for q in frame]), panel)
    settings = Settings(stock=eva(5.0), nest_seconds=1)
    pattern = _laid(mesh, settings)
    (build,) = find_buildups(pattern, EVA_SHEETS)
    assert build.height_mm == pytest.approx(-9.0)
    assert (build.layers_mm, build.error_mm) == ((4,), pytest.approx(0.0))
    (finding,) = [f for f in examine_pattern(pattern, settings) if f.kind == "build-up"]
    assert "lies 9.0 mm behind" in finding.message
    assert "Put 4 mm between" in finding.mend


def test_a_panel_drawn_out_of_the_plate_is_found_too():
    """Raised with walls of its own: the top is cut from 5 mm foam and stands 12 mm high."""
    vertices, faces = solids.flat_sheet(120, 120, 3, 3)
    top = np.array([5, 6, 10, 9])
    lifted = np.vstack([vertices, vertices[top] + (0, 0, 12.0)])
    faces = [f for f in faces if set(f) != set(top.tolist())] + [[16, 17, 18, 19]]
    faces += [[top[i], top[(i + 1) % 4], 16 + (i + 1) % 4, 16 + i] for i in range(4)]
    faces = [[int(v) for v in f] for f in faces]
    settings = Settings(stock=eva(5.0), nest_seconds=1)
    pattern = _laid((lifted, faces), settings, seams=lambda shell: np.abs(shell.edge_bend) > 1)
    builds = [build for build in find_buildups(pattern, EVA_SHEETS) if build.height_mm > 0]
    assert [build.layers_mm for build in builds] == [(10, 2)]
    assert builds[0].height_mm == pytest.approx(12.0)


def test_sound_solids_have_no_panels():
    for mesh in (solids.dodecahedron(80), solids.gridded_box(160, 120, 90, 4)):
        settings = Settings(stock=eva(5.0), nest_seconds=1)
        pattern = _laid(mesh, settings, seams=lambda shell: np.abs(shell.edge_bend) > 0.5)
        assert find_buildups(pattern, EVA_SHEETS) == ()
