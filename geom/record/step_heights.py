"""How high a step of each shape is, spell by spell, and how well that is known.

For wear y of the panels and a step of shape x, as surveys show it, the height is
``f' y / f' x`` with weights ``f = (S + D)^-1 x``.  With the scatter S alone that were
generalised least squares, which fails where a step is not just of the shape; D, what S
has on its diagonal, lets the step differ from it from row to row and wave to wave.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geom.compare.panels import HOURS
from geom.record.ring_scatter import RingScatter
from geom.record.trial_pieces import TrialPieces
from geom.record.waves import ORDER
from geom.units import Float


@dataclass(frozen=True)
class StepHeights:
    """Weights that tell heights of steps; b records, h shapes.

    Attributes
    ----------
    level : array (b, rows, a)
        Of rings, for the shapes all round.
    up : array (b, orders, rows, t)
        Up the wall, for the shapes to one side.
    spans : array (b, u, waves)
        Round it, as surveys show them.
    reach : array (b, h)
        ``f' x``.
    """

    level: Float
    up: Float
    spans: Float
    reach: Float

    @classmethod
    def of(cls, trial: TrialPieces, scatter: RingScatter) -> StepHeights:
        """Weights for some scatter."""
        own = np.einsum("bmii->bmi", scatter.table)
        inverse = np.linalg.inv(scatter.table + np.eye(own.shape[2]) * own[..., None])
        # all round only the mean of a ring counts, which is one wave
        level = np.sqrt(HOURS) * inverse[:, 0] @ trial.round.T
        round_ = np.sqrt(HOURS) * np.einsum("ar,bra->ba", trial.round, level)
        up = inverse @ trial.tall.T
        spans = trial.spans * scatter.blunt[:, None, :]
        tall = np.einsum("tr,bmrt->btm", trial.tall, up)[..., ORDER]
        sided = tall @ np.swapaxes(spans**2, 1, 2)
        reach = np.concatenate([round_, sided.reshape(len(own), -1)], axis=1)
        return cls(level, up, spans, reach)

    def of_spells(self, off: Float) -> Float:
        """Heights; (b, n, rows, waves) to (b, n, h), mm."""
        count, n = off.shape[:2]
        level = off[..., 0] @ self.level
        felt = np.einsum("bnrw,bwrt->bntw", off, self.up[:, ORDER], optimize=True)
        sided = felt.reshape(count, -1, ORDER.size) @ np.swapaxes(self.spans, 1, 2)
        both = np.concatenate([level, sided.reshape(count, n, -1)], axis=2)
        return np.asarray(both / self.reach[:, None])

    def variance(self, scatter: RingScatter) -> Float:
        """Of heights in a spell of weight 1, ``f' S f / (f' x)^2``; (b, h), mm2."""
        table, count = scatter.table, len(self.reach)
        round_ = np.sum(self.level * (table[:, 0] @ self.level), axis=1)
        tall = np.swapaxes(np.sum(self.up * (table @ self.up), axis=2), 1, 2)
        sided = tall[..., ORDER] @ np.swapaxes(self.spans**2, 1, 2)
        both = np.concatenate([round_, sided.reshape(count, -1)], axis=1)
        return np.asarray(both / self.reach**2)
