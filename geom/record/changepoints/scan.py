"""Where in a record a step is most evident, and how evident chance alone makes one.

For every shape of a step (`candidate_regions`) and every place in the record, the mean
height of the step after is held against the mean before (`step_heights`).  What it is
divided by is the scatter of those heights on both sides, drawn towards what the scatter
of the whole table there makes of them, so that few spells still tell.  How great the
greatest of these ratios gets by chance is seen in records without a step, made of this
one's own spells: every panel is made even on both sides of the place found, what is
left of each spell is put in another place and, as often as not, turned about, and the
whole is searched in the very same way.  So everything that hangs together in a spell
does in those records, and what is rough in this one is in them.

One odd heat makes no step: where a side of the record has four spells or fewer, the
others must bear it out whichever is left out.

References
----------
Besag, J. and Clifford, P. (1991). Sequential Monte Carlo p-values. Biometrika 78,
301-304 (cited from memory): no more records than show that chance does as well.
Hawkins, D. M. (1977). Testing a sequence of observations for a shift in location. J.
American Statistical Association 72, 180-186: the greatest ratio over all places.
Pitman, E. J. G. (1937). Significance tests which may be applied to samples from any
populations. Supplement to the J. Royal Statistical Society 4, 119-130 (cited from
memory): chance seen in the values themselves put in other places.
Smyth, G. K. (2004). Linear models and empirical Bayes methods for assessing
differential expression in microarray experiments. Statistical Applications in Genetics
and Molecular Biology 3, article 3: variances drawn together.

Looking through a record for a step, and on for others with that one taken out.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from geom.record.changepoints.candidates import CandidateRegions, ContrastWeights
from geom.record.changepoints.covariance import (
    BASIS,
    TableCovariance,
    squares,
    table_covariance,
)
from geom.record.changepoints.table import Blocks, WearTable
from geom.units import Bool, Float, Int

#: Spells before and after a step, at least.
BEFORE, AFTER = 3, 2
#: How many spells the scatter of the whole table counts for.
_OWN_WORD = 20.0
#: Spells up to which a side of the record has to bear a step out without any one of
#: them, and how far: the ratio that chance exceeds once in 20.
_FEW, _BORNE_OUT = 4, 1.7
#: Records drawn at most, and how many at once; no more are once so many of them, of all
#: that are to be told falsely, show as much.
DRAWS = 999
_AT_ONCE, _PLENTY = 111, 2.0
#: Records after which no more are drawn if none of them shows as much.
_SURE = 222


@dataclass(frozen=True)
class Evidence:
    """The most evident step of each of b records.

    Attributes
    ----------
    ratio : array (b,)
        Height over its standard uncertainty, as a size; 0 where there is none.
    shape, place : int array (b,)
        Which shape, and the first spell after the step.
    """

    ratio: Float
    shape: Int
    place: Int


@dataclass(frozen=True)
class Ground:
    """What is searched: n spells, rows of panels, h shapes.

    Attributes
    ----------
    weight : array (n,)
        Of the spells, 1 on average.
    usual : array (rows,), mm per heat
        What each row wears.
    trial : TrialPieces
    valid : bool array (n, h)
        Where a shape is told well enough on both sides of a first spell after the step.
    """

    weight: Float
    usual: Float
    trial: CandidateRegions
    valid: Bool

    def off(self, wear: Float) -> Float:
        """Wear of b records less its mean; (b, n, rows, waves)."""
        return wear - np.average(wear, axis=1, weights=self.weight)[:, None]

    def change(self, off: Float, place: int) -> tuple[Float, float]:
        """Mean after less mean before, and its variance in spells of weight 1.

        Parameters
        ----------
        off : array (b, n, ...)
        place : int
        """
        before, after = self.weight[:place], self.weight[place:]
        low = np.average(off[:, :place], axis=1, weights=before)
        high = np.average(off[:, place:], axis=1, weights=after)
        return high - low, float(1.0 / before.sum() + 1.0 / after.sum())

    def scatter(self, off: Float, place: Int) -> TableCovariance:
        """What spells scatter by on both sides of a place, one for each record."""
        after = np.arange(self.weight.size) >= place[:, None]
        more = after * self.weight
        less = self.weight - more
        sums = np.einsum("bt,btrw->brw", more, off, optimize=True)
        change = sums * (1.0 / more.sum(1) + 1.0 / less.sum(1))[:, None, None]
        left = off - after[..., None, None] * change[:, None]
        square = squares(self.off(left), self.weight)
        return table_covariance(square, self.weight.size - 2.0, self.usual)

    def heights(self, off: Float) -> ContrastWeights:
        """What tells heights of steps in that wear.

        By the scatter beside the place where a step is most evident when it is itself
        still counted as scatter.
        """
        square = squares(off, self.weight)
        rough = table_covariance(square, self.weight.size - 1.0, self.usual)
        first = _most_evident(off, square, ContrastWeights.of(self.trial, rough), self)
        return ContrastWeights.of(self.trial, self.scatter(off, first.place))


def search(wear: Float, ground: Ground) -> Evidence:
    """The most evident step of each of b records.

    Parameters
    ----------
    wear : array (b, n, rows, waves), mm per heat
    ground : Ground
    """
    off = ground.off(wear)
    square = squares(off, ground.weight)
    return _most_evident(off, square, ground.heights(off), ground)


def _most_evident(
    off: Float, square: Float, told: ContrastWeights, ground: Ground
) -> Evidence:
    weight, heights = ground.weight, told.contrasts(off)
    total = np.einsum("t,bth->bh", weight, heights**2)
    records = np.arange(len(off))
    best, shape = np.zeros(len(off)), np.zeros(len(off), dtype=np.int64)
    place = np.full(len(off), BEFORE)
    freedom = _OWN_WORD + weight.size - 2.0
    for k in range(BEFORE, weight.size - AFTER + 1):
        panels, share = ground.change(off, k)
        taken = squares(panels[:, None], np.ones(1)) / share
        beside = table_covariance(square - taken, weight.size - 2.0, ground.usual)
        change, _ = ground.change(heights, k)
        own = np.maximum(total - change**2 / share, 0.0)
        sd = np.sqrt((_OWN_WORD * told.variance(beside) + own) / freedom * share)
        ratio = np.where(ground.valid[k], np.abs(change) / sd, 0.0)
        ratio *= _borne_out(heights, weight, change, sd, k)
        greatest = np.argmax(ratio, axis=1)
        more = ratio[records, greatest] > best
        best[more] = ratio[records[more], greatest[more]]
        shape[more], place[more] = greatest[more], k
    return Evidence(best, shape, place)


def chance(
    wear: Float, found: Evidence, ground: Ground, *, seed: int, false_alarms: float
) -> float:
    """Of a step as evident in records without one, made of the spells of one.

    Parameters
    ----------
    wear : array (1, n, rows, waves), mm per heat
    found : Evidence
        Its most evident step.
    ground : Ground
    seed : int
    false_alarms : float
        Well past it the chance is told more roughly.
    """
    off, place = ground.off(wear), int(found.place[0])
    change, _ = ground.change(off, place)
    after = np.arange(off.shape[1]) >= place
    root = np.sqrt(ground.weight)
    left = ground.off(off - after[:, None, None] * change[:, None])[0]
    left = left * root[:, None, None]
    rng, more, drawn = np.random.default_rng(seed), 0, 0
    plenty = _PLENTY * false_alarms * (1 + DRAWS)
    while drawn < DRAWS and more <= plenty and (more or drawn < _SURE):
        count = min(_AT_ONCE, DRAWS - drawn)
        order = rng.permuted(np.tile(np.arange(root.size), (count, 1)), axis=1)
        sign = rng.choice([-1.0, 1.0], order.shape) / root
        ratio = search(left[order] * sign[:, :, None, None], ground).ratio
        more += int(np.sum(ratio >= found.ratio[0]))
        drawn += count
    return (1.0 + more) / (1.0 + drawn)


def _borne_out(
    heights: Float, weight: Float, change: Float, sd: Float, place: int
) -> Bool:
    """Whether short sides of the record bear a step out without any one spell."""
    n = weight.size
    sign, known = np.sign(change), np.ones(change.shape, dtype=np.bool_)
    sides = (range(place), range(place, n))
    share = sum(1.0 / weight[list(side)].sum() for side in sides)
    for side, other in (sides, sides[::-1]):
        if len(side) > _FEW:
            continue
        forward = 1.0 if side.start else -1.0
        others = list(other)
        mean = np.average(heights[:, others], axis=1, weights=weight[others])
        for out in side:
            kept = [t for t in side if t != out]
            rest = np.average(heights[:, kept], axis=1, weights=weight[kept])
            worth = 1.0 / weight[kept].sum() + 1.0 / weight[others].sum()
            least = _BORNE_OUT * sd * np.sqrt(worth / share)
            known &= sign * forward * (rest - mean) >= least
    return known


#: Share of its panels that tell a shape in a spell.
_ENOUGH = 0.8


@dataclass(frozen=True)
class Found:
    """A step as it is found.

    Attributes
    ----------
    shape : int
        Of those tried.
    place : int
        The first spell after it.
    chance : float
        That one as evident would be seen were there none.
    """

    shape: int
    place: int
    chance: float


@dataclass(frozen=True)
class Look:
    """What is looked through, n spells, and for what, h shapes."""

    ring: WearTable
    trial: CandidateRegions

    @cached_property
    def runs(self) -> Blocks:
        """The spells as they are taken together."""
        return Blocks(self.ring.weight)

    @cached_property
    def ground(self) -> Ground:
        """What is searched."""
        return Ground(self.runs.worth, self.ring.usual, self.trial, self._valid())

    def _valid(self) -> Bool:
        told = self.ring.told.reshape(len(self.ring.told), -1)
        count = len(self.trial.regions)
        if told.all():
            return np.ones((self.runs.first.size, count), dtype=np.bool_)
        like = np.stack([self.panels(i).ravel() for i in range(count)])
        held = told.astype(np.float64) @ like.T / like.sum(axis=1)
        counts = self.runs.counts(held >= _ENOUGH)
        before = np.cumsum(counts, axis=0) - counts
        return np.asarray((before >= BEFORE) & (counts.sum(0) - before >= AFTER))

    def panels(self, shape: int) -> Bool:
        """Panels of a shape; (rows, HOURS)."""
        return np.asarray(self.trial.on_panels(shape) > 0.0)

    def near(self, shape: int) -> Bool:
        """Panels of a shape and those that touch them; (rows, HOURS)."""
        own = self.panels(shape)
        wide = own | np.roll(own, 1, axis=1) | np.roll(own, -1, axis=1)
        near = wide.copy()
        near[1:] |= wide[:-1]
        near[:-1] |= wide[1:]
        return near

    def most_evident(self, wear: Float, seed: int, false_alarms: float) -> Found | None:
        """The most evident step of some wear (n, rows, HOURS), if it is not chance."""
        merged = (self.runs.means(wear) @ BASIS)[None]
        seen = search(merged, self.ground)
        luck = chance(merged, seen, self.ground, seed=seed, false_alarms=false_alarms)
        if luck > false_alarms:
            return None
        shape, run = int(seen.shape[0]), int(seen.place[0])
        if self.runs.long == 1.0:
            return Found(shape, run, luck)
        told = self.ground.heights(self.ground.off(merged))
        off = (wear - self.ring.mean) @ BASIS
        heights = told.contrasts(off[None])[0, :, shape]
        place = self.runs.place(heights, run, before=BEFORE, after=AFTER)
        return Found(shape, place, luck)

    def scatter(self, wear: Float, place: int) -> TableCovariance:
        """What runs of spells scatter by on both sides of a spell."""
        off = self.ground.off((self.runs.means(wear) @ BASIS)[None])
        run = int(np.searchsorted(self.runs.first, place, side="left"))
        return self.ground.scatter(off, np.array([run]))

    def without(self, found: Sequence[Found]) -> Float:
        """Wear without some steps; (n, rows, HOURS).

        Their pieces, and what touches them, wear the same on average in every stretch
        of spells between steps.
        """
        wear, weight = self.ring.wear.copy(), self.ring.weight
        near = np.stack([self.near(one.shape) for one in found], axis=2)
        for which in np.unique(near.reshape(-1, len(found)), axis=0):
            panels = (near == which).all(axis=2)
            places = {f.place for f, here in zip(found, which, strict=True) if here}
            ends = [0, *sorted(places), len(wear)]
            for begin, end in itertools.pairwise(ends) if places else ():
                part = wear[begin:end, panels]
                mean = np.average(part, axis=0, weights=weight[begin:end])
                wear[begin:end, panels] = part - mean + self.ring.mean[panels]
        return wear
