"""The plane and the ball between the foam of two pieces at a corner are the best there are."""

from __future__ import annotations

import numpy as np
import pytest
from foamwright.core.corner_foam import largest_radius, nearest_in_cone, unit
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.optimize import linprog

CUBE = np.vstack([np.eye(3), -np.eye(3)])


def directions(least: int, most: int) -> st.SearchStrategy[np.ndarray]:
    """(k, 3) unit; some of them are opposite or the same, as planes at a corner are."""
    seeds = st.tuples(st.integers(0, 10_000), st.integers(least, most), st.sampled_from([0, 1, -1]))

    def draw(chosen: tuple[int, int, int]) -> np.ndarray:
        seed, count, like_the_first = chosen
        found = unit(np.random.default_rng(seed).normal(size=(count, 3)))
        return np.vstack([found[:-1], like_the_first * found[:1]]) if like_the_first else found

    return seeds.map(draw)


def test_the_largest_ball_of_known_solids():
    assert largest_radius(CUBE, np.array([3.0, 3, 2, 3, 3, 2])) == pytest.approx(2)
    # the inscribed ball of a regular tetrahedron; its planes are 1 from the middle, wherever that lies
    four = unit(np.array([[1.0, 1, 1], [1, -1, -1], [-1, 1, -1], [-1, -1, 1]]))
    assert largest_radius(four, 1 + four @ (5, -7, 2)) == pytest.approx(1)
    assert largest_radius(CUBE, np.array([-1.0, 3, 3, -1, 3, 3])) == 0


@given(planes=directions(4, 8), seed=st.integers(0, 10_000))
def test_no_larger_ball_fits(planes, seed):
    limits = np.random.default_rng(seed).uniform(-2, 8, len(planes))
    planes, limits = np.vstack([planes, CUBE]), np.concatenate([limits, np.full(6, 20.0)])
    rows = np.column_stack([planes, np.ones(len(planes))])
    peer = linprog((0, 0, 0, -1), rows, limits, bounds=[(None, None)] * 3 + [(0, None)])
    assert largest_radius(planes, limits) == pytest.approx(peer.x[3] if peer.success else 0.0, abs=1e-6)


@given(kept=directions(1, 14), wish=directions(1, 1))
def test_the_nearest_of_a_cone_is_in_it_and_nothing_in_it_is_nearer(kept, wish):
    wish = wish[0]
    assume((kept @ wish).min() < 0)
    nearest = nearest_in_cone(wish, kept)
    assert (kept @ nearest).min() > -1e-8
    # the rest is square to what is nearest, and the cone lies on its far side (Moreau)
    rest = wish - nearest
    assert rest @ nearest == pytest.approx(0, abs=1e-8)
    tries = np.random.default_rng(0).normal(size=(2000, 3))
    inside = tries[(tries @ kept.T >= 0).all(axis=1)]
    assert (unit(inside) @ rest <= 1e-8).all()
