"""Flattening: laws of geometry, published developments, and the floor that no map can beat."""

from __future__ import annotations

from functools import partial

import numpy as np
import pytest
import solids
from foamwright.core.errors import MeshError, MissingCutError
from foamwright.core.flatten import Flattener, flatten_patch, flatten_patches, rims_of, start, surface_of
from foamwright.core.flatten.energy import Ceiling, RestTriangles, StrainEnergy, signed_areas
from foamwright.core.flatten.flattening import PARTING_COST, Problem, part_overlaps
from foamwright.core.flatten.overlap import Contacts, crossing_steps
from foamwright.core.flatten.reference import plane_corners
from foamwright.core.flatten.solver import NewtonSolver, Seams, longest_safe_step
from foamwright.core.flatten.strain import log_strain, stretches
from foamwright.core.flatten.system import StepSystem
from foamwright.core.patch import cut_patch
from foamwright.core.progress import finish
from foamwright.core.shell import Shell
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.sparse import csr_array


def mesh(made: tuple) -> tuple[np.ndarray, np.ndarray]:
    """Vertices and triangles of a solids mesh."""
    shell = Shell.build(*made)
    return shell.vertices, shell.triangles


def strains(flat: np.ndarray, points: np.ndarray, triangles: np.ndarray) -> np.ndarray:
    return stretches(flat, triangles, RestTriangles.from_corners(plane_corners(points[triangles])))


def edge_errors(flat: np.ndarray, points: np.ndarray, triangles: np.ndarray) -> np.ndarray:
    pairs = np.concatenate([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]])
    there = np.linalg.norm(flat[pairs[:, 0]] - flat[pairs[:, 1]], axis=1)
    here = np.linalg.norm(points[pairs[:, 0]] - points[pairs[:, 1]], axis=1)
    return np.abs(there / here - 1)


def random_upright(seed: int) -> tuple[np.ndarray, np.ndarray, RestTriangles]:
    """A small flat mesh and rest shapes that differ from it."""
    rng = np.random.default_rng(seed)
    points, triangles = mesh(solids.flat_sheet(40, 30, 3, 3))
    flat = points[:, :2] + rng.uniform(-2, 2, (len(points), 2))
    corners = flat[triangles] * rng.uniform(0.8, 1.2, 2) + rng.uniform(-1, 1, (len(triangles), 3, 2))
    return flat, triangles, RestTriangles.from_corners(corners)


@pytest.mark.parametrize("ceiling", [None, Ceiling(0.2, 4.0)])
@pytest.mark.parametrize("squeeze_cost", [1.0, 1.7])
def test_gradient_is_the_slope_of_the_energy(ceiling: Ceiling | None, squeeze_cost: float) -> None:
    flat, triangles, rest = random_upright(3)
    energy = StrainEnergy(triangles, rest, squeeze_cost, ceiling)
    value, parts, _ = energy.derivatives(flat)
    assert value == pytest.approx(energy.value(flat), rel=1e-12)
    gradient = np.zeros_like(flat)
    np.add.at(gradient, triangles.ravel(), parts.reshape(-1, 2))
    numeric = numeric_gradient(energy.value, flat)
    assert np.abs(gradient - numeric).max() < 1e-6 * np.abs(numeric).max()


def test_hessian_is_positive_and_exact_where_the_energy_is_convex() -> None:
    flat, triangles, rest = random_upright(5)
    energy = StrainEnergy(triangles, rest, 1.3, Ceiling(0.2, 4.0))
    _, _, hessian = energy.derivatives(flat)
    assert np.linalg.eigvalsh(hessian).min() > -1e-9 * np.abs(hessian).max()
    # one triangle stretched both ways is a convex place: the Hessian there is the true one
    corners = np.array([[[0.0, 0.0], [10.0, 0.0], [3.0, 8.0]]])
    energy = StrainEnergy(np.array([[0, 1, 2]]), RestTriangles.from_corners(corners))
    place = corners[0] * [0.93, 0.96]
    _, _, hessian = energy.derivatives(place)
    numeric = np.empty((6, 6))
    for i in range(6):
        move = np.zeros(6)
        move[i] = 1e-5
        above = energy.derivatives(place + move.reshape(3, 2))[1][0]
        below = energy.derivatives(place - move.reshape(3, 2))[1][0]
        numeric[i] = (above - below) / 2e-5
    clamped = np.linalg.eigvalsh(numeric).min() < 0
    worst = np.abs(hessian[0] - numeric).max() / np.abs(numeric).max()
    assert worst < (0.05 if clamped else 1e-5)


def test_seam_gradient_is_the_slope() -> None:
    flat = np.array([[0.0, 0], [10, 1], [3, 8], [14, 9]])
    seams = Seams(np.array([[0, 1, 2, 3], [0, 2, 1, 3]]), np.array([0.0, 0.1]))
    seams.stiffen(flat, np.ones(4))
    seams.tighten(flat)
    _, parts, hessian = seams.derivatives(flat)
    gradient = np.zeros_like(flat)
    np.add.at(gradient, seams.elements.ravel(), parts.reshape(-1, 2))
    numeric = numeric_gradient(seams.value, flat)
    assert np.abs(gradient - numeric).max() < 1e-6 * np.abs(numeric).max()
    assert np.linalg.eigvalsh(hessian).min() > -1e-9 * np.abs(hessian).max()


def numeric_gradient(value, flat: np.ndarray) -> np.ndarray:
    slope = np.empty_like(flat)
    for place in np.ndindex(*flat.shape):
        move = np.zeros_like(flat)
        move[place] = 1e-6
        slope[place] = (value(flat + move) - value(flat - move)) / 2e-6
    return slope


@given(st.integers(0, 10_000))
def test_safe_step_ends_where_the_first_triangle_flips(seed: int) -> None:
    rng = np.random.default_rng(seed)
    points, triangles = mesh(solids.flat_sheet(40, 30, 3, 3))
    flat, step = points[:, :2], rng.normal(size=(len(points), 2))
    limit = longest_safe_step(flat, step, triangles).min()
    assert (signed_areas(flat + 0.999 * limit * step, triangles) > 0).all()
    assert (signed_areas(flat + 1.001 * limit * step, triangles) < 0).any()


def test_energy_is_infinite_for_a_flipped_triangle() -> None:
    rest = RestTriangles.from_corners(np.array([[[0.0, 0], [1, 0], [0, 1]]]))
    energy = StrainEnergy(np.array([[0, 1, 2]]), rest)
    assert energy.value(np.array([[0.0, 0], [0, 1], [1, 0]])) == np.inf


@pytest.mark.parametrize(
    "made",
    [
        solids.flat_sheet(),
        solids.cylinder_patch(80.0, 2.5, 120.0, 40, 8),
        solids.frustum_patch(50.0, 30.0, 80.0),
        (solids.prism(7)[0], solids.prism(7)[1][:3]),
    ],
)
def test_developable_patch_comes_out_exact(made: tuple) -> None:
    points, triangles = mesh(made)
    used = np.unique(triangles)
    place = np.zeros(len(points), int)
    place[used] = np.arange(len(used))
    points, triangles = points[used], place[triangles]
    flat = flatten_patch(points, triangles)
    assert edge_errors(flat, points, triangles).max() < 1e-6
    assert (signed_areas(flat, triangles) > 0).all()


def test_frustum_develops_to_the_sector_of_the_sheet_metal_rule() -> None:
    """D 100, d 60, h 80: slant 82.4621, outer radius 206.155, sector 87.3128 degrees (slant rule of
    E. M. Longfield, Sheet Metal Drafting, p. 128; digits computed)."""
    around = 720
    points, triangles = mesh(solids.frustum_patch(50.0, 30.0, 80.0, n_around=around, n_up=1))
    flat = flatten_patch(points, triangles)
    radius = np.linalg.norm(points[:, :2], axis=1)
    base, top = flat[radius > 49.9], flat[radius < 30.1]
    centre, outer = fitted_circle(base)
    assert outer == pytest.approx(206.155, abs=0.01)
    assert np.linalg.norm(top - centre, axis=1) == pytest.approx(123.693, abs=0.01)
    angles = np.unwrap(np.sort(np.arctan2(*(base - base.mean(axis=0) - (centre - base.mean(axis=0))).T[::-1])))
    gaps = np.diff(np.concatenate([angles, [angles[0] + 2 * np.pi]]))
    assert np.degrees(2 * np.pi - gaps.max()) == pytest.approx(87.3128, abs=0.01)


def fitted_circle(points: np.ndarray) -> tuple[np.ndarray, float]:
    system = np.column_stack([2 * points, np.ones(len(points))])
    x, y, rest = np.linalg.lstsq(system, (points**2).sum(axis=1), rcond=None)[0]
    return np.array([x, y]), float(np.sqrt(rest + x * x + y * y))


@pytest.mark.parametrize("degrees", [30, 45, 60, 80])
def test_cap_comes_near_the_floor_of_all_maps(degrees: int) -> None:
    """J. Milnor, A Problem in Cartography, Amer. Math. Monthly 76(10), 1969: log(largest / smallest stretch) of
    a cap of angular radius a is at least log(a / sin a)."""
    angle = np.radians(degrees)
    points, triangles = mesh(solids.sphere_cap(100.0, angle, 16))
    stretch = strains(flatten_patch(points, triangles), points, triangles)
    spread = np.log(stretch[:, 0].max() / stretch[:, 1].min())
    floor = np.log(angle / np.sin(angle))
    # a polyhedron may lie a little under the bound of the sphere it is drawn on
    assert 0.98 * floor < spread <= 1.03 * floor


def test_hemisphere_lies_flat_without_flips() -> None:
    points, triangles = mesh(solids.sphere_cap(100.0, np.radians(120), 14))
    assert (signed_areas(flatten_patch(points, triangles), triangles) > 0).all()


TUTTES = [partial(start._tutte, weights=start._ones), partial(start._tutte, weights=start._cotangents)]


@pytest.mark.parametrize("way", [start.first_flat, *TUTTES])
def test_a_start_is_upright_even_on_most_of_a_sphere(way) -> None:
    points, triangles = mesh(solids.sphere_cap(100.0, np.radians(150), 10))
    flat = way(triangles, plane_corners(points[triangles]), rims_of(triangles), len(points))
    assert (signed_areas(flat, triangles) > 0).all()


def test_ring_with_a_hole_stays_upright() -> None:
    points, triangles = mesh(solids.sphere_cap(100.0, np.radians(60), 12))
    # leave out the middle: an eye opening
    middle = np.linalg.norm(points[triangles].mean(axis=1)[:, :2], axis=1) < 25
    triangles = triangles[~middle]
    used, triangles = np.unique(triangles, return_inverse=True)
    triangles = triangles.reshape(-1, 3)
    flat = flatten_patch(points[used], triangles)
    assert (signed_areas(flat, triangles) > 0).all()


def gores(count: int, radius: float = 100.0) -> tuple[list, list]:
    """A hemisphere in gores, and the glued runs between neighbours (bottom to top along each meridian)."""
    rows, columns = 8, 4
    patches, mates = [], []
    latitude = np.linspace(0, np.pi / 2 * 0.97, rows + 1)
    for gore in range(count):
        longitude = 2 * np.pi / count * (gore + np.linspace(0, 1, columns + 1))
        grid = np.stack(
            [
                np.outer(np.cos(latitude), np.cos(longitude)),
                np.outer(np.cos(latitude), np.sin(longitude)),
                np.outer(np.sin(latitude), np.ones(columns + 1)),
            ],
            axis=2,
        )
        patches.append(mesh(solids.grid(radius * grid)))
        index = np.arange((rows + 1) * (columns + 1)).reshape(rows + 1, columns + 1)
        mates.append((gore, index[:, -1], (gore + 1) % count, index[:, 0]))
    return patches, mates


def path_lengths(flat: np.ndarray, path: np.ndarray) -> np.ndarray:
    return np.linalg.norm(np.diff(flat[path], axis=0), axis=1)


def test_both_sides_of_a_seam_come_out_equal() -> None:
    patches, mates = gores(6)
    # one gore cut wider than the rest, so that neighbours differ when let go
    patches[0] = (patches[0][0] * [1.06, 1.06, 1.0], patches[0][1])
    held = flatten_patches(patches, mates)
    loose = flatten_patches(patches, mates, seam_priority=0.0)

    def worst(flats: list[np.ndarray]) -> float:
        return max(
            np.abs(np.cumsum(path_lengths(flats[a], path_a) - path_lengths(flats[b], path_b))).max()
            for a, path_a, b, path_b in mates
        )

    assert worst(loose) > 1.0
    assert worst(held) < 0.01
    half = flatten_patches(patches, mates, seam_priority=0.5)
    assert 0.3 * worst(loose) < worst(half) < 0.7 * worst(loose)
    for flat, (_, triangles) in zip(held, patches, strict=True):
        assert (signed_areas(flat, triangles) > 0).all()


@settings(max_examples=15)
@given(st.integers(0, 10_000))
def test_result_does_not_depend_on_place_or_numbering(seed: int) -> None:
    rng = np.random.default_rng(seed)
    points, triangles = mesh(solids.saddle(100.0, 6, 25.0))
    order = rng.permutation(len(points))
    rank = np.argsort(order)
    turn = np.linalg.qr(rng.normal(size=(3, 3)))[0]
    turn *= np.sign(np.linalg.det(turn))
    moved = (points @ turn.T + rng.normal(size=3) * 100)[order]
    shuffled = rank[triangles][rng.permutation(len(triangles))]
    here = flatten_patch(points, triangles)
    there = flatten_patch(moved, shuffled)[rank]
    assert distances(there) == pytest.approx(distances(here), abs=1e-3)


def test_mirrored_patch_comes_out_mirrored() -> None:
    points, triangles = mesh(solids.saddle(100.0, 6, 25.0))
    mirrored = flatten_patch(points * [-1, 1, 1], triangles[:, ::-1])
    assert distances(mirrored) == pytest.approx(distances(flatten_patch(points, triangles)), abs=1e-3)


@settings(max_examples=15)
@given(st.floats(0.01, 50.0))
def test_scale_goes_through(scale: float) -> None:
    points, triangles = mesh(solids.sphere_cap(100.0, 0.8, 5))
    assert flatten_patch(points * scale, triangles) / scale == pytest.approx(flatten_patch(points, triangles), abs=1e-3)


def distances(flat: np.ndarray) -> np.ndarray:
    return np.linalg.norm(flat[:, None] - flat[None], axis=2)


@settings(max_examples=20)
@given(st.integers(0, 100_000))
def test_never_a_flip_on_rough_ground(seed: int) -> None:
    rng = np.random.default_rng(seed)
    points, triangles = mesh(solids.saddle(100.0, 7, rng.uniform(0, 120)))
    points = points + rng.normal(size=points.shape) * rng.uniform(0, 4)
    flat = flatten_patch(points, triangles)
    assert (signed_areas(flat, triangles) > 0).all()


def test_one_triangle() -> None:
    points = np.array([[0.0, 0, 0], [30, 0, 10], [0, 20, 5]])
    flat = flatten_patch(points, np.array([[0, 1, 2]]))
    assert edge_errors(flat, points, np.array([[0, 1, 2]])).max() < 1e-9


@pytest.mark.parametrize(
    ("made", "words"),
    [(solids.icosahedron(), "closed"), (solids.tube(), "tube"), (solids.torus(100.0, 30.0, 16, 8), "handle")],
)
def test_what_stays_round_names_the_missing_cut(made: tuple, words: str) -> None:
    points, triangles = mesh(made)
    with pytest.raises(MissingCutError, match=words) as error:
        flatten_patch(points, triangles)
    # cut along it, and the next try is one step nearer to a disk
    shell = Shell.build(points, triangles)
    seam = np.zeros(shell.edge_count, bool)
    seam[list(error.value.edges)] = True
    before, after = (cut_patch(s, np.arange(s.face_count)) for s in (shell, shell.with_seams(seam)))
    assert after.vertex_count > before.vertex_count


def test_triangle_without_area_is_named() -> None:
    points = np.array([[0.0, 0, 0], [10, 0, 0], [0, 10, 0], [20, 0, 0]])
    with pytest.raises(MeshError, match="no area") as error:
        flatten_patch(points, np.array([[0, 1, 2], [0, 3, 1]]))
    assert error.value.faces == (1,)


def test_vertex_in_no_triangle_is_named() -> None:
    points = np.array([[0.0, 0, 0], [10, 0, 0], [0, 10, 0], [20, 5, 0]])
    with pytest.raises(MeshError, match="Vertex 3"):
        flatten_patch(points, np.array([[0, 1, 2]]))


@pytest.mark.parametrize("height", [1e-1, 1e-3, 1e-6])
def test_slivers_do_no_harm(height: float) -> None:
    """Triangles a micrometre high: the rest comes out as without them."""
    points, triangles = mesh(solids.sphere_cap(100.0, 0.8, 6))
    plain = log_strain(strains(flatten_patch(points, triangles), points, triangles)).max()
    extra, split = [], []
    for a, b, c in triangles[::9]:
        foot = (points[a] + points[b]) / 2
        extra.append(foot + (points[c] - foot) * height / np.linalg.norm(points[c] - foot))
        new = len(points) + len(extra) - 1
        split += [(a, b, new), (b, c, new), (c, a, new)]
    others = np.delete(triangles, np.s_[::9], axis=0)
    all_points, all_triangles = np.vstack([points, extra]), np.vstack([others, split])
    flat = flatten_patch(all_points, all_triangles)
    assert (signed_areas(flat, all_triangles) > 0).all()
    assert log_strain(strains(flat, all_points, others)).max() < 1.05 * plain


def test_slit_opens_where_the_surface_has_too_much() -> None:
    """Slit from the rim to its middle, a saddle lies flat with less strain, and the slit closes or overlaps."""
    shell = Shell.build(*solids.saddle(100.0, 10, 30.0))
    middle = (np.abs(shell.vertices[shell.edges][:, :, 1]) < 1e-9).all(axis=1)
    middle &= (shell.vertices[shell.edges][:, :, 0] > -1e-9).all(axis=1)
    whole = cut_patch(shell, np.arange(shell.face_count))
    slit = cut_patch(shell.with_seams(middle), np.arange(shell.face_count))
    assert slit.vertex_count == whole.vertex_count + 5
    worst = []
    for patch in (whole, slit):
        points = shell.vertices[patch.shell_vertex]
        worst.append(log_strain(strains(flatten_patch(points, patch.triangles), points, patch.triangles)).max())
    assert worst[1] < worst[0]


def test_squeezing_can_be_made_dearer() -> None:
    points, triangles = mesh(solids.sphere_cap(100.0, 0.9, 10))
    even = strains(flatten_patch(points, triangles), points, triangles)
    dear = strains(flatten_patch(points, triangles, squeeze_cost=3.0), points, triangles)
    assert dear[:, 1].min() > even[:, 1].min()
    assert log_strain(dear).max() > log_strain(even).max()


def test_crossing_rims_are_found() -> None:
    """A strip bent round in its own plane by more than a full turn lies over itself."""
    turn = np.linspace(0, 2.2 * np.pi, 60)
    grid = np.stack([np.outer(r * np.ones(1), np.cos(turn)) for r in (40.0, 60.0)]).squeeze(1)
    other = np.stack([r * np.sin(turn) for r in (40.0, 60.0)])
    flat = np.stack([grid, other], axis=2).reshape(-1, 2)
    loop = np.concatenate([np.arange(60), 60 + np.arange(60)[::-1]])
    assert len(crossing_steps(flat, [loop])) > 0
    short = np.concatenate([np.arange(40), 60 + np.arange(40)[::-1]])
    assert len(crossing_steps(flat, [short])) == 0


def ring_of_ribbon(turns: float) -> tuple[np.ndarray, np.ndarray]:
    """A helical ribbon that, laid flat, goes round by `turns` and nearly or truly meets itself."""
    turn = np.linspace(0, 2 * np.pi * turns, 60)
    rows = [np.stack([r * np.cos(turn), r * np.sin(turn), 3 * turn], axis=1) for r in (92.0, 100.0, 108.0)]
    return mesh(solids.grid(np.stack(rows[::-1])))


def test_shallow_overlap_is_parted_and_a_deep_one_is_left() -> None:
    def crossings(turns: float, part: bool) -> tuple[int, float]:
        points, triangles = ring_of_ribbon(turns)
        surface = surface_of(points, triangles)
        problem = Problem([surface])
        first = start.first_flat(triangles, surface.corners, surface.loops, len(points))
        flat = finish(problem.solver.minimise(first))
        if part:
            flat = finish(part_overlaps(problem, flat, 1.0, None))
        return len(crossing_steps(flat, surface.loops)), problem.common_strain(flat)[0]

    assert crossings(1.01, part=False)[0] > 0
    count, strain = crossings(1.01, part=True)
    assert count == 0
    assert strain < crossings(1.01, part=False)[1] + PARTING_COST
    assert crossings(1.4, part=True)[0] > 0


def test_contact_gradient_is_the_slope() -> None:
    flat = np.array([[0.0, 0], [10, 1], [6, 3], [3, 0.6]])
    contacts = Contacts(np.array([[2, 0, 1], [3, 0, 1]]))
    _, parts, _ = contacts.derivatives(flat)
    gradient = np.zeros_like(flat)
    np.add.at(gradient, contacts.elements.ravel(), parts.reshape(-1, 2))
    assert gradient == pytest.approx(numeric_gradient(contacts.value, flat), abs=1e-5)


def test_what_has_not_changed_is_not_laid_flat_again(monkeypatch: pytest.MonkeyPatch) -> None:
    patches, mates = gores(4)
    surfaces = [surface_of(*patch) for patch in (*patches, mesh(solids.saddle(100.0, 6, 25.0)))]
    first = np.cumsum([0, *[surface.vertex_count for surface in surfaces]])
    one = [(path_a + first[a], path_b + first[b]) for a, path_a, b, path_b in mates]
    glued = np.concatenate([np.stack([p[:-1], p[1:], q[:-1], q[1:]], axis=1) for p, q in one])
    solved = []
    minimise = NewtonSolver.minimise

    def counted(self, *args, **kwargs):
        solved.append(len(self.triangles))
        return minimise(self, *args, **kwargs)

    monkeypatch.setattr(NewtonSolver, "minimise", counted)
    flattener = Flattener()
    before = finish(flattener.flatten(surfaces, glued))
    solved.clear()
    again = finish(flattener.flatten(surfaces, glued))
    assert not solved
    surfaces[-1] = surface_of(*mesh(solids.saddle(100.0, 6, 20.0)))
    changed = finish(flattener.flatten(surfaces, glued))
    assert set(solved) == {len(surfaces[-1].triangles)}
    fresh = finish(Flattener().flatten(surfaces, glued))
    for old, same, there, here in zip(before[:-1], again, changed, fresh, strict=False):
        assert (old == same).all()
        assert (there == here).all()


def test_sides_that_differ_too_much_are_brought_nearer_only() -> None:
    patches, mates = gores(4)
    patches[0] = (patches[0][0] * 1.2, patches[0][1])
    surfaces = [surface_of(*patch) for patch in patches]
    first = np.cumsum([0, *[surface.vertex_count for surface in surfaces]])
    (a, path_a, b, path_b) = mates[0]
    one, other = path_a + first[a], path_b + first[b]
    glued = np.stack([one[:-1], one[1:], other[:-1], other[1:]], axis=1)
    before = Problem(surfaces).rest_gaps(glued)
    flats = np.concatenate(finish(Flattener().flatten(surfaces, glued, forced_gap=0.05)))
    lengths = [np.linalg.norm(flats[glued[:, i + 1]] - flats[glued[:, i]], axis=1) for i in (0, 2)]
    gaps = 2 * (lengths[0] - lengths[1]) / (lengths[0] + lengths[1])
    assert before == pytest.approx(2 * 0.2 / 2.2, rel=0.05)
    assert gaps == pytest.approx(before - 0.05, abs=1e-3)


def test_a_start_that_is_not_upright_is_left_as_it_is() -> None:
    points, triangles = mesh(solids.flat_sheet(40, 30, 3, 3))
    turned_over = points[:, :2] * (-1, 1)
    solver = NewtonSolver(triangles, RestTriangles.from_corners(plane_corners(points[triangles])), len(points))
    assert (finish(solver.minimise(turned_over)) == turned_over).all()


@given(st.integers(0, 10_000), st.sampled_from([(4, 4), (40, 40)]))
def test_a_step_solves_its_system(seed: int, size: tuple[int, int]) -> None:
    """Small grids are solved as a band, large ones as a sparse matrix; the product with the solution is the same."""
    rng = np.random.default_rng(seed)
    points, triangles = mesh(solids.flat_sheet(40, 30, *size))
    triangles = rng.permutation(len(points))[triangles]
    mates = rng.choice(len(points), (2, 4), replace=False)
    mates[1, 3] = mates[1, 1]  # both sides of a slit end in one vertex
    blocks, elements = [triangles, mates], []
    matrix = csr_array((2 * len(points),) * 2)
    for block in blocks:
        root = rng.normal(size=(len(block), 2 * block.shape[1], 2))
        elements.append(root @ root.transpose(0, 2, 1))
        unknown = (2 * block[:, :, None] + np.arange(2)).reshape(len(block), -1)
        row, column = np.broadcast_arrays(unknown[:, :, None], unknown[:, None, :])
        matrix = matrix + csr_array((elements[-1].ravel(), (row.ravel(), column.ravel())), shape=matrix.shape)
    wanted = rng.normal(size=(len(points), 2))
    right_side = matrix @ wanted.ravel() + 0.1 * matrix.diagonal().mean() * wanted.ravel()
    system = StepSystem(len(points), blocks)
    assert system.is_band == (size == (4, 4))
    assert system.solve(elements, 0.1, right_side.reshape(-1, 2)) == pytest.approx(wanted, abs=1e-9)
