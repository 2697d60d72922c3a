"""Discrete curvatures against published values and the theorem of Gauss and Bonnet."""

import numpy as np
import pytest
import solids
from foamwright.core.curvature import angle_defect, gaussian_curvature, mean_curvature, mixed_area
from foamwright.core.shell import Shell
from hypothesis import given
from hypothesis import strategies as st

# degrees at every vertex: Descartes' angle defects as listed in encyclopedia entries on Platonic solids
DEFECTS = {
    solids.cube: 90,
    solids.tetrahedron: 180,
    solids.octahedron: 120,
    solids.dodecahedron: 36,
    solids.icosahedron: 60,
    solids.truncated_icosahedron: 12,
}

EULER = {
    solids.cube: 2,
    solids.bumpy: 2,
    solids.torus: 0,
    solids.flat_sheet: 1,
    solids.frustum_patch: 1,
    solids.saddle: 1,
    solids.sphere_cap: 1,
    solids.tube: 0,
}


def _parts(mesh):
    shell = Shell.build(*mesh)
    return shell.vertices, shell.triangles


@pytest.mark.parametrize("make", DEFECTS)
def test_defects_of_solids(make):
    assert np.allclose(np.degrees(angle_defect(*_parts(make()))), DEFECTS[make], atol=1e-9)


@pytest.mark.parametrize("half_apex_deg", [20, 45, 70])
def test_defect_of_a_cone_tends_to_its_formula(half_apex_deg):
    """360 (1 - sin b) for half-apex angle b; 105.442 at 45 degrees."""
    b = np.radians(half_apex_deg)
    vertices, triangles = _parts(solids.pyramid(2000, 100 * np.sin(b), 100 * np.cos(b), base=False))
    assert np.isclose(np.degrees(angle_defect(vertices, triangles)[-1]), 360 * (1 - np.sin(b)), atol=1e-3)


@pytest.mark.parametrize("make", EULER)
def test_gauss_bonnet_with_and_without_rims(make):
    total = angle_defect(*_parts(make())).sum()
    assert abs(total - 2 * np.pi * EULER[make]) <= 2 * np.pi * 1e-9


def test_gauss_bonnet_where_rims_touch_in_one_vertex():
    """Two triangles on one vertex: V - E + F = 5 - 6 + 2 = 1."""
    vertices = np.array([(0, 0, 0), (9, 0, 0), (0, 9, 1), (-9, 0, 0), (0, -9, 0)], float)
    assert np.isclose(angle_defect(vertices, np.array([(0, 1, 2), (0, 3, 4)])).sum(), 2 * np.pi)


@given(st.integers(0, 10_000), st.floats(0, 6))
def test_gauss_bonnet_holds_on_any_closed_mesh(seed, noise):
    vertices, triangles = _parts(solids.icosphere(50, 1))
    vertices = vertices + np.random.default_rng(seed).uniform(-noise, noise, vertices.shape)
    spread = gaussian_curvature(vertices, triangles) * mixed_area(vertices, triangles)
    assert abs(spread.sum() - 4 * np.pi) <= 4 * np.pi * 1e-9


@pytest.mark.parametrize("make", EULER)
def test_mixed_areas_add_up_to_the_surface(make):
    shell = Shell.build(*solids.triangulated(make()))
    area = mixed_area(shell.vertices, shell.triangles)
    assert np.isclose(area.sum(), shell.face_area.sum())
    assert (area > 0).all()


@pytest.mark.parametrize("radius", [20.0, 91.4])
def test_sphere_has_its_curvatures(radius):
    vertices, triangles = _parts(solids.icosphere(radius, 4))
    assert np.allclose(gaussian_curvature(vertices, triangles) * radius**2, 1, atol=0.02)
    assert np.allclose(mean_curvature(vertices, triangles) * radius, 1, atol=0.02)


def test_mean_curvature_is_negative_seen_from_inside():
    vertices, triangles = _parts(solids.icosphere(50, 3))
    outside, inside = mean_curvature(vertices, triangles), mean_curvature(vertices, triangles[:, ::-1])
    assert (outside > 0).all()
    assert np.allclose(inside, -outside)


def test_cylinder_bends_one_way_only():
    vertices, triangles = _parts(solids.cylinder_patch(80, np.pi / 2, 60, 32, 10))
    inside = gaussian_curvature(vertices, triangles)
    assert np.allclose(inside, 0, atol=1e-12)
    mean = mean_curvature(vertices, triangles)
    assert np.allclose(mean[mean != 0] * 2 * 80, 1, atol=1e-2)
    assert (mean != 0).sum() == 31 * 9


def test_saddle_curves_both_ways():
    vertices, triangles = _parts(solids.saddle(100, 20, 20))
    middle = np.argmin(np.hypot(vertices[:, 0], vertices[:, 1]))
    # z = c (x^2 - y^2) has K = -4 c^2 at its middle, here c = 20 / 50^2
    assert np.isclose(gaussian_curvature(vertices, triangles)[middle], -4 * (20 / 2500) ** 2, rtol=0.05)
