"""A few hundred random polygons with random bevels; `scripts/stress_outlines.py` takes thousands."""

from __future__ import annotations

import numpy as np
import pytest
import stress_outlines
from foamwright.core.outline import offset_polygon
from shapely import Polygon, box
from stress_outlines import Trial, fault_of, random_trial


@pytest.mark.parametrize("first", range(0, 400, 100))
def test_random_polygons_with_random_bevels_hold(first):
    faults = {seed: fault for seed in range(first, first + 100) if (fault := fault_of(random_trial(seed)))}
    assert faults == {}


def test_trials_are_of_many_kinds():
    trials = [random_trial(seed) for seed in range(60)]
    sides = [len(trial.rings[0]) for trial in trials]
    assert min(sides) < 8 < 40 < max(sides)
    bevels = np.concatenate([bevels for trial in trials for bevels in trial.bevels_deg])
    assert bevels.min() < -60
    assert bevels.max() > 60
    assert {len(trial.rings) for trial in trials} == {1, 2, 3, 4}
    assert all(trial.whole.is_valid for trial in trials)


FRAME = np.array([(0, 0), (60, 0), (60, 40), (0, 40)], float)
WINDOW = np.array([(20, 10), (20, 30), (40, 30), (40, 10)], float)


def test_a_fault_is_seen(monkeypatch):
    broken = Trial((FRAME,), 5.0, (np.full(3, 10.0),))  # a bevel short
    assert fault_of(broken).startswith("crash")
    ridges = Trial((FRAME, WINDOW), 5.0, (np.full(4, 10.0), np.full(4, 10.0)))
    assert fault_of(ridges) == ""
    valleys = Trial((FRAME, WINDOW), 5.0, (np.full(4, -10.0), np.full(4, -10.0)))
    for made, words in (
        ([ridges.whole], "an inside outline that keeps what a bevel cuts away"),
        (offset_polygon(valleys.rings, valleys.inward), "an inside outline that leaves the outside one"),
        ([ridges.whole.reverse()], "an outline that runs backwards"),
        ([Polygon([(0, 0), (9, 9), (9, 0), (0, 9)])], "an outline that crosses itself"),
    ):
        monkeypatch.setattr(stress_outlines, "offset_polygon", lambda rings, inward, made=made: made)
        assert fault_of(ridges).startswith(words)


def test_an_uneven_hole_loses_all_its_bevels_take():
    """A window with a ridge of 45 degrees on one side and a valley on the next: 5 mm all along the first (computed)."""
    bevels = (np.zeros(4), np.array([45.0, -45.0, 0.0, 0.0]))
    (part,) = offset_polygon((FRAME, WINDOW), Trial((FRAME, WINDOW), 5.0, bevels).inward)
    assert part.intersection(box(15, 10, 20, 30)).area < 0.1
    assert part.intersection(box(20, 25, 40, 30)).area > 95
