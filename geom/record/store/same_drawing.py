"""Whether a survey, or a design file, is of the lining that a record is of."""

from __future__ import annotations

from typing import Any

import numpy as np

from geom.design import Design
from geom.errors import InputError
from geom.frame import turn
from geom.units import Bool, Float

_CURE = (
    "A record is of one drawing; give the design file it was started with, or start "
    "another record for the new drawing"
)
#: Lengths (mm) and azimuths (degrees) that agree this well are the same.
_SAME = 0.1


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
    for name in ("name", "azimuth_sense", "azimuth_zero", "height_zero"):
        here, there = getattr(design, name), getattr(other, name)
        if here != there:
            words = name.replace("_", " ").replace("name", "lining")
            what = f"{words} is {there!r}, but {here!r} in the record"
            raise InputError(what, cure=_CURE)
    for words, one, another in (
        ("profile", _profile(design), _profile(other)),
        ("shell", _shell(design), _shell(other)),
        ("openings", _openings(design), _openings(other)),
    ):
        if one.shape != another.shape or not (np.abs(one - another) < _SAME).all():
            raise InputError(f"its {words} are not those of the record", cure=_CURE)


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
    amid = np.zeros(opening.shape, dtype=np.bool_)
    about = amid.copy()
    for hole in design.openings:
        half = hole.half_angle(design.radius_at_opening(hole))
        beside = np.abs(turn(hole.azimuth, azimuth))
        along = np.abs(height - hole.height)
        amid |= _within(along, 0.5 * hole.tall - tall, beside, half - wide)
        about |= _within(along, 0.5 * hole.tall + tall, beside, half + wide)
    wrong = (amid & ~opening) | (opening & ~about)
    if wrong.any():
        row, column = np.argwhere(wrong)[0]
        told = "an opening" if opening[row, column] else "wall"
        raise InputError(
            f"was compared with another drawing: at azimuth {azimuth[column]:.0f} "
            f"degrees, height {height[row]:.0f} mm it has {told}, and the record not",
            cure=_CURE,
        )


def _within(along: Float, tall: float, beside: Float, wide: float) -> Bool:
    return np.asarray((along < tall)[:, None] & (beside < wide)[None, :])


def _profile(design: Design) -> Float:
    return np.stack([design.profile.height, design.profile.radius])


def _shell(design: Design) -> Float:
    return np.array([design.shell_radius or 0.0])


def _openings(design: Design) -> Float:
    told: list[Any] = sorted(
        (o.azimuth, o.height, o.width, o.tall, float(o.kind == "tuyere"))
        for o in design.openings
    )
    return np.array(told, dtype=np.float64)
