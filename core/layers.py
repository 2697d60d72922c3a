"""Build-up layers: foam cut to go under a raised panel, or between a recessed one and what it lies behind.

A layer under a panel is the panel laid flat once more at its own depth in the stack, and its edges go on along the
panel's bevels. A spacer behind a window is as much of the panel as lies under foam.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import zip_longest

import numpy as np
import shapely
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from shapely import LineString

from .buildup import ENOUGH_MM, BuildUp, finding_buildups, layers_for
from .check import Finding, numbers
from .corner_trims import find_corners
from .errors import SettingsError
from .flatten import Flat, flatten_pieces
from .joints import JointRun, Run, both_outlines, far_parts
from .marks import write_notes
from .pattern import Pattern, PatternPiece
from .pieces import Piece
from .progress import Progress, Steps, even, finish, share
from .settings import Settings
from .spacers import under_foam
from .tight_bends import find_tight_bends

LAYER, SPACER = "layer", "spacer"
TURNED_AWAY = "it is {what}, so that no layer under it can be cut by its outline"


def cut_layers(pattern: Pattern, settings: Settings) -> Steps[tuple[PatternPiece, ...]]:
    """All layers of the panels of a pattern that wants them, panel by panel, from the panel inwards.

    Raises SettingsError where a piece has the name of a layer.
    """
    yield Progress("Cutting build-up layers", 0.0)
    found = yield from share(finding_buildups(pattern, settings), 0, 0.1)
    builds = []
    for build in found:
        yield Progress("Cutting build-up layers", 0.1)
        builds += [build] if not obstacle(pattern, build, settings) else []
    stacks = [list(_courses(pattern, build, settings)) for build in builds]
    made: dict[Course, PatternPiece] = {}
    # those of one depth together: panels that are joined have layers that are joined, equally long
    levels = list(zip_longest(*(stack for stack in stacks if stack[0].build.height_mm > 0)))
    for level, (first, last) in zip(levels, even(len(levels), 0.1), strict=True):
        laid = [course for course in level if course]
        bare = [course.bare for course in laid]
        steps = flatten_pieces(pattern.shell, bare, [[course] for course in laid], settings)
        flats = yield from share(steps, first, last)
        made |= dict(zip(laid, _layers(pattern, laid, flats), strict=True))
    made |= {course: _spacer(pattern, course) for stack in stacks for course in stack if course not in made}
    return _numbered(pattern, [made[course] for stack in stacks for course in stack])


def obstacle(pattern: Pattern, build: BuildUp, settings: Settings) -> str:
    """Why no layers can be cut for a panel, as words that follow a colon; empty where they can."""
    panel = pattern.piece(build.piece)
    if not build.layers:
        return "no sheet is thin enough"
    together = _hanging_together(pattern)
    if together[build.piece] == together[build.over]:
        return "its joints hold it there; model it as a loose part over a whole face to have layers cut"
    if build.height_mm < 0:
        spacer = under_foam(pattern, panel, build.height_mm)
        return "" if spacer is not None else "it is not flat, or too little of it lies under foam"
    if panel.folds:
        return TURNED_AWAY.format(what="folded")
    last = list(_courses(pattern, build, settings))[-1]
    if _bends_too_tightly(pattern, last, settings):
        return TURNED_AWAY.format(what="bent too tightly")
    depth = last.depth_mm + last.bare.stock.thickness_mm
    if len(far_parts(_as_deep_as(panel, depth), panel.flat, pattern.runs)) != 1:
        return "its bevels leave no foam that deep"
    return ""


def buildup_findings(pattern: Pattern, settings: Settings) -> Steps[list[Finding]]:
    """A note for each panel that wants building up, with what is cut for it or why nothing is. Yields Progress."""
    builds = yield from finding_buildups(pattern, settings)
    found = []
    for build in builds:
        yield Progress("Looking for raised panels", 1.0)
        found.append(_buildup_finding(pattern, build, settings))
    return found


def _buildup_finding(pattern: Pattern, build: BuildUp, settings: Settings) -> Finding:
    piece, height = pattern.piece(build.piece), abs(build.height_mm)
    where = "stands {:.1f} mm over {}" if build.height_mm > 0 else "lies {:.1f} mm behind the face of {}"
    return Finding(
        "build-up",
        "note",
        f"Piece {build.piece} {where.format(height, build.over)}, and {build.foam_mm:g} mm of that is foam.",
        " ".join([_mend_of(pattern, build, settings), *_other_foam(build, settings)]),
        piece=build.piece,
        faces=numbers(piece.faces),
    )


def _mend_of(pattern: Pattern, build: BuildUp, settings: Settings) -> str:
    if not build.layers:
        return f"As it is it comes out {_fit(build.error_mm)}."
    stack = " + ".join(f"{stock.thickness_mm:g}" for stock in build.layers)
    place = "under it" if build.height_mm > 0 else "between the two"
    why_not = obstacle(pattern, build, settings)
    if why_not:
        return f"It takes {stack} mm {place}, {_fit(build.error_mm)}, but {why_not}."
    if settings.cut_layers:
        return f"{stack} mm {'is' if len(build.layers) == 1 else 'are'} cut to go {place}, {_fit(build.error_mm)}."
    return f"Glue {stack} mm {place}, {_fit(build.error_mm)}; let build-up layers be cut to have that on the sheets."


def _other_foam(build: BuildUp, settings: Settings) -> Iterator[str]:
    """The foam that would come nearer to the height, where layers leave more than needs no word."""
    if abs(build.error_mm) > ENOUGH_MM:
        stack, error = layers_for(abs(build.height_mm), [stock.thickness_mm for stock in settings.stocks])
        if stack and abs(error) < abs(build.error_mm):
            yield f"With {stack[0]:g} mm foam for {build.foam_of} itself it can be made {_fit(error)}."


def _fit(error_mm: float) -> str:
    return "exactly" if abs(error_mm) < 0.05 else f"{abs(error_mm):.1f} mm too {'high' if error_mm > 0 else 'low'}"


@dataclass(frozen=True, eq=False)
class Course:
    """One layer before it is laid flat.

    bare : its name, mate and stock, on the panel's patch; depth_mm : from the modelled face to its outside face
    path, hinge_depth_mm : what `flatten_pieces` asks of a hinge: all vertices lie at the layer's own neutral depth
    """

    build: BuildUp
    panel: PatternPiece
    bare: Piece
    depth_mm: float
    path: np.ndarray
    hinge_depth_mm: float


# --- helpers -----------------------------------------------------------------------------------


def _courses(pattern: Pattern, build: BuildUp, settings: Settings) -> Iterator[Course]:
    panel, raised = pattern.piece(build.piece), build.height_mm > 0
    word, first = (LAYER, 2) if raised else (SPACER, 1)
    last = first + len(build.layers) - 1
    # seen from an inside face that is modelled, the panel's own foam lies outside
    depth = panel.stock.thickness_mm if raised and not settings.model_is_inside else 0.0
    for place, stock in enumerate(build.layers):
        names = [f"{name}, {word} {first + place} of {last}" if name else None for name in (panel.name, panel.mate)]
        bare = Piece(names[0] or "", names[1], panel.group, stock, panel.faces, panel.patch)
        neutral = depth + stock.neutral_depth * stock.thickness_mm
        # `reference_corners` counts from the outside face of the piece's own foam
        hinge = neutral + (stock.thickness_mm if settings.model_is_inside else 0.0)
        yield Course(build, panel, bare, depth, np.arange(panel.patch.vertex_count), hinge)
        depth += stock.thickness_mm


def _layers(pattern: Pattern, laid: Sequence[Course], flats: Sequence[Flat]) -> list[PatternPiece]:
    """Those of one level, without their words."""
    outside = _rings_at(pattern, laid, flats, [course.depth_mm for course in laid])
    inside = _rings_at(pattern, laid, flats, [course.depth_mm + course.bare.stock.thickness_mm for course in laid])
    return [_part(*known) for known in zip(laid, flats, outside, inside, strict=True)]


def _spacer(pattern: Pattern, course: Course) -> PatternPiece:
    panel, covered = course.panel, under_foam(pattern, course.panel, course.build.height_mm)
    assert covered is not None, "obstacle() has said so"
    rings = tuple(np.array(ring.coords) for ring in (covered.exterior, *covered.interiors))
    return _part(course, Flat(panel.flat, panel.stretch, panel.rim_reference), rings, rings)


def _part(course: Course, flat: Flat, outside: tuple[np.ndarray, ...], inside: tuple[np.ndarray, ...]) -> PatternPiece:
    """Without its words."""
    return replace(PatternPiece.bare(course.bare, flat, outside, inside), layer_of=course.panel.name)


def _numbered(pattern: Pattern, layers: Sequence[PatternPiece]) -> tuple[PatternPiece, ...]:
    """With their words; a mate that has no such layer is none."""
    names = {layer.name for layer in layers}
    for piece in pattern.pieces:
        if piece.name in names:
            raise SettingsError(f"Piece '{piece.name}' has the name of a build-up layer; give it another one.")
    return tuple(
        with_words(replace(layer, mate=layer.mate if layer.mate in names else None), number, pattern.runs)
        for number, layer in enumerate(layers, start=len(pattern.pieces) + 1)
    )


def with_words(layer: PatternPiece, number: int, runs: Sequence[Run]) -> PatternPiece:
    """The layer with its name, its stock and the bevels of its edges written on it.

    number : among all parts of the pattern, from 1; runs : of the pattern.
    """
    bare = Piece(layer.name, layer.mate, layer.group, layer.stock, layer.faces, layer.patch)
    joints, rims = [], []
    for run in () if is_spacer(layer) else runs:
        own = [side.piece == layer.layer_of for side in run.sides]
        if any(mine and side.bevels_deg.any() for mine, side in zip(own, run.sides, strict=True)):
            sides = [replace(s, piece=layer.name) if mine else s for mine, s in zip(own, run.sides, strict=True)]
            if isinstance(run, JointRun):
                joints.append(replace(run, a=sides[0], b=sides[1]))
            else:
                rims.append(replace(run, side=sides[0]))
    # bevels have taken the rims inwards from where the panel has them
    flat, rim = layer.flat.copy(), np.concatenate(layer.patch.loops)
    edge = shapely.multilinestrings([LineString(ring) for ring in layer.outside_outline])
    flat[rim] = shapely.get_coordinates(shapely.shortest_line(edge, shapely.points(flat[rim])))[::2]
    notes = finish(write_notes(bare, number, flat, layer.outside_outline, joints, (), rims=rims))
    return replace(layer, notes=notes)


def is_spacer(layer: PatternPiece) -> bool:
    """Whether it goes before its panel, not under it."""
    return layer.name.removeprefix(f"{layer.layer_of}, ").startswith(SPACER)


def _rings_at(
    pattern: Pattern, laid: Sequence[Course], flats: Sequence[Flat], depths: Sequence[float]
) -> list[tuple[np.ndarray, ...]]:
    """The edges of each panel, and the corners they are trimmed by, at its depth below its modelled face; on its
    layer's flat."""
    places = [flat.vertices for flat in flats]
    if not all(depths):
        return [both_outlines(course.panel, flat, ())[0] for course, flat in zip(laid, places, strict=True)]
    deep = [_as_deep_as(course.panel, depth) for course, depth in zip(laid, depths, strict=True)]
    corners = find_corners(pattern.shell, deep, places, pattern.runs)
    return [
        both_outlines(panel, flat, pattern.runs, cut_off=corners.cuts_of(panel.name))[1]
        for panel, flat in zip(deep, places, strict=True)
    ]


def _as_deep_as(panel: PatternPiece, depth: float) -> PatternPiece:
    """The panel as if it were cut from one foam as thick as the stack down to `depth`."""
    return replace(panel, stock=replace(panel.stock, thickness_mm=depth, skin_mm=0.0))


def _hanging_together(pattern: Pattern) -> dict[str, int]:
    """Per piece the number of what is glued together with it by joints."""
    number = {piece.name: index for index, piece in enumerate(pattern.pieces)}
    one, other = ([number[getattr(joint, side).piece] for joint in pattern.joints] for side in "ab")
    graph = coo_array((np.ones(len(one)), (one, other)), shape=(len(number), len(number)))
    label = connected_components(graph, directed=False)[1]
    return {name: int(label[index]) for name, index in number.items()}


def _bends_too_tightly(pattern: Pattern, last: Course, settings: Settings) -> bool:
    """Whether the innermost layer is bent round less than its stock stands: judged as one foam as deep as all, whose
    limit is that of the last layer."""
    stock = last.bare.stock
    depth = last.depth_mm + stock.thickness_mm
    whole = replace(stock, thickness_mm=depth, tightest_bend=stock.tightest_bend * stock.thickness_mm / depth)
    return bool(find_tight_bends(pattern.shell, replace(last.bare, stock=whole), (), settings))
