"""Wear of every piece of wall in every spell, with what the surveys know it to."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from geom.compare.panels import PanelState
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
    """

    spells: tuple[Spell, ...]
    pieces: Pieces
    start: Float
    end: Float
    start_variance: Float
    end_variance: Float

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
    rows = [_spell(state_of(one.start), state_of(one.end), pieces) for one in spells]
    shape = (4, 0, len(pieces.pieces))
    start, end, before, after = (
        np.stack(rows, axis=1) if rows else np.zeros(shape, dtype=np.float64)
    )
    return WearSeries(spells, pieces, start, end, before, after)


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
