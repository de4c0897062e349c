"""Simple kriging of what cells stand off the fitted wall, from the cells around.

The process fitted to blocks of cells draws the wall smoother than it is: over a block
it knows the mean alone.  What is left, the residual field, reaches some centimetres:
its value in a cell is the best linear estimate from the nearest cells with points of
their own, whose means are uncertain by the scatter of their few points and by how the
wall runs within them.  A linear estimate goes by where points lie and not by how many:
a scan that is denser on some wall than elsewhere does not bend it.

How strong the field is near a cell is estimated by products of residuals of *different*
cells, in which the scatter of points has no part on average.  How far it reaches, over
how many cells it is equally strong, and by how much those products fall short, is
chosen by how well cells that are left out are foretold from the others (Rasmussen and
Williams 2006, section 5.4.2).

References
----------
Cressie, N. (1993). Statistics for Spatial Data, revised ed., section 3.2 (simple
kriging and its variance) and 2.3.1 (the spherical model, valid in up to three
dimensions; from memory).
Rasmussen, C. E. and Williams, C. K. I. (2006). Gaussian Processes for Machine Learning,
section 5.4.2 (predictive log probability of what is left out).
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from geom.surface.assumptions import ASSUMED
from geom.surface.grid import Grid
from geom.units import Bool, Float, Int

if TYPE_CHECKING:
    from scipy.sparse import csr_array


#: Cells that neighbours are looked for at a time.
_CHUNK = 8192


@dataclass(frozen=True)
class LocalKriging:
    """The linear estimate of the residual field in every cell, and its errors.

    Attributes
    ----------
    weights : sparse array (n, n)
        Of the n cells' own residuals (columns) in every cell's estimate (rows); cells
        in the order of a raveled grid.
    variance : array (m, k), mm2
        Of the field about its estimate, were points without scatter.
    field_sd : array (m, k), mm
        Standard deviation of the field before it was seen.
    reach : float, mm
        Distance past which it is uncorrelated; 0: cells stand by themselves.
    """

    weights: csr_array
    variance: Float
    field_sd: Float
    reach: float

    @property
    def gain(self) -> Float:
        """Sum of a cell's weights: 0 where the fitted wall stands as it is; (m, k)."""
        total = np.asarray(self.weights.sum(axis=1), dtype=np.float64)
        return total.reshape(self.variance.shape)

    def apply(self, residual: Float) -> Float:
        """Estimates from residuals (m, k), NaN where there is none; same shape."""
        return np.asarray(self.weights @ np.nan_to_num(residual).ravel()).reshape(
            residual.shape
        )

    def scatter(self, variance: Float) -> Float:
        """What scatter of cells' own points (m, k) puts into the estimates, mm2."""
        squared = self.weights.multiply(self.weights).tocsr()
        return np.asarray(squared @ variance.ravel()).reshape(variance.shape)

    def missed_rows(self, covariance: Float) -> Float:
        """Variance of errors that rows have all round, where points do not undo them.

        Parameters
        ----------
        covariance : array (m, m), mm2
            Between the rows.

        Returns
        -------
        array (m, k), mm2
        """
        from scipy.sparse import eye_array

        shape = self.variance.shape
        count = shape[0] * shape[1]
        missed = (eye_array(count, format="csr") - self.weights).tocsr() @ of_rows(
            shape
        )
        found = np.zeros(count)
        for start in range(0, count, _CHUNK):
            part = missed[start : start + _CHUNK]
            found[start : start + _CHUNK] = part.multiply(part @ covariance).sum(axis=1)
        return found.reshape(shape)

    def correlations(self, grid: Grid) -> tuple[csr_array, csr_array] | None:
        """Between rows (m, m), and columns (k, k): of two cells the product of both.

        None where cells are correlated with no others.
        """
        from scipy.sparse import csr_array

        if self.reach <= 0.0:
            return None
        up, around = _correlations(grid, self.reach)
        return csr_array(up), csr_array(around)

    def field_times(self, by: Float, grid: Grid) -> Float:
        """Covariance of the field between all cells, times numbers of cells (m, k)."""
        found = self.field_sd * by
        if (tables := self.correlations(grid)) is not None:
            up, around = tables
            # both are symmetric
            found = up @ (around @ found.T).T
        return np.asarray(self.field_sd * found)

    def sides(
        self, missed: csr_array, correlations: tuple[csr_array, csr_array] | None
    ) -> tuple[csr_array, csr_array]:
        """Two tables (q, n): one by the other's transpose is the covariance of sums.

        Parameters
        ----------
        missed : sparse array (q, n)
            Weights of cells in each sum over the field.
        """
        from scipy.sparse import csr_array

        missed = missed.sorted_indices()
        data = missed.data * self.field_sd.ravel()[missed.indices]
        scaled = csr_array((data, missed.indices, missed.indptr), shape=missed.shape)
        if correlations is None:
            return scaled, scaled
        up, around = correlations
        # of each sum a table of cells: one side is spread along its rows, the other
        # along its columns
        columns = around.shape[0]
        along = _each_turned(_each_times(scaled, around), columns)
        return along, _each_times(_each_turned(scaled, columns), up)


def _each_times(tables: csr_array, by: csr_array) -> csr_array:
    """Each of q tables (m, k), raveled in a row of (q, m * k), times (k, k)."""
    from scipy.sparse import csr_array

    count, size = tables.shape
    product = csr_array(_of_tables(tables, by.shape[0]) @ by)
    row = np.repeat(np.arange(product.shape[0]), np.diff(product.indptr))
    at = row % (size // by.shape[0]) * by.shape[0] + product.indices
    start = product.indptr[:: size // by.shape[0]]
    return csr_array((product.data, at, start), shape=(count, size))


def _each_turned(tables: csr_array, columns: int) -> csr_array:
    """Each of q tables (m, k), raveled in a row, turned into (k, m)."""
    from scipy.sparse import csr_array

    rows = tables.shape[1] // columns
    row, column = tables.indices // columns, tables.indices % columns
    turned = csr_array(
        (tables.data.copy(), column * rows + row, tables.indptr), shape=tables.shape
    )
    turned.sort_indices()
    return turned


def _of_tables(tables: csr_array, columns: int) -> csr_array:
    """All rows of q tables (m, k), raveled in a row each, below each other; (q m, k).

    What a table holds must stand in the order of its rows.
    """
    from scipy.sparse import csr_array

    count, size = tables.shape
    rows = size // columns
    owner = np.repeat(np.arange(count), np.diff(tables.indptr))
    held = np.bincount(owner * rows + tables.indices // columns, minlength=count * rows)
    start = np.concatenate([[0], np.cumsum(held)])
    at = tables.indices % columns
    return csr_array((tables.data, at, start), shape=(count * rows, columns))


def of_rows(shape: tuple[int, int]) -> csr_array:
    """One where a cell of a raveled grid lies in a row; (m * k, m)."""
    from scipy.sparse import csr_array

    rows, columns = shape
    cell = np.arange(rows * columns)
    return csr_array(
        (np.ones(cell.size), (cell, cell // columns)), shape=(cell.size, rows)
    )


def spherical(scaled: Float) -> Float:
    """Correlation at distances over the reach: nothing past 1."""
    near = np.minimum(scaled, 1.0)
    return np.asarray(1.0 - 1.5 * near + 0.5 * near**3)


def _correlations(grid: Grid, reach: float) -> tuple[Float, Float]:
    """Between rows (m, m) and columns (k, k): their product is that of two cells."""
    rise = np.abs(grid.height[:, None] - grid.height[None, :])
    turn = 0.5 * np.deg2rad(grid.azimuth[:, None] - grid.azimuth[None, :])
    chord = 2.0 * float(grid.design_radius.mean()) * np.abs(np.sin(turn))
    return spherical(rise / reach), spherical(chord / reach)


def by_themselves(gain: Float, before: Float) -> LocalKriging:
    """Every cell estimated by its own residual alone, times its gain.

    Parameters
    ----------
    gain : array (m, k), 0 to 1
    before : array (m, k), mm2
        Variance of the field before it was seen.
    """
    from scipy.sparse import csr_array, diags_array

    return LocalKriging(
        csr_array(diags_array(gain.ravel())),
        (1.0 - gain) ** 2 * before,
        np.sqrt(before),
        0.0,
    )


def krige(
    residual: Float,
    variance: Float,
    points: Float,
    wanted: Bool,
    *,
    scattered: Float,
    grid: Grid,
) -> LocalKriging:
    """Fit the residual field and estimate it in every cell that is wanted.

    Parameters
    ----------
    residual : array (m, k), mm
        Of cells with points of their own off the fitted wall; else NaN.
    variance : array (m, k), mm2
        Of those by scatter.
    points : array (m, k)
        How many.
    wanted : bool array (m, k)
    scattered : array (m, k), mm2
        Variance of the fitted wall by the scatter of the same points.
    """
    observed = np.isfinite(residual)
    if not observed.any():
        nothing = np.zeros(grid.shape)
        return by_themselves(nothing, nothing)
    each = float(points[observed].mean())
    neighbours = int(
        min(
            np.clip(
                round(ASSUMED.kriging_points / each), 1, ASSUMED.kriging_neighbours
            ),
            observed.sum(),
        )
    )
    # cells with points of their own, of all that are seen
    share = float(observed.sum()) / max(float((wanted | observed).sum()), 1.0)

    def field_over(window: int, read: Float) -> Float:
        # the fitted wall follows the scatter by as much as it scatters: of products of
        # residuals that takes off twice its variance and adds it once
        raw = local_variance(read, variance, share, window) + 2.0 * scattered
        return np.asarray(np.maximum(raw, np.maximum(scattered, 1e-6)))

    if neighbours == 1:
        field = field_over(ASSUMED.kriging_local_window, residual)
        before = np.where(observed, field, 0.0)
        own = np.where(observed, variance, 1.0)
        return by_themselves(np.where(observed, before / (before + own), 0.0), field)
    search = _Search.of(residual, variance, observed, grid)
    # those left out have no say in how strong the field is where they are
    many = min(ASSUMED.kriging_left_out, search.at.size // 5)
    some = np.random.default_rng(0).permutation(search.at.size)[:many]
    rest = residual.copy()
    rest.flat[search.at[some]] = np.nan
    fields = {window: field_over(window, rest) for window in ASSUMED.kriging_windows}
    reach, factor, window = search.best(some, fields, neighbours)
    field = factor * field_over(window, residual)
    return _calibrated(
        search.solve(field, wanted, reach, neighbours), residual, variance
    )


def _calibrated(local: LocalKriging, residual: Float, variance: Float) -> LocalKriging:
    """The same with the field's errors as large as those of cells left out are."""
    off, field, scatter = _left_out(local, residual, variance, np.isfinite(residual))
    if off.size < ASSUMED.kriging_left_out:
        return local
    ratio = float(np.sum(off**2 - scatter) / max(float(field.sum()), 1e-9))
    ratio = float(
        np.clip(ratio, 1.0 / ASSUMED.kriging_most_off, ASSUMED.kriging_most_off)
    )
    return replace(
        local,
        variance=ratio * local.variance,
        field_sd=np.sqrt(ratio) * local.field_sd,
    )


def _left_out(
    local: LocalKriging, residual: Float, variance: Float, some: Bool
) -> tuple[Float, Float, Float]:
    """What cells lie off by when they are left out, and its variances.

    In closed form (Rasmussen and Williams 2006, eq. 5.12): with w the own weight of a
    cell and n its scatter, its residual lies off by (r - f) / (1 - w), of variance
    n / (1 - w).

    Returns
    -------
    off : array (p,), mm
        Of the cells in ``some`` that have points.
    field, scatter : array (p,), mm2
        The part of its variance that is the field's, and that by scatter.
    """
    observed = some & np.isfinite(residual)
    own = local.weights.diagonal().reshape(residual.shape)[observed]
    kept = np.maximum(1.0 - own, 1e-3)
    off = (residual - local.apply(residual))[observed] / kept
    scatter = variance[observed]
    return off, np.maximum(scatter / kept - scatter, 0.0), scatter


def local_variance(
    residual: Float,
    variance: Float,
    share: float,
    window: int = ASSUMED.kriging_local_window,
) -> Float:
    """Variance of the residual field near each cell, from products of cells; (m, k).

    By chance it may come out below 0 where the whole wall's does.

    Parameters
    ----------
    residual : array (m, k), mm
        NaN where a cell has no points of its own.
    variance : array (m, k), mm2
    share : float
        Of the cells that have.
    window : int
        Rows and columns of cells over which it is one.
    """
    from scipy.ndimage import uniform_filter

    def summed(field: Float, size: int) -> Float:
        return np.asarray(
            uniform_filter(field, size, mode=["constant", "wrap"]) * size**2
        )

    observed = np.isfinite(residual)
    side = (
        2
        * int(
            np.ceil(0.5 * (np.sqrt(ASSUMED.kriging_partners / max(share, 0.02)) - 1.0))
        )
        + 1
    )
    weight = np.where(observed, 1.0 / np.maximum(variance, 1e-3), 0.0)
    value = np.where(observed, residual, 0.0)
    others = np.maximum(summed(weight, side) - weight, 0.0)
    pulled = summed(weight * value, side) - weight * value
    # weighted by what the product is worth: weight * others * (product)
    product = weight * value * pulled
    worth = np.where(observed, weight * others, 0.0)
    # a wall that is smooth but for a few edges is smooth on the whole
    wide = summed(product, ASSUMED.kriging_wide_window)[observed] / np.maximum(
        summed(worth, ASSUMED.kriging_wide_window)[observed], 1e-9
    )
    whole = float(np.median(wide))
    local, counts = summed(product, window), summed(worth, window)
    usual = (
        ASSUMED.kriging_whole_counts
        * share
        * float(worth.sum())
        / max(float(observed.sum()), 1.0)
    )
    found = (local + usual * whole) / (counts + usual)
    return np.maximum(found, ASSUMED.kriging_least_part * whole)


@dataclass(frozen=True, eq=False)
class _Search:
    """Cells with points of their own, and how to find those near a place.

    Attributes
    ----------
    at : int array (p,)
        Which cells of the raveled grid.
    residual, variance : array (p,)
    place : array (n, 3), mm
        Of all cells: along the ring's x and y, and up.
    tree : cKDTree
        Of those in ``at``.
    """

    at: Int
    residual: Float
    variance: Float
    place: Float
    tree: object
    grid: Grid

    @classmethod
    def of(
        cls, residual: Float, variance: Float, observed: Bool, grid: Grid
    ) -> _Search:
        """Of the cells that have points of their own."""
        from scipy.spatial import cKDTree

        height, azimuth = np.meshgrid(grid.height, grid.azimuth, indexing="ij")
        radius, angle = float(grid.design_radius.mean()), np.deg2rad(azimuth)
        place = np.stack(
            [radius * np.cos(angle), radius * np.sin(angle), height], axis=-1
        ).reshape(-1, 3)
        at = np.flatnonzero(observed)
        value, scatter = residual.ravel()[at], variance.ravel()[at]
        return cls(at, value, scatter, place, cKDTree(place[at]), grid)

    def best(
        self, some: Int, fields: dict[int, Float], neighbours: int
    ) -> tuple[float, float, int]:
        """Reach, factor and window that foretell some cells from the others the best.

        Reach and factor for the middle window, then window and factor for that reach.
        """
        near = self._near(self.place[self.at[some]], min(neighbours + 1, self.at.size))
        near = np.ascontiguousarray(near[:, 1:])
        if not near.shape[1] or not some.size:
            return ASSUMED.kriging_reaches[0], 1.0, ASSUMED.kriging_local_window

        def misfit(reach: float, factor: float, window: int) -> float:
            size, tables = factor * fields[window].ravel(), tabled[reach]
            weight, left = self._weights(size, self.at[some], near, tables)
            off = self.residual[some] - np.sum(weight * self.residual[near], axis=1)
            scatter = np.sum(weight**2 * self.variance[near], axis=1)
            spread = left + scatter + self.variance[some]
            return float(np.sum(np.log(spread) + off**2 / spread))

        tabled = {
            reach: _correlations(self.grid, reach) for reach in ASSUMED.kriging_reaches
        }
        first = itertools.product(
            ASSUMED.kriging_reaches,
            ASSUMED.kriging_factors,
            (ASSUMED.kriging_local_window,),
        )
        reach, _, _ = min(first, key=lambda choice: misfit(*choice))
        second = itertools.product((reach,), ASSUMED.kriging_factors, fields)
        return min(second, key=lambda choice: misfit(*choice))

    def solve(
        self, field: Float, wanted: Bool, reach: float, neighbours: int
    ) -> LocalKriging:
        """The estimate in every cell that is wanted."""
        from scipy.sparse import csr_array

        size, target = field.ravel(), np.flatnonzero(wanted)
        tables = _correlations(self.grid, reach)
        weights, left, columns = [], [], []
        for start in range(0, target.size, _CHUNK):
            some = target[start : start + _CHUNK]
            near = self._near(self.place[some], neighbours)
            weight, remains = self._weights(size, some, near, tables)
            weights.append(weight)
            left.append(remains)
            columns.append(self.at[near])
        count = size.size
        variance = np.zeros(count)
        table = np.concatenate([np.zeros((0, neighbours)), *weights])
        variance[target] = np.concatenate([np.zeros(0), *left])
        column = np.concatenate([np.zeros((0, neighbours), dtype=np.int64), *columns])
        row = np.repeat(target, neighbours)
        whole = csr_array((table.ravel(), (row, column.ravel())), shape=(count, count))
        return LocalKriging(whole, variance.reshape(field.shape), np.sqrt(field), reach)

    def _near(self, place: Float, count: int) -> Int:
        _, near = self.tree.query(place, k=count)  # type: ignore[attr-defined]
        return np.asarray(near, dtype=np.int64).reshape(place.shape[0], count)

    def _weights(
        self, size: Float, target: Int, near: Int, tables: tuple[Float, Float]
    ) -> tuple[Float, Float]:
        """Weights of neighbours (t, c), and variance of the field that is left (t,)."""
        from geom.surface.clouds.systems import solved

        place, noise = self._known
        own, scale = self._rows_and_columns(target), np.sqrt(size)
        weight, left = np.empty(near.shape), np.empty(target.size)
        solved(
            place,
            scale[self.at],
            near,
            own,
            scale[target],
            noise,
            *tables,
            weight,
            left,
        )
        return weight, left

    @cached_property
    def _known(self) -> tuple[Int, Float]:
        """Rows and columns of the cells with points, (p, 2), and their scatter."""
        return self._rows_and_columns(self.at), np.maximum(self.variance, 1e-6)

    def _rows_and_columns(self, cells: Int) -> Int:
        return np.stack(np.divmod(cells, self.grid.azimuth.size), axis=1)
