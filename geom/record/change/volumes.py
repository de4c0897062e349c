"""What a wall lost and got back between two surveys: volumes with joint uncertainty.

Between radii a, surveyed first, and b, with errors independent of each other, the
section areas per radian are

    lost    E[(b^2 - a^2) / 2 ; b > a] = a E[D+] + E[D+^2] / 2 - u^2 P(D > 0)
    restored                             likewise for b < a

with D = b - a and u the standard uncertainty of the first radius: exact on the
cylinder.  The last term is there because the first radius is not known exactly, and an
error of it is an error of D too (Stein's identity; the tests integrate numerically).
Their difference, the balance, is that of the two walls and as well known as they are.

Each by itself is not: cell by cell, doubt alone is a little lost and a little put back
and would add up to litres over a wall where nothing was put back.  So both come from
joint draws of the change by the rules of `geom.compare.draws`: wall may be exactly as
it was, and a patch has one sign unless the readings say otherwise.  What goes against
the balance is thought seldom, so that an interval of it holds nothing wherever the
surveys do.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from geom.compare.draws import RULES, draw_walls
from geom.compare.nodes import Nodes
from geom.compare.panels import ACROSS, HOURS, PARTS, UP, Panels, part_owner
from geom.compare.volume import net_sd
from geom.frame import turn
from geom.quantity import Quantity
from geom.record.assumptions import ASSUMED
from geom.stats.normal import (
    exceedance_probability,
    expected_excess,
    expected_shortfall,
)
from geom.surface import Grid
from geom.units import Float, Int


@dataclass(frozen=True)
class VolumeChange:
    """Volumes between two surveys, mm3.

    Attributes
    ----------
    lost, restored : Quantity
        From joint draws in which wall may be as it was.
    net : Quantity
        The balance: of all the wall lost less restored, of a part of it very nearly.
    """

    lost: Quantity
    restored: Quantity
    net: Quantity


@dataclass(frozen=True)
class SurveyDifference:
    """Two surveys, cell by cell, on one grid of (m, k) cells.

    Attributes
    ----------
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
        above = exceedance_probability(self.change, self.sd, 0.0)
        lost = expected_excess(*known) - doubt * above
        restored = expected_shortfall(*known) + doubt * (1.0 - above)
        return np.maximum(lost, 0.0), np.maximum(restored, 0.0)

    @cached_property
    def turned(self) -> SurveyDifference:
        """The same with the surveys the other way round."""
        return replace(
            self,
            start=self.start + self.change,
            start_sd=self.end_sd,
            end_sd=self.start_sd,
            change=-self.change,
        )

    @cached_property
    def net(self) -> float:
        """Balance over all compared wall, mm3."""
        lost, restored = (_summed(self.patch, part) for part in self.sections)
        return lost - restored

    @cached_property
    def part(self) -> Int:
        """Part of a panel of every cell, as `part_rows` counts; -1 where not compared.

        Shape (m, k).
        """
        here, edge = self.grid, self.panels.edge
        found = part_owner(here.height, here.azimuth, edge, HOURS)
        panel, part = np.divmod(found, PARTS)
        (row, hour), (up, across) = np.divmod(panel, HOURS), np.divmod(part, ACROSS)
        net = (row * UP + up) * (HOURS * ACROSS) + hour * ACROSS + across
        return np.where(self.patch > 0.0, net, -1)

    @cached_property
    def exchange(self) -> tuple[Float, Float]:
        """Draws of section lost and restored in every part, mm2 per radian; two (q, n).

        The surveys are taken in the order in which wall was lost on balance.
        """
        if self.net < 0.0:
            lost, restored = self.turned.exchange
            return restored, lost
        return _draw_exchange(self)


def volume_change(
    difference: SurveyDifference, patch: Float, shown: NDArray[np.int8] | None = None
) -> VolumeChange:
    """Lost, restored and net over a part of the wall.

    Parameters
    ----------
    patch : array (m, k), radian mm
        Which wall counts, at most ``difference.patch``.
    shown : int8 array (m, k), optional
        1 where loss is shown, -1 where wall put back is; default nowhere.

    Returns
    -------
    VolumeChange
        The standard uncertainty of the net is that of the panels' joint errors: within
        a panel errors are taken to be those of its mean.  The intervals of lost and
        restored reach down to what the balance, of the whole or of what is shown, is
        sure of: doubt is no volume.
    """
    if not (patch > 0.0).any():
        nothing = Quantity.normal(0.0, 0.0)
        return VolumeChange(nothing, nothing, nothing)
    net = net_change(difference, patch)
    held = _by_part(difference, patch)
    sides = []
    for sign, draws in zip((1, -1), difference.exchange, strict=True):
        sure = [net if sign > 0 else -net]
        if shown is not None and (patch[shown == sign] > 0.0).any():
            there = net_change(difference, patch * (shown == sign))
            sure.append(there if sign > 0 else -there)
        least = max(0.0, *(balance.low95 for balance in sure))
        volume = Quantity.of_samples(held @ draws)
        sides.append(replace(volume, low95=min(volume.low95, least)))
    lost, restored = sides
    return VolumeChange(lost, restored, net)


def net_change(difference: SurveyDifference, patch: Float) -> Quantity:
    """Lost less restored over a part of the wall, mm3; see `volume_change`."""
    lost, restored = (_summed(patch, part) for part in difference.sections)
    nodes = _nodes(difference, patch)
    return Quantity.normal(lost - restored, net_sd(nodes, nodes.gather(patch)))


def _draw_exchange(difference: SurveyDifference) -> tuple[Float, Float]:
    """Draws of what every part lost and got back, where wall was lost on balance."""
    nodes = _part_nodes(difference)
    walls = draw_walls(nodes)
    patch = _by_part(difference, difference.patch)
    sections, plain = (
        change * (nodes.design_radius[:, None] + 0.5 * change)
        for change in (walls.cutback.astype(float), walls.plain.astype(float))
    )
    lost, restored = np.maximum(sections, 0.0), np.maximum(-sections, 0.0)
    # in closed form, cell by cell, over the same of the plain draws: what the net of
    # parts is too coarse for
    expected = _summed(difference.patch, difference.sections[1])
    coarse = float(np.mean(patch @ np.maximum(-plain, 0.0)))
    restored *= expected / coarse if coarse > 0.0 else 0.0
    film = RULES.film * float(patch @ nodes.design_radius)
    restored[:, patch @ restored < film] = 0.0
    whole = float(np.mean(patch @ lost))
    meant = difference.net + float(np.mean(patch @ restored))
    lost *= meant / whole if whole > 0.0 else 0.0
    return lost, restored


def _by_part(difference: SurveyDifference, field: Float) -> Float:
    """A field of cells summed over every part; (m, k) to (q,)."""
    held, count = difference.part >= 0, difference.panels.count * PARTS
    return np.bincount(difference.part[held], field[held], count).astype(np.float64)


def _part_nodes(difference: SurveyDifference) -> Nodes:
    """The parts as nodes, each with the mean of its compared wall.

    The mean of a panel errs as its covariance says; what a part errs by beyond that, up
    to what its cells err by, hangs together over `panel_reach` and averages to nothing
    over the panel.  A part that was not compared goes with the nearest that was.
    """
    panels, patch = difference.panels, difference.patch
    columns = HOURS * ACROSS
    held = _by_part(difference, patch)
    rows = np.flatnonzero(held > 0.0)
    share = np.divide(1.0, held, out=np.zeros(held.size), where=held > 0.0)
    start, change, variance = (
        share * _by_part(difference, np.where(patch > 0.0, patch * field, 0.0))
        for field in (difference.start, difference.change, difference.sd**2)
    )
    edge = panels.edge
    thirds = np.arange(UP * panels.rows) + 0.5
    height = np.interp(thirds / UP, np.arange(edge.size), edge)
    azimuth = (np.arange(columns) + 0.5) * 360.0 / columns - 180.0 / HOURS
    up, around = np.repeat(height, columns), np.tile(azimuth, height.size)
    row, column = np.divmod(np.arange(held.size), columns)
    panel = (row // UP) * HOURS + column // ACROSS
    radius = float(start[rows].mean())

    def apart(one: Int, other: Int) -> Float:
        arc = np.deg2rad(turn(around[one, None], around[other])) * radius
        return np.hypot(up[one, None] - up[other], arc)

    lender = rows[np.argmin(apart(np.arange(held.size), rows), axis=1)]
    own = difference.covariance[np.ix_(panel[rows], panel[rows])]
    rest = np.sqrt(np.maximum(variance[rows] - np.diag(own), 0.0))
    local = np.outer(rest, rest) * np.exp(
        -0.5 * (apart(rows, rows) / ASSUMED.panel_reach) ** 2
    )
    # weights of the parts of each panel, (rows, rows): local less its panel's mean
    same = panel[rows, None] == panel[rows]
    mean = same * held[rows] / (same @ held[rows])[:, None]
    local -= mean @ local
    local -= local @ mean.T
    place = np.searchsorted(rows, lender)
    return Nodes(
        height=height,
        azimuth=azimuth,
        design_radius=start[lender],
        mean=change[lender],
        covariance=(own + local)[np.ix_(place, place)],
        owner=difference.part,
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
