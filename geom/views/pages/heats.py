"""heats.html: the walls of a record, one after the other."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from geom.compare.zones import call_actions
from geom.design import Design
from geom.record.store.survey_file import RecordedWall
from geom.surface.grid import Grid, make_grid
from geom.units import Float
from geom.views.pages.page import page_bytes, page_script
from geom.views.pages.viewer_data import HeatView, wall_data
from geom.views.say import plain

#: Cells of the page, mm and how many round: many surveys have to fit in.
_ROW, _COLUMNS = 25.0, 180


@dataclass(frozen=True)
class PageWalls:
    """Walls on the page's own grid: cells picked out of a survey's, none made up.

    Attributes
    ----------
    names : tuple of str, n
        Of the surveys.
    cutback, sd : array (n, rows, columns), mm
        NaN where not surveyed.
    """

    design: Design
    grid: Grid
    names: tuple[str, ...]
    cutback: Float
    sd: Float

    @classmethod
    def of(cls, walls: Sequence[RecordedWall]) -> PageWalls:
        """Walls of one drawing, on one grid, in order; at least one."""
        one = walls[-1]
        profile = one.design.profile
        grid = make_grid(
            one.design,
            surveyed=(profile.bottom, profile.top),
            spacing=_ROW,
            columns=min(_COLUMNS, one.azimuth.size),
        )
        rows = np.abs(grid.height[:, None] - one.height[None, :]).argmin(axis=1)
        apart = one.azimuth.size / grid.azimuth.size
        columns = np.rint(np.arange(grid.azimuth.size) * apart).astype(np.intp)
        picked = np.ix_(rows, columns)
        return cls(
            one.design,
            grid,
            tuple(_name(wall) for wall in walls),
            np.stack([wall.cutback[picked] for wall in walls]),
            np.stack([wall.cutback_sd[picked] for wall in walls]),
        )

    def views(self) -> list[HeatView]:
        """As the page shows them."""
        rules = self.design.repair
        return [
            HeatView.without_zones(
                name,
                cutback,
                sd,
                call_actions(self.grid, cutback, sd, rules),
                threshold=rules.brick_threshold,
            )
            for name, cutback, sd in zip(self.names, self.cutback, self.sd, strict=True)
        ]


def _name(wall: RecordedWall) -> str:
    name = wall.title if wall.occasion is None else wall.occasion.words
    return plain(name, most=60)


def heats_bytes(walls: PageWalls, *, title: str, left_out: int = 0) -> bytes:
    """The page as UTF-8 HTML, self-contained.

    Parameters
    ----------
    left_out : int
        Older surveys that are not shown.
    """
    design = walls.design
    script = page_script("main.js")
    return page_bytes(
        "heats.html.jinja",
        design,
        {},
        title=plain(title),
        lining=plain(design.name),
        left_out=left_out,
        script=script.safe,
        wall_data=wall_data(design, walls.grid, walls.views()),
        shell=design.shell_radius is not None,
        heats=True,
    )
