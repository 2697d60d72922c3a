"""The beetle sentry's shoulder plate and forearm guard, in mm, one size. Invented like the helmet."""

from __future__ import annotations

import numpy as np
from shell_maker import DemoShell, ShellMaker, fade, rail, span

# Shoulder plate: out from the neck is -y, x runs along the wearer's side. The cap's lines run from neck to arm.
CAP_KEEL = [(0, 72, 50), (0, 24, 76), (0, -28, 70), (0, -74, 32)]
CAP_SHOULDER = [(40, 74, 40), (50, 24, 61), (53, -28, 52), (47, -70, 17)]
CAP_RIM = [(70, 66, 6), (86, 24, 8), (92, -24, -4), (86, -56, -30)]
CAP_STEPS = (5, 5, 5)
CAP_STRIP = 5

# Lames: crest, middle and end of the upper arch, which slides under the part above, and of the lower arch.
LAMES = [
    ([(0, -62, 37), (45, -58, 21), (78, -46, -20)], [(0, -88, -2), (50, -79, -17), (86, -54, -62)]),
    ([(0, -80, 2), (45, -72, -13), (78, -48, -54)], [(0, -95, -38), (49, -84, -52), (84, -54, -95)]),
    ([(0, -87, -34), (44, -77, -48), (76, -48, -88)], [(0, -98, -74), (46, -85, -88), (79, -54, -127)]),
]
LAME_STEPS = (7, 6)
LAME_ROWS = 4

# Forearm guard: half a section of the tube at the elbow end: the raised spine, flat on top, and the wrap from
# its foot around to the slit.
SPINE = [(0, -76), (8, -76), (20, -63)]
SPINE_STEPS = (1, 2)
WRAP = [(20, -63), (50, -47), (68, -4), (55, 38), (16, 58)]
WRAP_STEPS = (4, 5, 5, 4)
WRAP_CREASE = 2
TUBE_LENGTH = 185.0
WRIST_SCALE = 0.68
ELBOW_SCALE = 1.24
CUFF_SCALE = 0.78


def shoulder_plate() -> DemoShell:
    """A domed cap, and under its edge three lames that slide over each other like the rings of a beetle."""
    maker = ShellMaker()
    keel, shoulder, rim = (rail(line[::-1], CAP_STEPS) for line in (CAP_KEEL, CAP_SHOULDER, CAP_RIM))
    rows = len(keel) - 1
    inside = (0, 0, -10)
    maker.block(span(keel, shoulder, CAP_STRIP, fade(rows, 0.05, 0.03), inside), "cap L")
    maker.block(span(shoulder, rim, CAP_STRIP, 0.05, inside), "cap side L")
    groups = {"cap": "cap", "cap side": "cap"}
    for number, (upper, lower) in enumerate(LAMES, start=1):
        lame = span(rail(upper, LAME_STEPS), rail(lower, LAME_STEPS), LAME_ROWS, 0.0, inside)
        maker.block(lame, f"lame {number}")
        maker.fold(lame[0])
        groups[f"lame {number}"] = "lames"
    return maker.finish("shoulder plate", {}, groups)


def forearm_guard() -> DemoShell:
    """A tapered tube, open along the underside, with a raised spine, a flared elbow and a wrist cuff."""
    section = np.concatenate([rail(SPINE, SPINE_STEPS, corners=[1]), rail(WRAP, WRAP_STEPS, corners=[WRAP_CREASE])[1:]])
    edge, foot = SPINE_STEPS[0], sum(SPINE_STEPS)
    crease = foot + sum(WRAP_STEPS[:WRAP_CREASE])
    # the flare rises to a point over the elbow
    rise = 24 + 34 * np.clip(-section[:, 1] / 76, 0, 1) ** 2
    elbow_end, elbow = _ring(section, ELBOW_SCALE, rise), _ring(section, 1.0, 0.0)
    wrist, cuff_end = _ring(section, WRIST_SCALE, -TUBE_LENGTH), _ring(section, CUFF_SCALE, -TUBE_LENGTH - 26)
    flare, tube, cuff = (
        span(upper, lower, rows, 0.0, (0, 0, 0))
        for upper, lower, rows in ((elbow_end, elbow, 4), (elbow, wrist, 12), (wrist, cuff_end, 2))
    )
    maker = ShellMaker()
    maker.block(tube[: foot + 1], "spine")
    maker.block(tube[foot:], "forearm L")
    maker.block(flare, "elbow flare")
    maker.block(cuff, "wrist cuff")
    for grid in (flare, tube, cuff):
        maker.fold(grid[edge])
        maker.fold(grid[crease])
    for grid in (flare, cuff):
        maker.fold(grid[foot])
    groups = dict.fromkeys(("spine", "forearm", "elbow flare", "wrist cuff"), "forearm")
    return maker.finish("forearm guard", {}, groups)


def _ring(section: np.ndarray, scale: float, z: float | np.ndarray) -> np.ndarray:
    """The tube's section (n, 2), scaled, at height z."""
    return np.column_stack([section * scale, np.broadcast_to(z, len(section))])
