"""Long work: core's generator steps, pumped by a timer on screen and run to the end in background.

Nothing is written to the scene before the last step, so Esc leaves no trace and success is one undo step.
"""

from __future__ import annotations

import time
from collections.abc import Generator
from dataclasses import dataclass

import bpy

from ..core.errors import FoamwrightError, MeshError
from ..core.progress import Progress, finish
from ..core.shell import Shell
from . import bridge, results, summary, trouble

TICK_S = 0.05
"""Time given to the work before Blender may draw again."""


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

    The operator gives `title`, `work(context, shell, face_names)` that returns the steps, and
    `show(context, obj, shell, result)` that writes their result to the scene and returns a line to report.
    Blender's references do not outlive an event, so the object is kept by name and looked up at the end.
    """

    title = ""

    def work(self, context: bpy.types.Context, shell: Shell, face_names: list[str]) -> Generator:
        raise NotImplementedError

    def show(self, context: bpy.types.Context, obj: bpy.types.Object, shell: Shell, result) -> str:
        raise NotImplementedError

    @classmethod
    def poll(cls, context):
        if running is not None:
            cls.poll_message_set(f"{running.title} is at work; wait for it or press Esc")
            return False
        return has_shell(cls, context)

    def execute(self, context):
        try:
            self._begin(context)
            self._end(context, finish(self._steps))
        except FoamwrightError as error:
            return self._fail(context, error)
        return {"FINISHED"}

    def invoke(self, context, _event):
        if bpy.app.background:
            return self.execute(context)
        global running
        try:
            self._begin(context)
        except FoamwrightError as error:
            return self._fail(context, error)
        running = Running(self.title, Progress("Starting", 0.0))
        self._timer = context.window_manager.event_timer_add(TICK_S / 5, window=context.window)
        context.window_manager.modal_handler_add(self)
        return {"RUNNING_MODAL"}

    def modal(self, context, event):
        if event.type == "ESC" and event.value == "PRESS":
            self.cancel(context)
            self.report({"INFO"}, f"{self.title} stopped; nothing was changed")
            return {"CANCELLED"}
        if event.type != "TIMER":
            return {"PASS_THROUGH"}
        try:
            until = time.monotonic() + TICK_S
            while time.monotonic() < until:
                running.progress = next(self._steps)
        except StopIteration as last:
            self.cancel(context)
            return self._finish(context, last.value)
        except FoamwrightError as error:
            self.cancel(context)
            return self._fail(context, error)
        except BaseException:
            self.cancel(context)
            raise
        context.workspace.status_text_set(f"{self.title}: {running.text}   Esc stops")
        summary.redraw()
        return {"RUNNING_MODAL"}

    def cancel(self, context):
        """Every way out passes here, Blender's own included (closing a file, quitting)."""
        global running
        running = None
        self._steps.close()
        context.window_manager.event_timer_remove(self._timer)
        if context.workspace is not None:
            context.workspace.status_text_set(None)
        summary.redraw()

    def _begin(self, context: bpy.types.Context) -> None:
        self._shell = None
        self._name = context.object.name
        self._shell, names = bridge.shell_and_face_names(context, context.object)
        self._steps = self.work(context, self._shell, names)

    def _finish(self, context: bpy.types.Context, result) -> set[str]:
        try:
            self._end(context, result)
        except FoamwrightError as error:
            return self._fail(context, error)
        return {"FINISHED"}

    def _end(self, context: bpy.types.Context, result) -> None:
        obj: bpy.types.Object | None = context.scene.objects.get(self._name)
        if obj is None:
            raise MeshError(f"'{self._name}' was removed or renamed meanwhile; run {self.title} again.")
        if not bridge.same_shell(self._shell, bridge.shell_from_object(context, obj)):
            raise MeshError(f"'{self._name}' was changed meanwhile; run {self.title} again.")
        message = self.show(context, obj, self._shell, result)
        trouble.forget()
        summary.refresh(context)
        self.report({"INFO"}, message)

    def _fail(self, context: bpy.types.Context, error: FoamwrightError) -> set[str]:
        trouble.report(self, bpy.data.objects.get(self._name), error, self._shell)
        return {"CANCELLED"}


def has_shell(cls: type[bpy.types.Operator], context: bpy.types.Context) -> bool:
    """Poll of everything that works on a shell."""
    if context.object is None or context.object.type != "MESH":
        cls.poll_message_set("Select the mesh object that is your shell")
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
