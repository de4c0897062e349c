"""Where in a record a step is most evident, and how evident chance alone makes one.

For every shape of a step (`trial_pieces`) and every place in the record, the mean
height of the step after is held against the mean before.  What it is divided by is the
scatter of those heights themselves, drawn towards what the whole table's scatter makes
of them, so that few spells still tell.  How great the greatest of these ratios gets by
chance is seen in records without a step, made of this one's own spells: the step is
taken out, what is left of each spell is put in another place and, as often as not,
turned about, and the whole is searched in the very same way.  So everything that hangs
together in a spell does in those records, and what is rough in this one is in them.

One odd heat makes no step: where a side of the record has four spells or fewer, the
others must bear it out whichever is left out.

References
----------
Hawkins, D. M. (1977). Testing a sequence of observations for a shift in location. J.
American Statistical Association 72, 180-186: the greatest ratio over all places.
Pitman, E. J. G. (1937). Significance tests which may be applied to samples from any
populations. Supplement to the J. Royal Statistical Society 4, 119-130: chance seen in
the values themselves put in other places.
Smyth, G. K. (2004). Linear models and empirical Bayes methods for assessing
differential expression in microarray experiments. Statistical Applications in Genetics
and Molecular Biology 3, article 3: variances drawn together.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geom.record.ring_scatter import RingScatter, ring_scatter
from geom.record.trial_pieces import TrialPieces
from geom.units import Bool, Float, Int

#: Spells before and after a step, at least.
BEFORE, AFTER = 3, 2
#: How many spells the scatter of the whole table counts for.
OWN_WORD = 20.0
#: Spells up to which a side of the record has to bear a step out without any one of
#: them, and how far: the ratio that chance exceeds once in 20.
_FEW, _BORNE_OUT = 4, 1.7
#: Records drawn, and how many at once.
DRAWS = 999
_AT_ONCE = 111


@dataclass(frozen=True)
class Evidence:
    """The most evident step of each of b records.

    Attributes
    ----------
    ratio : array (b,)
        Height over its standard uncertainty, as a size; 0 where there is none.
    shape, place : int array (b,)
        Which shape, and the first spell after the step.
    height : array (b,), mm per heat
    scatter : RingScatter
        What the spells scatter by, the step taken out.
    """

    ratio: Float
    shape: Int
    place: Int
    height: Float
    scatter: RingScatter


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
    trial: TrialPieces
    valid: Bool

    def off(self, wear: Float) -> Float:
        """Wear of b records less its mean; (b, n, rows, waves)."""
        return wear - np.average(wear, axis=1, weights=self.weight)[:, None]


def search(wear: Float, ground: Ground) -> Evidence:
    """The most evident step of each of b records.

    Parameters
    ----------
    wear : array (b, n, rows, waves), mm per heat
    ground : Ground
    """
    off = ground.off(wear)
    scatter = ring_scatter(off, ground.weight, ground.usual)
    first = _most_evident(off, scatter, ground)
    # the step itself is in that scatter: look again with it taken out
    left = off - _as_it_runs(first, ground)
    scatter = ring_scatter(left, ground.weight, ground.usual, spent=2.0)
    return _most_evident(off, scatter, ground)


def luck(wear: Float, found: Evidence, ground: Ground, *, seed: int) -> Float:
    """Greatest ratios in records without a step, made of the spells of one.

    Parameters
    ----------
    wear : array (1, n, rows, waves), mm per heat
    found : Evidence
        Its most evident step.
    ground : Ground
    seed : int

    Returns
    -------
    array (DRAWS,)
    """
    root = np.sqrt(ground.weight)
    left = (ground.off(wear) - _as_it_runs(found, ground))[0] * root[:, None, None]
    rng = np.random.default_rng(seed)
    ratios = []
    for _ in range(DRAWS // _AT_ONCE):
        order = rng.permuted(np.tile(np.arange(root.size), (_AT_ONCE, 1)), axis=1)
        sign = rng.choice([-1.0, 1.0], order.shape) / root
        ratios.append(search(left[order] * sign[:, :, None, None], ground).ratio)
    return np.concatenate(ratios)


@dataclass(frozen=True)
class _Sums:
    """Running sums over spells of heights of steps, for b records and h shapes.

    Attributes
    ----------
    weight : array (n + 1,)
    height : array (b, n + 1, h), mm
        Of weight times height, up to each spell.
    square : array (b, h), mm2
        Of weight times height squared, over all spells.
    prior : array (b, h), mm2
        What the whole table's scatter makes of the heights of a spell of weight 1.
    """

    weight: Float
    height: Float
    square: Float
    prior: Float

    @classmethod
    def of(cls, heights: Float, weight: Float, prior: Float) -> _Sums:
        """Of heights (b, n, h)."""
        weighed = heights * weight[:, None]
        run = np.zeros((len(heights), weight.size + 1, heights.shape[2]))
        np.cumsum(weighed, axis=1, out=run[:, 1:])
        square = np.einsum("bth,bth->bh", weighed, heights)
        return cls(np.append(0.0, np.cumsum(weight)), run, square, prior)

    def change(self, place: int) -> tuple[Float, Float]:
        """Mean height from a spell on less that before, and its sd; (b, h), mm."""
        all_, before = self.weight[-1], self.weight[place]
        after = all_ - before
        low = self.height[:, place] / before
        high = (self.height[:, -1] - self.height[:, place]) / after
        square = np.maximum(self.square - before * low**2 - after * high**2, 0.0)
        free = OWN_WORD + self.weight.size - 3.0
        variance = (OWN_WORD * self.prior + square) / free
        return high - low, np.sqrt(variance * (1.0 / before + 1.0 / after))


def _most_evident(off: Float, scatter: RingScatter, ground: Ground) -> Evidence:
    heights, prior = ground.trial.heights_of_steps(off, scatter)
    weight = ground.weight
    sums = _Sums.of(heights, weight, prior)
    records = np.arange(len(off))
    best, height = np.zeros(len(off)), np.zeros(len(off))
    shape = np.zeros(len(off), dtype=np.int64)
    place = np.full(len(off), BEFORE)
    for k in range(BEFORE, weight.size - AFTER + 1):
        change, sd = sums.change(k)
        ratio = np.where(ground.valid[k], np.abs(change) / sd, 0.0)
        ratio *= _borne_out(heights, weight, change, sd, k)
        greatest = np.argmax(ratio, axis=1)
        more = ratio[records, greatest] > best
        pick = records[more], greatest[more]
        best[more], height[more] = ratio[pick], change[pick]
        shape[more], place[more] = greatest[more], k
    return Evidence(best, shape, place, height, scatter)


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


def _as_it_runs(found: Evidence, ground: Ground) -> Float:
    """The step of each record spell by spell, nothing on average."""
    pairs = zip(found.shape, found.scatter.blunt, strict=True)
    steps = np.stack([ground.trial.seen(int(i), blunt) for i, blunt in pairs])
    after = np.arange(ground.weight.size) >= found.place[:, None]
    run = after - np.average(after, axis=1, weights=ground.weight)[:, None]
    return np.asarray((found.height[:, None] * run)[:, :, None, None] * steps[:, None])
