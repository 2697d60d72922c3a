"""Cutting a shell into pieces along its seams, and what each piece is called."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from .errors import MissingCutError
from .foam import Stock
from .opening import missing_cut
from .patch import Patch, cut_patch
from .progress import Progress, Steps, finish, share
from .settings import Settings
from .shell import Shell
from .symmetry import MirrorMap, finding_mirror

STAGE = "Cutting pieces"
MIRRORED = 0.5
"""Part of the work that is done when left and right are known, as measured on helmets of 10 to 100 thousand faces."""

LEVEL = 1e-4
"""Part of the shell's largest dimension within which two heights count as one when pieces are numbered."""


@dataclass(frozen=True, eq=False)
class Piece:
    """One connected part of the shell, cut from one sheet of foam.

    name : unique in the pattern; survives an edit that leaves most of its faces
    mate : the piece that mirrors it left to right, or None
    group : what it is glued up with, a word of the maker's
    faces : (p,) int, shell faces
    """

    name: str
    mate: str | None
    group: str
    stock: Stock
    faces: np.ndarray
    patch: Patch


def split(shell: Shell) -> np.ndarray:
    """(f,) int, the piece of each face: faces stay together across every edge that is not cut.

    Numbered from top to bottom, then left to right and front to back as one faces the wearer (x growing,
    y growing), by the centres of the pieces.
    """
    return _in_reading_order(shell, _joined_faces(shell, shell.edge_is_consistent & ~shell.seam))


def cut_pieces(
    shell: Shell, settings: Settings, face_names: Sequence[str] | None = None
) -> tuple[tuple[Piece, ...], np.ndarray]:
    """As `cutting_pieces`, at once."""
    return finish(cutting_pieces(shell, settings, face_names))


def cutting_pieces(
    shell: Shell, settings: Settings, face_names: Sequence[str] | None = None
) -> Steps[tuple[tuple[Piece, ...], np.ndarray]]:
    """The pieces of a shell, and (f,) int the index of the piece of each face. Yields Progress.

    face_names : per face the name its piece had before an edit, "" for none. A piece keeps the name that
    most of its area had; of several claims on a name the largest area wins. Others become P1, P2, ... in
    the order of `split`; new mirror mates share a number, "P3 L" on the wearer's left (+x, because a model
    faces -y in Blender) and "P3 R" on the right.

    Two pieces are mates when the faces and cuts of each mirror those of the other; their patches have
    mirrored triangles. Without a choice of the maker a piece's group is "main" on the largest connected
    part of the shell, "part 2", "part 3", ... on the others.

    Raises MissingCutError for a piece that is closed, a tube or round a handle.
    """
    yield Progress(STAGE, 0.0)
    piece_of_face = split(shell)
    count = int(piece_of_face.max()) + 1
    by_piece = np.argsort(piece_of_face, kind="stable")
    members = np.split(by_piece, np.cumsum(np.bincount(piece_of_face))[:-1])
    mirror = yield from share(finding_mirror(shell), 0, MIRRORED)
    mate = _mates(shell, piece_of_face, mirror)
    names = _names(_kept_names(shell, piece_of_face, face_names), mate, _is_left(shell, members, mirror))
    groups = _groups(shell)
    pieces: list[Piece] = []
    for number in range(count):
        yield Progress(STAGE, MIRRORED + (1 - MIRRORED) * number / count)
        name, faces, twin = names[number], members[number], mate[number]
        patch = cut_patch(shell, faces)
        if mirror is not None and 0 <= twin < number:
            patch = _mirrored(patch, pieces[twin].patch, mirror)
        _refuse_closed(shell, name, patch)
        choice = settings.pieces.get(name)
        group = choice.group if choice and choice.group else groups[faces[0]]
        mate_name = names[twin] if twin >= 0 else None
        pieces.append(Piece(name, mate_name, group, settings.stock_of(name), faces, patch))
    return tuple(pieces), piece_of_face


def _refuse_closed(shell: Shell, name: str, patch: Patch) -> None:
    missing = missing_cut(shell, patch)
    if missing is not None:
        raise MissingCutError(
            f"'{shell.name}': piece {name} {missing.reason} (edges it takes: {len(missing.edges)}).",
            edges=missing.edges,
            faces=np.unique(patch.triangle_face),
        )


def _joined_faces(shell: Shell, joins: np.ndarray) -> np.ndarray:
    """(f,) int, labels of the faces that hang together across the edges of the mask `joins` (k,)."""
    left, right = shell.edge_faces[joins].T
    graph = coo_array((np.ones(len(left)), (left, right)), shape=(shell.face_count,) * 2)
    return connected_components(graph, directed=False)[1]


def _in_reading_order(shell: Shell, label: np.ndarray) -> np.ndarray:
    weight = np.maximum(shell.face_area, 1e-12 * (shell.face_area.max() or 1.0))
    total = np.bincount(label, weight)
    centre = np.stack([np.bincount(label, weight * shell.face_centre[:, i]) for i in range(3)], axis=1)
    x, y, z = (centre / total[:, None]).T
    step = LEVEL * float(shell.size.max())
    # concentric pieces go by size, larger first
    order = np.lexsort((-total, _levels(y, step), _levels(x, step), _levels(-z, step)))
    rank = np.empty_like(order)
    rank[order] = np.arange(len(order))
    return rank[label]


def _levels(values: np.ndarray, step: float) -> np.ndarray:
    """(n,) int, ranks of values where neighbours closer than `step` share a rank."""
    order = np.argsort(values, kind="stable")
    level = np.empty(len(values), np.int64)
    level[order] = np.concatenate([[0], np.cumsum(np.diff(values[order]) > step)])
    return level


def _groups(shell: Shell) -> list[str]:
    """Per face the group of its connected part of the shell."""
    part = _in_reading_order(shell, _joined_faces(shell, shell.edge_face_count == 2))
    area = np.bincount(part, shell.face_area)
    # the largest first; parts of one size (within rounding) stay in reading order
    order = np.lexsort((np.arange(len(area)), _levels(-area, 1e-6 * float(area.max()))))
    words = np.empty(len(area), object)
    words[order] = ["main", *(f"part {i}" for i in range(2, len(area) + 1))]
    return words[part].tolist()


def _mates(shell: Shell, piece_of_face: np.ndarray, mirror: MirrorMap | None) -> np.ndarray:
    """(pieces,) int, the mirror mate of each piece, -1 for none."""
    count = int(piece_of_face.max()) + 1
    if mirror is None:
        return np.full(count, -1)
    mapped = np.where(mirror.face >= 0, piece_of_face[mirror.face], -1)
    cut = shell.seam | ~shell.edge_is_consistent
    image = shell.edge_between(mirror.vertex[shell.edges])
    unlike = (image < 0) | (cut != cut[image])
    mapped[shell.corner_face[unlike[shell.corner_edge]]] = -1
    lowest, highest = np.full(count, count), np.full(count, -1)
    np.minimum.at(lowest, piece_of_face, mapped)
    np.maximum.at(highest, piece_of_face, mapped)
    mate = np.where((lowest == highest) & (lowest >= 0), lowest, -1)
    own = np.arange(count)
    return np.where((mate >= 0) & (mate != own) & (mate[mate] == own), mate, -1)


def _is_left(shell: Shell, members: list[np.ndarray], mirror: MirrorMap | None) -> np.ndarray:
    offset = mirror.offset if mirror else 0.0
    return np.array([shell.face_centre[faces, 0].mean() > offset for faces in members])


def _kept_names(shell: Shell, piece_of_face: np.ndarray, face_names: Sequence[str] | None) -> list[str]:
    """Per piece the name it keeps, "" where it has none to keep."""
    kept = [""] * (int(piece_of_face.max()) + 1)
    if face_names is None:
        return kept
    words, word_of_face = np.unique(np.asarray(face_names, str), return_inverse=True)
    share = np.zeros((len(kept), len(words)))
    np.add.at(share, (piece_of_face, word_of_face.reshape(-1)), shell.face_area)
    claim = share.argmax(axis=1)
    for piece in np.argsort(-share.max(axis=1), kind="stable"):
        word = str(words[claim[piece]])
        if word not in kept:
            kept[piece] = word
    return kept


def _names(kept: list[str], mate: np.ndarray, is_left: np.ndarray) -> list[str]:
    names = list(kept)
    side = [" L" if left else " R" for left in is_left]
    taken = {_stem(name) for name in names if name}
    number = 1
    for piece, name in enumerate(names):
        if name:
            continue
        twin = int(mate[piece])
        # the mate of a piece that kept its name takes the other side of that name, if it is free
        if twin >= 0 and names[twin].endswith(side[twin]):
            other_side = _stem(names[twin]) + side[piece]
            if other_side not in names:
                names[piece] = other_side
                continue
        while f"P{number}" in taken:
            number += 1
        stem = f"P{number}"
        taken.add(stem)
        if twin >= 0 and not names[twin]:
            names[piece], names[twin] = stem + side[piece], stem + side[twin]
        else:
            names[piece] = stem
    return names


def is_given_name(name: str) -> bool:
    """Whether a name is of the kind that pieces get here, not from the maker."""
    return re.fullmatch(r"P[1-9][0-9]*", _stem(name)) is not None


def _stem(name: str) -> str:
    return name[:-2] if name.endswith((" L", " R")) else name


def _mirrored(patch: Patch, twin: Patch, mirror: MirrorMap) -> Patch:
    """`patch` with the triangles of its mate `twin` mirrored, so that both unfold alike."""
    base = int(max(patch.shell_vertex.max(), mirror.vertex.max())) + 1
    keys = (patch.triangle_face[:, None] * base + patch.shell_vertex[patch.triangles]).ravel()
    order = np.argsort(keys, kind="stable")
    triangle_face = mirror.face[twin.triangle_face]
    corners = mirror.vertex[twin.shell_vertex[twin.triangles]][:, ::-1]
    wanted = triangle_face[:, None] * base + corners
    triangles = patch.triangles.ravel()[order[np.searchsorted(keys[order], wanted)]]
    return replace(patch, triangles=triangles, triangle_face=triangle_face)
