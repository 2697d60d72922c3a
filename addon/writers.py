"""Which files a pattern can be written to, and who writes each."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from ..core.errors import ExportError
from ..core.pattern import Pattern
from ..core.progress import Progress, Steps


@dataclass(frozen=True)
class Kind:
    """One choice in the export dialog; `write` gets the pattern and the folder and returns the files."""

    key: str
    label: str
    hint: str
    write: Callable[[Pattern, Path], list[Path]]


# The writers bring large libraries; they are imported when a file is wanted, not when Blender starts.


def _pdf_a4(pattern: Pattern, folder: Path) -> list[Path]:
    from ..core.layout.paging import A4
    from ..core.sheets.pdf import write_pdf

    return [write_pdf(pattern, folder / "templates-a4.pdf", A4)]


def _pdf_letter(pattern: Pattern, folder: Path) -> list[Path]:
    from ..core.layout.paging import LETTER
    from ..core.sheets.pdf import write_pdf

    return [write_pdf(pattern, folder / "templates-letter.pdf", LETTER)]


def _svg(pattern: Pattern, folder: Path) -> list[Path]:
    from ..core.sheets.svg import write_svg

    return [write_svg(pattern, sheet, folder / f"sheet-{sheet.number}.svg") for sheet in pattern.sheets]


def _dxf(pattern: Pattern, folder: Path) -> list[Path]:
    from ..core.sheets.dxf import write_dxf

    return [write_dxf(pattern, sheet, folder / f"sheet-{sheet.number}.dxf") for sheet in pattern.sheets]


def _json(pattern: Pattern, folder: Path) -> list[Path]:
    from ..core.pattern_json import write_json

    return [write_json(pattern, folder / "pattern.json")]


def _summary(pattern: Pattern, folder: Path) -> list[Path]:
    from ..core.sheets.summary import write_summary

    return [write_summary(pattern, folder / "summary.pdf")]


def _glb(pattern: Pattern, folder: Path) -> list[Path]:
    from .numbered_model import write_glb

    return [write_glb(pattern, folder / "pieces.glb")]


def _heatmap(pattern: Pattern, folder: Path) -> list[Path]:
    from ..core.sheets.heatmap import write_heatmap

    return [write_heatmap(pattern, folder / "heatmap.png")]


def _shell_picture(pattern: Pattern, folder: Path) -> list[Path]:
    from .picture import write_shell_picture

    return [write_shell_picture(pattern, folder / "shell.png")]


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


def write_files(pattern: Pattern, folder: str | Path, keys: set[str]) -> Steps[list[Path]]:
    """Write the chosen kinds into `folder`, which is made if need be. Raises ExportError."""
    home = Path(folder)
    _make_folder(home)
    written: list[Path] = []
    chosen = [kind for kind in KINDS if kind.key in keys]
    for index, kind in enumerate(chosen):
        yield Progress(f"Writing {kind.label}", index / len(chosen))
        written += kind.write(pattern, home)
    return written


def _make_folder(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as problem:
        raise ExportError(
            f"The folder '{folder}' cannot be made: {problem.strerror or problem}. "
            "Choose a folder that you may write to."
        ) from problem
