"""Scan statistic: where in a record a change is most evident, and its p-value.

For every candidate region (`candidates`) and every spell, the mean height of the step
after is held against the mean before.  For wear y of the panels and a step of shape x,
as surveys show it, the height is ``f' y / f' x`` with weights ``f = (S + D)^-1 x``.
With the covariance S alone that were generalised least squares, which fails where a
step is not just of the shape; D, what S has on its diagonal, lets the step differ from
it from row to row and wave to wave.

What the difference is divided by is the scatter of those heights on both sides, shrunk
towards what the covariance of the whole table there makes of them, so that few spells
still say something.  How great the greatest of these ratios gets by chance is seen in
records without a step, made of this one's own spells: every panel is made even on both
sides of the spell found, what is left of each spell is put in another place and, as
often as not, its sign is turned, and the whole is scanned in the very same way.  So
everything that correlates in a spell does in those records, and what is rough in this
one is in them.

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
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from geom.compare.panels import HOURS
from geom.record.assumptions import ASSUMED
from geom.record.changepoints.candidates import CandidateRegions
from geom.record.changepoints.covariance import (
    TableCovariance,
    cross_products,
    table_covariance,
)
from geom.record.changepoints.table import ORDER
from geom.units import Bool, Float, Int


@dataclass(frozen=True)
class ContrastWeights:
    """GLS weights of the heights of steps; b records, h candidates.

    Attributes
    ----------
    rings : array (b, rows, a)
        For the shapes all round.
    sectors : array (b, orders, rows, t)
        Up the wall, for the shapes to one side.
    spans : array (b, u, waves)
        Round it, as surveys show them.
    norm : array (b, h)
        ``f' x``.
    """

    rings: Float
    sectors: Float
    spans: Float
    norm: Float

    @classmethod
    def of(
        cls, candidates: CandidateRegions, covariance: TableCovariance
    ) -> ContrastWeights:
        """Weights for some covariance."""
        # variances of rows, the diagonal: b records, m orders, i rows
        own = np.einsum("bmii->bmi", covariance.rows)
        inverse = np.linalg.inv(covariance.rows + np.eye(own.shape[2]) * own[..., None])
        # all round only the mean of a ring counts, which is one wave
        level = np.sqrt(HOURS) * inverse[:, 0] @ candidates.rings.T
        # x' f of rings: a shapes, r rows
        round_ = np.sqrt(HOURS) * np.einsum("ar,bra->ba", candidates.rings, level)
        up = inverse @ candidates.sectors.T
        spans = candidates.spans * covariance.attenuation[:, None, :]
        # x' f up the wall: t sectors, r rows, m orders
        tall = np.einsum("tr,bmrt->btm", candidates.sectors, up)[..., ORDER]
        sided = tall @ np.swapaxes(spans**2, 1, 2)
        norm = np.concatenate([round_, sided.reshape(len(own), -1)], axis=1)
        return cls(level, up, spans, norm)

    def contrasts(self, deviation: Float) -> Float:
        """Heights; (b, n, rows, waves) to (b, n, h), mm."""
        count, n = deviation.shape[:2]
        level = deviation[..., 0] @ self.rings
        # f' y up the wall for each wave w: n spells, r rows, t sectors
        felt = np.einsum(
            "bnrw,bwrt->bntw", deviation, self.sectors[:, ORDER], optimize=True
        )
        sided = felt.reshape(count, -1, ORDER.size) @ np.swapaxes(self.spans, 1, 2)
        both = np.concatenate([level, sided.reshape(count, n, -1)], axis=2)
        return np.asarray(both / self.norm[:, None])

    def variance(self, covariance: TableCovariance) -> Float:
        """Of heights in a spell of weight 1, ``f' S f / (f' x)^2``; (b, h), mm2."""
        table, count = covariance.rows, len(self.norm)
        round_ = np.sum(self.rings * (table[:, 0] @ self.rings), axis=1)
        tall = np.swapaxes(np.sum(self.sectors * (table @ self.sectors), axis=2), 1, 2)
        sided = tall[..., ORDER] @ np.swapaxes(self.spans**2, 1, 2)
        both = np.concatenate([round_, sided.reshape(count, -1)], axis=1)
        return np.asarray(both / self.norm**2)


#: Permuted records at most, and how many at once; no more are once so many of them, of
#: all that are to be called falsely, show as much.
PERMUTATIONS = 999
_AT_ONCE, _PLENTY = 111, 2.0
#: Records after which no more are drawn if none of them shows as much.
_SURE = 222


@dataclass(frozen=True)
class ScanMaximum:
    """The most evident step of each of b records.

    Attributes
    ----------
    statistic : array (b,)
        Height over its standard uncertainty, as a size; 0 where there is none.
    candidate, spell : int array (b,)
        Which candidate region, and the first spell after the step.
    """

    statistic: Float
    candidate: Int
    spell: Int


@dataclass(frozen=True)
class Split:
    """Spells after a step held against those before.

    Attributes
    ----------
    of_spells : array (n,)
        Of each spell in the mean after less the mean before.
    variance : float
        Of that, in spells of weight 1.
    """

    of_spells: Float
    variance: float

    @classmethod
    def of(cls, weight: Float, spell: int, out: int | None = None) -> Split:
        """At a first spell after, perhaps with one spell left out."""
        kept = weight.copy()
        if out is not None:
            kept[out] = 0.0
        low, high = float(kept[:spell].sum()), float(kept[spell:].sum())
        sign = np.where(np.arange(weight.size) < spell, -1.0 / low, 1.0 / high)
        return cls(sign * kept, 1.0 / low + 1.0 / high)


@dataclass(frozen=True)
class Scan:
    """What is scanned: n spells, rows of panels, h candidate regions.

    Attributes
    ----------
    weight : array (n,)
        Of the spells, 1 on average.
    row_mean : array (rows,), mm per heat
        What each row wears.
    valid : bool array (n, h)
        Where a candidate is covered well enough on both sides of a first spell after
        the step.
    """

    weight: Float
    row_mean: Float
    candidates: CandidateRegions
    valid: Bool

    @cached_property
    def splits(self) -> dict[int, tuple[Split, ...]]:
        """Ways to part the spells at each first spell after a step.

        All of them first; then, where a side of the record is short, without each of
        its spells.
        """
        n = self.weight.size
        found = {}
        for k in range(ASSUMED.spells_before_step, n - ASSUMED.spells_after_step + 1):
            sides = np.split(np.arange(n), [k])
            short = [s for s in sides if s.size <= ASSUMED.few_spells_a_side]
            left_out = [None, *(int(t) for side in short for t in side)]
            found[k] = tuple(Split.of(self.weight, k, out) for out in left_out)
        return found

    def deviation(self, wear: Float) -> Float:
        """Wear of b records less its mean; (b, n, rows, waves)."""
        return wear - np.average(wear, axis=1, weights=self.weight)[:, None]

    def change(self, deviation: Float, spell: int) -> tuple[Float, float]:
        """Mean after less mean before, and its variance in spells of weight 1.

        Parameters
        ----------
        deviation : array (b, n, ...)
        spell : int
            The first after.
        """
        before, after = self.weight[:spell], self.weight[spell:]
        low = np.average(deviation[:, :spell], axis=1, weights=before)
        high = np.average(deviation[:, spell:], axis=1, weights=after)
        return high - low, float(1.0 / before.sum() + 1.0 / after.sum())

    def covariance(self, deviation: Float, spell: Int) -> TableCovariance:
        """Covariance on both sides of a spell, one for each record."""
        after = np.arange(self.weight.size) >= spell[:, None]
        more = after * self.weight
        less = self.weight - more
        # weighted sum over spells t after the change: b records, r rows, w waves
        sums = np.einsum("bt,btrw->brw", more, deviation, optimize=True)
        change = sums * (1.0 / more.sum(1) + 1.0 / less.sum(1))[:, None, None]
        rest = deviation - after[..., None, None] * change[:, None]
        square = cross_products(self.deviation(rest), self.weight)
        return table_covariance(square, self.weight.size - 2.0, self.row_mean)

    def contrast_weights(self, deviation: Float) -> ContrastWeights:
        """Weights that give heights of steps in that wear.

        By the covariance on both sides of the spell where a step is most evident when
        it is itself still counted as scatter.
        """
        square = cross_products(deviation, self.weight)
        rough = table_covariance(square, self.weight.size - 1.0, self.row_mean)
        weights = ContrastWeights.of(self.candidates, rough)
        first = self._maximum(deviation, square, weights)
        covariance = self.covariance(deviation, first.spell)
        return ContrastWeights.of(self.candidates, covariance)

    def maximum(self, wear: Float) -> ScanMaximum:
        """The most evident step of b records (b, n, rows, waves), mm per heat."""
        deviation = self.deviation(wear)
        square = cross_products(deviation, self.weight)
        return self._maximum(deviation, square, self.contrast_weights(deviation))

    def _maximum(
        self, deviation: Float, square: Float, weights: ContrastWeights
    ) -> ScanMaximum:
        weight, heights = self.weight, weights.contrasts(deviation)
        # squares over spells t, for every record b and candidate h
        total = np.einsum("t,bth->bh", weight, heights**2)
        count = len(deviation)
        records = np.arange(count)
        best, candidate = np.zeros(count), np.zeros(count, dtype=np.int64)
        spell = np.full(count, ASSUMED.spells_before_step)
        prior = ASSUMED.table_spells
        dof = prior + weight.size - 2.0
        for k, splits in self.splits.items():
            means = np.stack([split.of_spells for split in splits])
            panels = np.tensordot(deviation, means[0], axes=(1, 0))
            share = splits[0].variance
            taken = cross_products(panels[:, None], np.ones(1)) / share
            rest = table_covariance(square - taken, weight.size - 2.0, self.row_mean)
            change, *others = np.swapaxes(means @ heights, 0, 1)
            own = np.maximum(total - change**2 / share, 0.0)
            sd = np.sqrt((prior * weights.variance(rest) + own) / dof * share)
            ratio = np.where(self.valid[k], np.abs(change) / sd, 0.0)
            # short sides bear it out without any one spell
            for split, other in zip(splits[1:], others, strict=True):
                least = ASSUMED.borne_out * sd * np.sqrt(split.variance / share)
                ratio *= np.sign(change) * other >= least
            greatest = np.argmax(ratio, axis=1)
            more = ratio[records, greatest] > best
            best[more] = ratio[records[more], greatest[more]]
            candidate[more], spell[more] = greatest[more], k
        return ScanMaximum(best, candidate, spell)


def permutation_p_value(
    wear: Float, found: ScanMaximum, scan: Scan, *, seed: int, false_alarms: float
) -> float:
    """Chance of a step as evident in records without one, made of the spells of one.

    Parameters
    ----------
    wear : array (1, n, rows, waves), mm per heat
    found : ScanMaximum
        Its most evident step.
    false_alarms : float
        Well past it the chance is found more roughly.
    """
    deviation, spell = scan.deviation(wear), int(found.spell[0])
    change, _ = scan.change(deviation, spell)
    after = np.arange(deviation.shape[1]) >= spell
    root = np.sqrt(scan.weight)
    rest = scan.deviation(deviation - after[:, None, None] * change[:, None])[0]
    rest = rest * root[:, None, None]
    rng, more, drawn = np.random.default_rng(seed), 0, 0
    plenty = _PLENTY * false_alarms * (1 + PERMUTATIONS)
    while drawn < PERMUTATIONS and more <= plenty and (more or drawn < _SURE):
        count = min(_AT_ONCE, PERMUTATIONS - drawn)
        order = rng.permuted(np.tile(np.arange(root.size), (count, 1)), axis=1)
        sign = rng.choice([-1.0, 1.0], order.shape) / root
        permuted = rest[order] * sign[:, :, None, None]
        more += int(np.sum(scan.maximum(permuted).statistic >= found.statistic[0]))
        drawn += count
    return (1.0 + more) / (1.0 + drawn)
