"""certificate.pdf: one page that says whether the wall is back on its drawing."""

from __future__ import annotations

from typing import TYPE_CHECKING

from geom.design import Design
from geom.repair.acceptance.result import Recheck
from geom.repair.assumptions import ASSUMED as REPAIR
from geom.units import say_both
from geom.views.cautions import TO_LIGHT
from geom.views.paper.style import (
    BOLD,
    FONT,
    PageFrame,
    boxed,
    padding,
    paragraph,
    register_fonts,
)
from geom.views.say import plain, say_time, say_zero
from geom.views.tables.openings import taper_lines
from geom.views.tables.recheck import (
    RESULTS,
    VERDICTS,
    CheckRow,
    fit_rows,
    level_row,
    material_lines,
    opening_lines,
    percent,
    release_words,
    verdict_lines,
    zone_row,
)

if TYPE_CHECKING:
    from reportlab.platypus import Flowable

#: As wide as A4 and as tall as Letter: prints whole on both.
_PAGE = PageFrame(595.0, 792.0, margin=24.0)
_SIZE = 12.0
_ROW = 17.0
#: Letters in the words for openings or tuyeres, at most.
_MOST = 330
_NO_PART = "(Not part of the verdict.)"
#: White below the tables.
_BELOW = 6.0
_GAP = 14.0


def certificate_bytes(recheck: Recheck, design: Design) -> bytes:
    """The certificate as PDF.

    Returns
    -------
    bytes
        One page; type 12 point or more; the same input gives the same bytes.
    """
    register_fonts()
    return _PAGE.pdf(
        _story(recheck, design),
        title=f"Recheck after repair, {plain(recheck.lining)}",
        subject=plain(recheck.title),
        version=plain(recheck.version),
    )


def _story(recheck: Recheck, design: Design) -> list[Flowable]:
    head = [*_head(recheck, design), _verdict(recheck, design), _rule(recheck, design)]
    foot = [
        *(paragraph(line, _SIZE, after=2) for line in material_lines(recheck, design)),
        *_openings(recheck, design),
        boxed([paragraph(" ".join(TO_LIGHT), _SIZE, after=0)], width=_PAGE.text_width),
        *_signed(recheck, design),
    ]
    room = _PAGE.text_height - _PAGE.height_of([*head, *foot]) - _BELOW
    rows = max(2, int(room / _ROW) - 1)
    return [*head, _tables(recheck, design, rows), *foot]


def _head(recheck: Recheck, design: Design) -> list[Flowable]:
    lining, title = plain(recheck.lining, most=60), plain(recheck.title, most=50)
    name = lining if title in ("", lining) else f"{title}: {lining}"
    was = plain(recheck.before_title, most=50)
    was = "" if was in ("", lining) else f"{was}, "
    return [
        paragraph("Recheck after repair", 20, bold=True, after=1),
        paragraph(name, 13, bold=True, after=1),
        paragraph(
            f"Worked out {say_time(recheck.created)}. Survey before the repair: "
            f"{was}{say_time(recheck.before_created)}. Clock: {say_zero(design)}.",
            _SIZE,
            after=6,
        ),
    ]


def _verdict(recheck: Recheck, design: Design) -> Flowable:
    lines = [
        paragraph(VERDICTS[recheck.verdict], 26, bold=True, side="centre", after=3)
    ]
    lines += [
        paragraph(line, _SIZE, after=1) for line in verdict_lines(recheck, design)
    ]
    box = boxed(lines, width=_PAGE.text_width)
    box.spaceAfter = 6.0
    return box


def _rule(recheck: Recheck, design: Design) -> Flowable:
    tolerance = say_both(recheck.tolerance, design.length_unit)
    words = (
        f"Back: a chance of {percent(REPAIR.sure)} or more to be within {tolerance} of "
        f"the drawing; not back: {percent(1.0 - REPAIR.sure)} or less. A level by the "
        f"circle of its area; a zone, numbered as on the repair sheet, by its mean and "
        f"{percent(REPAIR.face_share)} of its face. Off: + is cut back. Heights above "
        f"{plain(design.height_zero, most=30)}."
    )
    return paragraph(words, _SIZE, after=6)


def _tables(recheck: Recheck, design: Design, rows: int) -> Flowable:
    """Levels on the left, zones on the right."""
    from reportlab.platypus import Table, TableStyle

    levels = [level_row(level, design) for level in recheck.levels]
    zones = [zone_row(zone, design) for zone in recheck.zones]
    wide, unit = 0.5 * (_PAGE.text_width - _GAP), design.length_unit
    halves = [
        _table(("Level", unit), levels, rows, wide),
        _table(("Zone", unit), zones, rows, wide),
    ]
    style = TableStyle([("VALIGN", (0, 0), (-1, -1), "TOP"), *padding(0, 0, 0, _BELOW)])
    return Table(
        [[halves[0], "", halves[1]]], colWidths=[wide, _GAP, wide], style=style
    )


def _table(
    name: tuple[str, str], rows: list[CheckRow], most: int, wide: float
) -> Flowable:
    from reportlab.lib import colors
    from reportlab.platypus import Table, TableStyle

    heading = (name[0], f"off, {name[1]}", "chance", "result")
    cells = [heading, *(row.cells for row in fit_rows(rows, most))]
    bold = [
        ("FONTNAME", (3, k), (3, k), BOLD)
        for k, row in enumerate(cells)
        if row[3] == RESULTS["reject"]
    ]
    style = [
        ("FONT", (0, 0), (-1, -1), FONT, _SIZE, 14),
        ("FONT", (0, 0), (-1, 0), BOLD, _SIZE, 14),
        ("LINEBELOW", (0, 0), (-1, -1), 0.4, colors.black),
        ("LINEBELOW", (0, 0), (-1, 0), 1.2, colors.black),
        *padding(2, 2, 0, 3),
        *bold,
    ]
    widths = [share * wide for share in (0.26, 0.19, 0.26, 0.29)]
    heights = [_ROW] * len(cells)
    return Table(cells, colWidths=widths, rowHeights=heights, style=TableStyle(style))


def _openings(recheck: Recheck, design: Design) -> list[Flowable]:
    """Openings, and what gathers slag at the tuyeres; neither enters the verdict."""
    words = [" ".join(opening_lines(recheck, design))]
    if recheck.taper:
        lines = " ".join(taper_lines(recheck.taper, design, lips=False))
        words.append(f"Tuyeres: {lines or 'nothing gathers slag, as far as was read.'}")
    return [
        paragraph(
            f"{plain(line, most=_MOST)} (Not part of the verdict.)", _SIZE, after=4
        )
        for line in words
        if line
    ]


def _signed(recheck: Recheck, design: Design) -> list[Flowable]:
    """Lines to sign on; the last, of drying, is what the furnace is released by."""
    from reportlab.platypus import Spacer

    line = f"{'_' * 24}  Date {'_' * 12}"
    released = paragraph(release_words(recheck, design), _SIZE, bold=True, after=5)
    dried = paragraph(f"Dried, by {line}", _SIZE, after=0)
    return [
        Spacer(1, 6),
        paragraph(f"Measured by {line}", _SIZE, after=6),
        paragraph(f"Accepted by {line}", _SIZE, after=6),
        boxed([released, dried], width=_PAGE.text_width),
    ]
