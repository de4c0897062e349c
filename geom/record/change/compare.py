"""Two surveys of one wall compared: what it lost and got back, and how sure that is.

Both are laid on the rows of their record first; how the errors of a survey hang
together is known panel by panel.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from pathlib import Path

import numpy as np

from geom._version import __version__
from geom.design.assumptions import ASSUMED as DESIGN
from geom.design.drawing import Design
from geom.document import iso_time
from geom.errors import InputError
from geom.frame import turn
from geom.quantity import Quantity
from geom.record.assumptions import ASSUMED
from geom.record.change.result import (
    Areas,
    Change,
    ChangeMaps,
    ChangePeak,
    RegionChange,
    SurveyLabel,
)
from geom.record.change.volumes import SurveyDifference, mean_change, volume_change
from geom.record.regions import regions_of
from geom.record.store.grid import record_grid
from geom.record.store.survey_file import RecordedWall, load_wall
from geom.stats.comparisons import level_of_detection, significant, significant_together
from geom.surface import Grid
from geom.surface.grid import interpolate_rows, row_index
from geom.units import Bool, Float

#: Surveys that end within a row or two of each other reach equally far, mm.
_ROW = 20.0

#: Rows that agree this well are the same row, mm.
_SAME = 1e-3


def compare_surveys(
    first: Path | str,
    last: Path | str,
    design: Design,
    *,
    title: str | None = None,
    created: datetime | None = None,
) -> Change:
    """What changed from one survey of a lining to another.

    Parameters
    ----------
    first, last : path
        Output folders of surveys, or survey files of a record.
    design : Design
        That both were compared with.

    Raises
    ------
    InputError
        If a survey cannot be read, both are one, or no wall was surveyed by both.
    """
    start, end = (load_wall(path, design) for path in (first, last))
    return compare_walls(start, end, title=title, created=created)


def compare_walls(
    start: RecordedWall,
    end: RecordedWall,
    *,
    title: str | None = None,
    created: datetime | None = None,
) -> Change:
    """What changed from one survey to another.

    Parameters
    ----------
    start, end : RecordedWall
        Surveyed first and last, on one grid.
    title : str, optional
        Default: from which survey to which.
    created : datetime, optional
        Default now.

    Raises
    ------
    InputError
        If both are the same survey, or of different linings, or have no wall in common.
    """
    _refuse_unlike(start, end)
    (start, grid), (end, _) = resample_wall(start), resample_wall(end)
    _refuse_one_survey(start, end)
    difference = _difference(start, end, grid)
    maps = _maps(difference, start, end)
    labels = [
        SurveyLabel(wall.title, wall.created, wall.occasion) for wall in (start, end)
    ]
    sure = [difference.patch * (maps.shown == sign) for sign in (1, -1)]
    return Change(
        lining=start.design.name,
        title=title,
        created=iso_time(created),
        version=__version__,
        start=labels[0],
        end=labels[1],
        detection=float(np.nanmedian(level_of_detection(maps.change_sd))),
        areas=_areas(difference, maps),
        volume=volume_change(difference, difference.patch, maps.shown),
        shown_lost=volume_change(difference, sure[0], maps.shown).lost,
        shown_restored=volume_change(difference, sure[1], maps.shown).restored,
        regions=_region_changes(difference, maps, start),
        greatest_loss=_spot(grid, maps, 1),
        greatest_gain=_spot(grid, maps, -1),
        left_out=_left_out(start, end, difference.grid),
        grid=difference.grid,
        maps=maps,
    )


def panel_covariance(wall: RecordedWall, both: Bool) -> Float:
    """How one survey's panel means err together.

    A panel of which too little was surveyed for a mean errs with the nearest that was,
    more or less by as much as its own cells are known worse or better.

    Parameters
    ----------
    both : bool array (m, k)
        Cells that are compared.

    Returns
    -------
    array (p, p), mm2

    Raises
    ------
    InputError
        If no panel has a mean.
    """
    state, panels = wall.panels, wall.panels.panels
    known = np.flatnonzero(np.isfinite(state.cutback))
    if known.size == 0:
        raise InputError(
            f"too little of the wall was surveyed in {wall.title!r} to compare it",
            cure="Name a survey that covers more of the height",
        )
    owner = panels.owner(wall.height, wall.azimuth)
    seen = np.isfinite(wall.cutback_sd)
    count = np.maximum(np.bincount(owner[seen], minlength=panels.count), 1)
    square = np.bincount(owner[seen], wall.cutback_sd[seen] ** 2, panels.count)
    size = np.sqrt(square / count)
    needed = np.unique(owner[both])
    lender = np.arange(panels.count)
    across = turn(panels.azimuth[needed, None], panels.azimuth[known])
    across = np.deg2rad(across) * wall.design.profile.mean_radius
    apart = np.hypot(panels.height[needed, None] - panels.height[known], across)
    lender[needed] = known[np.argmin(apart, axis=1)]
    factor = np.divide(
        size, size[lender], out=np.ones(panels.count), where=size[lender] > 0.0
    )
    lent = state.covariance[np.ix_(lender, lender)]
    return np.asarray(factor[:, None] * lent * factor[None, :])


def resample_wall(wall: RecordedWall) -> tuple[RecordedWall, Grid]:
    """The survey on the grid of all surveys of its lining, and that grid.

    Returns
    -------
    wall : RecordedWall
        As it came where it is on that grid already; else straight between its rows,
        and NaN where a row lies above or below what was surveyed.
    grid : Grid

    Raises
    ------
    InputError
        If it has another number of azimuths.
    """
    grid = record_grid(wall.design)
    if wall.azimuth.size != grid.azimuth.size:
        raise InputError(
            f"{wall.title!r} has {wall.azimuth.size} azimuths, not {grid.azimuth.size}",
            cure="Name a folder that 'daubline survey' wrote",
        )
    if wall.height.size == grid.height.size and (
        np.abs(wall.height - grid.height).max() < _SAME
    ):
        return wall, grid
    known = np.flatnonzero(np.isfinite(wall.cutback).any(axis=1))
    row = row_index(wall.height[known], grid.height, steps=wall.design.profile.steps)
    # a row that stands alone, at an end or next to a step, reaches half its height
    nearest = known[np.nan_to_num(np.round(row)).astype(np.int64)]
    off = np.abs(grid.height - wall.height[nearest])
    alone = (row % 1.0 == 0.0) & (off > 0.0)
    beyond = alone & (off >= 0.5 * wall.row_height[nearest])
    row[beyond] = np.nan

    def at_rows(field: Float) -> Float:
        found = interpolate_rows(field[known], row)
        found[alone & ~beyond] = field[nearest[alone & ~beyond]]
        return found

    laid = replace(
        wall,
        height=grid.height,
        azimuth=grid.azimuth,
        design_radius=grid.design_radius,
        wall=grid.wall,
        row_height=grid.row_height,
        cutback=at_rows(wall.cutback),
        cutback_sd=at_rows(wall.cutback_sd),
    )
    return laid, grid


def _difference(start: RecordedWall, end: RecordedWall, grid: Grid) -> SurveyDifference:
    """Two surveys on one grid laid over each other."""
    known = [np.isfinite(w.cutback) & (w.cutback_sd > 0.0) for w in (start, end)]
    both = known[0] & known[1] & (grid.wall > 0.0)
    if not both.any():
        raise InputError(
            "the two surveys have no wall in common",
            cure="Name two surveys that overlap in height",
        )
    radius = grid.design_radius[:, None] + start.cutback
    return SurveyDifference(
        grid=replace(grid, surveyed=both),
        panels=start.panels.panels,
        start=np.where(both, radius, np.nan),
        start_sd=np.where(both, start.cutback_sd, np.nan),
        end_sd=np.where(both, end.cutback_sd, np.nan),
        change=np.where(both, end.cutback - start.cutback, np.nan),
        covariance=panel_covariance(start, both) + panel_covariance(end, both),
    )


def _refuse_unlike(start: RecordedWall, end: RecordedWall) -> None:
    if start.design.differs_from(end.design, parts=("name", "profile")):
        raise InputError(
            "the two surveys are of different linings or drawings",
            cure="Name two surveys of one lining against one drawing",
        )


def _refuse_one_survey(start: RecordedWall, end: RecordedWall) -> None:
    """A survey is itself, whether read from its folder or from a record."""
    if start.created == end.created and np.allclose(
        start.cutback,
        end.cutback,
        rtol=0.0,
        atol=DESIGN.same_drawing,
        equal_nan=True,
    ):
        raise InputError(
            "FROM and TO are the same survey", cure="Name two surveys of the lining"
        )


def _maps(
    difference: SurveyDifference, start: RecordedWall, end: RecordedWall
) -> ChangeMaps:
    """Results cell by cell; none in openings."""
    change, sd, before, after = (
        np.where(difference.grid.opening, np.nan, field)
        for field in (difference.change, difference.sd, start.cutback, end.cutback)
    )
    return ChangeMaps(
        start=before,
        end=after,
        change=change,
        change_sd=sd,
        significant=significant(change, sd),
        shown=significant_together(change, sd),
    )


def _areas(difference: SurveyDifference, maps: ChangeMaps) -> Areas:
    face = difference.face
    return Areas(
        compared=float(face.sum()),
        beyond_lost=float(face[maps.significant == 1].sum()),
        beyond_restored=float(face[maps.significant == -1].sum()),
        shown_lost=float(face[maps.shown == 1].sum()),
        shown_restored=float(face[maps.shown == -1].sum()),
    )


def _region_changes(
    difference: SurveyDifference, maps: ChangeMaps, wall: RecordedWall
) -> tuple[RegionChange, ...]:
    regions = regions_of(difference.panels, wall.design)
    changes = []
    for region, member in zip(regions.regions, regions.member, strict=True):
        if region.kind == "panel":
            continue
        inside = np.append(member, 0.0)[difference.owner]
        patch = difference.patch * inside
        if patch.any():
            changes.append(
                RegionChange(
                    region=region,
                    area=float((difference.face * inside).sum()),
                    mean=mean_change(difference, patch),
                    volume=volume_change(difference, patch, maps.shown),
                )
            )
    return tuple(changes)


def _spot(grid: Grid, maps: ChangeMaps, sign: int) -> ChangePeak | None:
    """Where a change to one side is shown and greatest."""
    if not (maps.shown == sign).any():
        return None
    size = np.where(maps.shown == sign, sign * maps.change, -np.inf)
    row, column = np.unravel_index(int(np.argmax(size)), grid.shape)
    return ChangePeak(
        change=Quantity.normal(maps.change[row, column], maps.change_sd[row, column]),
        azimuth=float(grid.azimuth[column]),
        height=float(grid.height[row]),
    )


def _left_out(start: RecordedWall, end: RecordedWall, grid: Grid) -> bool:
    """Whether there is wall that only one survey reached."""
    either = np.isfinite(start.cutback) | np.isfinite(end.cutback)
    if either.shape == grid.shape:
        lone = float(grid.whole_face[either & ~grid.surveyed & ~grid.opening].sum())
        if lone > ASSUMED.alone_share * float(grid.face_area.sum()):
            return True
    low, high = grid.surveyed_heights
    lowest, highest = zip(*(_reach(wall) for wall in (start, end)), strict=True)
    return bool(low - min(lowest) > _ROW or max(highest) - high > _ROW)


def _reach(wall: RecordedWall) -> tuple[float, float]:
    """Lowest and highest surveyed height, mm."""
    rows = np.flatnonzero(np.isfinite(wall.cutback).any(axis=1))
    if rows.size == 0:
        return np.inf, -np.inf
    half = 0.5 * wall.row_height
    return (
        float((wall.height - half)[rows[0]]),
        float((wall.height + half)[rows[-1]]),
    )
