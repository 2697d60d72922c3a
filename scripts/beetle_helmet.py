"""The beetle sentry's helmet, fitted to a head. Invented for a village theatre's own play.

Drawn on three grids that share their border rails: the crown (two wing cases that meet in a keel), the band
under its rim, and the lower ring with chin, cheeks, sides and neck. The tables give control points in mm for
a middling head; they are scaled to the actor before anything is built from them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from shell_maker import DemoShell, ShellMaker, fade, rail, span

FOAM_MM = 5.0
CLEARANCE_MM = 15.0
DISC_MM = 8.0
BOSS_MM = DISC_MM + FOAM_MM
"""The boss stands higher than its own foam: one layer goes under it."""


@dataclass(frozen=True)
class Actor:
    """A head in mm. Invented people, sizes within the range of published surveys.

    length : brow to back; breadth : above the ears; circumference : tape around both
    ear_to_top : ear hole to top of head, upright
    """

    name: str
    length: float
    breadth: float
    circumference: float
    ear_to_top: float


DRAWN_FOR = Actor("drawing", length=196, breadth=152, circumference=566, ear_to_top=130)

# The origin is midway between the ear holes. Crown rails run from the brow over the top to the nape;
# the second station is the line where the forehead meets the wing cases.
KEEL = [
    (0, -142, 63), (0, -95, 124), (0, -50, 152), (0, 5, 163),
    (0, 60, 151), (0, 105, 111), (0, 128, 62), (0, 132, 13),
]  # fmt: skip
SHOULDER = [
    (45, -127, 66), (53, -83, 114), (61, -44, 135), (66, 5, 140),
    (65, 56, 126), (60, 97, 87), (51, 119, 39), (34, 127, -8),
]  # fmt: skip
RIM = [
    (83, -86, 66), (91, -52, 88), (99, -18, 82), (102, 18, 71),
    (99, 54, 57), (90, 84, 41), (78, 103, 22), (64, 113, 5),
]  # fmt: skip
CROWN_STEPS = (6, 4, 5, 5, 5, 4, 4)
STRIP = 6
SCUTELLUM = 4

# Lower edge of the band, from the middle of the brow to the temple and on to the middle of the nape.
BAND_FRONT = [(0, -132, 25), (43, -117, 39), (79, -82, 40)]
BAND_SIDE = [
    (79, -82, 40), (92, -55, 40), (97, -18, 46), (98, 18, 40), (92, 52, 24),
    (81, 79, 6), (69, 95, -10), (54, 106, -22), (27, 115, -30), (0, 118, -32),
]  # fmt: skip

# Lower ring: middle of chin, chin valley, mandible edge, two cheek stations, cheek back (= band station 1),
# then under the band's stations. Upper edge (visor), middle line, lower edge.
VISOR = [(0, -147, -24), (16, -142, -26), (34, -146, -19), (62, -128, -13), (81, -98, 4)]
MIDDLE = [
    (0, -150, -60), (20, -146, -62), (43, -152, -62), (69, -131, -54), (87, -98, -42),
    (100, -44, -22), (101, -12, -18), (102, 18, -20), (96, 50, -28), (83, 75, -40),
    (70, 92, -48), (55, 104, -54), (28, 115, -58), (0, 119, -60),
]  # fmt: skip
LOWER = [
    (0, -145, -94), (11, -142, -98), (15, -147, -126), (43, -128, -118), (68, -91, -98),
    (86, -28, -82), (90, -4, -82), (94, 20, -84), (93, 52, -89), (88, 86, -94),
    (79, 109, -97), (66, 124, -100), (34, 138, -104), (0, 143, -106),
]  # fmt: skip
CHIN_STEPS = (4, 3)
CHEEK_STEPS = (5, 5, 6)
HALF_RING = 6
BAND_ROWS = 4

GROUPS = {
    "forehead": "crown", "crown": "crown", "crown side": "crown", "scutellum": "crown",
    "brow": "band", "temple": "band", "nape": "neck", "neck band": "neck",
    "side": "face", "cheek": "face", "chin guard": "face", "ear ring": "ears", "ear boss": "ears",
}  # fmt: skip


def helmet(actor: Actor) -> DemoShell:
    """The helmet for one actor: open shell, its faces the outside of 5 mm foam."""
    fit = _scale_to(actor)
    maker = ShellMaker()
    crown = _crown(maker, fit)
    band = _band(maker, fit, crown)
    side = _lower_ring(maker, fit, band)
    _ear(maker, side, fit)
    return maker.finish(f"helmet, {actor.name}", {"ear ring": DISC_MM, "ear boss": DISC_MM}, GROUPS)


def _scale_to(actor: Actor) -> np.ndarray:
    """(3,) factors from the drawing to the actor: foam and clearance do not grow with the head."""
    gap = FOAM_MM + CLEARANCE_MM

    def outside(head: Actor) -> np.ndarray:
        return np.array([head.breadth + 2 * gap, head.length + 2 * gap, head.ear_to_top + gap])

    return outside(actor) / outside(DRAWN_FOR)


def _crown(maker: ShellMaker, fit: np.ndarray) -> np.ndarray:
    """Grid from keel (first column) to rim (last), first row over the brow, last at the nape."""
    keel, shoulder, rim = (rail(line * fit, CROWN_STEPS, corners=[1]) for line in map(np.array, (KEEL, SHOULDER, RIM)))
    heart = (0, 0, 30)
    front = CROWN_STEPS[0]
    rows = len(keel) - 1
    inner_bulge = np.concatenate([fade(front, 0.02, 0.035)[:-1], fade(rows - front, 0.05, 0.03)])
    outer_bulge = np.concatenate([fade(front, 0.03, 0.05)[:-1], fade(rows - front, 0.07, 0.04)])
    inner = span(keel, shoulder, STRIP, inner_bulge, heart)
    outer = span(shoulder, rim, STRIP, outer_bulge, heart)
    crown = np.concatenate([inner, outer[:, 1:]], axis=1)
    maker.block(crown[: front + 1], "forehead L")
    maker.fold(crown[: front + 1, STRIP])
    _wing_case(maker, inner[front:])
    maker.block(outer[front:], "crown side L")
    return crown


def _wing_case(maker: ShellMaker, grid: np.ndarray) -> None:
    """The inner strip of the crown, less the small triangle that beetles have where the wing cases part."""
    for i in range(SCUTELLUM):
        far = SCUTELLUM - 1 - i
        corner, across, opposite, down = grid[i, far], grid[i, far + 1], grid[i + 1, far + 1], grid[i + 1, far]
        maker.block(grid[i : i + 2, : far + 1], "scutellum")
        maker.block(np.array([[corner, across], [down, down]]), "scutellum")
        maker.block(np.array([[across, across], [down, opposite]]), "crown L")
        maker.block(grid[i : i + 2, far + 1 :], "crown L")
    maker.block(grid[SCUTELLUM:], "crown L")
    maker.fold(grid[: SCUTELLUM + 1, 0])


def _band(maker: ShellMaker, fit: np.ndarray, crown: np.ndarray) -> np.ndarray:
    """Grid around the head, first column at the brow, first row along the crown's rim."""
    top = np.concatenate([crown[0], crown[1:, -1], crown[-1, -2::-1]])
    front = rail(np.array(BAND_FRONT) * fit, (STRIP, STRIP))
    side = rail(np.array(BAND_SIDE) * fit, (*CROWN_STEPS, STRIP, STRIP), smooth_end=True)
    bottom = np.concatenate([front, side[1:]])
    band = span(top, bottom, BAND_ROWS, 0.0, (0, 0, 30))
    maker.block(band[: 2 * STRIP + 1], "brow")
    maker.block(band[2 * STRIP :], "temple L")
    maker.fold(band[0])
    # below the tip of each wing case the band bends out to meet it
    maker.fold(band[-1 - STRIP, : BAND_ROWS // 2 + 1])
    return band


def _lower_ring(maker: ShellMaker, fit: np.ndarray, band: np.ndarray) -> np.ndarray:
    """Chin to nape under the visor and the band; returns the grid of the side panel."""
    hem = band[2 * STRIP + CROWN_STEPS[0] :, -1]
    steps = (*CHIN_STEPS, *CHEEK_STEPS, *CROWN_STEPS[1:], STRIP, STRIP)
    visor = rail([*(np.array(VISOR) * fit), hem[0]], steps[:5], corners=[1, 2])
    upper = np.concatenate([visor, hem[1:]])
    middle = rail(np.array(MIDDLE) * fit, steps, corners=[1, 2, 5], smooth_end=True)
    lower = rail(np.array(LOWER) * fit, steps, corners=[1, 2, 5], smooth_end=True)
    halves = [span(a, b, HALF_RING, 0.0, (0, 0, 0)) for a, b in ((upper, middle), (middle, lower))]
    creased = np.concatenate([halves[0], halves[1][:, 1:]], axis=1)
    smooth = np.stack([rail(section, (HALF_RING, HALF_RING)) for section in np.stack([upper, middle, lower], axis=1)])
    mandible = sum(CHIN_STEPS)
    cheek_back = mandible + sum(CHEEK_STEPS)
    side_back = cheek_back + sum(CROWN_STEPS[1:4])
    # the crease along the middle line lives in the cheek and around the neck
    crease = np.zeros(len(upper))
    crease[mandible : mandible + 6] = fade(5, 0, 1)
    crease[mandible + 5 : cheek_back - 5] = 1
    crease[cheek_back - 6 : cheek_back + 1] = fade(6, 1, 0)
    crease[side_back : side_back + 7] = fade(6, 0, 1)
    crease[side_back + 6 :] = 1
    ring = smooth + (creased - smooth) * crease[:, None, None]
    maker.block(ring[: mandible + 1], "chin guard")
    maker.block(ring[mandible : cheek_back + 1], "cheek L")
    maker.block(ring[cheek_back : side_back + 1], "side L")
    maker.block(ring[side_back:, : HALF_RING + 1], "nape L")
    maker.block(ring[side_back:, HALF_RING:], "neck band L")
    maker.fold(ring[0])
    maker.fold(ring[CHIN_STEPS[0]])
    maker.fold(ring[mandible + 2 : cheek_back - 2, HALF_RING])
    return ring[cheek_back : side_back + 1]


def _ear(maker: ShellMaker, side: np.ndarray, fit: np.ndarray) -> None:
    """A ring and a boss of thicker foam over the side panel that follow its bend; the boss stands higher."""
    y0, z0 = 4 * fit[1], 0.0
    points = side.reshape(-1, 3)

    def terms(y: np.ndarray, z: np.ndarray) -> np.ndarray:
        return np.stack([np.ones_like(y), y - y0, z - z0, (y - y0) ** 2, (y - y0) * (z - z0), (z - z0) ** 2], axis=-1)

    near = np.hypot(points[:, 1] - y0, points[:, 2] - z0) < 45
    bend = np.linalg.lstsq(terms(points[near, 1], points[near, 2]), points[near, 0], rcond=None)[0]
    out = np.array([1.0, -bend[1], -bend[2]]) / np.sqrt(1 + bend[1] ** 2 + bend[2] ** 2)

    def disc(radii: list[float], name: str, height: float) -> None:
        turn = -np.linspace(0, 2 * np.pi, 33)
        turn[-1] = 0.0
        y = y0 + np.outer(radii, np.cos(turn))
        z = z0 + np.outer(radii, np.sin(turn))
        grid = np.stack([terms(y, z) @ bend, y, z], axis=-1) + height * out
        maker.block(grid, name)

    disc([19, 24, 29, 34], "ear ring L", DISC_MM)
    disc([0, 6, 12], "ear boss L", BOSS_MM)
