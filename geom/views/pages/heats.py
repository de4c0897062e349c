"""heats.html: the wall heat after heat on one scale, with a slider."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from geom.compare.zones import call_actions
from geom.design import Design
from geom.record.store.survey_file import RecordedWall
from geom.stats.partial_moments import exceedance_probability
from geom.surface.grid import Grid, make_grid
from geom.units import Float
from geom.views.pages.page import page_bytes, page_script
from geom.views.pages.viewer_data import HeatView, wall_data
from geom.views.say import plain

#: Cells of the page, mm and how many round: many surveys have to fit in.
_ROW, _COLUMNS = 25.0, 180
#: The newest surveys of a record that one page holds.
MOST = 60


def heats_bytes(
    walls: Sequence[RecordedWall], *, title: str, left_out: int = 0
) -> bytes:
    """The page as UTF-8 HTML, self-contained.

    Parameters
    ----------
    walls : sequence of RecordedWall
        Of one drawing, on one grid, in order.
    title : str
    left_out : int
        Older surveys that are not shown.
    """
    design = walls[-1].design
    cells = _PageGrid.of(design, walls[-1])
    script = page_script("main.js")
    return page_bytes(
        "heats.html.jinja",
        design,
        {},
        title=plain(title),
        lining=plain(design.name),
        left_out=left_out,
        script=script.safe,
        wall_data=wall_data(design, cells.grid, [cells.view(wall) for wall in walls]),
        shell=design.shell_radius is not None,
        heats=True,
    )


@dataclass(frozen=True)
class _PageGrid:
    """The page's own grid: cells picked out of a survey's, none made up.

    Attributes
    ----------
    grid : Grid
    rows, columns : int array
        Places of the survey's cells that are shown.
    """

    grid: Grid
    rows: NDArray[np.intp]
    columns: NDArray[np.intp]

    @classmethod
    def of(cls, design: Design, wall: RecordedWall) -> _PageGrid:
        """Of one drawing; all its surveys have the grid of ``wall``."""
        profile = design.profile
        grid = make_grid(
            design,
            surveyed=(profile.bottom, profile.top),
            spacing=_ROW,
            columns=min(_COLUMNS, wall.azimuth.size),
        )
        rows = np.abs(grid.height[:, None] - wall.height[None, :]).argmin(axis=1)
        apart = wall.azimuth.size / grid.azimuth.size
        columns = np.rint(np.arange(grid.azimuth.size) * apart).astype(np.intp)
        return cls(grid, rows, columns)

    def view(self, wall: RecordedWall) -> HeatView:
        """One survey on it."""
        cutback, sd = self._picked(wall.cutback), self._picked(wall.cutback_sd)
        repair = wall.design.repair
        name = wall.title if wall.occasion is None else wall.occasion.words
        return HeatView(
            name=plain(name, most=60),
            cutback=cutback,
            sd=sd,
            chance=exceedance_probability(cutback, sd, repair.brick_threshold),
            action=call_actions(self.grid, cutback, sd, repair),
            zone=np.zeros(cutback.shape, dtype=np.int64),
            zones={},
            dots=[],
        )

    def _picked(self, field: Float) -> Float:
        return np.asarray(field[np.ix_(self.rows, self.columns)])
