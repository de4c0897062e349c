"""What every form on paper shares: fonts, paragraphs, boxes; black and white.

Ruled tables on paper, every cell a paragraph.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal
from xml.sax.saxutils import escape

if TYPE_CHECKING:
    from reportlab.platypus import Flowable


FONT, BOLD = "DaublineSans", "DaublineSans-Bold"


def register_fonts() -> None:
    """The sans that comes with matplotlib: more letters than the PDF base fonts."""
    from matplotlib import get_data_path
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    folder = Path(get_data_path()) / "fonts" / "ttf"
    for name, file in ((FONT, "DejaVuSans.ttf"), (BOLD, "DejaVuSans-Bold.ttf")):
        if name not in pdfmetrics.getRegisteredFontNames():
            pdfmetrics.registerFont(TTFont(name, str(folder / file)))


def says(
    text: str,
    size: float,
    *,
    bold: bool = False,
    after: float = 4.0,
    side: Literal["left", "centre", "right"] = "left",
) -> Flowable:
    """A paragraph of anybody's text: escaped, so that markup in it stays text."""
    from reportlab.lib.styles import ParagraphStyle
    from reportlab.platypus import Paragraph

    style = ParagraphStyle(
        "said",
        fontName=BOLD if bold else FONT,
        fontSize=size,
        leading=1.25 * size,
        spaceAfter=after,
        alignment=("left", "centre", "right").index(side),
        splitLongWords=True,
    )
    return Paragraph(escape(text), style)


def boxed(content: list[Any], *, width: float) -> Flowable:
    """A heavy frame round what must not be passed over."""
    from reportlab.lib import colors
    from reportlab.platypus import Table, TableStyle

    style = [
        ("BOX", (0, 0), (-1, -1), 2.0, colors.black),
        ("LEFTPADDING", (0, 0), (-1, -1), 8),
        ("RIGHTPADDING", (0, 0), (-1, -1), 8),
        ("TOPPADDING", (0, 0), (-1, -1), 5),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 6),
    ]
    return Table([[content]], colWidths=[width], style=TableStyle(style))


#: Least type that is read at arm's length, points.
BODY = 12.0


def ruled(
    heading: Sequence[str],
    rows: Sequence[Sequence[str | list[Flowable] | Flowable]],
    *,
    widths: Sequence[float],
) -> Flowable:
    """A table with a line under every row; its heading comes again on each page.

    Parameters
    ----------
    heading : sequence of str
        Empty: none.
    rows : sequence of rows
        Cells are text of anybody's, or flowables.
    widths : sequence of float, points
    """
    from reportlab.lib import colors
    from reportlab.platypus import Table, TableStyle

    told: list[list[Any]] = [[_cell(cell) for cell in row] for row in rows]
    if heading:
        told.insert(0, [says(words, BODY, bold=True, after=0) for words in heading])
    style = [
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("LINEBELOW", (0, 0), (-1, -1), 0.4, colors.black),
        ("LEFTPADDING", (0, 0), (-1, -1), 2),
        ("RIGHTPADDING", (0, 0), (-1, -1), 5),
        ("TOPPADDING", (0, 0), (-1, -1), 2),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 3),
    ]
    if heading:
        style.append(("LINEBELOW", (0, 0), (-1, 0), 1.2, colors.black))
    return Table(
        told,
        colWidths=list(widths),
        repeatRows=1 if heading else 0,
        style=TableStyle(style),
        hAlign="LEFT",
    )


def _cell(cell: str | list[Flowable] | Flowable) -> Any:
    return says(cell, BODY, after=0) if isinstance(cell, str) else cell


def tick_box(size: float = 20.0) -> Flowable:
    """A square to tick."""
    from reportlab.lib import colors
    from reportlab.platypus import Table, TableStyle

    style = TableStyle([("BOX", (0, 0), (-1, -1), 1.6, colors.black)])
    return Table([[""]], colWidths=[size], rowHeights=[size], style=style)


def signed(*names: str) -> list[Flowable]:
    """A line to sign on for each."""
    from reportlab.platypus import Spacer

    lines = [
        says(f"{name} {'_' * 24}  Date {'_' * 14}", BODY, after=12) for name in names
    ]
    return [Spacer(1, 14), *lines]
