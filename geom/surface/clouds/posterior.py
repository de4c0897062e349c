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
from geom.surface.grid import Grid, net_averages
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
        """Of the residual field between cells, for `LocalKriging.sides`."""
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
        return net.mean, net.covariance(slice(None))

    def rings(self, height: Float, azimuth: Float) -> tuple[Float, Float]:
        """Mean and covariance of cut-back ring by ring; as `Posterior`."""
        net, count = _Net(self, height, azimuth, rings=True), azimuth.size
        ring = [slice(k * count, (k + 1) * count) for k in range(height.size)]
        covariance = [net.covariance(nodes) for nodes in ring]
        return net.mean.reshape(-1, count), np.stack(covariance)

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

    Parameters
    ----------
    rings : bool
        Whether its heights are rings, each a net of its own.

    Attributes
    ----------
    inferred : array (q,)
        How far a node is wall in shadow, which follows the fitted wall alone.
    """

    def __init__(
        self,
        wall: CloudPosterior,
        height: Float,
        azimuth: Float,
        *,
        rings: bool = False,
    ) -> None:
        from scipy.sparse import csr_array, vstack

        self._wall, self._height, self._azimuth = wall, height, azimuth
        parts = height[:, None] if rings else [height]
        good = np.isfinite(wall.mean) & ~wall.grid.opening
        averages = [net_averages(wall.grid, good, part, azimuth) for part in parts]
        self._average = csr_array(vstack(averages, format="csr"))
        fields = wall.fields
        self.mean = self._average @ fields.mean
        self.inferred = self._average @ fields.inferred
        self._follows = self._average @ fields.follows
        self.grazing_variance = self._average @ fields.grazing
        hidden = self._average @ fields.occluded
        self.roughness_variance = hidden * (self._average @ fields.roughness)
        self.systematic_slope = np.asarray((self._average @ fields.slope).T)

    @cached_property
    def _kriged(self) -> _Kriged:
        return _Kriged.of(self._wall, self._average)

    @cached_property
    def _known(self) -> Float:
        """Of `ConditionalGP.whitened`, of the nodes; (readings, q)."""
        best = self._wall.fitted.best
        cross = best.cross_covariance_with_net(self._height, self._azimuth)
        return best.whitened(cross, spoiled=True)

    @cached_property
    def _gain(self) -> Float:
        """How the nodes follow the fitted wall's readings; (q, readings)."""
        gain = self._wall.fitted.best.gains(self._known)
        gain *= self._follows[:, None]
        return gain

    def covariance(self, nodes: slice) -> Float:
        """Between some of the nodes, mm2; (p, p)."""
        kriged, wall = self._kriged.only(nodes), self._wall
        found = kriged.left
        hidden = self.inferred[nodes]
        some = np.flatnonzero(hidden)
        if some.size:
            # in shadow, all that the fitted wall is unsure of
            places = net_points(self._height, self._azimuth)
            there = Points2D(places.azimuth[nodes][some], places.height[nodes][some])
            explained = self._known[:, nodes][:, some]
            fitted = wall.fitted.best.covariance.between(there, there)
            fitted -= explained.T @ explained
            fitted *= hidden[some, None] * hidden[None, some]
            found[np.ix_(some, some)] += fitted
        if (self._follows[nodes] > _FOLLOWS).any():
            found += kriged.scatter_with(self._gain[nodes])
        else:
            _add(found, kriged.scatter)
        slope = self.systematic_slope[:, nodes]
        found += slope.T @ wall.systematic.covariance @ slope
        own = self.grazing_variance[nodes] + self.roughness_variance[nodes]
        found[np.diag_indices_from(found)] += own
        return found

    def variances_of_sum(self, weight: Float) -> tuple[float, float]:
        """Of a weighted sum over the nodes, mm2; ``weight`` is (q,).

        Returns
        -------
        float, float
            By what the fitted wall and kriging leave open, and by scatter of points,
            beyond what scatter does to the fitted wall where it is inferred.
        """
        from scipy.sparse import csr_array

        wall, height, azimuth = self._wall, self._height, self._azimuth
        whole = csr_array(csr_array(weight[None, :]) @ self._average)
        kriged = _Kriged.of(wall, whole)
        left, by_points = float(kriged.left[0, 0]), float(kriged.scatter.sum())
        best = wall.fitted.best
        if self.inferred.any():
            left += best.variance_of_sum(height, azimuth, weight * self.inferred)
        if (self._follows > _FOLLOWS).any():
            gain = best.gain(height, azimuth, weight * self._follows)[None, :]
            by_points = float(kriged.scatter_with(gain)[0, 0])
        return left, by_points


@dataclass(frozen=True)
class _Kriged:
    """Sums of cells, (p,), by kriging.

    Attributes
    ----------
    weights, scattered : sparse array (p, m * k)
        Of cells' own residuals; and times their scatter.
    along, across : sparse array (p, m * k)
        The product of one with the other's transpose is the covariance of what kriging
        leaves of the residual field.
    by_row : sparse array (p, m)
        How much of what a row is off by all round points do not undo.
    missed : array (p, m)
        That times its covariance.
    """

    wall: CloudPosterior
    weights: csr_array
    scattered: csr_array
    along: csr_array
    across: csr_array
    by_row: csr_array
    missed: Float

    @classmethod
    def of(cls, wall: CloudPosterior, average: csr_array) -> _Kriged:
        """Of weights of cells (p, m * k)."""
        from scipy.sparse import csr_array

        shown = _scaled(average, wall.fields.seen)
        weights = csr_array(shown @ wall.local.weights)
        scattered = _scaled(weights, wall.points.variance.ravel())
        missed = csr_array(shown - weights)
        sides = wall.local.sides(missed, wall.correlations)
        by_row = csr_array(missed @ wall.fields.rows)
        off = np.asarray(by_row @ wall.ring_covariance)
        return cls(wall, weights, scattered, *sides, by_row, off)

    def only(self, nodes: slice) -> _Kriged:
        """Some of them."""
        if nodes == slice(None):
            return self
        return _Kriged(
            self.wall,
            self.weights[nodes],
            self.scattered[nodes],
            self.along[nodes],
            self.across[nodes],
            self.by_row[nodes],
            self.missed[nodes],
        )

    @property
    def left(self) -> Float:
        """Covariance of what kriging leaves open, mm2; (p, p)."""
        found = np.asarray(self.by_row @ self.missed.T)
        _add(found, self.along @ self.across.T)
        return found

    @property
    def scatter(self) -> csr_array:
        """By the scatter of points, mm2; sparse (p, p)."""
        from scipy.sparse import csr_array

        return csr_array(self.scattered @ self.weights.T)

    def scatter_with(self, gain: Float) -> Float:
        """By scatter of points, with what it does to the fitted wall; (p, p), mm2.

        What the fitted wall is off by otherwise is the residual field.

        Parameters
        ----------
        gain : array (p, readings)
            Change of the fitted wall, as far as it is followed, with each reading.
        """
        both, first = self.wall.fields.in_blocks, self.wall.points.first
        noise = self.wall.fitted.best.noise
        root = np.sqrt(noise.own)
        each = gain * root
        # G N G' + G B' + B G', with G gains, N readings' own variances and B what cells
        # and blocks share, is that of G N^1/2 + B N^-1/2 less B N^-1 B'
        blocks = root[first : first + both.shape[0]]
        with_cells = _scaled(self.weights @ both.T, 1.0 / blocks)
        _add(each[:, first : first + blocks.size], with_cells)
        found = np.asarray(each @ each.T)
        for source in noise.sources:
            if source.shared.shape[1]:
                part = gain @ source.shared
                found += part @ part.T
        _add(found, self.scatter - with_cells @ with_cells.T)
        return found


def _add(table: Float, sparse: csr_array) -> None:
    """Add a sparse table to one, in place."""
    some = sparse.tocoo()
    table[some.row, some.col] += some.data


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
