"""Errors of many panels at once: what of them is the whole wall's, a level's, a side's.

A heat that burns hard burns the whole wall, one that is blown from one side burns that
side.  So the errors of panels' rates of wear hang together, and the earliest of many
panels to pass a limit is not as early as if each erred by itself.  An error is taken as

    sd of the panel * (wall + level + side + own),

four parts, each by itself, whose variances add to 1.  What shares they have is seen
from how much better the mean of a level, of a side and of the whole wall is known than
its panels are.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geom.compare.panels import HOURS
from geom.record.pieces import Pieces
from geom.units import Bool, Float


@dataclass(frozen=True)
class Spread:
    """Errors of p panels in four parts; standard deviations, all in one unit.

    Attributes
    ----------
    wall, level, side, own : array (p,)
        Panels in order, azimuth running fastest.
    """

    wall: Float
    level: Float
    side: Float
    own: Float

    @property
    def sd(self) -> Float:
        """Of all parts together; shape (p,)."""
        return np.sqrt(sum(part**2 for part in self._parts()))

    def draws(self, rng: np.random.Generator, count: int) -> Float:
        """Draws of the error; (p, count)."""
        rows = self.own.size // HOURS
        drawn = self.own[:, None] * rng.standard_normal((self.own.size, count))
        table = drawn.reshape(rows, HOURS, count)
        shared = ((self.wall, (1, 1)), (self.level, (rows, 1)), (self.side, (1, HOURS)))
        for sd, shape in shared:
            chance = rng.standard_normal((*shape, count))
            table += sd.reshape(rows, HOURS, 1) * chance
        return drawn

    def where(self, some: Bool, other: Spread) -> Spread:
        """Of some panels this, of the rest another."""
        pairs = zip(self._parts(), other._parts(), strict=True)
        return Spread(*(np.where(some, one, two) for one, two in pairs))

    def times(self, factor: Float) -> Spread:
        """Scaled, panel by panel."""
        return Spread(*(part * factor for part in self._parts()))

    def _parts(self) -> tuple[Float, Float, Float, Float]:
        return self.wall, self.level, self.side, self.own


def spread_of(sd: Float, pieces: Pieces) -> Spread:
    """Part the errors of panels.

    Parameters
    ----------
    sd : array (s,)
        Of every piece, wall, levels, sides and panels among them; NaN where not told.
    pieces : Pieces
    """
    panel = np.nan_to_num(sd[list(pieces.of_kind("panel"))])
    wall, level, side = _alike(sd, pieces)
    parts = np.array([wall, level - wall, side - wall, 1.0 - level - side + wall])
    parts = np.maximum(parts, 0.0)
    return Spread(*(panel * part for part in np.sqrt(parts / parts.sum())))


def _alike(sd: Float, pieces: Pieces) -> tuple[float, float, float]:
    """Correlation between panels of the wall, of a level and of a side.

    The variance of a mean of n panels with one correlation r between them is
    (sum of variances * (1 - r) + r * (sum of sds) ** 2) / n ** 2.
    """
    panel = np.nan_to_num(sd[list(pieces.of_kind("panel"))]).reshape(-1, HOURS)
    level = _correlation(sd[list(pieces.of_kind("level"))], panel)
    side = _correlation(sd[list(pieces.of_kind("side"))], panel.T)
    square = float((panel**2).sum())
    rows = float((panel.sum(axis=1) ** 2).sum()) - square
    columns = float((panel.sum(axis=0) ** 2).sum()) - square
    rest = float(panel.sum()) ** 2 - square - rows - columns
    whole = float(sd[pieces.of_kind("wall")[0]]) * np.count_nonzero(panel)
    known = square + level * rows + side * columns
    wall = (whole**2 - known) / rest if rest > 0.0 else 0.0
    wall = float(np.clip(np.nan_to_num(wall), 0.0, min(level, side)))
    return wall, level, side


def _correlation(mean_sd: Float, panel: Float) -> float:
    """One correlation within groups of panels, a group a row."""
    count = np.count_nonzero(panel, axis=1)
    square, product = (panel**2).sum(axis=1), panel.sum(axis=1) ** 2
    use = ~np.isnan(mean_sd) & (count > 1)
    above = ((mean_sd[use] * count[use]) ** 2 - square[use]).sum()
    most = (product[use] - square[use]).sum()
    return float(np.clip(above / most, 0.0, 1.0)) if most > 0.0 else 0.0
