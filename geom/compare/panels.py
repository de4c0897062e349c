"""The wall in panels: pieces an hour of the clock wide and about 6 in tall.

Surveys of many heats are compared panel by panel.  What is kept of each survey:

- the mean cut-back of every panel and the covariance of these means, so that the mean
  over any panels together, a level, a side, the whole wall, has its true uncertainty;
- the mean of its parts, four wide and three tall, each about 2 1/2 by 2 in, a quarter
  of a brick's face: they tell where in a panel the wall is deep;
- its greatest cut-back, the distribution of an extreme: the deepest place of a panel is
  deeper than the best surface is anywhere in it, the more so the less is known between
  stations.  The nodes of each panel are drawn jointly and the greatest of each draw is
  taken, as `geom.compare.extremes` does for the whole wall.  Draws come in pairs that
  mirror each other and are scaled to unit variance: where one node is the deepest
  beyond doubt, its mean and sd come out without error of drawing.

References
----------
JCGM 101:2008, 7.9.4 (a fixed number of draws and what it is worth).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from geom.compare.assumptions import ASSUMED
from geom.compare.nodes import Nodes
from geom.design import Design
from geom.shown import Shown
from geom.surface import Grid, RadialSurface
from geom.units import Float, Int

#: Panels round the wall: one for each hour, the first about azimuth 0.
HOURS = 12


#: Parts of a panel: so many side by side and one above another, and in all.
ACROSS, UP = 4, 3
PARTS = ACROSS * UP
#: Pairs of draws: the sd of a greatest is then known to 3 %, its mean to 0.03 of it.
_PAIRS = 256
#: Added to variances so that tables of nodes that move as one can be rooted, mm2.
_JITTER = 1e-9


def part_owner(height: Float, azimuth: Float, edge: Float, hours: int) -> Int:
    """Part that each cell of a grid lies in.

    Parameters
    ----------
    height : array (m,), mm
    azimuth : array (k,), degrees
    edge : array (rows + 1,), mm, rising
        Edges of the rows of panels.
    hours : int
        Panels round the wall, the first about azimuth 0.

    Returns
    -------
    int array (m, k)
        Panel * `PARTS` + part; parts of a panel run round first, then up.
    """
    last = edge.size - 2
    row = np.clip(np.searchsorted(edge, height, side="right") - 1, 0, last)
    up = np.floor(UP * (height - edge[row]) / (edge[row + 1] - edge[row]))
    up = np.clip(up.astype(np.int64), 0, UP - 1)
    wide = 360.0 / (hours * ACROSS)
    turned = np.floor((azimuth + 0.5 * ACROSS * wide) / wide).astype(np.int64)
    hour, across = np.divmod(turned % (hours * ACROSS), ACROSS)
    panel = row[:, None] * hours + hour[None, :]
    return np.asarray(panel * PARTS + up[:, None] * ACROSS + across[None, :])


def part_means(
    owner: Int, cutback: Float, sd: Float, wall: Float, count: int
) -> tuple[Float, Float]:
    """Mean cut-back of every part, and its standard uncertainty.

    Parameters
    ----------
    owner : int array (m, k)
        As `part_owner` tells.
    cutback, sd : array (m, k), mm
    wall : array (m, k)
        Wall of each cell; 0 where it does not count.
    count : int
        Panels, p.

    Returns
    -------
    mean, sd : array (p, PARTS), mm
        NaN where nothing counts.  A part is as small as errors reach: that of its mean
        is taken to be that of its cells, root mean square.
    """
    weight = np.where(np.isfinite(cutback), wall, 0.0)
    held = np.bincount(owner.ravel(), weight.ravel(), count * PARTS)

    def over(field: Float) -> Float:
        summed = np.bincount(
            owner.ravel(), (weight * np.nan_to_num(field)).ravel(), count * PARTS
        )
        mean = np.full(held.size, np.nan)
        np.divide(summed, held, out=mean, where=held > 0.0)
        return mean.reshape(count, PARTS)

    return over(cutback), np.sqrt(over(sd**2))


def greatest_in_panels(
    owner: Int, nodes: Nodes, cutback: Float, count: int
) -> tuple[Float, Float]:
    """Mean and standard uncertainty of the greatest cut-back in every panel.

    Parameters
    ----------
    owner : int array (m, k)
        Panel that each cell of the grid lies in.
    cutback : array (m, k), mm
        Best estimates; NaN where a cell does not count.
    count : int
        Panels, p.

    Returns
    -------
    mean, sd : array (p,), mm
        NaN where a panel has no cell that counts.
    """
    panel, node, peak = _peaks(owner, nodes, cutback)
    mean, sd = np.full(count, np.nan), np.full(count, np.nan)
    places, first = np.unique(panel, return_index=True)
    parts = np.split(np.arange(panel.size), first)[1:]
    standard = _mirrored(max((part.size for part in parts), default=0))
    for place, part in zip(places, parts, strict=True):
        table = nodes.covariance[np.ix_(node[part], node[part])]
        root = np.linalg.cholesky(table + _JITTER * np.eye(part.size))
        draws = peak[part][:, None] + root @ standard[: part.size]
        greatest = draws.max(axis=0)
        mean[place], sd[place] = greatest.mean(), greatest.std()
    return mean, sd


def _peaks(owner: Int, nodes: Nodes, cutback: Float) -> tuple[Int, Int, Float]:
    """Best estimate where each node is deepest in each panel it reaches into.

    Returns
    -------
    panel, node : int array (n,)
        Sorted by panel.
    peak : array (n,), mm
    """
    held = (nodes.owner >= 0) & np.isfinite(cutback)
    pair = owner[held] * nodes.mean.size + nodes.owner[held]
    pairs, place = np.unique(pair, return_inverse=True)
    peak = np.full(pairs.size, -np.inf)
    np.maximum.at(peak, place, cutback[held])
    panel, node = np.divmod(pairs, nodes.mean.size)
    return panel, node, peak


def _mirrored(rows: int) -> Float:
    """Normal draws of mean 0 and variance 1 row by row; (rows, 2 * _PAIRS)."""
    standard = np.random.default_rng(0).standard_normal((rows, _PAIRS))
    both = np.concatenate([standard, -standard], axis=1)
    return np.asarray(both / both.std(axis=1, keepdims=True))


@dataclass(frozen=True)
class Panels(Shown):
    """How a lining is divided; the same for every survey of one drawing.

    Attributes
    ----------
    edge : array (rows + 1,), mm, rising
        Edges of the rows of panels, from the profile's bottom to its top.
    """

    edge: Float

    @property
    def rows(self) -> int:
        """How many rows of panels there are."""
        return self.edge.size - 1

    @property
    def count(self) -> int:
        """All panels, p = rows * `HOURS`."""
        return self.rows * HOURS

    @cached_property
    def height(self) -> Float:
        """Mid-height of every panel, mm; shape (p,), azimuth running fastest."""
        return np.repeat(0.5 * (self.edge[:-1] + self.edge[1:]), HOURS)

    @cached_property
    def azimuth(self) -> Float:
        """Azimuth of every panel's middle, degrees; shape (p,)."""
        return np.tile(np.arange(HOURS) * 360.0 / HOURS, self.rows)

    def owner(self, height: Float, azimuth: Float) -> Int:
        """Panel that each cell of a grid lies in.

        Parameters
        ----------
        height : array (m,), mm
        azimuth : array (k,), degrees

        Returns
        -------
        int array (m, k)
        """
        return self.owner_of(height[:, None], azimuth[None, :])

    def owner_of(self, height: Float, azimuth: Float) -> Int:
        """Panel that each place lies in; arrays of one shape, mm and degrees."""
        row = np.searchsorted(self.edge, height, side="right") - 1
        row = np.clip(row, 0, self.rows - 1)
        wide = 360.0 / HOURS
        hour = np.floor((azimuth + 0.5 * wide) / wide).astype(np.int64) % HOURS
        return np.asarray(row * HOURS + hour)


@dataclass(frozen=True)
class PanelState(Shown):
    """One survey, panel by panel; arrays over p panels.

    Attributes
    ----------
    cutback : array (p,), mm
        Mean over the panel's wall; NaN where too little of it was surveyed.
    covariance : array (p, p), mm2
        Of the errors of those means; zero where not known.
    deepest, deepest_sd : array (p,), mm
        Greatest cut-back in the panel, wherever it is: mean and standard uncertainty
        of its distribution; NaN where not known.
    part, part_sd : array (p, PARTS), mm
        Mean cut-back of each part of the panel and its standard uncertainty; NaN where
        not known.
    area : array (p,), mm2
        Surveyed wall, openings left out.
    read : array (p,), 0 or 1
        Whether anything was read in the panel itself, by rod or by laser.
    """

    panels: Panels
    cutback: Float
    covariance: Float
    deepest: Float
    deepest_sd: Float
    part: Float
    part_sd: Float
    area: Float
    read: Float

    @cached_property
    def sd(self) -> Float:
        """Standard uncertainty of the panels' means, mm; NaN where not known."""
        sd = np.sqrt(np.maximum(np.diag(self.covariance), 0.0))
        return np.where(np.isnan(self.cutback), np.nan, sd)


def panels_of(design: Design) -> Panels:
    """How a drawing's wall is divided."""
    low, high = design.profile.bottom, design.profile.top
    rows = max(1, round((high - low) / ASSUMED.panel_height))
    return Panels(np.linspace(low, high, rows + 1))


def survey_panels(surface: RadialSurface, nodes: Nodes) -> PanelState:
    """What a survey says of each panel of its drawing.

    Parameters
    ----------
    nodes : Nodes
        Where its cells are known jointly.
    """
    panels = panels_of(surface.design)
    return panel_state(
        panels,
        surface.grid,
        surface.cutback,
        surface.radius_sd,
        nodes,
        read=_read(panels, surface),
    )


def panel_state(
    panels: Panels, grid: Grid, cutback: Float, sd: Float, nodes: Nodes, *, read: Float
) -> PanelState:
    """What is known of each panel.

    Parameters
    ----------
    cutback, sd : array (m, k), mm
        NaN where not surveyed.
    nodes : Nodes
        Where cells are known jointly.
    read : array (p,), 0 or 1
        Panels in which anything was read.
    """
    owner = panels.owner(grid.height, grid.azimuth)
    wall = grid.wall * grid.row_height[:, None] * grid.design_radius[:, None]
    whole = _per_panel(owner, wall, panels.count)
    held = _per_panel(owner, wall * grid.surveyed, panels.count)
    enough = held > ASSUMED.panel_surveyed * np.maximum(whole, 1e-9)
    share = np.divide(1.0, held, out=np.zeros_like(held), where=enough)
    weight = np.where(grid.surveyed, wall * share[owner], 0.0)
    mean = _per_panel(owner, np.nan_to_num(cutback) * weight, panels.count)
    pulled = _pull(owner, nodes, weight, panels.count)
    shown = np.where(weight > 0.0, cutback, np.nan)
    parts = part_owner(grid.height, grid.azimuth, panels.edge, HOURS)
    part, part_sd = part_means(parts, shown, sd, weight, panels.count)
    deepest, deepest_sd = greatest_in_panels(owner, nodes, shown, panels.count)
    return PanelState(
        panels=panels,
        cutback=np.where(enough, mean, np.nan),
        covariance=np.asarray(pulled @ nodes.covariance @ pulled.T),
        deepest=deepest,
        deepest_sd=deepest_sd,
        part=part,
        part_sd=part_sd,
        area=held * grid.sector,
        read=read,
    )


def _read(panels: Panels, surface: RadialSurface) -> Float:
    """Panels in which a reading was taken or a laser showed a cell."""
    azimuth, height = surface.stations
    read = np.zeros(panels.count)
    read[panels.owner_of(height, azimuth)] = 1.0
    if surface.seen is not None:
        owner = panels.owner(surface.height, surface.azimuth)
        read[owner[surface.seen]] = 1.0
    return read


def _per_panel(owner: Int, field: Float, count: int) -> Float:
    return np.bincount(owner.ravel(), field.ravel(), count).astype(np.float64)


def _pull(owner: Int, nodes: Nodes, weight: Float, count: int) -> Float:
    """Weight of each node in each panel's mean; (p, q)."""
    counted = (nodes.owner >= 0) & (weight > 0.0)
    size = nodes.mean.size
    place = owner[counted] * size + nodes.owner[counted]
    summed = np.bincount(place, weight[counted], count * size)
    return summed.reshape(count, size).astype(np.float64)
