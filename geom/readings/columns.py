"""What a column's name says: its quantity and its unit."""

from __future__ import annotations

import re
from dataclasses import dataclass

from geom.design.spelling import listed, nearest
from geom.errors import InputError
from geom.units import MM_PER

VALUES = ("radius", "diameter", "cutback")
LENGTHS = ("height", *VALUES, "sd")
KNOWN = (
    "azimuth_deg",
    *(f"{quantity}_{unit}" for quantity in LENGTHS for unit in MM_PER),
    "note",
)


@dataclass(frozen=True)
class Column:
    """One column: ``radius`` and ``in``, say; ``note`` has no unit."""

    quantity: str
    unit: str


def read_name(name: str) -> Column:
    """Read a column's name; capitals and blanks around it do not matter.

    Raises
    ------
    InputError
        Without a place, if there is no such column, or its unit is missing or unknown.

    Examples
    --------
    >>> read_name(" Radius_IN ")
    Column(quantity='radius', unit='in')
    """
    plain = name.strip().lower()
    if plain in KNOWN:
        quantity, _, unit = plain.partition("_")
        return Column(quantity, unit)
    quantity, *rest = re.split(r"[\s_(\[]+", plain.rstrip(")]"), maxsplit=1)
    unit = rest[0] if rest else ""
    if quantity == "azimuth":
        what = f'the column "{name}" must name its unit, degrees'
        raise InputError(what, cure="Write azimuth_deg")
    if quantity in LENGTHS:
        units = listed(f"{quantity}_{known}" for known in MM_PER)
        wrong = f'names a unit that is not known, "{unit}"' if unit else "names no unit"
        raise InputError(f'the column "{name}" {wrong}', cure=f"Write {units}")
    what = (
        f'unknown column "{name[:40]}"; the nearest known is "{nearest(plain, KNOWN)}"'
    )
    raise InputError(what, cure=HEADER_CURE)


HEADER_CURE = (
    "A sheet has the columns azimuth_deg, height_mm, one of radius_mm, diameter_mm and "
    "cutback_mm, and if wanted sd_mm and note (for _mm also _in, _cm, _m), separated "
    "by a comma, a semicolon or a tab"
)
