"""The deepest cut-back of the wall as each heat left it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from geom.quantity import Quantity
from geom.record.occasion import Occasion
from geom.record.store import Record
from geom.record.survey_file import opened


@dataclass(frozen=True)
class Depth:
    """Greatest cut-back of the panel that is deepest, as one heat left it; mm."""

    heat: int
    cutback: Quantity


def deepest_found(record: Record, occasions: Sequence[Occasion]) -> tuple[Depth, ...]:
    """Follow the deepest place of the wall, wherever it is, from heat to heat.

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
            deepest = file["panel_deepest"][()].astype(np.float64)
            sd = file["panel_deepest_sd"][()].astype(np.float64)
        if np.isfinite(deepest).any():
            at = int(np.nanargmax(deepest))
            told = Quantity.normal(deepest[at], sd[at])
            found.append(Depth(occasion.heat, told))
    return tuple(found)
