"""The unrolled wall by what to do: hatched, numbered, legible in black and white."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from geom.compare.findings import ACTIONS, Findings
from geom.repair import RepairPlan
from geom.surface.radial import RadialSurface
from geom.units import Bool, Float
from geom.views.charts import colours
from geom.views.charts import style as chart
from geom.views.charts.unrolled import (
    PanelLayout,
    UnrolledFigure,
    not_surveyed_patch,
)
from geom.views.say import WORK

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_LAYOUT = PanelLayout(
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


def workmap_png(
    surface: RadialSurface,
    findings: Findings,
    plan: RepairPlan | None = None,
    *,
    dpi: int = 180,
) -> bytes:
    """The wall by action, zones numbered as in the tables, as PNG.

    Where a plan is given, what each brick zone takes is outlined.
    """
    with chart.drawing_style():
        return chart.render(workmap_figure(surface, findings, plan), dpi=dpi)


def workmap_figure(
    surface: RadialSurface, findings: Findings, plan: RepairPlan | None = None
) -> Figure:
    """The figure of `workmap_png`; draw it inside `chart.drawing_style`."""
    frame = UnrolledFigure(surface.design, surface.grid, _LAYOUT)
    size = _LAYOUT.type_size
    _paint(frame, findings)
    zones = plan.zones if plan is not None else ()
    bricked = [zone for zone in zones if zone.brickwork is not None]
    for zone in bricked:
        frame.outline(zone.share, width=3.2, zorder=5)
    frame.openings(size=size - 4)
    _numbers(frame, findings)
    frame.panels[0].set_title(
        "SEEN FROM INSIDE", fontsize=size + 1, loc="left", color=chart.INK
    )
    _legend(frame, bricked=bool(bricked))
    return frame.figure


def _paint(frame: UnrolledFigure, findings: Findings) -> None:
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
            fontsize=_LAYOUT.type_size + 5,
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


def _legend(frame: UnrolledFigure, *, bricked: bool) -> None:
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    styles = [colours.ACTION_STYLES[name] for name in (*WORK, "leave")]
    handles: list[Any] = [
        Patch(
            facecolor=style.fill,
            edgecolor=style.ink if style.hatch else chart.INK,
            hatch=style.hatch,
            label=style.word,
        )
        for style in styles
    ]
    handles.append(not_surveyed_patch("Not surveyed"))
    if bricked:
        handles.append(Line2D([], [], color=chart.INK, lw=3.2, label="Brickwork"))
    frame.legend(
        handles,
        bottom=0.08,
        ncols=4,
        fontsize=_LAYOUT.type_size - 1,
        handlelength=2.0,
        columnspacing=1.2,
        handleheight=1.2,
    )
