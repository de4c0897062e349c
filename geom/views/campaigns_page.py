"""campaigns.html: two campaigns beside each other, for a reviewer with two minutes."""

from __future__ import annotations

import numpy as np

from geom._version import __version__
from geom.record.campaigns import Comparison
from geom.views.campaigns_pictures import campaigns_pictures
from geom.views.campaigns_words import (
    about_rows,
    called,
    headline,
    material_row,
    place_rows,
    ranking_words,
    zone_rows,
)
from geom.views.page import page_bytes
from geom.views.words import plain, say_sense, say_time, say_zero


def campaigns_page(told: Comparison) -> bytes:
    """The page as UTF-8 HTML, whole in itself; every text is escaped."""
    names = called(told)
    design = told.design
    sense = say_sense(design)
    return page_bytes(
        "campaigns.html.jinja",
        campaigns_pictures(told, names),
        title=plain(told.title),
        created=say_time(told.created),
        names=names,
        lining=plain(design.name),
        version=__version__,
        sense=sense[:1].upper() + sense[1:],
        zero=say_zero(design),
        height_zero=plain(design.height_zero, most=60),
        per=told.by,
        headline=headline(told),
        about=about_rows(told),
        zones=zone_rows(told),
        material=material_row(told),
        shown=_shown(told),
        rankings=[
            (
                title,
                ranking_words(ranks, what),
                place_rows(told, ranks),
            )
            for title, what, ranks in (
                ("By level", "level", told.levels),
                ("By side", "side", told.sides),
            )
        ],
        cautions=[plain(words, most=400) for words in told.cautions],
    )


def _shown(told: Comparison) -> str:
    """How much of the wall wears surely more or less."""
    grid, shown = told.grid, told.maps.shown
    known = np.isfinite(told.maps.difference) & ~grid.opening
    whole = float(grid.face_area[known].sum())
    if whole <= 0.0:
        return "No wall is told of both campaigns."
    less, more = (
        100.0 * float(grid.face_area[known & (shown == sign)].sum()) / whole
        for sign in (-1, 1)
    )
    second = called(told)[1]
    return (
        f"{second} is shown to wear less on {less:.0f} % of the wall and more on "
        f"{more:.0f} % of it; on the other {max(0.0, 100.0 - less - more):.0f} % "
        "(grey) neither is shown."
    )
