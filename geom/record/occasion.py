"""When a survey was made: after which heat, before or after its repair."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Literal, get_args

from geom.errors import InputError

#: ``before repair``: as the heat left the wall; ``after repair``: as the next heat
#: finds it; ``not repaired``: both, because nothing was done to the wall.
Stage = Literal["before repair", "after repair", "not repaired"]
STAGES: tuple[Stage, ...] = get_args(Stage)

#: Heats are numbered up to this.
_MOST = 99_999


@dataclass(frozen=True)
class Occasion:
    """When a survey was made.  Who made it is not kept.

    Attributes
    ----------
    heat : int
        The last heat that the wall had seen, by the furnace's own count, which goes on
        from campaign to campaign.  0: a new lining.
    stage : Stage
    date : date
    hours : float or None
        On blast since the wall was surveyed or repaired before.
    melted : float or None, kg
        Iron melted in that time.
    campaign : str
        Name of the campaign, from one new lining to the next.
    """

    heat: int
    stage: Stage
    date: date
    hours: float | None = None
    melted: float | None = None
    campaign: str = ""

    def __post_init__(self) -> None:
        if not 0 <= self.heat <= _MOST:
            raise InputError(f"heat {self.heat} is not between 0 and {_MOST}")
        if self.stage not in STAGES:
            raise InputError(f"stage {self.stage!r} is none of {', '.join(STAGES)}")
        for name, told in (("hours", self.hours), ("melted", self.melted)):
            if told is not None and not 0.0 <= told < 1e12:
                raise InputError(f"{name} {told} is not a number from 0 up")

    @property
    def place(self) -> tuple[int, bool]:
        """What surveys of one furnace are put in order by."""
        return self.heat, self.stage == "after repair"

    @property
    def name(self) -> str:
        """As its file is called: ``heat-00041-before-repair``."""
        return f"heat-{self.heat:05d}-{self.stage.replace(' ', '-')}"

    @property
    def words(self) -> str:
        """As people say it: ``heat 41, before repair``."""
        return f"heat {self.heat}, {self.stage}"

    @property
    def leaves(self) -> bool:
        """Whether the next heat finds the wall as this survey saw it."""
        return self.stage != "before repair"

    @property
    def finds(self) -> bool:
        """Whether the survey saw the wall as its heat left it."""
        return self.stage != "after repair"
