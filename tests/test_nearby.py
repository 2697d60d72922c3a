"""What is near is found through trees: the same as by looking at everything, a bounded number at a time."""

import numpy as np
import pytest
from foamwright.core import nearby
from foamwright.core.progress import finish
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial import KDTree


def _triangles(random, count, sizes):
    middle = random.uniform(-20, 20, (count, 1, 3))
    return middle + random.choice(sizes, (count, 1, 1)) * random.normal(size=(count, 3, 3))


@given(st.integers(0, 10_000), st.sampled_from([(1.0,), (0.2, 1.0, 15.0)]), st.floats(0.5, 60))
def test_lines_meet_the_same_triangles_as_in_a_search_of_all(seed, sizes, reach):
    random = np.random.default_rng(seed)
    corners, feet = _triangles(random, 30, sizes), random.uniform(-20, 20, (12, 3))
    ways = random.normal(size=(12, 3))
    ways /= np.linalg.norm(ways, axis=1)[:, None]
    hits = finish(nearby.hitting("", corners, nearby.size_classes(corners), feet, ways, reach))
    line, triangle = np.divmod(np.arange(12 * 30), 30)
    height = nearby.heights_over(feet[line], ways[line], corners[triangle])
    met = np.abs(height) <= reach
    assert list(zip(hits.line, hits.triangle, strict=True)) == list(zip(line[met], triangle[met], strict=True))
    assert np.allclose(hits.height, height[met])
    nearest = hits.nearest()
    for one, other, high in zip(nearest.line, nearest.triangle, nearest.height, strict=True):
        assert np.isclose(abs(high), np.abs(height[(line == one) & met]).min())
        assert met[one * 30 + other]


@given(st.integers(0, 10_000), st.floats(0.1, 8))
def test_what_is_within_reach_is_found_once(seed, reach):
    random = np.random.default_rng(seed)
    places, points = random.uniform(-5, 5, (60, 3)), random.uniform(-5, 5, (80, 3))
    found = [pair for some in nearby.within(places, KDTree(points), reach) for pair in zip(*some, strict=True)]
    near = np.linalg.norm(places[:, None] - points[None], axis=2) <= reach
    assert sorted(found) == list(zip(*np.nonzero(near), strict=True))


@pytest.mark.parametrize("count", [300, 1200])
def test_few_pairs_are_answered_at_a_time(monkeypatch, count):
    monkeypatch.setattr(nearby, "MOST_PAIRS", 5000)
    monkeypatch.setattr(nearby, "MOST_PLACES", 100)
    points = np.random.default_rng(1).uniform(size=(count, 3))
    sizes = [len(one) for one, _ in nearby.within(points, KDTree(points), 2.0)]
    assert sum(sizes) == count**2
    assert max(sizes) <= 5000 + count
