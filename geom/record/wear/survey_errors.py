"""Wear of one campaign's spells, against exposure, and how its errors hang together.

Two things tie the errors of spells together.  A survey that ends one spell and starts
the next errs once, for the one and against the other.  And surveys of a worn wall err
alike heat after heat, because the same stations miss the same places.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geom.record.regions import Kind
from geom.record.wear.series import WearSeries
from geom.record.wear.spells import Exposure, Spell, exposures
from geom.units import Bool, Float

#: No survey knows a mean better than to a micrometre: least variance, mm2.
_LEAST = 1e-6


@dataclass(frozen=True)
class SpellErrors:
    """Errors of wear from the surveys; n spells, s pieces.

    Attributes
    ----------
    own : array (n, s), mm2
        Variance of what does not come back in other spells.
    beside : array (n - 1, s), mm2
        Its covariance between each spell and the next.
    common : array (n, s), mm
        What one standard deviation of the error that comes back does in each spell.
    told : bool array (n, s)
    """

    own: Float
    beside: Float
    common: Float
    told: Bool

    def whitened(self, extra: Float, *columns: Float) -> tuple[Float, ...]:
        """Columns over the root of the covariance without the common part.

        Parameters
        ----------
        extra : array (n, s), mm2
            Variance to add in each spell, independent from spell to spell.
        *columns : array (n, s)

        Returns
        -------
        tuple of array (n, s)
            0 where not told.
        """
        root, below = self._root(extra)
        out = [np.where(self.told, one, 0.0) / root for one in columns]
        if below.any():
            for k in range(1, len(root)):
                for one in out:
                    one[k] -= below[k - 1] * one[k - 1] / root[k]
        return tuple(out)

    def coloured(self, extra: Float, column: Float) -> Float:
        """The way back from `whitened`; (n, s)."""
        root, below = self._root(extra)
        out = root * column
        out[1:] += below * column[:-1]
        return np.asarray(out)

    def pull_as_told(self, extra: Float, pull: Float) -> Float:
        """How wear as told pulls on an unknown, from how it does whitened; (n, s)."""
        root, below = self._root(extra)
        out = pull / root
        if below.any():
            for k in range(len(root) - 2, -1, -1):
                out[k] -= below[k] * out[k + 1] / root[k]
        return np.asarray(np.where(self.told, out, 0.0))

    def _root(self, extra: Float) -> tuple[Float, Float]:
        """Diagonal and lower diagonal of the covariance's Cholesky factor."""
        square = np.where(self.told, self.own + extra, 1.0)
        if not self.beside.any():
            return np.sqrt(square), self.beside
        root, below = np.sqrt(square), np.zeros_like(self.beside)
        for k in range(1, len(root)):
            below[k - 1] = self.beside[k - 1] / root[k - 1]
            root[k] = np.sqrt(square[k] - below[k - 1] ** 2)
        return root, below


@dataclass(frozen=True)
class SpellWear:
    """Wear in n spells of one campaign; s pieces.

    Attributes
    ----------
    wear : array (n, s), mm
        NaN where not told.
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
    def told(self) -> Bool:
        """Which spells tell of which pieces; (n, s)."""
        return np.isfinite(self.wear)

    @property
    def column(self) -> Float:
        """Exposure, spread over the pieces; (n, s)."""
        return np.broadcast_to(self.exposure[:, None], self.wear.shape)

    def last(self, count: int) -> Bool:
        """The last spells that tell of each piece, up to so many; (n, s)."""
        after = np.cumsum(self.told[::-1], axis=0)[::-1]
        return np.asarray(self.told & (after <= count))

    def errors(self, share: Float, among: Bool | None = None) -> SpellErrors:
        """Errors of the surveys.

        Parameters
        ----------
        share : array (s,)
            Correlation of the errors of any two surveys of the worn wall.
        among : bool array (n, s), optional
            Spells that count, all that are told unless given.
        """
        told = self.told if among is None else self.told & among
        start = np.maximum(np.where(told, self.start_variance, 0.0), _LEAST)
        end = np.maximum(np.where(told, self.end_variance, 0.0), _LEAST)
        joined = self.follows[:, None] & told
        joined[1:] &= told[:-1]
        joined[:1] = False
        own = (1.0 - share) * end + np.where(joined, 1.0 - share, 1.0) * start
        both = np.minimum(end[:-1], start[1:])
        beside = np.where(joined[1:], -(1.0 - share) * both, 0.0)
        worn = self.follows[:, None]
        common = np.sqrt(share) * (np.sqrt(end) - np.where(worn, np.sqrt(start), 0.0))
        return SpellErrors(own, beside, np.where(told, common, 0.0), told)


def spell_wear(
    series: WearSeries, exposure: Exposure, *, campaign: str | None = None
) -> SpellWear:
    """Wear of one campaign's spells against an exposure.

    Parameters
    ----------
    series : WearSeries
    exposure : {'heat', 'hour', 'tonne'}
        Spells that do not tell it, or tell none, are left out.
    campaign : str, optional
        The last spell's unless given.
    """
    spells = series.spells
    name = spells[-1].campaign if spells and campaign is None else campaign
    amounts = np.nan_to_num(exposures(spells, exposure))
    kept = [
        k for k, one in enumerate(spells) if one.campaign == name and amounts[k] > 0.0
    ]
    chosen = [spells[k] for k in kept]
    amount = np.array([amounts[k] for k in kept], dtype=np.float64)
    follows = [k > 0 and chosen[k - 1].end == one.start for k, one in enumerate(chosen)]
    return SpellWear(
        wear=series.wear[kept],
        exposure=amount,
        total=_total(chosen, amount, exposure),
        follows=np.array(follows, dtype=np.bool_),
        start_variance=series.start_variance[kept],
        end_variance=series.end_variance[kept],
        heats=np.array([one.heats for one in chosen], dtype=np.float64),
        kinds=tuple(region.kind for region in series.regions.regions),
    )


def _total(spells: list[Spell], amount: Float, exposure: Exposure) -> Float:
    """Running total at the middle of each spell.

    Heats are counted by the furnace; hours and tonnes are those of the spells told, so
    that what passed between surveys that make no spell does not count.
    """
    if exposure == "heat":
        middle = [0.5 * (one.start.heat + one.end.heat) for one in spells]
        return np.array(middle, dtype=np.float64)
    return np.asarray(np.cumsum(amount) - 0.5 * amount)
