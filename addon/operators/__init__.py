"""What the maker can press: each operator reads the scene, calls core once, and reports."""

from . import check, cuts, export, flatten, labels, pieces, stock, suggest

CLASSES = (
    *check.CLASSES,
    *cuts.CLASSES,
    *suggest.CLASSES,
    *stock.CLASSES,
    *pieces.CLASSES,
    *flatten.CLASSES,
    *export.CLASSES,
    *labels.CLASSES,
)
