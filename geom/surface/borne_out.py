"""How well the fitted wall foretells wall that it is not shown.

The shadows of a scan are turned round the wall, so that they fall on wall that was seen
after all.  Blocks in them are left out, foretold from the others, and compared with
what they read.  Where they miss by more than the fitted wall owns to, its uncertainty
in the shadows is stretched; where by less, it is drawn in.  So it is with the sum over
all of a shadow, which volumes hang on: misses that go the same way all over stretch it
further.  No refit is needed: what is left out of a fit with fixed sizes follows in
closed form.

References
----------
Rasmussen, C. E. and Williams, C. K. I. (2006). Gaussian Processes for Machine Learning,
eq. 5.12 (leaving one out); with blocks of the inverse for groups, as in the inverse of
a partitioned matrix, eq. A.11.
"""

from __future__ import annotations

import numpy as np

from geom.surface.grid import Grid
from geom.surface.process import Process
from geom.units import Bool, Float, Int

#: Turns of the shadows, degrees, and fewest blocks that a turn must leave out.
_TURN, _FEWEST = 15, 3
#: Blocks around that have a say: Gaussian in height (mm) and azimuth (degrees).
_HEIGHT, _AZIMUTH = 60.0, 45.0
#: What the fitted wall's own word counts for, in blocks.
_OWN_WORD = 3.0
#: The same for the sum over a shadow, in turns; and how many turns a full circle of
#: them counts for, as they overlap.
_TURNS_OWN_WORD, _TURNS_COUNT = 3.0, 8.0
#: By how much sums over shadows vary more than the fitted wall owns to, before the scan
#: is asked: marks of single tuyeres and spalls that nothing beside them hints at.  From
#: walls of the bench, see docs/benchmarks.md.
_SURPRISE = 2.0


def stretch(process: Process, hidden: Bool, grid: Grid) -> Float:
    """By what the variance of the fitted wall in shadow is to be multiplied; (m, k).

    Parameters
    ----------
    process : Process
        Fitted to blocks of cells.
    hidden : bool array (m, k)
        Cells in shadow.
    grid : Grid
    """
    count = len(process.observed)
    azimuth = process.observed.places.azimuth[:count]
    height = process.observed.places.height[:count]
    inverse = process.unfactor.T @ process.unfactor
    row = np.clip(np.searchsorted(grid.edge, height) - 1, 0, grid.height.size - 1)
    missed, times = np.zeros(count), np.zeros(count)
    sums: list[float] = []
    for turned in range(_TURN, 360, _TURN):
        column = np.round((azimuth - turned) / 360.0 * grid.azimuth.size).astype(int)
        out = np.flatnonzero(hidden[row, column % grid.azimuth.size])
        if out.size >= _FEWEST:
            each, together = _squares(inverse, process.weights, out)
            missed[out] += each
            times[out] += 1.0
            sums.append(together)
    tried = times > 0
    if not tried.any():
        return np.ones(grid.shape)
    square = missed[tried] / times[tried]
    up = np.exp(-0.5 * ((grid.height[:, None] - height[tried]) / _HEIGHT) ** 2)
    away = np.mod(grid.azimuth[:, None] - azimuth[tried] + 180.0, 360.0) - 180.0
    beside = np.exp(-0.5 * (away / _AZIMUTH) ** 2)
    total = (up * square) @ beside.T
    near = (_OWN_WORD + total) / (_OWN_WORD + up @ beside.T)
    counts = _TURNS_COUNT * len(sums) / (360 // _TURN - 1)
    freedom = _TURNS_OWN_WORD + counts
    surprise = _TURNS_OWN_WORD * _SURPRISE
    together = (surprise + counts * float(np.mean(sums))) / freedom
    # that variance is itself told by few turns: Student's t has more of it
    together *= freedom / max(freedom - 2.0, 1.0)
    usual = float(near[hidden].mean()) if hidden.any() else 1.0
    return np.asarray(near * max(1.0, together / usual))


def _squares(inverse: Float, weights: Float, out: Int) -> tuple[Float, float]:
    """Squared misses of readings left out together, and of their sum, in variances."""
    spread = np.linalg.inv(inverse[np.ix_(out, out)])
    miss = spread @ weights[out]
    together = float(miss.sum() ** 2 / spread.sum())
    return np.asarray(miss**2 / np.diag(spread)), together
