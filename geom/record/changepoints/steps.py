"""Steps in wear: a piece of wall wears differently from one heat on and stays so.

A new brick, another coke or a blocked tuyere shows as a step of wear per heat.  It is
looked for in the table of all panels at once (`step_search`), so that what a heat does
to all of the wall, or a rod set up off the axis to all of a survey, is told from it.
Once one is found its piece is made even on both sides, and the rest is looked through
again.  How large it is, is the plain difference of the means before and after.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from geom.compare.panels import HOURS
from geom.frame import wrap
from geom.quantity import Quantity
from geom.record.changepoints.candidates import candidate_regions
from geom.record.changepoints.covariance import BASIS
from geom.record.changepoints.scan import AFTER, BEFORE, Found, Look
from geom.record.changepoints.table import wear_table
from geom.record.regions import Region, Regions
from geom.record.wear.rates import systematic_variance
from geom.record.wear.series import WearSeries
from geom.record.wear.spells import Spell
from geom.units import Bool

#: Steps told of one record, at most.
_MOST = 4
#: How many spells the scatter of the whole table counts for in the interval of a
#: step: few, since what all of the wall shares is known from no more spells.
_OWN_WORD = 5.0
#: Rows of panels that must be told.
_FEWEST_ROWS = 3


@dataclass(frozen=True)
class Step:
    """One step; mm per heat.

    Attributes
    ----------
    piece : Piece
        Where: one of the record's pieces, or neighbouring ones together: levels as a
        ``level``, sides as a ``side``, sides of a zone as a ``panel``.
    first : Spell
        The first of the new wear.
    before, after, change : Quantity
        Mean wear of the piece up to the step, from it on, and the difference; per heat
        of mean length where hours or iron melted are told and wear goes with them.
    chance : float
        That a step as evident would be seen anywhere in the record were there none.
    """

    region: Region
    first: Spell
    before: Quantity
    after: Quantity
    change: Quantity
    chance: float

    @property
    def words(self) -> str:
        """In one sentence; mm, and azimuth in the drawing's degrees."""
        heat, change = self.first.start.heat, self.change
        return (
            f"{_where(self.region)}: {self.before.value:.1f} mm a heat up to heat "
            f"{heat}, {self.after.value:.1f} from heat {heat + 1} on; "
            f"{change.value:+.1f} mm ({change.low95:.1f} to {change.high95:.1f}); "
            f"chance of such a step by luck {100.0 * self.chance:.1f} %"
        )

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


def _where(region: Region) -> str:
    if region.name:
        return region.name
    heights = f"{region.height_from:.0f} to {region.height_to:.0f} mm"
    sides = f"{region.azimuth_from:.0f}° to {region.azimuth_to:.0f}°"
    return {"level": heights, "side": sides}.get(region.kind, f"{sides}, {heights}")


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
        Share of records without a step in which one may be told.

    Returns
    -------
    tuple of Step
        In the order of their heats; none where there are not 3 spells before and 2
        after to bear one out, or fewer than 3 rows of panels are told.
    """
    ring = wear_table(series)
    if ring.spells.size < BEFORE + AFTER or ring.rows.size < _FEWEST_ROWS:
        return ()
    look = Look(ring, candidate_regions(series.regions, ring.rows, ring.usual))
    left, found = ring.wear, list[Found]()
    while len(found) < _MOST:
        step = look.most_evident(left, seed + len(found), false_alarms)
        if step is None:
            break
        found.append(step)
        left = look.without(found)
    found.sort(key=lambda one: (one.place, one.chance))
    return tuple(_told(one, found, look, series) for one in found)


def _told(one: Found, found: Sequence[Found], look: Look, series: WearSeries) -> Step:
    """A step with its size."""
    ring, panels = look.ring, look.panels(one.shape)
    begin, end = _between(one, found, look)
    mean = ring.wear[:, panels].mean(axis=1)
    others = [other for other in found if other is not one]
    alone = look.without(others) if others else ring.wear
    scatter = look.scatter(alone, one.place)
    prior = look.runs.long * scatter.of_mean(panels / panels.sum() @ BASIS)
    square, sides = 0.0, []
    for part in (slice(begin, one.place), slice(one.place, end)):
        weight = ring.weight[part]
        level = float(np.average(mean[part], weights=weight))
        square += float(weight @ (mean[part] - level) ** 2)
        sides.append((level, 1.0 / float(weight.sum())))
    freedom = _OWN_WORD + end - begin - 2.0
    own = (_OWN_WORD * prior + square) / freedom
    (low, less), (high, more) = sides
    region = look.trial.regions[one.shape]
    fixed = systematic_variance(region, series.regions, ring.per_heat.worn)
    return Step(
        region=region,
        first=series.spells[int(ring.spells[one.place])],
        before=_student(low, own * less + fixed, freedom),
        after=_student(high, own * more + fixed, freedom),
        change=_student(high - low, own * (less + more), freedom),
        chance=one.chance,
    )


def _between(one: Found, found: Sequence[Found], look: Look) -> tuple[int, int]:
    """Spells that a step is told from: back and on to the next in the same wall."""
    own = look.panels(one.shape)
    places = [f.place for f in found if (look.near(f.shape) & own).any()]
    begin = max((place for place in places if place < one.place), default=0)
    last = look.ring.spells.size
    end = min((place for place in places if place > one.place), default=last)
    return begin, end


def _student(value: float, variance: float, freedom: float) -> Quantity:
    """With the interval of Student's t."""
    from scipy.special import stdtrit

    sd = float(np.sqrt(variance))
    half = float(stdtrit(freedom, 0.975)) * sd
    return Quantity(value, sd, value - half, value + half)
