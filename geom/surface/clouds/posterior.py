"""The wall as clouds show it: cells that are seen, and what is inferred between them.

The same model as for rod readings is fitted to the means of blocks of cells (and to rod
readings, if there are any).  It fills in what the laser did not see and says how well.
A cell that is seen is weighed against what its surroundings let expect, each by how
well it is known.  How far cells lie about the fitted wall, beyond what it and their own
scatter explain, is the roughness that a cell in shadow is given as well.

Errors are of five kinds: those of the fitted wall, which reach far; those of the
residual field that kriging leaves, which reach some centimetres; the scatter of the
points, which enters every cell that they tell and the fitted wall as well; those by the
angle at which the laser met the wall; and those of a cloud's pose and of the scanner,
which the whole wall shares.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Literal

import numpy as np

from geom.surface.clouds.kriging import LocalKriging, of_rows
from geom.surface.gp.kernels import Points2D
from geom.surface.gp.posterior import GPPosterior, VarianceShare
from geom.surface.grid import Grid
from geom.units import Bool, Float, Int

if TYPE_CHECKING:
    from scipy.sparse import csr_array

#: What the numbers that a frame's pose rests on are: two offsets and two tilts, mm and
#: degrees, and height, mm; and what a scanner errs by: range, mm, scale, ppm, and that
#: its points crowd where the wall lies further out, mm.
POSE_PARAMETERS = ("offset", "offset", "tilt", "tilt", "height")
SCANNER_PARAMETERS = ("range", "scale", "crowding")


@dataclass(frozen=True)
class SystematicErrors:
    """Errors that the whole wall shares: of the clouds' poses and of the scanner.

    Attributes
    ----------
    kind : tuple of str, length p
        Of each error: `POSE_PARAMETERS` for each frame, then `SCANNER_PARAMETERS`.
    slope : array (p, m, k)
        Change of cut-back with each.
    covariance : array (p, p)
    """

    kind: tuple[str, ...]
    slope: Float
    covariance: Float

    def variance(self) -> Float:
        """Of cut-back in each cell, mm2; (m, k)."""
        # (p, p) times (p, m, k), then summed over p: the diagonal of J' C J.
        product = np.tensordot(self.covariance, self.slope, axes=1)
        return np.asarray(np.sum(product * self.slope, axis=0))


@dataclass(frozen=True)
class PointErrors:
    """Scatter of the points of cells that have some, and where it enters the fit.

    Attributes
    ----------
    variance : array (m, k), mm2
        Of the mean of a cell's own points; 0 where it has none.
    block : int array (m, k)
        Block that the cell belongs to, -1 for none.
    first : int
        Reading of the fitted wall that block 0 is.
    """

    variance: Float
    block: Int
    first: int = 0

    def in_blocks(self) -> csr_array:
        """Covariance of blocks' means with cells' scatter; (blocks, m * k), mm2."""
        from scipy.sparse import csr_array

        block, variance = self.block.ravel(), self.variance.ravel()
        held = np.flatnonzero(block >= 0)
        count = np.bincount(block[held])
        each = variance[held] / count[block[held]]
        size = count.size, block.size
        return csr_array((each, (block[held], held)), shape=size)


@dataclass(frozen=True)
class CloudPosterior:
    """The joint posterior of a wall that clouds have seen; a `Posterior`.

    Attributes
    ----------
    fitted : GPPosterior
        Of the wall fitted to blocks and rod readings.
    grid : Grid
    mean, sd : array (m, k), mm
        Best estimate and standard uncertainty of cut-back; NaN where not surveyed.
    occluded : bool array (m, k)
        Cells that no cloud shows.
    sd_inflation : array (m, k)
        What the fitted wall's sd is multiplied by there.
    grazing_variance : array (m, k), mm2
        Variance of a seen cell by the angle at which the laser met it.
    roughness_variance : array (m, k), mm2
        Variance of cells about the fitted wall.
    local : LocalKriging
        How cells that are seen follow from the points in and around them.
    ring_covariance : array (m, m), mm2
        Of what rows of cells are off by all round, before cells follow their points.
    absolute_scale : float
        What cells near the drawing are off by in the mean of absolutes, over what
        normal errors of their standard deviation are.
    points : PointErrors
    systematic : SystematicErrors
    """

    fitted: GPPosterior
    grid: Grid
    mean: Float
    sd: Float
    occluded: Bool
    sd_inflation: Float
    grazing_variance: Float
    roughness_variance: Float
    local: LocalKriging
    ring_covariance: Float
    absolute_scale: float
    points: PointErrors
    systematic: SystematicErrors

    @cached_property
    def correlations(self) -> tuple[csr_array, csr_array] | None:
        """Of the residual field between cells, for `LocalKriging.covariance`."""
        return self.local.correlations(self.grid)

    @property
    def places(self) -> Points2D:
        """Where blocks of laser points lie and rod readings were taken."""
        return self.fitted.places

    def holes_seen(self, least: float, deeper: float) -> tuple[int, int]:  # noqa: ARG002
        """None: a scan sees its wall cell by cell."""
        return 0, 0

    def joint(self, height: Float, azimuth: Float) -> tuple[Float, Float]:
        """Mean and covariance of cut-back at every node of a net; as `Posterior.joint`.

        A node stands for the cells around it, half way to its neighbours.
        """
        net = _Net(self, height, azimuth)
        covariance = net.wall + net.scatter
        slope = net.systematic_slope
        covariance += slope.T @ self.systematic.covariance @ slope
        own = net.grazing_variance + net.roughness_variance
        covariance[np.diag_indices_from(covariance)] += own
        return net.mean, covariance

    def sources_of_sum(
        self, height: Float, azimuth: Float, weight: Float, typical: float
    ) -> list[VarianceShare]:
        """Where the variance of a weighted sum comes from; as `Posterior`."""
        net = _Net(self, height, azimuth)
        _, *read = self.fitted.sources_of_sum(
            height, azimuth, weight * net.inferred, typical
        )
        squared = weight**2
        pull = net.systematic_slope @ weight
        errors = self.systematic.covariance
        kind = np.array(self.systematic.kind)
        sd = np.sqrt(np.diag(errors))

        def systematic(*kinds: str) -> tuple[float, float]:
            some = np.isin(kind, kinds)
            part = pull * some
            return _rms(sd[some]), float(part @ errors @ part)

        offset, rise, ranging, scale, crowding = (
            systematic(name)
            for name in ("offset", "height", "range", "scale", "crowding")
        )
        both = systematic("offset", "tilt")[1]
        tilt = systematic("tilt")[0], max(both - offset[1], 0.0)
        surveyed = self.grid.surveyed & ~self.occluded

        def typical_of(variance: Float) -> float:
            some = variance[surveyed & np.isfinite(variance)]
            return float(np.sqrt(some.mean())) if some.size else 0.0

        unseen_sd = _rms(self.sd[self.occluded & self.grid.surveyed])
        of_scatter = typical_of(self.points.variance)
        of_grazing = typical_of(self.grazing_variance)
        others = sum(s.variance for s in read if s.source != BLOCKS)
        from_points = sum(s.variance for s in read if s.source == BLOCKS)
        scatter = max(float(weight @ net.scatter @ weight), 0.0) + from_points
        unseen = float(weight @ net.wall @ weight) - from_points - others
        unseen = max(unseen, 0.0) + float(squared @ net.roughness_variance)
        grazing = float(squared @ net.grazing_variance)
        rows: tuple[tuple[str, Literal["A", "B"], float, str, float], ...] = (
            ("wall not seen", "A", unseen_sd, "mm", unseen),
            ("scatter of the points", "A", of_scatter, "mm", scatter),
            ("grazing incidence", "B", of_grazing, "mm", grazing),
            ("offset of the cloud", "A", offset[0], "mm", offset[1]),
            ("tilt of the cloud", "A", tilt[0], "deg", tilt[1]),
            ("height of the cloud", "B", rise[0], "mm", rise[1]),
            ("scanner's range", "B", ranging[0], "mm", ranging[1]),
            ("scanner's scale", "B", scale[0], "ppm", scale[1]),
            ("uneven density of the points", "A", crowding[0], "mm", crowding[1]),
        )
        return [
            *(VarianceShare(*row) for row in rows),
            *(s for s in read if s.source != BLOCKS),
        ]


#: Name of the blocks' own error among the sources of the fitted wall.
BLOCKS = "sd stated on the sheet"


def _rms(values: Float) -> float:
    some = values[np.isfinite(values)]
    return float(np.sqrt(np.mean(some**2))) if some.size else 0.0


class _Net:
    """What the nodes of a net stand for; arrays (q,), azimuth running fastest.

    Attributes
    ----------
    wall : array (q, q), mm2
        Covariance by what the fitted wall and kriging leave open.
    scatter : array (q, q), mm2
        By the scatter of points beyond what it does to the fitted wall.
    inferred : array (q,)
        How far a node is wall in shadow, which follows the fitted wall alone.
    """

    def __init__(self, wall: CloudPosterior, height: Float, azimuth: Float) -> None:
        self._wall = wall
        self._average = _averages(wall, height, azimuth)
        occluded = wall.occluded.astype(np.float64)
        seen = 1.0 - occluded
        self.mean = self._mean(wall.mean)
        self.inferred = self._mean(occluded * wall.sd_inflation)
        self._follows = self._mean(seen * (1.0 - wall.local.gain))
        self.grazing_variance = self._mean(seen * wall.grazing_variance)
        hidden = self._mean(occluded)
        self.roughness_variance = hidden * self._mean(
            occluded * wall.roughness_variance
        )
        self.systematic_slope = np.stack(
            [self._mean(field) for field in wall.systematic.slope]
        )
        self._covariances(seen, height, azimuth)

    def _mean(self, field: Float) -> Float:
        return np.asarray(self._average @ np.nan_to_num(field).ravel())

    def _covariances(self, seen: Float, height: Float, azimuth: Float) -> None:
        from scipy.sparse import csr_array, diags_array

        wall = self._wall
        shown = csr_array(self._average @ diags_array(seen.ravel()))
        weights = csr_array(shown @ wall.local.weights)
        variance = diags_array(wall.points.variance.ravel())
        scattered = csr_array(weights @ variance)
        self.scatter = (scattered @ weights.T).toarray()
        missed = csr_array(shown - weights)
        self.wall = wall.local.covariance(missed, wall.correlations).toarray()
        # (q, m): how much of what a row is off by all round points do not undo
        by_row = (missed @ of_rows(wall.grid.shape)).toarray()
        self.wall += by_row @ wall.ring_covariance @ by_row.T
        if self.inferred.any():
            _, fitted = wall.fitted.joint(height, azimuth)
            self.wall += fitted * self.inferred[:, None] * self.inferred[None, :]
        if (self._follows > _FOLLOWS).any():
            self._scatter_by_fit(weights, height, azimuth)

    def _scatter_by_fit(
        self, weights: csr_array, height: Float, azimuth: Float
    ) -> None:
        """Add what the same scatter does to the fitted wall, where a node follows it.

        What the fitted wall is off by otherwise is the residual field.
        """
        best, points = self._wall.fitted.best, self._wall.points
        # (q, readings): change of a node with each reading
        gain = best.gains(height, azimuth) * self._follows[:, None]
        self.scatter += gain @ best.noise.matrix @ gain.T
        both = points.in_blocks()
        blocks = slice(points.first, points.first + both.shape[0])
        shared = gain[:, blocks] @ (both @ weights.T).toarray()
        self.scatter += shared + shared.T


#: Share of the fitted wall in a node below which its errors are not worked out.
_FOLLOWS = 1e-3


def _averages(wall: CloudPosterior, height: Float, azimuth: Float) -> csr_array:
    """Weights of cells in the nodes of a net; (q, m * k).

    A node is the mean of the cells that are nearer to it than to others, openings and
    wall not surveyed left out as far as there is any other.  A net of one height is
    that height: straight between the rows above and below.
    """
    from scipy.sparse import csr_array

    grid = wall.grid
    turn = np.mod(grid.azimuth[:, None] - azimuth[None, :] + 180.0, 360.0) - 180.0
    column = np.argmin(np.abs(turn), axis=1)
    if height.size == 1:
        node = np.zeros(grid.height.size, dtype=np.int64)
        share = _rows_at(grid, float(height[0]))
    else:
        node = _nearest(grid.height, height)
        share = np.where(grid.surveyed_rows, 1.0, 0.0)
    owner = (node[:, None] * azimuth.size + column[None, :]).ravel()
    weight = np.broadcast_to(share[:, None], grid.shape)
    good = (np.isfinite(wall.mean) & ~grid.opening).ravel()
    size = height.size * azimuth.size
    best = np.where(good, weight.ravel(), 0.0)
    total = np.bincount(owner, best, size)
    # a node with nothing but openings and unread wall is the mean of these
    best = np.where((total <= 0.0)[owner], weight.ravel(), best)
    total = np.bincount(owner, best, size)
    held = np.flatnonzero(best > 0.0)
    value = best[held] / total[owner[held]]
    return csr_array((value, (owner[held], held)), shape=(size, owner.size))


def _rows_at(grid: Grid, height: float) -> Float:
    """Weights of the rows that tell a height: two, or the outermost; (m,)."""
    rows = np.flatnonzero(grid.surveyed_rows)
    above = int(np.clip(np.searchsorted(grid.height[rows], height), 1, rows.size - 1))
    low, high = rows[above - 1], rows[above]
    part = (height - grid.height[low]) / (grid.height[high] - grid.height[low])
    share = np.zeros(grid.height.size)
    share[low], share[high] = 1.0 - np.clip(part, 0.0, 1.0), np.clip(part, 0.0, 1.0)
    return share


def _nearest(values: Float, to: Float) -> Int:
    """Index of the nearest of ``to`` (rising) for each value."""
    edge = 0.5 * (to[1:] + to[:-1])
    return np.searchsorted(edge, values).astype(np.int64)
