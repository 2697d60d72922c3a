"""A shell divided by seams: pieces, what lies within some faces, mirror images, and what a potential tells."""

import numpy as np
import pytest
import solids
from foamwright.core.opening import patch_defect
from foamwright.core.patch import cut_patch
from foamwright.core.pieces import split
from foamwright.core.seams import potential
from foamwright.core.seams.division import Division
from foamwright.core.seams.potential import scale_potential
from foamwright.core.shell import Shell
from hypothesis import given
from hypothesis import strategies as st
from scipy.sparse import csr_array
from scipy.sparse.csgraph import dijkstra

MESHES = [solids.bumpy, solids.torus, solids.tube, solids.cube]
SEEDS = st.integers(0, 10_000)


def _soup(seed):
    """Faces at random between a few vertices: some share two edges, or an edge by threes, or all their corners."""
    rng = np.random.default_rng(seed)
    faces = [rng.permutation(6)[:3] for _ in range(rng.integers(1, 20))]
    return Shell.build(rng.random((6, 3)), faces)


def _division(shell):
    return Division(shell, np.zeros(shell.edge_count, bool), shell.edge_length)


def _seam(shell, seed):
    rng = np.random.default_rng(seed)
    return rng.random(shell.edge_count) < rng.choice([0.0, 0.2, 0.5])


def _reached(shell, seam, faces):
    """The parts that `faces` fall into, by walking from face to face; lowest face first."""
    beside = {face: set() for face in faces.tolist()}
    for one, other in shell.edge_faces[shell.edge_is_consistent & ~seam].tolist():
        if one in beside and other in beside:
            beside[one].add(other)
            beside[other].add(one)
    parts, seen = [], set()
    for face in faces.tolist():
        if face not in seen:
            part, waiting = set(), [face]
            while waiting:
                here = waiting.pop()
                waiting += beside[here] - part
                part |= beside[here] | {here}
            seen |= part
            parts.append(sorted(part))
    return parts


@given(SEEDS, st.sampled_from([*MESHES, None]))
def test_pieces_are_what_hangs_together(seed, make):
    shell = _soup(seed) if make is None else Shell.build(*make())
    division, seam = _division(shell), _seam(shell, seed)
    faces = np.flatnonzero(np.random.default_rng(seed).random(shell.face_count) < 0.7)
    assert [piece.tolist() for piece in division.pieces(seam=seam)] == _reached(
        shell, seam, np.arange(shell.face_count)
    )
    assert [piece.tolist() for piece in division.pieces(faces, seam)] == _reached(shell, seam, faces)


@given(SEEDS, st.sampled_from(MESHES))
def test_labels_follow_the_seams(seed, make):
    shell = Shell.build(*make())
    division = _division(shell)
    division.seam = _seam(shell, seed)
    label = split(shell.with_seams(division.seam))
    assert (
        len({*zip(division.label.tolist(), label.tolist(), strict=True)}) == label.max() + 1 == len(division.pieces())
    )
    edges = np.flatnonzero(division.seam & division.inner)[:3]
    beside = np.unique(division.label[shell.edge_faces[edges]])
    assert np.array_equal(division.around(edges), np.flatnonzero(np.isin(division.label, beside)))


@given(SEEDS, st.sampled_from(MESHES))
def test_edges_within_have_both_faces_there(seed, make):
    shell = Shell.build(*make())
    division = Division(shell, _seam(shell, seed), np.where(_seam(shell, seed + 1), np.inf, shell.edge_length))
    faces = np.flatnonzero(np.random.default_rng(seed).random(shell.face_count) < 0.6)
    within = np.isin(shell.edge_faces, faces).all(axis=1)
    assert np.array_equal(division.edges_within(faces), np.flatnonzero(within))
    assert np.array_equal(division.inner_edges(faces), np.flatnonzero(within & division.free))


def test_asking_for_pieces_again_gives_them_whole():
    division = _division(Shell.build(*solids.cube()))
    seam = np.ones(division.shell.edge_count, bool)
    division.pieces(seam=seam).pop()
    assert len(division.pieces(seam=seam)) == division.shell.face_count


def test_cuts_come_with_their_images_and_the_makers_stay():
    shell = Shell.build(*solids.sphere())
    division = _division(shell)
    assert division.twins is not None
    edge = np.flatnonzero(division.twins.edge != np.arange(shell.edge_count))[:1]
    cut = division.with_cut(edge)
    assert set(np.flatnonzero(cut)) == {int(edge[0]), int(division.twins.edge[edge[0]])}
    kept = Division(shell, cut, shell.edge_length)
    assert np.array_equal(kept.without(edge), cut)
    division.seam = cut
    assert not division.without(edge).any()


@given(SEEDS)
def test_spread_leaves_out_the_extremes(seed):
    shell = Shell.build(*solids.bumpy())
    piece = max(_division(shell).pieces(seam=_seam(shell, seed)), key=len)[:-5]
    patch = cut_patch(shell, piece, _seam(shell, seed))
    told = scale_potential(shell, patch)
    assert told.spread == pytest.approx(np.ptp(np.quantile(told.values, [0.02, 0.98])), rel=1e-9, abs=1e-12)


@given(SEEDS)
def test_relief_is_what_a_cut_takes_out(seed):
    """1/2 sum K u before and after, of a path from the rim and of one from rim to rim that parts the piece."""
    shell = Shell.build(*solids.sphere_cap(100, np.radians(80), 6))
    division, faces = _division(shell), np.arange(shell.face_count)
    patch = cut_patch(shell, faces)
    paths = _paths_from_the_rim(shell, np.random.default_rng(seed))

    def energy(piece: np.ndarray, seam: np.ndarray) -> float:
        part = cut_patch(shell, piece, seam)
        return float(patch_defect(shell, part) @ scale_potential(shell, part).values) / 2

    for path in paths:
        seam = np.zeros(shell.edge_count, bool)
        seam[shell.edge_between(np.column_stack([path[:-1], path[1:]]))] = True
        after = sum(energy(piece, seam) for piece in division.pieces(seam=seam))
        relief = scale_potential(shell, patch).relief(np.flatnonzero(np.isin(patch.shell_vertex, path)))
        assert relief == pytest.approx(energy(faces, np.zeros_like(seam)) - after, abs=1e-9)


def _paths_from_the_rim(shell: Shell, random: np.random.Generator) -> list[np.ndarray]:
    """The cheapest way at random prices from a rim vertex to one inside, and to another rim vertex."""
    graph = csr_array((random.uniform(0.5, 2, shell.edge_count), shell.edges.T), shape=(len(shell.vertices),) * 2)
    rim = np.unique(shell.edges[~shell.edge_is_consistent])
    inside = np.setdiff1d(np.arange(len(shell.vertices)), rim)
    start = int(random.choice(rim))
    before = dijkstra(graph, directed=False, indices=start, return_predecessors=True)[1]
    paths = []
    for end in (int(random.choice(inside)), int(random.choice(np.setdiff1d(rim, start)))):
        path = [end]
        while before[path[-1]] >= 0:
            path.append(int(before[path[-1]]))
        # a path along the rim is no cut: from the last rim vertex on, or up to the next
        at_rim = np.flatnonzero(np.isin(path[1:], rim)) + 1
        path = path[: at_rim[0] + 1]
        if len(path) > 2 or path[0] not in rim:
            paths.append(np.array(path))
    return paths


@pytest.mark.parametrize("make", MESHES[:3])
def test_narrow_and_wide_systems_have_the_same_solution(make, monkeypatch):
    shell = Shell.build(*make())
    for seed in range(10):
        seam = _seam(shell, seed)
        patch = cut_patch(shell, max(_division(shell).pieces(seam=seam), key=len)[:-5])
        found = []
        for widest in (shell.edge_count, 0):
            monkeypatch.setattr(potential, "WIDEST_BAND", widest)
            found.append(scale_potential(shell, patch).values)
        assert found[0] == pytest.approx(found[1], abs=1e-9)


def test_a_matrix_that_is_not_positive_is_solved_too():
    """Two unknowns, each tied to a known one with 1 and to each other with -3."""
    inverse = potential._inverse(np.array([[0, 1, -1]]), np.array([[1.0, 1.0, -3.0]]), 2)
    solution = inverse(np.array([1.0, 2.0]))
    assert solution == pytest.approx(np.linalg.solve([[-2, 3], [3, -2]], [1, 2]))
