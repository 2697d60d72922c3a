"""A small pattern built by hand, all data invented: what the tests of sheets, paging and files read.

Six pieces on two stocks: a folded brow band, two cheek plates joined to it (mates), two ear discs with a hole,
and a back plate larger than any page, with an invented strain.
"""

from __future__ import annotations

from dataclasses import replace
from math import cos, pi, radians, sin, tan

import numpy as np
from foamwright.core.check import Finding
from foamwright.core.foam import Stock, eva
from foamwright.core.folds import FoldRun
from foamwright.core.grooves import with_mouths
from foamwright.core.joints import JointRun, JointSide, RimRun, rim_runs
from foamwright.core.layout import Placement, Sheet
from foamwright.core.marks import Note
from foamwright.core.notches import Notch
from foamwright.core.patch import cut_patch
from foamwright.core.pattern import Pattern, PatternPiece
from foamwright.core.settings import Settings
from foamwright.core.shell import Shell

PANEL, BAND_FOOT, BAND_TOP = 100.0, 100.0, 160.0
BAND_BENDS = (40.0, -35.0, 40.0, 40.0)
CHEEK_BEND, CHEEK_DROP, CHEEK_FOOT = 30.0, 120.0, 70.0
DISC_SIDES, DISC_RIM, DISC_HOLE = 24, 55.0, 20.0
BACK_COLUMNS, BACK_ROWS, BACK_WIDTH, BACK_HEIGHT = 8, 6, 480.0, 330.0
THIN, THICK = eva(5.0), eva(8.0)


def sample_pattern(name: str = "beetle sentry, small") -> Pattern:
    shell, flats, face_lists = _shell(name)
    piece_of_face = np.concatenate([np.full(len(faces), index) for index, faces in enumerate(face_lists)])
    band, left, right, disc, other_disc, back = (
        _piece(shell, faces, flat, *words)
        for faces, flat, words in zip(
            face_lists,
            flats,
            [
                ("brow band", None, "head", THIN),
                ("cheek plate left", "cheek plate right", "head", THIN),
                ("cheek plate right", "cheek plate left", "head", THIN),
                ("ear disc left", "ear disc right", "ears", THICK),
                ("ear disc right", "ear disc left", "ears", THICK),
                ("back plate", None, "body", THIN),
            ],
            strict=True,
        )
    )
    joints = (_joint(shell, "A", band, left, 0), _joint(shell, "B", band, right, 4))
    pieces = (
        _band(shell, band, joints),
        _cheek(left, joints[0]),
        _cheek(right, joints[1]),
        disc,
        other_disc,
        _strained(back),
    )
    finding = Finding(
        "heavy-strain",
        "warn",
        "back plate: squeezed by up to 6.0 %, more than EVA 5 mm takes cold.",
        "Heat the foam before it is shaped, or mark a seam through faces 40 to 43.",
        piece="back plate",
        faces=(40, 41, 42, 43),
    )
    return Pattern(shell, piece_of_face, pieces, joints, _sheets(), (finding,), _rims(shell, pieces, joints))


def _shell(name: str) -> tuple[Shell, list[np.ndarray], list[np.ndarray]]:
    """The shell, per piece the flat position of each shell vertex it uses (shell order), and its faces."""
    vertices: list[tuple[float, float, float]] = []
    faces: list[list[int]] = []
    seams: list[tuple[int, int]] = []
    flats, face_lists = [], []

    def add(points: list, flat: list, quads: list[list[int]]) -> None:
        face_lists.append(np.arange(len(faces), len(faces) + len(quads)))
        faces.extend(quads)
        vertices.extend(points)
        flats.append(np.array(flat, float))

    heading = np.cumsum([0.0, *(radians(bend) for bend in BAND_BENDS)])
    plan = np.cumsum([(0.0, 0.0), *((PANEL * cos(h), PANEL * sin(h)) for h in heading)], axis=0)
    rise = BAND_TOP - BAND_FOOT
    add(
        [(x, y, z) for z in (BAND_FOOT, BAND_TOP) for x, y in plan],
        [(i * PANEL, z) for z in (0.0, rise) for i in range(6)],
        [[i, i + 1, i + 7, i + 6] for i in range(5)],
    )
    for panel in (0, 4):
        along = np.array([cos(heading[panel]), sin(heading[panel]), 0.0])
        inward = np.array([-along[1], along[0], 0.0])
        down = sin(radians(CHEEK_BEND)) * inward - cos(radians(CHEEK_BEND)) * np.array([0, 0, 1.0])
        corner = np.array([*plan[panel], BAND_FOOT])
        inset = (PANEL - CHEEK_FOOT) / 2
        base = len(vertices)
        feet = [corner + along * s + down * CHEEK_DROP for s in (inset, PANEL - inset)]
        add(
            [tuple(foot) for foot in feet],
            [(0, CHEEK_DROP), (PANEL, CHEEK_DROP), (inset, 0), (PANEL - inset, 0)],
            [[base, base + 1, panel + 1, panel]],
        )
        seams.append((panel, panel + 1))
    for side in (1, -1):
        turn = [2 * pi * i / DISC_SIDES for i in range(DISC_SIDES)]
        base = len(vertices)
        ring = [(radius * cos(a), radius * sin(a)) for radius in (DISC_RIM, DISC_HOLE) for a in turn]
        quads = [
            [base + i, base + (i + 1) % DISC_SIDES, base + DISC_SIDES + (i + 1) % DISC_SIDES, base + DISC_SIDES + i]
            for i in range(DISC_SIDES)
        ]
        add([(side * 260.0, side * y, 130.0 + z) for y, z in ring], ring, quads)
    base, across = len(vertices), BACK_COLUMNS + 1
    grid = [
        (BACK_WIDTH * (i / BACK_COLUMNS - 0.5) * (1 - 0.35 * (1 - j / BACK_ROWS) ** 2), BACK_HEIGHT * j / BACK_ROWS)
        for j in range(BACK_ROWS + 1)
        for i in range(across)
    ]
    add(
        [(-x, 400.0, z - 300.0) for x, z in grid],
        grid,
        [
            [base + j * across + i + step for step in (0, 1, across + 1, across)]
            for j in range(BACK_ROWS)
            for i in range(BACK_COLUMNS)
        ],
    )
    return Shell.build(vertices, faces, seams=seams, name=name), flats, face_lists


def _piece(
    shell: Shell, faces: np.ndarray, flat: np.ndarray, name: str, mate: str | None, group: str, stock: Stock
) -> PatternPiece:
    patch = cut_patch(shell, faces)
    outlines = tuple(sorted((_ring(flat, loop) for loop in patch.loops), key=_area, reverse=True))
    middle = (flat.min(axis=0) + flat.max(axis=0)) / 2
    hole = len(outlines) > 1
    spot = (middle[0], middle[1] + (37.0 if hole else 0.0))
    size = 3.5 if hole else 5.0
    build = (f"{group} · cut 1 · {stock.name}", f"mate: {mate}" if mate else "no mate", "outside up")
    return PatternPiece(
        name=name,
        mate=mate,
        group=group,
        stock=stock,
        faces=faces,
        patch=patch,
        flat=flat,
        stretch=np.ones((len(patch.triangles), 2)),
        rim_reference=patch.step_lengths(flat),
        outside_outline=outlines,
        inside_outline=tuple(ring.copy() for ring in outlines),
        folds=(),
        notches=(),
        notes=(
            Note("name", (name,), (float(spot[0]), float(spot[1])), 0.0, size),
            Note("build", build, (float(middle[0]), float(spot[1]) - (74.0 if hole else 15.0)), 0.0, 2.5),
        ),
    )


def _rims(shell: Shell, pieces: tuple[PatternPiece, ...], joints: tuple[JointRun, ...]) -> tuple[RimRun, ...]:
    return rim_runs(shell, pieces, [piece.flat for piece in pieces], Settings(rim_style="rounded"), joints)


def _ring(flat: np.ndarray, loop: np.ndarray) -> np.ndarray:
    return flat[np.append(loop, loop[0])]


def _area(ring: np.ndarray) -> float:
    return float(np.sum(ring[:-1, 0] * ring[1:, 1] - ring[1:, 0] * ring[:-1, 1]) / 2)


def _joint(shell: Shell, letter: str, band: PatternPiece, cheek: PatternPiece, panel: int) -> JointRun:
    def side(piece: PatternPiece) -> JointSide:
        path = np.array([int(np.flatnonzero(piece.patch.shell_vertex == v)[0]) for v in (panel, panel + 1)])
        loop = piece.patch.loops[0]
        first = int(np.flatnonzero(np.isin(loop, path) & np.isin(np.roll(loop, -1), path))[0])
        length = float(np.linalg.norm(piece.flat[path[1]] - piece.flat[path[0]]))
        return JointSide(piece.name, 0, np.array([first]), path, CHEEK_BEND / 2, np.array([CHEEK_BEND / 2]), length)

    edge = shell.edge_between(np.array([(panel, panel + 1)]))
    return JointRun(letter, side(band), side(cheek), edge, CHEEK_BEND, CHEEK_BEND, CHEEK_BEND, "mitre", 0.0)


def _joint_marks(piece: PatternPiece, joint: JointRun, side: JointSide, inward: float) -> tuple[Notch, Note]:
    start, end = piece.flat[side.path]
    middle = (start + end) / 2
    notch = Notch(joint.letter, f"{joint.letter}1", (float(middle[0]), float(middle[1])), (0.0, inward))
    words = (joint.letter, f"bevel {side.bevel_deg:g}°")
    spot = (float(start[0] * 0.75 + end[0] * 0.25), float(middle[1] + 9.0 * inward))
    return notch, Note("joint", words, spot, 0.0, 3.0)


def _band(shell: Shell, piece: PatternPiece, joints: tuple[JointRun, ...]) -> PatternPiece:
    marks = [_joint_marks(piece, joint, joint.a, 1.0) for joint in joints]
    inset = THIN.thickness_mm * tan(radians(CHEEK_BEND / 2))
    rise, length = BAND_TOP - BAND_FOOT, 5 * PANEL
    ring = [(0, inset), (100, inset), (100, 0), (400, 0), (400, inset), (length, inset), (length, rise), (0, rise)]
    inside = (np.array([*ring, ring[0]], float),)
    folds, notes = [], []
    foot = {int(v): i for i, v in enumerate(piece.patch.shell_vertex)}
    for corner, bend in enumerate(BAND_BENDS, start=1):
        ridge = bend > 0
        depth = THIN.thickness_mm - THIN.skin_mm if ridge else THIN.thickness_mm / 2
        mouth = 2 * depth * tan(radians(abs(bend)) / 2)
        path = np.array([foot[corner], foot[corner + 6]])
        hinge = THIN.skin_mm / 2 if ridge else (THIN.thickness_mm - depth) / 2
        kind = "groove" if ridge else "score"
        edges = shell.edge_between(np.array([(corner, corner + 6)]))
        folds.append(FoldRun(piece.name, kind, path, edges, bend, bend, bend, depth, mouth, hinge))
        notes.append(Note("fold", (f"{kind} {depth:g} mm deep",), (corner * PANEL - 5.0, 30.0), pi / 2, 2.2))
    return replace(
        piece,
        inside_outline=inside,
        folds=with_mouths(shell, piece.patch, piece.flat, folds, inside),
        notches=tuple(notch for notch, _ in marks),
        notes=piece.notes + tuple(note for _, note in marks) + tuple(notes),
    )


def _cheek(piece: PatternPiece, joint: JointRun) -> PatternPiece:
    notch, note = _joint_marks(piece, joint, joint.b, -1.0)
    inset = THIN.thickness_mm * tan(radians(CHEEK_BEND / 2))
    slope = (PANEL - CHEEK_FOOT) / 2 / CHEEK_DROP
    inside = piece.outside_outline[0].copy()
    top = np.isclose(inside[:, 1], CHEEK_DROP)
    inside[top] += np.where(inside[top, :1] < PANEL / 2, [[slope * inset, -inset]], [[-slope * inset, -inset]])
    return replace(piece, inside_outline=(inside,), notches=(notch,), notes=(*piece.notes, note))


def _strained(piece: PatternPiece) -> PatternPiece:
    centre = piece.flat[piece.patch.triangles].mean(axis=1)
    part = (centre - centre.min(axis=0)) / np.ptp(centre, axis=0)
    pulled = 1 + 0.06 * part[:, 0] ** 2 * part[:, 1]
    squeezed = 1 - 0.06 * (1 - part[:, 0]) ** 2
    return replace(piece, stretch=np.stack([pulled, np.minimum(squeezed, pulled)], axis=1))


def _sheets() -> tuple[Sheet, ...]:
    thin = (
        Placement("brow band", 0.0, 10.0, 10.0),
        Placement("back plate", 0.0, 260.0, 90.0),
        Placement("cheek plate left", 0.0, 540.0, 90.0),
        Placement("cheek plate right", pi, 760.0, 240.0),
    )
    thick = (Placement("ear disc left", 0.0, 62.0, 62.0), Placement("ear disc right", 0.5, 180.0, 62.0))
    return (
        Sheet(1, THIN.name, 1000.0, 600.0, thin, 0.42),
        Sheet(2, THICK.name, 1000.0, 600.0, thick, 0.11),
    )
