"""What a wall lost and got back between two surveys: volumes with joint uncertainty.

Between radii a, surveyed first, and b, with errors independent of each other, the
section areas per radian are

    lost    E[(b^2 - a^2) / 2 ; b > a] = a E[D+] + E[D+^2] / 2 - u^2 P(D > 0)
    restored                             likewise for b < a

with D = b - a and u the standard uncertainty of the first radius: exact on the
cylinder.  The last term is there because the first radius is not known exactly, and an
error of it is an error of D too (Stein's identity; the tests integrate numerically).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from geom.compare.nodes import Nodes
from geom.compare.panels import HOURS, Panels
from geom.compare.volume import net_sd, positive
from geom.quantity import Quantity
from geom.stats.partial_moments import chance_above, expected_excess, expected_shortfall
from geom.surface import Grid
from geom.units import Float, Int


@dataclass(frozen=True)
class VolumeChange:
    """Volumes between two surveys, mm3.

    Attributes
    ----------
    lost, restored : Quantity
        Expected, so that change too small to tell counts a little in both.
    net : Quantity
        Lost less restored.
    """

    lost: Quantity
    restored: Quantity
    net: Quantity


@dataclass(frozen=True)
class SurveyDifference:
    """Two surveys, cell by cell, on one grid of (m, k) cells.

    Attributes
    ----------
    grid : Grid
    panels : Panels
    start : array (m, k), mm
        Radius as surveyed first; NaN where not compared.
    start_sd, end_sd : array (m, k), mm
        Standard uncertainty of each survey's radius.
    change : array (m, k), mm
        Radius as surveyed last less that as surveyed first: positive where lost.
    covariance : array (p, p), mm2
        Of the panels' mean change.
    """

    grid: Grid
    panels: Panels
    start: Float
    start_sd: Float
    end_sd: Float
    change: Float
    covariance: Float

    @cached_property
    def sd(self) -> Float:
        """Standard uncertainty of change, mm; shape (m, k)."""
        return np.hypot(self.start_sd, self.end_sd)

    @cached_property
    def owner(self) -> Int:
        """Panel of every cell, -1 where not compared; shape (m, k)."""
        panel = self.panels.owner(self.grid.height, self.grid.azimuth)
        return np.where(np.isfinite(self.change), panel, -1)

    @cached_property
    def patch(self) -> Float:
        """Compared wall of each cell, radian mm; shape (m, k)."""
        whole = self.grid.wall * self.grid.row_height[:, None] * self.grid.sector
        return np.where(np.isfinite(self.change), whole, 0.0)

    @cached_property
    def face(self) -> Float:
        """Compared design face of each cell, mm2; shape (m, k)."""
        return self.patch * self.grid.design_radius[:, None]

    @cached_property
    def sections(self) -> tuple[Float, Float]:
        """Expected section areas lost and restored, mm2 per radian; both (m, k)."""
        known = self.change, self.sd, self.start
        doubt = self.start_sd**2
        above = chance_above(self.change, self.sd, 0.0)
        lost = expected_excess(*known) - doubt * above
        restored = expected_shortfall(*known) + doubt * (1.0 - above)
        return np.maximum(lost, 0.0), np.maximum(restored, 0.0)


def volume_change(difference: SurveyDifference, patch: Float) -> VolumeChange:
    """Lost, restored and net over a part of the wall.

    Parameters
    ----------
    difference : Difference
    patch : array (m, k), radian mm
        Which wall counts, at most ``difference.patch``.

    Returns
    -------
    Exchange
        Standard uncertainties from the panels' joint errors: within a panel errors are
        taken to be those of its mean.
    """
    lost, restored = (_summed(patch, part) for part in difference.sections)
    nodes = _nodes(difference, patch)
    held = nodes.gather(patch)
    return VolumeChange(
        lost=positive(lost, nodes.sd_of_excess(held)),
        restored=positive(restored, nodes.sd_of_excess(held, inward=True)),
        net=Quantity.normal(lost - restored, net_sd(nodes, held)),
    )


def mean_change(difference: SurveyDifference, patch: Float) -> Quantity:
    """Mean change over a part of the wall's design face, mm; as `volume_change`."""
    weight = patch * difference.grid.design_radius[:, None]
    weight = weight / weight.sum()
    nodes = _nodes(difference, patch)
    value = _summed(weight, difference.change)
    return Quantity.normal(value, nodes.sd_of_sum(nodes.gather(weight)))


def _nodes(difference: SurveyDifference, patch: Float) -> Nodes:
    """The panels as nodes, each with the mean of its counted wall."""
    panels, count = difference.panels, difference.panels.count
    counted = patch > 0.0
    owner = difference.owner[counted]
    held = np.bincount(owner, patch[counted], count)
    share = np.divide(1.0, held, out=np.zeros(count), where=held > 0.0)
    start, change = (
        share * np.bincount(owner, (patch * field)[counted], count).astype(np.float64)
        for field in (difference.start, difference.change)
    )
    return Nodes(
        height=panels.height[::HOURS],
        azimuth=panels.azimuth[:HOURS],
        design_radius=start,
        mean=change,
        covariance=difference.covariance,
        owner=difference.owner,
    )


def _summed(patch: Float, field: Float) -> float:
    counted = patch > 0.0
    return float(np.sum(patch[counted] * field[counted]))
