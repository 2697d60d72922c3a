"""Suggested cutting plans: within the limit, symmetric, repeatable, and true to the maker's choices."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
import solids
from foamwright.core.errors import SettingsError
from foamwright.core.flatten import flatten_patch, surface_of
from foamwright.core.flatten.strain import area_quantile, stretches
from foamwright.core.patch import cut_patch
from foamwright.core.pieces import cut_pieces
from foamwright.core.progress import Progress, finish
from foamwright.core.seams import EdgeChoices, SuggestionLimits, percent, removable_seams, suggest, where_to_cut
from foamwright.core.seams.choices import edge_price
from foamwright.core.seams.draft import Draft
from foamwright.core.seams.improve import joined
from foamwright.core.seams.outlook import doubled_area
from foamwright.core.seams.potential import scale_potential
from foamwright.core.seams.runs import seam_runs
from foamwright.core.settings import Settings
from foamwright.core.shell import Shell
from hypothesis import given
from hypothesis import strategies as st


def _potato():
    return solids.bumpy(80, 0.2, 2)


MESHES = {
    "ball": lambda: solids.icosphere(91.4, 2),
    "potato": _potato,
    "ring": lambda: solids.torus(80, 30, 24, 12),
    "box": lambda: solids.gridded_box(120, 90, 60, 4),
    "tube": lambda: solids.tube(50, 80, 16, 4),
    "dome": lambda: solids.sphere_cap(100, np.radians(85), 7),
    "saddle": lambda: solids.saddle(100, 8, 40),
    "two": lambda: solids.together(solids.icosphere(40, 1), solids.moved(solids.tube(60, 40), (150, 0, 0))),
}


@cache
def _plan(name):
    shell = Shell.build(*MESHES[name](), name=name)
    return shell, finish(suggest(shell))


def _strain(shell, patch):
    points = shell.vertices[patch.shell_vertex]
    rest = surface_of(points, patch.triangles).rest
    strain = np.abs(stretches(flatten_patch(points, patch.triangles), patch.triangles, rest) - 1).max(axis=1)
    return area_quantile(strain, rest.area, 0.99)


# --- the plan --------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", MESHES)
def test_every_piece_can_be_cut_and_keeps_to_the_limit(name):
    shell, plan = _plan(name)
    pieces, _ = cut_pieces(plan.shell, Settings())
    assert len(pieces) == len(plan.pieces)
    assert max(_strain(shell, piece.patch) for piece in pieces) <= 0.05 + 1e-6
    assert not any(piece.lies_over_itself for piece in plan.pieces)


@pytest.mark.parametrize("name", ["ball", "ring", "box", "dome", "saddle"])
def test_a_mirrored_shell_gets_a_mirrored_plan(name):
    shell, plan = _plan(name)
    middle = shell.vertices[shell.edges].mean(axis=1)[plan.seam].round(4) + 0.0
    assert {tuple(p) for p in middle} == {tuple(p) for p in (middle * (-1, 1, 1)) + 0.0}


def test_the_same_shell_gets_the_same_plan():
    shell = Shell.build(*MESHES["dome"]())
    assert np.array_equal(finish(suggest(shell)).seam, _plan("dome")[1].seam)


def test_the_order_of_faces_and_vertices_does_not_matter():
    """A potato has no ties, so the plan is the same in space."""
    points, faces, _ = solids.reordered(_potato(), 3)
    plan = finish(suggest(Shell.build(points, faces)))
    _, first = _plan("potato")
    assert plan.length_mm == pytest.approx(first.length_mm)
    assert len(plan.pieces) == len(first.pieces)


def test_what_lies_flat_already_is_not_cut():
    for make in (solids.flat_sheet, solids.cylinder_patch, solids.frustum_patch):
        assert not finish(suggest(Shell.build(*make()))).seam.any()


def test_a_dome_gets_darts_not_patchwork():
    """85 degrees at +-5 %: caps of 43.9 degrees would be no fewer than 4 by area (Milnor 1969)."""
    _, plan = _plan("dome")
    assert len(plan.pieces) < (1 - np.cos(np.radians(85))) / (1 - np.cos(np.radians(43.9)))
    assert any(cut.pieces_added == 0 for cut in plan.cuts)


def test_a_tighter_limit_needs_more_seam():
    shell = Shell.build(*MESHES["dome"]())
    loose, tight = (finish(suggest(shell, SuggestionLimits(limit))).length_mm for limit in (0.1, 0.03))
    assert loose < tight


def test_a_head_is_cut_in_fewer_pieces_than_caps():
    """A cap may reach 43.9 degrees at +-5 % (Milnor 1969): 2 / (1 - cos a) caps at least; darts do with fewer."""
    _, plan = _plan("ball")
    assert len(plan.pieces) <= 2 / (1 - np.cos(np.radians(43.9)))


def test_pieces_fit_the_sheet():
    shell = Shell.build(*solids.flat_sheet(400, 100, 16, 4))
    plan = finish(suggest(shell, SuggestionLimits(sheet_mm=(250, 200))))
    assert all(piece.size_mm[0] <= 250 + 1e-6 for piece in plan.pieces)


# --- the maker's choices ---------------------------------------------------------------------------


def test_seams_of_the_maker_stay_and_forbidden_edges_are_not_cut():
    shell, first = _plan("dome")
    keep = (np.abs(shell.vertices[shell.edges][:, :, 2] - 70) < 15).all(axis=1) & shell.edge_is_consistent
    forbid = first.seam & ~keep
    plan = finish(suggest(shell, choices=EdgeChoices(keep=keep, forbid=forbid)))
    assert plan.seam[keep].all()
    assert not plan.seam[forbid].any()
    assert all(cut.kept == keep[cut.edges].all() for cut in plan.cuts)


def test_paint_moves_seams_away():
    shell, first = _plan("dome")
    front = (shell.vertices[:, 1] < 0).astype(float)
    in_front = front[shell.edges].mean(axis=1)
    plan = finish(suggest(shell, choices=EdgeChoices(keep_whole=front)))

    def seam_in_front(seam):
        return (shell.edge_length * in_front)[seam].sum()

    assert seam_in_front(plan.seam) < seam_in_front(first.seam)


def test_price_of_an_edge():
    shell = Shell.build(*solids.gridded_box(100, 100, 100, 2))
    crease = np.isclose(np.abs(shell.edge_bend), np.pi / 2)
    bare = edge_price(shell, EdgeChoices())
    assert np.allclose(bare[crease], 0.6 * shell.edge_length[crease])
    assert np.allclose(bare[~crease], shell.edge_length[~crease])
    ones = np.ones(len(shell.vertices))
    assert np.allclose(edge_price(shell, EdgeChoices(keep_whole=ones)), 10 * bare)
    assert np.allclose(edge_price(shell, EdgeChoices(cut_here=ones)), 0.2 * bare)


def test_limits_that_make_no_sense_are_refused():
    for wrong in ({"strain": 0}, {"sheet_mm": (0, 600)}, {"narrowest_mm": -1}):
        with pytest.raises(SettingsError):
            SuggestionLimits(**wrong)


# --- one piece, one cut ----------------------------------------------------------------------------


def test_one_more_cut_helps():
    shell = Shell.build(*MESHES["dome"]())
    cut = finish(where_to_cut(shell, np.arange(shell.face_count)))
    assert cut.strain_after < cut.strain_before
    assert cut.length_mm == pytest.approx(shell.edge_length[cut.edges].sum())
    flat = Shell.build(*solids.flat_sheet())
    assert finish(where_to_cut(flat, np.arange(flat.face_count))) is None


@pytest.mark.parametrize("name", ["potato", "ring", "dome", "saddle"])
@pytest.mark.parametrize("part", [0.5, 0.9])
def test_no_cut_is_offered_that_does_not_help(name, part):
    """In every piece of a plan, held to a part of what its pieces are strained."""
    plan = _plan(name)[1]
    for piece in plan.pieces:
        cut = finish(where_to_cut(plan.shell, piece.faces, SuggestionLimits(part * plan.strain)))
        assert cut is None or cut.strain_after < cut.strain_before


def test_only_the_chosen_piece_is_cut():
    shell = Shell.build(*MESHES["two"]())
    small = np.flatnonzero(shell.face_centre[:, 0] < 60)
    plan = finish(suggest(shell, faces=small))
    assert plan.seam.any()
    assert np.isin(shell.edge_faces[plan.seam], small).all()


def test_a_needless_seam_may_go_and_a_needed_one_may_not():
    sheet = Shell.build(*solids.flat_sheet(100, 100, 4, 4))
    across = np.isclose(sheet.vertices[sheet.edges][:, :, 1], sheet.vertices[12, 1]).all(axis=1)
    found = finish(removable_seams(sheet.with_seams(across)))
    assert [set(cut.edges) for cut in found] == [set(np.flatnonzero(across & sheet.edge_is_consistent))]
    _, plan = _plan("dome")
    assert not finish(removable_seams(plan.shell))


def test_reasons_add_up():
    _, plan = _plan("dome")
    assert sum(cut.length_mm for cut in plan.cuts) == pytest.approx(plan.length_mm)
    assert all(cut.strain_before > cut.strain_after for cut in plan.cuts)
    assert f"{plan.cuts[0].length_mm:.0f} mm" in plan.cuts[0].reason


@given(st.floats(0, 2))
def test_a_strain_over_a_limit_never_reads_as_within_it(strain):
    """Limits are set in tenths of a percent."""
    told = percent(strain)
    assert told == round(told, 1)
    assert 100 * strain - 1e-6 <= told < 100 * strain + 0.1


def test_progress_is_reported_and_the_work_can_stop():
    steps = suggest(Shell.build(*_potato()))
    reports = [next(steps) for _ in range(5)]
    assert all(isinstance(report, Progress) and 0 <= report.part <= 1 for report in reports)
    steps.close()


# --- the parts -------------------------------------------------------------------------------------


def test_potential_of_a_cap_is_the_scale_of_the_stereographic_map():
    """With a true rim its scale in the middle is sec^2(a / 2) (trade table: 1.1716 at 45 degrees)."""
    shell = Shell.build(*solids.sphere_cap(100, np.radians(45), 24))
    patch = cut_patch(shell, np.arange(shell.face_count))
    assert np.exp(scale_potential(shell, patch).values.max()) == pytest.approx(1.1716, rel=5e-3)


def test_a_sleeve_asks_for_a_slit_and_a_hole_does_not():
    sheet = solids.flat_sheet(100, 100, 6, 6)
    holed = Shell.build(sheet[0], [face for i, face in enumerate(sheet[1]) if i not in (14, 15, 20, 21)])
    for shell, least, most in ((holed, 0.0, 1e-6), (Shell.build(*solids.tube()), 1.0, np.inf)):
        patch = cut_patch(shell, np.arange(shell.face_count))
        assert least <= np.abs(scale_potential(shell, patch).values).max() <= most


def test_doubled_area():
    """A figure of a strip wound one and a half times around covers half of itself again."""
    turn = np.linspace(0, 3 * np.pi, 49)
    rim = np.concatenate(
        [np.stack([np.cos(turn), np.sin(turn)], 1), 2 * np.stack([np.cos(turn), np.sin(turn)], 1)[::-1]]
    )
    loop = np.arange(len(rim))[::-1]
    half_ring = 16 * np.sin(np.pi / 16) * (2**2 - 1**2) / 2
    assert doubled_area(rim, [loop]) == pytest.approx(half_ring)
    assert doubled_area(np.array([[0, 0], [1, 0], [1, 1.0]]), [np.arange(3)]) == 0


def test_runs_hold_every_seam_once():
    shell, plan = _plan("potato")
    runs = seam_runs(shell, plan.seam, np.zeros(shell.edge_count, bool))
    assert sorted(np.concatenate(runs)) == np.flatnonzero(plan.seam).tolist()
    for run in runs:
        ends = np.bincount(shell.edges[run].ravel())
        assert (ends == 1).sum() in (0, 2)


def test_what_its_neighbours_pull_is_joined_to_one_of_them_and_not_cut():
    shell = Shell.build(*solids.sphere_cap(100, np.radians(60), 8))
    draft = Draft.of(shell, SuggestionLimits(0.02), EdgeChoices())
    draft.seam = draft.with_cut(np.flatnonzero(np.abs(shell.vertices[shell.edges][:, :, 1]).max(axis=1) < 1e-9))
    one, _ = draft.pieces()
    quick = draft.laid(one, draft.seam)
    cut = draft.seam
    assert not joined(draft, one, quick)
    assert not joined(draft, one, None)
    assert np.array_equal(draft.seam, cut)
    assert joined(draft, one, replace(quick, strain=max(0.021, 3 * quick.strain)))
    assert len(draft.pieces()) == 1
