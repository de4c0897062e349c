"""rod-sheet.pdf: the blank rod sheet on paper, to be written on in the furnace."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, Any

from geom._version import __version__
from geom.compare.climb import Climb
from geom.design import Design
from geom.views.cautions import CAUTIONS
from geom.views.marks import explain
from geom.views.paper import FONT, boxed, register_fonts, says
from geom.views.plan import plan_drawing
from geom.views.rod_table import grids, stations
from geom.views.words import plain

if TYPE_CHECKING:
    from reportlab.platypus import Flowable

#: As wide as Letter and as tall as A4, both lying: prints whole on both.  Points.
_PAGE = (792.0, 595.0)
_MARGIN = 40.0
_FOOT = 32.0
#: Within the frame's own padding of 6 points a side.
_TEXT = _PAGE[0] - 2.0 * _MARGIN - 12.0
_ROOM = _PAGE[1] - 2.0 * _MARGIN - _FOOT - 12.0
_PLAN = 236.0


def paper_bytes(design: Design, climb: Climb, *, title: str = "") -> bytes:
    """The blank sheet as PDF.

    Parameters
    ----------
    design : Design
    climb : Climb
    title : str
        Of the survey.

    Returns
    -------
    bytes
        Type 12 point or more, marks and feet of pages 10; black and white.  The same
        input gives the same bytes.
    """
    register_fonts()
    pages = _built(design, climb, title, pages=0)[1]
    return _built(design, climb, title, pages=pages)[0]


def _built(
    design: Design, climb: Climb, title: str, *, pages: int
) -> tuple[bytes, int]:
    """The PDF that says it has so many pages, and how many it has."""
    from reportlab.platypus import SimpleDocTemplate

    out, zero = io.BytesIO(), plain(design.azimuth_zero, most=36)
    sheet = SimpleDocTemplate(
        out,
        pagesize=_PAGE,
        leftMargin=_MARGIN,
        rightMargin=_MARGIN,
        topMargin=_MARGIN,
        bottomMargin=_MARGIN + _FOOT,
        title=f"Rod sheet, {plain(design.name)}",
        author="",
        subject=plain(title),
        creator=f"daubline {__version__}",
        invariant=1,
    )

    def foot(canvas: Any, page: Any) -> None:
        canvas.setFont(FONT, 10)
        sense = f"azimuth grows {design.azimuth_sense}"
        clock = f"Seen from above: {zero} at 12 o'clock; {sense}"
        left, right = _MARGIN + 6.0, _PAGE[0] - _MARGIN - 6.0
        canvas.drawString(left, _MARGIN + 14.0, clock)
        canvas.drawString(left, _MARGIN, plain(design.name, most=70))
        canvas.drawRightString(right, _MARGIN, f"page {page.page} of {pages}")

    sheet.build(_story(design, climb, title), onFirstPage=foot, onLaterPages=foot)
    return out.getvalue(), int(sheet.page)


def _story(design: Design, climb: Climb, title: str) -> list[Flowable]:
    from reportlab.platypus import PageBreak

    story = [*_first_page(design, climb, title), *_signed()]
    if climb.second:
        return [*story, PageBreak(), *stations(design, climb, width=_TEXT)]
    for page in grids(design, climb, width=_TEXT, room=_ROOM):
        story += [PageBreak(), *page]
    return story


def _first_page(design: Design, climb: Climb, title: str) -> list[Flowable]:
    from reportlab.platypus import Spacer, Table, TableStyle

    names = plain(title, most=60), plain(design.name, most=60)
    wide = _TEXT - _PLAN - 12.0
    cautions = boxed(
        [
            says("Before anybody goes in", 14, bold=True, after=3),
            *(says(f"• {caution}", 12, after=2) for caution in CAUTIONS),
        ],
        width=wide,
    )
    plan = [
        plan_drawing(design, climb.azimuth, size=_PLAN),
        says("Seen from above", 13, bold=True, side="centre"),
    ]
    beside = Table(
        [[cautions, plan]],
        colWidths=[wide + 12.0, _PLAN],
        style=TableStyle(
            [
                ("VALIGN", (0, 0), (-1, -1), "TOP"),
                ("LEFTPADDING", (0, 0), (-1, -1), 0),
                ("RIGHTPADDING", (0, 0), (-1, -1), 0),
                ("TOPPADDING", (0, 0), (-1, -1), 0),
            ]
        ),
    )
    return [
        says("Rod sheet", 24, bold=True, after=2),
        says(": ".join(filter(None, names)), 14, bold=True, after=6),
        beside,
        Spacer(1, 4),
        *(says(words, 12, after=3) for words in explain(design, climb)),
    ]


def _signed() -> list[Flowable]:
    """Room for what is written on paper only."""
    from reportlab.platypus import KeepTogether, Spacer

    rows = (
        f"Heat {'_' * 14}   Date {'_' * 16}   Read by {'_' * 36}",
        f"Signature {'_' * 30}   Notes {'_' * 44}",
    )
    return [KeepTogether([Spacer(1, 12), *(says(row, 12, after=12) for row in rows)])]
