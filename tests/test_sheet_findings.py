"""Findings in the printed lists: one line a kind, nothing lost, and a warning for what cannot be cut."""

from __future__ import annotations

from dataclasses import replace

import pypdfium2
import pytest
import solids
from foamwright.core.check import Finding, numbers
from foamwright.core.check_pattern import examine_pattern
from foamwright.core.makeable import unmakeable_words
from foamwright.core.settings import Settings
from foamwright.core.sheets.findings import finding_heads, finding_lines
from foamwright.core.sheets.pdf import write_pdf
from foamwright.core.sheets.summary import write_summary
from planar_pieces import faceted, pattern_of
from sample_pattern import sample_pattern


def test_many_findings_of_one_kind_are_one_line_that_names_all_pieces():
    cut = faceted(solids.truncated_icosahedron(40), 10.0, joint_rule="mitre", heavy_bevel_deg=15.0)
    pattern = pattern_of(cut)
    pattern = pattern.with_findings(examine_pattern(pattern, cut.settings))
    heavy = [finding for finding in pattern.findings if finding.kind == "heavy-bevel"]
    assert len(heavy) == 32
    (line,) = [line for line in finding_lines(pattern) if "need bevels" in line]
    head, _, example = line.partition(" For one: ")
    assert head == f"32 pieces need bevels over the limit: {', '.join(f.piece for f in heavy)}."
    assert example == f"{heavy[0].message} {heavy[0].mend}"
    assert "32 pieces need bevels over the limit." in finding_heads(pattern)


def test_findings_about_joints_are_told_by_letter():
    cut = faceted(solids.cube(), 10.0, joint_rule="butt")
    pattern = pattern_of(cut)
    pattern = pattern.with_findings(examine_pattern(pattern, Settings(joint_rule="butt")))
    (line,) = [line for line in finding_lines(pattern) if "square edges that" in line]
    assert line.startswith("12 joints have square edges that overlap or gape by more than the limit: A, B, C,")


def test_the_worst_of_mesh_and_pattern_comes_first():
    note, warn = (Finding("loose", severity, "This is so.", "Mend it.") for severity in ("note", "warn"))
    assert sample_pattern().with_findings((note, warn, note)).findings == (warn, note, note)


def test_what_is_alone_keeps_its_own_words():
    pattern = sample_pattern()
    (finding,) = pattern.findings
    assert finding_lines(pattern) == [f"{finding.message} {finding.mend}"]
    assert finding_heads(pattern) == [finding.message]


@pytest.mark.parametrize(
    ("kinds", "wanted"),
    [
        ({}, ""),
        ({"brow band": "heavy-bevel"}, ""),
        ({"brow band": "overlap"}, "1 piece cannot be made as it is: brow band (lying over itself on the flat)."),
        (
            {"back plate": "narrow-piece", "brow band": "overlap", "ear disc left": "tight-bend"},
            "2 pieces cannot be made as they are: brow band (lying over itself on the flat); back plate (too narrow "
            "for its bevels).",
        ),
    ],
)
def test_the_cover_and_the_summary_warn_of_pieces_that_cannot_be_made(tmp_path, kinds, wanted):
    found = tuple(
        Finding(kind, "warn", f"Piece {name}.", "Mend it.", name, faces=numbers([])) for name, kind in kinds.items()
    )
    pattern = replace(sample_pattern(), findings=found)
    assert unmakeable_words(pattern) == wanted
    for path in (write_pdf(pattern, tmp_path / "t.pdf"), write_summary(pattern, tmp_path / "s.pdf")):
        page = " ".join(pypdfium2.PdfDocument(path)[0].get_textpage().get_text_bounded().split())
        assert wanted in page
        assert ("cannot be made" in page) == bool(wanted)
