"""When a survey was made: after which heat, before or after its repair.

Occasions are parsed from what people write, and those of one furnace are checked for
whether all can be true.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any, Literal, get_args

from geom.design.text_file import casefolded, join_words
from geom.errors import InputError
from geom.units import KG_PER, parse_number

#: ``before repair``: as the heat left the wall; ``after repair``: as the next heat
#: finds it; ``not repaired``: both, because nothing was done to the wall.
Stage = Literal["before repair", "after repair", "not repaired"]
STAGES: tuple[Stage, ...] = get_args(Stage)

#: Heats are numbered up to this.
_MOST = 99_999
_DATE = re.compile(r"\d{4}-\d{2}-\d{2}")


@dataclass(frozen=True)
class Occasion:
    """When a survey was made.  Who made it is not kept.

    Attributes
    ----------
    heat : int
        The last heat that the wall had seen, by the furnace's own count, which goes on
        from campaign to campaign.  0: a new lining.
    hours : float or None
        On blast since the wall was surveyed or repaired before.
    melted : float or None, kg
        Iron melted in that time.
    melted_unit : str
        Unit that the shop states it in.
    campaign : str
        Name of the campaign, from one new lining to the next.
    """

    heat: int
    stage: Stage
    date: date
    hours: float | None = None
    melted: float | None = None
    campaign: str = ""
    melted_unit: str = "t"

    def __post_init__(self) -> None:
        if not 0 <= self.heat <= _MOST:
            raise InputError(f"heat {self.heat} is not between 0 and {_MOST}")
        if self.stage not in STAGES:
            raise InputError(f"stage {self.stage!r} is none of {', '.join(STAGES)}")
        if self.melted_unit not in KG_PER:
            raise InputError(f"{self.melted_unit!r} is no unit of mass that is known")
        for name, value in (("hours", self.hours), ("melted", self.melted)):
            if value is not None and not 0.0 <= value < 1e12:
                raise InputError(f"{name} {value} is not a number from 0 up")

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
    def is_as_left(self) -> bool:
        """Whether the next heat finds the wall as this survey saw it."""
        return self.stage != "before repair"

    @property
    def is_as_worn(self) -> bool:
        """Whether the survey saw the wall as its heat left it."""
        return self.stage != "after repair"

    def to_dict(self) -> dict[str, Any]:
        """As JSON holds it; hours and kg."""
        return {
            "heat": self.heat,
            "stage": self.stage,
            "date": self.date.isoformat(),
            "hours_on_blast": self.hours,
            "melted": self.melted,
            "melted_unit": self.melted_unit,
            "campaign": self.campaign,
        }


def mass_unit(occasions: Iterable[Occasion]) -> str:
    """Unit that the shop states its iron in: that of the latest survey that does."""
    units = [each.melted_unit for each in occasions if each.melted is not None]
    return units[-1] if units else "t"


def check_consistency(occasions: Iterable[Occasion]) -> tuple[str, ...]:
    """What in the occasions of one furnace cannot be so, in words.

    Parameters
    ----------
    occasions : iterable of Occasion
        All different, in any order.
    """
    contradictions = []
    in_order = sorted(occasions, key=lambda occasion: (occasion.place, occasion.date))
    for before, after in itertools.pairwise(in_order):
        if before.heat == after.heat and "not repaired" in (before.stage, after.stage):
            contradictions.append(
                f"there are both {before.words} and {after.stage}: a wall that was not "
                "repaired has no survey before or after it"
            )
        if after.date < before.date:
            contradictions.append(
                f"{after.words} is of {after.date}, but {before.words} of "
                f"{before.date}: dates run backwards"
            )
    return tuple(contradictions)


def parse_heat(text: str) -> int:
    """A heat's number.

    Raises
    ------
    ValueError
        If it is none.

    Examples
    --------
    >>> parse_heat(" 41 ")
    41
    """
    plain = text.strip()
    if not (plain.isascii() and plain.isdigit() and len(plain) < 10):
        raise ValueError(f"{text!r} is no heat: a whole number from 0 up")
    return int(plain)


def parse_stage(text: str) -> Stage:
    """A stage, with hyphens or blanks.

    Raises
    ------
    ValueError
        If it is none.

    Examples
    --------
    >>> parse_stage("before-repair")
    'before repair'
    """
    plain = " ".join(casefolded(text).replace("-", " ").split())
    for stage in STAGES:
        if plain == stage:
            return stage
    raise ValueError(f"{text!r} is no stage: write {join_words(STAGES)}")


def parse_date(text: str) -> date:
    """A date, year first.

    Raises
    ------
    ValueError
        If it is none.

    Examples
    --------
    >>> parse_date("2026-03-01")
    datetime.date(2026, 3, 1)
    """
    if _DATE.fullmatch(text.strip()) is None:
        raise ValueError(f"{text!r} is no date: write year-month-day, as 2026-03-01")
    try:
        return date.fromisoformat(text.strip())
    except ValueError as fault:
        raise ValueError(f"{text!r} is no day of the calendar") from fault


def parse_amount(text: str, *, decimal_comma: bool = False) -> float:
    """Hours, or a mass without its unit.

    Raises
    ------
    ValueError
        If it is no number from 0 up.
    """
    amount = parse_number(text, decimal_comma=decimal_comma)
    if amount < 0.0:
        raise ValueError(f"{text!r} is less than nothing")
    return amount
