"""The unrolled wall of a survey: map.png by cut-back, the repair sheet's by what to do.

Both are seen from inside, and hatched so that they are legible in black and white.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from geom.compare.findings import ACTIONS, Action, Findings, Maps
from geom.quantity import K95
from geom.readings import CloudReadings, RodReadings
from geom.surface.radial import RadialSurface
from geom.units import Bool, Float, say_both, say_length
from geom.views.charts import colours
from geom.views.charts import figure as chart
from geom.views.charts.colours import cutback_scale
from geom.views.charts.unrolled import (
    MOST_DOTS,
    HeadLine,
    PanelLayout,
    UnrolledFigure,
    not_surveyed_patch,
)
from geom.views.say import WORK, headings, plain, say_sense

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from geom.repair import RepairPlan

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
_WORK_MAP = PanelLayout(
    width=6.2,
    left=1.0,
    right=0.85,
    top=0.55,
    bottom=1.6,
    type_size=14.0,
    highest=0.95 * 6.2,
)
#: More numbers than this on one picture cannot be read.
_MOST_NUMBERS = 40


@chart.picture(dpi=180)
def map_png(
    readings: RodReadings | CloudReadings, surface: RadialSurface, findings: Findings
) -> Figure:
    """The unrolled wall by cut-back, on a scale that no survey changes.

    Readings are drawn as dots, so that measured and inferred wall can be distinguished.
    """
    title, lining = headings(findings)
    seen = "wall unrolled, SEEN FROM INSIDE"
    line = f"{lining}: {seen}" if lining else seen
    return _cutback_map(surface, findings.maps, (title, line), readings.rod)


@chart.picture(dpi=90)
def wall_map(surface: RadialSurface, maps: Maps) -> Figure:
    """The same of a surface alone, with dots where it was read."""
    head = plain(surface.design.name), "wall unrolled, SEEN FROM INSIDE"
    return _cutback_map(surface, maps, head, None)


def _cutback_map(
    surface: RadialSurface,
    maps: Maps,
    head: tuple[str, str],
    readings: RodReadings | None,
) -> Figure:
    design = surface.design
    limit = design.repair.brick_threshold
    frame = UnrolledFigure(design, surface.grid, LARGE_MAP)
    shown = np.isfinite(maps.cutback) & ~surface.grid.opening
    frame.paint(colours.cutback_rgb(maps.cutback, limit), shown)
    for action, ink in _INKS.items():
        here = maps.action == ACTIONS.index(action)
        frame.hatch(here, colours.ACTION_STYLES[action].hatch, ink)
    shadow = _shadow(surface, maps)
    frame.hatch(shadow, _SHADOW, chart.INK)
    cutback = np.where(shown, maps.cutback, np.nan)
    frame.threshold_line(cutback, limit, widths=(4.0, 2.2))
    frame.openings(size=LARGE_MAP.type_size - 2)
    dots = _dots(frame, readings, surface)
    large_heading(frame, *head)
    frame.scale_bar()
    scale = cutback_scale(design, remark="cut-back\nscale is the same\nin every survey")
    frame.colour_bar(
        scale, bottom=1.62, width=5.9, height=0.26, size=LARGE_MAP.type_size - 1.5
    )
    _cutback_legend(frame, surface, dots, shadowed=bool(shadow.any()))
    return frame.figure


def _shadow(surface: RadialSurface, maps: Maps) -> Bool:
    """Wall that the laser did not see, or that rod readings leave in doubt."""
    grid = surface.grid
    if surface.seen is not None:
        return ~surface.seen & grid.surveyed & ~grid.opening
    limit = surface.design.repair.brick_threshold
    half = K95 * np.nan_to_num(maps.cutback_sd)
    return np.asarray((half > DOUBT * limit) & ~grid.opening)


def _dots(
    frame: UnrolledFigure, readings: RodReadings | None, surface: RadialSurface
) -> list[Any]:
    """Readings as drawn; readings left out are crosses.

    Without the readings, where the surface was read by rod.
    """
    if readings is None and surface.seen is not None:
        return []
    azimuth, height = surface.read_at if readings is None else readings.stations
    if not 0 < azimuth.size <= MOST_DOTS:
        return []
    left_out = np.zeros(azimuth.size, dtype=bool)
    if readings is not None:
        out = {r.place for r in surface.rejected}
        whole = np.array([place in out for place in readings.place], dtype=bool)
        left_out = np.append(whole, whole[readings.is_kind("diameter")])
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


def _cutback_legend(
    frame: UnrolledFigure, surface: RadialSurface, dots: list[Any], *, shadowed: bool
) -> None:
    """What hatches and dots mean; ``dots`` are the readings as drawn."""
    limit, unit = surface.design.repair.brick_threshold, surface.design.length_unit
    patches = [
        chart.swatch(
            f"brick: past {say_both(limit, unit)}", "#c4571f", "#ffffff", "////"
        ),
        chart.swatch("chip off", "#b9dbe6", "#0f2c54", "||"),
        chart.swatch("too uncertain: measure again", "#ffffff", "#55535c", "oo"),
        not_surveyed_patch("not surveyed"),
        chart.swatch("opening", colours.OPENING),
    ]
    label = None if surface.seen is None else "not seen by laser"
    if surface.seen is None and shadowed:
        label = f"known to ± {say_length(DOUBT * limit, unit)} or worse"
    if label is not None:
        patches.append(chart.swatch(label, "#ffffff", chart.INK, _SHADOW))
    frame.legend([*patches, *dots], bottom=0.12)


@chart.picture(dpi=180)
def workmap_png(
    surface: RadialSurface, findings: Findings, plan: RepairPlan | None = None
) -> Figure:
    """The wall by action, zones numbered as in the tables.

    Where a plan is given, what each brick zone takes is outlined.
    """
    frame = UnrolledFigure(surface.design, surface.grid, _WORK_MAP)
    size = _WORK_MAP.type_size
    _paint_work(frame, findings)
    zones = plan.zones if plan is not None else ()
    bricked = [zone for zone in zones if zone.brickwork is not None]
    for zone in bricked:
        frame.outline(zone.share, width=3.2, zorder=5)
    frame.openings(size=size - 4)
    _numbers(frame, findings)
    frame.panels[0].set_title(
        "SEEN FROM INSIDE", fontsize=size + 1, loc="left", color=chart.INK, y=1.0
    )
    _work_legend(frame, bricked=bool(bricked))
    return frame.figure


def _paint_work(frame: UnrolledFigure, findings: Findings) -> None:
    action = findings.maps.action
    fills = [colours.rgb(colours.ACTION_STYLES[name].fill) for name in ACTIONS]
    frame.paint(np.array(fills, dtype=np.uint8)[action], action >= 0)
    for code, name in enumerate(ACTIONS):
        style, here = colours.ACTION_STYLES[name], action == code
        if name != "leave":
            frame.hatch(here, style.hatch, style.ink)
            frame.outline(here, width=1.6)


def _numbers(frame: UnrolledFigure, findings: Findings) -> None:
    """Numbers of the largest zones of work, each well inside its zone."""
    work = [zone for zone in findings.zones if zone.action in WORK]
    work.sort(key=lambda zone: -zone.area)
    for zone in work[:_MOST_NUMBERS]:
        here = findings.maps.zone == zone.id
        if not here.any():
            continue
        frame.panels[0].text(
            *_middle(frame, here),
            str(zone.id),
            fontsize=_WORK_MAP.type_size + 5,
            fontweight="bold",
            ha="center",
            va="center",
            color=chart.INK,
            path_effects=chart.halo(),
            bbox={"boxstyle": "circle,pad=0.18", "fc": "#ffffff", "ec": chart.INK},
            zorder=10,
        )


def _middle(frame: UnrolledFigure, where: Bool) -> tuple[float, float]:
    """The cell of a zone farthest inside it and from the picture's ends."""
    from scipy.ndimage import distance_transform_edt

    wall = frame.wall
    deep: Float = distance_transform_edt(np.pad(wall.flat(where), 1))[1:-1, 1:-1]
    row, column = np.unravel_index(int(np.argmax(deep)), deep.shape)
    return float(wall.across[column]), float(wall.grid.height[row])


def _work_legend(frame: UnrolledFigure, *, bricked: bool) -> None:
    from matplotlib.lines import Line2D

    styles = [colours.ACTION_STYLES[name] for name in (*WORK, "leave")]
    handles: list[Any] = [
        chart.swatch(s.word, s.fill, s.ink if s.hatch else chart.INK, s.hatch)
        for s in styles
    ]
    handles.append(not_surveyed_patch("Not surveyed"))
    if bricked:
        handles.append(Line2D([], [], color=chart.INK, lw=3.2, label="Brickwork"))
    frame.legend(
        handles,
        bottom=0.08,
        ncols=4,
        fontsize=_WORK_MAP.type_size - 1,
        handlelength=2.0,
        columnspacing=1.2,
        handleheight=1.2,
    )
