"""The laws that a ring must keep whose edges move by their own distances."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from foamwright.core.outline import offset_ring, winding_numbers
from hypothesis import given
from hypothesis import strategies as st
from shapely import Polygon
from stress_outlines import random_ring


@given(st.integers(0, 2**32 - 1))
def test_offsets_never_cross_themselves(seed):
    random = np.random.default_rng(seed)
    for _ in range(15):
        ring = random_ring(random)
        n = len(ring)
        inward = [
            random.uniform(-6, 6, n),
            np.repeat(random.uniform(-6, 6, 5), -(-n // 5))[:n],
            random.choice([0, 2.0, 5.0, -3], n),
        ][int(random.integers(3))]
        parts = offset_ring(ring, inward)
        for part in parts:
            assert part.is_valid
            assert part.exterior.is_simple
            assert part.exterior.is_ccw


@given(st.integers(0, 2**32 - 1))
def test_inward_edges_only_take_and_outward_edges_only_add(seed):
    random = np.random.default_rng(seed)
    for _ in range(8):
        ring = random_ring(random)
        shape, moves = Polygon(ring), random.choice([0, 1.0, 3.0, 6.0], len(ring))
        smaller, larger = (shapely.union_all(offset_ring(ring, way * moves)) for way in (1, -1))
        # on a grid, because the shapes share sides
        assert shapely.difference(smaller, shape, grid_size=1e-6).area < 1e-3 * shape.length
        assert shapely.difference(shape, larger, grid_size=1e-6).area < 1e-3 * shape.length


@given(st.integers(0, 2**32 - 1))
def test_even_offsets_agree_with_an_independent_buffer(seed):
    """The GEOS buffer by way of shapely: inwards never more than it, outwards never less, whatever the corners."""
    random = np.random.default_rng(seed)
    for _ in range(8):
        ring, distance = random_ring(random), float(random.uniform(0.5, 6))
        shape, n = Polygon(ring), len(ring)
        smaller = shapely.union_all(offset_ring(ring, np.full(n, distance)))
        assert smaller.difference(shape.buffer(-distance + 0.05, quad_segs=64)).area < 0.05
        larger = shapely.union_all(offset_ring(ring, np.full(n, -distance)))
        assert shape.buffer(distance - 0.05, join_style="bevel").difference(larger).area < 0.05


def test_even_offset_of_a_plain_polygon_is_the_mitred_buffer():
    for sides in (3, 4, 5, 8, 48):
        turn = 2 * np.pi * np.arange(sides) / sides
        ring = 50 * np.stack([np.cos(turn), np.sin(turn)], axis=1)
        for distance in (4.0, -4.0):
            (part,) = offset_ring(ring, np.full(sides, distance))
            wanted = Polygon(ring).buffer(-distance, join_style="mitre", mitre_limit=10)
            assert part.symmetric_difference(wanted).area < 1e-6
            assert len(part.exterior.coords) == sides + 1


def test_a_smooth_rim_in_short_steps_gives_a_clean_outline():
    turn = np.linspace(0, 2 * np.pi, 400, endpoint=False)
    radius = 45 + 12 * np.sin(3 * turn)
    ring = np.stack([radius * np.cos(turn), radius * np.sin(turn)], axis=1)
    for distance in (5.0, -3.0):
        (part,) = offset_ring(ring, np.full(400, distance))
        step = np.diff(np.array(part.exterior.coords), axis=0)
        heading = np.arctan2(step[:, 1], step[:, 0])
        turns = (np.diff(np.append(heading, heading[0])) + np.pi) % (2 * np.pi) - np.pi
        assert np.abs(turns).max() < np.radians(20)
        assert turns.sum() == pytest.approx(2 * np.pi)


def test_a_rim_whose_bevel_changes_moves_out_in_one_even_line():
    """The line runs through the exact distance at the middle of each step and turns as little as it can."""
    steps = 20
    x = np.linspace(0, 100, steps + 1)
    ring = np.vstack([np.stack([x, np.zeros_like(x)], axis=1), [(100, 60), (0, 60)]])
    outward = 2 + np.sin(2 * np.pi * (x[1:] + x[:-1]) / 2 / 100)
    (part,) = offset_ring(ring, -np.concatenate([outward, [0, 0, 0]]))
    points = shapely.get_coordinates(part.exterior)
    inner = points[(points[:, 1] < -0.5) & (points[:, 0] > 1) & (points[:, 0] < 99)]
    inner = inner[np.argsort(inner[:, 0])]
    middles = np.stack([(x[1:] + x[:-1]) / 2, -outward], axis=1)
    drawn = shapely.LineString(inner)
    assert drawn.hausdorff_distance(shapely.LineString(middles)) < 0.01
    slope = np.degrees(np.arctan(np.diff(inner[:, 1]) / np.diff(inner[:, 0])))
    assert np.abs(np.diff(slope)).max() < 1.5


def test_a_bevelled_side_ends_at_its_square_neighbour_even_in_short_steps():
    for steps in (1, 4, 40):
        side = np.linspace(0, 80, steps, endpoint=False)
        corner = np.array([80 * np.cos(np.radians(120)), 80 * np.sin(np.radians(120))])
        # a 60 degree corner at the origin: a bevelled side along x, a square side in steps
        ring = np.vstack([[(0, 0), (80, 0)], [corner * (1 - s / 80) for s in side]])
        ring[2:] = np.array([(80 - s) * np.array([0.5, 0.75**0.5]) for s in side])
        (part,) = offset_ring(ring, np.array([5.0, 0.0] + [0.0] * steps))
        wanted = Polygon([(0, 0), (80, 0), (40, 40 * 3**0.5)]).intersection(shapely.box(-9, 5, 99, 99))
        assert part.symmetric_difference(wanted).area < 0.05


def test_what_the_bevels_eat_is_not_left_inside_out():
    square = np.array([(0, 0), (2, 0), (2, 2), (0, 2)], float)
    assert offset_ring(square, np.full(4, 5.0)) == []
    bar_bell = np.array([(0, 0), (20, 0), (20, 8), (40, 8), (40, 0), (60, 0), (60, 20), (40, 20), (40, 12), (20, 12)])
    bar_bell = np.vstack([bar_bell, [(20, 20), (0, 20)]]).astype(float)
    parts = offset_ring(bar_bell, np.full(12, 3.0))
    assert [part.area for part in parts] == pytest.approx([14.0 * 14.0] * 2)


def test_a_pocket_whose_mouth_closes_is_a_hole():
    """A plate with a pocket of 40 x 30 mm and a mouth of 4 mm, whose sides move 3 mm out; the pocket's own 1 mm."""
    mouth = [(28, 0), (28, 10), (10, 10), (10, 40), (50, 40), (50, 10), (32, 10), (32, 0)]
    ring = np.array([(0, 0), *mouth, (60, 0), (60, 50), (0, 50)], float)
    out = np.array([0, 3, 1, 1, 1, 1, 1, 3, 0, 0, 0, 0], float)
    (part,) = offset_ring(ring, -out)
    (hole,) = part.interiors
    assert Polygon(part.exterior).area == pytest.approx(60 * 50, abs=0.1)
    assert Polygon(hole).symmetric_difference(shapely.box(11, 11, 49, 39)).area < 0.01


@pytest.mark.parametrize("rim", [0.0, 2.0])
@pytest.mark.parametrize("sides", [0.0, 1.0])
def test_a_window_stays_open_that_only_a_slit_joins_to_the_rim(rim, sides):
    """A plate of 60 x 50 mm, its rim moved in by `rim`; a window of 20 x 20 mm, its sides by `sides`."""
    window = [(30, 10), (20, 10), (20, 30), (40, 30), (40, 10), (30, 10)]
    ring = np.array([(0, 0), (30, 0), *window, (30, 0), (60, 0), (60, 50), (0, 50)], float)
    inward = np.array([rim, 0, *[sides] * 5, 0, *[rim] * 4])
    wanted = shapely.box(rim, rim, 60 - rim, 50 - rim) - shapely.box(20 - sides, 10 - sides, 40 + sides, 30 + sides)
    assert shapely.union_all(offset_ring(ring, inward)).symmetric_difference(wanted).area < 0.05


def test_winding_numbers_of_a_figure_of_eight():
    ring = np.array([(0, 0), (4, 4), (4, 0), (0, 4)], float)
    inside = np.array([(1, 2), (3, 2), (2, 3.5), (9, 9)])
    np.testing.assert_array_equal(winding_numbers(ring, inside), [1, -1, 0, 0])
