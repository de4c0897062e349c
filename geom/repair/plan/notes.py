"""What a mason has to know next to the numbers of a plan, as facts.

`geom.views.tables.repair` words them.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from geom.document import VOLUME


@dataclass(frozen=True)
class NoBrickFits:
    """A brick zone that is daubed: in so many ``layers``, since no brick fits it."""

    layers: int


@dataclass(frozen=True)
class LayerLimit:
    """Daub that is thicker than one layer may be; ``layer_most`` in mm."""

    layer_most: float


@dataclass(frozen=True)
class OpeningMet:
    """An opening that the zone reaches; ``azimuth`` in degrees."""

    kind: str
    azimuth: float


@dataclass(frozen=True)
class StepMet:
    """A step of the profile within the zone; ``height`` in mm."""

    height: float


@dataclass(frozen=True)
class BackFill:
    """Daub that goes in behind the brick first; ``thickness`` in mm at most."""

    thickness: float


@dataclass(frozen=True)
class ChipFirst:
    """Something stands proud of the drawing where brick is to go."""


ZoneNote = NoBrickFits | LayerLimit | OpeningMet | StepMet | BackFill | ChipFirst


@dataclass(frozen=True)
class NotPlanned:
    """A zone of the findings that the plan leaves.

    Attributes
    ----------
    zone : int
    reason : str
        Why: it is not settled, or other brickwork takes it up.
    volume : float, mm3
        Expected, that is gone there.
    """

    zone: int
    reason: Literal["measure again", "taken up"]
    volume: float = field(metadata=VOLUME)
