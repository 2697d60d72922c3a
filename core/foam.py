"""Stock: the foam sheet that a piece is cut from, and what it can stand."""

from __future__ import annotations

from dataclasses import dataclass

from .errors import SettingsError

LONGEST_MM = 100_000.0
"""Of a sheet: 100 m, longer than any roll."""


@dataclass(frozen=True)
class Stock:
    """One kind of foam sheet, and how it is cut.

    neutral_depth is the depth k of the neutral surface as a part of the thickness, measured from the
    outside face (0.5: mid-thickness, right for a sheet bent elastically; measure it: see `calibration`).
    skin_mm is what a V-groove leaves uncut. Strain limits are parts of 1.
    tightest_bend is the least inside radius of a smooth bend, in thicknesses. kerf_mm is the width of a relief
    kerf as the maker's tool cuts it; blade_mm is what the blade takes away along an outline (0 for a knife).
    """

    name: str
    thickness_mm: float
    sheet_width_mm: float = 1000.0
    sheet_height_mm: float = 600.0
    neutral_depth: float = 0.5
    skin_mm: float = 1.0
    cold_limit: float = 0.05
    hot_limit: float = 0.10
    tightest_bend: float = 3.0
    kerf_mm: float = 2.0
    blade_mm: float = 0.0

    def __post_init__(self) -> None:
        if not self.name.strip():
            raise SettingsError("A stock needs a name to be found by.")
        if not 0 < self.thickness_mm <= 100:
            raise SettingsError(
                f"Stock '{self.name}': thickness {self.thickness_mm:g} mm cannot be cut; give between 0 and 100 mm."
            )
        if not all(0 < side <= LONGEST_MM for side in (self.sheet_width_mm, self.sheet_height_mm)):
            raise SettingsError(
                f"Stock '{self.name}': a sheet is more than 0 and at most {LONGEST_MM:g} mm wide and high; "
                "give its width and height in mm."
            )
        if not 0 <= self.neutral_depth <= 1:
            raise SettingsError(f"Stock '{self.name}': neutral depth must lie between 0 (outside) and 1 (inside).")
        if not 0 <= self.skin_mm < self.thickness_mm:
            raise SettingsError(f"Stock '{self.name}': the skin left by a groove must be thinner than the foam.")
        if not min(self.cold_limit, self.hot_limit) >= 0:
            raise SettingsError(f"Stock '{self.name}': strain limits must be 0 or more.")
        if not (self.tightest_bend >= 0 and self.kerf_mm > 0 and self.blade_mm >= 0):
            raise SettingsError(
                f"Stock '{self.name}': the tightest bend and the blade must be 0 or more, the kerf over 0 mm."
            )


def eva(thickness_mm: float) -> Stock:
    """EVA foam of a thickness, with usual sheet size, skin, strain limits, bend and kerf (common practice)."""
    return Stock(f"EVA {thickness_mm:g} mm", thickness_mm, skin_mm=min(1.0, 0.2 * thickness_mm))


EVA_SHEETS = tuple(eva(t) for t in (2.0, 4.0, 5.0, 6.0, 8.0, 10.0))
"""Thicknesses sold as sheet (common practice)."""
