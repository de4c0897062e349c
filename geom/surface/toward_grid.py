"""Covariance of places with the nodes of a grid, row by row.

What goes by azimuth is the same in every row and is worked out once.  In a row every
part is a product of a column by height and a row by azimuth, so that all parts together
are one small matrix product for each place.
"""

from __future__ import annotations

import numpy as np

from geom.surface.covariance import Covariance, Filled, tall_of
from geom.surface.separation import Places, levels, patterns_at
from geom.units import Float


class TowardGrid:
    """The ties of some places to the rows of a grid.

    Parameters
    ----------
    covariance : Covariance
    left : Places, length n
    azimuth : array (k,), degrees
        Of the grid's columns.
    """

    def __init__(self, covariance: Covariance, left: Places, azimuth: Float) -> None:
        self._covariance, self._left, self._azimuth = covariance, left, azimuth
        self._height, self._at = np.unique(left.height, return_inverse=True)
        turned, back = np.unique(left.azimuth, return_inverse=True)
        parts = covariance.parts
        self._same = [f for f in parts if f.part.level_all_round]
        self._plain = [f for f in parts if f not in self._same and not f.part.woven]
        self._woven = [f for f in parts if f.part.woven]
        rings = [covariance.ring(f, turned, azimuth)[0] for f in self._plain]
        table = np.stack([np.ones((turned.size, azimuth.size)), *rings], axis=1)
        self._rings = table[back]
        self._woven_rings = [
            covariance.ring(f, turned, azimuth)[0][back] for f in self._woven
        ]

    def pulled(self, weight: Float, height: Float) -> Float:
        """Weighted sum over the places of their covariance with rows, mm2.

        Parameters
        ----------
        weight : array (n,)
        height : array (m,), mm

        Returns
        -------
        array (m, k)
        """
        beat = self._beat(height)
        table = self._talls(height, beat) * weight[:, None, None]
        flat = np.moveaxis(table, 1, 0).reshape(height.size, -1)
        total = flat @ self._rings.reshape(flat.shape[1], -1)
        for filled, ring in zip(self._woven, self._woven_rings, strict=True):
            tall = self._tall(filled, height, beat)[self._at]
            for pattern in filled.part.patterns:
                pull = weight * pattern.at(self._left.azimuth, self._left.height)
                field = pattern.on_grid(height, self._azimuth)
                total += (tall * pull[:, None]).T @ ring * field
        return np.asarray(total)

    def rows(self, height: Float) -> Float:
        """Covariance with every node of rows, mm2.

        Parameters
        ----------
        height : array (m,), mm

        Returns
        -------
        array (n, m, k)
        """
        beat = self._beat(height)
        total = np.asarray(np.matmul(self._talls(height, beat), self._rings))
        for filled, ring in zip(self._woven, self._woven_rings, strict=True):
            patterns = filled.part.patterns
            field = np.stack([p.on_grid(height, self._azimuth) for p in patterns])
            block = np.tensordot(patterns_at(filled.part, self._left), field, (0, 0))
            block *= self._tall(filled, height, beat)[self._at][:, :, None]
            total += block * ring[:, None, :]
        return total

    def _talls(self, height: Float, beat: Float) -> Float:
        """Parts by height: those alike all round together, then each; (n, m, parts)."""
        alike = np.zeros_like(beat)
        for filled in self._same:
            alike += self._tall(filled, height, beat)
        each = [self._tall(filled, height, beat) for filled in self._plain]
        return np.stack([alike, *each], axis=2)[self._at]

    def _tall(self, filled: Filled, height: Float, beat: Float) -> Float:
        scale = levels(filled.part, self._height, height)
        if filled.part.lively:
            scale = scale * beat
        return tall_of(filled, self._height, height, scale)[0]

    def _beat(self, height: Float) -> Float:
        return self._covariance.beat(self._height, height)
