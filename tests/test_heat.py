from __future__ import annotations

import numpy as np
import pytest
from foamwright.core.heat import SCALE, scale_words, strain_colour, worst_strain
from hypothesis import given
from hypothesis import strategies as st
from sample_pattern import sample_pattern


def lightness(colour: np.ndarray) -> np.ndarray:
    """CIE 1976 L* of sRGB (CIE 15:2004, eq. 8.3, with Y of IEC 61966-2-1): not the scale's own formula."""
    linear = np.where(colour <= 0.04045, colour / 12.92, ((colour + 0.055) / 1.055) ** 2.4)
    luminance = linear @ (0.2126, 0.7152, 0.0722)
    return 116 * np.cbrt(luminance) - 16


def test_worst_strain_keeps_the_sign_of_the_larger():
    stretch = np.array([[1.04, 0.99], [1.01, 0.95], [1.0, 1.0]])
    assert worst_strain(stretch) == pytest.approx([0.04, -0.05, 0.0])


def test_relaxed_is_neutral_squeezed_blue_pulled_orange():
    squeezed, relaxed, pulled = strain_colour(np.array([-0.1, 0.0, 0.1]), 0.1)
    assert np.ptp(relaxed) < 0.01
    assert squeezed.argmax() == 2
    assert pulled[0] > pulled[1] > pulled[2]


def test_both_ends_look_equally_dark():
    squeezed, pulled = lightness(strain_colour(np.array([-0.1, 0.1]), 0.1))
    assert squeezed == pytest.approx(pulled, abs=4)


@given(st.floats(0, 0.2), st.floats(0, 0.2), st.sampled_from([-1, 1]))
def test_more_strain_is_never_lighter(one, other, sign):
    low, high = sorted([one, other])
    light = lightness(strain_colour(np.array([sign * low, sign * high]), 0.1))
    assert light[1] <= light[0] + 1e-6


def test_strain_past_the_limit_keeps_the_end_colour():
    assert np.array_equal(strain_colour(np.array([0.1]), 0.1), strain_colour(np.array([5.0]), 0.1))


def test_each_face_may_have_its_own_limit():
    same = strain_colour(np.array([0.05, 0.1]), np.array([0.05, 0.1]))
    assert same[0] == pytest.approx(same[1])


def test_the_scale_in_words_tells_the_heated_limit_of_every_stock():
    words = scale_words(sample_pattern())
    limits = sorted({piece.stock.hot_limit for piece in sample_pattern().pieces})
    told = " / ".join(f"{100 * limit:g}" for limit in limits)
    assert words[0] == f"squeezed {told} % and more"
    assert words[SCALE.index(0)] == "unchanged"
    assert words[-1] == f"pulled {told} % and more"
