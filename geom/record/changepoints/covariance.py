"""Covariance of the wear table: how panels scatter from spell to spell, together.

Waves round the wall (`BASIS`) are taken to be independent.  Of each, rows of panels
scatter by their own amounts and correlate as ``rho ** rows apart``; besides, all of the
wall shares three things: a heat that wears everything more, in proportion to what each
row wears; one that burns higher or lower, in proportion to how that changes from row to
row; and a rod set up off the axis, which reads one side short and the other long all
the way up.  All sizes are moments of what is seen, those of single rows shrunk towards
what all waves have there.

References
----------
Ledoit, O. and Wolf, M. (2004). A well-conditioned estimator for large-dimensional
covariance matrices. J. Multivariate Analysis 88, 365-411 (cited from memory): why a
table of few spells is drawn towards a simple shape.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geom.record.assumptions import ASSUMED
from geom.record.changepoints.table import HIGHEST, MULTIPLICITY, ORDER
from geom.units import Float


@dataclass(frozen=True)
class TableCovariance:
    """Covariance of the wear of panels in a spell of weight 1; for b records at once.

    Attributes
    ----------
    rows : array (b, orders, rows, rows), mm2
        Between rows, for each wave of an order; orders as `table.MULTIPLICITY`.
    attenuation : array (b, waves)
        What surveys show of a wave, 0 to 1.  Few stations attenuate fine waves, their
        errors as much as what is true of them: by how much less fine waves scatter than
        the one that goes once round shows how much.
    """

    rows: Float
    attenuation: Float

    def of_mean(self, weights: Float) -> float:
        """Variance of a weighted mean of panels in the first record, mm2.

        Parameters
        ----------
        weights : array (rows, waves)
            In waves.
        """
        table = self.rows[0][ORDER]
        # one quadratic form a wave w over rows i and j, summed
        return float(np.einsum("iw,wij,jw->", weights, table, weights, optimize=True))


def cross_products(deviation: Float, weight: Float) -> Float:
    """Sums of squares and products of rows, the waves of an order added up.

    Parameters
    ----------
    deviation : array (b, n, rows, waves), mm
        Wear less its mean.
    weight : array (n,)

    Returns
    -------
    array (b, orders, rows, rows), mm2
    """
    rough = deviation * np.sqrt(weight)[:, None, None]
    count, spells, rows, _ = rough.shape
    made = np.empty((count, MULTIPLICITY.size, rows, rows))
    # the first wave and the last are alone of their order, those between two and two
    for orders, waves in (
        (slice(1, HIGHEST), rough[..., 1:-1].reshape(count, spells, rows, -1, 2)),
        (slice(0, None, HIGHEST), rough[..., [0, -1], None]),
    ):
        # spells and waves in one axis that is summed over
        flat = waves.transpose(0, 3, 2, 1, 4).reshape(count, waves.shape[3], rows, -1)
        made[:, orders] = flat @ np.swapaxes(flat, 2, 3)
    return made


def table_covariance(square: Float, dof: float, row_mean: Float) -> TableCovariance:
    """Covariance seen in b records.

    Parameters
    ----------
    square : array (b, orders, rows, rows), mm2
        Of wear about its mean; see `cross_products`.
    dof : float
        Spells less the means that were fitted.
    row_mean : array (rows,), mm
        What each row wears in a heat.
    """
    worth = dof * MULTIPLICITY[:, None]
    rest = square / worth[..., None]
    own = _diagonal(rest).copy()
    size = np.maximum(own.mean(axis=2, keepdims=True), ASSUMED.least_panel_sd**2)
    # the shape up the wall that waves of order 2 and more have in common
    many = MULTIPLICITY[2:, None]
    shape = ((own / size)[:, 2:] * many).sum(axis=1, keepdims=True) / many.sum()
    prior = ASSUMED.row_spells
    spread = (worth * own + prior * size * shape) / (worth + prior)
    spread = np.maximum(spread, ASSUMED.least_panel_sd**2)
    _diagonal(rest)[...] += spread - own
    sharing = rest[:, :2]  # finer waves have nothing in common all over the wall
    shared = _shared(sharing, row_mean)
    sharing -= shared
    alone = np.maximum(_diagonal(rest), ASSUMED.least_own_part * spread)
    level = alone.mean(axis=2)
    attenuation = np.sqrt(np.minimum(level / level[:, 1:2], 1.0))
    attenuation[:, 0] = 1.0
    tables = _up_the_wall(rest, alone)
    tables[:, : shared.shape[1]] += shared
    return TableCovariance(tables, attenuation[:, ORDER])


def _diagonal(tables: Float) -> Float:
    """Variances of rows, in place; (b, orders, rows, rows) to (b, orders, rows)."""
    # of each record b and order m, the diagonal of its rows i
    return np.asarray(np.einsum("bmii->bmi", tables))


def _shared(seen: Float, row_mean: Float) -> Float:
    """What rows that are no neighbours have in common."""
    shared = np.zeros_like(seen)
    rows = np.arange(row_mean.size)
    apart = np.abs(rows[:, None] - rows[None, :])
    slope = np.gradient(row_mean) if row_mean.size > 1 else np.zeros(1)
    even = rows**0.0
    for order, mode, least in (
        (0, row_mean, ASSUMED.rows_far),
        (0, slope, 2),
        (1, even, ASSUMED.rows_far),
    ):
        shape = mode[:, None] * mode[None, :]
        far = (apart >= least) * shape
        square = float(np.sum(far * shape))
        if square > 0.0:
            rest = seen[:, order] - shared[:, order]
            size = np.maximum(np.sum(rest * far, axis=(1, 2)) / square, 0.0)
            shared[:, order] += size[:, None, None] * shape
    return shared


def _up_the_wall(rest: Float, alone: Float) -> Float:
    """What neighbouring rows have in common, decaying with distance."""
    rows = alone.shape[2]
    sd = np.sqrt(alone)
    if rows == 1:
        return np.asarray(alone[..., None])
    neighbour = _diagonal(rest[..., 1:, :-1])
    both = sd[..., 1:] * sd[..., :-1]
    rho = np.clip(
        neighbour.sum(axis=2) / both.sum(axis=2), 0.0, ASSUMED.most_correlation
    )
    apart = np.abs(np.arange(rows)[:, None] - np.arange(rows)[None, :])
    fading = (rho[..., None] ** np.arange(rows))[..., apart]
    return np.asarray(sd[..., :, None] * fading * sd[..., None, :])
