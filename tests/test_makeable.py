"""Pieces that cannot be made as they are: told as such, before all else."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import solids
from foamwright.core.check import worst_first
from foamwright.core.check_pattern import examine_pattern
from foamwright.core.foam import Stock, eva
from foamwright.core.makeable import EASY, cannot_be_formed, unmakeable, unmakeable_words
from foamwright.core.progress import finish
from foamwright.core.report import common_strain
from foamwright.core.settings import Settings
from foamwright.core.shell import Shell
from foamwright.core.unfold import unfold
from sample_pattern import sample_pattern


def cap(degrees, **stock):
    """A cap laid flat in one piece."""
    foam = replace(eva(5.0), **stock)
    settings = Settings(stock=foam, nest_seconds=1)
    return finish(unfold(Shell.build(*solids.sphere_cap(100.0, np.radians(degrees), 8)), settings))


@pytest.mark.parametrize(("degrees", "too_far"), [(45, False), (65, False), (95, True), (140, True)])
def test_what_is_far_over_the_heated_limit_cannot_be_made(degrees, too_far):
    pattern = cap(degrees)
    (piece,) = pattern.pieces
    kinds = [finding.kind for finding in pattern.findings]
    assert cannot_be_formed(piece) == too_far == ("over-strain" in kinds)
    assert ("cannot be made" in unmakeable_words(pattern)) == too_far
    if too_far:
        assert kinds[0] == "over-strain"
        assert pattern.findings[0].severity == "warn"
        assert "hot-strain" not in kinds
        assert piece.name in unmakeable(pattern)


def test_the_limit_is_that_of_the_foam():
    tough = cap(95, hot_limit=0.4)
    assert not cannot_be_formed(tough.pieces[0])
    assert cannot_be_formed(cap(65, hot_limit=0.05).pieces[0])


def test_foam_whose_limits_are_set_to_nothing_still_lies_flat():
    flat = Stock("Stiff", 5.0, cold_limit=0.0, hot_limit=0.0)
    pattern = finish(unfold(Shell.build(*solids.flat_sheet()), Settings(stock=flat, nest_seconds=1)))
    assert common_strain(pattern.pieces[0]) < EASY
    assert unmakeable(pattern) == {}


def test_a_spot_alone_keeps_no_piece_from_being_made():
    pattern = cap(45)
    (piece,) = pattern.pieces
    stretch = piece.stretch.copy()
    stretch[np.argmin(pattern.shell.face_area)] = 3.0
    spotted = replace(piece, stretch=stretch)
    assert spotted.largest_stretch == 3.0
    assert common_strain(spotted) == pytest.approx(common_strain(piece), abs=0.01)
    assert not cannot_be_formed(spotted)


def test_what_cannot_be_made_is_told_before_other_warnings():
    pattern = replace(sample_pattern(), findings=())
    far = tuple(replace(piece, stretch=piece.stretch * 2.2) for piece in pattern.pieces)
    found = examine_pattern(replace(pattern, pieces=far), Settings())
    assert found == worst_first(found)
    kinds = [finding.kind for finding in found]
    assert kinds[: len(far)] == ["over-strain"] * len(far)
