"""The edge between core's errors and the maker: the message is reported, the place is kept to be selected."""

from __future__ import annotations

import functools
from collections.abc import Callable
from dataclasses import dataclass

import bpy

from ..core.errors import FlattenError, FoamwrightError, MeshError, MissingCutError
from ..core.shell import Shell
from . import own_mesh
from .own_mesh import Place


@dataclass(frozen=True)
class Trouble:
    """Why the last job on an object did not go through, and where."""

    object_name: str
    message: str
    place: Place


# kept beside the scene, so that a job that failed leaves the scene as it was
_last: Trouble | None = None


def of(obj: bpy.types.Object | None) -> Trouble | None:
    """What is wrong with this object, if its last job failed."""
    return _last if _last is not None and obj is not None and obj.name == _last.object_name else None


def forget() -> None:
    global _last
    _last = None


def report(
    operator: bpy.types.Operator, obj: bpy.types.Object | None, error: FoamwrightError, shell: Shell | None
) -> None:
    """Show the error as the operator's own; keep its elements (numbers of `shell`) for selection."""
    global _last
    if obj is not None:
        _last = Trouble(obj.name, str(error), _place(obj, error, shell))
    operator.report({"ERROR"}, str(error))


def _place(obj: bpy.types.Object, error: FoamwrightError, shell: Shell | None) -> Place:
    if not isinstance(error, MeshError):
        return Place()
    # of a cut that is wanted only the cut: the faces are the whole piece, and would hide it
    faces = () if isinstance(error, (MissingCutError, FlattenError)) else error.faces
    try:
        if shell is not None:
            origins = own_mesh.origins_of(bpy.context, obj, shell)
            return own_mesh.own_place(origins, shell, error.vertices, error.edges, faces)
        # a mesh that makes no shell: its edges have no numbers yet
        is_same = own_mesh.same_elements(bpy.context, obj)
    except MeshError:  # the object has left the view since
        return Place()
    return Place(error.vertices, (), faces) if is_same else Place(is_made=bool(error.vertices or faces))


def reports_errors(method: Callable) -> Callable:
    """Wrap an operator's `execute`: a FoamwrightError becomes its report and nothing else happens."""

    @functools.wraps(method)
    def guarded(operator: bpy.types.Operator, context: bpy.types.Context) -> set[str]:
        try:
            done = method(operator, context)
        except FoamwrightError as error:
            report(operator, context.object, error, None)
            return {"CANCELLED"}
        forget()
        return done

    return guarded
