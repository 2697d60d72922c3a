"""Colours of flags: every flag has one, the gravest wins, and they stay apart for all kinds of colour vision."""

from __future__ import annotations

import ast
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
from foamwright.core import corner_flags, flags, gap_flags
from foamwright.core.check import Finding
from foamwright.core.flag_colours import FLAG_KINDS, NO_FLAG, PLAIN, face_flags, flag_colours
from hypothesis import given
from hypothesis import strategies as st
from sample_pattern import sample_pattern

# full dichromacy in linear sRGB: G. Machado, M. Oliveira, L. Fernandes, "A physiologically-based model for
# simulation of color vision deficiency", 2009, table of severity 1.0 (values from memory; their rows sum to 1)
VISION = {
    "all cones": np.eye(3),
    "no L": [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]],
    "no M": [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]],
    "no S": [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]],
}
# B. Ottosson, "A perceptual color space for image processing", 2020
TO_CONES = [
    [0.4122214708, 0.5363325363, 0.0514459929],
    [0.2119034982, 0.6806995451, 0.1073969566],
    [0.0883024619, 0.2817188376, 0.6299787005],
]
TO_LAB = [
    [0.2104542553, 0.7936177850, -0.0040720468],
    [1.9779984951, -2.4285922050, 0.4505937099],
    [0.0259040371, 0.7827717662, -0.8086757660],
]
APART = 0.12
"""In OKLab, where just noticeable is about 0.02: apart also in two corners of a shaded picture."""


def seen(colours: np.ndarray, vision) -> np.ndarray:
    """(n, 3) OKLab of sRGB colours as eyes of this kind see them."""
    linear = np.where(colours <= 0.04045, colours / 12.92, ((colours + 0.055) / 1.055) ** 2.4)
    linear = np.clip(linear @ np.transpose(vision), 0, 1)
    return np.cbrt(linear @ np.transpose(TO_CONES)) @ np.transpose(TO_LAB)


@pytest.mark.parametrize("vision", VISION)
def test_colours_stay_apart_for_all_kinds_of_colour_vision(vision):
    named = {kind.words: kind.colour for kind in FLAG_KINDS} | {"no flag": PLAIN}
    lab = dict(zip(named, seen(np.array(list(named.values())), VISION[vision]), strict=True))
    for one, other in combinations(named, 2):
        assert np.linalg.norm(lab[one] - lab[other]) > APART, f"{one} looks like {other}"


def test_every_flag_has_a_colour_and_only_one():
    made = {
        node.args[0].value
        for module in (flags, corner_flags, gap_flags)
        for node in ast.walk(ast.parse(Path(module.__file__).read_text(encoding="utf-8")))
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "Finding"
    }
    listed = [finding for kind in FLAG_KINDS for finding in kind.findings]
    assert set(listed) == made
    assert len(listed) == len(made)


def pattern_with(*findings: Finding):
    return sample_pattern().with_findings(findings)


def finding(kind: str, severity: str, *faces: int) -> Finding:
    return Finding(kind, severity, "", "", faces=faces)


def words_of(pattern) -> list[str]:
    return [FLAG_KINDS[flag].words if flag != NO_FLAG else "" for flag in face_flags(pattern)]


def test_only_faces_with_a_flag_are_coloured_and_what_is_no_flag_is_left_out():
    pattern = pattern_with(finding("feather-edge", "warn", 1), finding("open-rim", "note", 0))
    assert words_of(pattern) == ["", "Feather edge"] + [""] * (pattern.shell.face_count - 2)
    colours = flag_colours(face_flags(pattern))
    assert colours[0] == pytest.approx(PLAIN)
    assert colours[1] == pytest.approx(next(kind.colour for kind in FLAG_KINDS if kind.words == "Feather edge"))


def test_a_warning_covers_a_note_that_would_be_graver():
    pattern = pattern_with(finding("tight-bend", "note", 0), finding("cold-strain", "warn", 0))
    assert words_of(pattern)[0] == "Strain over the limits"


@given(st.permutations([kind.findings[0] for kind in FLAG_KINDS]), st.integers(1, len(FLAG_KINDS)))
def test_the_gravest_flag_wins_in_whatever_order_they_are_found(order, count):
    found = order[:count]
    gravest = min(next(i for i, kind in enumerate(FLAG_KINDS) if one in kind.findings) for one in found)
    pattern = pattern_with(*(finding(one, "warn", 0) for one in found))
    assert face_flags(pattern)[0] == gravest
