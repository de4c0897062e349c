"""Contrast weights: how high a step of each candidate is, and how well that is known.

For wear y of the panels and a step of shape x, as surveys show it, the height is
``f' y / f' x`` with weights ``f = (S + D)^-1 x``.  With the covariance S alone that
were generalised least squares, which fails where a step is not just of the shape; D,
what S has on its diagonal, lets the step differ from it from row to row and wave to
wave.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geom.compare.panels import HOURS
from geom.record.changepoints.candidates import CandidateRegions
from geom.record.changepoints.covariance import TableCovariance
from geom.record.changepoints.fourier import ORDER
from geom.units import Float


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
