"""day.pdf: the day of a repair in order, with boxes to tick and lines to sign on."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from geom._version import __version__
from geom.design import Design
from geom.repair.plan.day import DayPlan
from geom.views.cautions import CAUTIONS
from geom.views.paper.style import (
    BODY,
    PageFrame,
    boxed,
    paragraph,
    register_fonts,
    ruled_table,
    tick_box,
)
from geom.views.say import plain
from geom.views.tables.day import (
    DayRow,
    batch_rows,
    day_lines,
    day_rows,
    drying_lines,
    drying_rows,
)

if TYPE_CHECKING:
    from reportlab.platypus import Flowable

#: As wide as A4 and as tall as Letter: prints whole on both.
_PAGE = PageFrame(595.0, 792.0, margin=30.0, foot=16.0)


def day_bytes(day: DayPlan, design: Design) -> bytes:
    """The day plan as PDF.

    Returns
    -------
    bytes
        Type 12 point or more; the same input gives the same bytes.
    """
    register_fonts()
    lining = plain(day.lining, most=60)

    def foot(canvas: Any, number: int, pages: int) -> None:
        _PAGE.write_foot(canvas, [(0.0, f"Day plan, {lining}")], f"{number} / {pages}")

    return _PAGE.pdf(
        _story(day, design),
        title=f"Day plan, {lining}",
        subject=plain(day.title),
        version=__version__,
        foot=foot,
    )


def _story(day: DayPlan, design: Design) -> list[Flowable]:
    from reportlab.platypus import KeepTogether

    wide = _PAGE.text_width
    title = plain(day.title, most=60)
    name = plain(day.lining, most=60)
    return [
        paragraph("Day plan of the repair", 20, bold=True, after=2),
        paragraph(
            name if title in ("", name) else f"{title}: {name}", 13, bold=True, after=6
        ),
        *(paragraph(words, BODY, after=3) for words in day_lines(day, design)),
        boxed([paragraph(f"{CAUTIONS[0]} {CAUTIONS[1]}", BODY, after=0)], width=wide),
        *_title("Steps, in hours and minutes after blast off"),
        ruled_table(
            ("", "h:min", "What is done"),
            [_step(row) for row in day_rows(day, design)],
            widths=(28.0, 52.0, wide - 80.0),
        ),
        *_batches(day, design, wide),
        KeepTogether(_drying(day, design, wide)),
    ]


def _title(words: str) -> list[Flowable]:
    from reportlab.platypus import Spacer

    return [Spacer(1, 10), paragraph(words, 15, bold=True, after=4)]


def _step(row: DayRow) -> list[str | list[Flowable] | Flowable]:
    head = f"{row.number}. {row.what}{f': {row.amount}' if row.amount else ''}"
    head += f" ({row.takes})" if row.takes else ""
    words = [paragraph(head, BODY, bold=True, after=1)]
    words.append(paragraph(row.caution, BODY, after=0))
    return [tick_box(), row.begins, words]


def _batches(day: DayPlan, design: Design, wide: float) -> list[Flowable]:
    if not day.batches:
        return []
    share = wide / 5.0
    return [
        *_title("Batches of daub"),
        ruled_table(
            ("Batch", "Layer", "How much", "Mix, h:min", "Used by"),
            batch_rows(day, design),
            widths=(0.7 * share, 0.7 * share, 1.6 * share, share, share),
        ),
    ]


def _drying(day: DayPlan, design: Design, wide: float) -> list[Flowable]:
    lines = [
        paragraph(words, BODY, after=3) for words in drying_lines(day.drying, design)
    ]
    story = [*_title("Drying and light-up"), *lines]
    if day.drying is None:
        return story
    rows = [(*row, "_" * 10) for row in drying_rows(day.drying, design)]
    rows.append(("Dried", "every hold point passed, no steam showing", "", "_" * 10))
    heading = ("Step", "How", "h:min after daubing", "Signed")
    widths = (150.0, wide - 320.0, 90.0, 80.0)
    return [*story, ruled_table(heading, rows, widths=widths)]
