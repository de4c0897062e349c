"""campaigns.html: two campaigns beside each other, for a reviewer with two minutes.

Pictures of two campaigns: their maps on one scale, and where they differ.
"""

from __future__ import annotations

import numpy as np

from geom._version import __version__
from geom.record.campaigns.compare import Comparison
from geom.units import Float
from geom.views.charts import style as chart
from geom.views.charts.colours import Rgb, wear_rgb, wear_step
from geom.views.charts.wear_bars import RateBars, level_bars_png, side_bars_png
from geom.views.charts.wear_map import WearFigure, WearMap, wear_png
from geom.views.pages.page import page_bytes
from geom.views.say import (
    plain,
    say_time,
)
from geom.views.tables.campaigns import (
    about_rows,
    campaign_names,
    headline,
    material_row,
    rank_rows,
    ranking_words,
    zone_rows,
)

#: Where no difference is shown.
_GREY = np.array([222, 219, 213], dtype=np.uint8)


def campaigns_pictures(told: Comparison, names: tuple[str, str]) -> dict[str, bytes]:
    """All pictures of the page, as PNG, by name.

    Parameters
    ----------
    told : Comparison
    names : (str, str)
        What the campaigns are called.
    """
    maps = [
        WearMap(told.design, told.grid, one.map.rate, one.map.sd, told.by)
        for one in (told.first, told.second)
    ]
    both = np.stack([one.wear for one in maps])
    step = wear_step(both, told.design.repair.brick_threshold)
    bars = [
        RateBars(names[0], [one.first for one in told.wear]),
        RateBars(names[1], [one.second for one in told.wear]),
    ]
    return {
        "first": wear_png(maps[0], name=names[0], step=step),
        "second": wear_png(maps[1], name=names[1], step=step),
        "difference": difference_png(told, names),
        "levels": level_bars_png(told.design, told.regions, bars, per=told.by),
        "sides": side_bars_png(told.design, told.regions, bars, per=told.by),
    }


def difference_png(
    told: Comparison, names: tuple[str, str], *, dpi: int = 130
) -> bytes:
    """Where the second wears more or less than the first; the rest grey."""
    maps, grid = told.maps, told.grid
    step = wear_step(maps.difference, told.design.repair.brick_threshold)
    with chart.drawing_style():
        frame = WearFigure(told.design, grid)
        hidden = (maps.shown == 0)[..., None]
        colour = np.where(hidden, _GREY, even_rgb(maps.difference, step))
        frame.paint_known(maps.difference, colour.astype(np.uint8))
        frame.hatch((maps.shown < 0) & ~grid.opening, "||", "#0f2c54")
        first, second = (plain(name, most=18) for name in names)
        ticks = step * np.array([-2.0, -1.0, 0.0, 1.0, 2.0])
        frame.explain(
            even_rgb(np.linspace(ticks[0], ticks[-1], 257), step),
            ticks,
            f"{second} less {first}, per {told.by}",
            f"bars: {second} wears less.  grey: not shown",
        )
        return chart.render(frame.figure, dpi=dpi)


def even_rgb(apart: Float, step: float) -> Rgb:
    """The colours of wear, but ending at two steps to either side."""
    return wear_rgb(np.where(apart < 0.0, 0.5 * apart, apart), step)


def campaigns_page(told: Comparison) -> bytes:
    """The page as UTF-8 HTML, whole in itself; every text is escaped."""
    names = campaign_names(told)
    design = told.design
    return page_bytes(
        "campaigns.html.jinja",
        design,
        campaigns_pictures(told, names),
        title=plain(told.title),
        created=say_time(told.created),
        names=names,
        lining=plain(design.name),
        version=__version__,
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
                rank_rows(told, ranks),
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
    second = campaign_names(told)[1]
    return (
        f"{second} is shown to wear less on {less:.0f} % of the wall and more on "
        f"{more:.0f} % of it; on the other {max(0.0, 100.0 - less - more):.0f} % "
        "(grey) neither is shown."
    )
