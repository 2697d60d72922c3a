"""Plans of fine shells: worked out on a coarse likeness, carried back, and held to the limits in foam."""

from importlib import import_module

import numpy as np
import pytest
import solids
from foamwright.core.plan_totals import Reckoning
from foamwright.core.progress import finish
from foamwright.core.report import report
from foamwright.core.seams import EdgeChoices, SuggestionLimits, removable_seams, suggest, where_to_cut
from foamwright.core.seams.carry import Likeness
from foamwright.core.seams.coarse import coarsened
from foamwright.core.seams.draft import Draft
from foamwright.core.seams.improve import divide
from foamwright.core.seams.runs import chain_of, seam_runs
from foamwright.core.seams.twins import Twins
from foamwright.core.settings import Settings
from foamwright.core.shell import Shell
from foamwright.core.unfold import unfold

SHELLS = {
    "ball": lambda: solids.icosphere(100, 3),
    "potato": lambda: solids.bumpy(80, 0.25, 3),
    "ring": lambda: solids.torus(80, 30, 48, 24),
    "dome": lambda: solids.sphere_cap(100, np.radians(85), 16),
    "box": lambda: solids.gridded_box(120, 90, 60, 8),
}


def _shell(name):
    return Shell.build(*SHELLS[name](), name=name)


def _none(shell):
    return np.zeros(shell.edge_count, bool)


# --- the coarse shell ------------------------------------------------------------------------------


@pytest.mark.parametrize("name", SHELLS)
def test_a_coarse_shell_is_a_likeness_of_the_fine_one(name):
    shell = _shell(name)
    found = finish(coarsened(shell, 300, _none(shell), Twins.of(shell)))
    coarse = found.shell
    assert coarse.face_count <= 300
    assert np.array_equal(coarse.vertices, shell.vertices[found.vertex])
    assert coarse.face_area.sum() == pytest.approx(shell.face_area.sum(), rel=0.03)
    assert (coarse.edge_face_count <= 2).all()
    assert coarse.edge_is_consistent.all() == shell.edge_is_consistent.all()

    def euler(one):
        return len(np.unique(one.corner_vertex)) - one.edge_count + one.face_count

    assert euler(coarse) == euler(shell)


@pytest.mark.parametrize("name", ["ball", "ring", "dome", "box"])
def test_a_coarse_shell_mirrors_itself_where_the_fine_one_does(name):
    shell = _shell(name)
    coarse = finish(coarsened(shell, 300, _none(shell), Twins.of(shell))).shell
    places = {tuple(p) for p in coarse.vertices.round(6) + 0.0}
    assert places == {tuple(p) for p in (coarse.vertices * (-1, 1, 1)).round(6) + 0.0}


def test_lines_stay_where_they_were():
    shell = _shell("ball")
    equator = np.isclose(shell.vertices[shell.edges][:, :, 2], 0.0, atol=12).all(axis=1)
    equator &= np.abs(shell.vertices[shell.edges][:, :, 2].sum(axis=1)) < 1e-6
    assert equator.any()
    found = finish(coarsened(shell, 200, equator, None))
    ends = found.vertex[found.shell.edges[found.on_line]]
    assert np.isin(ends, shell.edges[equator]).all()
    # a chord is shorter than its arc by no more than its likeness to a circle of some 12 corners allows
    assert found.shell.edge_length[found.on_line].sum() == pytest.approx(shell.edge_length[equator].sum(), rel=0.05)


# --- and the way back ------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["ball", "ring", "dome"])
def test_a_carried_plan_has_no_more_pieces_than_the_rough_one_and_mirrors_itself(name):
    fine = Draft.of(_shell(name), SuggestionLimits(), EdgeChoices())
    likeness = finish(Likeness.of(fine, 300))
    rough = likeness.rough
    for _ in divide(rough):
        pass
    likeness.carry()
    assert len(fine.pieces()) <= len(rough.pieces())
    assert np.array_equal(fine.mirrored(fine.seam), fine.seam)
    lengths = [draft.shell.edge_length[draft.seam].sum() for draft in (fine, rough)]
    assert lengths[0] == pytest.approx(lengths[1], rel=0.15)


def test_seams_of_the_maker_are_kept_and_forbidden_edges_not_cut_on_a_fine_shell():
    shell = _shell("dome")
    ring = shell.vertices[shell.edges][:, :, 2]
    keep = (np.ptp(ring, axis=1) < 1e-6) & (np.abs(ring.mean(axis=1) - 70) < 6) & shell.edge_is_consistent
    assert keep.any()
    forbid = (shell.vertices[shell.edges][:, :, 1] < -20).all(axis=1) & ~keep
    plan = finish(suggest(shell, choices=EdgeChoices(keep=keep, forbid=forbid)))
    assert plan.seam[keep].all()
    mirrored = Draft.of(shell, SuggestionLimits(), EdgeChoices()).mirrored(forbid)
    assert not plan.seam[forbid & mirrored].any()


def test_chain_of_a_run():
    shell = _shell("box")
    seam = np.isclose(shell.vertices[shell.edges][:, :, 2], shell.vertices[:, 2].max()).all(axis=1)
    seam &= np.abs(shell.edge_bend) > 1
    (run,) = seam_runs(shell, seam, _none(shell))
    chain = chain_of(shell, run)
    assert chain[0] == chain[-1]
    assert np.array_equal(shell.edge_between(np.column_stack([chain[:-1], chain[1:]])), run)


# --- in foam ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("judged_on", [3000, 300])
def test_the_finished_pattern_keeps_to_the_limit_in_foam(judged_on, monkeypatch):
    """Checked by the whole way from the plan to the pattern, as the maker gets it, on a likeness judged or not."""
    monkeypatch.setattr(import_module("foamwright.core.seams.suggest"), "JUDGED_ON", judged_on)
    shell, settings = _shell("dome"), Settings(nest_seconds=1)
    plan = finish(suggest(shell, SuggestionLimits(0.06), foam=settings))
    told = {tuple(piece.faces): piece.strain for piece in plan.pieces}
    pattern = finish(unfold(plan.shell, settings))
    for piece, strain in zip(pattern.pieces, report(pattern).pieces, strict=True):
        assert strain.common <= 0.06 * 1.01
        assert strain.common == pytest.approx(told[tuple(np.sort(piece.faces))], abs=1e-3)


def test_thick_foam_asks_for_more_seam_than_the_skin_does():
    shell = Shell.build(*solids.sphere_cap(30, np.radians(85), 8))
    thick = Settings(nest_seconds=1)
    lengths = [finish(suggest(shell, foam=foam)).length_mm for foam in (None, thick)]
    assert lengths[0] < lengths[1]


def test_one_more_cut_and_seams_that_could_go_are_judged_in_foam():
    shell, settings = _shell("dome"), Settings()
    steps = where_to_cut(shell, np.arange(shell.face_count), foam=settings)
    assert next(steps).stage
    cut = finish(steps)
    assert cut.strain_after < cut.strain_before
    plan = finish(suggest(shell, foam=settings))
    assert not finish(removable_seams(plan.shell, SuggestionLimits(0.02), settings))


def test_what_could_go_comes_out_as_told_when_it_goes():
    """Reckoned in foam by the totals of a plan, as the panel tells them of cuts that are left out."""
    shell, settings, limits = _shell("dome"), Settings(), SuggestionLimits(0.12)
    plan = finish(suggest(shell, SuggestionLimits(0.04), foam=settings))
    found = finish(removable_seams(plan.shell, limits, settings))
    assert found
    for cut in found:
        seam = plan.seam.copy()
        seam[cut.edges] = False
        results = finish(Reckoning().work_out(shell.with_seams(seam), settings)).results
        assert max(piece.strain for piece in results) <= limits.strain
        assert cut.strain_before in [pytest.approx(piece.strain, abs=1e-6) for piece in results]


@pytest.mark.parametrize("part", [0.95, 0.6])
def test_a_piece_over_its_limit_in_foam_gets_one_more_cut(part):
    shell, settings = Shell.build(*solids.sphere_cap(30, np.radians(60), 8)), Settings()
    strain = finish(Reckoning().work_out(shell, settings)).results[0].strain
    cut = finish(where_to_cut(shell, np.arange(shell.face_count), SuggestionLimits(part * strain), foam=settings))
    assert cut is not None
    assert cut.strain_before == pytest.approx(strain, abs=1e-6)
