"""Runs drawn straighter: fewer turns between the same ends, the same pieces, the maker's seams and mirrors kept."""

from functools import reduce
from itertools import product

import numpy as np
import pytest
import solids
from foamwright.core.progress import finish
from foamwright.core.seams import EdgeChoices, SuggestionLimits
from foamwright.core.seams.courses import Courses
from foamwright.core.seams.draft import Draft
from foamwright.core.seams.paths import Turning, paths_of_few_turns
from foamwright.core.seams.smoothing import straighter
from foamwright.core.shell import Shell

COLUMNS, ROWS, MIDDLE = 12, 10, 5


def _dome(lean=0.2, height=12):
    """A shallow dome over a grid; one that leans is not its own mirror image."""
    x, y = np.meshgrid(np.linspace(-60, 60, COLUMNS + 1), np.linspace(-50, 50, ROWS + 1))
    z = height * (1 - (x / 90) ** 2 - (y / 90) ** 2) + lean * x + 0.3 * lean * y
    return Shell.build(*solids.grid(np.stack([x, y, z], axis=-1)))


def _edges(shell, places):
    """Edges along (row, column) places."""
    numbers = np.array([row * (COLUMNS + 1) + column for row, column in places])
    found = shell.edge_between(np.column_stack([numbers[:-1], numbers[1:]]))
    assert (found >= 0).all()
    return found


def _draft(shell, *lines, limits=None, choices=None):
    draft = Draft.of(shell, limits or SuggestionLimits(), choices or EdgeChoices())
    seam = draft.seam.copy()
    for line in lines:
        seam[draft.with_images(_edges(shell, line))] = True
    draft.seam = seam
    return draft


def _row(row, first=0, last=COLUMNS):
    return [(row, column) for column in range(first, last + 1)]


def _with_tooth(row, column, first=0, last=COLUMNS):
    """A row that leaves its line for one edge and comes back."""
    return _row(row, first, column) + _row(row + 1, column, column + 1) + _row(row, column + 1, last)


def _drawn(draft):
    return reduce(lambda seam, stroke: stroke.drawn(seam), finish(straighter(draft)), draft.seam)


def _marks(draft, *lines):
    seam = np.zeros(draft.shell.edge_count, bool)
    seam[np.concatenate([_edges(draft.shell, line) for line in lines])] = True
    return seam


# --- what is drawn straighter ----------------------------------------------------------------------


def test_a_tooth_goes_and_the_pieces_stay():
    draft = _draft(_dome(), _with_tooth(MIDDLE, 4))
    seam = _drawn(draft)
    assert np.array_equal(seam, _marks(draft, _row(MIDDLE)))
    assert len(draft.pieces(seam=seam)) == len(draft.pieces()) == 2


def test_a_staircase_becomes_a_line_of_few_corners_that_is_no_longer():
    stairs = [(2, 0)] + [place for step in range(5) for place in ((2 + step, step + 1), (3 + step, step + 1))]
    stairs += _row(7, 6)
    draft = _draft(_dome(), stairs)
    seam, courses = _drawn(draft), Courses(draft)
    (before,) = courses.all()
    draft.seam = seam
    (after,) = courses.all()
    assert np.array_equal(after.chain[[0, -1]], before.chain[[0, -1]])
    assert (courses.turning.along(before.chain) > 1).sum() >= 9
    assert (courses.turning.along(after.chain) > 1).sum() <= 2
    assert draft.price[courses.edges(after.chain)].sum() <= 1.04 * draft.price[courses.edges(before.chain)].sum()


def test_the_hook_of_a_dart_goes():
    hooked = [*_row(MIDDLE, 0, 6), (MIDDLE + 1, 6)]
    draft = _draft(_dome(), hooked)
    seam = _drawn(draft)
    assert seam.any()
    assert not (seam & ~_marks(draft, _row(MIDDLE))).any()
    assert 5 <= seam.sum() <= 8


def test_a_straight_plan_stays_as_it_is():
    draft = _draft(_dome(), _row(MIDDLE), [(row, 6) for row in range(MIDDLE, ROWS + 1)])
    assert finish(straighter(draft)) == []


def test_the_draft_is_left_as_it_is():
    draft = _draft(_dome(), _with_tooth(MIDDLE, 4))
    before = draft.seam.copy()
    assert finish(straighter(draft))
    assert np.array_equal(draft.seam, before)


@pytest.mark.parametrize("column", [2, 4])
def test_a_mirrored_plan_stays_mirrored(column):
    """A run that crosses the plane, with a tooth on either side of it."""
    draft = _draft(_dome(lean=0), _with_tooth(MIDDLE, column, 0, COLUMNS // 2))
    assert draft.twins is not None
    seam = _drawn(draft)
    assert np.array_equal(seam, draft.mirrored(seam))
    assert np.array_equal(seam, _marks(draft, _row(MIDDLE)))


def test_a_run_on_the_mirror_plane_stays_on_it():
    shell = _dome(lean=0)
    middle = [(row, COLUMNS // 2) for row in range(ROWS + 1)]
    draft = _draft(shell, middle, _with_tooth(MIDDLE, 2, 0, COLUMNS // 2))
    seam = _drawn(draft)
    assert seam[_edges(shell, middle)].all()
    assert not np.array_equal(seam, draft.seam)


# --- what is not -----------------------------------------------------------------------------------


def test_a_seam_of_the_maker_never_moves():
    shell = _dome()
    tooth = np.zeros(shell.edge_count, bool)
    tooth[_edges(shell, _with_tooth(MIDDLE, 4))] = True
    draft = _draft(shell.with_seams(tooth), _with_tooth(2, 8))
    seam = _drawn(draft)
    assert seam[tooth].all()
    assert np.array_equal(seam & ~tooth, _marks(draft, _row(2)))


def test_forbidden_edges_are_not_cut():
    shell = _dome()
    forbid = np.zeros(shell.edge_count, bool)
    forbid[_edges(shell, _row(MIDDLE, 4, 5))] = True
    draft = _draft(shell, _with_tooth(MIDDLE, 4), choices=EdgeChoices(forbid=forbid))
    assert not (_drawn(draft) & forbid).any()


def test_a_turn_along_a_crease_stays():
    """The way along the creases of a box costs six tenths of one across its sides; its corner is no tooth."""
    shell = Shell.build(*solids.gridded_box(100, 100, 100, 6))
    at_side, at_top = (np.isclose(shell.vertices[:, axis], 50) for axis in (0, 2))
    crease = (at_side & at_top)[shell.edges].all(axis=1)
    draft = Draft.of(shell, SuggestionLimits(0.5), EdgeChoices())
    draft.seam = crease
    assert crease.sum() == 6
    assert finish(straighter(draft)) == []


def test_no_piece_is_made_too_narrow_to_handle():
    """Without its tooth a strip of 10 mm is 10 mm wide all along; one of 20 mm may lose its tooth."""
    draft = _draft(_dome(), _with_tooth(1, 3))
    assert finish(straighter(draft)) == []
    draft = _draft(_dome(), _with_tooth(2, 3))
    assert np.array_equal(_drawn(draft), _marks(draft, _row(2)))


@pytest.mark.parametrize("height", [40, 60])
def test_no_piece_is_pressed_over_the_limit(height):
    """A dart with a hook in a dome that is only just fine with it."""
    shell = _dome(height=height)
    hooked = [*_row(MIDDLE, 0, 6), (MIDDLE + 1, 6)]
    strain = _draft(shell, hooked).state(np.arange(shell.face_count)).strain
    draft = _draft(shell, hooked, limits=SuggestionLimits(1.001 * strain))
    for stroke in finish(straighter(draft)):
        draft.seam = stroke.drawn(draft.seam)
    assert draft.state(np.arange(shell.face_count)).trouble <= 1


def test_each_stroke_can_be_left_out_alone():
    draft = _draft(_dome(), *(_with_tooth(row, column) for row, column in ((2, 3), (4, 8), (6, 5), (8, 2))))
    strokes = finish(straighter(draft))
    assert len(strokes) == 4
    for taken in product((False, True), repeat=4):
        some = [stroke for stroke, take in zip(strokes, taken, strict=True) if take]
        seam = reduce(lambda seam, stroke: stroke.drawn(seam), some, draft.seam)
        assert len(draft.pieces(seam=seam)) == len(draft.pieces())
        assert seam.sum() == draft.seam.sum() - 2 * len(some)


# --- how much a line turns -------------------------------------------------------------------------


def test_a_straight_line_over_an_edge_does_not_turn():
    shell = Shell.build(*solids.gridded_box(100, 100, 100, 4))
    x, y, z = shell.vertices.T
    line = np.flatnonzero(np.isclose(x, 0) & (y > -49) & (z > -49))
    line = line[np.argsort(np.arctan2(shell.vertices[line, 2], shell.vertices[line, 1]))]
    assert np.allclose(Turning(shell).along(line), 0, atol=1e-6)
    flat = Shell.build(*solids.flat_sheet(60, 40, 6, 4))
    assert np.allclose(Turning(flat).along(np.array([0, 1, 8, 9])), [np.pi / 2, np.pi / 2])


def test_a_path_of_few_turns_has_one_corner_on_a_grid():
    flat = Shell.build(*solids.flat_sheet(60, 40, 6, 4))
    turning, goal = Turning(flat), np.full(35, np.inf)
    goal[[34, 33]] = 0.0, 100.0
    near, far = paths_of_few_turns(turning, flat.edge_length, 0, goal)
    assert (near[-1], far[-1]) == (34, 33)
    assert (turning.along(near) > 1e-6).sum() == 1
    assert flat.edge_length[flat.edge_between(np.column_stack([near[:-1], near[1:]]))].sum() == pytest.approx(100)
    # what lies beyond the ends has a say in which of the two corners it is
    up = np.full(35, 50.0)
    up[7] = 0.0
    first = paths_of_few_turns(turning, flat.edge_length, 0, goal, first_price=up)[0]
    assert first[1] == 7
    assert paths_of_few_turns(turning, flat.edge_length, 0, goal, last_price=50 * (np.arange(35) != 33))[0][-2] == 33
    assert paths_of_few_turns(turning, np.full(flat.edge_count, np.inf), 0, goal) == []
