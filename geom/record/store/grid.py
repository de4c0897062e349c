"""The grid of a record: every survey of one lining is stated on the same rows."""

from __future__ import annotations

import weakref
from typing import Any

import numpy as np

from geom.cf import NamedArray, Variables
from geom.design import Design
from geom.errors import InputError
from geom.frame import turn
from geom.surface import Grid, make_grid
from geom.surface.grid import interpolate_rows, row_index
from geom.units import Bool, Float

#: Fields of ``surface.nc`` that go over to the record's rows, straight between rows or
#: from the nearest row.
STRAIGHT = ("cutback", "cutback_sd", "p_brick")
NEAREST = ("action", "zone")

_BOTH = ("height", "azimuth")
#: Rows that agree this well are the same row, mm.
_SAME = 1e-6

OTHER_DRAWING = (
    "A record is of one drawing; give the design file it was started with, or start "
    "another record for the new drawing"
)


#: Grid of the design that was asked for last, by its identity, as long as it lives.
_kept: dict[int, Grid] = {}


def record_grid(design: Design) -> Grid:
    """The grid that all surveys of a lining are kept on.

    Returns
    -------
    Grid
        From the profile's bottom to its top, all of it counted as surveyed.
    """
    grid = _kept.get(id(design))
    if grid is None:
        between = (design.profile.bottom, design.profile.top)
        grid = make_grid(design, surveyed=between)
        _kept.clear()
        _kept[id(design)] = grid
        weakref.finalize(design, _kept.pop, id(design), None)
    return grid


def recover_grid(
    height: Float, azimuth: Float, between: tuple[float, float], design: Design
) -> Grid:
    """The grid of a survey, found again from the heights of its rows.

    Parameters
    ----------
    height : array (m,), mm
        Centres of the rows.
    azimuth : array (k,), degrees
    between : (low, high), mm
        Heights surveyed.

    Raises
    ------
    InputError
        If no grid of that drawing has these rows.
    """
    edge = [design.profile.bottom]
    for centre in height.tolist():
        edge.append(2.0 * centre - edge[-1])
    tallest = float(np.diff(edge).max(initial=1.0))
    grid = make_grid(
        design,
        surveyed=between,
        spacing=max(tallest, 1e-3),
        columns=azimuth.size,
    )
    if grid.height.size != height.size or np.abs(grid.height - height).max() > _SAME:
        raise InputError(
            "has rows that are not those of a survey of this drawing", place="height"
        )
    return grid


def resample_survey(
    data: Variables, grid: Grid, between: tuple[float, float], design: Design
) -> Variables:
    """The fields of a survey on the record's grid.

    Parameters
    ----------
    data : Variables over (height, azimuth)
        As ``surface.nc`` holds it, on the survey's own rows.
    grid : Grid
        Of the record; as many azimuths as the survey.
    between : (low, high), mm
        Heights surveyed.

    Returns
    -------
    Variables over (height, azimuth)
        Lengths as float32; NaN, and ``surveyed`` 0, where nothing was surveyed.
    """
    known = np.flatnonzero(data.values("surveyed").any(axis=1))
    rows = data.values("height")[known].astype(np.float64)
    inside = (grid.height >= between[0]) & (grid.height <= between[1])
    row = row_index(rows, grid.height, steps=design.profile.steps)
    row = np.where(inside, row, np.nan)
    fields: dict[str, Any] = {}
    for name in STRAIGHT:
        field = data.values(name)[known].astype(np.float64)
        fields[name] = interpolate_rows(field, row)
    surveyed = np.isfinite(fields["cutback"])
    closest = np.floor(np.nan_to_num(row) + 0.5).astype(np.int64)
    for name in NEAREST:
        field = data.values(name)[known]
        none = field.dtype.type(-1 if name == "action" else 0)
        fields[name] = np.where(surveyed, field[closest], none)
    design_radius = np.broadcast_to(grid.design_radius[:, None], grid.shape)
    fields["radius"] = design_radius + fields["cutback"]
    fields["radius_sd"] = fields["cutback_sd"]
    fields["design_radius"] = design_radius
    fields["surveyed"] = surveyed.astype(np.int8)
    fields["opening"] = grid.opening.astype(np.int8)
    named: dict[str, NamedArray] = {
        name: (_BOTH, np.ascontiguousarray(_short(field)), data.attributes(name))
        for name, field in fields.items()
    }
    for name, centres in (("height", grid.height), ("azimuth", grid.azimuth)):
        named[name] = (name,), centres, data.attributes(name)
    return Variables(named, data.attrs)


def _short(field: Any) -> Any:
    return field.astype(np.float32) if field.dtype.kind == "f" else field


def refuse_other_openings(
    height: Float, azimuth: Float, opening: Bool, design: Design
) -> None:
    """Refuse a survey whose tuyeres and holes are not where the drawing has them.

    Parameters
    ----------
    height : array (m,), mm
        Rows of the survey.
    azimuth : array (k,), degrees
    opening : bool array (m, k)
        Cells that it took for openings.

    Raises
    ------
    InputError
        If a cell well inside an opening is taken for wall, or one well outside for an
        opening.
    """
    tall = 1.5 * float(np.diff(height).max())
    wide = 1.5 * 360.0 / azimuth.size
    inside = np.zeros(opening.shape, dtype=np.bool_)  # well inside an opening
    near = inside.copy()
    for hole in design.openings:
        half = hole.half_angle(design.radius_at_opening(hole))
        across = np.abs(turn(hole.azimuth, azimuth))
        along = np.abs(height - hole.height)
        inside |= _within(along, 0.5 * hole.tall - tall, across, half - wide)
        near |= _within(along, 0.5 * hole.tall + tall, across, half + wide)
    wrong = (inside & ~opening) | (opening & ~near)
    if wrong.any():
        row, column = np.argwhere(wrong)[0]
        taken = "an opening" if opening[row, column] else "wall"
        raise InputError(
            f"was compared with another drawing: at azimuth {azimuth[column]:.0f} "
            f"degrees, height {height[row]:.0f} mm it has {taken}, and the record not",
            cure=OTHER_DRAWING,
        )


def _within(along: Float, tall: float, across: Float, wide: float) -> Bool:
    return np.asarray((along < tall)[:, None] & (across < wide)[None, :])
