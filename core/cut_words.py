"""What the bend along a cut asks of the knife, with the cut and without it."""

from __future__ import annotations

import numpy as np

from .folds import STRAIGHT_DEG
from .joints import joint_rule, share_bend
from .settings import Settings
from .sheets.tables import bend_words, degrees_text


def cut_words(bend_deg: float, settings: Settings) -> str:
    """Both choices in a line: "ridge 68°: bevel 34° on each edge; without the cut a V-groove".

    bend_deg : the mean along the cut, + ridge, - valley
    """
    return f"{bend_words(bend_deg)}: {_edges(bend_deg, settings)}; without the cut {_fold(bend_deg, settings)}"


def _edges(bend_deg: float, settings: Settings) -> str:
    rule = joint_rule(bend_deg, settings)
    steeper = np.abs(share_bend(np.array([bend_deg]), rule, True)).max()
    if steeper < STRAIGHT_DEG:
        return "square edges"
    longer = ", inside longer" if bend_deg < 0 else ""
    return f"bevel {degrees_text(steeper)} on {'each edge' if rule == 'mitre' else 'one edge'}{longer}"


def _fold(bend_deg: float, settings: Settings) -> str:
    if abs(bend_deg) <= settings.fold_limit_deg:
        return "the foam bends uncut"
    return "a V-groove that closes" if bend_deg > 0 else "a score that opens"
