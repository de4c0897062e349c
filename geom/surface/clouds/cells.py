"""What a cloud says of each cell of the wall, and what it does not.

A point is wall if it lies in the outermost layer of its cell that holds at least a
quarter of the cell's points: dust, a chain, a ladder or a screen hang inside, and the
few points beyond it come from glints and through joints.  A cell that as a whole stands
more than 2 in proud of the wall around it was not wall either: what hangs there
occludes it.  Nor is anything known where there are far fewer points than elsewhere at
that height.

What is not known of a cell stays not known here (NaN); the surface fills it in.

Block means are readings of the wall, few enough to fit a Gaussian process to: the mean
of the seen cells of a block, standing at the middle of them, so that next to a shadow
it stands where the wall was seen.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from geom.readings import RodReadings
from geom.readings.rod import RodKind
from geom.surface.clouds.histogram import BIN, PROUD, Histogram
from geom.surface.clouds.shared_errors import STEPS, SharedErrors, to_cells
from geom.surface.grid import Grid
from geom.units import Bool, Float, Int

#: Thickness of a layer, mm; share of a cell's points and least points that make it
#: wall; the same of a block of cells, over which dust adds up.
LAYER, SHARE, LEAST = 30.0, 0.25, 3
BLOCK_SHARE, BLOCK_LEAST = 0.5, 6
#: A cell this much prouder than the wall around it is something in front of it, mm (2
#: in): build-up so proud and so narrow is rarer than a chain.  Our own choice.
IN_FRONT = 50.8
#: Cells side by side of one wall differ by no more, mostly, mm.  Our own choice.
AGREE = 20.0
#: Share of the points that blocks at the same height have (upper quartile), below which
#: a block has only dust.
THIN = 0.1
#: Blocks of cells by which the wall around is estimated, rows and columns, and how many
#: blocks around are looked at to either side.
_BLOCK_ROWS, _BLOCK_COLUMNS, _AROUND, _ENOUGH = 6, 6, 2, 5
#: Cells over which the middle 60 % of the wall around a cell stretch, times three: a
#: block's points lie a third of its side from a cell of it.
_SLANT = 54.0
#: Readings that the pooled spread counts as, next to a cell's own.
_POOLED = 10.0
#: What the spread of n points comes out too large by before it is taken for the wall's,
#: in variances over root n: a robust variance has some 2 of standard uncertainty.
_CHANCE = 5.0
#: Side of the parts of a larger block, in cells; a smaller one has single cells for
#: parts.
PART = 3
#: Blocks that a wall is cut into, about, and least cells that make one a reading.
MOST, _LEAST_CELLS = 850, 4
_CUTBACK: tuple[RodKind, ...] = ("cutback",)


@dataclass(frozen=True)
class Cells:
    """What is known of each cell; arrays of shape (height, azimuth).

    Attributes
    ----------
    cutback : array, mm
        NaN where the cloud does not show the wall.
    variance : array, mm2
        Of cut-back by scatter of the points alone; NaN as ``cutback``.
    count : array
        Points it rests on.
    total, rejected : int
        All points that came, and those that were not taken for wall.
    in_front : int
        Cells hidden by something that stood in front of them.
    blur : array, mm2
        The part of ``variance`` by which a cell may differ from the block that tells
        it; 0 where its own points do.
    shared : SharedErrors
        The part that cells of one block have in common.
    crowding : float, mm
        What cells told by blocks may all be off by because points crowd where the wall
        lies further out: as much on the mean as parts of blocks show.
    """

    cutback: Float
    variance: Float
    count: Float
    total: int
    rejected: int
    in_front: int
    blur: Float
    shared: SharedErrors
    crowding: float = 0.0

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
            rejected=self.rejected + lost,
            shared=self.shared.without(hidden),
        )


def wall_cells(histogram: Histogram, grid: Grid) -> Cells:
    """The wall that a tally shows.

    A cell with too few points is estimated by those of the cells around it, three by
    three or six by six, where these have enough; what it may differ from them by is in
    its variance.

    Parameters
    ----------
    histogram : Histogram
        Of the cells of ``grid``.
    grid : Grid

    Returns
    -------
    Cells
        Openings are not seen.
    """
    layers = [wall_layers(histogram, step) for step in STEPS]
    finest = layers[0]
    noise = layers[-1].noise
    cutback, count = finest.cutback, finest.count
    variance = _variance(finest.spread, finest.worth, noise)
    block = np.full(grid.shape, -1, dtype=np.int64)
    side = np.ones(grid.shape, dtype=np.int64)
    blur, shared, crowding = (np.zeros(grid.shape) for _ in range(3))
    for step, coarse in zip(STEPS[1:], layers[1:], strict=True):
        value = to_cells(coarse.cutback, step, grid.shape)
        middle, high, low = (local_quantile(value, share) for share in (0.5, 0.8, 0.2))
        fill = ~np.isfinite(cutback) & (np.abs(value - middle) < IN_FRONT)
        usual = _typical(coarse.spread) ** 2
        # by chance the scatter of few points is no wall: what blocks around have is
        uneven = coarse.unevenness
        chance = noise * _CHANCE / np.sqrt(np.maximum(coarse.count, 1.0))
        blurred = np.maximum(np.where(uneven > chance, uneven, _around(uneven)), 0.0)
        own = _variance(coarse.spread, coarse.worth, usual)
        # the wall may slope from where the points lie to where the cell is
        slanted = ((high - low) * step / _SLANT) ** 2
        cutback = np.where(fill, value, cutback)
        wide = to_cells(blurred, step, grid.shape) + slanted
        blur = np.where(fill, wide, blur)
        alone = to_cells(own, step, grid.shape)
        variance = np.where(fill, alone + wide, variance)
        number = np.arange(own.size).reshape(own.shape) + block.max() + 1
        block = np.where(fill, to_cells(number, step, grid.shape), block)
        side = np.where(fill, step, side)
        shared = np.where(fill, alone, shared)
        crowding = np.where(fill, to_cells(coarse.crowding, step, grid.shape), crowding)
        share = to_cells(coarse.count / step**2, step, grid.shape)
        count = np.where(fill, share, count)
    used = int(min(count.sum(), histogram.total))
    cells = Cells(
        cutback=cutback,
        variance=variance,
        count=count,
        total=histogram.total,
        rejected=histogram.total - used,
        in_front=0,
        blur=blur,
        shared=SharedErrors(
            block=block[None],
            step=side[None],
            share=(block[None] >= 0).astype(np.float64),
            sd=np.sqrt(shared)[None],
        ),
        crowding=float(np.abs(crowding[block >= 0].mean()))
        if block.max() >= 0
        else 0.0,
    )
    dusty = to_cells(is_sparse(layers[-1].count), STEPS[-1], grid.shape)
    cells = cells.without(grid.opening | dusty)
    hidden = is_in_front(cells) & cells.seen
    cells = replace(cells.without(hidden), in_front=int(hidden.sum()))
    return cells.without(is_isolated(cells.cutback))


@dataclass(frozen=True)
class Layers:
    """The wall's layer in each block of cells; arrays (rows, columns) of blocks.

    Attributes
    ----------
    count : array
    cutback, spread : array, mm
        Mean over the area and scatter of its points; NaN where there is none.
    worth : array
        Points, all weighed alike, whose mean is as good.
    squares : array, mm2
        Sum of squares of points about the means of their cells.
    freedom : array
        Its degrees of freedom.
    crowding : array, mm
        By how much the mean of all points alike lies further out: a scan may be denser
        there.
    about_mean : array, mm2
        Sum of squares of all points about that mean.
    """

    count: Float
    cutback: Float
    spread: Float
    worth: Float
    squares: Float
    freedom: Float
    crowding: Float
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
    histogram : Histogram
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
        1 if step <= PART else PART, round(LAYER / BIN),
        SHARE if single else BLOCK_SHARE, LEAST if single else BLOCK_LEAST,
    )  # fmt: skip
    # The kernel's last axis: points, mean and spread in bins, points left out, points
    # that the mean is worth.
    return Layers(
        count=found[:, :, 0],
        cutback=found[:, :, 1] * BIN - PROUD,
        spread=found[:, :, 2] * BIN,
        worth=found[:, :, 4],
        squares=found[:, :, 5] * BIN**2,
        freedom=found[:, :, 6],
        crowding=(found[:, :, 7] - found[:, :, 1]) * BIN,
        about_mean=found[:, :, 8] * BIN**2,
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
    scatter = (_POOLED * typical + n * spread**2) / (_POOLED + n)
    rounding = BIN**2 / 12.0
    sharp = np.exp(-4.0 * np.pi**2 * scatter / BIN**2)
    return np.where(seen, (scatter + rounding) / n + rounding * sharp, np.nan)


def is_sparse(count: Float) -> Bool:
    """Blocks with so few points that they hold dust and no wall.

    How many points there should be is estimated by the blocks at the same height.
    """
    usual = np.quantile(count, 0.75, axis=1, keepdims=True)
    return np.asarray(count < np.maximum(THIN * usual, LEAST))


def is_in_front(cells: Cells) -> Bool:
    """Cells that as a whole stand in front of the wall around them."""
    return np.asarray(cells.cutback < local_quantile(cells.cutback, 0.5) - IN_FRONT)


def is_isolated(cutback: Float) -> Bool:
    """Cells that fewer than two of the eight around them bear out.

    In a shadow a few points of dust may lie together by chance; wall, also that of a
    hole, goes on in the neighbouring cells.
    """
    lapped = np.pad(cutback, ((0, 0), (1, 1)), mode="wrap")
    lapped = np.pad(lapped, ((1, 1), (0, 0)), constant_values=np.nan)
    near = np.lib.stride_tricks.sliding_window_view(lapped, (3, 3))
    agree = np.abs(near - cutback[:, :, None, None]) < AGREE
    return np.asarray(agree.sum(axis=(2, 3)) - 1 < 2)


def local_quantile(field: Float, share: float) -> Float:
    """A quantile of the cells around each cell, estimated by blocks; same shape.

    Of each block of cells the quantile is taken, then the median of the blocks around.
    NaN where fewer than `_ENOUGH` blocks around are known.
    """
    rows, columns = field.shape
    down = -rows % _BLOCK_ROWS
    across = -columns % _BLOCK_COLUMNS
    padded = np.pad(field, ((0, down), (0, across)), constant_values=np.nan)
    high, wide = padded.shape[0] // _BLOCK_ROWS, padded.shape[1] // _BLOCK_COLUMNS
    blocks = padded.reshape(high, _BLOCK_ROWS, wide, _BLOCK_COLUMNS)
    each = quantile(blocks.transpose(0, 2, 1, 3).reshape(high, wide, -1), share)
    lapped = np.pad(each, ((0, 0), (_AROUND, _AROUND)), mode="wrap")
    lapped = np.pad(lapped, ((_AROUND, _AROUND), (0, 0)), constant_values=np.nan)
    size = 2 * _AROUND + 1
    near = np.lib.stride_tricks.sliding_window_view(lapped, (size, size))
    near = near.reshape(high, wide, -1)
    median = quantile(near, 0.5)
    median[np.isfinite(near).sum(axis=-1) < _ENOUGH] = np.nan
    whole = np.repeat(np.repeat(median, _BLOCK_ROWS, axis=0), _BLOCK_COLUMNS, axis=1)
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
    weight = np.stack(
        [np.where(c.seen, 1.0 / np.maximum(c.variance, 1e-6), 0.0) for c in parts]
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
        total=sum(c.total for c in parts),
        rejected=sum(c.rejected for c in parts),
        in_front=sum(c.in_front for c in parts),
        blur=np.sum(
            [s**2 * np.nan_to_num(c.blur) for s, c in zip(share, parts, strict=True)],
            axis=0,
        ),
        shared=SharedErrors.joined([c.shared for c in parts], share),
        crowding=max(c.crowding for c in parts),
    )
    return cells, share


def block_means(cells: Cells, grid: Grid, own: Float) -> RodReadings:
    """Readings of cut-back, one a block.

    Parameters
    ----------
    cells : Cells
    grid : Grid
    own : array (m, k), mm2
        Variance that each seen cell has by itself.

    Returns
    -------
    RodReadings
        With their standard uncertainty.
    """
    rows, columns = _sides(grid)
    row = np.arange(grid.height.size) // rows
    column = np.arange(grid.azimuth.size) // columns
    across = int(column[-1]) + 1
    number = row[:, None] * across + column[None, :]
    seen = cells.seen & grid.surveyed
    at = number[seen]

    def mean(field: Float) -> Float:
        return np.bincount(at, field[seen]) / np.maximum(count, 1.0)

    count = np.bincount(at).astype(np.float64)
    n_at = count.size
    height, azimuth = np.meshgrid(grid.height, grid.azimuth, indexing="ij")
    full = count >= _LEAST_CELLS
    n = int(full.sum())
    # a cell's own errors average away, those of a block of points do not
    alone = np.maximum(own - cells.shared.variance(), 0.0)
    slopes = cells.shared.slopes(np.where(seen, number, -1), np.ones(seen.shape), n_at)
    together = np.asarray(slopes.multiply(slopes).sum(axis=1)).ravel()
    variance = mean(alone) / np.maximum(count, 1.0)
    variance += together / np.maximum(count, 1.0) ** 2
    return RodReadings(
        kind=_CUTBACK * n,
        azimuth=mean(azimuth)[full],
        height=mean(height)[full],
        value=mean(cells.cutback)[full],
        sd=np.sqrt(variance[full]),
        step=np.zeros(n),
        place=("laser points",) * n,
        note=("",) * n,
    )


def _sides(grid: Grid) -> tuple[int, int]:
    """Rows and columns of a block, about as tall as it is wide."""
    wide = float(grid.design_radius.mean()) * grid.sector
    tall = float(np.median(grid.row_height))
    low, high = grid.surveyed_heights
    area = (high - low) * wide * grid.azimuth.size
    side = float(np.sqrt(area / MOST))
    columns = max(1, round(side / wide))
    while grid.azimuth.size % columns:
        columns += 1
    return max(1, round(side / tall)), columns
