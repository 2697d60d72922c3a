"""Letters of runs, and the maker's choices for them, through edits of the mesh."""

from __future__ import annotations

import numpy as np
import pytest
import solids
from foamwright.core.errors import SettingsError
from foamwright.core.joints import joint_runs, rim_runs
from foamwright.core.pieces import cut_pieces
from foamwright.core.run_letters import letters_of_edges, name_runs
from foamwright.core.settings import RunChoice, Settings
from foamwright.core.shell import Shell
from planar_pieces import faceted

EDGES = np.full(12, 10.0)
MITRE = RunChoice("mitre")


def _named(runs, edge_letters=None, choices=None, taken=()):
    named = name_runs([(np.array(edges), names) for edges, names in runs], EDGES, edge_letters, choices or {}, taken)
    return [(run.letter, run.choice) for run in named]


def test_without_memory_runs_are_lettered_in_order_past_those_taken():
    runs = [([0], "ab"), ([1], "ac"), ([2], "bc")]
    assert [letter for letter, _ in _named(runs)] == ["A", "B", "C"]
    assert [letter for letter, _ in _named(runs, taken=["A", "C"])] == ["B", "D", "E"]


def test_a_run_keeps_the_letter_that_most_of_its_length_had():
    letters = ["D", "D", "", "B", "B", "D", "", "", "", "", "", ""]
    named = _named([([6], "ab"), ([0, 1, 2], "ab"), ([3, 4, 5], "bc")], letters)
    # the new run takes a letter that nobody has had
    assert [letter for letter, _ in named] == ["A", "D", "B"]


def test_a_tie_or_less_than_half_is_no_memory():
    named = _named([([0, 1], "ab")], ["C", "", *[""] * 10])
    assert [letter for letter, _ in named] == ["A"]


def test_a_locked_run_that_is_cut_in_two_stays_locked_on_both_parts():
    letters = ["C"] * 5 + [""] * 7
    (short, one), (long, other) = _named([([0, 1], "ab"), ([2, 3, 4], "ab")], letters, {"C": MITRE})
    assert (long, short) == ("C", "A")
    assert one == other == MITRE


def test_a_run_with_new_edges_is_found_by_its_pieces_the_longest_first():
    choices = {"C": RunChoice("butt", ("b", "a"))}
    named = _named([([0], ("a", "b")), ([1, 2], ("b", "a")), ([3], ("a", "c"))], [""] * 12, choices)
    assert named == [("A", None), ("C", choices["C"]), ("B", None)]


def test_the_choice_of_a_vanished_run_comes_to_no_other():
    choices = {"A": RunChoice("butt", ("x", "y"))}
    assert _named([([0], ("a", "b"))], [""] * 12, choices) == [("B", None)]


def test_a_choice_by_letter_alone_holds_for_the_same_shell():
    cut = faceted(solids.dodecahedron())
    letter = cut.joints[7].letter
    locked = faceted(solids.dodecahedron(), joint_rule="butt", runs={letter: MITRE})
    assert [(j.letter, j.rule) for j in locked.joints if j.locked] == [(letter, "mitre")]
    assert {j.rule for j in locked.joints if not j.locked} == {"butt"}


def _strips(steps: int) -> tuple[Shell, list[str]]:
    """Two strips that meet at a ridge of 40 degrees along x, in `steps` quads each, and the letters by x."""
    x = np.linspace(0, 120, steps + 1)
    bend = np.radians(40)
    rows = [np.stack([x, np.full_like(x, y), np.full_like(x, z)], axis=1) for y, z in
            ((-40, 0), (0, 0), (40 * np.cos(bend), -40 * np.sin(bend)))]  # fmt: skip
    shell = Shell.build(*solids.grid(np.stack(rows)), seams=[(steps + 1 + i, steps + 2 + i) for i in range(steps)])
    return shell, ["Q" if seam else "" for seam in shell.seam]


def test_a_lock_survives_an_edit_of_the_mesh():
    for steps in (4, 9):
        shell, letters = _strips(steps)
        settings = Settings(runs={"Q": RunChoice("one-sided")})
        pieces, _ = cut_pieces(shell, settings)
        flats = [shell.vertices[piece.patch.shell_vertex][:, :2] for piece in pieces]
        (joint,) = joint_runs(shell, pieces, flats, settings, letters)
        assert (joint.letter, joint.rule, joint.locked) == ("Q", "one-sided", True)


def test_open_rims_are_runs_of_their_own():
    shell, _ = _strips(4)
    pieces, _ = cut_pieces(shell, Settings())
    flats = [shell.vertices[piece.patch.shell_vertex][:, :2] for piece in pieces]
    joints = joint_runs(shell, pieces, flats, Settings())
    rims = rim_runs(shell, pieces, flats, Settings(rim_style="rounded", rim_round_mm=9.0), joints)
    assert [rim.letter for rim in rims] == ["B", "C"]
    assert [rim.round_mm for rim in rims] == [2.5, 2.5]  # no more than half of 5 mm
    edges = np.concatenate([rim.edges for rim in rims])
    assert sorted(edges.tolist()) == np.flatnonzero(shell.edge_is_rim).tolist()
    for rim, piece, flat in zip(rims, pieces, flats, strict=True):
        assert rim.side.piece == piece.name
        assert rim.side.length_mm == pytest.approx(np.linalg.norm(np.diff(flat[rim.side.path], axis=0), axis=1).sum())


def test_one_rim_may_be_bevelled_and_a_closed_one_goes_all_round():
    vertices, faces = solids.flat_sheet(100, 60, 4, 2)
    shell = Shell.build(vertices, faces)
    pieces, _ = cut_pieces(shell, Settings())
    flats = [shell.vertices[pieces[0].patch.shell_vertex][:, :2]]
    (rim,) = rim_runs(shell, pieces, flats, Settings(runs={"A": RunChoice("bevelled")}, rim_bevel_deg=25.0))
    assert (rim.style, rim.locked, rim.side.bevel_deg) == ("bevelled", True, 25.0)
    assert rim.side.path[0] == rim.side.path[-1]
    assert rim.side.length_mm == pytest.approx(320)


def test_a_rule_for_joints_means_nothing_on_a_rim():
    vertices, faces = solids.flat_sheet()
    shell = Shell.build(vertices, faces)
    pieces, _ = cut_pieces(shell, Settings())
    (rim,) = rim_runs(shell, pieces, [vertices[:, :2]], Settings(runs={"A": MITRE}))
    assert (rim.style, rim.locked) == ("square", False)


@pytest.mark.parametrize("wrong", [{"rule": "glue"}, {"rule": "auto"}])
def test_unknown_rules_are_refused(wrong):
    with pytest.raises(SettingsError, match="Rule of a run"):
        RunChoice(**wrong)


def test_letters_of_edges_are_what_the_next_run_remembers():
    shell, _ = _strips(4)
    settings = Settings()
    pieces, _ = cut_pieces(shell, settings)
    flats = [shell.vertices[piece.patch.shell_vertex][:, :2] for piece in pieces]
    joints = joint_runs(shell, pieces, flats, settings)
    rims = rim_runs(shell, pieces, flats, settings, joints)
    letters = letters_of_edges((*rims, *joints), shell.edge_count)
    assert [letters[edge] for edge in joints[0].edges] == ["A"] * 4
    assert sorted(set(letters)) == ["", "A", "B", "C"]
    # read in another order, the letters stay with their edges
    backwards = joint_runs(shell, pieces[::-1], flats[::-1], settings, letters)
    assert [joint.letter for joint in backwards] == ["A"]
    again = rim_runs(shell, pieces[::-1], flats[::-1], settings, backwards, letters)
    assert {rim.letter: set(rim.edges.tolist()) for rim in again} == {r.letter: set(r.edges.tolist()) for r in rims}
