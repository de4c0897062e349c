"""Whether a survey, or a design file, is of the lining that a record is of."""

from __future__ import annotations

import numpy as np

from geom.design import Design
from geom.errors import InputError
from geom.frame import turn
from geom.units import Bool, Float

_CURE = (
    "A record is of one drawing; give the design file it was started with, or start "
    "another record for the new drawing"
)


def refuse_other_design(design: Design, other: Design) -> None:
    """Refuse a design file that does not draw the lining of a record.

    What a shop decides by, its bricks, mix and rules, may differ.

    Parameters
    ----------
    design : Design
        Of the record.
    other : Design

    Raises
    ------
    InputError
        With the first thing that differs.
    """
    part = design.differs_from(other)
    if not part:
        return
    if part in ("profile", "shell_radius", "openings"):
        words = part.removesuffix("_radius")
        raise InputError(f"its {words} are not those of the record", cure=_CURE)
    words = part.replace("_", " ").replace("name", "lining")
    here, there = getattr(design, part), getattr(other, part)
    raise InputError(f"{words} is {there!r}, but {here!r} in the record", cure=_CURE)


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
    design : Design

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
            cure=_CURE,
        )


def _within(along: Float, tall: float, across: Float, wide: float) -> Bool:
    return np.asarray((along < tall)[:, None] & (across < wide)[None, :])
