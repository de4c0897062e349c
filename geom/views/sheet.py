"""repair-sheet.pdf: what the foreman takes to the furnace, on paper."""

from __future__ import annotations

import io
from pathlib import Path
from typing import TYPE_CHECKING, Any
from xml.sax.saxutils import escape

from geom.compare.findings import Findings
from geom.design import Design
from geom.frame import clock_face
from geom.surface.radial import RadialSurface
from geom.units import say_both
from geom.views.cautions import CAUTIONS
from geom.views.colours import LOOKS
from geom.views.tables import TASKS, ZoneRow, zone_rows
from geom.views.words import (
    WORK,
    headings,
    plain,
    say_bottom,
    say_from,
    say_sense,
    say_time,
    say_volume,
    say_volume_interval,
    say_zero,
)

if TYPE_CHECKING:
    from reportlab.platypus import Flowable

#: As wide as A4 and as tall as Letter: prints whole on both.  Points.
_PAGE = (595.0, 792.0)
_MARGIN = 42.0
#: Width between the frame's own padding of 6 points a side.
_TEXT = _PAGE[0] - 2.0 * _MARGIN - 12.0
#: Height of a page's text, with a little to spare.
_ROOM = _PAGE[1] - 2.0 * _MARGIN - 30.0 - 20.0
_FONT, _BOLD = "DaublineSans", "DaublineSans-Bold"


def sheet_bytes(surface: RadialSurface, findings: Findings, *, workmap: bytes) -> bytes:
    """The repair sheet as PDF.

    Parameters
    ----------
    surface : RadialSurface
    findings : Findings
    workmap : bytes
        The wall by action, as PNG.

    Returns
    -------
    bytes
        Body type 12 point or more; the same input gives the same bytes.
    """
    from reportlab.platypus import SimpleDocTemplate

    _register_fonts()
    out = io.BytesIO()
    sheet = SimpleDocTemplate(
        out,
        pagesize=_PAGE,
        leftMargin=_MARGIN,
        rightMargin=_MARGIN,
        topMargin=_MARGIN,
        bottomMargin=_MARGIN + 30.0,
        title=f"Repair sheet, {plain(findings.lining)}",
        author="",
        subject=plain(findings.title),
        creator=f"daubline {plain(findings.version)}",
        invariant=1,
    )
    foot = _foot(findings, surface.design)
    sheet.build(_story(surface, findings, workmap), onFirstPage=foot, onLaterPages=foot)
    return out.getvalue()


def _register_fonts() -> None:
    """The sans that comes with matplotlib: more letters than the PDF base fonts."""
    from matplotlib import get_data_path
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    folder = Path(get_data_path()) / "fonts" / "ttf"
    for name, file in ((_FONT, "DejaVuSans.ttf"), (_BOLD, "DejaVuSans-Bold.ttf")):
        if name not in pdfmetrics.getRegisteredFontNames():
            pdfmetrics.registerFont(TTFont(name, str(folder / file)))


def _foot(findings: Findings, design: Design) -> Any:
    words = f"{plain(findings.lining, most=40)}, {say_time(findings.created)}"
    clock = f"Clock: {say_zero(design)}"

    def draw(canvas: Any, sheet: Any) -> None:
        canvas.setFont(_FONT, 10)
        canvas.drawString(_MARGIN, _MARGIN + 13.0, clock)
        canvas.drawString(_MARGIN, _MARGIN, words)
        canvas.drawRightString(_PAGE[0] - _MARGIN, _MARGIN, f"page {sheet.page}")

    return draw


def _says(
    text: str, size: float, *, bold: bool = False, after: float = 4.0
) -> Flowable:
    """A paragraph of anybody's text: escaped, so that markup in it stays text."""
    from reportlab.lib.styles import ParagraphStyle
    from reportlab.platypus import Paragraph

    style = ParagraphStyle(
        "said",
        fontName=_BOLD if bold else _FONT,
        fontSize=size,
        leading=1.28 * size,
        spaceAfter=after,
        splitLongWords=True,
    )
    return Paragraph(escape(text), style)


def _story(
    surface: RadialSurface, findings: Findings, workmap: bytes
) -> list[Flowable]:
    from reportlab.platypus import PageBreak

    design = surface.design
    rows = zone_rows(findings, design)
    first = [
        *_head(findings, design),
        _caution_box(),
        *_needs(findings, design, rows),
    ]
    return [
        *first,
        _picture(workmap, room=_ROOM - _height(first)),
        PageBreak(),
        *_work(rows, design),
        *_cautions(),
        *_signed(),
    ]


def _head(findings: Findings, design: Design) -> list[Flowable]:
    return [
        _says("Repair sheet", 24, bold=True, after=2),
        _says(": ".join(filter(None, reversed(headings(findings)))), 14, bold=True),
        _says(
            f"Clock: {say_zero(design)}. {_capital(say_sense(design))}.", 12, after=6
        ),
    ]


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]


def _caution_box() -> Flowable:
    words = (
        f"Before anybody goes in: {CAUTIONS[0]} Permit, air test, lock-out, overhead "
        "cover. Read the cautions at the end."
    )
    return _boxed([[_says(words, 12, bold=True, after=0)]], widths=[_TEXT], line=2.0)


def _boxed(rows: list[list[Any]], *, widths: list[float], line: float) -> Flowable:
    from reportlab.lib import colors
    from reportlab.platypus import Table, TableStyle

    return Table(
        rows,
        colWidths=widths,
        style=TableStyle(
            [
                ("BOX", (0, 0), (-1, -1), line, colors.black),
                ("LEFTPADDING", (0, 0), (-1, -1), 8),
                ("RIGHTPADDING", (0, 0), (-1, -1), 8),
                ("TOPPADDING", (0, 0), (-1, -1), 5),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 6),
                ("VALIGN", (0, 0), (-1, -1), "TOP"),
            ]
        ),
    )


def _needs(findings: Findings, design: Design, rows: list[ZoneRow]) -> list[Flowable]:
    """The few lines to read first."""
    from reportlab.platypus import Spacer

    rebuild, deepest = findings.volume.rebuild, findings.deepest
    clock = clock_face(deepest.azimuth, design.azimuth_sense)
    counts = [
        f"{sum(row.action == action for row in rows)} to {action}"
        for action in WORK
        if any(row.action == action for row in rows)
    ]
    lines = [
        f"Zones: {', '.join(counts) or 'none need work'}.",
        f"To put in: {say_volume(rebuild.value, design)}, "
        f"95 % sure: {say_volume_interval(rebuild, design)}.",
        f"Deepest: {say_both(deepest.cutback.value, design.length_unit)} at {clock}, "
        f"{say_from(deepest.height, design)}.",
        *say_bottom(design),
    ]
    return [Spacer(1, 8), *(_says(line, 13, after=3) for line in lines), Spacer(1, 4)]


def _height(flowables: list[Flowable]) -> float:
    """How much of a page they take, points."""
    sizes = [
        float(flowable.wrap(_TEXT, _ROOM)[1]) + float(flowable.getSpaceAfter())
        for flowable in flowables
    ]
    return sum(sizes)


def _picture(workmap: bytes, *, room: float) -> Flowable:
    from reportlab.lib.utils import ImageReader
    from reportlab.platypus import Image

    wide, tall = ImageReader(io.BytesIO(workmap)).getSize()
    scale = min(_TEXT / wide, max(room, 200.0) / tall)
    return Image(io.BytesIO(workmap), width=scale * wide, height=scale * tall)


def _work(rows: list[ZoneRow], design: Design) -> list[Flowable]:
    """Every zone with its box to tick, by what to do."""
    from reportlab.platypus import CondPageBreak, Spacer

    if not rows:
        return [
            _says("No zone needs work", 18, bold=True),
            _says("The surveyed wall is within tolerance of the drawing.", 12),
        ]
    story: list[Flowable] = []
    for action in WORK:
        here = [row for row in rows if row.action == action]
        if not here:
            continue
        story += [
            CondPageBreak(170),
            _says(LOOKS[action].word.upper(), 20, bold=True, after=2),
            _says(TASKS[action], 12, after=5),
            *(_card(row, design) for row in here),
            Spacer(1, 10),
        ]
    return story


def _card(row: ZoneRow, design: Design) -> Flowable:
    zero = plain(design.height_zero, most=60)
    depth = {
        "chip": f"Stands {row.depth}",
        "measure again": f"Perhaps {row.depth}",
    }.get(row.action, _capital(row.depth))
    lines = [
        _says(f"Zone {row.id}: {row.clock}", 16, bold=True, after=2),
        _says(f"Height {row.heights} above {zero}", 13, after=2),
        _says(f"{depth}. {_amount(row)}", 13, after=2),
        _says(
            f"95 % sure: depth {row.depth_interval}; volume {row.volume_interval}.",
            12,
            after=1,
        ),
        _says(f"Azimuth {row.degrees}. Area {row.area}.", 12, after=0),
    ]
    return _boxed([[_tick_box(), lines]], widths=[44.0, _TEXT - 44.0], line=0.8)


def _amount(row: ZoneRow) -> str:
    verb = {"chip": "Take off", "measure again": "Perhaps"}.get(row.action, "Put in")
    return f"{verb} {row.volume}."


def _tick_box() -> Flowable:
    """A square to tick."""
    from reportlab.lib import colors
    from reportlab.platypus import Table, TableStyle

    style = TableStyle([("BOX", (0, 0), (-1, -1), 1.8, colors.black)])
    return Table([[""]], colWidths=[24.0], rowHeights=[24.0], style=style)


def _cautions() -> list[Flowable]:
    from reportlab.platypus import KeepTogether

    return [
        KeepTogether(
            [
                _says("Cautions", 18, bold=True),
                *(_says(f"• {caution}", 12, after=3) for caution in CAUTIONS),
            ]
        )
    ]


def _signed() -> list[Flowable]:
    from reportlab.platypus import KeepTogether, Spacer

    line = "_" * 22
    return [
        KeepTogether(
            [
                Spacer(1, 10),
                _says(f"Done by {line}  Date {'_' * 12}", 12, after=14),
                _says(f"Checked by {line}  Date {'_' * 12}", 12),
            ]
        )
    ]
