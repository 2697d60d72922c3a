"""What the maker types and chooses, on its way from Blender's properties to core."""

from __future__ import annotations

from collections.abc import Callable


def changed(_group, context) -> None:
    """Update of every property that a result depends on."""
    from . import summary, undo_steps

    undo_steps.push_soon(context)
    summary.refresh_soon()


def carries(name: str) -> Callable:
    """Update of a setting of this name that no result depends on: shell and scene have it alike, see shell_settings."""

    def carry(group, context) -> None:
        from . import shell_settings, undo_steps

        shell_settings.carry(group, name, context)
        undo_steps.push_soon(context)

    return carry


def sets(name: str) -> Callable:
    """As `carries`, for a setting that a result depends on."""
    carry = carries(name)

    def update(group, context) -> None:
        carry(group, context)
        changed(group, context)

    return update


def word(choice: str) -> str:
    """Core's word for a choice of Blender's: ONE_SIDED is one-sided."""
    return choice.lower().replace("_", "-")


def typed(number: float) -> float:
    """The number the maker typed: Blender keeps 32 bits, and 4.2 mm shall not become 4.1999998."""
    return round(number, 4)
