"""What the maker can press: each operator reads the scene, calls core once, and reports."""

from . import check, cuts, export, flatten, labels, pieces

CLASSES = (*check.CLASSES, *cuts.CLASSES, *pieces.CLASSES, *flatten.CLASSES, *export.CLASSES, *labels.CLASSES)
