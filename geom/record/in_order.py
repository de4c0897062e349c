"""Whether occasions of one furnace can all be true."""

from __future__ import annotations

import itertools
from collections.abc import Iterable

from geom.record.occasion import Occasion


def contradictions(occasions: Iterable[Occasion]) -> tuple[str, ...]:
    """What in the occasions of one furnace cannot be so, in words.

    Parameters
    ----------
    occasions : iterable of Occasion
        All different, in any order.
    """
    said = []
    in_order = sorted(occasions, key=lambda one: (one.place, one.date))
    for one, other in itertools.pairwise(in_order):
        if one.heat == other.heat and "not repaired" in (one.stage, other.stage):
            said.append(
                f"there are both {one.words} and {other.stage}: a wall that was not "
                "repaired has no survey before or after it"
            )
        if other.date < one.date:
            said.append(
                f"{other.words} is of {other.date}, but {one.words} of {one.date}: "
                "dates run backwards"
            )
    return tuple(said)
