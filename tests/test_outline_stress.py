"""A few hundred random polygons with random bevels; `scripts/stress_outlines.py` takes thousands."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "scripts"))
from stress_outlines import Trial, fault_of, random_trial


@pytest.mark.parametrize("first", range(0, 400, 100))
def test_random_polygons_with_random_bevels_hold(first):
    faults = {seed: fault for seed in range(first, first + 100) if (fault := fault_of(random_trial(seed)))}
    assert faults == {}


def test_trials_are_of_many_kinds():
    trials = [random_trial(seed) for seed in range(60)]
    sides = [len(trial.ring) for trial in trials]
    assert min(sides) < 8 < 40 < max(sides)
    assert min(float(trial.bevel_deg.min()) for trial in trials) < -60
    assert max(float(trial.bevel_deg.max()) for trial in trials) > 60


def test_a_fault_is_seen():
    ring = np.array([(0, 0), (60, 0), (60, 40), (0, 40)], float)
    broken = Trial(ring, 5.0, np.full(3, 10.0))  # a bevel short
    assert fault_of(broken).startswith("crash")
    assert fault_of(Trial(ring, 5.0, np.full(4, 10.0))) == ""
