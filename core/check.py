"""Findings: what is wrong with a mesh or a pattern, where, and what mends it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import KDTree

from .crossing import crossing_triangles
from .errors import MeshError
from .flatten.overlap import crossing_steps
from .progress import Progress, Steps, finish, share
from .shell import Shell
from .triangulate import in_own_plane

SEVERITIES = ("stop", "warn", "note")

SMALLEST_MM, LARGEST_MM = 20.0, 3000.0
"""Below a thumb or above a standing figure a model is hardly meant in millimetres (common practice)."""

SLIVER = 1e-6
"""Height over longest side below which a triangle has no shape that could be laid flat."""

SAME_PLACE_MM = 1e-4
"""Vertices closer than this are one place: far under any cut, over the rounding of Blender's positions."""


STAGE = "Checking the shell"
QUICK = 0.3
"""Part of the check that is done before parts that run through each other are looked for, as measured."""


@dataclass(frozen=True)
class Finding:
    """One thing the maker should know.

    kind : a short fixed word, as "open-rim" or "heavy-bevel"
    severity : "stop" (cannot go on), "warn" (will build badly) or "note"
    message : names the thing and what is wrong; mend : what to do
    piece : the piece it concerns, or None; vertices, edges, faces : shell elements to select
    """

    kind: str
    severity: str
    message: str
    mend: str
    piece: str | None = None
    vertices: tuple[int, ...] = ()
    edges: tuple[int, ...] = ()
    faces: tuple[int, ...] = ()


def examine(shell: Shell) -> tuple[Finding, ...]:
    """What is wrong with a mesh, worst first."""
    return finish(examining(shell))


def examining(shell: Shell) -> Steps[tuple[Finding, ...]]:
    """As `examine`. Yields Progress."""
    yield Progress(STAGE, 0.0)
    found = yield from share(_what_stops(shell), 0, QUICK)
    for check in (_inside_out, _doubled, _loose, _rims):
        yield Progress(STAGE, QUICK)
        found += check(shell)
    found += yield from share(_crossings(shell), QUICK, 1)
    return worst_first(found)


def refuse_unfit(shell: Shell) -> Steps[None]:
    """Raise MeshError for what keeps a mesh from being laid flat at all. Yields Progress."""
    refuse((yield from _what_stops(shell)))


def refuse_slivers(shell: Shell) -> None:
    """Raise MeshError for faces that have no shape."""
    refuse(_slivers(shell))


def _what_stops(shell: Shell) -> Steps[list[Finding]]:
    """Findings that say stop."""
    found: list[Finding] = []
    checks = (_size, _non_manifold, _directions, _slivers, _crossed_faces)
    for number, check in enumerate(checks):
        yield Progress(STAGE, number / len(checks))
        found += check(shell)
    return found


def refuse(findings: Iterable[Finding]) -> None:
    """Raise MeshError for the first finding that says stop."""
    for finding in findings:
        if finding.severity == "stop":
            raise MeshError(
                f"{finding.message} {finding.mend}",
                vertices=finding.vertices,
                edges=finding.edges,
                faces=finding.faces,
            )


def worst_first(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    return tuple(sorted(findings, key=lambda finding: SEVERITIES.index(finding.severity)))


def some(numbers: Sequence[int] | np.ndarray, one: str, many: str | None = None) -> str:
    """ "3 edges (4, 8, 15)": how many, and the first of them."""
    first = ", ".join(str(int(n)) for n in numbers[:5]) + (", ..." if len(numbers) > 5 else "")
    return f"{len(numbers)} {one if len(numbers) == 1 else many or one + 's'} ({first})"


def numbers(array: np.ndarray) -> tuple[int, ...]:
    return tuple(int(n) for n in array)


def _size(shell: Shell) -> Iterator[Finding]:
    largest = float(shell.size.max())
    if SMALLEST_MM <= largest <= LARGEST_MM:
        return
    hint = (
        "Most likely it is modelled in metres: scale it by 1000, or set the scene's unit scale so that it reads true."
        if largest < SMALLEST_MM
        else "Scale it down, or set the scene's unit scale so that it reads true."
    )
    yield Finding(
        "size", "stop", f"'{shell.name}' is {largest:.3g} mm at its largest, which is no size for a foam build.", hint
    )


def _non_manifold(shell: Shell) -> Iterator[Finding]:
    edges = np.flatnonzero(shell.edge_face_count > 2)
    if len(edges):
        yield Finding(
            "non-manifold",
            "stop",
            f"'{shell.name}': more than two faces meet at {some(edges, 'edge')}.",
            "Delete the inner faces or the doubled ones, so that every edge has one or two faces.",
            edges=numbers(edges),
        )


def _directions(shell: Shell) -> Iterator[Finding]:
    """Neighbours that disagree about outside: which faces to flip, or a surface with one side only."""
    shared = shell.edge_face_count == 2
    odd = np.flatnonzero(shared & ~shell.edge_is_consistent)
    if not len(odd):
        return
    left, right = shell.edge_faces[shared].T
    # every face twice, as it is and flipped; neighbours are joined where they agree
    count = shell.face_count
    agree = shell.edge_is_consistent[shared]
    rows = np.concatenate([left, left + count])
    columns = np.concatenate([np.where(agree, right, right + count), np.where(agree, right + count, right)])
    _, side = connected_components(coo_array((np.ones(len(rows)), (rows, columns)), shape=(2 * count,) * 2), False)
    as_is, flipped = side[:count], side[count:]
    area = np.bincount(as_is, shell.face_area, minlength=side.max() + 1)
    faces = np.flatnonzero(area[as_is] < area[flipped])
    if len(faces) == 0 or (as_is == flipped).any():
        faces = np.unique(shell.edge_faces[odd])
    yield Finding(
        "flipped",
        "stop",
        f"'{shell.name}': neighbouring faces disagree about outside at {some(odd, 'edge')}; "
        f"at fault are {some(faces, 'face')}.",
        "The surface has only one side, like a twisted strip: cut it apart or rebuild the twist."
        if (as_is == flipped).any()
        else "Recalculate the normals to the outside, or flip these faces.",
        edges=numbers(odd),
        faces=numbers(faces),
    )


def _slivers(shell: Shell) -> Iterator[Finding]:
    """Faces that have no shape to be laid flat."""
    p = shell.vertices[shell.triangles]
    side = np.linalg.norm(p - np.roll(p, -1, axis=1), axis=2).max(axis=1)
    double_area = np.linalg.norm(np.cross(p[:, 1] - p[:, 0], p[:, 2] - p[:, 0]), axis=1)
    faces = np.unique(shell.triangle_face[double_area <= SLIVER * side**2])
    if len(faces):
        yield Finding(
            "zero-area",
            "stop",
            f"'{shell.name}': {some(faces, 'face')} without area, wholly or in part.",
            "Merge vertices by distance and dissolve degenerate faces, or move the corners apart.",
            faces=numbers(faces),
        )


def _crossed_faces(shell: Shell) -> Iterator[Finding]:
    """Faces whose rim runs through itself, seen along their normal: no triangles fill them."""
    p = shell.vertices[shell.triangles]
    vector = np.cross(p[:, 1] - p[:, 0], p[:, 2] - p[:, 0])
    size = np.linalg.norm(vector, axis=1)
    turned_over = np.einsum("ij,ij->i", vector, shell.face_normal[shell.triangle_face]) < -SLIVER * size
    # where both halves are alike the face has no normal
    even = 2 * shell.face_area < SLIVER * np.bincount(shell.triangle_face, size)
    faces = np.unique(np.concatenate([shell.triangle_face[turned_over], np.flatnonzero(even), *_crossed_rings(shell)]))
    if len(faces):
        yield Finding(
            "crossed-face",
            "stop",
            f"'{shell.name}': the sides of {some(faces, 'face')} cross each other.",
            "Put the corners in order round the face, or delete it and fill the hole anew.",
            faces=numbers(faces),
        )


def _crossed_rings(shell: Shell) -> Iterator[list[int]]:
    """Faces of more than four corners whose sides cross; in smaller ones a triangle is turned over then."""
    sides = np.diff(shell.face_start)
    for count in np.unique(sides[sides > 4]):
        faces = np.flatnonzero(sides == count)
        corners = shell.face_start[faces][:, None] + np.arange(count)
        rings = in_own_plane(shell.vertices[shell.corner_vertex[corners]])
        doubtful = np.flatnonzero(~shapely.is_simple(shapely.linearrings(rings)))
        # a rim that touches itself, as round a hole that a slit leads to, can be filled
        yield [int(faces[i]) for i in doubtful if len(crossing_steps(rings[i], [np.arange(count)]))]


def _inside_out(shell: Shell) -> Iterator[Finding]:
    """Closed parts of negative volume (divergence theorem)."""
    part = _parts(shell)
    closed = np.ones(part.max() + 1, bool)
    closed[part[shell.corner_face[~shell.edge_is_consistent[shell.corner_edge]]]] = False
    a, b, c = (shell.vertices[shell.triangles[:, i]] - shell.vertices.mean(axis=0) for i in range(3))
    six_volumes = np.einsum("ij,ij->i", a, np.cross(b, c))
    volume = np.bincount(part[shell.triangle_face], six_volumes, minlength=len(closed)) / 6
    inverted = closed & (volume < 0)
    if inverted.any():
        faces = np.flatnonzero(inverted[part])
        yield Finding(
            "inside-out",
            "warn",
            f"'{shell.name}': {inverted.sum()} closed part{'s' if inverted.sum() > 1 else ''} turned inside out, "
            f"{some(faces, 'face')}.",
            "Recalculate the normals to the outside; delete the inner wall if the model has a wall thickness.",
            faces=numbers(faces),
        )


def _doubled(shell: Shell) -> Iterator[Finding]:
    """Rim vertices at one place, which merged would close the rims they lie on."""
    rim = np.unique(shell.edges[shell.edge_is_rim])
    pairs = KDTree(shell.vertices[rim]).query_pairs(SAME_PLACE_MM, output_type="ndarray") if len(rim) else rim
    if len(pairs):
        vertices = np.unique(rim[pairs])
        yield Finding(
            "doubled-vertex",
            "warn",
            f"'{shell.name}': {some(vertices, 'vertex', 'vertices')} on open rims lie on top of each other.",
            "Merge by distance, unless the shell is meant to be open there.",
            vertices=numbers(vertices),
        )


def _crossings(shell: Shell) -> Steps[list[Finding]]:
    pairs = yield from crossing_triangles(shell.vertices, shell.triangles)
    faces = np.unique(shell.triangle_face[pairs])
    finding = Finding(
        "self-crossing",
        "warn",
        f"'{shell.name}' runs through itself at {some(faces, 'face')}.",
        "Move the parts apart, or cut one where it enters the other: foam cannot pass through foam.",
        faces=numbers(faces),
    )
    return [finding] if len(faces) else []


def _loose(shell: Shell) -> Iterator[Finding]:
    vertices = np.setdiff1d(np.arange(len(shell.vertices)), shell.corner_vertex)
    if len(vertices):
        yield Finding(
            "loose-vertex",
            "note",
            f"'{shell.name}': {some(vertices, 'vertex', 'vertices')} in no face.",
            "They are left out; delete loose geometry to be rid of them.",
            vertices=numbers(vertices),
        )
    part = _parts(shell)
    count = int(part.max()) + 1
    if count > 1:
        smaller = part != np.argmax(np.bincount(part, shell.face_area))
        yield Finding(
            "loose-part",
            "note",
            f"'{shell.name}' has {count} parts that are not joined.",
            "Right for panels that are glued on; otherwise merge the vertices where the parts should meet.",
            faces=numbers(np.flatnonzero(smaller)),
        )


def _rims(shell: Shell) -> Iterator[Finding]:
    edges = np.flatnonzero(shell.edge_is_rim)
    if len(edges):
        pairs = shell.edges[edges]
        graph = coo_array((np.ones(len(pairs)), pairs.T), shape=(len(shell.vertices),) * 2)
        _, label = connected_components(graph, directed=False)
        count = len(np.unique(label[pairs[:, 0]]))
        yield Finding(
            "open-rim",
            "note",
            f"'{shell.name}' has {count} open rim{'s' if count > 1 else ''}, "
            f"{shell.edge_length[edges].sum():.0f} mm long together.",
            "Right where the shell ends, as at a neck or a visor; fill the hole where it should be closed.",
            edges=numbers(edges),
        )


def _parts(shell: Shell) -> np.ndarray:
    """(f,) int, the connected part of each face."""
    left, right = shell.edge_faces[shell.edge_face_count > 1].T
    graph = coo_array((np.ones(len(left)), (left, right)), shape=(shell.face_count,) * 2)
    return connected_components(graph, directed=False)[1]
