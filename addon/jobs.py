"""Long work: core's generator steps, pumped by a timer on screen and run to the end in background.

Nothing is written to the scene before the last step, so Esc leaves it as it was and success is one undo step.
"""

from __future__ import annotations

import time
from collections.abc import Generator
from dataclasses import dataclass
from typing import Literal

import bpy

from ..core.errors import FoamwrightError, MeshError
from ..core.progress import Progress, finish
from ..core.shell import Shell
from . import bridge, results, shell_settings, summary, trouble, undo_steps
from .shell_state import is_shell, why_locked

TICK_S = 0.05
"""Time given to the work before Blender may draw again."""

Report = tuple[Literal["INFO", "WARNING"], str]


@dataclass
class Running:
    """The job on screen, for the panel and the status bar."""

    title: str
    progress: Progress

    @property
    def text(self) -> str:
        return f"{self.progress.stage} {100 * self.progress.part:.0f} %"


running: Running | None = None


class Job(bpy.types.Operator):
    """An operator whose work is a generator of `Progress`; Blender knows only the operators made from it.

    The operator gives `title`, `begin(context)` that returns the steps, and `end(context, result)` that returns
    what to report: kind and words. Blender's references do not outlive an event, so nothing of Blender's is kept.
    """

    title = ""
    _shell: Shell | None = None
    _timer: bpy.types.Timer | None = None

    def begin(self, context: bpy.types.Context) -> Generator:
        raise NotImplementedError

    def end(self, context: bpy.types.Context, result) -> Report:
        raise NotImplementedError

    def told_when_stopped(self) -> str:
        return f"{self.title} stopped; nothing was changed"

    @classmethod
    def poll(cls, context):
        return is_free(cls) and has_shell(cls, context)

    def execute(self, context):
        try:
            self._begin(context)
            return self._finish(context, finish(self._steps))
        except FoamwrightError as error:
            return self._fail(error)

    def invoke(self, context, _event):
        return self.execute(context) if bpy.app.background else self.start(context)

    def start(self, context: bpy.types.Context) -> set[str]:
        """Begin on screen: the steps are pumped until the end, an error or Esc."""
        global running
        try:
            self._begin(context)
        except FoamwrightError as error:
            return self._fail(error)
        running = Running(self.title, Progress("Starting", 0.0))
        self._timer = context.window_manager.event_timer_add(TICK_S / 5, window=context.window)
        context.window_manager.modal_handler_add(self)
        return {"RUNNING_MODAL"}

    def modal(self, context, event):
        if event.type == "ESC" and event.value == "PRESS":
            self.cancel(context)
            self.report({"INFO"}, self.told_when_stopped())
            return {"CANCELLED"}
        if event.type != "TIMER":
            return {"PASS_THROUGH"}
        try:
            self._advance()
        except StopIteration as last:
            self.cancel(context)
            return self._finish(context, last.value)
        except FoamwrightError as error:
            self.cancel(context)
            return self._fail(error)
        except BaseException:
            self.cancel(context)
            raise
        context.workspace.status_text_set(f"{self.title}: {running.text}   Esc stops")
        summary.redraw()
        return {"RUNNING_MODAL"}

    def cancel(self, context):
        """Every way out passes here, Blender's own included (closing a file, quitting)."""
        global running
        if self._timer is None:  # a file browser that was closed before anything began
            return
        running = None
        self._steps.close()
        context.window_manager.event_timer_remove(self._timer)
        if context.workspace is not None:
            context.workspace.status_text_set(None)
        summary.redraw()

    def _advance(self) -> None:
        """Steps for one tick; a new stage is shown before its first step, which may be a long one."""
        until, stage = time.monotonic() + TICK_S, running.progress.stage
        while time.monotonic() < until and running.progress.stage == stage:
            running.progress = next(self._steps)

    def _begin(self, context: bpy.types.Context) -> None:
        if "UNDO" in self.bl_options:
            undo_steps.begin_job()
        self._name = context.object.name
        self._steps = self.begin(context)

    def _finish(self, context: bpy.types.Context, result) -> set[str]:
        try:
            kind, words = self.end(context, result)
        except FoamwrightError as error:
            return self._fail(error)
        trouble.forget()
        summary.refresh(context)
        if "UNDO" in self.bl_options:
            undo_steps.leave_for_step(context)
        self.report({kind}, words)
        return {"FINISHED"}

    def _fail(self, error: FoamwrightError) -> set[str]:
        trouble.report(self, bpy.data.objects.get(self._name), error, self._shell)
        return {"CANCELLED"}


class ShellJob(Job):
    """A job that reads the active shell and writes to it.

    The operator gives `work(context, shell, face_names)` that returns the steps, and
    `show(context, obj, shell, result)` that writes their result to the scene and returns what to report.
    The object is kept by name and looked up at the end.
    """

    def work(self, context: bpy.types.Context, shell: Shell, face_names: list[str]) -> Generator:
        raise NotImplementedError

    def show(self, context: bpy.types.Context, obj: bpy.types.Object, shell: Shell, result) -> Report:
        raise NotImplementedError

    def begin(self, context):
        self._shell = None
        self._shell, names = bridge.shell_and_face_names(context, context.object)
        return self.work(context, self._shell, names)

    def end(self, context, result):
        obj: bpy.types.Object | None = context.scene.objects.get(self._name)
        if obj is None:
            raise MeshError(f"'{self._name}' was removed or renamed meanwhile; run {self.title} again.")
        if why := why_locked(obj):
            raise MeshError(f"{why}.")
        if not bridge.same_shell(self._shell, bridge.shell_from_object(context, obj)):
            raise MeshError(f"'{self._name}' was changed meanwhile; run {self.title} again.")
        told = self.show(context, obj, self._shell, result)
        shell_settings.give_own(context.scene, obj)
        return told


def is_free(cls: type[bpy.types.Operator]) -> bool:
    """Poll of everything that must not start beside a running job."""
    if running is not None:
        cls.poll_message_set(f"{running.title} is at work; wait for it or press Esc")
        return False
    return True


def has_shell(cls: type[bpy.types.Operator], context: bpy.types.Context) -> bool:
    """Poll of everything that works on a shell."""
    if context.object is None or context.object.type != "MESH":
        cls.poll_message_set("Select the mesh object that is your shell")
        return False
    if not is_shell(context.object):
        cls.poll_message_set("This was made from a shell; select the shell itself")
        return False
    why = why_locked(context.object)
    if why:
        cls.poll_message_set(why)
        return False
    return True


def has_results(cls: type[bpy.types.Operator], context: bpy.types.Context) -> bool:
    """Poll of everything that works on a finished pattern."""
    if not has_shell(cls, context):
        return False
    if results.results_of(context.object) is None:
        cls.poll_message_set("This shell has not been laid flat yet; press Flatten first")
        return False
    return True
