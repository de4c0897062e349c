"""Point clouds of one survey, with rod readings next to them if there are any."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from geom.readings.rod import RodReadings
from geom.readings.targets import ObservedTarget
from geom.units import Float

if TYPE_CHECKING:
    from geom.readings.clouds import CloudSource


@dataclass(frozen=True)
class Cloud:
    """One point cloud as the survey has it; nothing of it is read yet.

    Attributes
    ----------
    source : CloudSource
    millimetres : float
        In its unit.
    azimuth_of_x : float, degrees
        Design azimuth that its +x points at.
    z_offset : float, mm
        Its z of the design's height zero.
    scanner : array (3,) or None, mm
        Where the scanner stood, in the cloud's frame; None where it is not known.
    """

    source: CloudSource
    millimetres: float
    azimuth_of_x: float
    z_offset: float
    scanner: Float | None

    @property
    def name(self) -> str:
        """The file as the caller named it."""
        return self.source.name


@dataclass(frozen=True)
class CloudReadings:
    """Clouds, and rod readings next to them.

    Attributes
    ----------
    clouds : tuple of Cloud
    rod : RodReadings
        None of them, or those that were taken as well.
    one_frame : bool
        Whether all clouds are in one frame; else each has a pose of its own.
    targets : tuple of SeenTarget
        Where the scanner saw named targets, in the one frame; they tell direction and
        height instead of what the clouds carry.
    sparse : bool
        Whether each point is a reading by itself, as of a total station.
    """

    clouds: tuple[Cloud, ...]
    rod: RodReadings
    one_frame: bool = True
    targets: tuple[ObservedTarget, ...] = ()
    sparse: bool = False

    def __len__(self) -> int:
        return len(self.rod) + sum(cloud.source.count or 0 for cloud in self.clouds)

    @property
    def kinds(self) -> list[str]:
        """As ``findings.json`` names them."""
        return ["laser points", *self.rod.kinds]


def no_rod_readings() -> RodReadings:
    """No rod readings at all."""
    none = np.zeros(0)
    return RodReadings((), none, none, none, none, none, (), ())
