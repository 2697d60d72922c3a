"""What the panel says of a plan while its cuts are ticked and unticked."""

import bpy
import numpy as np
import pytest
from shapes import BOX, RINGS, SIDES


@pytest.fixture
def plan(dome):
    """Of a dome in two halves, with some cuts of its own."""
    spoke = [(0, 1), *((1 + ring * SIDES, 1 + (ring + 1) * SIDES) for ring in range(RINGS - 1))]
    other = [(0, 9), *((9 + ring * SIDES, 9 + (ring + 1) * SIDES) for ring in range(RINGS - 1))]
    obj = dome(seams=[*spoke, *other])
    bpy.context.scene.foamwright.cuts.strain_percent = 3.0
    bpy.ops.foamwright.suggest_seams()
    return obj.foamwright.plan


def new_cuts(plan):
    return sorted((cut for cut in plan.cuts if not cut.kept), key=lambda cut: cut.length_mm)


def length_of(plan):
    return float(plan.told.split(", ")[1].split()[0])


def pieces_of(plan):
    return int(plan.told.split()[0])


def test_length_is_told_anew_when_a_cut_is_left_out(plan):
    whole, cut = plan.told, new_cuts(plan)[-1]
    before = length_of(plan)
    assert plan.is_reckoned
    cut.wanted = False
    assert length_of(plan) == pytest.approx(before - cut.length_mm, abs=1)
    assert plan.told.endswith("strain not reckoned yet")
    assert not plan.is_reckoned
    assert not plan.warning
    cut.wanted = True
    assert plan.told == whole, "what was known once is known again"
    assert plan.is_reckoned


def test_pieces_are_told_anew_and_are_those_that_flatten_makes(plan):
    for cut in new_cuts(plan):
        cut.wanted = False
    told = pieces_of(plan)
    bpy.ops.foamwright.take_plan()
    bpy.ops.foamwright.find_pieces()
    assert told == len(bpy.context.object.foamwright.pieces) == 2


def test_the_strain_of_what_is_ticked_is_reckoned_when_asked(plan):
    obj = bpy.context.object
    seams = {tuple(edge.vertices) for edge in obj.data.edges if edge.use_seam}
    for cut in new_cuts(plan):
        cut.wanted = False
    assert bpy.ops.foamwright.reckon_plan() == {"FINISHED"}
    assert plan.is_reckoned
    told = float(plan.told.split()[-2])
    assert seams == {tuple(edge.vertices) for edge in obj.data.edges if edge.use_seam}, "nothing is marked"
    assert "pieces over 3 %: 2" in plan.warning
    assert "No allowed cut" not in plan.warning, "cuts were left out"
    bpy.ops.foamwright.take_plan()
    bpy.ops.foamwright.flatten()
    worst = max(max(piece.pull_percent, piece.squeeze_percent) for piece in obj.foamwright.pieces)
    # the list of pieces tells the worst spot, the plan what 99 % of the area keeps to
    assert 3 < told <= 1.02 * worst


def test_what_was_reckoned_in_another_foam_is_reckoned_anew(plan):
    cut = new_cuts(plan)[-1]
    cut.wanted = False
    bpy.ops.foamwright.reckon_plan()
    told = plan.told
    bpy.context.scene.foamwright.thickness_mm = 10.0
    cut.wanted = True
    assert not plan.is_reckoned
    cut.wanted = False
    assert not plan.is_reckoned
    bpy.ops.foamwright.reckon_plan()
    assert plan.is_reckoned
    bpy.context.scene.foamwright.thickness_mm = 5.0
    cut.wanted = True
    assert plan.is_reckoned
    cut.wanted = False
    assert plan.told == told, "the first foam is remembered"


def test_a_plan_that_needs_the_cut_says_so(make):
    obj = make(BOX[0], BOX[1][2:])  # a tube of four panels
    bpy.ops.foamwright.suggest_seams()
    plan = obj.foamwright.plan
    assert "worst strain" in plan.told
    for cut in new_cuts(plan):
        cut.wanted = False
    bpy.ops.foamwright.reckon_plan()
    assert plan.told.endswith("not all can be laid flat")


def test_seams_that_could_go_are_reckoned_alike(make):
    obj = make(*BOX, seams=[(0, 1), (0, 4), (1, 5), (2, 6), (3, 7), (4, 5), (5, 7), (6, 7), (0, 2), (1, 3)])
    bpy.ops.foamwright.removable_seams()
    plan = obj.foamwright.plan
    assert plan.heading == f"Seams that could go, each by itself: {len(plan.cuts)}"
    with_longest = length_of(plan)
    plan.cuts[0].wanted = False
    assert length_of(plan) == pytest.approx(with_longest + plan.cuts[0].length_mm, abs=1)
    bpy.ops.foamwright.reckon_plan()
    assert "worst strain" in plan.told


def test_every_cut_tells_how_far_the_edge_bends_and_both_ways_to_make_it(plan, module):
    obj = bpy.context.object
    shell = module("addon.bridge").shell_from_object(bpy.context, obj)
    for cut in plan.cuts:
        edges = module("addon.plans").shell_edges(shell, cut)
        mean = np.degrees(np.average(shell.edge_bend[edges], weights=shell.edge_length[edges]))
        assert float(cut.bend.split("°")[0].split()[-1]) == pytest.approx(abs(mean), abs=0.11)
        assert cut.bend.startswith("ridge")
        assert "without the cut the foam bends uncut" in cut.bend


def test_a_sharp_seam_could_be_a_groove(make):
    obj = make(*BOX, seams=[(0, 1), (0, 4), (1, 5), (2, 6), (3, 7), (4, 5), (5, 7), (6, 7), (0, 2), (1, 3)])
    bpy.ops.foamwright.removable_seams()
    wanted = "ridge 90°: bevel 45° on each edge; without the cut a V-groove that closes"
    assert {cut.bend for cut in obj.foamwright.plan.cuts} == {wanted}


def test_reckoning_waits_for_a_plan(dome):
    dome()
    assert not bpy.ops.foamwright.reckon_plan.poll()


def test_ticks_of_a_plan_for_an_edited_mesh_change_nothing(plan):
    told = plan.told
    bpy.context.object.data.vertices[0].co.z += 0.02
    new_cuts(plan)[0].wanted = False
    assert plan.told == told
    with pytest.raises(RuntimeError, match="edited since this plan was made"):
        bpy.ops.foamwright.reckon_plan()
