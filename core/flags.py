"""Flags on faces: where the knife or the foam is asked for more than usual. Findings on a finished pattern."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import numpy as np
import shapely
from shapely import Polygon

from .call_outs import is_square, spacing_words
from .check import Finding, numbers
from .corner_flags import corner_flags
from .corner_trims import Corners
from .feather import thinnest_edges
from .joints import STEEPEST_BEVEL_DEG
from .makeable import cannot_be_formed
from .pattern import Pattern, PatternPiece
from .progress import Progress, Steps
from .report import common_strain, face_strain, flat_areas
from .settings import Settings
from .tight_bends import TightBend

STAGE = "Looking for trouble"

UNDERCUT_DEG = 0.5
"""A cut that leans by less is square."""

CROWDED_MM2 = 1.0
"""Mouths of two grooves that share more than this leave no face between them."""


def finding_flags(pattern: Pattern, corners: Corners, settings: Settings) -> Steps[list[Finding]]:
    """Every flag of a pattern, each with the shell faces and edges it is about. Yields Progress."""
    found = [*corner_flags(pattern, corners, settings), *_undercuts(pattern)]
    for number, piece in enumerate(pattern.pieces):
        yield Progress(STAGE, number / len(pattern.pieces))
        found += _heavy_bevels(pattern, number, piece, settings.heavy_bevel_deg)
        found += _feather_edges(pattern, number, piece, settings.feather_mm)
        found += [*_tight_bends(pattern, piece), *_grooves(pattern, piece), *_strain(piece)]
    return [*found, *_butts(pattern, settings.butt_mismatch_mm, settings.model_is_inside)]


# --- the knife ---------------------------------------------------------------------------------


def _undercuts(pattern: Pattern) -> Iterator[Finding]:
    """Where the knife leans in under the outline, or cuts into the inside face."""
    leaning = [
        (run.letter, run.edges[side.bevels_deg > UNDERCUT_DEG])
        for run in pattern.runs
        for side in run.sides
        if (side.bevels_deg > UNDERCUT_DEG).any() and not is_square(side)
    ]
    folds = [fold.edges for piece in pattern.pieces for fold in piece.folds]
    kerfs = [bend.edges for piece in pattern.pieces for bend in piece.bends if bend.count]
    edges = _together([*(own for _, own in leaning), *folds, *kerfs])
    if not len(edges):
        return
    letters = list(dict.fromkeys(letter for letter, _ in leaning))
    what = [f"{len(letters)} bevelled run{_s(letters)} ({', '.join(letters)})"] if letters else []
    what += [f"{len(folds)} fold{_s(folds)} cut into the inside face"] if folds else []
    what += [f"{len(kerfs)} row{_s(kerfs)} of relief kerfs or scores"] if kerfs else []
    yield Finding(
        "undercut",
        "note",
        f"Undercuts are needed at {', '.join(what)}.",
        "Trace the larger outline, tilt the blade to the dashed one, and cut folds from the inside face.",
        edges=numbers(edges),
        faces=_beside(pattern, edges),
    )


def _heavy_bevels(pattern: Pattern, number: int, piece: PatternPiece, limit_deg: float) -> Iterator[Finding]:
    heavy = [
        (run.letter, run.edges[steep], float(np.abs(side.bevels_deg).max()))
        for run in pattern.runs
        for side in run.sides
        if side.piece == piece.name and (steep := np.abs(side.bevels_deg) > limit_deg).any()
    ]
    if not heavy:
        return
    letters = list(dict.fromkeys(letter for letter, _, _ in heavy))
    edges = _together(own for _, own, _ in heavy)
    yield Finding(
        "heavy-bevel",
        "warn",
        f"Piece {piece.name} needs bevels of up to {max(bevel for _, _, bevel in heavy):.1f}°, over the limit of "
        f"{limit_deg:.1f}°, at joint{_s(letters)} {', '.join(letters)}.",
        "Share the bend as a mitre, or add a narrow piece between the two; a blade slips easily at such an "
        "angle, so cut away from yourself in several passes.",
        piece=piece.name,
        edges=numbers(edges),
        faces=_beside(pattern, edges, number),
    )


def _feather_edges(pattern: Pattern, number: int, piece: PatternPiece, limit_mm: float) -> Iterator[Finding]:
    thin = thinnest_edges(piece, piece.flat, pattern.runs)
    found = [(run, own, sizes[sizes < limit_mm]) for run, sizes in thin if (own := run.edges[sizes < limit_mm]).size]
    if not found:
        return
    letters = list(dict.fromkeys(run.letter for run, _, _ in found))
    edges = _together(own for _, own, _ in found)
    yield Finding(
        "feather-edge",
        "warn",
        f"Piece {piece.name} runs out to {min(float(sizes.min()) for _, _, sizes in found):.1f} mm close to its "
        f"bevelled edge, under the limit of {limit_mm:.1f} mm, at joint{_s(letters)} {', '.join(letters)}.",
        "Such an edge tears and glues badly: share the bend as a mitre, widen the piece, or choose thinner foam.",
        piece=piece.name,
        edges=numbers(edges),
        faces=_beside(pattern, edges, number),
    )


# --- the foam ----------------------------------------------------------------------------------


def _tight_bends(pattern: Pattern, piece: PatternPiece) -> Iterator[Finding]:
    stock = piece.stock
    for bend in piece.bends:
        limit = stock.tightest_bend * stock.thickness_mm
        relieved = bend.count > 0 and not bend.leaves_no_web
        yield Finding(
            "tight-bend",
            "note" if relieved else "warn",
            f"Piece {piece.name} bends by {abs(bend.bend_deg):.0f}° round an inside radius of "
            f"{max(bend.radius_mm, 0.0):.0f} mm; {stock.name} stands {limit:.0f} mm.",
            _mend_of(bend),
            piece=piece.name,
            edges=numbers(bend.edges),
            faces=_beside(pattern, bend.edges),
        )


def _mend_of(bend: TightBend) -> str:
    cuts = "scores" if bend.bend_deg < 0 else "kerfs"
    if bend.leaves_no_web:
        return f"{cuts.capitalize()} would leave no foam between them: mark a fold along it, or choose thinner foam."
    if bend.count:
        then = f"fill what opens, {bend.opening_mm:.1f} mm each" if cuts == "scores" else "glue them shut"
        where = f"{bend.depth_mm:.1f} mm deep into the inside face, {spacing_words(bend)}"
        return f"Cut {bend.count} {cuts} {where}, and {then}."
    return (
        "Form it warm over something round, in moving air and by the foam's safety data sheet, or have it relieved by "
        f"{cuts}."
    )


def _grooves(pattern: Pattern, piece: PatternPiece) -> Iterator[Finding]:
    for fold in piece.folds:
        if fold.depth_mm >= piece.stock.thickness_mm:
            yield Finding(
                "deep-groove",
                "warn",
                f"Piece {piece.name}: a {fold.kind} of {fold.depth_mm:.1f} mm cuts through {piece.stock.name}.",
                "Choose thicker foam or a thicker skin, or mark the fold as a seam.",
                piece=piece.name,
                edges=numbers(fold.edges),
                faces=_beside(pattern, fold.edges),
            )
    cut = [fold for fold in piece.folds if fold.mouth]
    mouths = np.array([shapely.union_all([Polygon(ring) for ring in fold.mouth]) for fold in cut], object)
    one, other = shapely.STRtree(mouths).query(mouths, predicate="intersects")
    one, other = one[one < other], other[one < other]
    shared = shapely.area(shapely.intersection(mouths[one], mouths[other])) > CROWDED_MM2
    crowded = [cut[place].edges for place in (*one[shared], *other[shared])]
    if crowded:
        edges = _together(crowded)
        yield Finding(
            "crowded-grooves",
            "warn",
            f"Piece {piece.name}: grooves lie so close that their mouths run into each other.",
            "Choose thinner foam, or mark one of the folds as a seam.",
            piece=piece.name,
            edges=numbers(edges),
            faces=_beside(pattern, edges),
        )


def _strain(piece: PatternPiece) -> Iterator[Finding]:
    """What a piece must stretch or give: the strain that 99 % of its flat area keeps to, and the worst."""
    strain, area, common = face_strain(piece), flat_areas(piece), common_strain(piece)
    stock = piece.stock
    hot = strain > stock.hot_limit
    cold = (strain > stock.cold_limit) & ~hot
    must = (
        f"must stretch or squeeze by at most {100 * common:.1f} % on 99 % of its area, "
        f"{100 * strain.max():.1f} % at the worst spot"
    )
    told = f"{must}; {_share(area, hot)} of it is over the {100 * stock.hot_limit:g} % that {stock.name} takes heated"
    divide = "Mark a seam or a dart through the strained faces, or choose smaller pieces."
    where = numbers(np.unique(piece.patch.triangle_face[hot]))
    if cannot_be_formed(piece):
        told = f"Piece {piece.name} cannot be made as it is: it {told}."
        yield Finding("over-strain", "warn", told, divide, piece=piece.name, faces=where)
    elif common > stock.hot_limit:
        yield Finding("hot-strain", "warn", f"Piece {piece.name} {told}.", divide, piece=piece.name, faces=where)
    elif hot.any():
        heat = "Only a spot: heat it well and look whether it gives, or mark a dart through it."
        yield Finding("hot-strain", "note", f"Piece {piece.name} {told}.", heat, piece=piece.name, faces=where)
    if cold.any():
        yield Finding(
            "cold-strain",
            "note",
            f"Piece {piece.name} {must}; {_share(area, hot | cold)} of it is over the {100 * stock.cold_limit:g} % "
            f"that {stock.name} takes cold.",
            "Form it warm, in moving air and by the foam's safety data sheet, or mark a dart through these faces.",
            piece=piece.name,
            faces=numbers(np.unique(piece.patch.triangle_face[cold])),
        )


def _share(area: np.ndarray, chosen: np.ndarray) -> str:
    share = float(area[chosen].sum() / area.sum())
    return f"{100 * share:.0f} %" if share >= 0.01 else "under 1 %"


def _butts(pattern: Pattern, limit_mm: float, model_is_inside: bool) -> Iterator[Finding]:
    """Square edges that do not meet at the face that is not modelled, judged along the joint."""
    face, way = ("outside", -1) if model_is_inside else ("inside", 1)
    shell = pattern.shell
    stock = {piece.name: piece.stock for piece in pattern.pieces}
    for joint in pattern.joints:
        if joint.rule != "butt":
            continue
        thinner = min(stock[side.piece].thickness_mm for side in joint.sides)
        half = np.clip(shell.edge_bend[joint.edges] / 2, *np.radians((-STEEPEST_BEVEL_DEG, STEEPEST_BEVEL_DEG)))
        mismatch = way * 2 * thinner * np.tan(half)
        over = np.abs(mismatch) > limit_mm
        if not over.any():
            continue
        worst = float(mismatch[np.argmax(np.abs(mismatch))])
        edges = joint.edges[over]
        yield Finding(
            "butt-mismatch",
            "warn",
            f"Joint {joint.letter} between {joint.a.piece} and {joint.b.piece}: square edges "
            f"{'overlap' if worst > 0 else 'gape'} by {abs(worst):.1f} mm at the {face} face, over the limit of "
            f"{limit_mm:.1f} mm.",
            "Bevel this joint (mitre or one-sided), or lower the butt limit.",
            edges=numbers(edges),
            faces=_beside(pattern, edges),
        )


# --- helpers -----------------------------------------------------------------------------------


def _beside(pattern: Pattern, edges: np.ndarray, piece: int | None = None) -> tuple[int, ...]:
    """Shell faces at the edges, of one piece if it is given by its place in the pattern."""
    faces = np.unique(pattern.shell.edge_faces[edges])
    faces = faces[faces >= 0]
    return numbers(faces if piece is None else faces[pattern.piece_of_face[faces] == piece])


def _together(edges: Iterable[np.ndarray]) -> np.ndarray:
    return np.unique(np.concatenate([np.empty(0, np.int64), *edges]))


def _s(things: list) -> str:
    return "s" if len(things) > 1 else ""
