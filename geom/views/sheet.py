"""repair-sheet.pdf: what the foreman takes to the furnace, on paper.

Front page, a page for each zone, and a page on tuyeres, sand bottom and melting.
"""

from __future__ import annotations

import io
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from geom.compare.findings import Findings
from geom.design import Design
from geom.repair import Works
from geom.surface.radial import RadialSurface
from geom.views.paper import FONT, register_fonts
from geom.views.sheet_front import front
from geom.views.sheet_rest import rest
from geom.views.sheet_zone import zone_page
from geom.views.words import plain, say_time, say_zero

if TYPE_CHECKING:
    from reportlab.platypus import Flowable

#: As wide as A4 and as tall as Letter: prints whole on both.  Points.
_PAGE = (595.0, 792.0)
_MARGIN = 36.0
_FOOT = 30.0
#: Within the frame's own padding of 6 points a side.
_TEXT = _PAGE[0] - 2.0 * _MARGIN - 12.0
_ROOM = _PAGE[1] - 2.0 * _MARGIN - _FOOT - 12.0


def sheet_bytes(
    surface: RadialSurface, findings: Findings, works: Works, *, workmap: bytes
) -> bytes:
    """The repair sheet as PDF.

    Parameters
    ----------
    surface : RadialSurface
    findings : Findings
    works : Works
        Of those findings.
    workmap : bytes
        The wall by action, as PNG.

    Returns
    -------
    bytes
        Body type 12 point or more; black and white; the same input gives the same
        bytes.
    """
    from reportlab.platypus import SimpleDocTemplate

    register_fonts()
    out = io.BytesIO()
    sheet = SimpleDocTemplate(
        out,
        pagesize=_PAGE,
        leftMargin=_MARGIN,
        rightMargin=_MARGIN,
        topMargin=_MARGIN,
        bottomMargin=_MARGIN + _FOOT,
        title=f"Repair sheet, {plain(findings.lining)}",
        author="",
        subject=plain(findings.title),
        creator=f"daubline {plain(findings.version)}",
        invariant=1,
    )
    story = _story(surface.design, findings, works, workmap)
    sheet.build(story, canvasmaker=_numbered(_foot(findings, surface.design)))
    return out.getvalue()


def _foot(findings: Findings, design: Design) -> Callable[[Any, int, int], None]:
    words = f"{plain(findings.lining, most=40)}, {say_time(findings.created)}"
    clock = f"Clock: {say_zero(design)}"

    def draw(canvas: Any, page: int, pages: int) -> None:
        canvas.setFont(FONT, 10)
        left, right = _MARGIN + 6.0, _PAGE[0] - _MARGIN - 6.0
        canvas.drawString(left, _MARGIN + 13.0, clock)
        canvas.drawString(left, _MARGIN, words)
        canvas.drawRightString(right, _MARGIN, f"page {page} of {pages}")

    return draw


def _numbered(foot: Callable[[Any, int, int], None]) -> type:
    """A canvas that draws the foot of every page once it knows how many there are."""
    from reportlab.pdfgen.canvas import Canvas

    class Numbered(Canvas):  # type: ignore[misc, unused-ignore]
        def __init__(self, *args: Any, **named: Any) -> None:
            super().__init__(*args, **named)
            self._kept: list[dict[str, Any]] = []

        def showPage(self) -> None:
            self._kept.append(vars(self).copy())
            self._startPage()

        def save(self) -> None:
            for page, state in enumerate(self._kept, 1):
                self.__dict__.update(state)
                foot(self, page, len(self._kept))
                super().showPage()
            super().save()

    return Numbered


def _story(
    design: Design, findings: Findings, works: Works, workmap: bytes
) -> list[Flowable]:
    from reportlab.platypus import PageBreak

    story = front(design, findings, works.plan, workmap, width=_TEXT, room=_ROOM)
    for zone in works.plan.zones:
        story += [PageBreak(), *zone_page(zone, design, width=_TEXT)]
    return [*story, PageBreak(), *rest(works, design, width=_TEXT)]
