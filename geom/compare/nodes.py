"""A coarser net over the surveyed wall on which cells are known jointly.

Best estimates are summed over the fine grid.  Their uncertainty depends on how errors
hang together from place to place, so it is worked out from the full covariance between
at most a few thousand nodes; each fine cell lends its weight to the node it belongs to.
"""

from __future__ import annotations

import weakref
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from geom.compare.unevenness import (
    AS_ESTIMATED,
    NodeSquares,
    Unevenness,
    squares_near_nil,
    wall_unevenness,
)
from geom.stats.normal import hermite_excess
from geom.surface import Grid, RadialSurface
from geom.units import Bool, Float, Int

_COLUMNS = 60
_ROWS = 40
_ROW_HEIGHT = 45.0
#: Distance of the nodes of a piece of wall where it is not too large, mm: half a
#: brick's height.
_FINE = 30.0
#: Share of the greatest variance that is added to all, so that nodes that move as one
#: can be drawn.
_RIDGE = 1e-7
_FACTORIAL = (1.0, 2.0, 6.0, 24.0)
#: Rows of a table that are worked on at a time, so that they stay in the cache.
_BLOCK = 64
#: Draws are kept in single precision: chance moves them by far more.
Float32 = NDArray[np.float32]


@dataclass(frozen=True)
class Nodes:
    """The net, q nodes.

    Attributes
    ----------
    height : array (rows,), mm
    azimuth : array (columns,), degrees
        Centres of the nodes; q = rows * columns, azimuth running fastest.
    design_radius : array (q,), mm
    mean : array (q,), mm
        Cut-back.
    covariance : array (q, q), mm2
    owner : int array (m, k)
        Node of every cell of the fine grid; -1 where not surveyed.
    seen : bool array (q,) or None
        Nodes whose wall a laser showed; None where rod readings are all there is.
    unevenness : tuple of Unevenness
        Of the wall within a node, equally probable.
    squares : NodeSquares or None
        Of cells that a laser saw near the drawing.
    """

    height: Float
    azimuth: Float
    design_radius: Float
    mean: Float
    covariance: Float
    owner: Int
    seen: Bool | None = None
    unevenness: tuple[Unevenness, ...] = AS_ESTIMATED
    squares: NodeSquares | None = None

    @cached_property
    def sd(self) -> Float:
        """Standard deviation of cut-back at the nodes, mm; shape (q,)."""
        return np.sqrt(np.maximum(np.diag(self.covariance), 0.0))

    def gather(self, weight: Float) -> Float:
        """Weights of fine cells summed at their nodes; (m, k) to (q,)."""
        held = self.owner >= 0
        size = self.mean.size
        summed = np.bincount(self.owner[held], weights=weight[held], minlength=size)
        return summed.astype(np.float64)

    def draws(self, some: Int, count: int, *, seed: int) -> Float:
        """Draws of some nodes about their mean, jointly.

        Parameters
        ----------
        some : int array (s,)
            Which nodes.

        Returns
        -------
        array (s, count), mm
        """
        from scipy.linalg import cholesky
        from scipy.linalg.blas import strmm

        # symmetric, so its transpose, in the order that LAPACK works in, is itself
        table = self.covariance.copy()
        if some.size < self.mean.size:
            table = self.covariance[np.ix_(some, some)]
        table.flat[:: some.size + 1] += _RIDGE * float(np.diag(table).max(initial=1.0))
        root = cholesky(table.T, lower=True, overwrite_a=True, check_finite=False)
        rng = np.random.default_rng(seed)
        standard = rng.standard_normal((count, some.size), dtype=np.float32).T
        errors = strmm(1.0, root.astype(np.float32), standard, lower=True)
        return np.asarray(errors, dtype=np.float64)

    def sd_of_sum(self, weight: Float) -> float:
        """Standard deviation of a weighted sum of cut-back; ``weight`` is (q,)."""
        some = np.flatnonzero(weight)
        part = weight[some]
        spread = part @ self.covariance[np.ix_(some, some)] @ part
        return float(np.sqrt(np.maximum(spread, 0.0)))

    def sd_of_excess(self, patch: Float, *, inward: bool = False) -> float:
        """Standard deviation of the volume beyond the design face.

        Parameters
        ----------
        patch : array (q,), radian mm
            Wall that counts at each node.
        inward : bool
            Build-up instead of cut-back.

        Returns
        -------
        float, mm3
        """
        return self.sd_of(self.hermite(patch, inward=inward), at=np.flatnonzero(patch))

    def hermite(
        self, patch: Float, *, depth: float | Float = 0.0, inward: bool = False
    ) -> Float:
        """What each node adds to the volume beyond a depth, in Hermite polynomials.

        Parameters
        ----------
        patch : array (q,), radian mm
            Wall that counts at each node.
        depth : float or array (q,), mm
        inward : bool
            What stands proud of the design face by ``depth`` instead.

        Returns
        -------
        array (4, q), mm3
            Coefficients of degree 1 to 4; those of several zones add up.
        """
        sign = -1.0 if inward else 1.0
        mean, radius = sign * self.mean - depth, sign * self.design_radius + depth
        return np.stack(hermite_excess(mean, self.sd, radius)) * patch

    def sd_of(
        self, hermite: Float, *, at: Int | None = None, least: float = 0.0
    ) -> float:
        """Standard deviation of a volume from its Hermite coefficients: Mehler's sum.

        With ``c[k, i]`` the coefficient of degree k at node i and ``rho`` the
        correlation of cut-back at two nodes, the variance is
        ``sum_k sum_ij c[k, i] c[k, j] rho[i, j]**k / k!`` (Mehler's formula; see
        `geom.stats.normal.hermite_excess`).

        Parameters
        ----------
        hermite : array (4, q), mm3
            As `hermite` gives it, or sums and differences of such.
        at : int array (s,), optional
            Nodes that count; default those with a coefficient other than 0.
        least : float, mm3
            Less than this is none.
        """
        nodes = np.flatnonzero(np.any(hermite != 0.0, axis=0)) if at is None else at
        if nodes.size == 0:
            return 0.0
        sd = np.maximum(self.sd[nodes], 1e-9)
        # rho is covariance over both sds: those go to the coefficients
        own = [hermite[k, nodes] / sd ** (k + 1) for k in range(len(_FACTORIAL))]
        total, whole = 0.0, nodes.size == self.mean.size
        for start in range(0, nodes.size, _BLOCK):
            rows = slice(start, start + _BLOCK)
            some = self.covariance[rows if whole else np.ix_(nodes[rows], nodes)]
            power = some.copy()
            for k, factorial in enumerate(_FACTORIAL):
                # power is the covariance to the (k + 1)th, entry by entry.
                if k > 0:
                    power *= some
                total += float(own[k][rows] @ (power @ own[k])) / factorial
        spread = float(np.sqrt(max(total, 0.0)))
        return spread if spread > least else 0.0


@dataclass(frozen=True, eq=False)
class PatchKernel:
    """Weighted means about every node, by a normal kernel: round the ring and up.

    Attributes
    ----------
    rows : array (rows, rows)
        Weights by height; beyond the surveyed wall its outermost row goes on.
    columns : array (columns, columns)
        Weights round the ring.
    """

    rows: Float32
    columns: Float32

    @classmethod
    def of(cls, nodes: Nodes, width: float) -> PatchKernel:
        """A kernel of a standard deviation of ``width`` mm."""
        from scipy.ndimage import gaussian_filter1d

        rise = float(nodes.height[1] - nodes.height[0])
        arc = float(nodes.design_radius.mean()) * 2.0 * np.pi / nodes.azimuth.size
        rows, columns = np.eye(nodes.height.size), np.eye(nodes.azimuth.size)
        up = gaussian_filter1d(rows, width / rise, 0, mode="nearest", truncate=3.0)
        around = gaussian_filter1d(columns, width / arc, 0, mode="wrap", truncate=3.0)
        return cls(up.astype(np.float32), around.astype(np.float32))

    def variance(self, prior: Float) -> Float:
        """Prior variance of the means of every row, mm2; (rows,).

        Parameters
        ----------
        prior : array (rows, rows, columns), mm2
            Between a node of the first column and every node.
        """
        # weights of the difference of two columns: a column's weights with themselves
        column = self.columns[0].astype(np.float64)
        lag = np.fft.irfft(np.abs(np.fft.rfft(column)) ** 2, column.size)
        by_rows = prior @ lag
        # r: row of the mean; i, j: rows of the nodes in it
        rows = self.rows.astype(np.float64)
        return np.asarray(np.einsum("ri,ij,rj->r", rows, by_rows, rows, optimize=True))

    def __call__(self, field: Float32) -> Float32:
        """Means of a field (rows, columns, n); same shape."""
        rows, columns, count = field.shape
        up = self.rows @ field.reshape(rows, columns * count)
        return np.asarray(self.columns @ up.reshape(rows, columns, count))


#: Nodes of the surface that was asked for last, by its identity, as long as it lives:
#: findings and plan of one survey ask for the same.
_kept: dict[int, Nodes] = {}


def make_nodes(surface: RadialSurface) -> Nodes:
    """The net of a surface's surveyed wall; of the last surface it is kept."""
    nodes = _kept.get(id(surface))
    if nodes is None:
        nodes = _nodes_of(surface)
        _kept.clear()
        _kept[id(surface)] = nodes
        weakref.finalize(surface, _kept.pop, id(surface), None)
    return nodes


def forget_nodes(surface: RadialSurface) -> None:
    """Let the net of a surface go, 25 MB, that nobody will ask for again."""
    _kept.pop(id(surface), None)


def _nodes_of(surface: RadialSurface) -> Nodes:
    grid = surface.grid
    low, high = grid.surveyed_heights
    rows = int(np.clip(np.ceil((high - low) / _ROW_HEIGHT), 4, _ROWS))
    edge = np.linspace(low, high, rows + 1)
    height = 0.5 * (edge[:-1] + edge[1:])
    azimuth = (np.arange(_COLUMNS) + 0.5) * 360.0 / _COLUMNS
    azimuth -= 180.0 / grid.azimuth.size
    mean, covariance = surface.posterior.joint(height, azimuth)
    owner = _owner(grid, edge)
    seen = None
    if surface.seen is not None:
        held = owner >= 0
        wall = np.where(grid.opening, 0.0, 1.0)[held]
        shown = surface.seen[held] * wall
        size = mean.size
        seen = 2.0 * np.bincount(owner[held], shown, size) > np.bincount(
            owner[held], wall, size
        )
    squares = squares_near_nil(surface, owner, mean.reshape(rows, _COLUMNS))
    return Nodes(
        height=height,
        azimuth=azimuth,
        design_radius=np.repeat(surface.design.profile.radius_at(height), _COLUMNS),
        mean=mean,
        covariance=covariance,
        owner=owner,
        seen=seen,
        unevenness=wall_unevenness(surface, owner, np.diag(covariance), squares),
        squares=None if squares is None else NodeSquares.of(squares, owner, mean.size),
    )


def face_nodes(surface: RadialSurface, mask: Bool) -> Nodes:
    """A net of its own over a piece of surveyed wall.

    Cells that belong to no zone are no nodes of a zone: where the wall steps at the
    zone's edge, a node next to it errs otherwise than the cells within.

    Parameters
    ----------
    mask : bool array (m, k)
        Cells of the piece, at least one of them.

    Returns
    -------
    Nodes
        At the centres of cells, `_FINE` apart, or more on a large piece; only those of
        the piece own cells, each cell belongs to the nearest.
    """
    from scipy.spatial import cKDTree

    grid = surface.grid
    row, column = np.nonzero(mask)
    # the row that holds most, and a cell in it, so that no shape slips through the net
    most = int(np.argmax(mask.sum(axis=1)))
    lead = int(column[row == most][0])
    arc = float(grid.design_radius.mean()) * grid.sector
    rise = float(grid.row_height.mean())
    rows = _every(row, _FINE // rise, _ROWS, most)
    columns = _every(column, _FINE // arc, _COLUMNS, lead)
    height, azimuth = grid.height[rows], grid.azimuth[columns]
    mean, covariance = surface.posterior.joint(height, azimuth)
    inside = np.flatnonzero(mask[np.ix_(rows, columns)].ravel())
    node_row, node_column = np.divmod(inside, columns.size)
    places = _on_cylinder(grid, row, column)
    tree = cKDTree(_on_cylinder(grid, rows[node_row], columns[node_column]))
    owner = np.full(grid.shape, -1)
    owner[row, column] = inside[tree.query(places)[1]]
    return Nodes(
        height=height,
        azimuth=azimuth,
        design_radius=np.repeat(grid.design_radius[rows], columns.size),
        mean=mean,
        covariance=covariance,
        owner=owner,
    )


def _on_cylinder(grid: Grid, row: Int, column: Int) -> Float:
    """Centres of cells on the drawn wall's mean cylinder, mm; (n,) each to (n, 3)."""
    around = np.deg2rad(grid.azimuth[column])
    radius = float(grid.design_radius.mean())
    return np.column_stack(
        [radius * np.cos(around), radius * np.sin(around), grid.height[row]]
    )


def _every(index: Int, step: float, most: int, held: int) -> Int:
    """Some of the numbers that occur: every so many, no more than so many, and one."""
    there = np.unique(index)
    apart = int(max(1.0, step, np.ceil(there.size / most)))
    return np.union1d(there[(apart // 2) % there.size :: apart], [held])


def _row_of(grid: Grid, edge: Float) -> Int:
    row = np.searchsorted(edge, grid.height, side="right") - 1
    return np.clip(row, 0, edge.size - 2)


def _owner(grid: Grid, edge: Float) -> Int:
    row = _row_of(grid, edge)[:, None]
    column = np.arange(grid.azimuth.size) * _COLUMNS // grid.azimuth.size
    return np.where(grid.surveyed, row * _COLUMNS + column[None, :], -1)
