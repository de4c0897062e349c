"""Spells of wear: from one survey to the next with no repair between."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np

from geom.record.store.occasion import Occasion, Stage
from geom.units import Float

#: What wear is counted by.
Exposure = Literal["heat", "hour", "tonne"]
EXPOSURES: tuple[Exposure, ...] = get_args(Exposure)
#: Kilograms in a tonne.
TONNE = 1000.0
#: With fewer spells than this little is known of how they differ.
FEW_SPELLS = 3


@dataclass(frozen=True)
class Spell:
    """Wear between two surveys and nothing else.

    Attributes
    ----------
    start, end : Occasion
        The wall as the first heat found it and as the last left it.
    """

    start: Occasion
    end: Occasion

    @property
    def heats(self) -> int:
        """How many heats it lasted."""
        return self.end.heat - self.start.heat

    @property
    def hours(self) -> float | None:
        """On blast."""
        return self.end.hours

    @property
    def melted(self) -> float | None:
        """Iron melted, kg."""
        return self.end.melted

    @property
    def campaign(self) -> str:
        """Whose campaign it is of."""
        return self.end.campaign

    @property
    def first_heat(self) -> int:
        """Its first heat."""
        return self.start.heat + 1

    @property
    def last_heat(self) -> int:
        """Its last heat."""
        return self.end.heat

    @property
    def words(self) -> str:
        """As messages and pages name it: ``heat 41``, or ``heats 41 to 43``."""
        first, last = self.first_heat, self.last_heat
        return f"heat {last}" if first == last else f"heats {first} to {last}"


@dataclass(frozen=True)
class SurveyGap:
    """Two surveys that are no spell: the repair between them was not measured.

    Attributes
    ----------
    heat : int
        Whose repair.
    missing : {'before repair', 'after repair'}
        Which survey of it there is not.
    """

    heat: int
    missing: Stage

    @property
    def words(self) -> str:
        """As messages and pages state it."""
        if self.missing == "after repair":
            return f"after heat {self.heat}: its repair was not surveyed"
        return f"heat {self.heat}: surveyed only after its repair"


def exposures(spells: Sequence[Spell], exposure: Exposure) -> Float:
    """How much of it each spell saw; NaN where not stated; shape (n,)."""
    amounts: dict[Exposure, list[float | None]] = {
        "heat": [float(one.heats) for one in spells],
        "hour": [one.hours for one in spells],
        "tonne": [None if s.melted is None else s.melted / TONNE for s in spells],
    }
    amount = [np.nan if a is None else a for a in amounts[exposure]]
    return np.array(amount, dtype=np.float64)


def find_spells(
    occasions: Sequence[Occasion],
) -> tuple[tuple[Spell, ...], tuple[SurveyGap, ...]]:
    """Spells of wear between the surveys of one furnace.

    Parameters
    ----------
    occasions : sequence of Occasion
        In any order.

    Returns
    -------
    spells : tuple of Spell
        In order.
    gaps : tuple of Gap
        Between surveys that are no spell; a change of campaign is none.
    """
    spells, gaps = [], []
    in_order = sorted(occasions, key=lambda occasion: occasion.place)
    for start, end in itertools.pairwise(in_order):
        if start.campaign != end.campaign or start.heat == end.heat:
            continue
        if start.is_as_left and end.is_as_worn:
            spells.append(Spell(start, end))
        elif not start.is_as_left:
            gaps.append(SurveyGap(start.heat, "after repair"))
        else:
            gaps.append(SurveyGap(end.heat, "before repair"))
    return tuple(spells), tuple(gaps)
