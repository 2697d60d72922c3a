"""The pages before the templates: how to print, legend, cautions, lists, foam sheets and page maps."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import date
from itertools import groupby

from reportlab.lib.units import mm
from reportlab.platypus import CondPageBreak, Flowable, KeepTogether, PageBreak, Spacer, Table

from ..build import CAUTIONS, glue_order
from ..layout.footprint import used_size
from ..layout.paging import OVERLAP_MM, Page, Paper
from ..makeable import unmakeable_words
from ..pattern import Pattern
from .cuts_picture import cuts_picture
from .findings import finding_lines
from .page_marks import scale_bar
from .pictures import Picture, in_rows, legend_picture, page_map, sheet_picture
from .tables import (
    CUT_LIST_HEAD,
    FOLD_HEAD,
    JOINT_HEAD,
    MISMATCH_WORDS,
    RIM_HEAD,
    any_mismatch,
    counted,
    counts,
    cut_list_words,
    cut_rows,
    fold_rows,
    joint_rows,
    loose_words,
    material_rows,
    page_span,
    piece_number,
    rim_rows,
)
from .typeset import BODY, CELL, HEADING, SUBTITLE, TITLE, WARNING, bulleted, facts, numbered, table, words
from .where import where_pages

CUT_LIST_WIDTHS = (8, 27, 27, 16, 18, 20, 14, 18, 12, 12, 18)
JOINT_WIDTHS = (11, 24, 24, 24, 24, 29, 17, 16, 21)
RIM_WIDTHS = (15, 60, 75, 40)
FOLD_WIDTHS = (42, 12, 42, 24, 36, 34)
LEAST_BELOW_MM = 45.0
"""Room for a heading and the first lines below it."""


class Bookmark(Flowable):
    """Notes the page it lands on, so that the list of contents can name it."""

    def __init__(self, name: str, pages: dict[str, int]) -> None:
        super().__init__()
        self.name, self.pages = name, pages

    def wrap(self, available_width: float, available_height: float) -> tuple[float, float]:
        return 0, 0

    def draw(self) -> None:
        self.pages[self.name] = self.canv.getPageNumber()


def front_story(
    pattern: Pattern,
    paper: Paper,
    pages: Sequence[Page],
    when: date | None,
    known: Mapping[str, int],
    found: dict[str, int],
) -> list[Flowable]:
    """All front pages. `known` holds the page of each section from an earlier pass, `found` is filled by this one."""
    wide = paper.drawing_size[0]
    share = wide / sum(CUT_LIST_WIDTHS)

    def scaled(widths: Sequence[float]) -> list[float]:
        return [width * share for width in widths]

    def section(name: str) -> list[Flowable]:
        return [Bookmark(name, found), words(name, HEADING)]

    def begin(name: str) -> list[Flowable]:
        # a heading at the foot of a page goes on to the next one
        return [CondPageBreak(LEAST_BELOW_MM * mm), *section(name)]

    lists: list[Flowable] = [
        *begin("Cut list"),
        words(cut_list_words(pattern), BODY),
        Spacer(0, 2 * mm),
        table(CUT_LIST_HEAD, cut_rows(pattern, pages), scaled(CUT_LIST_WIDTHS)),
    ]
    if pattern.joints:
        lists += [*begin("Joints"), table(JOINT_HEAD, joint_rows(pattern), scaled(JOINT_WIDTHS))]
        if any_mismatch(pattern):
            lists += [Spacer(0, 1 * mm), words(MISMATCH_WORDS, CELL)]
    loose = loose_words(pattern)
    if loose:
        lists += [*begin("Loose parts"), *bulleted(loose)]
    rims = rim_rows(pattern)
    if rims:
        lists += [*begin("Open rims"), table(RIM_HEAD, rims, scaled(RIM_WIDTHS))]
    folds = fold_rows(pattern)
    if folds:
        lists += [*begin("Folds"), table(FOLD_HEAD, folds, scaled(FOLD_WIDTHS))]
    lists.append(
        KeepTogether(
            [
                *section("What it takes"),
                facts(material_rows(pattern), scaled((40, 110))),
                Spacer(0, 1 * mm),
                words("Amounts in ml are estimates.", BODY),
            ]
        )
    )
    steps = glue_order(pattern)
    if steps:
        lists += [*begin("An order to glue in"), *numbered(steps)]
    if pattern.findings:
        lists += [*begin("To look at before cutting"), *bulleted(finding_lines(pattern))]
    return [
        *_cover(pattern, paper, pages, when, known, wide),
        *where_pages(pattern, *paper.drawing_size, section),
        PageBreak(),
        *lists,
        *_sheets(pattern, paper, section),
        *_maps(pattern, paper, pages, section),
    ]


def _cover(
    pattern: Pattern, paper: Paper, pages: Sequence[Page], when: date | None, known: Mapping[str, int], wide: float
) -> list[Flowable]:
    dated = f" · {when.isoformat()}" if when else ""
    contents = [(name, f"page {page}") for name, page in known.items()]
    contents.append(("Full-size templates", f"pages {page_span([page.number for page in pages])}"))
    side_by_side = Table(
        [
            [
                facts(counts(pattern), (wide * 0.26, wide * 0.22)),
                facts(contents, (wide * 0.3, wide * 0.18)),
            ]
        ],
        [wide / 2 * mm] * 2,
        style=[("VALIGN", (0, 0), (-1, -1), "TOP"), ("LEFTPADDING", (0, 0), (-1, -1), 0)],
        hAlign="LEFT",
    )
    return [
        words(pattern.shell.name, TITLE),
        words(f"Full-size foam templates on {paper.size_in_words}{dated}", SUBTITLE),
        *([words(warning, WARNING)] if (warning := unmakeable_words(pattern)) else []),
        side_by_side,
        words("Print it true", HEADING),
        *numbered(_printing(paper)),
        Spacer(0, 2 * mm),
        Picture(wide, 8.0, lambda ink: scale_bar(ink, 0.5, 1.0, words="this bar is 100 mm")),
        KeepTogether([words("What the lines mean", HEADING), legend_picture(wide)]),
        KeepTogether([words("How the edges are cut", HEADING), cuts_picture(wide)]),
        KeepTogether([words("Take care", HEADING), *bulleted(CAUTIONS)]),
    ]


def _printing(paper: Paper) -> list[str]:
    return [
        f'Print on {paper.size_in_words}, at 100 % ("actual size"). Switch off every fitting, scaling or shrinking.',
        "Lay a ruler on the bar below and on the upright bar of a template page: both must measure 100 mm, "
        "within 0.5 mm. If they do not, do not cut.",
        f"Pages that join overlap by {OVERLAP_MM:g} mm. Lay them so that the tips of the diamonds coincide, "
        "hold them against the light, and tape.",
        "Trace the wide line, marks and letters onto the outside face of the foam. Beside a dashed line tilt the blade "
        "in under the piece, so that it comes out there on the inside face. Beside long and short dashes the inside "
        "face is the larger one: cut square, then bevel back to them on the outside face.",
        "Carry fold lines, grooves and the dashed line to the inside face before you cut there: prick through the foam "
        "at their ends and corners, turn it over, join the pricks. They are mirrored there.",
    ]


def _sheets(pattern: Pattern, paper: Paper, section: Callable[[str], list[Flowable]]) -> list[Flowable]:
    wide, tall = paper.drawing_size
    story: list[Flowable] = []
    for index, sheet in enumerate(pattern.sheets):
        long, high = used_size(pattern.parts, sheet)
        line = (
            f"Sheet {sheet.number}: {sheet.stock}, {sheet.width_mm:g} x {sheet.height_mm:g} mm, "
            f"{counted(len(sheet.placements), 'piece')} within {long:.0f} x {high:.0f} mm. Outside faces up."
        )
        picture = sheet_picture(pattern, sheet, wide, tall * 0.42)
        in_order = sorted(sheet.placements, key=lambda p: piece_number(pattern, p.piece))
        key = "\u00a0· ".join(f"{piece_number(pattern, p.piece)} {p.piece}" for p in in_order)
        heading = section("Foam sheets") if index == 0 else []
        story.append(
            KeepTogether(
                [
                    *heading,
                    words(line, CELL),
                    Spacer(0, 1.5 * mm),
                    picture,
                    Spacer(0, 1 * mm),
                    words(key, CELL),
                    Spacer(0, 5 * mm),
                ]
            )
        )
    return [PageBreak(), *story] if story else []


def _maps(
    pattern: Pattern, paper: Paper, pages: Sequence[Page], section: Callable[[str], list[Flowable]]
) -> list[Flowable]:
    groups = [list(group) for _, group in groupby(pages, key=lambda page: page.group)]
    maps = [page_map(pattern, group, paper) for group in groups]
    story: list[Flowable] = [
        *section("Page maps"),
        words("How the template pages join, and what is on each. The numbers are page numbers.", BODY),
        Spacer(0, 3 * mm),
    ]
    for row in in_rows(maps, paper.drawing_size[0], 7.0):
        story += [row, Spacer(0, 4 * mm)]
    return [PageBreak(), *story]
