"""map.png: the wall unrolled, coloured by cut-back, seen from inside."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from geom.compare.findings import ACTIONS, Action, Findings
from geom.quantity import K95
from geom.readings import CloudReadings, RodReadings
from geom.surface.radial import RadialSurface
from geom.units import Bool, say_both, say_length
from geom.views.charts import colours
from geom.views.charts import style as chart
from geom.views.charts.colourbar import cutback_scale
from geom.views.charts.unrolled import (
    MOST_DOTS,
    HeadLine,
    PanelLayout,
    UnrolledFigure,
    not_surveyed_patch,
)
from geom.views.say import headings, say_sense

if TYPE_CHECKING:
    from matplotlib.figure import Figure

#: Wall is in doubt where its 95 % interval reaches further than this share of the brick
#: threshold to either side; our own choice.
DOUBT = 0.5
#: Hatch of wall that a laser did not see, or that rod readings leave in doubt.
_SHADOW = "..."
#: Ink of the hatches on the colours of cut-back.
_INKS: dict[Action, str] = {
    "brick": "#ffffff",
    "chip": "#0f2c54",
    "measure again": "#55535c",
}
LARGE_MAP = PanelLayout(
    width=7.8,
    left=1.0,
    right=0.85,
    top=1.75,
    bottom=3.1,
    type_size=13.0,
    azimuth_label="azimuth in degrees, hour of the clock below it   (0° = 12 = {zero})",
    label_gap=6.0,
    named_every=30,
)


def map_png(
    readings: RodReadings | CloudReadings,
    surface: RadialSurface,
    findings: Findings,
    *,
    form: chart.Form = "png",
    dpi: int = 180,
) -> bytes:
    """The unrolled wall as a picture.

    Parameters
    ----------
    readings : RodReadings or CloudReadings
        Drawn as dots, so that measured and inferred wall can be distinguished.
    surface : RadialSurface
    findings : Findings
    form : {'png', 'svg', 'pdf'}
    dpi : int

    Returns
    -------
    bytes
        Colours run from minus one to plus two brick thresholds, whatever the data.
    """
    with chart.drawing_style():
        return chart.render(cutback_figure(readings, surface, findings), form, dpi=dpi)


def cutback_figure(
    readings: RodReadings | CloudReadings, surface: RadialSurface, findings: Findings
) -> Figure:
    """The figure of `map_png`; draw it inside `chart.drawing_style`."""
    design, maps = surface.design, findings.maps
    limit = design.repair.brick_threshold
    frame = UnrolledFigure(design, surface.grid, LARGE_MAP)
    shown = np.isfinite(maps.cutback) & ~surface.grid.opening
    frame.paint(colours.cutback_rgb(maps.cutback, limit), shown)
    for action, ink in _INKS.items():
        here = maps.action == ACTIONS.index(action)
        frame.hatch(here, colours.ACTION_STYLES[action].hatch, ink)
    shadow = _shadow(surface, findings)
    frame.hatch(shadow, _SHADOW, chart.INK)
    cutback = np.where(shown, maps.cutback, np.nan)
    frame.threshold_line(cutback, limit, widths=(4.0, 2.2))
    frame.openings(size=LARGE_MAP.type_size - 2)
    dots = _dots(frame, readings.rod, surface)
    _heading(frame, findings)
    frame.scale_bar()
    scale = cutback_scale(design, remark="cut-back\nscale is the same\nin every survey")
    frame.colour_bar(
        scale, bottom=1.62, width=5.9, height=0.26, size=LARGE_MAP.type_size - 1.5
    )
    _legend(frame, surface, dots, shadowed=bool(shadow.any()))
    return frame.figure


def _shadow(surface: RadialSurface, findings: Findings) -> Bool:
    """Wall that the laser did not see, or that rod readings leave in doubt."""
    grid = surface.grid
    if surface.seen is not None:
        return ~surface.seen & grid.surveyed & ~grid.opening
    limit = surface.design.repair.brick_threshold
    half = K95 * np.nan_to_num(findings.maps.cutback_sd)
    return np.asarray((half > DOUBT * limit) & ~grid.opening)


def _dots(
    frame: UnrolledFigure, readings: RodReadings, surface: RadialSurface
) -> list[Any]:
    """Readings as drawn; readings left out are crosses."""
    azimuth, height = readings.stations
    if not 0 < azimuth.size <= MOST_DOTS:
        return []
    out = {r.place for r in surface.rejected}
    left_out = np.array([place in out for place in readings.place], dtype=bool)
    left_out = np.append(left_out, left_out[readings.is_kind("diameter")])
    (axes,), across = frame.panels, frame.wall.right(azimuth)
    dots: list[Any] = axes.plot(
        across[~left_out],
        height[~left_out],
        "o",
        markersize=4.6,
        markerfacecolor=chart.INK,
        markeredgecolor="#ffffff",
        markeredgewidth=0.7,
        zorder=7,
        label="reading",
    )
    if left_out.any():
        dots += axes.plot(
            across[left_out],
            height[left_out],
            "x",
            markersize=9,
            color=chart.INK,
            markeredgewidth=2.4,
            path_effects=chart.halo(),
            zorder=8,
            label="reading left out",
        )
    return dots


def _heading(frame: UnrolledFigure, findings: Findings) -> None:
    title, lining = headings(findings)
    seen = "wall unrolled, SEEN FROM INSIDE"
    large_heading(frame, title, f"{lining}: {seen}" if lining else seen)


def large_heading(frame: UnrolledFigure, title: str, line: str) -> None:
    """Title, a line, and what azimuth means; whether up and round are at one scale."""
    stretched = "" if frame.true_to_scale else "; up and round are not at one scale"
    frame.heading(
        (
            HeadLine(0.42, title, 21.0, "bold"),
            HeadLine(0.80, line, 15.0),
            HeadLine(
                1.10, say_sense(frame.wall.design) + stretched, 12.0, ink=chart.QUIET
            ),
        )
    )


def _legend(
    frame: UnrolledFigure, surface: RadialSurface, dots: list[Any], *, shadowed: bool
) -> None:
    """What hatches and dots mean; ``dots`` are the readings as drawn."""
    from matplotlib.patches import Patch

    limit, unit = surface.design.repair.brick_threshold, surface.design.length_unit
    patches = [
        Patch(
            facecolor="#c4571f",
            edgecolor="#ffffff",
            hatch="////",
            label=f"brick: past {say_both(limit, unit)}",
        ),
        Patch(facecolor="#b9dbe6", edgecolor="#0f2c54", hatch="||", label="chip off"),
        Patch(
            facecolor="#ffffff",
            edgecolor="#55535c",
            hatch="oo",
            label="too uncertain: measure again",
        ),
        not_surveyed_patch("not surveyed"),
        Patch(facecolor=colours.OPENING, label="opening"),
    ]
    label = None if surface.seen is None else "not seen by laser"
    if surface.seen is None and shadowed:
        label = f"known to ± {say_length(DOUBT * limit, unit)} or worse"
    if label is not None:
        patches.append(
            Patch(facecolor="#ffffff", edgecolor=chart.INK, hatch=_SHADOW, label=label)
        )
    frame.legend([*patches, *dots], bottom=0.12)
