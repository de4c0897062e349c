"""Small invented walls that many tests share."""

from __future__ import annotations

import numpy as np

from geom.design import Design, Opening, Profile
from geom.readings import RodKind, RodReadings
from geom.surface.cell_points import CellPoints
from geom.units import Float


def plain_design(**changes: object) -> Design:
    """A straight wall of radius 450 mm, 1500 mm tall, in a shell of 685 mm."""
    told: dict[str, object] = {
        "name": "invented",
        "length_unit": "mm",
        "azimuth_zero": "tap hole",
        "azimuth_sense": "clockwise",
        "height_zero": "bottom plate",
        "profile": Profile(np.array([0.0, 1500.0]), np.array([450.0, 450.0])),
        "shell_radius": 685.0,
    }
    return Design(**(told | changes))  # type: ignore[arg-type]


def tapered_design(**changes: object) -> Design:
    """A profile with a taper and a step, with openings."""
    told: dict[str, object] = {
        "profile": Profile(
            np.array([0.0, 600.0, 600.0, 1500.0]),
            np.array([450.0, 430.0, 450.0, 480.0]),
        ),
        "openings": (
            Opening("tuyere", 0.0, 445.0, 127.0, 90.0),
            Opening("tuyere", 120.0, 445.0, 127.0, 90.0),
            Opening("tuyere", 240.0, 445.0, 127.0, 90.0),
        ),
    }
    return plain_design(**(told | changes))


def stations(
    azimuths: int, heights: int, low: float, high: float
) -> tuple[Float, Float]:
    """Evenly spread stations; two arrays (azimuths * heights,)."""
    around = np.arange(azimuths) * 360.0 / azimuths
    up = np.linspace(low, high, heights)
    return np.tile(around, heights), np.repeat(up, azimuths)


def worn(azimuth: Float, height: Float) -> Float:
    """An invented worn wall: cut-back in mm, burnt most at 60 degrees and 700 mm."""
    burn = 40.0 * np.exp(-(((height - 700.0) / 250.0) ** 2))
    side = 1.0 + 0.4 * np.cos(np.deg2rad(azimuth - 60.0))
    ripple = 6.0 * np.cos(np.deg2rad(5.0 * azimuth))
    return np.asarray(burn * side + ripple * np.exp(-(((height - 600.0) / 200.0) ** 2)))


def rod_readings(  # noqa: PLR0917
    azimuth: Float,
    height: Float,
    value: Float,
    kind: RodKind = "radius",
    sd: float = np.nan,
    step: float = 0.1,
) -> RodReadings:
    """Readings of one kind, as a reader would hand them over."""
    n = azimuth.size
    return RodReadings(
        kind=(kind,) * n,
        azimuth=np.asarray(azimuth, float),
        height=np.asarray(height, float),
        value=np.asarray(value, float),
        sd=np.full(n, sd),
        step=np.full(n, step),
        place=tuple(f"rod.csv, row {k + 2}" for k in range(n)),
        note=("",) * n,
    )


def worn_readings(
    design: Design, *, azimuths: int = 16, heights: int = 10, noise: float = 2.0
) -> RodReadings:
    """Radii of the worn wall with seeded normal noise."""
    azimuth, height = stations(azimuths, heights, 100.0, 1400.0)
    error = np.random.default_rng(7).normal(0.0, noise, azimuth.size)
    radius = design.profile.radius_at(height) + worn(azimuth, height) + error
    return rod_readings(azimuth, height, radius, sd=noise)


def no_points(shape: tuple[int, int]) -> CellPoints:
    """What cells say that hold no points of their own."""
    nil = np.zeros(shape)
    return CellPoints(
        some=np.zeros(shape, dtype=bool),
        cutback=nil,
        count=nil,
        squares=nil,
        freedom=nil,
        within=nil,
        grazing=nil,
        systematic=nil,
    )
