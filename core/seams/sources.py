"""Seams that are there already, and seams that complete an unprepared shell by where its faces look."""

from __future__ import annotations

import numpy as np

from ..check import refuse_slivers
from ..completion import TURN_LIMIT, Completion
from ..errors import SettingsError
from ..progress import Steps, share, telling
from ..shell import Shell

SOURCES = ("stored", "sharp", "all")


def seams_from(shell: Shell, source: str, sharp_deg: float = 30.0) -> Shell:
    """The shell with its own seams ("stored"), seams where it bends sharply instead ("sharp"), or both ("all").

    Raises SettingsError for another word.
    """
    if source not in SOURCES:
        raise SettingsError(f"Seams from '{source}' are unknown; choose one of {', '.join(SOURCES)}.")
    sharp = np.abs(shell.edge_bend) > np.radians(sharp_deg)
    return shell.with_seams({"stored": shell.seam, "sharp": sharp, "all": shell.seam | sharp}[source])


def complete_seams(shell: Shell, turn_limit: float = TURN_LIMIT) -> Steps[Shell]:
    """Add seams until every piece is a disk, holes allowed, that turns or curves little enough to lie flat.

    Keeps the seams there are, and pieces that are fine as they are. A piece is divided in two by the
    directions its faces look in, again and again, along creases where there are some; then neighbours are
    joined again as far as the union is still fine. A tube that is nearly developable is slit instead.
    Where the shell mirrors itself across its own edges, so do the seams.

    turn_limit : rad, the angle to its mean normal that 95 % of a piece's area keep to, unless the piece is
        nearly developable; infinite for cuts that only open what is closed. Yields Progress. Raises MeshError for
        faces without area, which look nowhere.
    """
    refuse_slivers(shell)
    work = Completion(shell, turn_limit)
    yield from share(telling("Dividing the shell", work.divide()), 0, 0.7)
    yield from share(telling("Joining pieces again", work.join()), 0.7, 1)
    return shell.with_seams(work.seam)
