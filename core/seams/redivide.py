"""Look for better plans near a good one: divide a few neighbouring pieces anew, at prices that are a little off."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from .draft import Draft
from .improve import divide, take_out

MOST_TRIES = 20

MOST_JOINED = 3
"""Pieces that are divided anew together."""

UNSURE = 0.35
"""Spread of the logarithm of the prices' error: enough to see other cuts, not enough to take silly ones."""

WAVES, LONGEST_WAVE = 6, 0.8
"""Of the error, a sum of waves through space; the longest in sizes of the shell."""


def redivide(draft: Draft, turn: int, patience: int) -> Iterator[float]:
    """Keep what lowers the draft's demerit; yields the part of the work that is done.

    turn : tries differ from turn to turn; patience : triangles laid flat for it at most, per face of the shell.
    What is tried depends on places in space alone, so the same shell gets the same plan however it is numbered.
    """
    random = np.random.default_rng(turn)
    start, most = draft.work, patience * draft.shell.face_count
    for number in range(MOST_TRIES):
        done = max((draft.work - start) / most, number / MOST_TRIES)
        if done >= 1:
            return
        yield done
        region = _region(draft, random)
        before, demerit = draft.seam, draft.demerit(region)
        true_price, draft.price = draft.price, _unsure_price(draft, random)
        bare = draft.seam.copy()
        bare[draft.inner_edges(region)] = False
        draft.seam = bare
        for _ in divide(draft, region):
            yield done
        draft.price = true_price
        for _ in take_out(draft, region):
            yield done
        if draft.demerit(region) >= demerit:
            draft.seam = before


def _region(draft: Draft, random: np.random.Generator) -> np.ndarray:
    """Faces of a few pieces around a random place, with their mirror images."""
    shell = draft.shell
    place = shell.vertices.min(axis=0) + random.random(3) * shell.size
    count = int(random.integers(1, MOST_JOINED + 1))
    away = np.linalg.norm(shell.face_centre - place, axis=1)
    nearest = np.full(int(draft.label.max()) + 1, np.inf)
    np.minimum.at(nearest, draft.label, away)
    chosen = np.argsort(nearest, kind="stable")[:count]
    faces = draft.with_twin_faces(np.flatnonzero(np.isin(draft.label, chosen)))
    return np.flatnonzero(np.isin(draft.label, draft.label[faces]))


def _unsure_price(draft: Draft, random: np.random.Generator) -> np.ndarray:
    """(k,) the draft's prices, each off by a part that changes smoothly from place to place."""
    shell = draft.shell
    size = float(shell.size.max())
    direction = random.normal(size=(WAVES, 3))
    direction /= np.linalg.norm(direction, axis=1)[:, None]
    turns = (1 + 3 * random.random(WAVES)) / (LONGEST_WAVE * size)
    middle = shell.vertices[shell.edges].mean(axis=1) - shell.vertices.min(axis=0)
    phase = 2 * np.pi * (middle @ direction.T * turns + random.random(WAVES))
    price = draft.price * np.exp(UNSURE * np.sqrt(2 / WAVES) * np.cos(phase).sum(axis=1))
    return price if draft.twins is None else (price + price[draft.twins.edge]) / 2
