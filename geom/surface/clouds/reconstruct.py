"""The radial surface that clouds allow: seen cells and the wall fitted between them.

The same model as for rod readings is fitted to the means of blocks of cells (and to rod
readings, if there are any).  Each seen cell is then weighed against what the fitted
wall lets expect; an occluded cell is the fitted wall's, with its calibrated variance.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from geom.design import Design
from geom.errors import TooFewReadings
from geom.readings.cloud import CloudReadings
from geom.surface.clouds.binning import CloudBinner, bin_cloud
from geom.surface.clouds.calibration import variance_inflation
from geom.surface.clouds.cells import LEAST, Cells, block_means
from geom.surface.clouds.posterior import CloudPosterior
from geom.surface.clouds.register import RegisteredClouds, Tick, register_clouds
from geom.surface.clouds.shared_errors import STEPS
from geom.surface.coverage import LASER, surveyed_by, within_reach
from geom.surface.gp.prior import default_prior, find_melting_zone, with_tuyere_waves
from geom.surface.grid import Grid, interpolate_smoothly, make_grid
from geom.surface.radial import RadialSurface
from geom.surface.rods.fit import Fit, fit_wall
from geom.units import Bool, Float, say_both

#: Points a cell below which a cloud that shows no ring is called sparse.
SPARSE = 0.1
#: A row is surveyed if this share of its wall is seen; rows between such rows are too.
SEEN_OF_A_ROW = 0.3
#: Net on which the fitted wall's uncertainty is computed, mm and columns.
_NET_ROW, _NET_COLUMNS = 30.0, 120
#: Cells to either side that tell how rough the wall is at a cell.
_ROUGH_ROWS, _ROUGH_COLUMNS = 25, 25
#: Roughness where too few cells are seen, mm, and for how many cells that counts.
GRAIN, _GRAIN_COUNTS = 1.0, 10.0
#: Part of what cells of a block may differ by that the fitted wall never explains.
LEAST_BLUR = 0.25
#: Offset of the bands' radius (mm) and share of points left out that are worth a word.
_BAND_OFF, _MANY_LEFT_OUT = 2.0, 0.25


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
    readings : CloudReadings
    design : Design
    spacing, columns, seed
        As of `reconstruct`.
    tick : callable
        Called with what comes next, in words.
    binner : CloudBinner

    Raises
    ------
    InputError
        If no axis can be found, or the clouds show too little of the wall.
    ValueError
        If the columns cannot be taken together in blocks.
    """
    if columns % STEPS[-1]:
        raise ValueError(f"columns must be a multiple of {STEPS[-1]} for point clouds")
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
        warnings=_warnings(clouds, design, fit),
        seen=clouds.cells.seen & grid.surveyed,
        points_left_out=clouds.cells.rejected,
        poses=tuple(found.pose for found in clouds.found),
    )


def rows_seen(cells: Cells, grid: Grid, readings: CloudReadings) -> Bool:
    """Rows between the lowest and the highest that are seen well enough, or read."""
    wall = grid.wall >= 0.5
    share = (cells.seen & wall).sum(axis=1) / np.maximum(wall.sum(axis=1), 1)
    good = share >= SEEN_OF_A_ROW
    height = readings.rod.height
    if height.size:
        good |= (grid.height > height.min()) & (grid.height < height.max())
    rows = np.flatnonzero(good)
    if rows.size < 2 and cells.total < SPARSE * grid.opening.size:
        what = (
            f"the cloud is sparse: {cells.total:,} points for {int(wall.sum()):,} "
            f"cells of wall, of which {LEAST} or more are needed in each"
        )
        cure = "Read each point as a radius (--sparse, sparse=True), or scan more"
        raise TooFewReadings(what, file=readings.clouds[0].name, cure=cure)
    if rows.size < 2:
        raise TooFewReadings(
            "the cloud shows no ring of the wall: at its best height "
            f"{100 * share.max():.0f} % of the ring, at least "
            f"{100 * SEEN_OF_A_ROW:.0f} % are needed",
            file=readings.clouds[0].name,
            cure="Check --cloud-unit and --z-offset, or scan from more places",
        )
    index = np.arange(grid.height.size)
    return np.asarray((index >= rows[0]) & (index <= rows[-1]))


def _told(cells: Cells, grid: Grid, readings: CloudReadings) -> Bool:
    """Cells near enough to what a laser saw, or to a rod reading; (m, k)."""
    row, column = np.nonzero(cells.seen & grid.surveyed & ~grid.opening)
    covered = within_reach(grid, grid.azimuth[column], grid.height[row], LASER)
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
    row = float(np.median(np.diff(np.unique(np.round(blocks.height / 10.0)))) * 10.0)
    prior = default_prior(
        design.profile.mean_radius,
        low,
        high,
        row=row,
        zone=find_melting_zone(sheet, design),
    )
    prior = with_tuyere_waves(prior, len(design.tuyeres))
    may_be_outlier = np.arange(len(sheet)) < len(readings.rod)
    return fit_wall(
        sheet, design, prior, seed=seed, may_be_outlier=may_be_outlier, n_samples=0
    )


def _combined(fit: Fit, clouds: RegisteredClouds, grid: Grid) -> CloudPosterior:
    """Each cell weighed against what the fitted wall lets expect."""
    cells, rows = clouds.cells, grid.surveyed_rows
    height = grid.height[rows]
    expected = np.full(grid.shape, np.nan)
    unsure = np.full(grid.shape, np.nan)
    expected[rows] = fit.posterior.best.mean_on(height, grid.azimuth)
    unsure[rows] = _fitted_sd(fit, height, grid.azimuth) ** 2
    seen = cells.seen & rows[:, None]
    occluded = ~seen & rows[:, None] & ~grid.opening
    inflation = variance_inflation(fit.posterior.best, occluded, grid)
    unsure *= np.where(occluded, inflation, 1.0)
    uneven, explained = _within_blocks(cells, expected)
    blur = np.maximum(cells.blur - explained, LEAST_BLUR * cells.blur)
    own = cells.variance - cells.blur + clouds.grazing
    residual = np.where(seen, cells.cutback + uneven - expected, 0.0)
    excess = np.where(seen, residual**2 - unsure - own, np.nan)
    rough = roughness(excess, unsure + own)
    before = unsure + rough
    gain = np.divide(before, before + own, out=np.zeros(grid.shape), where=seen)
    left = np.where(seen, gain * np.where(seen, own, 0.0) + blur, before)
    alone = gain * (own - clouds.grazing - cells.shared.variance()) + blur
    return CloudPosterior(
        fitted=fit.posterior,
        grid=grid,
        mean=expected + gain * residual,
        sd=np.sqrt(left + clouds.systematic.variance()),
        occluded=occluded,
        sd_inflation=np.sqrt(inflation),
        scatter_variance=np.where(seen, alone, 0.0),
        grazing_variance=np.where(seen, gain * clouds.grazing, 0.0),
        roughness_variance=np.nan_to_num(rough),
        shared=replace(cells.shared, sd=cells.shared.sd * np.sqrt(gain)),
        systematic=clouds.systematic,
    )


def _within_blocks(cells: Cells, expected: Float) -> tuple[Float, Float]:
    """How the wall goes within a block that tells several cells, and its variance.

    As the fitted wall does, but by no more than the points of the block scatter.
    """
    uneven = cells.shared.unevenness(expected)
    square = uneven**2
    mean = square - cells.shared.unevenness(square)
    least = np.minimum(np.nan_to_num(cells.blur), mean)
    part = np.sqrt(np.divide(least, mean, out=np.zeros_like(mean), where=mean > 0.0))
    return uneven * part, mean * part**2


def _fitted_sd(fit: Fit, height: Float, azimuth: Float) -> Float:
    rows = max(4, int(np.ceil((height[-1] - height[0]) / _NET_ROW)) + 1)
    net = np.linspace(height[0], height[-1], rows)
    around = np.arange(_NET_COLUMNS) * 360.0 / _NET_COLUMNS
    _, sd = fit.posterior.on_grid(net, around)
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
        size = (_ROUGH_ROWS, _ROUGH_COLUMNS)
        mean = uniform_filter(field, size, mode=["constant", "wrap"])
        return np.asarray(mean * _ROUGH_ROWS * _ROUGH_COLUMNS)

    seen = np.isfinite(excess)
    weight = np.where(seen, (GRAIN**2 / (GRAIN**2 + known)) ** 2, 0.0)
    total = around(weight * np.where(seen, excess, 0.0)) + _GRAIN_COUNTS * GRAIN**2
    return np.maximum(total / (around(weight) + _GRAIN_COUNTS), 0.0)


def _warnings(clouds: RegisteredClouds, design: Design, fit: Fit) -> tuple[str, ...]:
    words = [
        f"{r.place}: {r.why}. Left out; measure again there, and add the new reading."
        for r in fit.rejected
    ]
    if not design.datum_bands:
        words.append(
            "The design names no datum band: the axis was found on the whole wall, as "
            "if what is least worn were on its drawing, and is known to some "
            "millimetres only."
        )
    for found in clouds.found:
        if found.on_bands and abs(found.radius_bias) > _BAND_OFF:
            side = "wider" if found.radius_bias > 0 else "narrower"
            bias = say_both(abs(found.radius_bias), design.length_unit)
            words.append(
                f"The datum bands read {bias} {side} than drawn: check the bands, or "
                "the scanner's range."
            )
        for axis in found.band_axes:
            if axis.disagrees:
                low, high, offset = (
                    say_both(length, design.length_unit)
                    for length in (axis.band.low, axis.band.high, axis.offset)
                )
                words.append(
                    f"The datum band from {low} to {high} has an axis of its own: "
                    f"{offset} and {axis.tilt:.2f}° off the axis that the cloud was "
                    "laid on, more than both are uncertain by. Check the band, and "
                    "whether the scanner moved."
                )
    cells = clouds.cells
    if cells.in_front:
        words.append(
            f"In {cells.in_front:,} cells something stood more than "
            f"{say_both(50.8, design.length_unit)} in front of the wall, or only dust "
            "was seen; what is behind is inferred."
        )
    if cells.rejected > _MANY_LEFT_OUT * cells.total:
        words.append(
            f"{100.0 * cells.rejected / cells.total:.0f} % of the laser points were "
            "not taken for wall."
        )
    return tuple(words)
