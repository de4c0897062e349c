"""Wear of one campaign's spells, against exposure, and how its errors correlate.

Two things correlate the errors of spells.  A survey that ends one spell and starts the
next errs once, for the one and against the other.  And surveys of a worn wall err alike
heat after heat, because the same stations miss the same places: the systematic part.
It cancels in what changes, and stays in any mean, however many heats that is of
(`systematic_variance`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geom.record.assumptions import ASSUMED
from geom.record.regions import ALL_ROUND, Kind, Region, Regions
from geom.record.wear.series import Exposure, Spell, WearSeries, exposures
from geom.units import Bool, Float

#: No survey knows a mean better than to a micrometre: least variance, mm2.
_LEAST = 1e-6


@dataclass(frozen=True)
class SpellErrors:
    """Errors of wear from the surveys; n spells, s pieces.

    Attributes
    ----------
    variance : array (n, s), mm2
        Of the part that does not repeat in other spells.
    covariance : array (n - 1, s), mm2
        Its covariance between each spell and the next.
    systematic : array (n, s), mm
        What one standard deviation of the part that repeats does in each spell.
    valid : bool array (n, s)
    """

    variance: Float
    covariance: Float
    systematic: Float
    valid: Bool

    def whiten(self, extra: Float, *columns: Float) -> tuple[Float, ...]:
        """Columns over the root of the covariance without the systematic part.

        Parameters
        ----------
        extra : array (n, s), mm2
            Variance to add in each spell, independent from spell to spell.
        *columns : array (n, s)

        Returns
        -------
        tuple of array (n, s)
            0 where not valid.
        """
        root, below = self._root(extra)
        out = [np.where(self.valid, column, 0.0) / root for column in columns]
        if below.any():
            for k in range(1, len(root)):
                for column in out:
                    column[k] -= below[k - 1] * column[k - 1] / root[k]
        return tuple(out)

    def unwhiten(self, extra: Float, column: Float) -> Float:
        """The way back from `whiten`; (n, s)."""
        root, below = self._root(extra)
        out = root * column
        out[1:] += below * column[:-1]
        return np.asarray(out)

    def influence(self, extra: Float, pull: Float) -> Float:
        """Of wear on an unknown, from that of whitened wear, ``pull``; (n, s)."""
        root, below = self._root(extra)
        out = pull / root
        if below.any():
            for k in range(len(root) - 2, -1, -1):
                out[k] -= below[k] * out[k + 1] / root[k]
        return np.asarray(np.where(self.valid, out, 0.0))

    def _root(self, extra: Float) -> tuple[Float, Float]:
        """Diagonal and lower diagonal of the covariance's Cholesky factor."""
        square = np.where(self.valid, self.variance + extra, 1.0)
        if not self.covariance.any():
            return np.sqrt(square), self.covariance
        root, below = np.sqrt(square), np.zeros_like(self.covariance)
        for k in range(1, len(root)):
            below[k - 1] = self.covariance[k - 1] / root[k - 1]
            root[k] = np.sqrt(square[k] - below[k - 1] ** 2)
        return root, below


@dataclass(frozen=True)
class SpellWear:
    """Wear in n spells of one campaign; s pieces.

    Attributes
    ----------
    wear : array (n, s), mm
        NaN where not surveyed.
    exposure : array (n,)
        Of each spell: heats, hours or tonnes.
    total : array (n,)
        Running total of the campaign at the middle of each spell.
    follows : bool array (n,)
        Whether a spell starts with the survey that ended the one before it here.
    start_variance, end_variance : array (n, s), mm2
    heats : array (n,)
        Heats in each spell.
    kinds : tuple of str, s
        What sort of pieces they are.
    """

    wear: Float
    exposure: Float
    total: Float
    follows: Bool
    start_variance: Float
    end_variance: Float
    heats: Float
    kinds: tuple[Kind, ...]

    @property
    def valid(self) -> Bool:
        """Which spells cover which pieces; (n, s)."""
        return np.isfinite(self.wear)

    @property
    def exposures(self) -> Float:
        """Exposure, spread over the pieces; (n, s)."""
        return np.broadcast_to(self.exposure[:, None], self.wear.shape)

    def last(self, count: int) -> Bool:
        """The last spells that cover each piece, up to so many; (n, s)."""
        after = np.cumsum(self.valid[::-1], axis=0)[::-1]
        return np.asarray(self.valid & (after <= count))

    def errors(self, share: Float, among: Bool | None = None) -> SpellErrors:
        """Errors of the surveys.

        Parameters
        ----------
        share : array (s,)
            Correlation of the errors of any two surveys of the worn wall.
        among : bool array (n, s), optional
            Spells that count, all that are valid unless given.
        """
        valid = self.valid if among is None else self.valid & among
        start = np.maximum(np.where(valid, self.start_variance, 0.0), _LEAST)
        end = np.maximum(np.where(valid, self.end_variance, 0.0), _LEAST)
        joined = self.follows[:, None] & valid
        joined[1:] &= valid[:-1]
        joined[:1] = False
        variance = (1.0 - share) * end + np.where(joined, 1.0 - share, 1.0) * start
        both = np.minimum(end[:-1], start[1:])
        covariance = np.where(joined[1:], -(1.0 - share) * both, 0.0)
        worn = self.follows[:, None]
        systematic = np.sqrt(share) * (
            np.sqrt(end) - np.where(worn, np.sqrt(start), 0.0)
        )
        return SpellErrors(
            variance, covariance, np.where(valid, systematic, 0.0), valid
        )


def spell_wear(series: WearSeries, exposure: Exposure) -> SpellWear:
    """Wear of the last campaign's spells against an exposure.

    Parameters
    ----------
    exposure : {'heat', 'hour', 'tonne'}
        Spells that do not state it, or state none, are left out.
    """
    spells = series.spells
    campaign = spells[-1].campaign if spells else ""
    amounts = np.nan_to_num(exposures(spells, exposure))
    kept = [
        k
        for k, spell in enumerate(spells)
        if spell.campaign == campaign and amounts[k] > 0.0
    ]
    chosen = [spells[k] for k in kept]
    amount = np.array([amounts[k] for k in kept], dtype=np.float64)
    follows = [
        k > 0 and chosen[k - 1].end == spell.start for k, spell in enumerate(chosen)
    ]
    return SpellWear(
        wear=series.wear[kept],
        exposure=amount,
        total=_total(chosen, amount, exposure),
        follows=np.array(follows, dtype=np.bool_),
        start_variance=series.start_variance[kept],
        end_variance=series.end_variance[kept],
        heats=np.array([spell.heats for spell in chosen], dtype=np.float64),
        kinds=tuple(region.kind for region in series.regions.regions),
    )


def _total(spells: list[Spell], amount: Float, exposure: Exposure) -> Float:
    """Running total at the middle of each spell.

    Heats are counted by the furnace; hours and tonnes are those of the spells counted,
    so that what passed between surveys that make no spell does not count.
    """
    if exposure == "heat":
        middle = [0.5 * (spell.start.heat + spell.end.heat) for spell in spells]
        return np.array(middle, dtype=np.float64)
    return np.asarray(np.cumsum(amount) - 0.5 * amount)


def systematic_variance(region: Region, regions: Regions, end_variance: Float) -> float:
    """Variance of the mean wear of a piece in a heat that no heats average out, mm2.

    Parameters
    ----------
    region : Region
        One of the record's, or neighbouring ones together.
    end_variance : array (n, s), mm2
        Stated variance of every piece in every spell, of the survey of the worn wall
        alone: a wall put back is much the same everywhere, and little of what its
        survey misses repeats.  NaN where not surveyed.
    """
    known = np.isfinite(end_variance)
    total = np.where(known, end_variance, 0.0).sum(axis=0)
    usual = np.where(
        known.any(axis=0), total / np.maximum(known.sum(axis=0), 1), np.nan
    )
    if region in regions.regions:
        own = float(usual[regions.regions.index(region)])
        if np.isfinite(own):
            return ASSUMED.systematic_share * own
    return ASSUMED.systematic_share * _upper_bound(region, regions, usual)


def _upper_bound(region: Region, regions: Regions, usual: Float) -> float:
    """Stated variance of neighbouring pieces together, bounded from that of each.

    To what the ring of their rows errs by comes what sides err by besides, which
    hangs together up the wall as rings do.
    """
    rows = [
        level
        for level in regions.of_kind("level")
        if region.height_from < regions.regions[level].mid_height < region.height_to
    ]
    inside = regions.member[rows].sum(axis=0) > 0.0
    single = _mean_known(usual[rows])
    ring = _ring_variance(regions, usual, inside)
    together = ring if np.isfinite(ring) else single
    if region.kind in ALL_ROUND:
        return together
    panels = np.array(regions.of_kind("panel"))[inside]
    sides = max(_mean_known(usual[panels]) - single, 0.0)
    alike = min(together / single, 1.0) if single > 0.0 else 1.0
    return together + alike * sides


def _ring_variance(regions: Regions, usual: Float, inside: Bool) -> float:
    """Of the piece all round that is just those panels; NaN where none is stated."""
    for kind in ALL_ROUND:
        for i in regions.of_kind(kind):
            if np.array_equal(regions.member[i] > 0.0, inside):
                return float(usual[i])
    return float("nan")


def _mean_known(values: Float) -> float:
    """Of what is known; 0 where nothing is."""
    known = values[np.isfinite(values)]
    return float(known.mean()) if known.size else 0.0
