"""Registration: clouds laid on the design's axis and binned into the wall's cells.

Leave-group-out calibration of the fitted wall's variance where the wall is occluded.

The shadows of a scan are turned round the wall, so that they fall on wall that was seen
after all.  Blocks in them are left out, predicted from the others, and compared with
what they read.  Where they miss by more than the fitted wall owns to, its variance in
the shadows is inflated; where by less, it is drawn in.  So it is with the sum over all
of a shadow, which volumes hang on: misses that go the same way all over inflate it
further.  No refit is needed: what is left out of a fit with fixed hyperparameters
follows in closed form.

References
----------
Rasmussen, C. E. and Williams, C. K. I. (2006). Gaussian Processes for Machine Learning,
eq. 5.12 (leaving one out); with blocks of the inverse for groups, as in the inverse of
a partitioned matrix, eq. A.11.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from geom.datum import (
    BandBlocks,
    FoundPose,
    MatchedTargets,
    Pose,
    WallPatches,
    align_to_targets,
    find_pose,
    match_targets,
    nominal_from_targets,
    refine_pose,
    settled_on_sound_wall,
    worn_wall_covariance,
)
from geom.datum.assumptions import ASSUMED as DATUM
from geom.design import Design
from geom.readings.cloud import Cloud, CloudReadings
from geom.surface.assumptions import ASSUMED
from geom.surface.clouds.binning import CloudBinner, bin_cloud, sample
from geom.surface.clouds.cells import Cells, merge_cells, wall_cells, wall_layers
from geom.surface.clouds.histogram import BinLayout, Histogram
from geom.surface.clouds.posterior import (
    POSE_PARAMETERS,
    SCANNER_PARAMETERS,
    SystematicErrors,
)
from geom.surface.gp.conditional import ConditionalGP
from geom.surface.grid import Grid
from geom.units import Bool, Float, Int

Tick = Callable[[str], None]


#: A wall that moves by half a cell, mm, is binned anew; so many times at most.
_FAR, _BINNINGS = 5.0, 3
#: Times that the axis is found anew with what targets say of direction and height.
_TARGET_ROUNDS = 2


@dataclass(frozen=True)
class BinnedCloud:
    """One cloud, binned.

    Attributes
    ----------
    grazing : array (m, k), mm2
        Variance of cells by the angle at which the laser met them.
    ranging : array (2, m, k)
        Change of cut-back with the scanner's range (mm) and scale (ppm).
    """

    cells: Cells
    grazing: Float
    ranging: Float
    bands: BandBlocks


@dataclass(frozen=True)
class RegisteredClouds:
    """All clouds of a survey, binned and laid on the design's axis.

    Attributes
    ----------
    grazing : array (m, k), mm2
    found : tuple of FoundPose
        One for each frame.
    """

    cells: Cells
    grazing: Float
    found: tuple[FoundPose, ...]
    systematic: SystematicErrors


def register_clouds(
    readings: CloudReadings,
    design: Design,
    grid: Grid,
    *,
    tick: Tick,
    binner: CloudBinner = bin_cloud,
) -> RegisteredClouds:
    """Find where the clouds lie and sort all their points into the cells of a grid.

    Parameters
    ----------
    grid : Grid
        Over the whole profile.
    tick : callable
        Called with what comes next, in words.

    Returns
    -------
    RegisteredClouds
    """
    scans: list[BinnedCloud] = []
    jacobians: list[tuple[slice, Float]] = []
    found: list[FoundPose] = []
    targets = match_targets(readings.targets, design) if readings.targets else None

    def binned(cloud: Cloud, pose: Pose) -> BinnedCloud:
        histogram = Histogram(BinLayout.of(design, grid))
        binner(cloud, pose, histogram, progress=_progress(tick, cloud))
        cells = wall_cells(histogram, grid)
        bands = band_blocks(histogram, design, grid)
        beam = Beam.of(cloud, pose, *_cell_places(grid))
        return BinnedCloud(cells, beam.grazing, beam.ranging, bands)

    for clouds in frames(readings):
        tick("finding the axis")
        start = find_frame_pose(clouds, design, targets)
        first = len(scans)
        for _ in range(_BINNINGS):
            scans[first:] = [binned(cloud, start.pose) for cloud in clouds]
            pose = start
            for better in (_refined, _settled):
                pose, scans[first:] = better(pose, scans[first:], design, grid)
            if _furthest(start.pose, pose.pose, design, grid) < _FAR:
                break
            # cells are moved to first order: not so far
            start = replace(start, pose=start.pose.at(pose.pose.parameters))
        found.append(pose)
        jacobian = pose_jacobian(pose.pose, design, grid)
        jacobians.append((slice(first, len(scans)), jacobian))
    cells, share = merge_cells([scan.cells for scan in scans])
    whole = sum(s.grazing * part**2 for s, part in zip(scans, share, strict=True))
    rise = -np.broadcast_to(design.profile.slope_at(grid.height)[:, None], grid.shape)
    # For each frame: four fields of its pose and one of its height, each (m, k), times
    # the share that the frame's clouds have in a cell.
    slope = [
        field * share[own].sum(axis=0)
        for own, jacobian in jacobians
        for field in (*jacobian, rise)
    ]
    ranging = sum(s.ranging * part for s, part in zip(scans, share, strict=True))
    return RegisteredClouds(
        cells=cells,
        grazing=np.asarray(whole),
        found=tuple(found),
        systematic=SystematicErrors(
            POSE_PARAMETERS * len(found) + SCANNER_PARAMETERS,
            np.concatenate([np.stack(slope), np.asarray(ranging)]),
            _block_diagonal(found, design),
        ),
    )


def _furthest(before: Pose, after: Pose, design: Design, grid: Grid) -> float:
    """By how much another pose moves the wall where it moves it most, mm."""
    change = after.parameters - before.parameters
    moved = np.tensordot(change, pose_jacobian(before, design, grid), axes=1)
    return float(np.abs(moved).max())


def _progress(tick: Tick, cloud: Cloud) -> Callable[[int], None]:
    """What reports how far the points of a cloud are binned."""
    words = f"sorting points of {Path(cloud.name).name}"
    count, done = cloud.source.count, 0
    tick(words)

    def report(points: int) -> None:
        nonlocal done
        done += points
        share = f"{100 * done / count:.0f} %" if count else f"{done / 1e6:.0f} million"
        tick(f"{words}: {share}")

    return report


def frames(readings: CloudReadings) -> list[tuple[Cloud, ...]]:
    """The clouds that share a frame, together."""
    if readings.one_frame:
        return [readings.clouds]
    return [(cloud,) for cloud in readings.clouds]


def given_pose(
    clouds: Sequence[Cloud], design: Design, targets: MatchedTargets | None = None
) -> Pose:
    """Where clouds of one frame stand as targets, or what the first carries, say."""
    if targets is not None:
        return nominal_from_targets(targets, design)
    return Pose.nominal(
        design, azimuth_of_x=clouds[0].azimuth_of_x, z_offset=clouds[0].z_offset
    )


def find_frame_pose(
    clouds: Sequence[Cloud],
    design: Design,
    targets: MatchedTargets | None = None,
    *,
    least: int = DATUM.pose_points,
) -> FoundPose:
    """The pose of clouds of one frame, from a sample of them.

    Parameters
    ----------
    targets : MatchedTargets, optional
        To tell direction and height; else what the first cloud carries.
    least : int
        Points below which there is no axis.
    """
    points = np.concatenate([sample(cloud) for cloud in clouds])
    height_sd = DATUM.height_zero_sd
    nominal = given_pose(clouds, design, targets)
    if targets is not None:
        for _ in range(_TARGET_ROUNDS):
            rough = find_pose(points, design, nominal, least=least)
            turned, _, height_sd = align_to_targets(rough.pose, targets)
            nominal = turned.at(np.zeros(4), np.zeros((4, 4)))
    found = replace(
        find_pose(points, design, nominal, least=least), height_sd=height_sd
    )
    if found.on_bands:
        return found
    pose = found.pose
    loose = worn_wall_covariance(points, design, pose)
    return replace(found, pose=pose.at(pose.parameters, pose.covariance + loose))


def _refined(
    found: FoundPose, scans: list[BinnedCloud], design: Design, grid: Grid
) -> tuple[FoundPose, list[BinnedCloud]]:
    """The pose made exact on all points of the bands, and the cells moved with it."""
    if not found.on_bands:
        return found, scans
    better = refine_pose(found, design, BandBlocks.joined([s.bands for s in scans]))
    return better, _moved(scans, found.pose, better.pose, design, grid)


def _settled(
    found: FoundPose, scans: list[BinnedCloud], design: Design, grid: Grid
) -> tuple[FoundPose, list[BinnedCloud]]:
    """The pose that sound wall anywhere bears out, and the cells moved with it."""
    cells, _ = merge_cells([scan.cells for scan in scans])
    wall = wall_patches(cells, pose_jacobian(found.pose, design, grid), grid)
    pose = settled_on_sound_wall(found.pose, wall, on_bands=found.on_bands)
    return replace(found, pose=pose), _moved(scans, found.pose, pose, design, grid)


def _moved(
    scans: list[BinnedCloud], before: Pose, after: Pose, design: Design, grid: Grid
) -> list[BinnedCloud]:
    """Cells as they are with another pose, to first order."""
    change = after.parameters - before.parameters
    moved = np.tensordot(change, pose_jacobian(before, design, grid), axes=1)
    return [
        replace(s, cells=replace(s.cells, cutback=s.cells.cutback - moved))
        for s in scans
    ]


def wall_patches(cells: Cells, jacobian: Float, grid: Grid) -> WallPatches:
    """Means over patches of cells that have points of their own.

    Parameters
    ----------
    jacobian : array (4, m, k)
        From `pose_jacobian`.
    """
    row = np.arange(grid.height.size) // ASSUMED.patch_rows
    column = np.arange(grid.azimuth.size) // ASSUMED.patch_columns
    patch = row[:, None] * (int(column[-1]) + 1) + column[None, :]
    held = cells.own & cells.seen
    size = int(patch.max()) + 1
    count = np.bincount(patch[held], minlength=size)
    some = count >= ASSUMED.patch_cells

    def mean(field: Float) -> Float:
        total = np.bincount(patch[held], field[held], size)
        return np.asarray(total[some] / count[some])

    area = np.bincount(patch.ravel(), grid.whole_face.ravel(), size)
    return WallPatches(
        cutback=mean(cells.cutback),
        variance=mean(cells.variance) / count[some],
        jacobian=np.stack([mean(part) for part in jacobian], axis=-1),
        area=np.asarray(area[some], dtype=np.float64),
    )


def band_blocks(histogram: Histogram, design: Design, grid: Grid) -> BandBlocks:
    """Block means of the cells in the datum bands.

    Blocks, because a band high up is met at a grazing angle and has few points.
    """
    first, last = _rows_of_blocks(design, grid)
    layers = wall_layers(histogram, ASSUMED.band_block_columns, first=first, last=last)
    turned = grid.azimuth.reshape(-1, ASSUMED.band_block_columns).mean(axis=1)
    up = 0.5 * (grid.edge[first] + grid.edge[last])
    height, azimuth = np.meshgrid(up, turned, indexing="ij")
    seen = layers.seen
    variance = layers.spread[seen] ** 2 / layers.worth[seen]
    return BandBlocks(
        azimuth[seen], height[seen], layers.cutback[seen], variance + 1e-4
    )


def _rows_of_blocks(design: Design, grid: Grid) -> tuple[Int, Int]:
    """First and last row of each row of blocks, all of it inside a band."""
    first, last = [], []
    for band in design.datum_bands:
        rows = np.flatnonzero(
            (grid.edge[:-1] >= band.low - 1e-6) & (grid.edge[1:] <= band.high + 1e-6)
        )
        if rows.size:
            cuts = np.arange(rows[0], rows[-1] + 1, ASSUMED.band_block_rows)
            first.append(cuts)
            last.append(np.append(cuts[1:], rows[-1] + 1))
    none = np.zeros(0, dtype=np.int64)
    return np.concatenate([none, *first]), np.concatenate([none, *last])


def pose_jacobian(pose: Pose, design: Design, grid: Grid) -> Float:
    """Derivative of cut-back in each cell by the pose's numbers; (4, m, k)."""
    height, azimuth = np.meshgrid(grid.height, grid.azimuth, indexing="ij")
    slope = np.broadcast_to(design.profile.slope_at(grid.height)[:, None], grid.shape)
    drawn = np.broadcast_to(grid.design_radius[:, None], grid.shape)
    return np.moveaxis(pose.jacobian(azimuth, height, slope, drawn), -1, 0)


@dataclass(frozen=True)
class Beam:
    """How the laser met the wall.

    Attributes
    ----------
    square : array
        Cosine of the angle from square on; (m, k) where places are cells.
    length : array, mm
    is_known : bool
        Whether the scanner's place is; else it is taken to stand on the axis, at the
        height of each place.
    """

    square: Float
    length: Float
    is_known: bool = True

    @classmethod
    def of(
        cls, cloud: Cloud, pose: Pose, azimuth: Float, radius: Float, height: Float
    ) -> Beam:
        """Of a cloud's scanner, to places on the wall, all of one shape."""
        if cloud.scanner is None:
            return cls(np.ones(radius.shape), radius, is_known=False)
        wall = pose.from_wall(azimuth, radius, height)
        inward = pose.from_wall(azimuth, radius - 1.0, height) - wall
        # (..., 3): from each place to the scanner, and 1 mm inward square to the axis.
        beam = cloud.scanner - wall
        length = np.linalg.norm(beam, axis=-1)
        return cls(np.sum(beam * inward, axis=-1) / length, length)

    @property
    def grazing(self) -> Float:
        """Variance of each cell by the angle between laser and wall, mm2; (m, k).

        With i the angle from square on, the part of an error along the beam's spot that
        falls on the radius grows with tan i.  None where the scanner's place is not
        known.
        """
        if not self.is_known:
            return np.zeros(self.square.shape)
        angle = np.arccos(np.clip(self.square, -1.0, 1.0))
        steep = np.minimum(angle, np.deg2rad(ASSUMED.steepest_beam))
        return np.asarray((ASSUMED.grazing_error * np.tan(steep)) ** 2)

    @property
    def ranging(self) -> Float:
        """Change of cut-back with range (mm) and scale (ppm); (2, m, k)."""
        return np.stack([self.square, self.square * self.length * 1e-6])


def _cell_places(grid: Grid) -> tuple[Float, Float, Float]:
    """Azimuth, radius as drawn and height of every cell; (m, k) each."""
    height, azimuth = np.meshgrid(grid.height, grid.azimuth, indexing="ij")
    radius = np.broadcast_to(grid.design_radius[:, None], grid.shape)
    return azimuth, radius, height


def _block_diagonal(found: Sequence[FoundPose], design: Design) -> Float:
    """Covariance of all frames' poses and heights, and of the scanner's errors."""
    size = len(POSE_PARAMETERS)
    count = size * len(found)
    whole = np.zeros((count + 2, count + 2))
    for k, frame in enumerate(found):
        pose = slice(k * size, k * size + 4)
        whole[pose, pose] = frame.pose.covariance
        whole[pose.stop, pose.stop] = frame.height_sd**2
    scanner = design.scanner
    whole[count, count] = scanner.range_error**2
    whole[count + 1, count + 1] = scanner.scale_error**2
    return whole


def calibration_factor(gp: ConditionalGP, occluded: Bool, grid: Grid) -> Float:
    """Factor on the variance of the fitted wall where it is occluded; (m, k).

    Parameters
    ----------
    gp : ConditionalGP
        Fitted to blocks of cells.
    occluded : bool array (m, k)
        Cells that no cloud shows.
    """
    count = len(gp.observed)
    azimuth = gp.observed.places.azimuth[:count]
    height = gp.observed.places.height[:count]
    inverse = gp.inverse
    row = np.clip(np.searchsorted(grid.edge, height) - 1, 0, grid.height.size - 1)
    squared, times_out = np.zeros(count), np.zeros(count)
    sums: list[float] = []
    for angle in range(ASSUMED.shadow_step, 360, ASSUMED.shadow_step):
        column = np.round((azimuth - angle) / 360.0 * grid.azimuth.size).astype(int)
        out = np.flatnonzero(occluded[row, column % grid.azimuth.size])
        if out.size >= ASSUMED.shadow_blocks:
            each, of_sum = _left_out(inverse, gp.weights, out)
            squared[out] += each
            times_out[out] += 1.0
            sums.append(of_sum)
    tested = times_out > 0
    if not tested.any():
        return np.ones(grid.shape)
    ratio = squared[tested] / times_out[tested]
    # Kernel mean of ratios at each cell: (m, blocks) times (blocks, k).
    up = np.exp(
        -0.5 * ((grid.height[:, None] - height[tested]) / ASSUMED.shadow_height) ** 2
    )
    apart = np.mod(grid.azimuth[:, None] - azimuth[tested] + 180.0, 360.0) - 180.0
    across = np.exp(-0.5 * (apart / ASSUMED.shadow_azimuth) ** 2).T
    inflation = (ASSUMED.prior_blocks + (up * ratio) @ across) / (
        ASSUMED.prior_blocks + up @ across
    )
    counts = ASSUMED.effective_turns * len(sums) / (360 // ASSUMED.shadow_step - 1)
    dof = ASSUMED.prior_turns + counts
    prior = ASSUMED.prior_turns * ASSUMED.shadow_surprise
    of_sum = (prior + counts * float(np.mean(sums))) / dof
    # That variance is itself estimated from few turns: Student's t has more of it.
    of_sum *= dof / max(dof - 2.0, 1.0)
    usual = float(inflation[occluded].mean()) if occluded.any() else 1.0
    return np.asarray(inflation * max(1.0, of_sum / usual))


def _left_out(inverse: Float, weights: Float, out: Int) -> tuple[Float, float]:
    """Squared residuals of blocks left out together, and of their sum, in variances.

    Parameters
    ----------
    inverse : array (n, n)
        Of the covariance of all readings.
    weights : array (n,)
        That inverse times the readings.
    out : int array (q,)
        Which are left out.
    """
    covariance = np.linalg.inv(inverse[np.ix_(out, out)])
    residual = covariance @ weights[out]
    of_sum = float(residual.sum() ** 2 / covariance.sum())
    return np.asarray(residual**2 / np.diag(covariance)), of_sum
