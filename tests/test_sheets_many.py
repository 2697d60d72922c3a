"""The printed book and the summary of very many, and of very large, pieces: split or smaller, never refused."""

from dataclasses import replace

import pypdfium2
import pytest
from foamwright.core.foam import Stock
from foamwright.core.layout.paging import LETTER
from foamwright.core.progress import finish
from foamwright.core.settings import Settings
from foamwright.core.sheets.pdf import write_pdf
from foamwright.core.sheets.summary import write_summary
from foamwright.core.shell import Shell
from foamwright.core.unfold import unfold
from sample_pattern import sample_pattern


@pytest.fixture
def plates(monkeypatch):
    """A pattern of `count` plates, wide x tall mm, twenty in a row: plates(count, wide, tall, settings)."""
    monkeypatch.setattr("foamwright.core.layout.nest.spyrrow", None)

    def plates(count, wide, tall, settings=None):
        vertices, faces = [], []
        for index in range(count):
            x, z = index % 20 * (wide + 2), index // 20 * (tall + 2)
            vertices += [(x, 0, z), (x + wide, 0, z), (x + wide, 0, z + tall), (x, 0, z + tall)]
            faces.append(range(4 * index, 4 * index + 4))
        return finish(unfold(Shell.build(vertices, faces, (), (), "plates"), settings or Settings()))

    return plates


def _texts(path):
    return [page.get_textpage().get_text_bounded() for page in pypdfium2.PdfDocument(path)]


def test_every_one_of_many_pieces_is_named_in_the_views_and_many_small_ones_fit_a_page(plates, tmp_path):
    pattern = plates(130, 10, 14)
    texts = _texts(write_pdf(pattern, tmp_path / "many.pdf", LETTER))
    first = next(index for index, text in enumerate(texts) if "from the front, 1 of 2" in text)
    views = "\n".join(texts[first : first + 2])
    assert "from the front, 2 of 2" in views
    lines = {" ".join(line.split()) for line in views.splitlines()}
    assert lines >= {f"{number} {piece.name}" for number, piece in enumerate(pattern.pieces, start=1)}
    assert any("more: see the cut list" in text for text in texts)


def test_the_map_of_a_piece_on_very_many_pages_is_made_smaller(plates, tmp_path):
    pattern = plates(1, 900, 2600, Settings(stock=Stock("EVA 5 mm", 5.0, 1000.0, 3000.0)))
    texts = _texts(write_pdf(pattern, tmp_path / "large.pdf"))
    (page_map,) = [text for text in texts if "How the template pages join" in text]
    assert set(map(str, range(texts.index(page_map) + 2, len(texts) + 1))) <= set(page_map.split())


def test_a_summary_shows_as_many_pieces_as_it_can_and_tells_of_the_rest(tmp_path):
    pattern = sample_pattern()
    many = tuple(replace(pattern.pieces[index % 6], name=f"plate {index}") for index in range(230))
    pattern = replace(pattern, pieces=many, joints=(), sheets=(), findings=())
    (text,) = _texts(write_summary(pattern, tmp_path / "summary.pdf"))
    lines = {" ".join(line.split()) for line in text.splitlines()}
    shown = sum(f"{number} {piece.name}" in lines for number, piece in enumerate(pattern.pieces, start=1))
    assert 100 < shown < 230
    assert f"{230 - shown} more pieces are in the templates" in text
