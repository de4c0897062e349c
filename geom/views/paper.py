"""What every form on paper shares: fonts, paragraphs, boxes; black and white."""

from __future__ import annotations

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
