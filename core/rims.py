"""Rims seen from both pieces: which steps of them are glued together, and where one joint ends and the next begins."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from .pieces import Piece
from .shell import Shell

CORNER_DEG = 35.0
"""A rim that turns more than this ends a joint: the knife is lifted there anyway."""

LOOK_MM = 5.0
"""How far from a vertex its turn is judged, and bends are averaged, so that a jagged mesh makes no confetti."""

BLADE_MM = 2.0
"""A blade cannot follow a bevel that changes within twice this; over longer steps it follows the bend exactly."""

SHORTEST_SIDE_MM = 30.0
"""A side between two corners that is shorter than this is no joint of its own: nobody can handle hundreds of
letters, and the notches of a joint meet round a corner too."""

SHORTEST_RUN_MM = 25.0
"""A change of bend over less than this breaks no joint; the bevel follows it all the same."""

STEADY_DEG = 15.0
"""How far the bend may stray from the joint's mean before the joint is broken."""

SAME_CLASS_DEG = 8.0
"""Two stretches that differ less than this stay one joint even where the rule would change between them."""


@dataclass(frozen=True, eq=False)
class RimSteps:
    """Every step of every rim of every piece, one after another; each array has an entry a step.

    piece, loop, step : which piece, which of its rims, which step of that rim
    edge : shell edge; start, end : patch vertices; flat_start, flat_end : (s, 2) mm
    next, previous : neighbouring steps on the same rim
    twin : the step on the other side of the cut, -1 on an open rim
    """

    piece: np.ndarray
    loop: np.ndarray
    step: np.ndarray
    edge: np.ndarray
    start: np.ndarray
    end: np.ndarray
    flat_start: np.ndarray
    flat_end: np.ndarray
    next: np.ndarray
    previous: np.ndarray
    twin: np.ndarray

    @classmethod
    def of(cls, shell: Shell, pieces: Sequence[Piece], flats: Sequence[np.ndarray]) -> RimSteps:
        """flats : per piece (v, 2) mm."""
        parts: dict[str, list[np.ndarray]] = defaultdict(list)
        count = 0
        for index, (piece, flat) in enumerate(zip(pieces, flats, strict=True)):
            for loop, (ring, edges) in enumerate(zip(piece.patch.loops, piece.patch.loop_edges, strict=True)):
                steps, end = np.arange(len(ring)), np.roll(ring, -1)
                parts["piece"].append(np.full(len(ring), index))
                parts["loop"].append(np.full(len(ring), loop))
                parts["step"].append(steps)
                parts["edge"].append(edges)
                parts["start"].append(ring)
                parts["end"].append(end)
                parts["flat_start"].append(flat[ring])
                parts["flat_end"].append(flat[end])
                parts["next"].append(np.roll(steps, -1) + count)
                parts["previous"].append(np.roll(steps, 1) + count)
                count += len(ring)
        joined = {name: np.concatenate(arrays) for name, arrays in parts.items()}
        return cls(**joined, twin=_twins(shell, joined["edge"]))


def joint_chains(shell: Shell, rims: RimSteps, class_of: Callable[[float], Hashable]) -> list[np.ndarray]:
    """The rim steps of each joint in order, seen from the side that comes first in `rims`.

    class_of : from a bend in degrees to what must stay the same along a joint.
    """
    chains = []
    for chain, closed in _unbroken_chains(rims):
        turn = _turns(rims, chain, closed)
        if closed:
            # start where the rim turns most, so that a closed joint with corners starts in one of them
            first = int(np.argmax(turn)) if turn.max() > np.radians(CORNER_DEG) else 0
            chain, turn = np.roll(chain, -first), np.roll(turn, -first)
        length = shell.edge_length[rims.edge[chain]]
        for start, stop in _between_corners(turn[1:], length):
            part = chain[start:stop]
            bend = np.degrees(shell.edge_bend[rims.edge[part]])
            chains += [part[low:high] for low, high in _steady_parts(bend, length[start:stop], class_of)]
    return sorted(chains, key=lambda part: int(part[0]))


def open_chains(shell: Shell, rims: RimSteps) -> list[np.ndarray]:
    """The rim steps of each open stretch in order; one that goes all round starts at its first step."""
    is_open = shell.edge_is_rim[rims.edge]
    goes_on = is_open & is_open[rims.next]
    heads = np.flatnonzero(is_open & ~goes_on[rims.previous])
    unseen = is_open.copy()
    chains = []
    for head in [*heads, *np.flatnonzero(is_open)]:
        if not unseen[head]:
            continue
        chain = [head]
        unseen[head] = False
        while goes_on[chain[-1]] and unseen[rims.next[chain[-1]]]:
            chain.append(rims.next[chain[-1]])
            unseen[chain[-1]] = False
        chains.append(np.array(chain))
    return sorted(chains, key=lambda part: int(part[0]))


def _twins(shell: Shell, edge: np.ndarray) -> np.ndarray:
    """(s,) int, the other step on the same shell edge; -1 where the edge has one side or is no clean cut."""
    twin = np.full(len(edge), -1)
    order = np.argsort(edge, kind="stable")
    count = np.bincount(edge, minlength=shell.edge_count)
    paired = order[(count == 2)[edge[order]] & shell.edge_is_consistent[edge[order]]]
    twin[paired[0::2]], twin[paired[1::2]] = paired[1::2], paired[0::2]
    return twin


def _unbroken_chains(rims: RimSteps) -> list[tuple[np.ndarray, bool]]:
    """Longest chains of steps whose twins follow each other too, each pair of sides once; and whether closed.

    Where three pieces meet one of the two sides turns away, which ends the chain by itself; at the tip of a
    dart the rim turns back upon its own twin.
    """
    joined = (rims.twin >= 0) & (rims.twin[rims.next] >= 0)
    joined &= rims.twin[rims.next] == rims.previous[rims.twin]
    joined &= rims.edge != rims.edge[rims.next]
    has_before = np.zeros(len(joined), bool)
    has_before[rims.next[joined]] = True
    unseen = rims.twin >= 0
    heads = np.flatnonzero(unseen & ~has_before)
    chains = []
    for head in [*heads, *np.flatnonzero(unseen)]:  # first the open ones; what they leave unseen is closed
        if not unseen[head]:
            continue
        chain = [head]
        while joined[chain[-1]] and rims.next[chain[-1]] != head:
            chain.append(rims.next[chain[-1]])
        steps = np.array(chain)
        closed = bool(joined[chain[-1]])
        twins = rims.twin[steps]
        if twins.min() < steps.min():
            steps = twins[::-1]
        unseen[steps] = unseen[rims.twin[steps]] = False
        chains.append((steps, closed))
    return chains


def _turns(rims: RimSteps, chain: np.ndarray, closed: bool) -> np.ndarray:
    """(k,) rad, how sharply the run turns on either flat where each step starts; 0 at the start of an open run.

    A turn counts as far as it shows both between the two edges and from `LOOK_MM` away: neither a jag in a
    straight rim nor a tight smooth curve is a corner.
    """
    twins = rims.twin[chain]
    one = np.vstack([rims.flat_start[chain], rims.flat_end[chain[-1:]]])
    other = np.vstack([rims.flat_end[twins], rims.flat_start[twins[-1:]]])
    turns = np.zeros(len(chain))
    for points in (one, other):
        if closed:
            around = np.vstack([points[:-1]] * 3 + [points[:1]])
            turn = _turns_of(around)[len(chain) - 1 : 2 * len(chain) - 1]
        else:
            turn = np.concatenate([[0.0], _turns_of(points)])
        turns = np.maximum(turns, turn)
    return turns


def _turns_of(points: np.ndarray) -> np.ndarray:
    """(n - 2,) rad at the inner points of the polyline (n, 2)."""
    arc = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))])
    here = points[1:-1]
    near = _angle(here - points[:-2], points[2:] - here)

    def at(place: np.ndarray) -> np.ndarray:
        return np.stack([np.interp(place, arc, points[:, axis]) for axis in (0, 1)], axis=1)

    far = _angle(here - at(arc[1:-1] - LOOK_MM), at(arc[1:-1] + LOOK_MM) - here)
    return np.minimum(near, far)


def _angle(u: np.ndarray, v: np.ndarray) -> np.ndarray:
    cross = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]
    return np.abs(np.arctan2(cross, np.einsum("ij,ij->i", u, v)))


def _between_corners(turn: np.ndarray, length: np.ndarray) -> list[tuple[int, int]]:
    """Ranges of steps between corners; turn (k - 1,) rad between the steps, length (k,) mm.

    The mildest corner of a part that is too short is forgotten until no part is.
    """
    cuts = [0, *(np.flatnonzero(turn > np.radians(CORNER_DEG)) + 1).tolist(), len(length)]
    while len(cuts) > 2:
        part = np.add.reduceat(length, cuts[:-1])
        short = int(np.argmin(part))
        if part[short] >= SHORTEST_SIDE_MM:
            break
        ends = [cut for cut in cuts[short : short + 2] if 0 < cut < len(length)]
        cuts.remove(min(ends, key=lambda cut: turn[cut - 1]))
    return list(pairwise(cuts))


def _steady_parts(bend: np.ndarray, length: np.ndarray, class_of: Callable[[float], Hashable]) -> list[tuple[int, int]]:
    """Ranges of steps in which the bend (k,) deg is steady, found by halving at the best place again and again."""
    smooth = smoothed(bend, length, LOOK_MM)

    def halve(start: int, stop: int) -> list[tuple[int, int]]:
        weight, value = length[start:stop], smooth[start:stop]
        before = np.cumsum(weight)[:-1]
        after = weight.sum() - before
        cuts = np.flatnonzero((before >= SHORTEST_RUN_MM) & (after >= SHORTEST_RUN_MM))
        if not len(cuts):
            return [(start, stop)]
        total = np.cumsum(weight * value)
        mean_before, mean_after = total[:-1][cuts] / before[cuts], (total[-1] - total[:-1][cuts]) / after[cuts]
        # the cut that explains most of the spread: the between-group sum of squares
        gain = before[cuts] * after[cuts] * (mean_before - mean_after) ** 2
        best = int(np.argmax(gain))
        one, other = float(mean_before[best]), float(mean_after[best])
        strays = weight[np.abs(value - total[-1] / weight.sum()) > STEADY_DEG].sum() >= SHORTEST_RUN_MM
        changes = class_of(one) != class_of(other) and abs(one - other) > SAME_CLASS_DEG
        if not strays and not changes:
            return [(start, stop)]
        middle = start + int(cuts[best]) + 1
        return halve(start, middle) + halve(middle, stop)

    return halve(0, len(bend))


def smoothed(bend: np.ndarray, length: np.ndarray, reach_mm: float = BLADE_MM) -> np.ndarray:
    """(k,) the mean bend over each step, or over up to reach_mm to both sides where the step is shorter.

    The stretch reaches equally far to both sides, also near the ends of the run, so that a bend that grows
    evenly is left as it is.
    """
    arc = np.concatenate([[0.0], np.cumsum(length)])
    total = np.concatenate([[0.0], np.cumsum(bend * length)])
    middle = (arc[1:] + arc[:-1]) / 2
    half = np.maximum(np.minimum(reach_mm, np.minimum(middle, arc[-1] - middle)), length / 2)
    low, high = middle - half, middle + half
    spread = np.interp(high, arc, total) - np.interp(low, arc, total)
    return np.where(high > low, spread / np.where(high > low, high - low, 1), bend)
