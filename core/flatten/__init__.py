"""From curved to flat: the reference surface, a start, the strain energy and its solver."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..errors import FlattenError, MeshError, MissingCutError
from ..folds import Hinge
from ..opening import missing_cut
from ..patch import cut_patch
from ..pieces import Piece
from ..progress import Steps, finish, share
from ..settings import SQUEEZE_COST, Settings
from ..shell import Shell
from .flattening import Flattener, Surface, first_vertices, flatten_surfaces
from .freeing import freeing_cuts
from .placing import match_mates, stand_up
from .reference import plane_corners, reference_corners
from .soundness import fault_of
from .strain import stretches

FORCED_GAP = 0.05
"""Sides of a seam are made equal where their layers at rest differ by up to this part. A larger difference comes
from bends about as tight as the foam is thick: the bend itself takes it up, and only what is over stays unequal."""

TRIED = 0.98
"""Part of the work that is done when all has been laid flat; the rest is for cuts that help, which few shells want."""

__all__ = ["FORCED_GAP", "Flat", "Flattener", "flatten_patch", "flatten_patches", "flatten_pieces", "try_flat"]


@dataclass(frozen=True, eq=False)
class Flat:
    """A patch laid flat, outside face up.

    vertices : (v, 2) mm, one per patch vertex
    stretch : (m, 2) per patch triangle, largest and smallest length on the shell's reference surface over
        length on the flat (over 1 the foam is pulled, under 1 squeezed)
    rim_reference : per loop of the patch (r,) mm, length of each rim step on the reference surface
    fault : what keeps it from being a flat at all, in words that go on from the piece's name; empty if nothing does
    """

    vertices: np.ndarray
    stretch: np.ndarray
    rim_reference: tuple[np.ndarray, ...]
    fault: str = ""


def flatten_pieces(
    shell: Shell,
    pieces: Sequence[Piece],
    folds: Sequence[Sequence[Hinge]],
    settings: Settings,
    flattener: Flattener | None = None,
) -> Steps[list[Flat]]:
    """Lay every piece flat as `try_flat` does. Raises FlattenError, with edges of cuts that help, where no flat of
    a piece exists that foam could be: every one that is returned is finite, upright and of sane strain."""
    flats = yield from share(try_flat(shell, pieces, folds, settings, flattener), 0, TRIED)
    faulty = [(piece, flat.fault) for piece, flat in zip(pieces, flats, strict=True) if flat.fault]
    if not faulty:
        return flats
    cuts = []
    for piece, _ in faulty:
        cuts.append((yield from share(freeing_cuts(shell, piece.faces), TRIED, 1)))
    words = [
        f"Piece {piece.name} {fault}; "
        + (f"mark a seam into it (edges it takes: {len(cut)})." if len(cut) else "divide it with seams.")
        for (piece, fault), cut in zip(faulty, cuts, strict=True)
    ]
    raise FlattenError(
        f"'{shell.name}': {' '.join(words)}",
        edges=np.concatenate(cuts),
        faces=np.concatenate([piece.faces for piece, _ in faulty]),
    )


def try_flat(
    shell: Shell,
    pieces: Sequence[Piece],
    folds: Sequence[Sequence[Hinge]],
    settings: Settings,
    flattener: Flattener | None = None,
) -> Steps[list[Flat]]:
    """Lay every piece flat at its reference depth, the two sides of every seam equally long; a flat may be faulty.

    folds : per piece, from `find_folds`; flattener : keeps what it has laid flat from run to run. Yields
    `Progress`. The flat stands as the piece does on the shell, its up (z) along y, centred on the origin.
    """
    surfaces = [
        Surface(
            piece.patch.triangles,
            reference_corners(shell, piece, piece_folds, settings.model_is_inside),
            piece.patch.loops,
            piece.patch.vertex_count,
        )
        for piece, piece_folds in zip(pieces, folds, strict=True)
    ]
    flats = yield from (flattener or Flattener()).flatten(
        surfaces, seam_intervals(pieces), settings.seam_priority, settings.squeeze_cost, FORCED_GAP
    )
    upright = [
        stand_up(flat, shell.vertices[piece.patch.shell_vertex], piece.patch.triangles)
        for piece, flat in zip(pieces, flats, strict=True)
    ]
    return [
        Flat(
            flat,
            stretches(flat, surface.triangles, surface.rest),
            surface.rim_lengths(),
            fault_of(flat, surface.triangles, surface.rest),
        )
        for flat, surface in zip(match_mates(pieces, upright), surfaces, strict=True)
    ]


def seam_intervals(pieces: Sequence[Piece]) -> np.ndarray:
    """(s, 4) int, the two rim steps over each seam edge, all pieces' vertices numbered one after another."""
    first = first_vertices([piece.patch.vertex_count for piece in pieces])
    edges, steps = [np.empty(0, np.int64)], [np.empty((0, 2), np.int64)]
    for piece, start in zip(pieces, first, strict=False):
        for loop, loop_edges in zip(piece.patch.loops, piece.patch.loop_edges, strict=True):
            edges.append(loop_edges)
            steps.append(np.stack([loop, np.roll(loop, -1)], axis=1) + start)
    edge, step = np.concatenate(edges), np.concatenate(steps)
    order = np.argsort(edge, kind="stable")
    twice = np.flatnonzero(edge[order][:-1] == edge[order][1:])
    # a rim step of one side runs against that of the other
    return np.concatenate([step[order[twice]], step[order[twice + 1]][:, ::-1]], axis=1)


def flatten_patch(
    vertices: np.ndarray, triangles: np.ndarray, seam_priority: float = 1.0, squeeze_cost: float = SQUEEZE_COST
) -> np.ndarray:
    """Lay one patch flat at true size: vertices (n, 3) mm, triangles (m, 3) -> (n, 2) mm.

    Raises MeshError for a vertex that no triangle uses or a triangle without area, MissingCutError for a patch
    that is closed, a tube or round a handle, with the vertices and edges (numbered as in `Shell`) of a cut that
    opens it, FlattenError for one that no flat of sane strain exists for. `seam_priority` is taken for symmetry with
    `flatten_patches`: a patch alone has no mates to be held to.
    """
    return flatten_patches([(vertices, triangles)], (), seam_priority, squeeze_cost)[0]


def flatten_patches(
    patches: Sequence[tuple[np.ndarray, np.ndarray]],
    mates: Sequence[tuple[int, np.ndarray, int, np.ndarray]],
    seam_priority: float = 1.0,
    squeeze_cost: float = SQUEEZE_COST,
) -> list[np.ndarray]:
    """Lay several patches flat together, glued runs equally long on both sides.

    patches : (vertices (n, 3) mm, triangles (m, 3)) each
    mates : (a, path_a, b, path_b), vertex paths of equal count along the rims of patches a and b
    Returns positions (n, 2) mm per patch.
    """
    surfaces = [surface_of(vertices, triangles) for vertices, triangles in patches]
    first = first_vertices([surface.vertex_count for surface in surfaces])
    glued = [np.empty((0, 4), np.int64)]
    for a, path_a, b, path_b in mates:
        one, other = np.asarray(path_a) + first[a], np.asarray(path_b) + first[b]
        glued.append(np.stack([one[:-1], one[1:], other[:-1], other[1:]], axis=1))
    flats = finish(flatten_surfaces(surfaces, np.concatenate(glued), seam_priority, squeeze_cost))
    for number, (flat, surface) in enumerate(zip(flats, surfaces, strict=True)):
        if fault := fault_of(flat, surface.triangles, surface.rest):
            raise FlattenError(f"Patch {number} {fault}; cut it from its rim.", faces=range(len(surface.triangles)))
    return flats


def surface_of(vertices: np.ndarray, triangles: np.ndarray) -> Surface:
    """A patch as given, with its rims found: vertices (n, 3) mm, triangles (m, 3)."""
    vertices, triangles = np.asarray(vertices, float), np.asarray(triangles, np.int64)
    unused = np.setdiff1d(np.arange(len(vertices)), triangles)
    if len(unused):
        raise MeshError(f"Vertex {unused[0]} of the patch is in no triangle; leave it out.", vertices=unused)
    sides = vertices[triangles[:, 1:]] - vertices[triangles[:, :1]]
    flat = np.flatnonzero(np.linalg.norm(np.cross(sides[:, 0], sides[:, 1]), axis=1) == 0)
    if len(flat):
        raise MeshError(f"Triangle {flat[0]} of the patch has no area; dissolve it.", faces=flat)
    loops = rims_of(triangles)
    _refuse_what_stays_round(vertices, triangles, loops)
    return Surface(triangles, plane_corners(vertices[triangles]), loops, len(vertices))


def _refuse_what_stays_round(vertices: np.ndarray, triangles: np.ndarray, loops: tuple[np.ndarray, ...]) -> None:
    edge_count = (3 * len(triangles) + sum(len(loop) for loop in loops)) // 2
    if len(loops) == 1 and len(vertices) - edge_count + len(triangles) == 1:
        return  # a disk: one rim, and no handle by Euler's formula
    shell = Shell.build(vertices, triangles, name="patch")
    missing = missing_cut(shell, cut_patch(shell, np.arange(shell.face_count)))
    if missing is not None:
        ends = np.unique(shell.edges[missing.edges])
        raise MissingCutError(
            f"The patch {missing.reason} (edges it takes: {len(missing.edges)}).", vertices=ends, edges=missing.edges
        )


def rims_of(triangles: np.ndarray) -> tuple[np.ndarray, ...]:
    """The closed rims of triangles (m, 3), each (r,) int in order."""
    start, end = triangles.ravel(), np.roll(triangles, -1, axis=1).ravel()
    base = int(triangles.max()) + 1
    rim = ~np.isin(start * base + end, end * base + start)
    following = dict(zip(start[rim].tolist(), end[rim].tolist(), strict=True))
    loops = []
    while following:
        here, there = following.popitem()
        loop = [here]
        while there != here:
            loop.append(there)
            there = following.pop(there)
        loops.append(np.array(loop))
    return tuple(sorted(loops, key=len, reverse=True))
