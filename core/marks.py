"""What is written and drawn on a piece besides its outlines: notches, labels, call-outs in words."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Notch:
    """A mark on the outside outline that meets its twin on the other piece.

    point : (x, y) mm on the flat; inward : unit vector into the piece
    label : the joint's letter and the number along the run, as "C2"
    """

    joint: str
    label: str
    point: tuple[float, float]
    inward: tuple[float, float]


@dataclass(frozen=True)
class Note:
    """Words at a place on the flat.

    role : "name", "build" (mate, group, stock, outside up), "joint" or "fold"
    anchor : (x, y) mm, middle of the text; angle : rad, reading direction; height_mm : of capitals
    """

    role: str
    lines: tuple[str, ...]
    anchor: tuple[float, float]
    angle: float
    height_mm: float
