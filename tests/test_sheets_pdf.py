"""The printed book, read back with other libraries: true sizes, true bars, nothing blank, the same bytes."""

import re
from dataclasses import replace
from datetime import date

import numpy as np
import pypdfium2
import pypdfium2.raw as pdfium
import pytest
from foamwright.core.errors import ExportError
from foamwright.core.layout.paging import A4, LETTER, paginate
from foamwright.core.sheets.fonts import CAPITAL_OF_SIZE, showable, width_mm
from foamwright.core.sheets.pdf import pdf_steps, write_pdf
from foamwright.core.sheets.pictures import label_piece
from foamwright.core.sheets.summary import write_summary
from foamwright.core.sheets.typeset import numbered
from foamwright.core.shell_views import shell_views
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image
from sample_pattern import sample_pattern

SECTIONS = (
    "Print it true",
    "What the lines mean",
    "How the edges are cut",
    "Take care",
    "Where the pieces go",
    "Cut list",
    "Joints",
    "Loose parts",
    "Open rims",
    "Folds",
    "What it takes",
    "An order to glue in",
    "To look at before cutting",
    "Foam sheets",
    "Page maps",
)

MM = 72 / 25.4
"""ISO 32000-1: the default unit of user space is 1/72 inch."""


@pytest.fixture(scope="module", params=[A4, LETTER], ids=["A4", "Letter"])
def book(request, tmp_path_factory):
    path = tmp_path_factory.mktemp("book") / "templates.pdf"
    pattern = sample_pattern()
    write_pdf(pattern, path, request.param)
    return pattern, request.param, path, pypdfium2.PdfDocument(path)


def _paths(page):
    """(points (n, 2) in mm on the paper, line width in mm) of every path on the page."""
    for found in page.get_objects(filter=[pdfium.FPDF_PAGEOBJ_PATH], max_depth=5):
        matrix = found.get_matrix()
        points = []
        for index in range(pdfium.FPDFPath_CountSegments(found)):
            segment = pdfium.FPDFPath_GetPathSegment(found, index)
            x, y = pdfium.c_float(), pdfium.c_float()
            pdfium.FPDFPathSegment_GetPoint(segment, x, y)
            points.append(matrix.on_point(x.value, y.value))
        width = pdfium.c_float()
        pdfium.FPDFPageObj_GetStrokeWidth(found, width)
        yield np.array(points) / MM, width.value / MM


def _bars(page):
    """Lengths in mm (across, up) of straight two-point lines that are 95 to 105 mm long."""
    spans = [np.ptp(points, axis=0) for points, _ in _paths(page) if len(points) == 2]
    across = [span[0] for span in spans if span[1] < 1e-4 and 95 < span[0] < 105]
    upright = [span[1] for span in spans if span[0] < 1e-4 and 95 < span[1] < 105]
    return across, upright


def _full_pages(document, pattern, paper):
    count = len(paginate(pattern, paper))
    return range(len(document) - count, len(document))


def test_every_page_has_the_size_of_the_paper(book):
    _, paper, _, document = book
    for page in document:
        left, bottom, right, top = page.get_mediabox()
        assert (left, bottom) == (0, 0)
        assert right / MM == pytest.approx(paper.width_mm, abs=0.01)
        assert top / MM == pytest.approx(paper.height_mm, abs=0.01)


def test_bars_on_full_size_pages_and_the_cover_are_100_mm(book):
    pattern, paper, _, document = book
    for index in _full_pages(document, pattern, paper):
        across, upright = _bars(document[index])
        assert any(length == pytest.approx(100, abs=0.001) for length in across)
        assert any(length == pytest.approx(100, abs=0.001) for length in upright)
    assert any(length == pytest.approx(100, abs=0.001) for length in _bars(document[0])[0])


def test_outlines_are_drawn_at_full_size_where_the_paging_puts_them(book):
    pattern, paper, _, document = book
    full = _full_pages(document, pattern, paper)
    for index, page in zip(full, paginate(pattern, paper), strict=True):
        drawn = [(points, width) for points, width in _paths(document[index])]
        for placement in page.placements:
            for ring in pattern.piece(placement.piece).outside_outline:
                wanted = placement.apply(ring)
                matches = [
                    (points, width)
                    for points, width in drawn
                    if len(points) in (len(ring), len(ring) - 1)
                    and np.allclose(points[: len(ring) - 1], wanted[:-1], atol=0.001)
                ]
                assert len(matches) == 1
                assert matches[0][1] == pytest.approx(0.5, abs=0.001)


def test_front_pages_tell_what_they_must(book):
    pattern, paper, _, document = book
    texts = [" ".join(page.get_textpage().get_text_bounded().split()) for page in document]
    cover = texts[0]
    assert paper.size_in_words in cover
    assert "at 100 %" in cover
    assert "must measure 100 mm" in cover
    assert "They are mirrored there" in cover
    assert "degrees from a blade held upright" in cover
    whole = " ".join(texts)
    assert "not protective equipment" in whole
    for piece in pattern.pieces:
        assert piece.name in whole
    assert "Where the pieces go" in whole
    for view in ("from the front", "from the back", "from the wearer's left", "from the wearer's right"):
        assert view in whole
    assert "A brow band bevel 15° cheek plate left bevel 15° ridge 30° mitre 100.0" in whole
    assert "brow band f1 V-groove, closes ridge 40° 4.0 mm of 5 mm 2.9 mm" in whole
    assert "brow band f2 score, opens: fill it valley 35°" in whole
    assert pattern.findings[0].mend in whole
    assert "ear disc left: nothing lies within 40 mm under it" in whole


@pytest.mark.parametrize("count", [9, 10, 120])
def test_numbers_of_a_list_fit_before_its_texts(count):
    lines = numbered(["Glue it."] * count)
    indents = {line.style.leftIndent for line in lines}
    assert len(indents) == 1
    assert width_mm(lines[-1].bulletText, 8.5 * CAPITAL_OF_SIZE / MM) * MM < indents.pop()


def test_contents_name_the_pages_on_which_the_sections_are(book):
    pattern, paper, _, document = book
    texts = [" ".join(page.get_textpage().get_text_bounded().split()) for page in document]
    contents = dict(re.findall(r"(Cut list|Joints|Foam sheets|Page maps) page (\d+)", texts[0]))
    assert len(contents) == 4
    for section, number in contents.items():
        assert section in texts[int(number) - 1]
    full = _full_pages(document, pattern, paper)
    assert f"Full-size templates pages {full[0] + 1} to {full[-1] + 1}" in texts[0]


def test_no_heading_stands_at_the_foot_of_a_page_and_the_cautions_stay_together(tmp_path):
    pattern = sample_pattern()
    for joints in range(0, 70, 9):
        many = replace(pattern, joints=tuple(pattern.joints[0] for _ in range(joints)))
        for page in pypdfium2.PdfDocument(write_pdf(many, tmp_path / "t.pdf", LETTER)):
            lines = page.get_textpage().get_text_bounded().splitlines()
            text = " ".join(lines)
            assert ("Take care" in text) == ("let everything air out" in text)
            last = [line for line in lines if line.strip() and "Foamwright" not in line and "page " not in line][-1:]
            assert last not in ([name] for name in SECTIONS)


def test_full_size_pages_say_size_number_shell_and_neighbours(book):
    pattern, paper, _, document = book
    full = _full_pages(document, pattern, paper)
    for index, page in zip(full, paginate(pattern, paper, full[0] + 1), strict=True):
        text = " ".join(document[index].get_textpage().get_text_bounded().split())
        assert page.number == index + 1
        assert paper.size_in_words in text
        assert f"of {len(document)} pages" in text
        assert pattern.shell.name in text
        for join in page.joins:
            assert f"{join.side} edge joins page {join.page}" in text


def test_no_page_renders_blank_and_nothing_is_printed_near_the_paper_edge(book):
    document = book[-1]
    for page in document:
        grey = np.asarray(page.render(scale=0.5).to_pil().convert("L"))
        assert (grey < 128).sum() > 150
        # 4.2 mm all round is what printers leave blank (trade: laser printers, makers' manuals)
        edge = int(4.2 * MM * 0.5)
        inner = np.zeros_like(grey, bool)
        inner[edge:-edge, edge:-edge] = True
        assert (grey[~inner] == 255).all()


def test_same_pattern_same_bytes(tmp_path):
    one = write_pdf(sample_pattern(), tmp_path / "one.pdf").read_bytes()
    other = write_pdf(sample_pattern(), tmp_path / "two.pdf").read_bytes()
    assert one == other
    assert write_pdf(sample_pattern(), tmp_path / "day.pdf", A4, date(2024, 5, 1)).read_bytes() != one
    summary = [write_summary(sample_pattern(), tmp_path / f"s{i}.pdf").read_bytes() for i in range(2)]
    assert summary[0] == summary[1]


def test_date_is_on_the_cover_when_given(tmp_path):
    path = write_pdf(sample_pattern(), tmp_path / "day.pdf", A4, date(2024, 5, 1))
    assert "2024-05-01" in pypdfium2.PdfDocument(path)[0].get_textpage().get_text_bounded()


def test_summary_is_one_page_that_names_every_piece(tmp_path):
    pattern = sample_pattern()
    many = tuple(replace(pattern.pieces[i % 6], name=f"plate {i}") for i in range(60))
    for shown in (pattern, replace(pattern, pieces=many, joints=(), sheets=(), findings=())):
        document = pypdfium2.PdfDocument(write_summary(shown, tmp_path / "summary.pdf"))
        assert len(document) == 1
        text = document[0].get_textpage().get_text_bounded()
        assert all(piece.name in text for piece in shown.pieces)
        assert f"pieces {len(shown.pieces)}" in text
    assert "No findings" in text


def test_names_are_shown_with_what_the_font_has_and_never_as_markup(tmp_path):
    assert showable("Ünder·brow ½") == "Ünder·brow ½"
    assert showable("ő") == "o"
    assert showable("甲\n") == "? "
    pattern = sample_pattern("<b>甲 & ő</b>")
    document = pypdfium2.PdfDocument(write_pdf(pattern, tmp_path / "odd.pdf"))
    assert "<b>? & o</b>" in document[0].get_textpage().get_text_bounded()


def test_a_failed_export_names_the_folder_and_leaves_no_half_file(tmp_path, monkeypatch):
    with pytest.raises(ExportError, match=r"'t.pdf' cannot be written to the folder .*nowhere.*Choose a folder"):
        write_pdf(sample_pattern(), tmp_path / "nowhere" / "t.pdf")
    (tmp_path / "t.pdf").write_bytes(b"the old one")

    def full_disk(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("foamwright.core.sheets.pdf.draw_page", full_disk)
    with pytest.raises(ExportError, match="is full; make room"):
        write_pdf(sample_pattern(), tmp_path / "t.pdf")
    assert [path.name for path in tmp_path.iterdir()] == ["t.pdf"]
    assert (tmp_path / "t.pdf").read_bytes() == b"the old one"


def test_a_book_that_is_stopped_leaves_what_was_there_before(tmp_path):
    (tmp_path / "t.pdf").write_bytes(b"the old one")
    steps = pdf_steps(sample_pattern(), tmp_path / "t.pdf")
    pages = re.compile(r"t.pdf, page \d+ of \d+")
    stages = [next(steps).stage]
    while not pages.fullmatch(stages[-1]):
        stages.append(next(steps).stage)
    assert set(stages[:-1]) == {"t.pdf, front pages"}
    assert len(list(tmp_path.iterdir())) == 2
    steps.close()
    assert [path.read_bytes() for path in tmp_path.iterdir()] == [b"the old one"]


def test_heatmap_is_coloured_by_strain_and_written_whole(tmp_path):
    from foamwright.core.sheets.heatmap import write_heatmap

    path = write_heatmap(sample_pattern(), tmp_path / "heat.png")
    colours = np.asarray(Image.open(path).convert("RGB")).astype(int)
    bluish = (colours[..., 2] - colours[..., 0] > 60).mean()
    orange = (colours[..., 0] - colours[..., 2] > 60).mean()
    assert bluish > 0.01
    assert orange > 0.01
    with pytest.raises(ExportError):
        write_heatmap(sample_pattern(), tmp_path / "nowhere" / "heat.png")


def test_one_strain_has_one_colour_on_the_heatmap_and_on_the_shell(tmp_path):
    from foamwright.core.heat import full_colour_at, strain_colour
    from foamwright.core.sheets.heatmap import write_heatmap

    pattern = sample_pattern()
    strained = tuple(replace(piece, stretch=np.full_like(piece.stretch, 1.04)) for piece in pattern.pieces)
    pattern = replace(pattern, pieces=strained)
    (limit,) = full_colour_at(pattern)
    assert {part.limit for part in shell_views(pattern) if part.name != "scale"} == {limit}
    colours = np.asarray(Image.open(write_heatmap(pattern, tmp_path / "heat.png")).convert("RGB")).reshape(-1, 3)
    seen, count = np.unique(colours[colours.min(axis=1) < 255], axis=0, return_counts=True)
    wanted = np.round(strain_colour(np.array([0.04]), limit)[0] * 255)
    assert seen[count.argmax()].tolist() == wanted.tolist()


@pytest.mark.parametrize("longest", [4000, 2000])
def test_heatmap_of_a_large_pattern_stays_a_picture_that_can_be_opened(tmp_path, monkeypatch, longest):
    from foamwright.core.sheets import heatmap

    monkeypatch.setattr(heatmap, "LONGEST_PX", longest)
    pattern = sample_pattern()
    plate = pattern.piece("cheek plate left")
    many = replace(pattern, pieces=tuple(replace(plate, name=f"plate {i}") for i in range(900)))
    with Image.open(heatmap.write_heatmap(many, tmp_path / "heat.png")) as picture:
        # taller than wide at first, so it was widened; as one row of 900 it would be far too wide
        assert 1800 < picture.width <= longest
        assert 0.5 * longest < picture.height <= longest


@given(st.floats(4, 40), st.floats(4, 40))
def test_the_number_and_the_name_of_a_piece_in_a_picture_stay_within_it(wide, tall):
    pattern = sample_pattern()
    piece = pattern.pieces[0]
    ring = np.array([(0, 0), (wide, 0), (wide, tall), (0, tall), (0, 0)])
    ink = _Words()
    label_piece(ink, pattern, replace(piece, outside_outline=(ring,)), lambda points: points)
    assert ink.said[0][0] == "1"
    assert len(ink.said) in ({2} if min(wide, tall) > 18 else {1} if min(wide, tall) < 10 else {1, 2})
    for words, x, y, height in ink.said:
        half = width_mm(words, height) / 2
        assert 0 < x - half < x + half < wide
        assert 0 < y - height / 2 < y + height / 2 < tall


class _Words:
    """Keeps what is written instead of writing it."""

    def __init__(self):
        self.said = []

    def words(self, words, x, y, height_mm, **_look):
        self.said.append((words, x, y, height_mm))
