"""What a cutting plan comes to when some of its cuts are left out."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass

import numpy as np

from .errors import MeshError
from .opening import missing_cut
from .patch import cut_patch
from .pieces import split
from .progress import Progress, Steps
from .seams.outlook import really_laid
from .seams.plan import PieceOutlook, Plan
from .shell import Shell


@dataclass(frozen=True, eq=False)
class Totals:
    """pieces : one for each, None where it has not been laid flat yet."""

    length_mm: float
    pieces: tuple[PieceOutlook | None, ...]

    @property
    def is_known(self) -> bool:
        return all(piece is not None for piece in self.pieces)

    @property
    def laid(self) -> tuple[PieceOutlook, ...]:
        return tuple(piece for piece in self.pieces if piece is not None)

    @property
    def strain(self) -> float:
        """Part of 1, of the worst piece that is known."""
        return max((piece.strain for piece in self.laid), default=0.0)


class Outlooks:
    """What becomes of pieces, remembered by content: after a changed cut only the pieces beside it are laid flat."""

    def __init__(self) -> None:
        self._known: dict[bytes, PieceOutlook] = {}

    def keep(self, plan: Plan) -> None:
        """Remember the pieces of a plan."""
        outlook = {np.sort(piece.faces).tobytes(): piece for piece in plan.pieces}
        self._known |= {key: outlook[faces.tobytes()] for key, faces in _pieces(plan.shell)}

    def totals(self, shell: Shell) -> Totals:
        """For the shell with its seams as they are, at once."""
        return Totals(_length_mm(shell), tuple(self._known.get(key) for key, _ in _pieces(shell)))

    def work_out(self, shell: Shell) -> Steps[Totals]:
        """The same with every piece laid flat. Yields Progress."""
        pieces = _pieces(shell)
        for number, (key, faces) in enumerate(pieces):
            if key not in self._known:
                yield Progress("Laying pieces flat", number / len(pieces))
                self._known[key] = _outlook(shell, faces)
        return self.totals(shell)


def _length_mm(shell: Shell) -> float:
    """Seams on an open rim part nothing."""
    return float(shell.edge_length[shell.seam & shell.edge_is_consistent].sum())


def _pieces(shell: Shell) -> list[tuple[bytes, np.ndarray]]:
    """Per piece what it is known by, and its faces (p,) int sorted."""
    piece_of_face = split(shell)
    members = np.split(np.argsort(piece_of_face, kind="stable"), np.cumsum(np.bincount(piece_of_face))[:-1])
    shape = hashlib.sha256()
    for part in (shell.vertices, shell.corner_vertex, shell.face_start):
        shape.update(np.ascontiguousarray(part).tobytes())
    cuts = np.flatnonzero(shell.seam & shell.edge_is_consistent)
    left, right = piece_of_face[shell.edge_faces[cuts]].T
    slits = [cuts[(left == number) & (right == number)] for number in range(len(members))]
    return [
        (shape.digest() + faces.tobytes() + b"|" + slit.tobytes(), faces)
        for faces, slit in zip(members, slits, strict=True)
    ]


def _outlook(shell: Shell, faces: np.ndarray) -> PieceOutlook:
    """One piece laid flat as the pattern will lay it; strain is infinite where it cannot be."""
    try:
        patch = cut_patch(shell, faces)
    except MeshError:
        return PieceOutlook(faces, np.inf, (0.0, 0.0), False)
    if missing_cut(shell, patch) is not None:
        return PieceOutlook(faces, np.inf, (0.0, 0.0), False)
    laid = really_laid(shell.vertices[patch.shell_vertex], patch)
    return PieceOutlook(faces, laid.strain, laid.size_mm, laid.doubled > 0)
