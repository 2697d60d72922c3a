"""Flattening against LSCM, ARAP and SLIM of libigl and Blender's minimum stretch. Run through bench.py."""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import bench_models as models
import igl
import numpy as np
from foamwright.core.flatten import flatten_patch, rims_of, seam_intervals, surface_of
from foamwright.core.flatten.energy import RestTriangles
from foamwright.core.flatten.flattening import first_vertices, flatten_surfaces
from foamwright.core.flatten.reference import plane_corners
from foamwright.core.flatten.start import first_flat
from foamwright.core.flatten.strain import area_quantile, log_strain, stretches
from foamwright.core.patch import Patch, cut_patch
from foamwright.core.pieces import cut_pieces
from foamwright.core.progress import finish
from foamwright.core.settings import Settings
from foamwright.core.shell import Shell

HEADINGS = f"{'':24s}{'worst':>8s}{'99 %':>8s}{'mean':>8s}{'spread':>8s}{'seam mm':>9s}{'run mm':>8s}{'s':>8s}"
Points, Triangles = np.ndarray, np.ndarray


# --- the peers: vertices (n, 3), triangles (m, 3) -> (n, 2) --------------------------------------


def lscm(points: Points, triangles: Triangles) -> np.ndarray:
    rim = max(rims_of(triangles), key=len)
    pins = rim[[0, len(rim) // 2]].astype(np.int64)
    flat = igl.lscm(points, triangles.astype(np.int64), pins, np.array([[0.0, 0.0], [1.0, 0.0]]))[0]
    return true_size(flat, points, triangles)


def arap(points: Points, triangles: Triangles) -> np.ndarray:
    data = igl.ARAPData()
    data.max_iter = 50
    start = first_of(points, triangles)
    igl.arap_precomputation(points, triangles.astype(np.int64), 2, np.zeros(1, np.int32), data)
    return np.asarray(igl.arap_solve(start[:1], data, start))[:, :2]


def slim(points: Points, triangles: Triangles, iterations: int = 30) -> np.ndarray:
    data = igl.slim_precompute(
        np.asfortranarray(points),
        np.asfortranarray(triangles.astype(np.int32)),
        np.asfortranarray(first_of(points, triangles)),
        igl.MappingEnergyType.SYMMETRIC_DIRICHLET,
        np.zeros(0, np.int32),
        np.asfortranarray(np.zeros((0, 2))),
        0.0,
    )
    return np.asarray(igl.slim_solve(data, iterations))[:, :2]


def blender(points: Points, triangles: Triangles) -> np.ndarray:
    """Blender's own unwrap with the method of minimum stretch."""
    import bpy

    bpy.ops.wm.read_factory_settings(use_empty=True)
    mesh = bpy.data.meshes.new("patch")
    mesh.from_pydata(points.tolist(), [], triangles.tolist())
    obj = bpy.data.objects.new("patch", mesh)
    bpy.context.collection.objects.link(obj)
    bpy.context.view_layer.objects.active = obj
    obj.select_set(True)
    mesh.uv_layers.new(name="flat")
    bpy.ops.object.mode_set(mode="EDIT")
    bpy.ops.mesh.select_all(action="SELECT")
    bpy.ops.uv.unwrap(method="MINIMUM_STRETCH", iterations=50, correct_aspect=False, no_flip=True)
    bpy.ops.object.mode_set(mode="OBJECT")
    uv = np.empty(2 * len(mesh.loops))
    mesh.uv_layers.active.data.foreach_get("uv", uv)
    vertex = np.empty(len(mesh.loops), np.int32)
    mesh.loops.foreach_get("vertex_index", vertex)
    flat = np.empty((len(points), 2))
    flat[vertex] = uv.reshape(-1, 2)
    return true_size(flat, points, triangles)


def first_of(points: Points, triangles: Triangles) -> np.ndarray:
    """The same start for every peer that wants one; its time counts as theirs."""
    return first_flat(triangles, plane_corners(points[triangles]), rims_of(triangles), len(points))


def true_size(flat: np.ndarray, points: Points, triangles: Triangles) -> np.ndarray:
    def area(at: np.ndarray) -> float:
        a, b = at[triangles[:, 1]] - at[triangles[:, 0]], at[triangles[:, 2]] - at[triangles[:, 0]]
        return float(np.sqrt(np.maximum((a * a).sum(1) * (b * b).sum(1) - (a * b).sum(1) ** 2, 0)).sum())

    return flat * np.sqrt(area(points) / area(flat))


PEERS = {"LSCM": lscm, "ARAP": arap, "SLIM": slim, "minimum stretch": blender}


# --- measuring ------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Measured:
    """Logarithmic strains (worst, 99 % of area, mean by area), spread of stretches, seams in mm, seconds."""

    worst: float
    common: float
    mean: float
    spread: float
    interval_mm: float
    run_mm: float
    seconds: float

    def row(self, name: str) -> str:
        return (
            f"{name:24s}{self.worst:8.4f}{self.common:8.4f}{self.mean:8.4f}{self.spread:8.4f}"
            f"{self.interval_mm:9.3f}{self.run_mm:8.3f}{self.seconds:8.2f}"
        )

    def ratio(self, other: Measured) -> str:
        return (
            f"{'  ours / SLIM':24s}{self.worst / other.worst:8.3f}{self.common / other.common:8.3f}"
            f"{self.mean / other.mean:8.3f}{self.spread / other.spread:8.3f}{'':17s}{self.seconds / other.seconds:8.2f}"
        )


@dataclass(frozen=True, eq=False)
class Case:
    """Patches of one shell with their glued rim intervals, all vertices numbered one after another."""

    name: str
    points: list[np.ndarray]
    patches: list[Patch]
    glued: np.ndarray
    runs: np.ndarray
    """(s,) which joint each interval belongs to."""

    @classmethod
    def of(cls, shell: Shell) -> Case:
        if shell.seam.any():
            pieces = cut_pieces(shell, Settings())[0]
            patches, glued = [piece.patch for piece in pieces], seam_intervals(pieces)
        else:
            patches, glued = [cut_patch(shell, np.arange(shell.face_count))], np.empty((0, 4), np.int64)
        of_vertex = np.repeat(np.arange(len(patches)), [patch.vertex_count for patch in patches])
        pairs = np.sort(np.stack([of_vertex[glued[:, 0]], of_vertex[glued[:, 2]]], axis=1), axis=1)
        runs = np.unique(pairs, axis=0, return_inverse=True)[1].reshape(-1)
        return cls(shell.name, [shell.vertices[p.shell_vertex] for p in patches], patches, glued, runs)

    def each(self, way: Callable[[Points, Triangles], np.ndarray]) -> list[np.ndarray]:
        return [way(points, patch.triangles) for points, patch in zip(self.points, self.patches, strict=True)]

    def ours(self, seam_priority: float) -> list[np.ndarray]:
        surfaces = [surface_of(points, p.triangles) for points, p in zip(self.points, self.patches, strict=True)]
        return finish(flatten_surfaces(surfaces, self.glued, seam_priority))

    def measure(self, flatten: Callable[[], Sequence[np.ndarray]]) -> Measured:
        started = time.perf_counter()
        flats = flatten()
        seconds = time.perf_counter() - started
        first = first_vertices([len(points) for points in self.points])
        triangles = np.concatenate([p.triangles + start for p, start in zip(self.patches, first, strict=False)])
        rest = RestTriangles.from_corners(plane_corners(np.concatenate(self.points)[triangles]))
        flat = np.concatenate(list(flats))
        stretch = stretches(flat, triangles, rest)
        strain = log_strain(np.maximum(stretch, 1e-9))
        difference = np.linalg.norm(flat[self.glued[:, 1]] - flat[self.glued[:, 0]], axis=1)
        difference = difference - np.linalg.norm(flat[self.glued[:, 3]] - flat[self.glued[:, 2]], axis=1)
        run = np.bincount(self.runs, difference) if len(difference) else np.zeros(1)
        return Measured(
            float(strain.max()),
            area_quantile(strain, rest.area, 0.99),
            float(strain @ rest.area / rest.area.sum()),
            float(np.log(stretch[:, 0].max() / stretch[:, 1].min())),
            float(np.abs(difference).max(initial=0.0)),
            float(np.abs(run).max()),
            seconds,
        )

    def worst_piece(self, flats: Sequence[np.ndarray]) -> int:
        worst = []
        for points, patch, flat in zip(self.points, self.patches, flats, strict=True):
            rest = RestTriangles.from_corners(plane_corners(points[patch.triangles]))
            worst.append(log_strain(stretches(flat, patch.triangles, rest)).max())
        return int(np.argmax(worst))


def compare(shell: Shell, with_blender: bool = True) -> None:
    case = Case.of(shell)
    count = sum(len(patch.triangles) for patch in case.patches)
    print(f"\n{case.name}: {len(case.patches)} pieces, {count} triangles\n{HEADINGS}")
    measured = {}
    for name, way in PEERS.items():
        if name == "minimum stretch" and not with_blender:
            continue
        measured[name] = case.measure(partial(case.each, way))
        print(measured[name].row(name), flush=True)
    for name, priority in (("ours, seams let go", 0.0), ("ours, seams held", 1.0)):
        if priority and not len(case.glued):
            continue
        ours = case.measure(partial(case.ours, priority))
        print(ours.row(name))
        print(ours.ratio(measured["SLIM"]), flush=True)
    if len(case.patches) > 1:
        print(f"  the worst strain is in piece {case.worst_piece(case.ours(1.0)) + 1} of {len(case.patches)}")


def caps() -> None:
    """J. Milnor, A Problem in Cartography, Amer. Math. Monthly 76(10), 1969: spread >= log(a / sin a)."""
    print("\nSpherical caps, 2,400 triangles: spread of the stretches over Milnor's bound")
    print(f"{'':12s}" + "".join(f"{name:>17s}" for name in (*PEERS, "ours")))
    for degrees in (30, 45, 60, 80):
        case = Case.of(models.cap(degrees))
        bound = np.log(np.radians(degrees) / np.sin(np.radians(degrees)))
        spreads = [case.measure(partial(case.each, way)).spread for way in PEERS.values()]
        spreads.append(case.measure(partial(case.ours, 0.0)).spread)
        print(f"{degrees:9d} deg" + "".join(f"{spread / bound:17.3f}" for spread in spreads), flush=True)


def developable() -> None:
    print("\nDevelopable shells: largest relative error of an edge")
    for shell in models.simple_shells():
        if shell.name == "saddle":
            continue
        case = Case.of(shell)
        errors = []
        for way in (*PEERS.values(), flatten_patch):
            points, triangles, flat = case.points[0], case.patches[0].triangles, case.each(way)[0]
            ends = np.concatenate([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]])
            true = np.linalg.norm(points[ends[:, 0]] - points[ends[:, 1]], axis=1)
            errors.append(np.abs(np.linalg.norm(flat[ends[:, 0]] - flat[ends[:, 1]], axis=1) / true - 1).max())
        told = (f"{name} {error:.1e}" for name, error in zip((*PEERS, "ours"), errors, strict=True))
        print(f"  {shell.name:14s}" + "   ".join(told), flush=True)


def growth(quick: bool) -> None:
    """How the cost grows: caps of 60 degrees, the same start for both."""
    print("\nSeconds on a cap of 60 degrees by number of triangles (SLIM: 20 iterations)")
    sizes, ours, theirs = [], [], []
    for rings in (18, 58) if quick else (18, 58, 183):
        case = Case.of(models.cap(60, rings))
        sizes.append(len(case.patches[0].triangles))
        reference = case.measure(partial(case.each, partial(slim, iterations=20)))
        mine = case.measure(partial(case.ours, 0.0))
        theirs.append(reference.seconds)
        ours.append(mine.seconds)
        print(
            f"{sizes[-1]:9d}   SLIM {theirs[-1]:7.2f}   ours {ours[-1]:7.2f}   ratio {ours[-1] / theirs[-1]:5.2f}"
            f"   worst strain {reference.worst:.4f} and {mine.worst:.4f}",
            flush=True,
        )
    for name, seconds in (("SLIM", theirs), ("ours", ours)):
        print(f"  {name} grows as triangles to the power {np.polyfit(np.log(sizes), np.log(seconds), 1)[0]:.2f}")


def one_piece_again() -> None:
    case = Case.of(models.cap(40, 7))
    case.ours(0.0)
    runs = [case.measure(partial(case.ours, 0.0)).seconds for _ in range(5)]
    print(f"\nOne piece of {len(case.patches[0].triangles)} triangles laid flat again: {1000 * min(runs):.0f} ms")


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--bunny", type=Path)
    parser.add_argument("--quick", action="store_true")
    options = parser.parse_args()
    caps()
    developable()
    for shell in models.simple_shells():
        if shell.name == "saddle":
            compare(shell)
    for shell in models.whole_models(options.bunny):
        compare(shell)
    growth(options.quick)
    one_piece_again()


if __name__ == "__main__":
    main()
