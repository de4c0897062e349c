"""What the repair put in and took off: the wall before less the wall after.

With cut-back X before and Y after, both normal and their errors independent (two
surveys), a cell has per radian and per millimetre of height moved the section

    V = ((R + X)^2 - (R + Y)^2) / 2 = D S,   D = X - Y,   S = R + (X + Y) / 2

D is normal with mean m and variance s^2, and given D the mean of S is linear in it,
with slope b = (var X - var Y) / (2 s^2).  So what was put in is, with E1 = E[D+] and
E2 = E[D+^2],

    E[V; D > 0] = (E[S] - b m) E1 + b E2

What was taken off is the same with D turned round, and their difference is the net.

Where nothing was done, the noise of two surveys counts half as put in and half as taken
off.  Over the zones that is little against the repair; over the whole wall it is not,
so there the net is the number that means something.  The interval of either part
reaches down to what the net is sure of.

The surface of the survey before holds no covariances.  For a zone the joint standard
uncertainty of its mean cut-back stands in the findings; for all of the wall that of the
net volume does.  Between zones it lies between that of independent errors and the sum;
that of the rebuild volume, which is known jointly, is taken where it lies there too.
Of a part of a wall or zone, the variance is taken in proportion to the area, which
errs on the safe side where errors hang together.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from geom.compare.nodes import Nodes
from geom.compare.volume import gamma_quantity, net_sd
from geom.document import AREA, VOLUME
from geom.quantity import Quantity
from geom.readings.surveys import SurveyBefore
from geom.stats.normal import exceedance_probability, expected_excess
from geom.surface import Grid, RadialSurface
from geom.surface.grid import interpolate_rows, row_index
from geom.units import Bool, Float, Int


@dataclass(frozen=True)
class WallBefore:
    """The survey before on the grid of the survey after, shape (m, k).

    Attributes
    ----------
    cutback, sd : array, mm
        NaN where not surveyed before.
    zone : int array
        Zone of each cell, 0 where none.
    known : bool array
        Wall surveyed before.
    """

    cutback: Float
    sd: Float
    zone: Int
    known: Bool


@dataclass(frozen=True)
class MaterialBalance:
    """Material moved over a piece of wall; mm2 and mm3.

    Attributes
    ----------
    area : float
        Of the face that both surveys cover.
    net : Quantity
        Put in less taken off.
    """

    area: float = field(metadata=AREA)
    net: Quantity = field(metadata=VOLUME)
    put_in: Quantity = field(metadata=VOLUME)
    taken_off: Quantity = field(metadata=VOLUME)


def wall_before(before: SurveyBefore, grid: Grid) -> WallBefore:
    """The survey before on another grid: linear in height, the nearest azimuth."""
    survey = before.survey
    rows = (grid.height >= before.low) & (grid.height <= before.high)
    columns = survey.azimuth.size
    column = np.rint(grid.azimuth * columns / 360.0).astype(np.int64) % columns
    row = row_index(survey.height, grid.height)
    nearest = np.rint(row).astype(np.int64)
    row[~rows] = np.nan
    cutback = interpolate_rows(survey.cutback[:, column], row)
    known = np.isfinite(cutback)
    return WallBefore(
        cutback=cutback,
        sd=interpolate_rows(survey.cutback_sd[:, column], row),
        zone=np.where(known, before.zone[nearest][:, column], 0),
        known=known,
    )


def material_balance(
    wall: WallBefore, surface: RadialSurface, nodes: Nodes, mask: Bool, sd_before: float
) -> MaterialBalance:
    """Material moved over some cells.

    Parameters
    ----------
    surface : RadialSurface
        After the repair.
    nodes : Nodes
        Of the surface.
    mask : bool array (m, k)
        Only cells that both surveys cover count.
    sd_before : float, mm3
        Joint standard uncertainty of the net volume over these cells before.
    """
    grid = surface.grid
    patch = np.where(mask & wall.known, grid.patch, 0.0)
    held = patch > 0.0
    x, y = wall.cutback[held], surface.cutback[held]
    radius = np.broadcast_to(grid.design_radius[:, None], grid.shape)[held]
    own = patch[held]
    sections = _Sections(x, wall.sd[held], y, surface.radius_sd[held], radius)
    put_in, taken_off = (float(own @ sections.beyond(sign)) for sign in (1.0, -1.0))

    def sd_of_part(chance_added: Float) -> float:
        weight = np.zeros(grid.shape)
        weight[held] = own * chance_added * (radius + y)
        after = nodes.sd_of_sum(nodes.gather(weight))
        before = sd_before * float(own @ chance_added) / float(own.sum())
        return float(np.hypot(after, before))

    chance_added = sections.chance_added()
    net = Quantity.normal(
        put_in - taken_off, np.hypot(net_sd(nodes, nodes.gather(patch)), sd_before)
    )
    return MaterialBalance(
        area=float(own @ radius),
        net=net,
        put_in=_down_to(net.low95, gamma_quantity(put_in, sd_of_part(chance_added))),
        taken_off=_down_to(
            -net.high95, gamma_quantity(taken_off, sd_of_part(1.0 - chance_added))
        ),
    )


def _down_to(least: float, part: Quantity) -> Quantity:
    """A part of what was moved, its interval reaching down to what the net is sure of.

    The noise of two surveys counts as moved too, so a part may be all noise.
    """
    return replace(part, low95=min(part.low95, max(least, 0.0)))


@dataclass(frozen=True)
class _Sections:
    """Cut-back before and after in n cells, with sd and design radius; mm."""

    x: Float
    x_sd: Float
    y: Float
    y_sd: Float
    radius: Float

    def beyond(self, sign: float) -> Float:
        """Expected section put in (sign 1) or taken off (-1), mm2 per radian."""
        drop = sign * (self.x - self.y)
        variance = self.x_sd**2 + self.y_sd**2
        lean = np.divide(
            0.5 * sign * (self.x_sd**2 - self.y_sd**2),
            variance,
            out=np.zeros_like(drop),
            where=variance > 0.0,
        )
        middle = self.radius + 0.5 * (self.x + self.y)
        sd = np.sqrt(variance)
        # expected_excess(m, s, R) = R E1 + E2 / 2.
        first = expected_excess(drop, sd, middle - lean * drop)
        half_second = expected_excess(drop, sd, np.zeros_like(drop))
        return np.asarray(first + (2.0 * lean - 1.0) * half_second)

    def chance_added(self) -> Float:
        """Chance that something was put in rather than taken off."""
        return exceedance_probability(
            self.x - self.y, np.hypot(self.x_sd, self.y_sd), 0.0
        )


def zone_sd(wall: WallBefore, grid: Grid, mask: Bool, mean_sd: float) -> float:
    """Joint sd before of the net volume over a zone's surveyed cells, mm3.

    Parameters
    ----------
    mask : bool array (m, k)
        Of the zone.
    mean_sd : float, mm
        Of the zone's mean cut-back, from the findings.
    """
    lever = grid.whole_face * (1.0 + wall.cutback / grid.design_radius[:, None])
    whole = float(np.nansum(lever[mask]))
    kept = mask & grid.surveyed
    part = float(np.nansum(lever[kept])) / whole
    return whole * mean_sd * float(np.sqrt(part))


def zones_sd(sds: list[float], rebuild_sd: float) -> float:
    """Joint sd before over several zones, from each one's and the rebuild volume's."""
    apart, together = float(np.sqrt(np.sum(np.square(sds)))), float(np.sum(sds))
    return float(np.clip(rebuild_sd, apart, together))
