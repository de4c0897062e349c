"""Steps: change points of wear, each with its place, its time and its size.

A new brick, another coke or a blocked tuyere shows as a step of wear per heat: a piece
of wall wears differently from one heat on and stays so.  It is looked for in the table
of all panels at once, so that what a heat does to all of the wall, or a rod set up off
the axis to all of a survey, is not taken for it.

That is binary segmentation.  The most evident change of any candidate region is taken
if chance does not show as much (`scan`).  Its panels are made even on both sides, and
the rest is scanned again.  A change is looked for at every spell of a short record.  Of
a long one the earlier spells are first taken together in even blocks, so that the work
does not grow with the record; where between two blocks a change begins is then seen
among their spells.

How large a step is, is the plain difference of the means before and after.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from geom.compare.panels import HOURS
from geom.frame import wrap
from geom.quantity import Quantity
from geom.record.assumptions import ASSUMED
from geom.record.changepoints.candidates import CandidateRegions, candidate_regions
from geom.record.changepoints.covariance import TableCovariance
from geom.record.changepoints.scan import Scan, permutation_p_value
from geom.record.changepoints.table import BASIS, WearTable, wear_table
from geom.record.regions import Region, Regions
from geom.record.wear.series import Spell, WearSeries
from geom.record.wear.survey_errors import systematic_variance
from geom.units import Bool, Float, Int

#: Spells up to which each is a block; of more, so many of the last are, and the rest
#: make so many blocks.
_SINGLY, _LAST, _BLOCKS = 50, 20, 30


@dataclass(frozen=True)
class ChangePoint:
    """One change of wear.

    Attributes
    ----------
    candidate : int
        Which candidate region.
    spell : int
        The first spell after it.
    chance : float
        That one as evident would be seen were there none.
    """

    candidate: int
    spell: int
    chance: float


@dataclass(frozen=True)
class Blocks:
    """Blocks of n spells; the last ones stand singly.

    Attributes
    ----------
    weight : array (n,)
        Of the spells, 1 on average.
    """

    weight: Float

    @cached_property
    def first(self) -> Int:
        """First spell of each block; shape (blocks,)."""
        n = self.weight.size
        if n <= _SINGLY:
            return np.arange(n)
        early = np.linspace(0, n - _LAST, _BLOCKS, endpoint=False).astype(np.int64)
        return np.concatenate([early, np.arange(n - _LAST, n)])

    @property
    def mean_length(self) -> float:
        """Spells in a block on average."""
        return self.weight.size / self.first.size

    @cached_property
    def block_weight(self) -> Float:
        """Weight of each block, 1 on average; shape (blocks,)."""
        total = np.add.reduceat(self.weight, self.first)
        return np.asarray(total / total.mean())

    def means(self, table: Float) -> Float:
        """Weighted means over blocks; (n, ...) to (blocks, ...)."""
        weight = self.weight.reshape(-1, *[1] * (table.ndim - 1))
        total = np.add.reduceat(table * weight, self.first, axis=0)
        return np.asarray(total / np.add.reduceat(weight, self.first, axis=0))

    def counts(self, which: Bool) -> Int:
        """How many spells of each block; (n, ...) to (blocks, ...)."""
        return np.asarray(np.add.reduceat(which.astype(np.int64), self.first, axis=0))

    def locate(self, heights: Float, block: int, *, before: int, after: int) -> int:
        """First spell of a step that a block begins, sought in it and the one before.

        Where the means on both sides differ most, in standard uncertainties.

        Parameters
        ----------
        heights : array (n,)
            Of the step, spell by spell.
        before, after : int
            Spells that there must be on either side.
        """
        ends, n = np.append(self.first, self.weight.size), self.weight.size
        low = min(max(int(ends[max(block, 1) - 1]) + 1, before), n - after)
        high = max(min(int(ends[block + 1]), n - after + 1), low + 1)
        total = np.cumsum(self.weight)
        sums = np.cumsum(self.weight * heights)
        tried = np.arange(low, high)
        w, s = total[tried - 1], sums[tried - 1]
        rest = total[-1] - w
        change = (sums[-1] - s) / rest - s / w
        return low + int(np.argmax(change**2 * w * rest))


@dataclass(frozen=True)
class Segmentation:
    """What is segmented, n spells, and by what, h candidate regions."""

    table: WearTable
    candidates: CandidateRegions

    @cached_property
    def blocks(self) -> Blocks:
        """The spells as they are taken together."""
        return Blocks(self.table.weight)

    @cached_property
    def scan(self) -> Scan:
        """The scan over blocks."""
        weight = self.blocks.block_weight
        return Scan(weight, self.table.row_mean, self.candidates, self._valid())

    def _valid(self) -> Bool:
        valid = self.table.valid.reshape(len(self.table.valid), -1)
        count = len(self.candidates.regions)
        if valid.all():
            return np.ones((self.blocks.first.size, count), dtype=np.bool_)
        inside = np.stack([self.panels(i).ravel() for i in range(count)])
        held = valid.astype(np.float64) @ inside.T / inside.sum(axis=1)
        counts = self.blocks.counts(held >= ASSUMED.panels_covered)
        before = np.cumsum(counts, axis=0) - counts
        return np.asarray(
            (before >= ASSUMED.spells_before_step)
            & (counts.sum(0) - before >= ASSUMED.spells_after_step)
        )

    def panels(self, candidate: int) -> Bool:
        """Panels of a candidate; (rows, HOURS)."""
        return np.asarray(self.candidates.on_panels(candidate) > 0.0)

    def near(self, candidate: int) -> Bool:
        """Panels of a candidate and those that touch them; (rows, HOURS)."""
        own = self.panels(candidate)
        wide = own | np.roll(own, 1, axis=1) | np.roll(own, -1, axis=1)
        near = wide.copy()
        near[1:] |= wide[:-1]
        near[:-1] |= wide[1:]
        return near

    def find(self, wear: Float, seed: int, false_alarms: float) -> ChangePoint | None:
        """The most evident change of wear (n, rows, HOURS), if it is not chance."""
        merged = (self.blocks.means(wear) @ BASIS)[None]
        maximum = self.scan.maximum(merged)
        chance = permutation_p_value(
            merged, maximum, self.scan, seed=seed, false_alarms=false_alarms
        )
        if chance > false_alarms:
            return None
        candidate, block = int(maximum.candidate[0]), int(maximum.spell[0])
        if self.blocks.mean_length == 1.0:
            return ChangePoint(candidate, block, chance)
        weights = self.scan.contrast_weights(self.scan.deviation(merged))
        deviation = (wear - self.table.mean) @ BASIS
        heights = weights.contrasts(deviation[None])[0, :, candidate]
        spell = self.blocks.locate(
            heights,
            block,
            before=ASSUMED.spells_before_step,
            after=ASSUMED.spells_after_step,
        )
        return ChangePoint(candidate, spell, chance)

    def covariance(self, wear: Float, spell: int) -> TableCovariance:
        """Of blocks of spells, on both sides of a spell."""
        deviation = self.scan.deviation((self.blocks.means(wear) @ BASIS)[None])
        block = int(np.searchsorted(self.blocks.first, spell, side="left"))
        return self.scan.covariance(deviation, np.array([block]))

    def without(self, found: Sequence[ChangePoint]) -> Float:
        """Wear without some change points; (n, rows, HOURS).

        Their pieces, and what touches them, wear the same on average in every stretch
        of spells between change points.
        """
        wear, weight = self.table.wear.copy(), self.table.weight
        near = np.stack([self.near(point.candidate) for point in found], axis=2)
        for which in np.unique(near.reshape(-1, len(found)), axis=0):
            panels = (near == which).all(axis=2)
            spells = {f.spell for f, here in zip(found, which, strict=True) if here}
            ends = [0, *sorted(spells), len(wear)]
            for begin, end in itertools.pairwise(ends) if spells else ():
                part = wear[begin:end, panels]
                mean = np.average(part, axis=0, weights=weight[begin:end])
                wear[begin:end, panels] = part - mean + self.table.mean[panels]
        return wear


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
        region = self.region
        panels = regions.named("panel")
        height = np.array([panel.mid_height for panel in panels])
        middle = np.array([p.azimuth_from for p in panels]) + 180.0 / HOURS
        reach = region.azimuth_to - region.azimuth_from
        reach = reach if reach == 360.0 else float(wrap(reach))
        within = (height > region.height_from) & (height < region.height_to)
        within &= wrap(middle - region.azimuth_from) < reach
        return np.asarray(regions.member @ ~within == 0.0)


def find_steps(
    series: WearSeries, *, seed: int = 0, false_alarms: float = 0.05
) -> tuple[Step, ...]:
    """Steps in the wear of any piece.

    Parameters
    ----------
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
    if (
        table.spells.size < ASSUMED.spells_before_step + ASSUMED.spells_after_step
        or table.rows.size < ASSUMED.least_rows
    ):
        return ()
    candidates = candidate_regions(series.regions, table.rows, table.row_mean)
    segmentation = Segmentation(table, candidates)
    wear, found = table.wear, list[ChangePoint]()
    while len(found) < ASSUMED.most_steps:
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
