"""What is handed on of the numbers in a file: plain kinds of number, finite ones."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from geom.readings.clouds.source import ONES, ZEROS, Coordinate, Points
from geom.units import Bool, Float

#: What numbers of other kinds are turned into; nothing narrower loses a digit.
_TURNED = {
    "i1": np.int32, "u1": np.int32, "i2": np.int32, "u2": np.int32, "i4": np.int32,
    "u4": np.float64, "i8": np.float64, "u8": np.float64,
    "f2": np.float32, "f4": np.float32, "f8": np.float64,
}  # fmt: skip


def is_number(kind: np.dtype[Any]) -> bool:
    """Tell whether a kind of number can be a coordinate.

    Examples
    --------
    >>> is_number(np.dtype(">f4")), is_number(np.dtype(bool))
    (True, False)
    """
    return kind.str[1:] in _TURNED


def plain(values: NDArray[Any]) -> Coordinate:
    """Numbers as int32, float32 or float64 of this machine; the same ones if they are.

    Parameters
    ----------
    values : array (n,)
        Of a kind that `is_number`.

    Returns
    -------
    array (n,)
        A view, where kind and byte order are right and every number is aligned.
    """
    kind = np.dtype(_TURNED[values.dtype.str[1:]])
    if values.dtype == kind and values.flags.aligned:
        return values
    turned: Coordinate = values.astype(kind)
    return turned


def finite(
    x: Coordinate,
    y: Coordinate,
    z: Coordinate,
    scale: Float = ONES,
    offset: Float = ZEROS,
) -> Points:
    """Points less those that have NaN or infinity for a coordinate."""
    if all(_all_finite(values) for values in (x, y, z)):
        return Points(x, y, z, scale, offset)
    good = np.isfinite(x) & np.isfinite(y) & np.isfinite(z)
    return only(Points(x, y, z, scale, offset), good)


def only(points: Points, good: Bool) -> Points:
    """Those points that are good.

    Parameters
    ----------
    points : Points
    good : bool array (n,)
    """
    if good.all():
        return points
    x, y, z = (values[good] for values in (points.x, points.y, points.z))
    return Points(x, y, z, points.scale, points.offset)


def _all_finite(values: Coordinate) -> bool:
    """Tell whether all are finite: if their sum is, they are."""
    if values.dtype.kind == "i":
        return True
    with np.errstate(over="ignore", invalid="ignore"):
        total = values.sum(dtype=np.float64)
    return bool(np.isfinite(total)) or bool(np.isfinite(values).all())
