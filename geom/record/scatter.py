"""How wear scatters from heat to heat, beyond what the errors of surveys explain.

References
----------
Paule and Mandel (1982), Consensus values and weighting factors, J. Res. Natl. Bur.
Stand. 87, 377-385: scatter beyond stated errors, from the sum of squares that is due.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geom.record.moderated import least_by_chance, moderated
from geom.record.pieces import ALL_ROUND
from geom.record.robust import robust_fit
from geom.record.spell_wear import SpellErrors, SpellWear
from geom.units import Float, Int

#: Correlation of the errors of any two surveys of a worn wall, where a piece wears as
#: its kind does on average.  From whole campaigns on invented walls (scripts/bench),
#: read at 48 or 120 stations after each of ten heats: of the variance that surveys of
#: the worn wall state, 0.18 to 0.23 came back every heat in sides and 0.13 to 0.24 in
#: panels.  Our own choice, no source.
SHARE = 0.2
_OF_PANELS = 0.15
#: In what goes all round it was 0.03 to 0.04 with 120 stations and 0.13 to 0.25 with
#: 48, which miss more of what lasts.  So it grows with the stated variance over the
#: square of the wear, is `SHARE` where that is `_POOR`, and never less than this.
_POOR, _ALL_ROUND = 0.06, 0.05
#: It goes with the rate, because what is missed every heat is part of what wears every
#: heat; from here to there, as a part of what it is on average.
_SLOW, _FAST = 0.3, 4.0
_HALVINGS, _ROUNDS, _TINY = 40, 3, 1e-300


@dataclass(frozen=True)
class Scatter:
    """What is known of scatter; s pieces.

    Attributes
    ----------
    beyond : array (s,), mm2 per exposure
        Variance of wear beyond the errors of surveys, as found for the piece's kind.
    share : array (s,)
        Correlation of the errors of any two surveys of the worn wall.
    multiple : array (s,)
        How many times that variance the piece's own is, moderated; NaN where nothing is
        known.
    reach : array (s,)
        Half-width of a 95 % interval from scatter over its standard deviation.
    """

    beyond: Float
    share: Float
    multiple: Float
    reach: Float


def find_scatter(seen: SpellWear, kind: Int) -> Scatter:
    """Scatter of wear about one rate, robustly.

    Parameters
    ----------
    seen : SpellWear
    kind : int array (s,)
        Which pieces are of a kind, numbered from 0.
    """
    share = np.full(kind.size, SHARE)
    pulled, loss = seen.wear, np.ones(kind.size)
    for _ in range(_ROUNDS):
        errors = seen.errors(share)
        beyond = _beyond(seen, pulled, errors, kind)
        pulled, loss = _pulled(seen, errors, beyond)
        x, y = errors.whitened(beyond * seen.column, seen.column, pulled)
        multiple, reach = moderated(
            _left(x, y) * np.sqrt(loss), _freedom(seen), kind, _slope(x, y)
        )
        used, share = share, _share(_slope(x, y), seen, kind)
    return Scatter(beyond, used, multiple, reach)


def _share(rate: Float, seen: SpellWear, kind: Int) -> Float:
    """How errors of surveys of the worn wall go together, with the rate; (s,)."""
    kinds = int(kind.max(initial=-1)) + 1
    told = seen.told.any(axis=0)
    fast = np.where(told, np.abs(rate), 0.0)
    count = np.maximum(np.bincount(kind, told, kinds), 1.0)
    usual = np.maximum(np.bincount(kind, fast, kinds) / count, _TINY)
    like = np.clip(fast / usual[kind], _SLOW, _FAST)
    return np.asarray(_on_average(fast, seen, kind) * like)


def _on_average(fast: Float, seen: SpellWear, kind: Int) -> Float:
    """The same where a piece wears as its kind does on average; (s,)."""
    kinds = int(kind.max(initial=-1)) + 1
    times = np.maximum(seen.told.sum(axis=0), 1)
    stated = np.where(seen.told, seen.end_variance, 0.0).sum(axis=0) / times
    wear = fast * (seen.exposure.mean() if seen.exposure.size else 0.0)
    square = np.maximum(np.bincount(kind, wear**2, kinds), _TINY)
    poor = np.bincount(kind, np.where(fast > 0.0, stated, 0.0), kinds) / square
    all_round = np.clip(SHARE * poor[kind] / _POOR, _ALL_ROUND, SHARE)
    sided = np.where(np.array(seen.kinds) == "panel", _OF_PANELS, SHARE)
    return np.where(np.isin(seen.kinds, ALL_ROUND), all_round, sided)


def _beyond(seen: SpellWear, wear: Float, errors: SpellErrors, kind: Int) -> Float:
    """Scatter beyond stated errors, one for each kind (Paule and Mandel); (s,).

    The most that it is but for chance: weights that allow for too much scatter cost a
    little, those that allow for too little make intervals too narrow.
    """
    freedom = _freedom(seen)
    kinds = int(kind.max(initial=-1)) + 1
    x, y = errors.whitened(np.zeros_like(wear), seen.column, wear)
    due = np.bincount(
        kind, freedom * least_by_chance(_left(x, y), freedom, kind), kinds
    )

    def excess(beyond: Float) -> Float:
        x, y = errors.whitened(beyond[kind] * seen.column, seen.column, wear)
        square = np.sum(_left(x, y) ** 2, axis=0)
        square = np.where(freedom > 0.0, square, 0.0)
        return np.asarray(np.bincount(kind, square, kinds) - due)

    low = np.zeros(kinds)
    high = np.full(kinds, 1e-9)
    while (short := excess(high) > 0.0).any():
        high = np.where(short, 4.0 * high, high)
    high[excess(low) <= 0.0] = 0.0
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        more = excess(middle) > 0.0
        low, high = np.where(more, middle, low), np.where(more, high, middle)
    return np.asarray(high[kind])


def _pulled(seen: SpellWear, errors: SpellErrors, beyond: Float) -> tuple[Float, Float]:
    """Wear with spells out of line pulled in, and what that loses; (n, s) and (s,)."""
    extra = beyond * seen.column
    x, y = errors.whitened(extra, seen.column, seen.wear)
    fit = robust_fit(x[None], y, seen.told)
    return errors.coloured(extra, fit.pulled), fit.loss


def _slope(x: Float, y: Float) -> Float:
    """Least squares of one unknown; (s,)."""
    return np.asarray(np.sum(x * y, axis=0) / np.maximum(np.sum(x * x, axis=0), _TINY))


def _left(x: Float, y: Float) -> Float:
    """What it leaves over; (n, s)."""
    return np.asarray(y - x * _slope(x, y))


def _freedom(seen: SpellWear) -> Float:
    return np.asarray(np.maximum(seen.told.sum(axis=0) - 1.0, 0.0))
