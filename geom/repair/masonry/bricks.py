"""The bricks there are: the shop's own list, or the standard series.

Tapers are stated as large face to small face; the small one lies at the hot face.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

from geom.design import Brick, Design
from geom.repair.masonry.rings import Faces
from geom.units import to_mm

_Side = Literal["length", "width"]


def bricks_of(design: Design) -> tuple[Brick, ...]:
    """The shop's own bricks, or the standard series of its unit."""
    return design.shop.bricks or standard_bricks(design.length_unit)


def standard_bricks(length_unit: str) -> tuple[Brick, ...]:
    """The standard series: 9 in where drawings are in inches, else 230 mm.

    Parameters
    ----------
    length_unit : str
        The drawing's own.

    Returns
    -------
    tuple of Brick
        Lengths in mm; no masses, no stock.

    References
    ----------
    9 x 4 1/2 x 2 1/2 in: N. Hawkins, Maxims and Instructions for the Boiler Room
    (about 1900), boiler setting.  Split and 3 in straight, and 230 x 114 x 64 mm for
    the same brick: trade usage as published.  Small faces of arch and wedge: a
    published trade glossary of refractories.  230 x 114 x 64 and 76 mm: ISO 5019-1,
    from memory.  Small faces in mm: those in inches to the nearest mm, our rounding;
    no table in mm was at hand.

    Examples
    --------
    >>> [round(brick.small, 3) for brick in standard_bricks("in") if brick.taper]
    [53.975, 44.45, 25.4, 57.15, 47.625, 38.1]
    """
    return _NINE_INCH if length_unit == "in" else _METRIC


def brick_volume(brick: Brick | Faces) -> float:
    """Volume of one brick, mm3: its mean face round the ring, by build, by course.

    Examples
    --------
    >>> brick_volume(Brick("invented", 200.0, 100.0, 60.0, "width", 80.0))
    1080000.0
    """
    return 0.5 * (brick.outer + brick.inner) * brick.build * brick.course


def _series(
    unit: str,
    size: tuple[float, float, float],
    others: dict[str, float],
    *,
    arch: tuple[float, float, float],
    wedge: tuple[float, float, float],
    title: str,
) -> tuple[Brick, ...]:
    """A straight, straights of other thickness, arches No 1-3, wedges No 1-X, 1, 2."""
    length, width, thickness = (to_mm(side, unit) for side in size)
    straight = Brick(f"{title} straight", length, width, thickness)

    def tapered(name: str, small: float, radial: _Side) -> Brick:
        return replace(
            straight,
            name=f"{title} {name}",
            taper="thickness",
            small=to_mm(small, unit),
            radial=radial,
        )

    return (
        straight,
        *(
            replace(straight, name=f"{title} {name}", thickness=to_mm(thick, unit))
            for name, thick in others.items()
        ),
        *(
            tapered(f"arch No {number}", small, "width")
            for number, small in zip(("1", "2", "3"), arch, strict=True)
        ),
        *(
            tapered(f"wedge No {number}", small, "length")
            for number, small in zip(("1-X", "1", "2"), wedge, strict=True)
        ),
    )


_NINE_INCH = _series(
    "in",
    (9.0, 4.5, 2.5),
    {"straight, 3 in thick": 3.0, "split": 1.25},
    arch=(2.125, 1.75, 1.0),
    wedge=(2.25, 1.875, 1.5),
    title="9 in",
)
_METRIC = _series(
    "mm",
    (230.0, 114.0, 64.0),
    {"straight, 76 mm thick": 76.0},
    arch=(54.0, 44.0, 25.0),
    wedge=(57.0, 48.0, 38.0),
    title="230 mm",
)
