"""The last touches: what is not needed goes, seams are drawn straighter, and no plan is the worse for it."""

import numpy as np
import pytest
import solids
from foamwright.core.flatten import Flattener
from foamwright.core.progress import finish
from foamwright.core.seams import EdgeChoices, SuggestionLimits, settle, suggest, touches
from foamwright.core.seams.carry import Likeness
from foamwright.core.seams.draft import Draft
from foamwright.core.seams.finished import finished
from foamwright.core.seams.smoothing import Stroke
from foamwright.core.shell import Shell


def _plan(draft):
    """The draft as a plan that has come out well."""
    likeness = finish(Likeness.of(draft, draft.triangle_count))
    laid = finish(finished(draft, None))
    assert all(draft.trouble_of(one) <= 1 for one in laid)
    return settle.Settled(likeness, settle.merit_of(draft, laid), draft.seam, laid)


def _tube_and_sheet():
    """A tube with the slit that it needs, and a sheet parted by a line with a tooth; a bad stroke and a good one."""
    sheet = solids.flat_sheet(60, 50, 6, 5)
    shell = Shell.build(*solids.together(solids.tube(50, 80, 16, 6), solids.moved(sheet, (200, 0, 0))))
    draft = Draft.of(shell, SuggestionLimits(0.01), EdgeChoices())
    draft.twins = None
    along = [(2, 0), (2, 1), (3, 1), (3, 2), (2, 2), (2, 3), (2, 4), (2, 5), (2, 6)]
    lines = [[16 * row for row in range(7)], [112 + 7 * row + column for row, column in along], list(range(126, 133))]
    slit, tooth, straight = (shell.edge_between(np.column_stack([line[:-1], line[1:]])) for line in lines)
    seam = draft.seam.copy()
    seam[np.append(slit, tooth)] = True
    draft.seam = seam
    return draft, Stroke(slit, slit[:3]), Stroke(tooth, straight)


# --- what is not needed --------------------------------------------------------------------------


def test_seams_that_nothing_needs_go_and_those_that_hold_a_plan_stay():
    """A tube of 16 by 6 faces beside a sheet of 6 by 5: its slit opens it, the line across the sheet does nothing."""
    draft, slit, tooth = _tube_and_sheet()
    before = _plan(draft)
    plan = finish(touches.without_idle_runs(before, None, Flattener()))
    assert plan.seam[slit.old].all()
    assert not plan.seam[tooth.old].any()
    assert plan.merit < before.merit


def test_the_makers_seams_stay_even_if_nothing_needs_them():
    draft, _, tooth = _tube_and_sheet()
    shell = draft.shell.with_seams(np.isin(np.arange(draft.shell.edge_count), tooth.old))
    kept = Draft.of(shell, draft.limits, EdgeChoices())
    kept.seam = draft.seam
    plan = finish(touches.without_idle_runs(_plan(kept), None, Flattener()))
    assert np.array_equal(plan.seam, draft.seam)


def test_a_dart_that_a_dome_needs_stays():
    """A cap of a sphere, held to seven tenths of what it is strained in one piece."""
    shell = Shell.build(*solids.sphere_cap(100, np.radians(70), 8))
    one = Draft.of(shell, SuggestionLimits(), EdgeChoices()).really(np.arange(shell.face_count))
    limits = SuggestionLimits(0.7 * one.strain)
    seam = finish(suggest(shell, limits)).shell.seam
    draft = Draft.of(shell, limits, EdgeChoices())
    draft.seam = seam
    assert seam.any()
    assert np.array_equal(finish(touches.without_idle_runs(_plan(draft), None, Flattener())).seam, seam)


def test_mending_that_helps_nothing_is_taken_back(monkeypatch):
    """A sheet longer than the foam is not shorter for a slit along its middle."""
    shell = Shell.build(*solids.flat_sheet(1500, 60, 30, 2))
    draft = Draft.of(shell, SuggestionLimits(), EdgeChoices())
    slit = np.flatnonzero(draft.inner & (shell.vertices[shell.edges][:, :, 1] == 30).all(axis=1))[:1]

    def useless(draft, faces, laid, caution, may_join):
        draft.seam = draft.with_cut(slit)
        return iter(())

    monkeypatch.setattr(settle, "mend", useless)
    plan = finish(settle.proved(finish(Likeness.of(draft, draft.triangle_count)), None, Flattener()))
    assert plan.merit[0] == 0
    assert not plan.seam[slit].any()


# --- seams drawn straighter ----------------------------------------------------------------------


def _proved(monkeypatch, draft, strokes):
    """What becomes of a plan when these strokes are proposed."""

    def proposed(_):
        return strokes
        yield

    monkeypatch.setattr(touches, "straighter", proposed)
    return finish(touches.drawn_straighter(_plan(draft), None, Flattener()))


def test_a_plan_that_fails_with_a_stroke_goes_without_it(monkeypatch):
    draft, bad, good = _tube_and_sheet()
    before = draft.seam.copy()
    assert np.array_equal(_proved(monkeypatch, draft, [bad]).seam, before)
    draft.seam = before
    assert np.array_equal(_proved(monkeypatch, draft, [good]).seam, good.drawn(before))


@pytest.mark.parametrize("order", [1, -1])
def test_only_the_stroke_that_fails_is_left_out(monkeypatch, order):
    draft, bad, good = _tube_and_sheet()
    before = draft.seam.copy()
    assert np.array_equal(_proved(monkeypatch, draft, [bad, good][::order]).seam, good.drawn(before))
