"""Suggested seams against charts of xatlas, Blender's smart projection, and cuts at sharp edges. Run through bench.py.

Every peer's charts are laid flat by our flattening; its own option is tuned until no chart strains over the
limit (99 % of a chart's area), and the setting with the least seam is kept.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import bench_models as models
import numpy as np
import xatlas
from foamwright.core.errors import FoamwrightError
from foamwright.core.patch import cut_patch
from foamwright.core.pieces import split
from foamwright.core.progress import finish
from foamwright.core.seams import SuggestionLimits, suggest
from foamwright.core.seams.outlook import Laid, really_laid
from foamwright.core.shell import Shell
from foamwright.core.symmetry import mirror_map
from scipy.optimize import brentq

LIMIT = 0.05
HEADINGS = f"{'':22s}{'strain %':>9s}{'seam m':>8s}{'pieces':>8s}{'narrow mm':>11s}{'mirrored':>10s}{'s':>8s}"


Charts = Iterator[tuple[str, Shell, np.ndarray]]
"""Setting, shell, seam mask; from lenient to strict."""


# --- the peers ------------------------------------------------------------------------------------


def smart_projection(shell: Shell) -> Charts:
    import bpy

    for degrees in (80, 66, 55, 45, 40, 35, 30, 25, 20, 15, 10, 6):
        bpy.ops.wm.read_factory_settings(use_empty=True)
        mesh = bpy.data.meshes.new("shell")
        mesh.from_pydata(shell.vertices.tolist(), [], [face.tolist() for face in shell.faces])
        obj = bpy.data.objects.new("shell", mesh)
        bpy.context.collection.objects.link(obj)
        bpy.context.view_layer.objects.active = obj
        obj.select_set(True)
        bpy.ops.object.mode_set(mode="EDIT")
        bpy.ops.mesh.select_all(action="SELECT")
        bpy.ops.uv.smart_project(angle_limit=float(np.radians(degrees)), island_margin=0.01)
        bpy.ops.object.mode_set(mode="OBJECT")
        uv = np.empty(2 * len(mesh.loops))
        mesh.uv_layers.active.data.foreach_get("uv", uv)
        yield f"{degrees} degrees", shell, seams_of_corners(shell, uv.reshape(-1, 2))


def xatlas_charts(shell: Shell) -> Charts:
    # it cuts along the diagonals of faces too
    whole = Shell.build(shell.vertices, shell.triangles, name=shell.name)
    for cost in (8.0, 4.0, 2.0, 1.0, 0.5, 0.25, 0.12, 0.06, 0.03, 0.015):
        options = xatlas.ChartOptions()
        options.max_cost = cost
        atlas = xatlas.Atlas()
        atlas.add_mesh(whole.vertices.astype(np.float32), whole.triangles.astype(np.uint32))
        atlas.generate(chart_options=options)
        _, triangles, uv = atlas[0]
        yield f"cost {cost:g}", whole, seams_of_corners(whole, np.asarray(uv)[triangles].reshape(-1, 2))


def sharp_edges(shell: Shell) -> Charts:
    yield "30 degrees", shell, np.abs(shell.edge_bend) > np.radians(30)


PEERS: dict[str, Callable[[Shell], Charts]] = {
    "smart projection": smart_projection,
    "xatlas": xatlas_charts,
    "edges over 30 degrees": sharp_edges,
}


def seams_of_corners(shell: Shell, uv: np.ndarray) -> np.ndarray:
    """(k,) bool, edges whose two faces have other map coordinates; uv (c, 2) per corner."""
    ends = np.stack([uv, uv[shell.corner_next]], axis=1)
    forward = shell.corner_vertex == shell.edges[shell.corner_edge, 0]
    ends = np.where(forward[:, None, None], ends, ends[:, ::-1]).reshape(-1, 4)
    low, high = np.full((shell.edge_count, 4), np.inf), np.full((shell.edge_count, 4), -np.inf)
    np.minimum.at(low, shell.corner_edge, ends)
    np.maximum.at(high, shell.corner_edge, ends)
    return ((high - low).max(axis=1) > 1e-5) & shell.edge_is_consistent


# --- measuring ------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Measured:
    """Worst strain over the charts, seam in m, number of charts, least width in mm, part of seam that mirrors."""

    strain: float
    seam_m: float
    pieces: int
    narrowest: float
    mirrored: float
    seconds: float
    setting: str = ""

    def row(self, name: str) -> str:
        return (
            f"{name:22s}{100 * self.strain:9.2f}{self.seam_m:8.2f}{self.pieces:8d}{self.narrowest:11.0f}"
            f"{100 * self.mirrored:9.0f}%{self.seconds:8.1f}  {self.setting}"
        )


def charts_laid(shell: Shell, seam: np.ndarray, give_up: float = np.inf) -> list[Laid]:
    """Every chart laid flat; a closed one counts as strained without bound. Stops at the first over `give_up`."""
    live = shell.with_seams(seam)
    label = split(live)
    laid = []
    for number in range(label.max() + 1):
        try:
            patch = cut_patch(live, np.flatnonzero(label == number))
            laid.append(finish(really_laid(shell.vertices[patch.shell_vertex], patch)))
        except FoamwrightError:
            laid.append(Laid(np.empty((0, 2)), np.inf, (0.0, 0.0), 0.0, np.empty(0)))
        if laid[-1].strain > give_up:
            break
    return laid


def measured(shell: Shell, seam: np.ndarray, laid: list[Laid], seconds: float, setting: str = "") -> Measured:
    mirror, length = mirror_map(shell), shell.edge_length
    mirrored = np.nan
    if mirror is not None and seam.any():
        image = shell.edge_between(mirror.vertex[shell.edges])
        mirrored = float(length[seam & seam[image] & (image >= 0)].sum() / length[seam].sum())
    return Measured(
        max(one.strain for one in laid),
        float(length[seam].sum()) / 1000,
        len(laid),
        min(one.size_mm[1] for one in laid),
        mirrored,
        seconds,
        setting,
    )


def best_of(shell: Shell, peer: Callable[[Shell], Charts], limit: float) -> Measured | None:
    """The peer's plan with the least seam of those that keep to the limit; None if none does."""
    best, started = None, time.perf_counter()
    for setting, cut, seam in peer(shell):
        seconds = time.perf_counter() - started
        total = cut.edge_length[seam].sum() / 1000
        if best is None or total < best.seam_m:
            laid = charts_laid(cut, seam, limit)
            if max(one.strain for one in laid) <= limit:
                best = measured(cut, seam, laid, seconds, setting)
        started = time.perf_counter()
    return best


def compare(shell: Shell, limit: float) -> None:
    print(f"\n{shell.name}: {shell.face_count} faces, limit {100 * limit:g} %\n{HEADINGS}")
    peers = {}
    for name, peer in PEERS.items():
        found = best_of(shell, peer, limit)
        print(f"{name:22s}   no setting keeps to the limit" if found is None else found.row(name), flush=True)
        if found is not None:
            peers[name] = found
    started = time.process_time()
    plan = finish(suggest(shell, SuggestionLimits(limit)))
    seconds = time.process_time() - started
    ours = measured(shell, plan.seam, charts_laid(shell, plan.seam), seconds)
    print(ours.row("ours"))
    if peers:
        shortest, fewest = min(p.seam_m for p in peers.values()), min(p.pieces for p in peers.values())
        print(
            f"  seam {ours.seam_m / shortest:.2f} of the best peer's, {ours.pieces} pieces against {fewest}; "
            f"within the limit: {'yes' if ours.strain <= limit else 'NO'}",
            flush=True,
        )


def by_hand() -> None:
    """The demo's shells as the maker marked them, and suggestions at the strain that those seams have."""
    print("\nThe demo's own seams, and ours at their strain")
    for marked in models.marked_shells():
        laid = charts_laid(marked, marked.seam)
        hand = measured(marked, marked.seam, laid, 0.0)
        bare = marked.with_seams(np.zeros(marked.edge_count, bool))
        started = time.process_time()
        plan = finish(suggest(bare, SuggestionLimits(hand.strain)))
        seconds = time.process_time() - started
        ours = measured(bare, plan.seam, charts_laid(bare, plan.seam), seconds)
        print(f"{marked.name}\n{HEADINGS}\n{hand.row('by hand')}\n{ours.row('ours')}", flush=True)


def sphere_bound() -> None:
    """A sphere of head size against caps (J. Milnor, A Problem in Cartography, 1969) and classic gores."""
    shell = models.head_sphere()
    started = time.process_time()
    plan = finish(suggest(shell, SuggestionLimits(LIMIT)))
    seconds = time.process_time() - started
    spread = np.log((1 + LIMIT) / (1 - LIMIT))
    cap = brentq(lambda a: np.log(a / np.sin(a)) - spread, 0.01, 1.5)
    # the rim of a strip about a great circle is cos a as long as its middle; seam is half of all rims
    strip = np.arccos((1 - LIMIT) / (1 + LIMIT))
    radius = models.HEAD_MM / (2 * np.pi) / 1000
    gores = next(n for n in range(3, 99) if gore_edge_excess(n) <= LIMIT)
    print(f"\nSphere of {models.HEAD_MM:g} mm around, +-{100 * LIMIT:g} %")
    print(f"  caps of at most {np.degrees(cap):.1f} degrees: by area no fewer than {2 / (1 - np.cos(cap)):.1f}")
    print(
        f"  strips as wide as the limit allows ({2 * np.degrees(strip):.1f} degrees), without waste: "
        f"{2 * np.pi * radius / np.tan(strip):.2f} m"
    )
    print(f"  gores whose edges are at most {100 * LIMIT:g} % long: {gores}, {gores * models.HEAD_MM / 2000:.2f} m")
    print(
        f"  ours: {len(plan.pieces)} pieces, {plan.length_mm / 1000:.2f} m, strain {100 * plan.strain:.2f} %, "
        f"{seconds:.1f} s"
    )


def gore_edge_excess(count: int) -> float:
    """By how much the edge of one of `count` classic gores of a unit sphere is longer than its meridian."""
    s = np.linspace(-np.pi / 2, np.pi / 2, 2001)
    return float(np.hypot(np.diff(s), np.diff(np.pi / count * np.cos(s))).sum() / np.pi - 1)


def large(quick: bool) -> None:
    print("\nSeconds of work by number of faces")
    for splits in (3, 4) if quick else (3, 4, 5, 6):
        shell = models.knobbly(splits)
        started = time.process_time()
        plan = finish(suggest(shell, SuggestionLimits(LIMIT)))
        seconds = time.process_time() - started
        print(
            f"  {shell.face_count:8d} faces {seconds:8.1f} s, {len(plan.pieces)} pieces, {plan.length_mm / 1000:.2f} m"
        )


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--bunny", type=Path)
    parser.add_argument("--quick", action="store_true")
    options = parser.parse_args()
    for shell in models.bare_models(options.bunny):
        compare(shell, LIMIT)
    by_hand()
    sphere_bound()
    large(options.quick)


if __name__ == "__main__":
    main()
