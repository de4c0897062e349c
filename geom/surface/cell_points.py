"""How uneven scanned wall is about its drawing, as its points say.

Of wall within some millimetres of its drawing the best estimate lies now on the one
side and now on the other, drawn towards its neighbours where points are few and
following their scatter where wall is taken for livelier than it is.  How much of it
stands back and how much proud follows from how uneven the wall itself is.  Points say
so without any estimate of it: the mean square of cells' own means about the drawing,
less what the scatter of points within cells puts into it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geom.units import Bool, Float


@dataclass(frozen=True)
class CellPoints:
    """What cells' own points say by themselves; arrays (m, k).

    Attributes
    ----------
    some : bool array
        Cells that have any.
    cutback : array, mm
        Their mean.
    count : array
    squares, freedom : array, mm2
        Sum of squares of a cell's points about their mean, and its degrees of freedom.
    within : array, mm2
        Variance of the wall within a cell, as it slopes.
    grazing : array, mm2
        Variance by the angle at which the laser met the wall.
    systematic : array, mm2
        Variance of what all share: of poses and of the scanner.
    """

    some: Bool
    cutback: Float
    count: Float
    squares: Float
    freedom: Float
    within: Float
    grazing: Float
    systematic: Float

    def about_nil(self, asked: Bool) -> SquaresAboutNil:
        """Squares of some cells' cut-back.

        Their scatter is that of their own points, all together: at the edges of bricks
        elsewhere points of one cell scatter far more.

        Parameters
        ----------
        asked : bool array (m, k)
            Cells near the drawing; those without points have no say.
        """
        some = asked & self.some
        freedom = float(self.freedom[some].sum())
        # where points are dense the wall may be steeper
        squares = float((self.squares - self.freedom * self.within)[some].sum())
        noise = max(squares, 0.0) / max(freedom, 1.0)
        scatter = (noise + self.within[some]) / self.count[some] + self.grazing[some]
        value = self.cutback[some] ** 2 - scatter
        return SquaresAboutNil(
            some,
            value,
            # of the square of a normal value about a mean
            2.0 * scatter**2 + 4.0 * scatter * np.maximum(value, 0.0),
            self.systematic[some],
            float(scatter.mean()) * float(np.sqrt(2.0 / max(freedom, 1.0)))
            if scatter.size
            else 0.0,
        )


@dataclass(frozen=True)
class SquaresAboutNil:
    """Squares of the wall's own cut-back, without the scatter of points.

    Attributes
    ----------
    some : bool array (m, k)
        The c cells that are asked.
    value, variance : array (c,), mm2 and mm4
        What a cell's square is estimated to be, and how well by its own points.
    systematic : array (c,), mm2
        What of it errors put in that all cells share.
    common_sd : float, mm2
        What all are off by, as scatter is known from so many points.
    """

    some: Bool
    value: Float
    variance: Float
    systematic: Float
    common_sd: float
