"""What every form on paper shares: its page, fonts, paragraphs, boxes, ruled tables.

Black and white; the same input gives the same bytes.
"""

from __future__ import annotations

import io
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from geom.units import Float

if TYPE_CHECKING:
    from reportlab.platypus import Flowable


FONT, BOLD = "DaublineSans", "DaublineSans-Bold"
#: Least type that is read at arm's length, points.
BODY = 12.0
#: What a frame of reportlab keeps free within each of its sides, points.
_PADDING = 6.0
#: A space that no line ends at: between a number and its fraction or unit.
_TORN = re.compile(
    r"(?<=\d) (?=(?:\d+/\d+|in|[cm]?m[²³]?|ft[²³]?|lb|kg|L|°[CF]|h|min|%)(?!\w))"
)

#: Draws the foot of a page: canvas, number of the page, how many there are.
Foot = Callable[[Any, int, int], None]


@dataclass(frozen=True)
class PageFrame:
    """The page of a form; at most as wide as A4 and as tall as Letter, or both lying.

    Attributes
    ----------
    width, height : float, points
    margin : float, points
        On every side.
    foot : float, points
        Kept free above the lower margin.
    """

    width: float
    height: float
    margin: float
    foot: float = 0.0

    @property
    def text_width(self) -> float:
        """What the text may take across, points."""
        return self.width - 2.0 * (self.margin + _PADDING)

    @property
    def text_height(self) -> float:
        """What the text may take down the page, points."""
        return self.height - 2.0 * (self.margin + _PADDING) - self.foot

    def height_of(self, flowables: Sequence[Flowable]) -> float:
        """How much of a page they take, points."""
        return sum(
            float(each.wrap(self.text_width, self.text_height)[1])
            + float(each.getSpaceAfter())
            for each in flowables
        )

    def write_foot(
        self, canvas: Any, lines: Sequence[tuple[float, str]], page: str
    ) -> None:
        """Write lines at the left of the foot, and the page's number at the right.

        Parameters
        ----------
        lines : sequence of (float, str)
            How far over the margin, points, and the words.
        """
        canvas.setFont(FONT, 10)
        left, right = self.margin + _PADDING, self.width - self.margin - _PADDING
        for rise, words in lines:
            canvas.drawString(left, self.margin + rise, words)
        canvas.drawRightString(right, self.margin, page)

    def pdf(
        self,
        story: list[Flowable],
        *,
        title: str,
        subject: str,
        version: str,
        foot: Foot | None = None,
        foot_first: bool = False,
    ) -> bytes:
        """The form as PDF.

        Parameters
        ----------
        title, subject, version : str
            For the properties of the document.
        foot : callable, optional
            Draws the foot of a page.
        foot_first : bool
            Whether the foot is read out before the text of its page.
        """
        from reportlab import rl_config
        from reportlab.pdfgen.canvas import Canvas
        from reportlab.platypus import SimpleDocTemplate

        # Streams as bytes: written in ASCII letters they take a quarter more room, and
        # a tenth of the time of a whole survey.
        rl_config.useA85 = 0
        out = io.BytesIO()
        document = SimpleDocTemplate(
            out,
            pagesize=(self.width, self.height),
            leftMargin=self.margin,
            rightMargin=self.margin,
            topMargin=self.margin,
            bottomMargin=self.margin + self.foot,
            title=title,
            author="",
            subject=subject,
            creator=f"daubline {version}",
            invariant=1,
        )
        canvas = Canvas if foot is None else _with_feet(foot, first=foot_first)
        document.build(story, canvasmaker=canvas)
        return out.getvalue()


def _with_feet(foot: Foot, *, first: bool) -> type:
    """A canvas that draws the foot of every page once it knows how many there are."""
    from reportlab.pdfgen.canvas import Canvas

    class FootedCanvas(Canvas):  # type: ignore[misc, unused-ignore]
        def __init__(self, *arguments: Any, **options: Any) -> None:
            super().__init__(*arguments, **options)
            self._pages: list[dict[str, Any]] = []

        def showPage(self) -> None:
            self._pages.append(vars(self).copy())
            self._startPage()

        def save(self) -> None:
            pages = self._pages
            for number, page in enumerate(pages, 1):
                self.__dict__.update(page)
                body = len(self._code)
                self.saveState()
                foot(self, number, len(pages))
                self.restoreState()
                if first:
                    self._code[:] = self._code[body:] + self._code[:body]
                super().showPage()
            super().save()

    return FootedCanvas


def register_fonts() -> None:
    """The sans that comes with matplotlib: more letters than the PDF base fonts."""
    from reportlab import rl_config
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    # Asks at each attribute whether a shape may have it: an aid in writing drawings.
    rl_config.shapeChecking = 0
    folder = _matplotlib_data() / "fonts" / "ttf"
    for name, file in ((FONT, "DejaVuSans.ttf"), (BOLD, "DejaVuSans-Bold.ttf")):
        if name not in pdfmetrics.getRegisteredFontNames():
            pdfmetrics.registerFont(TTFont(name, str(folder / file)))


def get_ready() -> None:
    """Import what it takes to draw on paper."""
    register_fonts()
    import reportlab.graphics.renderPDF  # noqa: F401


def _matplotlib_data() -> Path:
    """Its folder of data; found without its import, a tenth of a printed sheet."""
    found = find_spec("matplotlib")
    data = Path((found and found.origin) or "").parent / "mpl-data"
    if data.is_dir():
        return data
    from matplotlib import get_data_path

    return Path(get_data_path())


def paragraph(
    text: str,
    size: float,
    *,
    bold: bool = False,
    after: float = 4.0,
    side: Literal["left", "centre", "right"] = "left",
) -> Flowable:
    """A paragraph of anybody's text, taken as it stands: markup in it stays text.

    A number keeps its fraction and its unit on its line.
    """
    from reportlab.platypus.paragraph import Paragraph, cleanBlockQuotedText

    style, piece = _look(size, bold, after, side)
    whole = cleanBlockQuotedText(_TORN.sub("\N{NO-BREAK SPACE}", text))
    return Paragraph(whole, style, frags=[piece.clone(text=whole)] if whole else [])


@cache
def _look(
    size: float, bold: bool, after: float, side: Literal["left", "centre", "right"]
) -> tuple[Any, Any]:
    """Style of a paragraph, and a piece of text in it, for which it was read once."""
    from reportlab.lib.styles import ParagraphStyle
    from reportlab.platypus import Paragraph

    style = ParagraphStyle(
        "words",
        fontName=BOLD if bold else FONT,
        fontSize=size,
        leading=1.25 * size,
        spaceAfter=after,
        alignment=("left", "centre", "right").index(side),
        splitLongWords=True,
    )
    (piece,) = Paragraph("text", style).frags
    return style, piece


def padding(
    left: float, right: float, top: float, bottom: float
) -> list[tuple[str, tuple[int, int], tuple[int, int], float]]:
    """What every cell of a table keeps free within its sides, points."""
    sides = {"LEFT": left, "RIGHT": right, "TOP": top, "BOTTOM": bottom}
    return [(f"{side}PADDING", (0, 0), (-1, -1), free) for side, free in sides.items()]


def boxed(content: list[Any], *, width: float, heavy: bool = False) -> Flowable:
    """A frame round what must not be passed over; a heavier one for a stop."""
    from reportlab.lib import colors
    from reportlab.platypus import Table, TableStyle

    style = [
        ("BOX", (0, 0), (-1, -1), 6.0 if heavy else 2.0, colors.black),
        *(padding(12, 8, 8, 9) if heavy else padding(8, 8, 5, 6)),
    ]
    return Table([[content]], colWidths=[width], style=TableStyle(style))


def two_columns(
    left: list[Any], right: list[Any], widths: tuple[float, float]
) -> Flowable:
    """Two columns of flowables, their heads at one level."""
    from reportlab.platypus import Table, TableStyle

    style = TableStyle(
        [
            ("VALIGN", (0, 0), (-1, -1), "TOP"),
            *padding(0, 0, 0, 0),
            ("RIGHTPADDING", (0, 0), (0, 0), 8.0),
        ]
    )
    table = Table([[left, right]], colWidths=list(widths), style=style, hAlign="LEFT")
    table.spaceAfter = 6.0
    return table


def ruled_table(
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

    cells: list[list[Any]] = [[_cell(cell) for cell in row] for row in rows]
    if heading:
        cells.insert(
            0, [paragraph(words, BODY, bold=True, after=0) for words in heading]
        )
    style = [
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("LINEBELOW", (0, 0), (-1, -1), 0.4, colors.black),
        *padding(2, 5, 2, 3),
    ]
    if heading:
        style.append(("LINEBELOW", (0, 0), (-1, 0), 1.2, colors.black))
    return Table(
        cells,
        colWidths=list(widths),
        repeatRows=1 if heading else 0,
        style=TableStyle(style),
        hAlign="LEFT",
    )


def _cell(cell: str | list[Flowable] | Flowable) -> Any:
    return paragraph(cell, BODY, after=0) if isinstance(cell, str) else cell


def tick_box(size: float = 20.0) -> Flowable:
    """A square to tick, points."""
    from reportlab.lib import colors
    from reportlab.platypus import Table, TableStyle

    style = TableStyle([("BOX", (0, 0), (-1, -1), 1.6, colors.black)])
    return Table([[""]], colWidths=[size], rowHeights=[size], style=style)


def signature_lines(*names: str) -> list[Flowable]:
    """A line to sign on for each."""
    from reportlab.platypus import Spacer

    lines = [
        paragraph(f"{name} {'_' * 24}  Date {'_' * 14}", BODY, after=10)
        for name in names
    ]
    return [Spacer(1, 12), *lines]


def hatch_lines(
    flat: Float, apart: float
) -> list[tuple[tuple[float, float], tuple[float, float]]]:
    """Slanted lines within a convex polygon.

    Parameters
    ----------
    flat : array (n, 2)
        Its corners in order.
    apart : float
        Distance of the lines.

    Examples
    --------
    >>> square = np.array([[0.0, 0.0], [2.0, 0.0], [2.0, 2.0], [0.0, 2.0]])
    >>> hatch_lines(square, 2.0 ** 0.5)
    [((0.0, 0.0), (2.0, 2.0))]
    """
    level = flat[:, 1] - flat[:, 0]
    step = apart * np.sqrt(2.0)
    first, last = (
        np.ceil(level.min() / step + 1e-9),
        np.floor(level.max() / step - 1e-9),
    )
    lines = []
    for number in np.arange(first, last + 1.0):
        ends = _crossings(flat, level - number * step)
        if len(ends) >= 2:
            lines.append((min(ends), max(ends)))
    return lines


def _crossings(flat: Float, side: Float) -> list[tuple[float, float]]:
    """Where the edges of a polygon cross the line on which ``side`` is 0."""
    after, further = np.roll(side, -1), np.roll(flat, -1, axis=0)
    points = []
    for k in np.flatnonzero((side <= 0.0) != (after <= 0.0)):
        part = side[k] / (side[k] - after[k])
        x, y = flat[k] + part * (further[k] - flat[k])
        points.append((float(x), float(y)))
    return points
