"""The demo's shells: the *beetle sentry* of an original play, built by the costume shop of a village theatre.

Play, figures and heads are invented. The helmet is costume, not protective equipment.
"""

from beetle_helmet import Actor, helmet
from beetle_plates import forearm_guard, shoulder_plate
from shell_maker import DemoShell

__all__ = ["ACTORS", "Actor", "DemoShell", "forearm_guard", "helmet", "shoulder_plate"]

ACTORS = (
    Actor("first sentry", length=201, breadth=156, circumference=580, ear_to_top=133),
    Actor("second sentry", length=188, breadth=146, circumference=556, ear_to_top=126),
    Actor("captain of the watch", length=208, breadth=163, circumference=604, ear_to_top=138),
)
