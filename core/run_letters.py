"""What each run of edges is called, and how a letter and the maker's choice survive an edit."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from string import ascii_uppercase
from typing import TYPE_CHECKING

import numpy as np

from .settings import RunChoice

if TYPE_CHECKING:
    from .joints import Run


@dataclass(frozen=True, eq=False)
class NamedRun:
    """A run's letter, and what the maker chose for it, if anything."""

    letter: str
    choice: RunChoice | None


def letter_of(number: int) -> str:
    """0 is A, 25 is Z, 26 is AA."""
    letters = ""
    number += 1
    while number:
        number, rest = divmod(number - 1, 26)
        letters = ascii_uppercase[rest] + letters
    return letters


def name_runs(
    runs: Sequence[tuple[np.ndarray, Collection[str]]],
    edge_length: np.ndarray,
    edge_letters: Sequence[str] | None,
    choices: Mapping[str, RunChoice],
    taken: Collection[str] = (),
) -> list[NamedRun]:
    """Letters and choices for runs, each given as its shell edges (k,) and the names of its pieces.

    edge_length : (e,) mm; edge_letters : per shell edge the letter of the run it was in before an edit, "" for
    none; choices : by letter; taken : letters that others have.

    A run keeps the letter that most of its length had; of several claims on a letter the longest wins, and the
    others get a new letter but keep the choice, because a lock holds on every part of what was locked. A run
    whose edges an edit has made anew takes a choice by the names of its pieces, the longest such run first.
    What is left is lettered in order.
    """
    length = [float(edge_length[edges].sum()) for edges, _ in runs]
    claim = [_remembered(edges, edge_length, edge_letters) for edges, _ in runs]
    origin = [letter for letter, _ in claim]
    letters = [""] * len(runs)
    for run in sorted(range(len(runs)), key=lambda run: -claim[run][1]):
        if origin[run] and origin[run] not in letters and origin[run] not in taken:
            letters[run] = origin[run]
    for letter, choice in choices.items():
        if choice.pieces and letter not in (*letters, *taken):
            alike = [run for run, (_, names) in enumerate(runs) if not origin[run] and set(names) == set(choice.pieces)]
            if alike:
                longest = max(alike, key=lambda run: length[run])
                letters[longest] = origin[longest] = letter
    reserved = {letter for letter, choice in choices.items() if choice.pieces} | set(edge_letters or ()) | set(taken)
    number = 0
    for run, letter in enumerate(letters):
        if letter:
            continue
        while letter_of(number) in reserved or letter_of(number) in letters:
            number += 1
        letters[run] = letter_of(number)
        origin[run] = origin[run] or letters[run]
    return [NamedRun(letter, choices.get(first)) for letter, first in zip(letters, origin, strict=True)]


def letters_of_edges(runs: Iterable[Run], edge_count: int) -> list[str]:
    """Per shell edge the letter of its run, "" for none: what `name_runs` remembers."""
    letters = [""] * edge_count
    for run in runs:
        for edge in run.edges.tolist():
            letters[edge] = run.letter
    return letters


def _remembered(edges: np.ndarray, edge_length: np.ndarray, edge_letters: Sequence[str] | None) -> tuple[str, float]:
    """The letter that over half of a run's length had, and that length in mm; "" and 0 where there is none."""
    if edge_letters is None:
        return "", 0.0
    share: dict[str, float] = {}
    for edge in edges.tolist():
        share[edge_letters[edge]] = share.get(edge_letters[edge], 0.0) + float(edge_length[edge])
    letter = max(share, key=lambda word: share[word])
    enough = bool(letter) and share[letter] > sum(share.values()) / 2
    return (letter, share[letter]) if enough else ("", 0.0)
