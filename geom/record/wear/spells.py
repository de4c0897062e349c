"""Spells of wear: from one survey to the next with no repair between."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np

from geom.record.store.occasion import Occasion
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
    def words(self) -> str:
        """As people say it: ``heat 41``, or ``heats 41 to 43``."""
        first = self.start.heat + 1
        last = self.end.heat
        return f"heat {last}" if first == last else f"heats {first} to {last}"


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
) -> tuple[tuple[Spell, ...], tuple[str, ...]]:
    """Spells of wear between the surveys of one furnace.

    Parameters
    ----------
    occasions : sequence of Occasion
        In any order.

    Returns
    -------
    spells : tuple of Spell
        In order.
    gaps : tuple of str
        Where two surveys are no spell because a repair between them was not measured,
        in words; a change of campaign is none.
    """
    spells, gaps = [], []
    for one, other in itertools.pairwise(sorted(occasions, key=lambda o: o.place)):
        if one.campaign != other.campaign or one.heat == other.heat:
            continue
        if one.is_as_left and other.is_as_worn:
            spells.append(Spell(one, other))
        elif not one.is_as_left:
            gaps.append(f"after heat {one.heat}: its repair was not surveyed")
        else:
            gaps.append(f"heat {other.heat}: surveyed only after its repair")
    return tuple(spells), tuple(gaps)
