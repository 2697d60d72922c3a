"""Which files a pattern can be written to, and who writes each."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path

from ..core.errors import FoamwrightError
from ..core.files import draft_folder
from ..core.pattern import Pattern
from ..core.progress import Progress, Steps
from ..core.written_files import WrittenFiles, stamp

File = tuple[str, Callable[[Path], Steps[Path]]]
"""How its name ends, after that of the shell, and the steps that write the file at a path."""
LONGEST_NAME = 50
"""Of a shell, in letters: file systems take 255 bytes, and a letter may have four."""


@dataclass(frozen=True)
class Kind:
    """One choice in the export dialog; `files` are what it makes of a pattern."""

    key: str
    label: str
    hint: str
    files: Callable[[Pattern], Iterator[File]]


# The writers bring large libraries; they are imported when a file is wanted, not when Blender starts.


def _pdf_a4(pattern: Pattern) -> Iterator[File]:
    from ..core.layout.paging import A4
    from ..core.sheets.pdf import pdf_steps

    yield "templates-a4.pdf", partial(pdf_steps, pattern, paper=A4)


def _pdf_letter(pattern: Pattern) -> Iterator[File]:
    from ..core.layout.paging import LETTER
    from ..core.sheets.pdf import pdf_steps

    yield "templates-letter.pdf", partial(pdf_steps, pattern, paper=LETTER)


def _svg(pattern: Pattern) -> Iterator[File]:
    from ..core.sheets.svg import write_svg

    for sheet in pattern.sheets:
        yield f"sheet-{sheet.number}.svg", _in_one_step(write_svg, pattern, sheet)


def _dxf(pattern: Pattern) -> Iterator[File]:
    from ..core.sheets.dxf import write_dxf

    for sheet in pattern.sheets:
        yield f"sheet-{sheet.number}.dxf", _in_one_step(write_dxf, pattern, sheet)


def _json(pattern: Pattern) -> Iterator[File]:
    from ..core.pattern_json import write_json

    yield "pattern.json", _in_one_step(write_json, pattern)


def _summary(pattern: Pattern) -> Iterator[File]:
    from ..core.sheets.summary import write_summary

    yield "summary.pdf", _in_one_step(write_summary, pattern)


def _glb(pattern: Pattern) -> Iterator[File]:
    from .numbered_model import write_glb

    yield "pieces.glb", _in_one_step(write_glb, pattern)


def _heatmap(pattern: Pattern) -> Iterator[File]:
    from ..core.sheets.heatmap import write_heatmap

    yield "heatmap.png", _in_one_step(write_heatmap, pattern)


def _shell_picture(pattern: Pattern) -> Iterator[File]:
    from .picture import write_shell_picture

    yield "shell.png", _in_one_step(write_shell_picture, pattern)


def _in_one_step(write: Callable[..., Path], *what: object) -> Callable[[Path], Steps[Path]]:
    def steps(path: Path) -> Steps[Path]:
        yield Progress(path.name, 0.0)
        return write(*what, path)

    return steps


KINDS = (
    Kind("PDF_A4", "Templates, A4", "Full-size pages for a printer with A4 paper", _pdf_a4),
    Kind("PDF_LETTER", "Templates, Letter", "Full-size pages for a printer with Letter paper", _pdf_letter),
    Kind("SVG", "SVG", "One drawing for each foam sheet, in real millimetres", _svg),
    Kind("DXF", "DXF", "One drawing for each foam sheet, for cutting machines", _dxf),
    Kind("JSON", "Pattern", "The whole pattern as data", _json),
    Kind("SUMMARY", "Summary", "What to buy, cut and mind, on one page", _summary),
    Kind("GLB", "Numbered model", "The shell with every piece numbered, as GLB", _glb),
    Kind("HEATMAP", "Heatmap", "A picture of the flat pieces, coloured by the strain of the foam", _heatmap),
    Kind("SHELL_PICTURE", "Shell picture", "The assembled shell from front and back, coloured alike", _shell_picture),
)


@dataclass
class Outcome:
    """What an export did: files that are whole, how many of them replaced those of an earlier export, the names of
    older ones that were removed and that stayed, and what went wrong."""

    written: list[Path] = field(default_factory=list)
    replaced: int = 0
    removed: list[str] = field(default_factory=list)
    older: list[str] = field(default_factory=list)
    problems: list[str] = field(default_factory=list)


def write_files(pattern: Pattern, folder: str | Path, keys: set[str], outcome: Outcome) -> Steps[None]:
    """Write the chosen kinds into `folder`, which is made if need be, and remove what an earlier export of this shell
    has made of them and this one has not. What goes wrong with one file is kept in `outcome`; the others are written.

    Whoever stops between two steps keeps the files that are whole. Raises ExportError where no file could be written.
    """
    home, shell, mark = Path(folder), pattern.shell.name, stamp(pattern)
    chosen = [kind for kind in KINDS if kind.key in keys]
    with draft_folder(home) as drafts:
        record = WrittenFiles(home)
        for index, kind in enumerate(chosen):
            names = []
            for ending, write in kind.files(pattern):
                name = file_name(shell, ending)
                names.append(name)
                try:
                    with closing(write(drafts / name)) as steps:
                        for step in steps:
                            yield Progress(f"Writing {step.stage}", (index + step.part) / len(chosen))
                    outcome.replaced += record.put(drafts / name, name, shell, kind.key, mark)
                    outcome.written.append(home / name)
                except FoamwrightError as problem:
                    outcome.problems.append(str(problem))
            try:
                outcome.removed += record.drop_others(shell, kind.key, names)
            except FoamwrightError as problem:
                outcome.problems.append(str(problem))
        outcome.older += record.of_other_patterns(shell, mark)


def file_name(shell: str, ending: str) -> str:
    """Of a shell's file: whose it is, then what it is, as "captain-sheet-1.svg"."""
    return f"{plain_name(shell)}-{ending}"


def plain_name(shell: str) -> str:
    """The shell's name for files and folders: in small letters and digits, dashes between."""
    return re.sub(r"[\W_]+", "-", shell.lower()).strip("-")[:LONGEST_NAME].strip("-") or "shell"
