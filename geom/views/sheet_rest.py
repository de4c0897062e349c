"""The last page of the repair sheet: tuyeres, sand bottom, melting."""

from __future__ import annotations

from typing import TYPE_CHECKING

from geom.design import Design
from geom.repair import Works
from geom.repair.bottom import why_no_bottom
from geom.views.paper import says
from geom.views.ruled import BODY, ruled
from geom.views.soundness import (
    bottom_lines,
    melting_lines,
    strike_rows,
    taper_rows,
)
from geom.views.words import plain

if TYPE_CHECKING:
    from reportlab.platypus import Flowable

_HEAD = 16.0


def rest(works: Works, design: Design, *, width: float) -> list[Flowable]:
    """Tuyeres, sand bottom and melting.

    Parameters
    ----------
    works : Works
    design : Design
    width : float, points
        Of the text on a page.
    """
    return [
        says("Tuyeres, sand bottom, melting", 22, bold=True, after=4),
        *_tuyeres(works, design, width),
        *_bottom(works, design, width),
        *_melting(works, design),
    ]


def _tuyeres(works: Works, design: Design, width: float) -> list[Flowable]:
    if not works.taper:
        return [says("The design names no tuyere.", BODY, after=8)]
    rows = [
        (
            row.number,
            f"{row.clock}, {row.azimuth}",
            [says(row.call, BODY, bold=row.call == "runs in", after=0)],
            row.chance,
            row.overhang,
            row.drawn,
            row.after,
        )
        for row in taper_rows(works.taper, design)
    ]
    shares = (0.06, 0.265, 0.15, 0.155, 0.145, 0.10, 0.125)
    table = ruled(
        ("No", "Where", "Slag", "Sheds", "In front", "Drawn", "Then"),
        rows,
        widths=[share * width for share in shares],
    )
    table.spaceAfter = 8.0
    return [
        says("Taper at the tuyeres", _HEAD, bold=True, after=2),
        says(
            "Whether slag that runs down the wall falls clear of the tuyere. In front: "
            "how far the wall above stands in front of the wall below; minus: behind. "
            "Sheds: the chance that it falls clear; then: once repaired.",
            BODY,
            after=3,
        ),
        table,
    ]


def _bottom(works: Works, design: Design, width: float) -> list[Flowable]:
    story = [says("Sand bottom", _HEAD, bold=True, after=2)]
    if works.bottom is None:
        return [*story, says(f"None: {why_no_bottom(design)}.", BODY, after=8)]
    zero = plain(design.height_zero, most=40)
    lines = [*bottom_lines(works.bottom, design), f"Strike to heights above {zero}:"]
    story += [says(line, BODY, after=2) for line in lines]
    points = strike_rows(works.bottom, design)
    half = len(points) // 2
    table = ruled(
        2 * ("At the wall", "Thick", "Strike to"),
        [(*points[k], *points[k + half]) for k in range(half)],
        widths=[share * width for share in 2 * (0.24, 0.12, 0.14)],
    )
    table.spaceAfter = 8.0
    return [*story, table]


def _melting(works: Works, design: Design) -> list[Flowable]:
    return [
        says("What the worn diameter does", _HEAD, bold=True, after=2),
        *(says(line, BODY, after=3) for line in melting_lines(works.melting, design)),
    ]
