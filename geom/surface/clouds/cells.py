"""What a cloud says of each cell of the wall, and what it does not.

A point is wall if it lies in the outermost layer of its cell that holds at least a
quarter of the cell's points: dust, a chain, a ladder or a screen hang inside, and the
few points beyond it come from glints and through joints.  A cell that as a whole stands
more than 2 in proud of the wall around it was not wall either: what hangs there
occludes it.  Nor is anything known where there are far fewer points than elsewhere at
that height.

A cell of few points has no layer of its own, which they are too few to make: each
of them is wall if it is near the layer of the block of cells around and points around
agree with it.  So one point may be enough for a cell.  A cell without any of its own,
in a block of cells that has, counts as seen: what the wall is there follows from the
cells around (`geom.surface.clouds.kriging`), and stands here as the block's mean for
those who ask what is in front of what.

What is not known of a cell stays not known here (NaN); the surface fills it in.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from geom.surface.assumptions import ASSUMED
from geom.surface.clouds.histogram import BIN, Histogram
from geom.surface.grid import Grid
from geom.units import Bool, Float, Int

T = TypeVar("T", bound=np.generic)


#: Side of the parts of a larger block, in cells; a smaller one has single cells for
#: parts.
PART = 3


@dataclass(frozen=True)
class NearPoints:
    """All points of cells near their wall, also those that none around bear out.

    Leaving out what lies far off, few points around or many, is right for a mean; their
    squares would be too small by it.  Arrays (m, k).

    Attributes
    ----------
    count : array
    off : array, mm
        By how much their mean lies deeper than the cell's cut-back.
    squares, freedom : array, mm2
        Sum of their squares about the mean, and its degrees of freedom.
    """

    count: Float
    off: Float
    squares: Float
    freedom: Float

    def without(self, hidden: Bool) -> NearPoints:
        """None of some cells."""
        return NearPoints(
            *(
                np.where(hidden, 0.0, part)
                for part in (self.count, self.off, self.squares, self.freedom)
            )
        )


@dataclass(frozen=True)
class Cells:
    """What is known of each cell; arrays of shape (height, azimuth).

    Attributes
    ----------
    cutback : array, mm
        NaN where the cloud does not show the wall.
    variance : array, mm2
        Of cut-back by scatter of the points; where the block around tells it, by what
        the cell may differ from it as well.  NaN as ``cutback``.
    count : array
        Points of its own that it rests on.
    own : bool array
        Whether it has any.
    total, rejected : int
        All points that came, and those that were not taken for wall.
    in_front : int
        Cells hidden by something that stood in front of them.
    near : NearPoints
    """

    cutback: Float
    variance: Float
    count: Float
    own: Bool
    near: NearPoints
    total: int
    rejected: int
    in_front: int

    @property
    def seen(self) -> Bool:
        """Which cells the cloud shows."""
        return np.isfinite(self.cutback)

    def without(self, hidden: Bool) -> Cells:
        """The same with some cells taken as not seen; their points as rejected."""
        lost = int(self.count[hidden & self.seen].sum())
        return replace(
            self,
            cutback=np.where(hidden, np.nan, self.cutback),
            variance=np.where(hidden, np.nan, self.variance),
            count=np.where(hidden, 0.0, self.count),
            own=self.own & ~hidden,
            near=self.near.without(hidden),
            rejected=self.rejected + lost,
        )


def wall_cells(histogram: Histogram, grid: Grid) -> Cells:
    """The wall that a tally shows.

    A cell without points of its own is seen if the cells around it, three by three or
    six by six, have enough; what it may differ from their mean by is in its variance.

    Parameters
    ----------
    histogram : Histogram
        Of the cells of ``grid``.

    Returns
    -------
    Cells
        Openings are not seen.
    """
    layers = [wall_layers(histogram, step) for step in ASSUMED.block_sides]
    finest, coarsest = layers[0], layers[-1]
    few = finest.total < ASSUMED.few_points
    cutback = np.where(few, np.nan, finest.cutback)
    variance = _variance(finest.spread, finest.worth, coarsest.noise)
    count = np.where(few, 0.0, finest.count)
    own = np.isfinite(cutback)
    block: Float = np.full(grid.shape, np.nan)
    for step, coarse in zip(ASSUMED.block_sides[1:], layers[1:], strict=True):
        value = to_cells(coarse.cutback, step, grid.shape)
        middle, high, low = (local_quantile(value, share) for share in (0.5, 0.8, 0.2))
        good = np.abs(value - middle) < ASSUMED.in_front
        block = np.where(np.isfinite(block) | ~good, block, value)
        fill = ~np.isfinite(cutback) & good
        # the wall may be uneven within a block, and slope from where the points lie
        uneven = np.maximum(_around(coarse.unevenness), 0.0)
        alone = _variance(coarse.spread, coarse.worth, _typical(coarse.spread) ** 2)
        slanted = ((high - low) * step / ASSUMED.slant_cells) ** 2
        cutback = np.where(fill, value, cutback)
        wide = to_cells(alone + uneven, step, grid.shape) + slanted
        variance = np.where(fill, wide, variance)
    points = points_near(histogram, np.where(few, block, np.nan), coarsest.noise)
    observed = points.count > 0.0
    scatter = np.full(grid.shape, np.sqrt(coarsest.noise))
    cutback = np.where(observed, points.cutback, cutback)
    held = np.where(few, points.near_count, finest.count)
    middle = np.where(few, points.near_cutback, finest.cutback)
    near = NearPoints(
        held,
        np.where(held > 0.0, middle - cutback, 0.0),
        np.where(few, points.near_squares, np.nan_to_num(finest.squares)),
        np.maximum(held - 1.0, 0.0),
    )
    cells = Cells(
        cutback=cutback,
        variance=np.where(
            observed, _variance(scatter, points.count, coarsest.noise), variance
        ),
        count=np.where(observed, points.count, count),
        own=own | observed,
        near=near.without(~np.isfinite(cutback)),
        total=histogram.total,
        rejected=0,
        in_front=0,
    )
    cells = replace(cells, rejected=histogram.total - int(cells.count.sum()))
    dusty = to_cells(is_sparse(coarsest.count), ASSUMED.block_sides[-1], grid.shape)
    cells = cells.without(grid.opening | dusty)
    hidden = is_in_front(cells) & cells.seen
    cells = replace(cells.without(hidden), in_front=int(hidden.sum()))
    return cells.without(is_isolated(cells.cutback))


@dataclass(frozen=True)
class SupportedPoints:
    """Points of cells that agree with the wall around; arrays (m, k).

    Attributes
    ----------
    cutback : array, mm
        Their mean; NaN where there is none.
    near_count, near_cutback, near_squares : array, 1, mm and mm2
        Of all near the layer, whether they agree or not: how many, their mean, and the
        sum of their squares about it.
    """

    count: Float
    cutback: Float
    near_count: Float
    near_cutback: Float
    near_squares: Float


def points_near(histogram: Histogram, layer: Float, noise: float) -> SupportedPoints:
    """Points of each cell near a layer that points around agree with.

    Parameters
    ----------
    layer : array (m, k), mm
        Cut-back of the wall around; NaN for cells that are not asked.
    noise : float, mm2
        Variance of points of one cell.
    """
    from geom.surface.clouds.kernels import supported_points

    agree = max(3.0 * np.sqrt(noise), ASSUMED.support_spread)
    found = supported_points(
        histogram.counts, histogram.layout.columns, (layer + ASSUMED.proud_reach) / BIN,
        round(ASSUMED.in_front / BIN), round(agree / BIN), ASSUMED.support_halo,
        ASSUMED.support_points, ASSUMED.support_share, round(2 * agree / BIN),
    )  # fmt: skip
    return SupportedPoints(
        found[:, :, 0],
        found[:, :, 1] * BIN - ASSUMED.proud_reach,
        found[:, :, 2],
        found[:, :, 3] * BIN - ASSUMED.proud_reach,
        found[:, :, 4] * BIN**2,
    )


@dataclass(frozen=True)
class Layers:
    """The wall's layer in each block of cells; arrays (rows, columns) of blocks.

    Attributes
    ----------
    total, count : array
        Points of the block, and of the layer.
    cutback, spread : array, mm
        Mean over the area and scatter of its points; NaN where there is none.
    worth : array
        Points, all weighed alike, whose mean is as good.
    squares : array, mm2
        Sum of squares of points about the means of their cells.
    freedom : array
        Its degrees of freedom.
    about_mean : array, mm2
        Sum of squares of all points about their mean.
    """

    total: Float
    count: Float
    cutback: Float
    spread: Float
    worth: Float
    squares: Float
    freedom: Float
    about_mean: Float

    @property
    def seen(self) -> Bool:
        """Which blocks have one."""
        return np.isfinite(self.cutback)

    @property
    def unevenness(self) -> Float:
        """Variance of points beyond that within cells, mm2; below 0 by chance."""
        return self.about_mean / np.maximum(self.count - 1.0, 1.0) - self.noise

    @property
    def noise(self) -> float:
        """Variance of points within a cell, mm2; 0 where no two lie in one."""
        freedom = float(np.nansum(self.freedom))
        return float(np.nansum(self.squares)) / freedom if freedom else 0.0


def wall_layers(
    histogram: Histogram,
    step: int,
    *,
    first: Int | None = None,
    last: Int | None = None,
) -> Layers:
    """The layers of blocks of cells.

    Parameters
    ----------
    step : int
        Columns of a block, and its rows unless they are named.
    first, last : int array, optional
        Rows of each row of blocks; ``last`` is outside.
    """
    from geom.surface.clouds.kernels import find_layers

    layout = histogram.layout
    if first is None or last is None:
        first = np.arange(0, layout.rows, step)
        last = np.minimum(first + step, layout.rows)
    single = step == 1
    found = find_layers(
        histogram.counts, layout.columns, first, last, step,
        1 if step <= PART else PART, round(ASSUMED.layer_thickness / BIN),
        ASSUMED.wall_share if single else ASSUMED.block_share,
        ASSUMED.wall_points if single else ASSUMED.block_points,
    )  # fmt: skip
    # The kernel's last axis: points, mean and spread in bins, points left out, points
    # that the mean is worth.
    return Layers(
        total=found[:, :, 0] + found[:, :, 3],
        count=found[:, :, 0],
        cutback=found[:, :, 1] * BIN - ASSUMED.proud_reach,
        spread=found[:, :, 2] * BIN,
        worth=found[:, :, 4],
        squares=found[:, :, 5] * BIN**2,
        freedom=found[:, :, 6],
        about_mean=found[:, :, 7] * BIN**2,
    )


def _around(field: Float) -> Float:
    """Means of the known blocks, three by three, round the ring; 0 where none is."""
    from scipy.ndimage import uniform_filter

    known = np.isfinite(field)
    mean, share = (
        uniform_filter(part, 3, mode=["nearest", "wrap"])
        for part in (np.where(known, field, 0.0), known.astype(np.float64))
    )
    return np.where(share > 1e-6, mean / np.maximum(share, 1e-6), 0.0)


def _typical(spread: Float) -> float:
    known = spread[np.isfinite(spread)]
    return float(np.sqrt(np.median(known**2))) if known.size else 0.0


def _variance(spread: Float, count: Float, typical: float) -> Float:
    """Variance of a block's mean, its own scatter leaning on that of all cells.

    To it comes the rounding to bins, as far as the scatter does not average it out
    (JCGM 100:2008, 4.3.7).
    """
    seen = np.isfinite(spread)
    n = np.maximum(count, 1.0)
    scatter = (ASSUMED.pooled_readings * typical + n * spread**2) / (
        ASSUMED.pooled_readings + n
    )
    rounding = BIN**2 / 12.0
    sharp = np.exp(-4.0 * np.pi**2 * scatter / BIN**2)
    return np.where(seen, (scatter + rounding) / n + rounding * sharp, np.nan)


def to_cells(field: NDArray[T], step: int, shape: tuple[int, int]) -> NDArray[T]:
    """A field of blocks spread to each of their cells."""
    rows, columns = shape
    tall = np.repeat(field, step, axis=0)[:rows]
    return np.repeat(tall, step, axis=1)[:, :columns]


def is_sparse(count: Float) -> Bool:
    """Blocks with so few points that they hold dust and no wall.

    How many points there should be is estimated by the blocks at the same height.
    """
    usual = np.quantile(count, 0.75, axis=1, keepdims=True)
    return np.asarray(
        count < np.maximum(ASSUMED.dust_share * usual, ASSUMED.wall_points)
    )


def is_in_front(cells: Cells) -> Bool:
    """Cells that as a whole stand in front of the wall around them."""
    return np.asarray(
        cells.cutback < local_quantile(cells.cutback, 0.5) - ASSUMED.in_front
    )


def is_isolated(cutback: Float) -> Bool:
    """Cells that fewer than two of the eight around them bear out.

    In a shadow a few points of dust may lie together by chance; wall, also that of a
    hole, goes on in the neighbouring cells.
    """
    lapped = np.pad(cutback, ((0, 0), (1, 1)), mode="wrap")
    lapped = np.pad(lapped, ((1, 1), (0, 0)), constant_values=np.nan)
    rows, columns = cutback.shape
    agree = np.zeros(cutback.shape, dtype=np.int8)
    for up, across in itertools.product(range(3), repeat=2):
        if (up, across) != (1, 1):
            near = lapped[up : up + rows, across : across + columns]
            agree += np.abs(near - cutback) < ASSUMED.cells_agree
    return agree < 2


def local_quantile(field: Float, share: float) -> Float:
    """A quantile of the cells around each cell, estimated by blocks; same shape.

    Of each block of cells the quantile is taken, then the median of the blocks around.
    NaN where fewer than `around_enough` blocks around are known.
    """
    rows, columns = field.shape
    down = -rows % ASSUMED.around_rows
    across = -columns % ASSUMED.around_columns
    padded = np.pad(field, ((0, down), (0, across)), constant_values=np.nan)
    high, wide = (
        padded.shape[0] // ASSUMED.around_rows,
        padded.shape[1] // ASSUMED.around_columns,
    )
    blocks = padded.reshape(high, ASSUMED.around_rows, wide, ASSUMED.around_columns)
    each = quantile(blocks.transpose(0, 2, 1, 3).reshape(high, wide, -1), share)
    lapped = np.pad(
        each, ((0, 0), (ASSUMED.around_blocks, ASSUMED.around_blocks)), mode="wrap"
    )
    lapped = np.pad(
        lapped,
        ((ASSUMED.around_blocks, ASSUMED.around_blocks), (0, 0)),
        constant_values=np.nan,
    )
    size = 2 * ASSUMED.around_blocks + 1
    near = np.lib.stride_tricks.sliding_window_view(lapped, (size, size))
    near = near.reshape(high, wide, -1)
    median = quantile(near, 0.5)
    median[np.isfinite(near).sum(axis=-1) < ASSUMED.around_enough] = np.nan
    whole = np.repeat(
        np.repeat(median, ASSUMED.around_rows, axis=0), ASSUMED.around_columns, axis=1
    )
    return whole[:rows, :columns]


def quantile(values: Float, share: float) -> Float:
    """Nearest quantile of the known values along the last axis; NaN where none is."""
    known = np.isfinite(values).sum(axis=-1)
    rank = np.round(share * np.maximum(known - 1, 0)).astype(np.int64)
    in_order = np.sort(values, axis=-1)
    return np.take_along_axis(in_order, rank[..., None], axis=-1)[..., 0]


def merge_cells(parts: Sequence[Cells]) -> tuple[Cells, Float]:
    """Several set-ups' cells as one, each counting by how well it knows a cell.

    Returns
    -------
    cells : Cells
    share : array (parts, m, k)
        What each set-up counts for; where none sees the cell, what it counts for on
        the whole.
    """
    # who has points of his own tells a cell, not who has some around it
    own = np.any([c.own for c in parts], axis=0)
    weight = np.stack(
        [
            np.where(c.seen & (c.own | ~own), 1.0 / np.maximum(c.variance, 1e-6), 0.0)
            for c in parts
        ]
    )
    total = weight.sum(axis=0)
    share = np.divide(weight, total, out=np.zeros_like(weight), where=total > 0)
    value = sum(
        s * np.where(c.seen, c.cutback, 0.0) for s, c in zip(share, parts, strict=True)
    )
    seen = total > 0
    usual = share.sum(axis=(1, 2)) / max(float(seen.sum()), 1.0)
    share = np.where(seen, share, usual[:, None, None])
    cells = Cells(
        cutback=np.where(seen, value, np.nan),
        variance=np.where(seen, 1.0 / np.where(seen, total, 1.0), np.nan),
        count=np.sum([c.count for c in parts], axis=0),
        near=_merge_near(parts, value),
        total=sum(c.total for c in parts),
        rejected=sum(c.rejected for c in parts),
        in_front=sum(c.in_front for c in parts),
        own=own,
    )
    return cells, share


def _merge_near(parts: Sequence[Cells], value: Float) -> NearPoints:
    """All points near the wall of several set-ups, about merged cells."""
    count = np.sum([c.near.count for c in parts], axis=0)
    total = np.sum(
        [c.near.count * (np.nan_to_num(c.cutback) + c.near.off) for c in parts], axis=0
    )
    mean = np.divide(total, count, out=np.array(value, dtype=float), where=count > 0.0)
    return NearPoints(
        count,
        mean - value,
        np.sum([c.near.squares for c in parts], axis=0),
        np.sum([c.near.freedom for c in parts], axis=0),
    )
