"""Measuring the neutral depth of a foam: bend a strip, measure two arcs."""

from __future__ import annotations

from dataclasses import dataclass, replace

from .errors import SettingsError
from .foam import Stock

ROUNDING = 1e-9


@dataclass(frozen=True)
class BentStrip:
    """A strip of foam laid round something round, lengths in mm.

    flat_mm : its length before it was bent; outer_mm, inner_mm : along its outside and its inside face, bent
    """

    flat_mm: float
    outer_mm: float
    inner_mm: float

    def __post_init__(self) -> None:
        if not min(self.flat_mm, self.outer_mm, self.inner_mm) > 0:
            raise SettingsError("A strip is measured along its flat, outer and inner length; each must be over 0 mm.")
        if self.outer_mm <= self.inner_mm:
            raise SettingsError(
                f"The outer arc ({self.outer_mm:g} mm) must be longer than the inner one ({self.inner_mm:g} mm); "
                "measure the side that is pulled as the outer arc, and bend the strip further."
            )

    @property
    def neutral_depth(self) -> float:
        """The layer that kept its length, as a part of the thickness from the outside face.

        A strip of thickness t bent by the angle A round the outside radius R has arcs A R outside, A (R - t)
        inside and A (R - k t) on the layer at depth k t. The last is as long as the flat strip, so
        k = (outer - flat) / (outer - inner), whatever A, R and t are. (From the definition of the bend
        allowance, A (r + K t) with K counted from the inside; k = 1 - K.)

        Raises SettingsError where the layer would lie outside the foam.
        """
        depth = (self.outer_mm - self.flat_mm) / (self.outer_mm - self.inner_mm)
        if not -ROUNDING <= depth <= 1 + ROUNDING:
            raise SettingsError(
                f"The flat length ({self.flat_mm:g} mm) does not lie between the inner arc ({self.inner_mm:g} mm) and "
                f"the outer one ({self.outer_mm:g} mm): the strip was pulled or squeezed as a whole, or misread. "
                "Measure again without pulling."
            )
        return min(max(depth, 0.0), 1.0)

    def uncertainty(self, reading_mm: float = 0.5) -> float:
        """How far the neutral depth may be off, at worst, if each length is read to within reading_mm."""
        spread = self.outer_mm - self.inner_mm
        depth = self.neutral_depth
        # partial derivatives of k by flat, outer and inner length: -1, 1 - k and k, over the spread
        return reading_mm * (1 + (1 - depth) + depth) / spread

    def bend_angle(self, thickness_mm: float) -> float:
        """rad, by how much the strip was bent: the arcs of the two faces differ by angle times thickness."""
        return (self.outer_mm - self.inner_mm) / thickness_mm


def calibrated(stock: Stock, strips: BentStrip | tuple[BentStrip, ...]) -> Stock:
    """The stock with the neutral depth of its own strips; each counts by the spread of its arcs.

    Raises SettingsError for a strip that cannot be of this foam.
    """
    measured = (strips,) if isinstance(strips, BentStrip) else strips
    if not measured:
        raise SettingsError(f"Stock '{stock.name}': bend and measure at least one strip.")
    spread = sum(strip.outer_mm - strip.inner_mm for strip in measured)
    depth = sum(strip.neutral_depth * (strip.outer_mm - strip.inner_mm) for strip in measured) / spread
    return replace(stock, neutral_depth=depth)
