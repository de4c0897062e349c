"""The wall about an opening's mouth: its lip, its sill and the wall above.

Everything told of it is a drawn number and a weighted sum of cut-back over cells of the
surface's own grid.  One more cell all round goes into the net that the joint posterior
is asked for, so that a node of a scanned wall stands for its own cell and no other.
"""

from __future__ import annotations

import numpy as np

from geom.design import Design, Opening
from geom.frame import turn
from geom.quantity import Quantity
from geom.surface import Grid, RadialSurface
from geom.units import Bool, Float, Int

#: Wall above the opening whose slope is told, and the least that tells one, mm.
REACH, LEAST_REACH = 150.0, 50.0
#: Wall next to the opening's edges whose cut-back is that of lip and sill, mm.
LIP = 20.0

_DRAWS = 4000


class Mouth:
    """Lip, sill and wall above of one opening.

    Parameters
    ----------
    opening : Opening
    surface : RadialSurface
    design : Design

    Attributes
    ----------
    drawn_overhang : float, mm
        Design radius at the lower edge less that at the upper.
    reach : float, mm
        Of surveyed wall above the upper edge, up to a step of the profile and at most
        `REACH`.
    surveyed : bool
        Whether both lip and sill were.
    """

    def __init__(
        self, opening: Opening, surface: RadialSurface, design: Design
    ) -> None:
        grid, profile = surface.grid, design.profile
        low = opening.height - 0.5 * opening.tall
        high = opening.height + 0.5 * opening.tall
        self._grid, self._belief = grid, surface.belief
        self.drawn_overhang = float(
            profile.radius_at(max(low, profile.bottom), side="below")
            - profile.radius_at(min(high, profile.top))
        )
        _, highest = grid.surveyed_heights
        ends = [high + REACH, highest, *profile.steps[profile.steps > high]]
        self.reach = max(float(min(ends)) - high, 0.0)
        lip, sill = _next_to(grid.height - high), _next_to(low - grid.height)
        above = (grid.height > high) & (grid.height < high + self.reach)
        patch = grid.wall * (grid.row_height * grid.surveyed)[:, None]
        lip_mean, sill_mean = _mean_of(patch, lip), _mean_of(patch, sill)
        whole = lip_mean.any(axis=0) & sill_mean.any(axis=0)
        across = _across(grid, opening, design.radius_at_opening(opening)) * whole
        self.surveyed = bool(across.any())
        self._part = across / across.sum() if self.surveyed else across
        self._contrast = sill_mean - lip_mean
        self._above = np.where(above[:, None], patch * across, 0.0)
        self._rows = _and_neighbours((lip | sill | above) & grid.surveyed)
        self._columns = _and_neighbours(across > 0.0, ring=True)

    def known(self) -> tuple[Float, Float]:
        """Mean (q,) and covariance (q, q) of cut-back at the nodes; mm, mm2."""
        height, azimuth = self._grid.height, self._grid.azimuth
        return self._belief.jointly(height[self._rows], azimuth[self._columns])

    @property
    def overhang(self) -> Float:
        """Weight of each node's cut-back in the mean overhang; (q,)."""
        return self._at_nodes(self._contrast * self._part)

    def share_in_front(self, mean: Float, covariance: Float) -> Quantity:
        """Share of the width over which the overhang is positive.

        Parameters
        ----------
        mean, covariance : array
            As `known` tells them.

        Returns
        -------
        Quantity, 0 to 1
            By 4,000 seeded draws of all columns together; the interval holds the mean
            even where nearly all draws are alike.
        """
        some = np.flatnonzero(self._part)
        alone = some[:, None] == self._columns
        contrast = self._contrast[np.ix_(self._rows, self._columns)]
        weight = (alone[:, None, :] * contrast).reshape(some.size, -1)
        strength, axes = np.linalg.eigh(weight @ covariance @ weight.T)
        root = axes * np.sqrt(np.maximum(strength, 0.0))
        chance = np.random.default_rng(0).standard_normal((some.size, _DRAWS))
        overhang = (self.drawn_overhang + weight @ mean)[:, None] + root @ chance
        share = self._part[some] @ (overhang > 0.0)
        told = Quantity.of_samples(np.asarray(share))
        low, high = min(told.low95, told.value), max(told.high95, told.value)
        return Quantity(told.value, told.sd, low, high)

    @property
    def slope(self) -> Float:
        """Weight of each node's cut-back in the slope of the wall above; (q,)."""
        return self._at_nodes(self._tilt)

    @property
    def drawn_slope(self) -> float:
        """Of the design radius over the same cells."""
        return float(np.sum(self._tilt * self._grid.design_radius[:, None]))

    @property
    def _tilt(self) -> Float:
        """Least squares slope as a weighted sum over cells; (m, k), 1/mm."""
        height = self._grid.height[:, None]
        away = height - np.sum(self._above * height) / self._above.sum()
        return np.asarray(self._above * away / np.sum(self._above * away**2))

    def _at_nodes(self, weight: Float) -> Float:
        return weight[np.ix_(self._rows, self._columns)].ravel()


def _next_to(away: Float) -> Bool:
    """Rows next to an edge: within `LIP` of it, or the nearest; (m,).

    ``away`` is how far each lies beyond the edge, mm.
    """
    beyond = np.where(away > 0.0, away, np.inf)
    near = (away > 0.0) & (beyond <= max(LIP, float(beyond.min())))
    return np.asarray(near, dtype=np.bool_)


def _mean_of(patch: Float, rows: Bool) -> Float:
    """Weights of a mean over some rows, column by column; 0 where there is no wall."""
    held = np.where(rows[:, None], patch, 0.0)
    total = held.sum(axis=0)
    return np.asarray(held / np.where(total > 0.0, total, 1.0))


def _across(grid: Grid, opening: Opening, radius: float) -> Float:
    """Share of each column within an opening's width; (k,)."""
    half, wide = np.rad2deg(0.5 * grid.sector), opening.half_angle(radius)
    away = turn(opening.azimuth, grid.azimuth)
    held = np.minimum(away + half, wide) - np.maximum(away - half, -wide)
    return np.asarray(np.maximum(held, 0.0) / (2.0 * half))


def _and_neighbours(some: Bool, *, ring: bool = False) -> Int:
    """Places of those marked and of their neighbours, in order."""
    before, after = np.roll(some, -1), np.roll(some, 1)
    if not ring:
        before[-1] = after[0] = False
    return np.flatnonzero(some | before | after)
