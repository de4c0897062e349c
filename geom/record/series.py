"""Wear of every piece of wall in every spell, with what the surveys know it to."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from geom.compare.panels import HOURS, PanelState
from geom.record.occasion import Occasion
from geom.record.pieces import Pieces
from geom.record.spells import Spell
from geom.units import Float

#: Share of a piece's wall that both surveys must tell.
_ENOUGH = 0.8


@dataclass(frozen=True)
class WearSeries:
    """Wear spell by spell; n spells, s pieces.

    Attributes
    ----------
    spells : tuple of Spell
    pieces : Pieces
    wear : array (n, s), mm
        Mean cut-back at the end less that at the start; NaN where either was not
        surveyed.
    start, end : array (n, s), mm
        Mean cut-back at the start and at the end.
    start_variance, end_variance : array (n, s), mm2
        Of each survey's own error.
    sides : array (n, z, HOURS, HOURS), mm2
        How the survey at the end errs in the mean cut-back of the twelve sides of the
        wall and of each zone, over the rows of panels that both surveys tell all round;
        NaN where there is none.
    """

    spells: tuple[Spell, ...]
    pieces: Pieces
    start: Float
    end: Float
    start_variance: Float
    end_variance: Float
    sides: Float

    @property
    def wear(self) -> Float:
        """Mean cut-back at the end less that at the start, mm; shape (n, s)."""
        return self.end - self.start

    @property
    def variance(self) -> Float:
        """Of wear, from the errors of both surveys, mm2; shape (n, s)."""
        return self.start_variance + self.end_variance


def wear_series(
    spells: tuple[Spell, ...],
    pieces: Pieces,
    state_of: Callable[[Occasion], PanelState],
) -> WearSeries:
    """Wear of every piece in every spell.

    Parameters
    ----------
    spells : tuple of Spell
    pieces : Pieces
    state_of : callable
        The survey of an occasion, panel by panel; called twice a spell.
    """
    large = pieces.member[[*pieces.of_kind("wall"), *pieces.of_kind("zone")]]
    rows, sides = [], []
    for spell in spells:
        one, other = state_of(spell.start), state_of(spell.end)
        rows.append(_spell(one, other, pieces))
        sides.append(_sides(one, other, large))
    shape = (4, 0, len(pieces.pieces))
    start, end, before, after = (
        np.stack(rows, axis=1) if rows else np.zeros(shape, dtype=np.float64)
    )
    ring = (len(large), HOURS, HOURS)
    return WearSeries(
        spells, pieces, start, end, before, after, np.reshape(sides, (-1, *ring))
    )


def _spell(one: PanelState, other: PanelState, pieces: Pieces) -> Float:
    """Means and variances of both surveys over the panels that both tell; (4, s)."""
    both = np.isfinite(one.cutback) & np.isfinite(other.cutback)
    area = np.maximum(one.area, other.area)
    whole = pieces.member @ area
    weight = pieces.member * np.where(both, area, 0.0)
    held = weight.sum(axis=1)
    told = held > _ENOUGH * np.maximum(whole, 1e-9)
    weight = weight / np.maximum(held, 1e-9)[:, None]
    means = [weight @ np.nan_to_num(s.cutback) for s in (one, other)]
    spread = [
        np.einsum("sp,pq,sq->s", weight, s.covariance, weight, optimize=True)
        for s in (one, other)
    ]
    return np.where(told, np.stack([*means, *spread]), np.nan)


def _sides(one: PanelState, other: PanelState, large: Float) -> Float:
    """How the later survey errs round some pieces (z, p); (z, HOURS, HOURS)."""
    both = np.isfinite(one.cutback) & np.isfinite(other.cutback)
    round_it = both.reshape(-1, HOURS).all(axis=1)
    whole = np.all(large.reshape(len(large), -1, HOURS) > 0.0, axis=2)
    inside = np.asarray(whole & round_it)
    share = inside / np.maximum(inside.sum(axis=1, keepdims=True), 1)
    rows = round_it.size
    beside = share @ other.covariance.reshape(rows, -1)
    beside = beside.reshape(len(large), HOURS, rows, HOURS)
    found = np.einsum("zasb,zs->zab", beside, share)
    found[~inside.any(axis=1)] = np.nan
    return np.asarray(found)
