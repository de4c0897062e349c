"""An invented wall with a datum band, and dirty points of it, that tests share."""

from __future__ import annotations

import numpy as np

from geom.datum import Pose
from geom.design import DatumBand, Design, Opening, Profile
from geom.units import Float
from tests.walls import plain_design

BAND = DatumBand(2100.0, 2330.0)


def tall_design(**changes: object) -> Design:
    """A waisted wall of 2.4 m with a tuyere; mid-height 1200 mm."""
    profile = Profile(np.array([0.0, 1500.0, 2400.0]), np.array([450.0, 430.0, 450.0]))
    tuyere = Opening("tuyere", 30.0, 445.0, 127.0, 90.0)
    told: dict[str, object] = {"profile": profile, "openings": (tuyere,)}
    return plain_design(**(told | changes))


BANDED = tall_design(datum_bands=(BAND,))


def some_pose(seed: int, design: Design = BANDED) -> tuple[Pose, Pose]:
    """A nominal pose, and one up to 150 mm off and tilted by up to 3 degrees."""
    rng = np.random.default_rng(seed)
    turn, z = rng.uniform(0.0, 360.0), rng.uniform(-500.0, 500.0)
    nominal = Pose.nominal(design, azimuth_of_x=turn, z_offset=z)
    most = np.array([150.0, 150.0, 3.0, 3.0])
    return nominal, nominal.at(rng.uniform(-most, most))


def spoiled(
    pose: Pose,
    seed: int,
    count: int,
    design: Design = BANDED,
    *,
    shadow: float = 0.4,
) -> Float:
    """A worn wall, noise 2 mm, a fifth of it outliers, 40 % of the band in shadow."""
    rng = np.random.default_rng(seed)
    many = int(0.4 * count)
    on_band = rng.uniform(BAND.low, BAND.high, many)
    height = np.concatenate([on_band, rng.uniform(0.0, 2400.0, count - many)])
    azimuth = rng.uniform(0.0, 360.0, count)
    band = (height > BAND.low) & (height < BAND.high)
    away = np.mod(azimuth - rng.uniform(0.0, 360.0), 360.0)
    lit = ~band | (away > 360.0 * shadow)
    azimuth, height, band = azimuth[lit], height[lit], band[lit]
    wear = 25.0 + 15.0 * np.cos(np.deg2rad(azimuth - 60.0))
    cutback = np.where(band, 0.0, wear) + rng.normal(0.0, 2.0, azimuth.size)
    outlier = rng.uniform(size=azimuth.size) < 0.2
    cutback = np.where(outlier, rng.uniform(-250.0, 60.0, azimuth.size), cutback)
    return pose.from_wall(azimuth, design.profile.radius_at(height) + cutback, height)
