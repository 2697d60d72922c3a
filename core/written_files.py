"""What exports have written to a folder: kept beside the files, so that none of somebody else is ever replaced or
removed, and none of an earlier pattern is taken for one of the present."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable
from dataclasses import asdict, dataclass
from pathlib import Path

from .errors import ExportError, FoamwrightError
from .files import put_in_place, write_whole
from .json_reading import Node, read_document
from .pattern import Pattern

FILE, FORMAT, VERSION, WORDS = ".foamwright-files.json", "foamwright files", 1, "list of files"


@dataclass(frozen=True)
class WrittenFile:
    """A file that an export made.

    shell : name of the shell; kind : which choice of the export it belongs to
    pattern : `stamp` of the pattern
    digests : SHA-256 of what the file holds; two while it is being replaced
    """

    shell: str
    kind: str
    pattern: str
    digests: tuple[str, ...]


class WrittenFiles:
    """The record of one folder."""

    def __init__(self, folder: Path) -> None:
        """A record that cannot be read is begun anew: then no file counts as ours."""
        self.folder = folder
        self.files: dict[str, WrittenFile] = {}
        if (folder / FILE).is_file():
            try:
                self.files = _files_in(Node(read_document(folder / FILE, WORDS), "", WORDS))
            except FoamwrightError:
                self.files = {}

    def put(self, draft: Path, name: str, shell: str, kind: str, pattern: str) -> bool:
        """Move a finished file to its place and record it; returns whether it replaced one of an earlier export.

        Raises ExportError for a file in the way that an export of this shell has not made, or not as it is now.
        """
        target = self.folder / name
        there = self._digests_of(target)
        if there and not self._is_ours(name, shell, there[0]):
            raise ExportError(self._in_the_way(name, shell))
        # recorded first, with both: whenever the run is killed, what lies there is known
        self.files[name] = WrittenFile(shell, kind, pattern, (*there, _digest(draft)))
        self._save()
        put_in_place(draft, target)
        return bool(there)

    def drop_others(self, shell: str, kind: str, names: Iterable[str]) -> list[str]:
        """Remove what earlier exports of this shell and kind have made beside `names`; what was changed since stays.

        Returns the names that were removed. Raises ExportError.
        """
        removed, stay = [], set(names)
        for name, file in sorted(self.files.items()):
            if (file.shell, file.kind) != (shell, kind) or name in stay:
                continue
            there = self._digests_of(self.folder / name)
            if there and there[0] not in file.digests:
                continue
            if there:
                self._remove(name)
                removed.append(name)
            del self.files[name]
        if removed:
            self._save()
        return removed

    def of_other_patterns(self, shell: str, pattern: str) -> list[str]:
        """Files of this shell that show an earlier pattern."""
        return [
            name
            for name, file in sorted(self.files.items())
            if file.shell == shell and file.pattern != pattern and (self.folder / name).is_file()
        ]

    def _is_ours(self, name: str, shell: str, digest: str) -> bool:
        file = self.files.get(name)
        return file is not None and file.shell == shell and digest in file.digests

    def _in_the_way(self, name: str, shell: str) -> str:
        file = self.files.get(name)
        if file is not None and file.shell != shell:
            return (
                f"'{name}' in '{self.folder}' was exported from '{file.shell}'; give '{shell}' a name that differs "
                "in letters or digits, or choose another folder."
            )
        return (
            f"'{name}' in '{self.folder}' was not made by an export of '{shell}', or was changed since, and was left "
            "alone; move it away, or choose another folder."
        )

    def _digests_of(self, path: Path) -> tuple[str, ...]:
        """One for a file, none where there is nothing."""
        try:
            return (_digest(path),)
        except FileNotFoundError:
            return ("",) if path.is_symlink() else ()
        except OSError:
            return ("",)  # a folder, or what may not be read: nothing of ours

    def _remove(self, name: str) -> None:
        try:
            (self.folder / name).unlink()
        except OSError as problem:
            raise ExportError(
                f"'{name}' in '{self.folder}', of an earlier export, cannot be removed: {problem.strerror or problem}. "
                "Remove it yourself, so that nobody cuts by it."
            ) from problem

    def _save(self) -> None:
        files = {name: asdict(file) for name, file in sorted(self.files.items())}
        text = json.dumps({"format": FORMAT, "version": VERSION, "files": files}, ensure_ascii=False, indent=1)
        write_whole(self.folder / FILE, lambda draft: draft.write_text(text + "\n", encoding="utf-8"))


def stamp(pattern: Pattern) -> str:
    """Says whether two files show the same pattern: the same outlines, marks, foam and places on the sheets."""
    digest = hashlib.sha256(repr(pattern.sheets).encode())
    for part in pattern.parts:
        digest.update(repr((part.name, part.stock, part.notches, part.notes)).encode())
        for ring in (*part.outside_outline, *part.inside_outline):
            digest.update(ring.tobytes())
    return digest.hexdigest()


def _digest(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def _files_in(root: Node) -> dict[str, WrittenFile]:
    if root["format"].value != FORMAT or root["version"].integer() != VERSION:
        raise root.wrong("is of another kind or version")
    files = root["files"]
    if not isinstance(files.value, dict):
        raise files.wrong("should be an object with named values")
    return {name: _file_in(files[name]) for name in files.value if _is_plain(name)}


def _is_plain(name: str) -> bool:
    """What could name a file elsewhere is nothing of ours."""
    return name not in ("", ".", "..") and not set(name) & set("/\\:\0")


def _file_in(node: Node) -> WrittenFile:
    digests = tuple(digest.text() for digest in node["digests"].list())
    return WrittenFile(node["shell"].text(), node["kind"].text(), node["pattern"].text(), digests)
