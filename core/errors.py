"""What can go wrong, as types. Every message names the thing, what is wrong, and what to do."""

from __future__ import annotations

from collections.abc import Iterable


class FoamwrightError(Exception):
    """Root of all errors that a maker can act on; `str(error)` is the message to show."""


class MeshError(FoamwrightError):
    """The mesh cannot be used; `vertices`, `edges`, `faces` hold the shell's element numbers to select."""

    def __init__(
        self,
        message: str,
        *,
        vertices: Iterable[int] = (),
        edges: Iterable[int] = (),
        faces: Iterable[int] = (),
    ) -> None:
        super().__init__(message)
        self.vertices = tuple(int(v) for v in vertices)
        self.edges = tuple(int(e) for e in edges)
        self.faces = tuple(int(f) for f in faces)


class MissingCutError(MeshError):
    """A piece is closed or a tube; `edges` are the shell edges of a cut that would open it."""


class FlattenError(MeshError):
    """A piece has no flat that foam could be; `edges` are the shell edges of cuts that help."""


class SettingsError(FoamwrightError):
    """A setting is outside what makes sense (thickness 0, a sheet smaller than a piece, ...)."""


class ExportError(FoamwrightError):
    """A file or folder cannot be written or read."""


class FormatError(FoamwrightError):
    """A file that should hold a pattern does not."""


class Cancelled(FoamwrightError):
    """The maker stopped a long job; nothing was changed."""
