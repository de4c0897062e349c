"""The wall as clouds show it: cells that are seen, and what is inferred between them.

The same model as for rod readings is fitted to the means of blocks of cells (and to rod
readings, if there are any).  It fills in what the laser did not see and says how well.
A cell that is seen is weighed against what its surroundings let expect, each by how
well it is known.  How far cells lie about the fitted wall, beyond what it and their own
scatter explain, is the roughness that a cell in shadow is given as well.

Errors are of four kinds: those of the fitted wall, which hang together in a shadow;
those of each cell by itself; those of a block of points that tells several cells; and
those of a cloud's pose and of the scanner, which the whole wall shares.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from geom.surface.clouds.shared_errors import SharedErrors
from geom.surface.gp.kernels import Points2D
from geom.surface.gp.posterior import GPPosterior, VarianceShare
from geom.surface.grid import Grid
from geom.units import Bool, Float, Int

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
    scatter_variance, grazing_variance : array (m, k), mm2
        Variance of a seen cell by itself: by scatter of its points (less what cells of
        one block share), and by the angle at which the laser met it.
    roughness_variance : array (m, k), mm2
        Variance of cells about the fitted wall.
    shared : SharedErrors
        Errors of blocks of points that tell several cells at once.
    systematic : SystematicErrors
    """

    fitted: GPPosterior
    grid: Grid
    mean: Float
    sd: Float
    occluded: Bool
    sd_inflation: Float
    scatter_variance: Float
    grazing_variance: Float
    roughness_variance: Float
    shared: SharedErrors
    systematic: SystematicErrors

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
        if net.inferred.any():
            _, covariance = self.fitted.joint(height, azimuth)
        else:
            covariance = np.zeros((net.mean.size, net.mean.size))
        covariance *= net.inferred[:, None] * net.inferred[None, :]
        slope = net.systematic_slope
        covariance += slope.T @ self.systematic.covariance @ slope
        covariance += (net.shared @ net.shared.T).toarray()
        own = net.scatter_variance + net.grazing_variance + net.roughness_variance
        covariance[np.diag_indices_from(covariance)] += own
        return net.mean, covariance

    def sources_of_sum(
        self, height: Float, azimuth: Float, weight: Float, typical: float
    ) -> list[VarianceShare]:
        """Where the variance of a weighted sum comes from; as `Posterior`."""
        net = _Net(self, height, azimuth)
        unseen = self.fitted.sources_of_sum(
            height, azimuth, weight * net.inferred, typical
        )
        wall, *read = unseen
        squared = weight**2
        roughness_variance = float(squared @ net.roughness_variance)
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

        from_points = sum(s.variance for s in read if s.source == BLOCKS)
        unseen_sd = _rms(self.sd[self.occluded & self.grid.surveyed])
        of_scatter = typical_of(self.scatter_variance)
        of_grazing = typical_of(self.grazing_variance)
        scatter = float(squared @ net.scatter_variance) + from_points
        scatter += float(np.sum((net.shared.T @ weight) ** 2))
        grazing = float(squared @ net.grazing_variance)
        rows: tuple[tuple[str, Literal["A", "B"], float, str, float], ...] = (
            ("wall not seen", "A", unseen_sd, "mm", wall.variance + roughness_variance),
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
    """What the nodes of a net stand for; arrays (q,), azimuth running fastest."""

    def __init__(self, wall: CloudPosterior, height: Float, azimuth: Float) -> None:
        grid = wall.grid
        rows = _nearest(grid.height, height)
        rows = np.where(grid.surveyed_rows, rows, -1)
        turn = np.mod(grid.azimuth[:, None] - azimuth[None, :] + 180.0, 360.0) - 180.0
        columns = np.argmin(np.abs(turn), axis=1)
        if height.size == 1:
            rows = np.full(grid.height.size, -1)
            at = np.argmin(
                np.where(grid.surveyed_rows, np.abs(grid.height - height[0]), 9e9)
            )
            rows[at] = 0
        self._owner = np.where(
            rows[:, None] >= 0, rows[:, None] * azimuth.size + columns[None, :], -1
        )
        self._size = height.size * azimuth.size
        self._count = np.maximum(self._sum(np.ones(grid.shape)), 1.0)
        occluded = wall.occluded.astype(np.float64)
        self.occluded = self._mean(occluded)
        self.inferred = self._mean(occluded * wall.sd_inflation)
        self.mean = self._mean(wall.mean)
        self.scatter_variance = (
            self._mean(np.where(wall.occluded, 0, wall.scatter_variance)) / self._count
        )
        self.grazing_variance = self._mean(
            np.where(wall.occluded, 0.0, wall.grazing_variance)
        )
        self.roughness_variance = self.occluded * self._mean(
            occluded * wall.roughness_variance
        )
        self.systematic_slope = np.stack(
            [self._mean(field) for field in wall.systematic.slope]
        )
        seen = np.where(wall.occluded, 0.0, 1.0)
        slopes = wall.shared.slopes(self._owner, seen, self._size)
        self.shared = slopes.multiply(1.0 / self._count[:, None]).tocsr()

    def _sum(self, field: Float) -> Float:
        held = self._owner >= 0
        value = np.nan_to_num(field[held])
        return np.bincount(self._owner[held], value, self._size).astype(np.float64)

    def _mean(self, field: Float) -> Float:
        return self._sum(field) / self._count


def _nearest(values: Float, to: Float) -> Int:
    """Index of the nearest of ``to`` (rising) for each value."""
    edge = 0.5 * (to[1:] + to[:-1])
    return np.searchsorted(edge, values).astype(np.int64)
