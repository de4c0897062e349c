"""Point clouds of a survey: opened, with unit, direction and height as told."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from geom.errors import InputError
from geom.readings.cloud_readings import Cloud
from geom.readings.clouds import CloudSource, open_cloud
from geom.units import MM_PER, Float

_SAME = 1e-9


def load_clouds(
    names: Sequence[str],
    *,
    unit: str | None,
    azimuth_of_x: float,
    z_offset: float,
    scanner: Sequence[float] | None,
) -> tuple[Cloud, ...]:
    """Open clouds; their points are read when the surface is made.

    Parameters
    ----------
    names : sequence of str
    unit : {'in', 'mm', 'cm', 'm'} or None
        Of every cloud; None only where every file fixes its own.
    azimuth_of_x : float, degrees
    z_offset : float
        In the clouds' unit.
    scanner : three floats or None
        Where the scanner stood, in the clouds' frame and unit.

    Raises
    ------
    InputError
        If a unit is not known, or is told otherwise than the file says.
    """
    if unit is not None and unit not in MM_PER:
        allowed = ", ".join(MM_PER)
        raise InputError(f'"{unit}" is no unit of a cloud; allowed are {allowed}')
    clouds = []
    for name in names:
        source = open_cloud(name)
        mm = _millimetres(source, unit)
        clouds.append(
            Cloud(
                source=source,
                millimetres=mm,
                azimuth_of_x=azimuth_of_x,
                z_offset=z_offset * mm,
                scanner=_scanner(source, scanner, mm),
            )
        )
    return tuple(clouds)


def _millimetres(source: CloudSource, unit: str | None) -> float:
    fixed = source.millimetres
    if unit is None and fixed is None:
        raise InputError(
            "the file does not say in which unit its points are",
            file=source.name,
            cure="Add --cloud-unit in, mm, cm or m",
        )
    if unit is None or fixed is None:
        return fixed if fixed is not None else float(MM_PER[unit or "mm"])
    if abs(fixed - MM_PER[unit]) > _SAME * fixed:
        raise InputError(
            f"its points are in units of {fixed:g} mm, as the file itself says, and "
            f"not in {unit}",
            file=source.name,
            cure="Leave --cloud-unit out, or give the one of the file",
        )
    return fixed


def _scanner(
    source: CloudSource, told: Sequence[float] | None, mm: float
) -> Float | None:
    where = source.station if told is None else told
    if where is None:
        return None
    place = np.asarray(where, dtype=np.float64) * mm
    if place.shape != (3,) or not np.isfinite(place).all():
        raise InputError("the scanner's place is three numbers, x, y and z")
    return place
