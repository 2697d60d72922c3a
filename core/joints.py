"""Joints: where two pieces meet, the bevel of each edge, and the outlines on both faces of the foam."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely
from shapely.geometry import Polygon

from .outline import cut_away, offset_polygon
from .pieces import Piece
from .rims import RimSteps, joint_chains, open_chains, smoothed
from .run_letters import name_runs
from .settings import JOINT_RULES, RIM_STYLES, Settings
from .shell import Shell

if TYPE_CHECKING:
    from .pattern import PatternPiece

STEEPEST_BEVEL_DEG = 80.0
"""A blade lies on the foam beyond this; a steeper bevel is cut at this angle and flagged as heavy."""


@dataclass(frozen=True, eq=False)
class JointSide:
    """One piece's share of a joint.

    loop : which rim of the piece's patch; steps : (k,) int, rim steps of that loop in the order of the run
        (step i goes from loop vertex i to the next; walked backwards on side b)
    path : (k + 1,) int, patch vertices in the order of the run
    bevel_deg : tilt of the cut from square, length-weighted mean; + the inside outline is the smaller one
        (ridge), - the larger
    bevels_deg : (k,) the tilt along each step: it follows the bend
    length_mm : along the outside outline on the flat
    """

    piece: str
    loop: int
    steps: np.ndarray
    path: np.ndarray
    bevel_deg: float
    bevels_deg: np.ndarray
    length_mm: float


@dataclass(frozen=True, eq=False)
class JointRun:
    """Seam edges between the same two pieces (or one piece and itself: a dart) with a steady bend.

    letter : its name, the same on both pieces
    edges : (k,) int, shell edges along the run
    bend_deg : length-weighted mean, + ridge, - valley; bend_least_deg and bend_most_deg bound it
    rule : "butt", "one-sided" or "mitre"
    mismatch_mm : for a butt joint, how far the edges overlap (+, squeezed) or gape (-) at the face that is not
        modelled
    locked : the maker chose the rule for this run
    """

    letter: str
    a: JointSide
    b: JointSide
    edges: np.ndarray
    bend_deg: float
    bend_least_deg: float
    bend_most_deg: float
    rule: str
    mismatch_mm: float
    locked: bool = False

    @property
    def sides(self) -> tuple[JointSide, ...]:
        return self.a, self.b


@dataclass(frozen=True, eq=False)
class RimRun:
    """An open stretch of a piece's rim, from joint to joint or all the way round.

    letter : a run's own, never that of a joint; edges : (k,) int, shell edges along the run
    style : "square", "rounded" or "bevelled"; round_mm : radius of the rounding of both corners, else 0
    locked : the maker chose the style for this run
    """

    letter: str
    side: JointSide
    edges: np.ndarray
    style: str
    round_mm: float
    locked: bool = False

    @property
    def sides(self) -> tuple[JointSide, ...]:
        return (self.side,)


Run = JointRun | RimRun


def joint_runs(
    shell: Shell,
    pieces: Sequence[Piece],
    flats: Sequence[np.ndarray],
    settings: Settings,
    edge_letters: Sequence[str] | None = None,
) -> tuple[JointRun, ...]:
    """All joints, lettered in the order of the pieces; side a is the piece that comes first.

    flats : per piece (v, 2) mm, its patch vertices on the flat; edge_letters : per shell edge the letter of its
    run before an edit, "" for none. A run keeps its letter, and what the maker chose for it: see `name_runs`.
    """
    rims = RimSteps.of(shell, pieces, flats)
    area = [float(shell.face_area[piece.faces].sum()) for piece in pieces]
    chains = joint_chains(shell, rims, lambda bend_deg: joint_class(bend_deg, settings))
    pairs = [(pieces[rims.piece[chain[0]]], pieces[rims.piece[rims.twin[chain[0]]]]) for chain in chains]
    named = name_runs(
        [(rims.edge[chain], (one.name, other.name)) for chain, (one, other) in zip(chains, pairs, strict=True)],
        shell.edge_length,
        edge_letters,
        settings.runs,
    )
    runs: list[JointRun] = []
    for chain, (one, other), name in zip(chains, pairs, named, strict=True):
        edges, twins = rims.edge[chain], rims.twin[chain]
        weight = shell.edge_length[edges]
        bends = np.degrees(shell.edge_bend[edges])
        locked = name.choice is not None and name.choice.rule in JOINT_RULES
        rule = name.choice.rule if name.choice and locked else joint_rule(_mean(np.abs(bends), weight), settings)
        areas = area[rims.piece[chain[0]]], area[rims.piece[twins[0]]]
        a, b = share_bend(smoothed(bends, weight), rule, _bevels_first(one.name, other.name, *areas))
        bend = _mean(bends, weight)
        thinner = min(one.stock.thickness_mm, other.stock.thickness_mm)
        # edges that share the line on the inside face gape outside it on a ridge
        way = -1 if settings.model_is_inside else 1
        runs.append(
            JointRun(
                letter=name.letter,
                a=_side(rims, chain, one, a, backwards=False),
                b=_side(rims, twins, other, b, backwards=True),
                edges=edges,
                bend_deg=bend,
                bend_least_deg=float(bends.min()),
                bend_most_deg=float(bends.max()),
                rule=rule,
                mismatch_mm=way * 2 * thinner * float(bevel_slope(np.array(bend / 2))) if rule == "butt" else 0.0,
                locked=locked,
            )
        )
    return tuple(runs)


def rim_runs(
    shell: Shell,
    pieces: Sequence[Piece],
    flats: Sequence[np.ndarray],
    settings: Settings,
    joints: Sequence[JointRun] = (),
    edge_letters: Sequence[str] | None = None,
) -> tuple[RimRun, ...]:
    """All open rims, with letters that follow those of the joints; otherwise as `joint_runs`."""
    rims = RimSteps.of(shell, pieces, flats)
    chains = open_chains(shell, rims)
    owners = [pieces[rims.piece[chain[0]]] for chain in chains]
    named = name_runs(
        [(rims.edge[chain], (piece.name,)) for chain, piece in zip(chains, owners, strict=True)],
        shell.edge_length,
        edge_letters,
        settings.runs,
        [joint.letter for joint in joints],
    )
    runs = []
    for chain, piece, name in zip(chains, owners, named, strict=True):
        locked = name.choice is not None and name.choice.rule in RIM_STYLES
        style = name.choice.rule if name.choice and locked else settings.rim_style
        bevels = np.full(len(chain), settings.rim_bevel_deg if style == "bevelled" else 0.0)
        rounding = min(settings.rim_round_mm, piece.stock.thickness_mm / 2) if style == "rounded" else 0.0
        side = _side(rims, chain, piece, bevels, backwards=False)
        runs.append(RimRun(name.letter, side, rims.edge[chain], style, rounding, locked))
    return tuple(runs)


def joint_rule(bend_deg: float, settings: Settings) -> str:
    """How a joint of this bend is cut: "butt", "one-sided" or "mitre"."""
    if settings.joint_rule != "auto":
        return settings.joint_rule
    if abs(bend_deg) <= settings.butt_limit_deg:
        return "butt"
    return "one-sided" if abs(bend_deg) <= settings.one_sided_limit_deg else "mitre"


def joint_class(bend_deg: float, settings: Settings) -> tuple[str, int]:
    """What must not change within one run: the rule, and ridge or valley where the rule bevels."""
    rule = joint_rule(bend_deg, settings)
    return rule, 0 if rule == "butt" else int(np.sign(bend_deg))


def share_bend(bend_deg: np.ndarray, rule: str, a_takes_it: bool) -> tuple[np.ndarray, np.ndarray]:
    """Bevels of sides a and b for bends (k,), all in degrees: none, all on one side, or half each."""
    bend_deg = np.asarray(bend_deg, float)
    none = np.zeros_like(bend_deg)
    if rule == "mitre":
        half = np.clip(bend_deg / 2, -STEEPEST_BEVEL_DEG, STEEPEST_BEVEL_DEG)
        return half, half
    if rule == "one-sided":
        whole = np.clip(bend_deg, -STEEPEST_BEVEL_DEG, STEEPEST_BEVEL_DEG)
        return (whole, none) if a_takes_it else (none, whole)
    return none, none


def both_outlines(
    piece: Piece | PatternPiece,
    flat: np.ndarray,
    runs: Sequence[Run],
    model_is_inside: bool = False,
    cut_off: Sequence[shapely.Geometry] = (),
) -> tuple[tuple[np.ndarray, ...], tuple[np.ndarray, ...]]:
    """The outlines on the outside and on the inside face, each as closed rings (r, 2) mm.

    flat : (v, 2) mm, the rims of the modelled face. The outer ring comes first and runs counter-clockwise, holes
    run clockwise. The inside outline lies t tan(bevel) within the outside one along each edge (outside it for a
    valley). Where bevels eat the other face apart its largest part is kept; where they eat all of it no ring is
    left of an inside face, and an outside face stays as modelled: see `far_parts`. cut_off : what corners lose
    besides (`corner_trims`).
    """
    modelled = tuple(_closed(flat[piece.patch.loops[loop]]) for loop in _outer_first(piece, flat))
    if not cut_off and not any(bevels.any() for bevels in bevels_of_steps(piece, runs)):
        return modelled, modelled
    parts = far_parts(piece, flat, runs, model_is_inside, cut_off)
    far = tuple(np.array(ring.coords) for part in parts[:1] for ring in (part.exterior, *part.interiors))
    return (far or modelled, modelled) if model_is_inside else (modelled, far)


def far_parts(
    piece: Piece | PatternPiece,
    flat: np.ndarray,
    runs: Sequence[Run],
    model_is_inside: bool = False,
    cut_off: Sequence[shapely.Geometry] = (),
) -> list[Polygon]:
    """What the bevels, and the trims of corners, leave of the face that is not modelled, largest first: one polygon
    unless the piece is too narrow."""
    thickness = -piece.stock.thickness_mm if model_is_inside else piece.stock.thickness_mm
    inward = [thickness * bevel_slope(bevels) for bevels in bevels_of_steps(piece, runs)]
    order = _outer_first(piece, flat)
    parts = offset_polygon([flat[piece.patch.loops[loop]] for loop in order], [inward[loop] for loop in order])
    for shape in cut_off:
        parts = cut_away(parts, shape)
    return parts


# --- helpers -----------------------------------------------------------------------------------


def _mean(values: np.ndarray, weight: np.ndarray) -> float:
    return float(values @ weight / weight.sum()) if weight.sum() > 0 else float(values.mean())


def _side(rims: RimSteps, chain: np.ndarray, piece: Piece, bevels: np.ndarray, *, backwards: bool) -> JointSide:
    """The share of the piece whose rim steps are `chain`, in the order of the run."""
    first, last = (rims.end, rims.start) if backwards else (rims.start, rims.end)
    lengths = np.linalg.norm(rims.flat_end[chain] - rims.flat_start[chain], axis=1)
    return JointSide(
        piece=piece.name,
        loop=int(rims.loop[chain[0]]),
        steps=rims.step[chain],
        path=np.append(first[chain], last[chain[-1]]),
        bevel_deg=_mean(bevels, lengths),
        bevels_deg=bevels,
        length_mm=float(lengths.sum()),
    )


def _bevels_first(a: str, b: str, area_a: float, area_b: float) -> bool:
    """Whether piece a takes a one-sided bevel: the larger piece does, because it is easier to hold against the
    knife; of two alike (mirror mates) the one whose name comes first."""
    if abs(area_a - area_b) > 1e-3 * max(area_a, area_b):
        return area_a > area_b
    return a <= b


def bevel_slope(bevel_deg: np.ndarray) -> np.ndarray:
    return np.tan(np.radians(np.clip(bevel_deg, -STEEPEST_BEVEL_DEG, STEEPEST_BEVEL_DEG)))


def bevels_of_steps(piece: Piece | PatternPiece, runs: Sequence[Run]) -> list[np.ndarray]:
    """Per rim of the piece (r,) degrees, 0 where no run is."""
    bevels = [np.zeros(len(loop)) for loop in piece.patch.loops]
    for run in runs:
        for side in run.sides:
            if side.piece == piece.name:
                bevels[side.loop][side.steps] = side.bevels_deg
    return bevels


def _outer_first(piece: Piece | PatternPiece, flat: np.ndarray) -> list[int]:
    """Rims by the area they enclose, so that the outer one leads."""
    areas = [abs(Polygon(flat[loop]).area) for loop in piece.patch.loops]
    return sorted(range(len(areas)), key=lambda loop: -areas[loop])


def _closed(ring: np.ndarray) -> np.ndarray:
    return np.vstack([ring, ring[:1]])
