"""Strain of a pattern as one number a face, and the one colour scale it is shown in."""

from __future__ import annotations

import numpy as np

from .pattern import Pattern

SQUEEZED_LAB = (0.62, -0.04, -0.145)  # blue, OKLab L, a, b
RELAXED_LAB = (0.97, 0.0, 0.0)
PULLED_LAB = (0.62, 0.095, 0.117)  # orange, as dark and as strong

SCALE = (-1.0, -0.5, 0.0, 0.5, 1.0)
"""Marks of a legend: parts of the strain at which colours are full."""


def worst_strain(stretch: np.ndarray) -> np.ndarray:
    """(m,) parts of 1, of each triangle's two strains the one farther from zero; stretch : (m, 2)."""
    strain = np.asarray(stretch) - 1
    return np.where(np.abs(strain[:, 0]) >= np.abs(strain[:, 1]), strain[:, 0], strain[:, 1])


def shell_strain(pattern: Pattern) -> np.ndarray:
    """(f,) parts of 1, for every shell face the worst strain of its triangles; 0 for a face of no piece."""
    strain = np.zeros(pattern.shell.face_count)
    for piece in pattern.pieces:
        worst = worst_strain(piece.stretch)
        mildest_first = np.argsort(np.abs(worst), kind="stable")
        strain[piece.patch.triangle_face[mildest_first]] = worst[mildest_first]
    return strain


def full_colour_at(pattern: Pattern) -> tuple[float, ...]:
    """The strains, parts of 1, at which pieces get full colour, the least first: the heated limits of their stocks.

    Every picture takes these, so that one colour means one strain on the same foam in all of them.
    """
    return tuple(sorted({piece.stock.hot_limit for piece in pattern.pieces}))


def scale_words(pattern: Pattern) -> tuple[str, ...]:
    """What each mark of `SCALE` stands for: "squeezed 10 % and more" to "pulled 10 % and more".

    Where stocks differ, so does what a colour means: all their strains are told, "5 / 7.5 %".
    """
    told = []
    for share in SCALE:
        strains = " / ".join(f"{abs(round(100 * share * limit, 1)):g}" for limit in full_colour_at(pattern))
        which = "pulled" if share > 0 else "squeezed"
        told.append(f"{which} {strains} %{' and more' if abs(share) == 1 else ''}" if share else "unchanged")
    return tuple(told)


def strain_colour(strain: np.ndarray, limit: float | np.ndarray) -> np.ndarray:
    """(n, 3) sRGB 0 to 1: blue where squeezed, white where relaxed, orange where pulled; full colour at `limit`.

    strain : (n,) parts of 1; limit : over 0, one or (n,). Equal steps of strain look equally large, and both
    ends are equally dark, because the blend runs in OKLab (B. Ottosson, "A perceptual color space for image
    processing", 2020, whose matrices are used here).
    """
    share = np.clip(np.asarray(strain, float) / limit, -1, 1)[:, None]
    end = np.where(share < 0, SQUEEZED_LAB, PULLED_LAB)
    return _srgb_from_oklab(np.array(RELAXED_LAB) + np.abs(share) * (end - np.array(RELAXED_LAB)))


def _srgb_from_oklab(lab: np.ndarray) -> np.ndarray:
    to_cone = np.array(
        [[1, 0.3963377774, 0.2158037573], [1, -0.1055613458, -0.0638541728], [1, -0.0894841775, -1.2914855480]]
    )
    to_linear = np.array(
        [
            [4.0767416621, -3.3077115913, 0.2309699292],
            [-1.2684380046, 2.6097574011, -0.3413193965],
            [-0.0041960863, -0.7034186147, 1.7076147010],
        ]
    )
    linear = np.clip((lab @ to_cone.T) ** 3 @ to_linear.T, 0, 1)
    return np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
