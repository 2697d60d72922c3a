"""The foam as the maker sets it, as Blender properties."""

import contextlib

from bpy.props import FloatProperty, StringProperty

from ..core.errors import SettingsError
from ..core.foam import Stock, eva
from .typed import sets, typed


def _thickness_changed(group, context) -> None:
    """A groove leaves the usual skin of the new thickness, until the maker says otherwise."""
    sets("thickness_mm")(group, context)
    with contextlib.suppress(SettingsError):  # said in full when the job is started
        group.skin_mm = eva(group.thickness_mm).skin_mm


class StockProperties:
    """Part of the settings: the foam of every piece that has none of its own."""

    foam_name: StringProperty(
        name="Foam", default="EVA", description="What the foam is called on the templates", update=sets("foam_name")
    )
    thickness_mm: FloatProperty(
        name="Thickness (mm)",
        description="Thickness of the foam sheet, in millimetres",
        default=5.0,
        min=0.0,
        soft_min=1.0,
        max=100.0,
        soft_max=15.0,
        precision=1,
        update=_thickness_changed,
    )
    sheet_width_mm: FloatProperty(
        name="Sheet width (mm)",
        description="Width of one foam sheet",
        default=1000.0,
        min=0.0,
        precision=0,
        update=sets("sheet_width_mm"),
    )
    sheet_height_mm: FloatProperty(
        name="Sheet height (mm)",
        description="Height of one foam sheet",
        default=600.0,
        min=0.0,
        precision=0,
        update=sets("sheet_height_mm"),
    )
    neutral_depth: FloatProperty(
        name="Neutral depth",
        description="Where in the foam a bend keeps its length: 0 at the outside face, 1 at the inside face. "
        "Measure it on a bent strip; 0.5 is the middle",
        default=0.5,
        min=0.0,
        max=1.0,
        precision=2,
        update=sets("neutral_depth"),
    )
    skin_mm: FloatProperty(
        name="Groove skin (mm)",
        description="What a groove leaves uncut under its point",
        default=1.0,
        min=0.0,
        soft_max=3.0,
        precision=1,
        update=sets("skin_mm"),
    )
    cold_limit_percent: FloatProperty(
        name="Cold strain",
        description="How far the foam may be pulled or squeezed without heat",
        default=5.0,
        min=0.1,
        max=100.0,
        precision=1,
        subtype="PERCENTAGE",
        update=sets("cold_limit_percent"),
    )
    hot_limit_percent: FloatProperty(
        name="Hot strain",
        description="How far the foam may be pulled or squeezed when it is heated; full colour on the heatmap",
        default=10.0,
        min=0.1,
        max=100.0,
        precision=1,
        subtype="PERCENTAGE",
        update=sets("hot_limit_percent"),
    )
    tightest_bend: FloatProperty(
        name="Tightest bend",
        description="Least inside radius of a smooth bend, in thicknesses of the foam; tighter ones are reported",
        default=3.0,
        min=0.0,
        soft_max=10.0,
        precision=1,
        update=sets("tightest_bend"),
    )
    kerf_mm: FloatProperty(
        name="Relief kerf (mm)",
        description="Width of a relief kerf as your tool cuts it",
        default=2.0,
        min=0.1,
        soft_max=5.0,
        precision=1,
        update=sets("kerf_mm"),
    )
    blade_mm: FloatProperty(
        name="Blade takes (mm)",
        description="What the blade takes away along an outline; 0 for a knife. Half of it is added to the traced line",
        default=0.0,
        min=0.0,
        soft_max=3.0,
        precision=2,
        update=sets("blade_mm"),
    )

    def to_stock(self) -> Stock:
        """The foam as it is set here. Raises SettingsError."""
        return Stock(
            f"{self.foam_name} {self.thickness_mm:g} mm",
            typed(self.thickness_mm),
            typed(self.sheet_width_mm),
            typed(self.sheet_height_mm),
            typed(self.neutral_depth),
            typed(self.skin_mm),
            typed(self.cold_limit_percent) / 100,
            typed(self.hot_limit_percent) / 100,
            typed(self.tightest_bend),
            typed(self.kerf_mm),
            typed(self.blade_mm),
        )

    def take_stock(self, stock: Stock) -> None:
        """Set the foam to a stock of the maker's list."""
        self.foam_name = stock.name.removesuffix(f" {stock.thickness_mm:g} mm")
        self.thickness_mm = stock.thickness_mm  # first: it brings a skin of its own
        self.sheet_width_mm, self.sheet_height_mm = stock.sheet_width_mm, stock.sheet_height_mm
        self.neutral_depth, self.skin_mm = stock.neutral_depth, stock.skin_mm
        self.cold_limit_percent, self.hot_limit_percent = 100 * stock.cold_limit, 100 * stock.hot_limit
        self.tightest_bend, self.kerf_mm, self.blade_mm = stock.tightest_bend, stock.kerf_mm, stock.blade_mm
