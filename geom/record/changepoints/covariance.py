"""How wear of the panels scatters from spell to spell, and hangs together.

Waves round the wall are taken to be independent (`waves`).  Of each, rows of panels
scatter by their own amounts and hang together as ``rho ** rows apart``; beside that,
all of the wall shares three things: a heat that wears everything more, in proportion to
what each row wears; one that burns higher or lower, in proportion to how that changes
from row to row; and a rod set up off the axis, which reads one side short and the other
long all the way up.  All sizes are moments of what is seen, those of single rows drawn
towards what all waves have there.

References
----------
Ledoit, O. and Wolf, M. (2004). A well-conditioned estimator for large-dimensional
covariance matrices. J. Multivariate Analysis 88, 365-411 (cited from memory): why a
table of few spells is drawn towards a simple shape.

Waves round the wall: what a ring of sides is put together from.

A ring of `HOURS` sides is its mean, waves that go once, twice ... five times round it,
and one that changes sign from each side to the next.  As far as no side is privileged,
errors and chance in waves that go round a different number of times are independent,
and all that hangs together does so up and down the wall.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geom.compare.panels import HOURS
from geom.units import Float, Int

#: How many times the finest wave goes round.
FINEST = HOURS // 2


def _waves() -> tuple[Float, Int]:
    angle = 2.0 * np.pi * np.arange(HOURS) / HOURS
    parts = [(0, np.ones(HOURS))]
    for order in range(1, FINEST):
        parts += [(order, np.cos(order * angle)), (order, np.sin(order * angle))]
    parts.append((FINEST, np.cos(FINEST * angle)))
    table = np.stack([part / np.linalg.norm(part) for _, part in parts], axis=1)
    return table, np.array([order for order, _ in parts], dtype=np.int64)


#: Waves over sides, one a column, orthonormal; (HOURS, HOURS).  The first is the mean.
BASIS, ORDER = _waves()
#: How many waves go round that many times: 1, 2, 2, 2, 2, 2, 1.
MULTIPLICITY = np.bincount(ORDER).astype(np.float64)


#: How many spells the common shape of the rows' scatter counts for, in each wave.
_WORTH = 5.0
#: Rows this far apart hang together only by what all of the wall shares.
_FAR = 3
#: What chance neighbours have in common, at most; share of a row that is its own, at
#: least.
_CLOSEST, _OWN = 0.9, 0.2
#: Least sd of a panel's wear, mm: what is rounded off a rod.
_LEAST = 0.05


@dataclass(frozen=True)
class TableCovariance:
    """Covariance of the wear of panels in a spell of weight 1; for b records at once.

    Attributes
    ----------
    table : array (b, orders, rows, rows), mm2
        Between rows, for each wave of an order; orders as `waves.MANY`.
    blunt : array (b, waves)
        What surveys show of a wave.  Few stations show narrow waves blunted, their
        errors as much as what is true of them: so by how much less narrow waves
        scatter than the one that goes once round, it is told how blunt they are.
    """

    table: Float
    blunt: Float

    def of_mean(self, share: Float) -> float:
        """Variance of a weighted mean of panels in the first record, mm2.

        Parameters
        ----------
        share : array (rows, waves)
            The weights, in waves.
        """
        table = self.table[0][ORDER]
        return float(np.einsum("iw,wij,jw->", share, table, share, optimize=True))


def squares(off: Float, weight: Float) -> Float:
    """Sums of squares and products of rows, each wave of an order added up.

    Parameters
    ----------
    off : array (b, n, rows, waves), mm
        Wear less its mean.
    weight : array (n,)

    Returns
    -------
    array (b, orders, rows, rows), mm2
    """
    rough = off * np.sqrt(weight)[:, None, None]
    return np.stack(
        [_table(rough[..., m == ORDER]) for m in range(MULTIPLICITY.size)], axis=1
    )


def _table(waves: Float) -> Float:
    """Products of rows; (b, n, rows, k) to (b, rows, rows)."""
    flat = np.moveaxis(waves, 2, 1).reshape(waves.shape[0], waves.shape[2], -1)
    return np.asarray(flat @ np.swapaxes(flat, 1, 2))


def table_covariance(square: Float, freedom: float, usual: Float) -> TableCovariance:
    """What scatter is seen in b records.

    Parameters
    ----------
    square : array (b, orders, rows, rows), mm2
        Of wear about its mean; see `squares`.
    freedom : float
        Spells less the means that they are told from.
    usual : array (rows,), mm
        What each row wears in a heat.
    """
    worth = freedom * MULTIPLICITY[:, None]
    seen = square / worth[..., None]
    own = np.einsum("bmii->bmi", seen)
    size = np.maximum(own.mean(axis=2, keepdims=True), _LEAST**2)
    many = MULTIPLICITY[2:, None]
    shape = ((own / size)[:, 2:] * many).sum(axis=1, keepdims=True) / many.sum()
    spread = (worth * own + _WORTH * size * shape) / (worth + _WORTH)
    spread = np.maximum(spread, _LEAST**2)
    seen = seen + np.eye(usual.size) * (spread - own)[..., None]
    shared = _shared(seen, usual)
    left = seen - shared
    alone = np.maximum(np.einsum("bmii->bmi", left), _OWN * spread)
    alike = alone.mean(axis=2)
    blunt = np.sqrt(np.minimum(alike / alike[:, 1:2], 1.0))
    blunt[:, 0] = 1.0
    return TableCovariance(shared + _up_the_wall(left, alone), blunt[:, ORDER])


def _shared(seen: Float, usual: Float) -> Float:
    """What rows that are no neighbours have in common."""
    shared = np.zeros_like(seen)
    rows = np.arange(usual.size)
    apart = np.abs(rows[:, None] - rows[None, :])
    slope = np.gradient(usual) if usual.size > 1 else np.zeros(1)
    for order, like, least in ((0, usual, _FAR), (0, slope, 2), (1, rows**0.0, _FAR)):
        shape = like[:, None] * like[None, :]
        far = (apart >= least) * shape
        square = float(np.sum(far * shape))
        if square > 0.0:
            left = seen[:, order] - shared[:, order]
            much = np.maximum(np.sum(left * far, axis=(1, 2)) / square, 0.0)
            shared[:, order] += much[:, None, None] * shape
    return shared


def _up_the_wall(left: Float, alone: Float) -> Float:
    """What neighbouring rows have in common, dying away with distance."""
    rows = alone.shape[2]
    sd = np.sqrt(alone)
    if rows == 1:
        return np.asarray(alone[..., None])
    beside = np.einsum("bmii->bmi", left[..., 1:, :-1])
    both = sd[..., 1:] * sd[..., :-1]
    rho = np.clip(beside.sum(axis=2) / both.sum(axis=2), 0.0, _CLOSEST)
    apart = np.abs(np.arange(rows)[:, None] - np.arange(rows)[None, :])
    fading = rho[..., None, None] ** apart
    return np.asarray(sd[..., :, None] * fading * sd[..., None, :])
