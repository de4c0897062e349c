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

from geom.shown import Shown
from geom.surface.cell_points import CellPoints
from geom.surface.clouds.kriging import LocalKriging, of_rows
from geom.surface.gp.conditional import net_points
from geom.surface.gp.kernels import Points2D
from geom.surface.gp.posterior import GPPosterior, VarianceShare
from geom.surface.grid import Grid
from geom.units import Bool, Float, Int

if TYPE_CHECKING:
    from scipy.sparse import csr_array

#: What the numbers that a frame's pose rests on are: two offsets and two tilts, mm and
#: degrees, and height, mm; and what a scanner errs by: range, mm, and scale, ppm.
POSE_PARAMETERS = ("offset", "offset", "tilt", "tilt", "height")
SCANNER_PARAMETERS = ("range", "scale")


@dataclass(frozen=True)
class SystematicErrors:
    """Errors that the whole wall shares: of the clouds' poses and of the scanner.

    Attributes
    ----------
    kind : tuple of str, length p
        Of each error: `POSE_PARAMETERS` for each frame, then `SCANNER_PARAMETERS`, then
        ``'crowding'``, by how uncertain the rate at which points crowd is.
    slope : array (p, m, k)
        Change of cut-back with each.
    covariance : array (p, p)
    """

    kind: tuple[str, ...]
    slope: Float
    covariance: Float

    def plus(self, kind: str, slope: Float, sd: float) -> SystematicErrors:
        """These and one more, independent of them.

        Parameters
        ----------
        slope : array (m, k)
        sd : float
        """
        count = len(self.kind)
        covariance = np.zeros((count + 1, count + 1))
        covariance[:count, :count], covariance[count, count] = self.covariance, sd**2
        slopes = np.concatenate([self.slope, slope[None]])
        return SystematicErrors((*self.kind, kind), slopes, covariance)

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
class CloudPosterior(Shown):
    """The joint posterior of a wall that clouds have seen; a `Posterior`.

    Attributes
    ----------
    fitted : GPPosterior
        Of the wall fitted to blocks and rod readings, at the most probable choice.
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
    cell_points : CellPoints
        What cells' own points say by themselves.
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
    cell_points: CellPoints
    points: PointErrors
    systematic: SystematicErrors

    @cached_property
    def correlations(self) -> tuple[csr_array, csr_array] | None:
        """Of the residual field between cells, for `LocalKriging.covariance`."""
        return self.local.correlations(self.grid)

    @cached_property
    def fields(self) -> _Fields:
        """What every net asks of the cells."""
        return _Fields.of(self)

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
        wall, scatter = net.covariances()
        covariance = wall + scatter
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
        of_wall, of_points = net.variances_of_sum(weight)
        scatter = max(of_points, 0.0) + from_points
        unseen = of_wall - from_points - others
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
    inferred : array (q,)
        How far a node is wall in shadow, which follows the fitted wall alone.
    """

    def __init__(self, wall: CloudPosterior, height: Float, azimuth: Float) -> None:
        self._wall, self._height, self._azimuth = wall, height, azimuth
        self._average = _averages(wall, height, azimuth)
        fields = wall.fields
        self.mean = self._average @ fields.mean
        self.inferred = self._average @ fields.inferred
        self._follows = self._average @ fields.follows
        self.grazing_variance = self._average @ fields.grazing
        hidden = self._average @ fields.occluded
        self.roughness_variance = hidden * (self._average @ fields.roughness)
        self.systematic_slope = np.asarray((self._average @ fields.slope).T)

    def covariances(self) -> tuple[Float, Float]:
        """By what the fitted wall and kriging leave open, and by scatter of points.

        Returns
        -------
        wall, scatter : array (q, q), mm2
            The latter beyond what scatter does to the fitted wall where it is inferred.
        """
        weights, left, scatter = self._local(self._average)
        best = self._wall.fitted.best
        some = np.flatnonzero(self.inferred)
        follows = bool((self._follows > _FOLLOWS).any())
        if not some.size and not follows:
            return left, scatter
        cross = best.cross_covariance_with_net(self._height, self._azimuth)
        known = best.whitened(cross, spoiled=True)
        if some.size:
            # in shadow, all that the fitted wall is unsure of
            places = net_points(self._height, self._azimuth)
            there = Points2D(places.azimuth[some], places.height[some])
            explained = known[:, some]
            fitted = best.covariance.between(there, there) - explained.T @ explained
            fitted *= self.inferred[some, None] * self.inferred[None, some]
            left[np.ix_(some, some)] += fitted
        if follows:
            # (q, readings): change of a node with each reading
            gain = best.gains(known)
            gain *= self._follows[:, None]
            scatter += self._by_fit(gain, weights)
        return left, scatter

    def variances_of_sum(self, weight: Float) -> tuple[float, float]:
        """The same two of a weighted sum over the nodes, mm2; ``weight`` is (q,)."""
        from scipy.sparse import csr_array

        wall, height, azimuth = self._wall, self._height, self._azimuth
        whole = csr_array(csr_array(weight[None, :]) @ self._average)
        weights, left, scatter = self._local(whole)
        best = wall.fitted.best
        if self.inferred.any():
            left += best.variance_of_sum(height, azimuth, weight * self.inferred)
        if (self._follows > _FOLLOWS).any():
            gain = best.gain(height, azimuth, weight * self._follows)[None, :]
            scatter += self._by_fit(gain, weights)
        return float(left[0, 0]), float(scatter[0, 0])

    def _local(self, average: csr_array) -> tuple[csr_array, Float, Float]:
        """What kriging makes of weights of cells (p, m * k).

        Returns
        -------
        weights : sparse array (p, m * k)
            Of cells' own residuals.
        left, scatter : array (p, p), mm2
            What it leaves open, and by the scatter of points.
        """
        from scipy.sparse import csr_array

        wall = self._wall
        shown = _scaled(average, wall.fields.seen)
        weights = csr_array(shown @ wall.local.weights)
        scattered = _scaled(weights, wall.points.variance.ravel())
        scatter = (scattered @ weights.T).toarray()
        missed = csr_array(shown - weights)
        left = wall.local.covariance(missed, wall.correlations).toarray()
        # (p, m): how much of what a row is off by all round points do not undo
        by_row = csr_array(missed @ wall.fields.rows)
        left += by_row @ (by_row @ wall.ring_covariance).T
        return weights, left, scatter

    def _by_fit(self, gain: Float, weights: csr_array) -> Float:
        """What the same scatter does to the fitted wall, and with it; (p, p), mm2.

        What the fitted wall is off by otherwise is the residual field.

        Parameters
        ----------
        gain : array (p, readings)
            Change of the fitted wall, as far as it is followed, with each reading.
        weights : sparse array (p, m * k)
            As `_local` gives them.
        """
        wall = self._wall
        both, first = wall.fields.in_blocks, wall.points.first
        found = wall.fitted.best.noise.covariance_of(gain)
        blocks = gain[:, first : first + both.shape[0]]
        with_cells = (weights @ both.T) @ np.ascontiguousarray(blocks.T)
        found += with_cells
        found += with_cells.T
        return found


def _scaled(table: csr_array, by: Float) -> csr_array:
    """Columns of a sparse table times numbers (columns,)."""
    from scipy.sparse import csr_array

    data = table.data * by[table.indices]
    return csr_array((data, table.indices, table.indptr), shape=table.shape)


@dataclass(frozen=True)
class _Fields:
    """What every net of a wall asks of its cells, raveled; (m * k,) and nil for NaN.

    Attributes
    ----------
    mean, seen, occluded, inferred, follows, grazing, roughness : array (m * k,)
    slope : array (m * k, p)
        Of `SystematicErrors`.
    rows : sparse array (m * k, m)
    in_blocks : sparse array (blocks, m * k), mm2
        Of `PointErrors`.
    """

    mean: Float
    seen: Float
    occluded: Float
    inferred: Float
    follows: Float
    grazing: Float
    roughness: Float
    slope: Float
    rows: csr_array
    in_blocks: csr_array

    @classmethod
    def of(cls, wall: CloudPosterior) -> _Fields:
        """Of a wall."""

        def flat(field: Float) -> Float:
            return np.nan_to_num(field).ravel()

        occluded = wall.occluded.astype(np.float64)
        seen = 1.0 - occluded
        return cls(
            mean=flat(wall.mean),
            seen=seen.ravel(),
            occluded=occluded.ravel(),
            inferred=flat(occluded * wall.sd_inflation),
            follows=flat(seen * (1.0 - wall.local.gain)),
            grazing=flat(seen * wall.grazing_variance),
            roughness=flat(occluded * wall.roughness_variance),
            slope=np.stack([flat(field) for field in wall.systematic.slope], axis=-1),
            rows=of_rows(wall.grid.shape),
            in_blocks=wall.points.in_blocks(),
        )


#: Share of the fitted wall in a node below which its errors are not worked out.
_FOLLOWS = 1e-3


def _averages(wall: CloudPosterior, height: Float, azimuth: Float) -> csr_array:
    """Weights of cells in the nodes of a net; (q, m * k).

    A node is the mean of the cells that are no further off than half of the way to the
    nearer of its neighbours, up and round, openings and wall not surveyed left out as
    far as there is any other.  A net of one height is that height: straight between the
    rows above and below; one of one azimuth is the column nearest to it.
    """
    from scipy.sparse import csr_array

    grid = wall.grid
    turn = np.mod(grid.azimuth[:, None] - azimuth[None, :] + 180.0, 360.0) - 180.0
    column = np.argmin(np.abs(turn), axis=1)
    adjacent = np.min(np.abs(turn), axis=1) <= _half_way(_gaps_round(azimuth))[column]
    if azimuth.size == 1:
        adjacent = np.abs(turn[:, 0]) <= np.min(np.abs(turn))
    if height.size == 1:
        node = np.zeros(grid.height.size, dtype=np.int64)
        share = _rows_at(grid, float(height[0]))
    else:
        node = _nearest(grid.height, height)
        gaps = np.diff(height)
        reach = _half_way(np.concatenate([gaps[:1], gaps, gaps[-1:]]))
        near = np.abs(grid.height - height[node]) <= reach[node]
        share = np.where(grid.surveyed_rows & near, 1.0, 0.0)
    owner = (node[:, None] * azimuth.size + column[None, :]).ravel()
    weight = share[:, None] * adjacent
    good = (np.isfinite(wall.mean) & ~grid.opening).ravel()
    size = height.size * azimuth.size
    best = np.where(good, weight.ravel(), 0.0)
    total = np.bincount(owner, best, size)
    # a node with nothing but openings and unread wall is the mean of these
    best = np.where((total <= 0.0)[owner], weight.ravel(), best)
    total = np.bincount(owner, best, size)
    held = np.flatnonzero(best > 0.0)
    value: Float = best[held] / total[owner[held]]
    return csr_array((value, (owner[held], held)), shape=(size, owner.size))


def _half_way(gaps: Float) -> Float:
    """Half of the way to the nearer neighbour; from gaps before and after, (n + 1,)."""
    # cells just half way to a neighbour are not to slip through
    return np.asarray(0.5 * np.minimum(gaps[:-1], gaps[1:]) * (1.0 + 1e-9))


def _gaps_round(azimuth: Float) -> Float:
    """Turn between each of rising azimuths and the next, the last to the first too."""
    between = np.diff(np.append(azimuth, azimuth[0] + 360.0))
    return np.concatenate([between[-1:], between])


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
