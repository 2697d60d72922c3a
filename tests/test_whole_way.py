"""A few random shells of every kind through the whole way, and laws of a pattern that can be broken.

`scripts/stress.py` takes thousands.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pattern_faults
import pytest
import solids
import stress
from foamwright.core.check import Finding
from foamwright.core.errors import FlattenError
from foamwright.core.foam import eva
from foamwright.core.layout import nest
from foamwright.core.layout.paging import A4, paginate
from foamwright.core.pattern import Pattern, PatternPiece
from foamwright.core.progress import finish
from foamwright.core.settings import Settings
from foamwright.core.shell import Shell
from foamwright.core.unfold import unfold
from hypothesis import HealthCheck, Phase, given
from hypothesis import settings as tried
from hypothesis import strategies as some
from pattern_faults import faults
from shell_kinds import KINDS, Trial, random_trial

SETTINGS = Settings(stock=eva(5.0), joint_rule="mitre", notch_spacing_mm=30.0)


@tried(
    max_examples=2, deadline=None, derandomize=True, phases=[Phase.generate], suppress_health_check=list(HealthCheck)
)
@given(seed=some.integers(0, 10**6))
@pytest.mark.parametrize("kind", KINDS)
def test_any_shell_is_refused_or_holds(kind, seed):
    outcome = stress.outcome_of(random_trial(seed, kind, coarse=True))
    assert outcome["faults"] == [], outcome


def test_the_same_seed_makes_the_same_shell():
    for seed in range(20):
        one, other = random_trial(seed), random_trial(seed)
        np.testing.assert_array_equal(one.vertices, other.vertices)
        assert (one.kind, one.faces, one.seams, one.folds) == (other.kind, other.faces, other.seams, other.folds)
        assert one.settings == other.settings


def test_trials_are_of_every_kind_and_of_thin_and_thick_foam_on_either_face():
    trials = [random_trial(seed) for seed in range(120)]
    assert {trial.kind for trial in trials} == set(KINDS)
    foam = [trial.settings.stock.thickness_mm for trial in trials]
    assert min(foam) < 0.7 < 20 < max(foam)
    assert {trial.settings.model_is_inside for trial in trials} == {False, True}
    assert any(trial.folds for trial in trials)
    assert sum(bool(trial.seams) for trial in trials) > 60


# --- every law can be broken -------------------------------------------------------------------


@pytest.fixture(scope="module")
def pattern() -> Pattern:
    """A box without its lid, cut in five."""
    vertices, faces = solids.box(120, 80, 50)
    bare = Shell.build(vertices, [face for face in faces if vertices[face][:, 2].min() < 25])
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(nest, "spyrrow", None)
        return finish(unfold(bare.with_seams(bare.edge_faces[:, 1] >= 0), SETTINGS))


def _with_first(pattern: Pattern, change: Callable[[PatternPiece], PatternPiece]) -> Pattern:
    return replace(pattern, pieces=(change(pattern.pieces[0]), *pattern.pieces[1:]))


def _with(field: str, value: Callable[[PatternPiece], object]) -> Callable[[Pattern], Pattern]:
    return lambda pattern: _with_first(pattern, lambda piece: replace(piece, **{field: value(piece)}))


def _moved_notches(by: float) -> Callable[[PatternPiece], object]:
    """By so much into the piece."""
    return lambda piece: tuple(
        replace(notch, point=tuple((np.array(notch.point) + by * np.array(notch.inward)).tolist()))
        for notch in piece.notches
    )


def _slid_notches(piece: PatternPiece) -> object:
    return tuple(replace(n, point=(n.point[0] - 2 * n.inward[1], n.point[1] + 2 * n.inward[0])) for n in piece.notches)


def _stretched_joint(pattern: Pattern) -> Pattern:
    joint = pattern.joints[0]
    longer = replace(joint.a, length_mm=joint.a.length_mm + 1)
    return replace(pattern, joints=(replace(joint, a=longer), *pattern.joints[1:]))


def _on_sheet(change: Callable) -> Callable[[Pattern], Pattern]:
    def tampered(pattern: Pattern) -> Pattern:
        sheet = pattern.sheets[0]
        return replace(pattern, sheets=(replace(sheet, placements=change(sheet.placements)), *pattern.sheets[1:]))

    return tampered


def _covered_twice(piece: PatternPiece) -> PatternPiece:
    triangles = np.tile(piece.patch.triangles, (2, 1))
    patch = replace(piece.patch, triangles=triangles, triangle_face=np.tile(piece.patch.triangle_face, 2))
    return replace(piece, patch=patch, stretch=np.tile(piece.stretch, (2, 1)))


BREAKS: dict[str, tuple[str, Callable[[Pattern], Pattern]]] = {
    "a face twice": ("faces", _with("faces", lambda p: np.append(p.faces, 1))),
    "a face nowhere": ("faces", _with("faces", lambda p: p.faces[:0])),
    "two of one name": ("names", _with("name", lambda p: "P2")),
    "a finding on nothing": (
        "names",
        lambda p: replace(p, findings=(*p.findings, Finding("overlap", "warn", "", "", piece="P99"))),
    ),
    "no number": ("finite", _with("flat", lambda p: np.full_like(p.flat, np.nan))),
    "turned over": ("flip", _with("flat", lambda p: p.flat * (-1, 1))),
    "absurd strain": ("strain", _with("stretch", lambda p: p.stretch * 1e6)),
    "strain that is not so": ("strain-told", _with("stretch", lambda p: p.stretch * 1.01)),
    "lies over itself": ("overlap", lambda p: _with_first(p, _covered_twice)),
    "a rim of its own": ("outline-area", _with("outside_outline", lambda p: (p.outside_outline[0] * 1.1,))),
    "an open ring": ("outline", _with("outside_outline", lambda p: (p.outside_outline[0][:-1],))),
    "a ring backwards": ("outline", _with("inside_outline", lambda p: (p.inside_outline[0][::-1],))),
    "a ring that crosses itself": (
        "outline",
        _with("inside_outline", lambda p: (p.inside_outline[0][[0, 2, 1, *range(3, len(p.inside_outline[0]))]],)),
    ),
    "no ring": ("outline", _with("inside_outline", lambda p: ())),
    "a ridge that leans out": ("bevel", _with("inside_outline", lambda p: (p.outside_outline[0] * 1.2,))),
    "another length told": ("length", _stretched_joint),
    "one mate longer": ("mates", _with("flat", lambda p: p.flat * 1.02)),
    "notches off the line": ("notch", _with("notches", _moved_notches(1.0))),
    "notches that have slid": ("twins", _with("notches", _slid_notches)),
    "a notch less": ("twins", _with("notches", lambda p: p.notches[1:])),
    "not placed": ("placed", _on_sheet(lambda placements: placements[1:])),
    "placed twice": ("placed", _on_sheet(lambda placements: (*placements, placements[0]))),
    "off the sheet": ("sheet", _on_sheet(lambda placements: (replace(placements[0], x=-500.0), *placements[1:]))),
    "one over the other": (
        "sheet",
        _on_sheet(lambda ps: (replace(ps[0], angle=ps[1].angle, x=ps[1].x, y=ps[1].y), *ps[1:])),
    ),
    "foam of another stock": (
        "sheet",
        lambda p: replace(p, sheets=(replace(p.sheets[0], stock="felt"),)),
    ),
    "what JSON does not hold": ("json", _with("group", lambda p: np.float32(1))),
}


def test_a_sound_pattern_breaks_no_law(pattern):
    assert faults(pattern, SETTINGS) == []


@pytest.mark.parametrize(("kind", "broken"), BREAKS.values(), ids=BREAKS)
def test_a_broken_law_is_seen(pattern, kind, broken):
    assert kind in {fault.kind for fault in faults(broken(pattern), SETTINGS)}


def test_a_page_that_loses_a_part_is_seen(pattern, monkeypatch):
    pages = paginate(pattern, A4)
    monkeypatch.setattr(pattern_faults, "paginate", lambda pattern, paper: pages[1:])
    assert "page" in {fault.kind for fault in faults(pattern, SETTINGS)}


def test_what_is_told_is_no_fault(pattern):
    told = tuple(Finding("unequal-seam", "warn", f"Joint {joint.letter} is ...", "") for joint in pattern.joints)
    longer = replace(_with("flat", lambda p: p.flat * 1.02)(pattern), findings=told)
    assert "mates" not in {fault.kind for fault in faults(longer, SETTINGS)}
    bare = _with("inside_outline", lambda p: ())(pattern)
    told = (Finding("narrow-piece", "warn", "", "", piece=bare.pieces[0].name),)
    assert "outline" not in {fault.kind for fault in faults(replace(bare, findings=told), SETTINGS)}


# --- the script --------------------------------------------------------------------------------


def test_what_is_raised_is_a_fault_unless_it_is_an_error_of_our_own(monkeypatch):
    def outcome_with(problem: Exception) -> dict:
        def broken(*_: object) -> None:
            raise problem

        monkeypatch.setattr(stress, "unfold", broken)
        return stress.outcome_of(random_trial(1))

    assert outcome_with(FlattenError("Piece P1 ..."))["outcome"] == "refused"
    assert outcome_with(ValueError("shapes"))["faults"][0][0] == "raised ValueError"


def test_a_stopped_run_goes_on_where_it_was(tmp_path, monkeypatch, capsys):
    seen: list[int] = []

    def outcome(trial: Trial, nested: bool = False) -> dict:
        seen.append(trial.seed)
        return {"seed": trial.seed, "kind": trial.kind, "outcome": "held", "faults": []}

    kept = tmp_path / "kept.jsonl"
    monkeypatch.setattr(stress, "outcome_of", outcome)
    monkeypatch.delattr(stress.os, "fork")
    monkeypatch.setattr("sys.argv", ["stress.py", "--seed", "1", "--count", "3", "--keep", str(kept)])
    assert stress.main() == 0
    lines = kept.read_text().splitlines()
    faulty = json.loads(lines[0]) | {"outcome": "fault", "faults": [["flip", "P1", "..."]]}
    kept.write_text("\n".join([json.dumps(faulty), *lines[1:2], lines[2][:20]]) + "\n")
    assert stress.main() == 1
    assert seen == [1, 2, 3, 3]
    assert "flip: 1 shells, seeds 1" in capsys.readouterr().out
