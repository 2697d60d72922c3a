"""A piece that lies over itself is printed and drawn, but no line of it can be taken for one to cut along."""

from __future__ import annotations

from pathlib import Path
from xml.etree import ElementTree

import ezdxf
import numpy as np
import pypdfium2
import pytest
import solids
from foamwright.core.pattern import Pattern
from foamwright.core.progress import finish
from foamwright.core.settings import Settings
from foamwright.core.sheets.dxf import write_dxf
from foamwright.core.sheets.pdf import write_pdf
from foamwright.core.sheets.svg import write_svg
from foamwright.core.sheets.tables import CUT_LIST_HEAD, cut_rows
from foamwright.core.shell import Shell
from foamwright.core.unfold import unfold

WORDS = ("P1: DO NOT CUT", "it lies over itself", "and must first be split", "along the line inside it")


@pytest.fixture(scope="module")
def pattern() -> Pattern:
    """A ribbon that winds up by nearly one and a half turns."""
    turn = np.linspace(0, 2 * np.pi * 1.4, 60)
    rows = [np.stack([r * np.cos(turn), r * np.sin(turn), 3 * turn], axis=1) for r in (92.0, 100.0, 108.0)]
    return finish(unfold(Shell.build(*solids.grid(np.stack(rows[::-1])), name="ribbon"), Settings(nest_seconds=1)))


def test_the_piece_is_known_to_lie_over_itself(pattern: Pattern) -> None:
    assert pattern.pieces[0].lies_over_itself
    assert [row[CUT_LIST_HEAD.index("sheet")] for row in cut_rows(pattern, ())] == ["do not cut"]


def test_a_drawing_of_its_sheet_has_no_line_to_cut_along(pattern: Pattern, tmp_path: Path) -> None:
    root = ElementTree.parse(write_svg(pattern, pattern.sheets[0], tmp_path / "sheet.svg")).getroot()
    of_piece = [element for element in root.iter() if element.get("data-piece") == "P1"]
    (group,) = [group for group in root.iter() if group.get("id") == "not-to-cut"]
    assert of_piece
    assert of_piece == list(group)
    assert tuple(element.text for element in group if element.text) == WORDS


def test_a_machine_finds_no_line_to_cut_along(pattern: Pattern, tmp_path: Path) -> None:
    drawn = ezdxf.readfile(write_dxf(pattern, pattern.sheets[0], tmp_path / "sheet.dxf")).modelspace()
    assert {entity.dxf.layer for entity in drawn} == {"not-to-cut", "reference"}
    assert (
        tuple(entity.dxf.text for entity in drawn if entity.dxf.layer == "not-to-cut" and "TEXT" in entity.dxftype())
        == WORDS
    )


def test_the_printed_page_says_do_not_cut(pattern: Pattern, tmp_path: Path) -> None:
    book = pypdfium2.PdfDocument(write_pdf(pattern, tmp_path / "book.pdf"))
    pages = [page.get_textpage().get_text_bounded() for page in book]
    assert "1 piece cannot be made as" in pages[0]
    assert any(all(words in page for words in WORDS) for page in pages)


def test_split_along_its_line_it_can_be_cut(pattern: Pattern) -> None:
    (finding,) = (finding for finding in pattern.findings if finding.kind == "overlap")
    seam = pattern.shell.seam.copy()
    seam[list(finding.edges)] = True
    split = finish(unfold(pattern.shell.with_seams(seam), Settings(nest_seconds=1)))
    assert len(split.pieces) == 2
    assert not any(piece.lies_over_itself for piece in split.pieces)
