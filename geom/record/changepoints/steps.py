"""Steps: change points of wear, each with its place, its time and its size.

A new brick, another coke or a blocked tuyere shows as a step of wear per heat: a piece
of wall wears differently from one heat on and stays so.  It is looked for in the table
of all panels at once (`segmentation`), so that what a heat does to all of the wall, or
a rod set up off the axis to all of a survey, is not taken for it.  How large it is, is
the plain difference of the means before and after.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from geom.compare.panels import HOURS
from geom.frame import wrap
from geom.quantity import Quantity
from geom.record.assumptions import ASSUMED
from geom.record.changepoints.candidates import candidate_regions
from geom.record.changepoints.fourier import BASIS
from geom.record.changepoints.scan import AFTER, BEFORE
from geom.record.changepoints.segmentation import ChangePoint, Segmentation
from geom.record.changepoints.table import wear_table
from geom.record.regions import Region, Regions
from geom.record.wear.series import WearSeries
from geom.record.wear.spells import Spell
from geom.record.wear.survey_errors import systematic_variance
from geom.units import Bool

#: Steps reported of one record, at most.
_MAX_STEPS = 4
#: Rows of panels that must be surveyed.
_MIN_ROWS = 3


@dataclass(frozen=True)
class Step:
    """One step; mm per heat.

    Attributes
    ----------
    region : Region
        Where: one of the record's pieces, or neighbouring ones together: levels as a
        ``level``, sides as a ``side``, sides of a zone as a ``panel``.
    first : Spell
        The first of the new wear.
    before, after, change : Quantity
        Mean wear of the piece up to the step, from it on, and the difference; per heat
        of mean length where hours or iron melted are stated and wear goes with them.
    chance : float
        That a step as evident would be seen anywhere in the record were there none.
    """

    region: Region
    first: Spell
    before: Quantity
    after: Quantity
    change: Quantity
    chance: float

    def inside(self, regions: Regions) -> Bool:
        """Which pieces of a record lie wholly within this step's; (s,)."""
        one = self.region
        panels = [regions.regions[i] for i in regions.of_kind("panel")]
        height = np.array([0.5 * (p.height_from + p.height_to) for p in panels])
        middle = np.array([p.azimuth_from for p in panels]) + 180.0 / HOURS
        reach = one.azimuth_to - one.azimuth_from
        reach = reach if reach == 360.0 else float(wrap(reach))
        within = (height > one.height_from) & (height < one.height_to)
        within &= wrap(middle - one.azimuth_from) < reach
        return np.asarray(regions.member @ ~within == 0.0)


def find_steps(
    series: WearSeries, *, seed: int = 0, false_alarms: float = 0.05
) -> tuple[Step, ...]:
    """Steps in the wear of any piece.

    Parameters
    ----------
    series : WearSeries
    seed : int
        Of the records without a step that chance is seen from.
    false_alarms : float
        Share of records without a step in which one may be reported.

    Returns
    -------
    tuple of Step
        In the order of their heats; none where there are not 3 spells before and 2
        after to bear one out, or fewer than 3 rows of panels are surveyed.
    """
    table = wear_table(series)
    if table.spells.size < BEFORE + AFTER or table.rows.size < _MIN_ROWS:
        return ()
    candidates = candidate_regions(series.regions, table.rows, table.row_mean)
    segmentation = Segmentation(table, candidates)
    wear, found = table.wear, list[ChangePoint]()
    while len(found) < _MAX_STEPS:
        point = segmentation.find(wear, seed + len(found), false_alarms)
        if point is None:
            break
        found.append(point)
        wear = segmentation.without(found)
    found.sort(key=lambda point: (point.spell, point.chance))
    return tuple(_step(point, found, segmentation, series) for point in found)


def _step(
    point: ChangePoint,
    found: Sequence[ChangePoint],
    segmentation: Segmentation,
    series: WearSeries,
) -> Step:
    """A change point with its size."""
    table, panels = segmentation.table, segmentation.panels(point.candidate)
    begin, end = _between(point, found, segmentation)
    mean = table.wear[:, panels].mean(axis=1)
    others = [other for other in found if other is not point]
    alone = segmentation.without(others) if others else table.wear
    covariance = segmentation.covariance(alone, point.spell)
    weights = panels / panels.sum() @ BASIS
    prior = segmentation.blocks.mean_length * covariance.of_mean(weights)
    square, sides = 0.0, []
    for part in (slice(begin, point.spell), slice(point.spell, end)):
        weight = table.weight[part]
        level = float(np.average(mean[part], weights=weight))
        square += float(weight @ (mean[part] - level) ** 2)
        sides.append((level, 1.0 / float(weight.sum())))
    dof = ASSUMED.step_spells + end - begin - 2.0
    variance = (ASSUMED.step_spells * prior + square) / dof
    (low, less), (high, more) = sides
    region = segmentation.candidates.regions[point.candidate]
    fixed = systematic_variance(region, series.regions, table.per_heat.end_variance)

    def quantity(value: float, variance: float) -> Quantity:
        return Quantity.student(value, float(np.sqrt(variance)), dof)

    return Step(
        region=region,
        first=series.spells[int(table.spells[point.spell])],
        before=quantity(low, variance * less + fixed),
        after=quantity(high, variance * more + fixed),
        change=quantity(high - low, variance * (less + more)),
        chance=point.chance,
    )


def _between(
    point: ChangePoint, found: Sequence[ChangePoint], segmentation: Segmentation
) -> tuple[int, int]:
    """Spells that a size is taken from: back and on to the next in the same wall."""
    own = segmentation.panels(point.candidate)
    spells = [f.spell for f in found if (segmentation.near(f.candidate) & own).any()]
    begin = max((spell for spell in spells if spell < point.spell), default=0)
    last = segmentation.table.spells.size
    end = min((spell for spell in spells if spell > point.spell), default=last)
    return begin, end
