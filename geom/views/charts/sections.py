"""Sections of the wall: level ones seen from above, upright ones at a few azimuths.

Every section shows the drawing, the best estimate and the band that holds the wall with
95 % probability at each place.  Before a survey: the drawing alone, with its stations.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from geom.compare.findings import Findings
from geom.design import Design
from geom.errors import InputError
from geom.frame import clock_face, wrap
from geom.quantity import K95
from geom.readings import RodReadings
from geom.surface.grid import close_seam, interpolate_columns, make_grid
from geom.surface.radial import RadialSurface
from geom.units import MM_PER, Float, say_both
from geom.views.charts import figure as chart
from geom.views.charts.figure import graduate, height_axis, nice_step
from geom.views.charts.unrolled import HeadLine, PanelLayout, UnrolledFigure
from geom.views.say import count_of, plain, say_sense

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_TYPE = 12.0
#: Colour, and strokes with their ink: the side survives a grey copy.
_LOST: dict[str, Any] = {
    "facecolor": "#f0a044",
    "hatch": "////",
    "edgecolor": "#842a12",
}
_BUILD_UP: dict[str, Any] = {
    "facecolor": "#6aaacb",
    "hatch": "||||",
    "edgecolor": "#0f2c54",
}
_BAND: dict[str, Any] = {"facecolor": "#1c1c20", "alpha": 0.30}


@chart.picture(dpi=120)
def level_sections(surface: RadialSurface, findings: Findings) -> Figure:
    """Four level sections, seen from above, true to scale."""
    figure = chart.new_figure(9.4, 10.1)
    rows = _rows(surface, findings)
    outer = _outermost(surface, rows)
    for place, row in enumerate(rows):
        axes = figure.add_axes(
            (0.01 + 0.5 * (place % 2), 0.475 - 0.47 * (place // 2), 0.48, 0.45)
        )
        _level(axes, surface, row, outer=outer)
    _legend(figure, f"SEEN FROM ABOVE, true to scale; 12 = {_zero(surface)}")
    return figure


@chart.picture(dpi=120)
def upright_sections(surface: RadialSurface, findings: Findings) -> Figure:
    """Five upright sections, radius stretched against height."""
    figure = chart.new_figure(9.4, 7.6)
    azimuths = [findings.deepest.azimuth, *_quarters(surface)]
    for place, azimuth in enumerate(azimuths):
        axes = figure.add_axes((0.085 + 0.184 * place, 0.10, 0.165, 0.68))
        _upright(axes, surface, azimuth, head="\n" if place else "deepest point\n")
    _legend(
        figure,
        f"UPRIGHT, axis to the left, radius stretched; 12 = {_zero(surface)}",
        shell=surface.design.shell_radius is not None,
    )
    return figure


@chart.picture(dpi=100)
def level_section(surface: RadialSurface, height: float) -> Figure:
    """One level section, at the surveyed row nearest to a height, mm."""
    rows = np.flatnonzero(surface.grid.surveyed_rows)
    low, high = surface.grid.surveyed_heights
    if not low <= height <= high:
        raise InputError(
            f"no wall is surveyed at height {height:g} mm",
            cure=f"It is from {low:.0f} to {high:.0f} mm",
        )
    row = int(rows[np.abs(surface.height[rows] - height).argmin()])
    figure = chart.new_figure(9.4, 7.0)
    axes = figure.add_axes((0.15, 0.01, 0.7, 0.86))
    _level(axes, surface, row, outer=_outermost(surface, [row]))
    _legend(figure, f"SEEN FROM ABOVE, true to scale; 12 = {_zero(surface)}")
    return figure


@chart.picture(dpi=100)
def upright_section(surface: RadialSurface, azimuth: float) -> Figure:
    """One upright section, radius stretched against height."""
    figure = chart.new_figure(9.4, 7.6)
    axes = figure.add_axes((0.28, 0.10, 0.44, 0.72))
    _upright(axes, surface, float(wrap(azimuth)), head="")
    _legend(
        figure,
        f"UPRIGHT, axis to the left, radius stretched; 12 = {_zero(surface)}",
        shell=surface.design.shell_radius is not None,
    )
    return figure


def _zero(surface: RadialSurface) -> str:
    return plain(surface.design.azimuth_zero, most=40)


def _rows(surface: RadialSurface, findings: Findings) -> list[int]:
    """Rows of the deepest point and of three heights spread over the survey."""
    rows = np.flatnonzero(surface.grid.surveyed_rows)
    height = surface.height[rows]
    asked = np.append(
        np.quantile(height, [0.15, 0.5, 0.85]), float(findings.deepest.height)
    )
    near = np.abs(height[None, :] - asked[:, None]).argmin(axis=1)
    return sorted({int(rows[i]) for i in near}, reverse=True)


def _quarters(surface: RadialSurface) -> list[float]:
    onward = [0.0, 90.0, 180.0, 270.0]
    if surface.design.azimuth_sense == "clockwise":
        return onward
    return [(360.0 - turn) % 360.0 for turn in onward]


def _outermost(surface: RadialSurface, rows: list[int]) -> float:
    """Greatest radius drawn, mm: all level sections share one scale."""
    limit = surface.radius[rows] + K95 * surface.radius_sd[rows]
    drawn = surface.grid.design_radius[rows]
    return float(max(np.nanmax(limit), np.max(drawn)))


def _level(axes: Axes, surface: RadialSurface, row: int, *, outer: float) -> None:
    drawn = float(surface.grid.design_radius[row])
    best, low, high = _band(surface.radius[row], surface.radius_sd[row], surface, row)
    angle = np.append(surface.azimuth, 360.0)
    circle = np.full_like(angle, drawn)
    _fill_between(axes, surface, angle, (circle, np.fmax(best, drawn)), _LOST)
    _fill_between(axes, surface, angle, (np.fmin(best, drawn), circle), _BUILD_UP)
    _fill_between(axes, surface, angle, (low, high), _BAND)
    axes.plot(*_plan(surface, angle, circle), color=chart.QUIET, lw=1.3, ls="--")
    axes.plot(*_plan(surface, angle, best), color=chart.INK, lw=1.5)
    _hours(axes, 1.10 * outer)
    _name_level(axes, surface, row, drawn)
    axes.set_xlim(-1.17 * outer, 1.17 * outer)
    axes.set_ylim(-1.17 * outer, 1.17 * outer)
    axes.set_aspect("equal")
    axes.set_title("", y=1.0)
    axes.set_axis_off()


def _name_level(axes: Axes, surface: RadialSurface, row: int, drawn: float) -> None:
    unit = surface.design.length_unit
    words = [
        ("height", 0.24, _TYPE, "normal"),
        (say_both(float(surface.height[row]), unit), 0.08, _TYPE + 2, "bold"),
        ("drawn diameter", -0.14, _TYPE, "normal"),
        (say_both(2.0 * drawn, unit), -0.28, _TYPE, "normal"),
    ]
    for text, up, size, weight in words:
        axes.text(
            0, up * drawn, text, ha="center", va="center", fontsize=size,
            fontweight=weight, color=chart.INK,
        )  # fmt: skip


def _hours(axes: Axes, radius: float) -> None:
    for hour in (12, 3, 6, 9):
        turn = np.deg2rad(30.0 * hour)
        axes.text(
            radius * np.sin(turn), radius * np.cos(turn), str(hour), ha="center",
            va="center", fontsize=_TYPE + 1, fontweight="bold", color=chart.INK,
        )  # fmt: skip


def _band(
    best: Float, sd: Float, surface: RadialSurface, row: int
) -> tuple[Float, Float, Float]:
    """Best estimate and 95 % limits of one row, openings blank, closed round."""
    hole = surface.grid.opening[row]
    lines = [np.where(hole, np.nan, best + k * sd)[None] for k in (0.0, -K95, K95)]
    closed = [close_seam(line)[0] for line in lines]
    return closed[0], closed[1], closed[2]


def _plan(surface: RadialSurface, azimuth: Float, radius: Float) -> tuple[Float, Float]:
    """Seen from above with azimuth 0 at the top and the clock running clockwise."""
    hand = 1.0 if surface.design.azimuth_sense == "clockwise" else -1.0
    turn = np.deg2rad(azimuth)
    return hand * radius * np.sin(turn), radius * np.cos(turn)


def _fill_between(
    axes: Axes,
    surface: RadialSurface,
    azimuth: Float,
    between: tuple[Float, Float],
    look: Mapping[str, Any],
) -> None:
    """Fill the ring between two radii; pieces where either is missing are left out.

    As a collection: limits are set, and those of a patch are sought curve by curve.
    """
    from matplotlib.collections import PolyCollection

    inner, outer = between
    pieces = []
    known = np.isfinite(inner) & np.isfinite(outer)
    edges = np.flatnonzero(np.diff(np.concatenate([[0], known.astype(int), [0]])))
    for start, stop in edges.reshape(-1, 2):
        part = slice(start, stop)
        x1, y1 = _plan(surface, azimuth[part], inner[part])
        x2, y2 = _plan(surface, azimuth[part], outer[part])
        across, up = np.append(x1, x2[::-1]), np.append(y1, y2[::-1])
        pieces.append(np.column_stack([across, up]))
    axes.add_collection(PolyCollection(pieces, lw=0, **look), autolim=False)


def _upright(axes: Axes, surface: RadialSurface, azimuth: float, *, head: str) -> None:
    grid, design = surface.grid, surface.design
    hidden = np.where(grid.opening, np.nan, 1.0)
    best = interpolate_columns(surface.radius * hidden, azimuth)
    sd = interpolate_columns(surface.radius_sd * hidden, azimuth)
    height, drawn = grid.height, grid.design_radius
    axes.fill_betweenx(height, drawn, np.fmax(best, drawn), lw=0, **_LOST)
    axes.fill_betweenx(height, np.fmin(best, drawn), drawn, lw=0, **_BUILD_UP)
    axes.fill_betweenx(height, best - K95 * sd, best + K95 * sd, lw=0, **_BAND)
    axes.plot(
        design.profile.radius, design.profile.height, color=chart.QUIET, lw=1.3, ls="--"
    )
    axes.plot(best, height, color=chart.INK, lw=1.5)
    if design.shell_radius is not None:
        axes.axvline(design.shell_radius, color=chart.QUIET, lw=3.0)
    _upright_axes(axes, surface, azimuth, head=head)


def _upright_axes(
    axes: Axes, surface: RadialSurface, azimuth: float, *, head: str
) -> None:
    design = surface.design
    unit = design.length_unit
    low = float(min(np.nanmin(surface.radius), design.profile.radius.min()))
    high = float(max(np.nanmax(surface.radius), design.profile.radius.max()))
    high = max(high, design.shell_radius or 0.0)
    room = 0.06 * (high - low) + 5.0
    axes.set_xlim(low - room, high + room)
    step = nice_step((high - low) / float(MM_PER[unit]) / 2.5, unit)
    graduate(axes.xaxis, unit, step, size=_TYPE)
    height_axis(axes, design, size=_TYPE, divisions=8.0)
    if head == "\n":
        axes.tick_params(labelleft=False)
        axes.set_ylabel("")
    clock = clock_face(azimuth, design.azimuth_sense)
    # a title whose place is given is not sought: nothing of the axes is above them
    axes.set_title(f"{head}{azimuth:.0f}°\n{clock}", fontsize=_TYPE, y=1.0)
    axes.set_xlabel(f"radius, {unit}", fontsize=_TYPE)


def _legend(figure: Figure, words: str, *, shell: bool = False) -> None:
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    handles = [
        Line2D([], [], color=chart.QUIET, lw=1.3, ls="--", label="drawing"),
        Line2D([], [], color=chart.INK, lw=1.5, label="wall as found"),
        Patch(label="95 % band", **_BAND),
        Patch(label="lost", **_LOST),
        Patch(label="build-up", **_BUILD_UP),
    ]
    if shell:
        handles.append(Line2D([], [], color=chart.QUIET, lw=3.0, label="shell"))
    figure.text(0.02, 0.985, words, fontsize=_TYPE + 1, va="top", color=chart.INK)
    chart.legend(figure, handles, (0.01, 0.962), ncols=6, columnspacing=1.4)


#: The drawn wall unrolled, the profile to the left of it.
_DRAWN = PanelLayout(
    width=6.6,
    left=5.0,
    right=0.85,
    top=1.15,
    bottom=1.75,
    type_size=_TYPE,
    highest=8.0,
    azimuth_label="azimuth in degrees, hour of the clock below it   (0° = 12 = {zero})",
    label_gap=6.0,
    named_every=30,
)
_PROFILE_LEFT, _PROFILE_WIDTH = 0.95, 2.7  # inches


@chart.picture(dpi=110)
def drawn_wall(design: Design, readings: RodReadings | None = None) -> Figure:
    """The drawing before a survey: its profile, and the wall unrolled with stations."""
    heights = design.profile.bottom, design.profile.top
    frame = UnrolledFigure(design, make_grid(design, surveyed=heights), _DRAWN)
    axes = frame.panels[0]
    axes.axhspan(*heights, facecolor=chart.PAPER, zorder=0.5)
    axes.set_ylabel("")
    frame.openings(size=_TYPE - 1)
    for band in design.datum_bands:
        axes.axhspan(band.low, band.high, **_SOUND, zorder=0.6)
    stations = "no readings"
    if readings is not None:
        azimuth, height = readings.stations
        axes.plot(frame.wall.right(azimuth), height, **_STATION, zorder=25)
        shut = readings.no_access
        axes.plot(frame.wall.right(shut.azimuth), shut.height, **_SHUT, zorder=25)
        stations = count_of(len(readings), "reading")
    profile = chart.add_axes(
        frame.figure, _PROFILE_LEFT, _DRAWN.bottom, _PROFILE_WIDTH, frame.height
    )
    _profile(profile, design)
    name = plain(design.name, most=60)
    size = _TYPE + 2
    frame.figure.text(
        0.02, 0.975, f"{name}: {stations}", fontsize=size, va="top", color=chart.INK
    )
    frame.heading([HeadLine(0.72, f"SEEN FROM INSIDE; {say_sense(design)}", _TYPE)])
    chart.legend(frame.figure, _drawn_legend(design, readings), (0.02, 0.085), ncols=4)
    return frame.figure


_SOUND: dict[str, Any] = {
    "facecolor": "#ffffff",
    "hatch": "....",
    "edgecolor": "#9a98a0",
    "linewidth": 0.0,
}
_LINING: dict[str, Any] = {"facecolor": "#d9d7de", "edgecolor": "none"}
_STATION: dict[str, Any] = {
    "linestyle": "none", "marker": "o", "markersize": 4.5, "color": chart.INK,
}  # fmt: skip
_SHUT: dict[str, Any] = _STATION | {"marker": "x", "markersize": 7.0}


def _profile(axes: Axes, design: Design) -> None:
    """The hot face as drawn, its corners marked, from the axis out to the shell."""
    profile, shell = design.profile, design.shell_radius
    most = max(float(profile.radius.max()), shell or 0.0)
    if shell is not None:
        axes.fill_betweenx(profile.height, profile.radius, shell, **_LINING)
        axes.axvline(shell, color=chart.QUIET, lw=3.0)
    for hole in design.openings:
        sides = [design.radius_at_opening(hole), shell or most * 1.08]
        axes.fill_betweenx(
            [hole.sill, hole.top], sides[0], sides[1], color=chart.PAPER, zorder=2
        )
        axes.plot(
            [*sides, *sides[::-1], sides[0]],
            [hole.sill, hole.sill, hole.top, hole.top, hole.sill],
            color=chart.INK, lw=0.8, zorder=3,
        )  # fmt: skip
    axes.plot(
        profile.radius, profile.height, color=chart.INK, lw=2.2, marker="s",
        markersize=4.5, zorder=4,
    )  # fmt: skip
    axes.axvline(0.0, color=chart.QUIET, lw=1.2, ls="-.")
    axes.set_xlim(-0.04 * most, 1.12 * most)
    unit = design.length_unit
    step = nice_step(most / float(MM_PER[unit]) / 3.0, unit)
    graduate(axes.xaxis, unit, step, size=_TYPE)
    height_axis(axes, design, size=_TYPE)
    axes.set_xlabel(f"radius from the axis, {unit}", fontsize=_TYPE)
    axes.set_title("profile, radius stretched", fontsize=_TYPE)


def _drawn_legend(design: Design, readings: RodReadings | None) -> list[Any]:
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    handles: list[Any] = [
        Line2D([], [], color=chart.INK, lw=2.2, marker="s", label="hot face as drawn")
    ]
    if design.shell_radius is not None:
        handles.append(Patch(label="lining, to the shell", **_LINING))
    if design.datum_bands:
        handles.append(Patch(label="datum band", **_SOUND))
    if readings is not None:
        handles.append(Line2D([], [], label="reading", **_STATION))
        if readings.no_access.azimuth.size:
            handles.append(Line2D([], [], label="no access", **_SHUT))
    return handles
