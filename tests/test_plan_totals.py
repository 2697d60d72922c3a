"""Totals of a plan with cuts left out: known at once where the pieces are, and true when they are laid flat."""

from __future__ import annotations

import numpy as np
import pytest
import solids
from foamwright.core.cut_words import cut_words
from foamwright.core.flatten import flatten_patch
from foamwright.core.flatten.strain import area_quantile
from foamwright.core.patch import cut_patch
from foamwright.core.plan_totals import Outlooks
from foamwright.core.progress import finish
from foamwright.core.seams import PieceOutlook, Plan
from foamwright.core.settings import Settings
from foamwright.core.shell import Shell
from hypothesis import given
from hypothesis import strategies as st
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components


def quarters() -> Shell:
    """A tube cut into four strips."""
    shell = Shell.build(*solids.tube(n_around=16))
    upright = np.ptp(shell.vertices[shell.edges][:, :, 2], axis=1) > 1
    turn = np.degrees(np.arctan2(*shell.vertices[shell.edges].mean(axis=1)[:, :2].T)).round(3)
    return shell.with_seams(upright & (np.abs((turn + 360) % 90 - turn[upright].max() % 90) < 0.01))


def cuts_of(shell: Shell) -> list[np.ndarray]:
    """The lines of seam, each by its place around the tube."""
    at = np.flatnonzero(shell.seam)
    place = shell.vertices[shell.edges[at]].mean(axis=1)[:, :2].round(3)
    _, line = np.unique(place, axis=0, return_inverse=True)
    return [at[line.reshape(-1) == number] for number in range(int(line.max()) + 1)]


def counted(shell: Shell) -> int:
    joined = shell.edge_faces[shell.edge_is_consistent & ~shell.seam].T
    graph = coo_array((np.ones(joined.shape[1]), tuple(joined)), shape=(shell.face_count,) * 2)
    return connected_components(graph, directed=False)[0]


@given(st.sets(st.integers(0, 3)))
def test_pieces_and_length_are_known_at_once_whatever_is_left_out(left_out):
    shell = quarters()
    lines = cuts_of(shell)
    seam = shell.seam.copy()
    for number in left_out:
        seam[lines[number]] = False
    totals = Outlooks().totals(shell.with_seams(seam))
    assert len(totals.pieces) == counted(shell.with_seams(seam))
    assert totals.length_mm == pytest.approx((4 - len(left_out)) * 80.0)
    assert not totals.is_known


def test_a_plan_is_known_and_only_what_a_cut_changes_is_laid_flat_again():
    shell = quarters()
    known = Outlooks()
    first = finish(known.work_out(shell))
    plan = Plan(shell, (), first.laid)
    known = Outlooks()
    known.keep(plan)
    assert known.totals(shell).strain == first.strain
    seam = shell.seam.copy()
    seam[cuts_of(shell)[0]] = False
    merged = shell.with_seams(seam)
    assert [piece is None for piece in known.totals(merged).pieces].count(True) == 1
    steps = list(known.work_out(merged))
    assert len(steps) == 1, "two strips became one; the two others are known"
    assert known.totals(merged).is_known
    assert len(known.totals(merged).pieces) == 3


def test_the_strain_is_that_of_the_piece_laid_flat():
    shell = Shell.build(*solids.sphere_cap())
    faces = np.arange(shell.face_count)
    patch = cut_patch(shell, faces)
    points = shell.vertices[patch.shell_vertex]
    flat = flatten_patch(points, patch.triangles)
    worst = [singular_strain(points[triangle], flat[triangle]) for triangle in patch.triangles]
    a, b, c = points[patch.triangles].transpose(1, 0, 2)
    area = np.linalg.norm(np.cross(b - a, c - a), axis=1) / 2
    totals = finish(Outlooks().work_out(shell))
    assert totals.strain == pytest.approx(area_quantile(np.array(worst), area, 0.99), rel=1e-3)
    assert not totals.pieces[0].lies_over_itself


def singular_strain(shape: np.ndarray, flat: np.ndarray) -> float:
    """The larger of pull and squeeze from the flat to the shape, by the map's singular values."""
    x, y = shape[1] - shape[0], shape[2] - shape[0]
    along = x / np.linalg.norm(x)
    up = y - (y @ along) * along
    plane = np.array([[x @ along, y @ along], [0.0, np.linalg.norm(up)]])
    stretch = np.linalg.svd(plane @ np.linalg.inv((flat[1:] - flat[0]).T), compute_uv=False)
    return float(np.abs(stretch - 1).max())


def test_a_dart_makes_another_piece_of_the_same_faces():
    shell = Shell.build(*solids.sphere_cap())
    known = Outlooks()
    finish(known.work_out(shell))
    inner = np.flatnonzero(shell.edge_is_consistent)
    rim = np.unique(shell.edges[~shell.edge_is_consistent])
    seam = np.zeros(shell.edge_count, bool)
    seam[next(edge for edge in inner if np.isin(shell.edges[edge], rim).sum() == 1)] = True
    assert not known.totals(shell.with_seams(seam)).is_known


def test_another_shape_is_not_taken_for_the_first():
    shell = Shell.build(*solids.sphere_cap())
    known = Outlooks()
    finish(known.work_out(shell))
    assert known.totals(shell).is_known
    assert not known.totals(shell.with_vertices(shell.vertices * 1.01)).is_known


def test_a_closed_piece_has_no_strain_to_tell():
    totals = finish(Outlooks().work_out(Shell.build(*solids.tube())))
    assert totals.strain == np.inf
    assert totals.is_known


def test_a_plan_is_no_other_when_it_is_kept():
    shell = Shell.build(*solids.sphere_cap())
    piece = PieceOutlook(np.arange(shell.face_count), 0.034, (10.0, 5.0), True)
    known = Outlooks()
    known.keep(Plan(shell, (), (piece,)))
    assert known.totals(shell).pieces == (piece,)


@pytest.mark.parametrize(
    ("bend", "words"),
    [
        (68.0, "ridge 68°: bevel 34° on each edge; without the cut a V-groove that closes"),
        (-68.0, "valley 68°: bevel 34° on each edge, inside longer; without the cut a score that opens"),
        (20.0, "ridge 20°: bevel 20° on one edge; without the cut the foam bends uncut"),
        (8.0, "ridge 8°: square edges; without the cut the foam bends uncut"),
        (0.0, "flat: square edges; without the cut the foam bends uncut"),
    ],
)
def test_both_choices_at_a_cut_are_told(bend, words):
    assert cut_words(bend, Settings()) == words


def test_the_choices_at_a_cut_go_by_the_settings():
    assert "square edges; without the cut a V-groove" in cut_words(68.0, Settings(joint_rule="butt"))
    assert "bevel 68° on one edge" in cut_words(68.0, Settings(joint_rule="one-sided"))
    assert cut_words(68.0, Settings(fold_limit_deg=70.0)).endswith("the foam bends uncut")
