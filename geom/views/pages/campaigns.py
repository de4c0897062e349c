"""campaigns.html: two campaigns side by side, for a reviewer with two minutes."""

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
    comparison_cautions,
    headline,
    material_row,
    rank_rows,
    ranking_words,
    zone_rows,
)

#: Where no difference is shown.
_GREY = np.array([222, 219, 213], dtype=np.uint8)


def campaigns_pictures(
    comparison: Comparison, names: tuple[str, str]
) -> dict[str, bytes]:
    """All pictures of the page, as PNG, by name.

    Parameters
    ----------
    comparison : Comparison
    names : (str, str)
        What the campaigns are called.
    """
    design, per = comparison.design, comparison.by
    first, second = (
        WearMap(design, comparison.grid, campaign.map.rate, campaign.map.sd, per)
        for campaign in (comparison.first, comparison.second)
    )
    both = np.stack([first.wear, second.wear])
    step = wear_step(both, design.repair.brick_threshold)
    bars = [
        RateBars(names[0], [pair.first for pair in comparison.wear]),
        RateBars(names[1], [pair.second for pair in comparison.wear]),
    ]
    return {
        "first": wear_png(first, name=names[0], step=step),
        "second": wear_png(second, name=names[1], step=step),
        "difference": difference_png(comparison, names),
        "levels": level_bars_png(design, comparison.regions, bars, per=per),
        "sides": side_bars_png(design, comparison.regions, bars, per=per),
    }


def difference_png(
    comparison: Comparison, names: tuple[str, str], *, dpi: int = 130
) -> bytes:
    """Where the second wears more or less than the first; the rest grey."""
    maps, grid = comparison.maps, comparison.grid
    step = wear_step(maps.difference, comparison.design.repair.brick_threshold)
    with chart.drawing_style():
        frame = WearFigure(comparison.design, grid)
        hidden = (maps.shown == 0)[..., None]
        colour = np.where(hidden, _GREY, difference_rgb(maps.difference, step))
        frame.paint_known(maps.difference, colour.astype(np.uint8))
        frame.hatch((maps.shown < 0) & ~grid.opening, "||", "#0f2c54")
        first, second = (plain(name, most=18) for name in names)
        ticks = step * np.array([-2.0, -1.0, 0.0, 1.0, 2.0])
        frame.explain(
            difference_rgb(np.linspace(ticks[0], ticks[-1], 257), step),
            ticks,
            f"{second} less {first}, per {comparison.by}",
            f"bars: {second} wears less.  grey: not shown",
        )
        return chart.render(frame.figure, dpi=dpi)


def difference_rgb(difference: Float, step: float) -> Rgb:
    """The colours of wear, but ending at two steps to either side."""
    return wear_rgb(np.where(difference < 0.0, 0.5 * difference, difference), step)


def campaigns_page(comparison: Comparison) -> bytes:
    """The page as UTF-8 HTML, whole in itself; every text is escaped."""
    names = campaign_names(comparison)
    design = comparison.design
    return page_bytes(
        "campaigns.html.jinja",
        design,
        campaigns_pictures(comparison, names),
        title=plain(comparison.title),
        created=say_time(comparison.created),
        names=names,
        lining=plain(design.name),
        version=__version__,
        per=comparison.by,
        headline=headline(comparison),
        about=about_rows(comparison),
        zones=zone_rows(comparison),
        material=material_row(comparison),
        shown=_shown(comparison),
        rankings=[
            (
                title,
                ranking_words(ranks, what),
                rank_rows(comparison, ranks),
            )
            for title, what, ranks in (
                ("By level", "level", comparison.levels),
                ("By side", "side", comparison.sides),
            )
        ],
        cautions=[plain(words, most=400) for words in comparison_cautions(comparison)],
    )


def _shown(comparison: Comparison) -> str:
    """How much of the wall wears surely more or less."""
    grid, shown = comparison.grid, comparison.maps.shown
    known = np.isfinite(comparison.maps.difference) & ~grid.opening
    whole = float(grid.face_area[known].sum())
    if whole <= 0.0:
        return "No wall is told of both campaigns."
    less, more = (
        100.0 * float(grid.face_area[known & (shown == sign)].sum()) / whole
        for sign in (-1, 1)
    )
    second = campaign_names(comparison)[1]
    return (
        f"{second} is shown to wear less on {less:.0f} % of the wall and more on "
        f"{more:.0f} % of it; on the other {max(0.0, 100.0 - less - more):.0f} % "
        "(grey) neither is shown."
    )
