"""The radial surface that clouds allow: seen cells and the wall fitted between them.

The same model as for rod readings is fitted to the means of blocks of cells (and to rod
readings, if there are any).  Each seen cell is then weighed against what the fitted
wall lets expect; an occluded cell is the fitted wall's, with its calibrated variance.

Blocks of cells as readings of the wall, few enough to fit a process to.

A reading is the mean of the cells of a block that have points of their own, standing at
the middle of them, so that next to a shadow it stands where the wall was seen.  Cells
count alike, however many points they have: a scan is denser on some wall than on other.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from geom.datum import FoundPose
from geom.design import Design
from geom.errors import TooFewReadings
from geom.readings import RodReadings
from geom.readings.cloud import CloudReadings
from geom.readings.rod import RodKind
from geom.surface.assumptions import ASSUMED
from geom.surface.cell_points import CellPoints
from geom.surface.clouds.binning import CloudBinner, bin_cloud
from geom.surface.clouds.cells import Cells
from geom.surface.clouds.crowding import crowding
from geom.surface.clouds.kriging import krige
from geom.surface.clouds.posterior import BLOCKS, CloudPosterior, PointErrors
from geom.surface.clouds.register import (
    RegisteredClouds,
    Tick,
    calibration_factor,
    register_clouds,
)
from geom.surface.clouds.rings import ring_residual
from geom.surface.coverage import LASER, near_cells, surveyed_by
from geom.surface.gp.conditional import ConditionalGP
from geom.surface.gp.observations import Noise, Source
from geom.surface.gp.posterior import GPPosterior
from geom.surface.gp.prior import (
    GRAIN_NAME,
    default_prior,
    find_melting_zone,
    with_tuyere_waves,
)
from geom.surface.grid import Grid, interpolate_smoothly, make_grid
from geom.surface.radial import (
    BandAxisOff,
    BandsOff,
    InFront,
    ManyLeftOut,
    NoDatumBand,
    RadialSurface,
    SurfaceDiagnostic,
    in_openings,
)
from geom.surface.rods.fit import Fit, fit_wall
from geom.units import Bool, Float, Int

#: Net on which the fitted wall's uncertainty is computed, mm and columns.
_NET_ROW, _NET_COLUMNS = 30.0, 120


#: Times that means over blocks are put right for how the wall runs within them.
_ROUNDS = 2


def reconstruct_clouds(
    readings: CloudReadings,
    design: Design,
    *,
    spacing: float,
    columns: int,
    seed: int,
    tick: Tick,
    binner: CloudBinner = bin_cloud,
) -> RadialSurface:
    """The radial surface that clouds, and rod readings next to them, allow.

    Parameters
    ----------
    spacing, columns, seed
        As of `reconstruct`.
    tick : callable
        Called with what comes next, in words.

    Raises
    ------
    InputError
        If no axis can be found, or the clouds show too little of the wall.
    ValueError
        If the columns cannot be taken together in blocks.
    """
    if columns % ASSUMED.block_sides[-1]:
        raise ValueError(
            f"columns must be a multiple of {ASSUMED.block_sides[-1]} for point clouds"
        )
    bottom, top = design.profile.bottom, design.profile.top
    grid = make_grid(design, surveyed=(bottom, top), spacing=spacing, columns=columns)
    clouds = register_clouds(readings, design, grid, tick=tick, binner=binner)
    rows = rows_seen(clouds.cells, grid, readings)
    grid = replace(grid, surveyed=np.repeat(rows[:, None], columns, axis=1))
    tick("fitting the wall")
    fit = _fitted(clouds, grid, readings, design, seed)
    wall = _combined(fit, clouds, grid)
    grid = replace(grid, surveyed=grid.surveyed & _told(clouds.cells, grid, readings))
    wall = replace(wall, grid=grid)
    cutback = np.where(grid.surveyed, wall.mean, np.nan)
    return RadialSurface(
        design=design,
        grid=grid,
        radius=cutback + grid.design_radius[:, None],
        radius_sd=np.where(grid.surveyed, wall.sd, np.nan),
        posterior=wall,
        count=clouds.cells.total + len(readings.rod),
        kinds=tuple(readings.kinds),
        rejected=fit.rejected,
        diagnostics=_diagnostics(clouds, design, fit)
        + in_openings(readings.rod.in_openings),
        seen=clouds.cells.seen & grid.surveyed,
        points_left_out=clouds.cells.rejected,
        poses=tuple(found.pose for found in clouds.found),
    )


def rows_seen(cells: Cells, grid: Grid, readings: CloudReadings) -> Bool:
    """Rows between the lowest and the highest that are seen well enough, or read."""
    wall = grid.wall >= 0.5
    share = (cells.seen & wall).sum(axis=1) / np.maximum(wall.sum(axis=1), 1)
    good = share >= ASSUMED.seen_of_a_row
    height = readings.rod.height
    if height.size:
        good |= (grid.height > height.min()) & (grid.height < height.max())
    rows = np.flatnonzero(good)
    if rows.size < 2 and cells.total < ASSUMED.sparse_points * grid.opening.size:
        what = (
            f"the cloud is sparse: {cells.total:,} points for {int(wall.sum()):,} "
            f"cells of wall, of which {ASSUMED.wall_points} or more are needed in each"
        )
        cure = "Read each point as a radius (--sparse, sparse=True), or scan more"
        raise TooFewReadings(what, file=readings.clouds[0].name, cure=cure)
    if rows.size < 2:
        raise TooFewReadings(
            "the cloud shows no ring of the wall: at its best height "
            f"{100 * share.max():.0f} % of the ring, at least "
            f"{100 * ASSUMED.seen_of_a_row:.0f} % are needed",
            file=readings.clouds[0].name,
            cure="Check --cloud-unit and --z-offset, or scan from more places",
        )
    index = np.arange(grid.height.size)
    return np.asarray((index >= rows[0]) & (index <= rows[-1]))


def _told(cells: Cells, grid: Grid, readings: CloudReadings) -> Bool:
    """Cells near enough to what a laser saw, or to a rod reading; (m, k)."""
    covered = near_cells(grid, cells.seen & grid.surveyed & ~grid.opening, LASER)
    return covered | surveyed_by(grid, *readings.rod.stations)


def _fitted(
    clouds: RegisteredClouds,
    grid: Grid,
    readings: CloudReadings,
    design: Design,
    seed: int,
) -> Fit:
    own = clouds.cells.variance + clouds.grazing
    blocks = block_means(clouds.cells, grid, own)
    sheet = readings.rod.joined(blocks)
    low, high = grid.surveyed_heights
    prior = default_prior(
        design.profile.mean_radius,
        low,
        high,
        row=_row_spacing(blocks.height, readings),
        zone=find_melting_zone(sheet, design),
    )
    prior = with_tuyere_waves(prior, len(design.tuyeres))
    may_be_outlier = np.arange(len(sheet)) < len(readings.rod)
    return fit_wall(
        sheet, design, prior, seed=seed, may_be_outlier=may_be_outlier, n_samples=0
    )


def _row_spacing(height: Float, readings: CloudReadings) -> float:
    """How far apart rows of blocks are, mm.

    Raises
    ------
    TooFewReadings
        If there are not two.
    """
    apart = np.diff(np.unique(np.round(height / 10.0))) * 10.0
    if not apart.size:
        raise TooFewReadings(
            "the cloud has too few points in its cells to fit a wall to",
            file=readings.clouds[0].name,
            cure="Make the cells larger (spacing, columns), read each point as a "
            "radius (--sparse, sparse=True), or scan more",
        )
    return float(np.median(apart))


def _combined(fit: Fit, clouds: RegisteredClouds, grid: Grid) -> CloudPosterior:
    """The fitted wall, and what cells that are seen stand off it, by kriging."""
    cells, rows = clouds.cells, grid.surveyed_rows
    height = grid.height[rows]
    block = block_of_cells(cells, grid)
    first = _first_block(fit, block)
    posterior = replace(fit.posterior, best=_grain_as_noise(fit.posterior.best))
    posterior = _of_means(posterior, block, first, grid)
    expected = np.full(grid.shape, np.nan)
    unsure = np.full(grid.shape, np.nan)
    expected[rows] = posterior.best.mean_on(height, grid.azimuth)
    unsure[rows] = _fitted_sd(posterior, height, grid.azimuth) ** 2
    seen = cells.seen & rows[:, None]
    observed = cells.own & seen
    occluded = ~seen & rows[:, None] & ~grid.opening
    inflation = calibration_factor(posterior.best, occluded, grid)
    scatter = np.where(observed, cells.variance + _within(expected, cells.count), 0.0)
    residual = np.where(observed, cells.cutback - expected, np.nan)
    ring, ring_covariance = ring_residual(residual, scatter, grid)
    expected = expected + ring[:, None]
    residual = residual - ring[:, None]
    scattered = _scattered(posterior, block, first)
    local = krige(residual, scatter, cells.count, seen, scattered=scattered, grid=grid)
    own = scatter + clouds.grazing
    excess = np.where(observed, residual**2 - unsure - own, np.nan)
    rough = roughness(excess, unsure + own)
    gain = local.gain
    left = local.variance + local.scatter(scatter) + gain * clouds.grazing
    left = left + local.missed_rows(ring_covariance)
    left = np.where(seen, left, unsure * inflation + rough)
    kriged = expected + np.where(seen, local.apply(residual), 0.0)
    crowded = crowding(cells, kriged, seen, local=local, scatter=scatter, grid=grid)
    systematic = clouds.systematic.plus("crowding", crowded.slope, crowded.sd)
    return CloudPosterior(
        fitted=posterior,
        grid=grid,
        mean=kriged + crowded.shift,
        sd=np.sqrt(left + systematic.variance()),
        occluded=occluded,
        sd_inflation=np.sqrt(inflation),
        grazing_variance=np.where(seen, gain * clouds.grazing, 0.0),
        roughness_variance=np.nan_to_num(rough),
        local=local,
        ring_covariance=ring_covariance,
        cell_points=_cell_points(clouds, kriged),
        points=PointErrors(scatter, block, first),
        systematic=systematic,
    )


def _cell_points(clouds: RegisteredClouds, mean: Float) -> CellPoints:
    cells, near = clouds.cells, clouds.cells.near
    some = cells.seen & (near.count > 0.0)
    return CellPoints(
        some=some,
        cutback=np.where(some, cells.cutback + near.off, 0.0),
        count=near.count,
        squares=near.squares,
        freedom=near.freedom,
        within=np.where(some, np.nan_to_num(_within(mean, np.ones(some.shape))), 0.0),
        grazing=np.where(some, clouds.grazing, 0.0),
        systematic=clouds.systematic.variance(),
    )


def _within(expected: Float, count: Float) -> Float:
    """Variance of a cell's mean by where in it its points happen to lie, mm2; (m, k).

    Evenly spread over a cell in which the wall rises by d from edge to edge, a point
    has the variance d^2 / 12 by its place (JCGM 100:2008, 4.3.7); in either direction.
    """
    up = np.abs(np.gradient(expected, axis=0))
    around = 0.5 * np.abs(np.roll(expected, -1, axis=1) - np.roll(expected, 1, axis=1))
    spread = (np.nan_to_num(up) ** 2 + np.nan_to_num(around) ** 2) / 12.0
    return np.asarray(spread / np.maximum(count, 1.0))


def _grain_as_noise(best: ConditionalGP) -> ConditionalGP:
    """The same process without its grain, which readings have as an error instead.

    The grain reaches less far than a block is wide: as a part of the wall it would be a
    bump in the middle of every block.
    """
    observed = best.observed
    own = np.full(len(observed.places), best.covariance.sd_of(GRAIN_NAME) ** 2)
    own *= best.covariance.amplitude(observed.places.height) ** 2
    source = Source(
        name=BLOCKS,
        kind="A",
        unit="mm",
        sd=float(np.sqrt(own.mean())),
        own=observed.apply(own[:, None])[:, 0],
        shared=np.zeros((len(observed), 0)),
    )
    return ConditionalGP(
        best.covariance.without(GRAIN_NAME),
        Noise((*best.noise.sources, source)),
        observed,
    )


def _scattered(posterior: GPPosterior, block: Int, first: int) -> Float:
    """Variance of the fitted wall by the scatter of what it is fitted to; (m, k), mm2.

    Of every cell that at its block's middle; elsewhere the mean of these.
    """
    best, count = posterior.best, int(block.max(initial=-1)) + 1
    if not count:
        return np.zeros(block.shape)
    each = best.variance_by_noise[first : first + count]
    return np.where(block >= 0, each[np.maximum(block, 0)], float(each.mean()))


def _first_block(fit: Fit, block: Int) -> int:
    """Which reading of the fit block 0 is: stand-ins of datum bands follow blocks."""
    count = int(block.max(initial=-1)) + 1
    return fit.n_readings - count


def _of_means(
    posterior: GPPosterior, block: Int, first: int, grid: Grid
) -> GPPosterior:
    """The same with blocks read as the means over their cells that they are.

    The process is of places.  By how much its own mean over a block's cells lies
    off that at their middle, the block is moved; twice, as the wall moves with it.
    """
    held = block >= 0
    at, count = block[held], np.bincount(block[held])
    rows = grid.surveyed_rows
    best = posterior.best
    here = slice(first, first + count.size)
    read = best.observed.value[here].copy()
    for _ in range(_ROUNDS):
        expected = np.zeros(grid.shape)
        expected[rows] = best.mean_on(grid.height[rows], grid.azimuth)
        over = np.bincount(at, expected[held]) / np.maximum(count, 1)
        value = best.observed.value.copy()
        value[here] = read - (over - best.mean_of_readings[here])
        best = best.reading(value)
    return replace(posterior, best=best)


def _fitted_sd(posterior: GPPosterior, height: Float, azimuth: Float) -> Float:
    rows = max(4, int(np.ceil((height[-1] - height[0]) / _NET_ROW)) + 1)
    net = np.linspace(height[0], height[-1], rows)
    around = np.arange(_NET_COLUMNS) * 360.0 / _NET_COLUMNS
    sd = posterior.best.sd_on(net, around)
    log_sd = np.log(np.maximum(sd, 1e-6))
    return np.exp(interpolate_smoothly(log_sd, net, height, azimuth))


def roughness(excess: Float, known: Float) -> Float:
    """Variance of cells about the fitted wall, from the cells around; (m, k).

    Parameters
    ----------
    excess : array (m, k), mm2
        Squared distance of each cell from the fitted wall, less what is known of it;
        NaN where it is not seen.
    known : array (m, k), mm2
        The variance that was taken off: cells count the less, the more of it.

    Returns
    -------
    array (m, k)
        Not below nothing; that of the grain of a wall where too few cells are seen.
    """
    from scipy.ndimage import uniform_filter

    def around(field: Float) -> Float:
        size = (ASSUMED.roughness_rows, ASSUMED.roughness_columns)
        mean = uniform_filter(field, size, mode=["constant", "wrap"])
        return np.asarray(mean * ASSUMED.roughness_rows * ASSUMED.roughness_columns)

    seen = np.isfinite(excess)
    weight = np.where(
        seen,
        (ASSUMED.cloud_roughness**2 / (ASSUMED.cloud_roughness**2 + known)) ** 2,
        0.0,
    )
    total = (
        around(weight * np.where(seen, excess, 0.0))
        + ASSUMED.cloud_roughness_cells * ASSUMED.cloud_roughness**2
    )
    return np.maximum(total / (around(weight) + ASSUMED.cloud_roughness_cells), 0.0)


def _diagnostics(
    clouds: RegisteredClouds, design: Design, fit: Fit
) -> tuple[SurfaceDiagnostic, ...]:
    cells = clouds.cells
    left_out = cells.rejected / cells.total
    return (
        *fit.rejected,
        *([] if design.datum_bands else [NoDatumBand(_offset_sd(clouds))]),
        *(part for found in clouds.found for part in _of_bands(found)),
        *([InFront(cells.in_front, ASSUMED.in_front)] if cells.in_front else []),
        *([ManyLeftOut(left_out)] if left_out > ASSUMED.many_left_out else []),
    )


def _offset_sd(clouds: RegisteredClouds) -> float:
    """Of the axis of the cloud that is known least, mm."""
    return float(max(found.pose.sd[:2].max() for found in clouds.found))


def _of_bands(found: FoundPose) -> Iterator[BandsOff | BandAxisOff]:
    if found.on_bands and abs(found.radius_bias) > ASSUMED.band_off:
        yield BandsOff(found.radius_bias)
    for axis in found.band_axes:
        if axis.disagrees:
            yield BandAxisOff(axis.band, axis.offset, axis.tilt)


_CUTBACK: tuple[RodKind, ...] = ("cutback",)


def block_of_cells(cells: Cells, grid: Grid) -> Int:
    """Block of every cell that has points of its own; -1 for none, (m, k).

    Blocks of too few such cells are none; the others are numbered from 0.  Where cells
    are so large that a block is less of them than that, all of it has to be held.
    """
    rows, columns = _sides(grid)
    least = min(ASSUMED.block_cells, rows * columns)
    row = np.arange(grid.height.size) // rows
    column = np.arange(grid.azimuth.size) // columns
    across = int(column[-1]) + 1
    number = row[:, None] * across + column[None, :]
    held = cells.own & grid.surveyed
    full = np.bincount(number[held], minlength=number.max() + 1) >= least
    return np.where(held & full[number], (np.cumsum(full) - 1)[number], -1)


def block_means(cells: Cells, grid: Grid, own: Float) -> RodReadings:
    """Readings of cut-back, one a block.

    Parameters
    ----------
    own : array (m, k), mm2
        Variance that each seen cell has by itself.

    Returns
    -------
    RodReadings
        With their standard uncertainty, in the order of `block_of_cells`.
    """
    block = block_of_cells(cells, grid)
    held = block >= 0
    at, n = block[held], int(block.max(initial=-1)) + 1
    count = np.bincount(at, minlength=n).astype(np.float64)

    def mean(field: Float) -> Float:
        return np.asarray(np.bincount(at, field[held], n) / count)

    height, azimuth = np.meshgrid(grid.height, grid.azimuth, indexing="ij")
    return RodReadings(
        kind=_CUTBACK * n,
        azimuth=mean(azimuth),
        height=mean(height),
        value=mean(cells.cutback),
        # cells' own errors average out
        sd=np.sqrt(mean(own) / count),
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
    side = float(np.sqrt(area / ASSUMED.wall_blocks))
    columns = max(1, round(side / wide))
    while grid.azimuth.size % columns:
        columns += 1
    return max(1, round(side / tall)), columns
