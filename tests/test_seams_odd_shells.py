"""Suggestions on odd shells: nothing may be cut, two sides lie at one place, faces have no area."""

import numpy as np
import pytest
import solids
from foamwright.core.errors import MeshError
from foamwright.core.progress import finish
from foamwright.core.seams import EdgeChoices, SuggestionLimits, removable_seams, suggest, where_to_cut
from foamwright.core.seams.draft import Draft
from foamwright.core.seams.reasons import _own_runs
from foamwright.core.settings import Settings
from foamwright.core.shell import Shell
from foamwright.core.unfold import unfold


def _two_sided(mesh):
    """A panel with two sides at the same place, not joined."""
    points, faces = mesh
    return solids.together(mesh, (points, [face[::-1] for face in faces]))


def test_a_ring_of_which_nothing_may_be_cut_stays_whole():
    ring = Shell.build(*solids.torus(60, 20, 12, 8))
    whole = EdgeChoices(forbid=np.ones(ring.edge_count, bool))
    plan = finish(suggest(ring, choices=whole))
    assert not plan.seam.any()
    assert plan.strain == np.inf
    assert finish(where_to_cut(ring, np.arange(ring.face_count), choices=whole)) is None


def test_a_ring_opens_along_the_only_two_lines_that_may_be_cut():
    """One line goes around the tube and one around the ring; beside them a few edges that lead nowhere."""
    n_around, n_tube = 12, 8
    ring = Shell.build(*solids.torus(60, 20, n_around, n_tube))
    around, tube = ring.edges % n_around, ring.edges // n_around
    allowed = (around == 7).all(axis=1) | (tube == 5).all(axis=1)
    allowed |= (around == 2).all(axis=1) & (tube.max(axis=1) <= 3)
    plan = finish(suggest(ring, SuggestionLimits(0.9), EdgeChoices(forbid=~allowed)))
    assert not plan.seam[~allowed].any()
    assert plan.strain < np.inf


def test_faces_without_area_are_named():
    points, faces = solids.flat_sheet(100, 60, 6, 4)
    points[8] = points[9]
    shell = Shell.build(points, faces)
    flat = set(np.flatnonzero([8 in face and 9 in face for face in faces]).tolist())
    for steps in (suggest(shell), where_to_cut(shell, np.arange(3)), removable_seams(shell)):
        with pytest.raises(MeshError, match="without area") as refused:
            finish(steps)
        assert flat <= set(refused.value.faces)


def _bow_tied():
    points, faces = solids.flat_sheet(100, 60, 6, 4)
    faces = [list(face) for face in faces]
    faces[5][:2] = faces[5][1::-1]
    return points, faces


UNFIT = {
    "bow-tie": _bow_tied(),
    "no size": solids.flat_sheet(0.1, 0.06, 6, 4),
    "doubled": (solids.flat_sheet()[0], [*solids.flat_sheet()[1], solids.flat_sheet()[1][3]]),
    "flipped": (solids.flat_sheet()[0], [solids.flat_sheet()[1][0][::-1], *solids.flat_sheet()[1][1:]]),
}


@pytest.mark.parametrize("mesh", UNFIT.values(), ids=UNFIT)
def test_what_cannot_be_laid_flat_is_refused_before_any_work_in_the_same_words(mesh):
    shell = Shell.build(*mesh)
    with pytest.raises(MeshError) as refused:
        finish(unfold(shell, Settings()))
    for steps in (suggest(shell), where_to_cut(shell, np.arange(3)), removable_seams(shell)):
        stages: list[str] = []
        with pytest.raises(MeshError) as again:
            stages.extend(step.stage for step in steps)
        assert str(again.value) == str(refused.value)
        assert set(again.value.faces) == set(refused.value.faces)
        assert not set(stages) - {"Checking the shell"}


def test_no_faces_to_cut_are_refused():
    shell = Shell.build(*solids.sphere_cap(100, 1.2, 4))
    nothing = np.empty(0, np.int64)
    for steps in (suggest(shell, faces=nothing), where_to_cut(shell, nothing)):
        with pytest.raises(MeshError, match="choose a piece"):
            finish(steps)


def test_the_plan_of_a_panel_with_two_sides_at_one_place_mirrors_itself():
    shell = Shell.build(*_two_sided(solids.sphere_cap(80, 1.2, 5)))
    plan = finish(suggest(shell))
    middle = (shell.vertices[shell.edges].mean(axis=1)[plan.seam]).round(4) + 0.0
    assert len(middle)
    assert sorted(map(tuple, middle)) == sorted(map(tuple, middle * (-1, 1, 1) + 0.0))
    assert sum(cut.length_mm for cut in plan.cuts) == pytest.approx(plan.length_mm)


@pytest.mark.parametrize("seed", range(8))
def test_cuts_are_all_seams_once_where_left_and_right_branch_differently(seed):
    """Three lines across the left of a sheet, whose images on the right are one with a branch on a diagonal."""
    points, faces = solids.flat_sheet(100, 60, 6, 6)
    faces = [ring for face in faces for ring in ([face[:3], face[::2] + face[3:]] if 12 in face else [face])]
    mesh = points - (50, 0, 0), faces
    shuffled, rings, _ = solids.reordered(mesh, seed)
    draft = Draft.of(Shell.build(shuffled, rings), SuggestionLimits(), EdgeChoices())
    x, y = draft.shell.vertices[draft.shell.edges][:, :, :2].transpose(2, 0, 1).round(3)
    upright = (np.abs(np.abs(x) - 33.333) < 0.01).all(axis=1)
    diagonal = draft.twins.edge == np.arange(len(x))
    draft.seam = (upright | (diagonal & (np.ptp(x, axis=1) > 1) & (np.ptp(y, axis=1) > 1))) & draft.inner
    runs = _own_runs(draft)
    edges = np.concatenate([draft.with_images(run) for run in runs])
    assert sorted(edges) == np.flatnonzero(draft.seam).tolist()
