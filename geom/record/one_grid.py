"""A survey laid on the rows of its record, so that two can be laid over each other."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np

from geom.errors import InputError
from geom.record.common_grid import record_grid
from geom.record.survey_file import RecordedWall
from geom.surface import Grid
from geom.units import Float

#: Rows that agree this well are the same row, mm.
_SAME = 1e-3


def on_one_grid(wall: RecordedWall) -> tuple[RecordedWall, Grid]:
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
    steps = wall.design.profile.steps
    laid = replace(
        wall,
        height=grid.height,
        azimuth=grid.azimuth,
        design_radius=grid.design_radius,
        wall=grid.wall,
        row_height=grid.row_height,
        cutback=_at_rows(wall.cutback, wall, grid.height, steps),
        cutback_sd=_at_rows(wall.cutback_sd, wall, grid.height, steps),
    )
    return laid, grid


def _at_rows(field: Float, wall: RecordedWall, asked: Float, steps: Float) -> Float:
    """A field at other heights, straight between rows; never across a step."""
    told = np.full((asked.size, field.shape[1]), np.nan)
    known = np.isfinite(field).any(axis=1)
    cuts = np.concatenate([[-np.inf], steps, [np.inf]])
    for low, high in itertools.pairwise(cuts):
        rows = np.flatnonzero(known & (wall.height > low) & (wall.height < high))
        if rows.size == 0:
            continue
        half = 0.5 * wall.row_height[rows]
        first, last = wall.height[rows[0]] - half[0], wall.height[rows[-1]] + half[-1]
        here = (asked > max(low, first)) & (asked < min(high, last))
        place = np.interp(asked[here], wall.height[rows], np.arange(rows.size))
        below = np.minimum(place.astype(np.int64), rows.size - 1)
        above = np.minimum(below + 1, rows.size - 1)
        part = (place - below)[:, None]
        told[here] = (1.0 - part) * field[rows[below]] + part * field[rows[above]]
    return told
