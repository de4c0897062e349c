"""The wall unrolled, coloured by wear, next to how well that is known."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from geom.compare.panels import Panels
from geom.design import Design
from geom.quantity import K95
from geom.record.wear.ledger import PanelLedger
from geom.surface import Grid
from geom.units import MM_PER, Bool, Float
from geom.views.charts import colours
from geom.views.charts import figure as chart
from geom.views.charts.colours import (
    ColourScale,
    Rgb,
    uncertainty_rgb,
    wear_labels,
    wear_rgb,
    wear_step,
)
from geom.views.charts.figure import wear_division
from geom.views.charts.unrolled import HeadLine, PanelLayout, UnrolledFigure
from geom.views.say import plain, say_sense

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_LAYOUT = PanelLayout(
    width=4.7,
    left=0.72,
    right=0.58,
    top=0.5,
    bottom=1.75,
    type_size=10.5,
    highest=3.1,
    azimuth_label="azimuth, hour below it (12 = {zero})",
    label_gap=6.0,
    ticks_every=60,
)
_SMALL = PanelLayout(
    width=2.1, left=0.06, right=0.06, top=0.05, bottom=0.24, type_size=9.0,
    ticks_every=90, named_every=90, bare=True,
)  # fmt: skip
_SMALL_DPI = 110
#: Inches above two pictures for a heading.
_HEAD = 0.85


@dataclass(frozen=True)
class WearMap:
    """Wear of the whole wall; arrays (m, k) on the grid.

    Attributes
    ----------
    wear, sd : array, mm per ``per``
        NaN where unknown.
    per : {'heat', 'hour', 'tonne'}
    """

    design: Design
    grid: Grid
    wear: Float
    sd: Float
    per: str

    @property
    def step(self) -> float:
        """Step of the colour scale, mm, when drawn alone."""
        return wear_step(self.wear, self.design.repair.brick_threshold)

    @property
    def not_significant(self) -> Bool:
        """Where wear cannot be distinguished from none."""
        return np.asarray(np.abs(self.wear) <= K95 * self.sd)


class WearFigure(UnrolledFigure):
    """The unrolled wall with a title, a colour bar and a remark to every picture."""

    def __init__(
        self, design: Design, grid: Grid, *, panels: int = 1, head: float = 0.0
    ) -> None:
        super().__init__(design, grid, _LAYOUT, panels=panels, head=head)

    def paint_known(self, field: Float, colour: Rgb, *, panel: int = 0) -> None:
        """Colour the wall where a field is known; openings stay clear."""
        shown = np.isfinite(field) & ~self.wall.grid.opening
        self.paint(colour, shown, panel=panel)

    def explain(
        self,
        table: NDArray[Any],
        ticks: Float,
        title: str,
        remark: str,
        *,
        panel: int = 0,
    ) -> None:
        """Name the openings, title above, scale and remark below.

        Parameters
        ----------
        table : array (n, 3)
            Colours of the scale, sRGB 0 to 255.
        ticks : array, mm
        """
        axes, size = self.panels[panel], _LAYOUT.type_size
        self.openings(size=size - 2, panel=panel)
        axes.set_title(title, fontsize=size + 2, fontweight="bold", loc="left", pad=12)
        labels = wear_labels(ticks, self.wall.design.length_unit)
        self.colour_bar(
            ColourScale(table / 255.0, ticks, labels),
            bottom=0.66, width=_LAYOUT.width, height=0.2, size=size, panel=panel,
        )  # fmt: skip
        self.figure.text(
            axes.get_position().x0, 0.12 / self.figure.get_figheight(), remark,
            fontsize=size - 1, color=chart.QUIET, va="center",
        )  # fmt: skip


@chart.picture(dpi=130)
def wear_png(wear_map: WearMap, *, name: str = "", step: float | None = None) -> Figure:
    """Wear alone, as PNG; ``name`` and ``step`` where several share one scale."""
    frame = WearFigure(wear_map.design, wear_map.grid)
    title = f"{plain(name, most=16)}: " if name else ""
    _wear(frame, wear_map, wear_map.step if step is None else step, title)
    return frame.figure


@chart.picture(dpi=130)
def uncertainty_png(wear_map: WearMap) -> Figure:
    """Its standard uncertainty alone, as PNG."""
    frame = WearFigure(wear_map.design, wear_map.grid)
    _uncertainty(frame, wear_map)
    return frame.figure


@chart.picture(dpi=130)
def ledger_png(
    design: Design, grid: Grid, panels: Panels, ledger: Sequence[PanelLedger]
) -> Figure:
    """Patch that stands now and how often it was put in; original lining left behind.

    Panels that were not read each time stay as wall that was not surveyed.
    """
    owner = panels.owner(grid.height, grid.azimuth)
    shells = [line.original for line in ledger if line.original is not None]
    frame = WearFigure(design, grid, panels=2 if shells else 1)
    patch, left, short = (np.full(panels.count, np.nan) for _ in range(3))
    for line in ledger:
        patch[line.panel] = line.patch.value
        if line.original is not None:
            left[line.panel] = line.original.value
    most = _division(np.nanmax(patch), design)
    frame.paint_known(patch[owner], uncertainty_rgb(patch[owner], most))
    frame.explain(
        uncertainty_rgb(np.linspace(0.0, 1.0, 256), 1.0), np.linspace(0.0, most, 3),
        "patch standing now", "numbers: repairs that put material there",
    )  # fmt: skip
    for line in ledger:
        if line.patched:
            frame.panels[0].text(
                float(frame.wall.right(line.azimuth)), line.height, str(line.patched),
                fontsize=_LAYOUT.type_size - 2, ha="center", va="center", zorder=12,
                color="#ffffff" if patch[line.panel] > 0.5 * most else chart.INK,
                clip_on=True,
            )  # fmt: skip
    if shells:
        most = _division(np.nanmax(left), design)
        short = most - left
        frame.paint_known(left[owner], uncertainty_rgb(short[owner], most), panel=1)
        frame.explain(
            uncertainty_rgb(np.linspace(1.0, 0.0, 256), 1.0),
            np.linspace(0.0, most, 3),
            "original lining left behind it", "darker: less is left", panel=1,
        )  # fmt: skip
    return frame.figure


def _division(most: float, design: Design) -> float:
    """The end of a scale: the next whole inch, or 25 mm."""
    step = 25.4 if design.length_unit == "in" else 25.0
    return step * max(1.0, float(np.ceil(most / step)))


def small_walls(design: Design, grid: Grid, walls: Sequence[Float]) -> list[bytes]:
    """Walls as heats left them, small: colours of cut-back, the brick line; PNG each.

    All in one frame, which takes longer to make than a wall takes to draw in it.

    Parameters
    ----------
    walls : sequence of array (m, k), mm
        Cut-back of each.
    """
    if not walls:
        return []
    limit = design.repair.brick_threshold
    pictures = []
    with chart.drawing_style():
        frame = UnrolledFigure(design, grid, _SMALL)
        frame.openings(size=0.0)
        bare = set(frame.panels[0].get_children())
        for cutback in walls:
            frame.paint(colours.cutback_rgb(cutback, limit), np.isfinite(cutback))
            frame.threshold_line(cutback, limit, widths=(2.6, 1.4))
            frame.hatch((cutback > limit) & ~grid.opening, "///", "#ffffff")
            pictures.append(chart.render(frame.figure, dpi=_SMALL_DPI))
            for artist in set(frame.panels[0].get_children()) - bare:
                artist.remove()
    return pictures


@chart.picture(dpi=160)
def wear_map_png(wear_map: WearMap, *, title: str) -> Figure:
    """Both, side by side under a heading: a picture to hand on by itself."""
    frame = WearFigure(wear_map.design, wear_map.grid, panels=2, head=_HEAD)
    _wear(frame, wear_map, wear_map.step)
    _uncertainty(frame, wear_map, panel=1)
    line = f"wall unrolled, SEEN FROM INSIDE; {say_sense(wear_map.design)}"
    frame.heading(
        (
            HeadLine(0.34, plain(title, most=90), 17.0, "bold"),
            HeadLine(0.66, line, 11.0),
        )
    )
    return frame.figure


def _wear(frame: WearFigure, wear_map: WearMap, step: float, title: str = "") -> None:
    frame.paint_known(wear_map.wear, wear_rgb(wear_map.wear, step))
    unclear = wear_map.not_significant & ~wear_map.grid.opening
    frame.hatch((wear_map.wear < 0.0) & ~unclear, "||", "#0f2c54")
    frame.hatch(unclear, "..", chart.QUIET)
    frame.explain(
        colours.cutback_table(),
        step * np.array([-1.0, 0.0, 1.0, 2.0]),
        f"{title}wear per {wear_map.per}",
        "dots: not told from no wear.  bars: the wall gained",
    )


def _uncertainty(frame: WearFigure, wear_map: WearMap, *, panel: int = 0) -> None:
    known = np.isfinite(wear_map.sd)
    unit = wear_map.design.length_unit
    most = float(np.nanquantile(wear_map.sd, 0.99)) if known.any() else 1.0
    most = 2.0 * wear_division(0.0, 2.5 * most, unit) * float(MM_PER[unit])
    colour = uncertainty_rgb(wear_map.sd, most)
    frame.paint_known(wear_map.sd, colour, panel=panel)
    frame.explain(
        uncertainty_rgb(np.linspace(0.0, 1.0, 256), 1.0),
        most * np.array([0.0, 0.5, 1.0]),
        f"standard uncertainty, per {wear_map.per}",
        "darker: less well known",
        panel=panel,
    )
