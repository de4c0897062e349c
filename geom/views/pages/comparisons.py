"""Pages that compare: change.html two surveys, campaigns.html two campaigns."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from geom._version import __version__
from geom.design import Design
from geom.record.campaigns.compare import Comparison
from geom.record.change.result import Change
from geom.units import Float
from geom.views.cautions import CAUTIONS
from geom.views.charts import figure as chart
from geom.views.charts.colours import Rgb, wear_rgb, wear_step
from geom.views.charts.wear_charts import (
    RateBars,
    clock_png,
    level_bars_png,
    material_bars_png,
)
from geom.views.charts.wear_map import WearFigure, WearMap, wear_png
from geom.views.pages.page import page_bytes
from geom.views.say import plain, say_change, say_time
from geom.views.tables import campaigns
from geom.views.tables import change as changes

if TYPE_CHECKING:
    from matplotlib.figure import Figure

#: Shares of the wall that round to nothing, percent.
_NOWHERE = 0.5
#: Where no difference is shown.
_GREY = np.array([222, 219, 213], dtype=np.uint8)


def campaigns_pictures(
    comparison: Comparison, names: tuple[str, str]
) -> dict[str, bytes]:
    """All pictures of the page, as PNG, by name.

    Parameters
    ----------
    names : (str, str)
        What the campaigns are called.
    """
    design, per = comparison.design, campaigns.per_of(comparison)
    first, second = (
        WearMap(
            design,
            comparison.grid,
            per.times * campaign.map.rate,
            per.times * campaign.map.sd,
            per.words,
        )
        for campaign in (comparison.first, comparison.second)
    )
    both = np.stack([first.wear, second.wear])
    step = wear_step(both, design.repair.brick_threshold)
    bars = [
        RateBars(name, [rate and rate.times(per.times) for rate in rates])
        for name, rates in (
            (names[0], [pair.first for pair in comparison.wear]),
            (names[1], [pair.second for pair in comparison.wear]),
        )
    ]
    pictures = {
        "first": wear_png(first, name=names[0], step=step),
        "second": wear_png(second, name=names[1], step=step),
        "difference": difference_png(comparison, names),
        "levels": level_bars_png(design, comparison.regions, bars, per=per.words),
        "clock": clock_png(design, comparison.regions, bars, per=per.words),
    }
    material = comparison.material
    if material.first is not None and material.second is not None:
        pairs = zip(names, (material.first, material.second), strict=True)
        put = [(name, each.times(per.times)) for name, each in pairs]
        pictures["cost"] = material_bars_png(design, put, per=per.words)
    return pictures


@chart.picture(dpi=130)
def difference_png(comparison: Comparison, names: tuple[str, str]) -> Figure:
    """Where the second wears more or less than the first; the rest grey."""
    maps, grid = comparison.maps, comparison.grid
    per = campaigns.per_of(comparison)
    difference = per.times * maps.difference
    step = wear_step(difference, comparison.design.repair.brick_threshold)
    frame = WearFigure(comparison.design, grid)
    hidden = (maps.shown == 0)[..., None]
    colour = np.where(hidden, _GREY, difference_rgb(difference, step))
    frame.paint_known(difference, colour.astype(np.uint8))
    frame.hatch((maps.shown < 0) & ~grid.opening, "||", "#0f2c54")
    # in grey a little more wear and wall that is not shown look alike
    frame.outline((maps.shown != 0) & ~grid.opening, width=0.9)
    first, second = (plain(name, most=16) for name in names)
    ticks = step * np.array([-2.0, -1.0, 0.0, 1.0, 2.0])
    frame.explain(
        difference_rgb(np.linspace(ticks[0], ticks[-1], 257), step),
        ticks,
        f"{second} less {first}",
        f"outlined: shown.  bars: {second} wears less.  grey: not shown",
    )
    return frame.figure


def difference_rgb(difference: Float, step: float) -> Rgb:
    """The colours of wear, but ending at two steps to either side."""
    return wear_rgb(np.where(difference < 0.0, 0.5 * difference, difference), step)


def campaigns_page(comparison: Comparison) -> bytes:
    """The page as UTF-8 HTML, whole in itself; every text is escaped."""
    names = campaigns.campaign_names(comparison)
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
        per=campaigns.per_of(comparison).words,
        headline=campaigns.headline(comparison),
        about=campaigns.about_rows(comparison),
        zones=campaigns.zone_rows(comparison),
        material=campaigns.material_row(comparison),
        shown=say_shown(comparison),
        coloured=bool((comparison.maps.shown != 0).any()),
        rankings=[
            (
                title,
                campaigns.ranking_words(ranks, what),
                campaigns.rank_rows(comparison, ranks),
            )
            for title, what, ranks in (
                ("By level", "level", comparison.levels),
                ("By side", "side", comparison.sides),
            )
        ],
        cautions=[
            plain(words, most=400)
            for words in campaigns.comparison_cautions(comparison)
        ],
    )


def say_shown(comparison: Comparison) -> str:
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
    if max(less, more) < _NOWHERE:
        return "Nowhere on the wall is it settled which campaign wears it less (grey)."
    parts = [
        f"{word} on {part:.0f} %"
        for word, part in (("less", less), ("more", more))
        if part >= _NOWHERE
    ]
    second = campaigns.campaign_names(comparison)[1]
    return (
        f"{second} is shown to wear {' and '.join(parts)} of the wall; on the rest "
        "(grey) neither is shown."
    )


def change_page(change: Change, design: Design, pictures: dict[str, bytes]) -> bytes:
    """The page as UTF-8 HTML.

    Parameters
    ----------
    pictures : dict of PNG bytes
        ``change``, ``first``, ``last``, ``scale`` and ``levels``.

    Returns
    -------
    bytes
        No script and no address of anything outside; every text is escaped.
    """
    tables = [
        (heading, first, changes.piece_rows(regions, design))
        for heading, first, regions in (
            ("Zones", "Zone", change.of_kind("zone")),
            ("Levels", "Height", change.of_kind("level")),
            ("Sides", "Side", change.of_kind("side")),
        )
    ]
    return page_bytes(
        "change.html.jinja",
        design,
        pictures,
        title=plain(say_change(change)),
        lining=plain(change.lining),
        start=changes.survey_line(change.start),
        end=changes.survey_line(change.end),
        created=say_time(change.created),
        version=plain(change.version),
        answer=changes.say_answer(change, design),
        sentences=changes.sentences(change, design),
        warnings=[
            plain(words, most=600) for words in changes.change_warnings(change, design)
        ],
        facts=changes.facts(change, design),
        tables=[table for table in tables if table[2]],
        cautions=CAUTIONS,
    )
