"""The deepest cut-back of the wall as each heat left it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from geom.quantity import Quantity
from geom.record.occasion import Occasion
from geom.record.store import Record
from geom.record.survey_file import findings_in, opened


@dataclass(frozen=True)
class Depth:
    """Greatest cut-back of the wall, wherever it is, as one heat left it; mm."""

    heat: int
    cutback: Quantity


def deepest_found(record: Record, occasions: Sequence[Occasion]) -> tuple[Depth, ...]:
    """Follow the deepest place of the wall, wherever it is, from heat to heat.

    The very figure that every survey's own findings tell.

    Parameters
    ----------
    record : Record
    occasions : sequence of Occasion
        In order; surveys after a repair are passed over.

    Raises
    ------
    InputError
        If a survey cannot be read.
    """
    found = []
    for occasion in occasions:
        if not occasion.finds:
            continue
        with opened(record.path(occasion)) as file:
            told = findings_in(file)["deepest"]["cutback"]
        found.append(Depth(occasion.heat, Quantity.from_dict(told)))
    return tuple(found)
