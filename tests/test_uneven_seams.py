"""A shell that mirrors itself, but whose maker has cut left and right differently."""

import numpy as np
import pytest
import solids
from foamwright.core.progress import finish
from foamwright.core.seams import SuggestionLimits, removable_seams, suggest
from foamwright.core.shell import Shell

LIMIT = SuggestionLimits(strain=0.03)


@pytest.fixture(scope="module")
def halves():
    """A dome cut in two by its mirror plane."""
    dome = Shell.build(*solids.sphere_cap(100, np.radians(80), 6), name="dome")
    return dome.with_seams((np.abs(dome.vertices[dome.edges, 0]) < 1e-6).all(axis=1) & dome.edge_is_consistent)


@pytest.mark.parametrize("side", [-1, 1])
def test_own_darts_on_one_side_leave_no_piece_over_the_limit_on_the_other(halves, side):
    even = finish(suggest(halves, LIMIT))
    new = even.seam & ~halves.seam
    darts = new & (side * halves.vertices[halves.edges, 0].mean(axis=1) > 0)
    assert darts.any()
    assert not np.array_equal(darts, new)
    plan = finish(suggest(halves.with_seams(halves.seam | darts), LIMIT))
    assert plan.strain <= LIMIT.strain
    for cut in plan.cuts:
        assert plan.seam[cut.edges].all(), "no cut names edges that the plan does not cut"


def test_a_seam_is_not_taken_for_needless_because_its_image_would_be_there():
    """Without the seam the lid hangs on two edges side by side, and the box cannot be opened out."""
    corners = [(x, y, z) for z in (0, 60) for y in (0, 90) for x in (0, 120)]
    faces = [[0, 2, 3, 1], [4, 5, 7, 6], [0, 1, 5, 4], [1, 3, 7, 5], [3, 2, 6, 7], [2, 0, 4, 6]]
    seams = [(0, 4), (1, 5), (2, 6), (3, 7), (4, 5), (5, 7), (6, 7)]
    assert finish(removable_seams(Shell.build(corners, faces, seams))) == ()
