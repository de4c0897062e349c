"""From point clouds to a radial surface."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from geom.datum import (
    HEIGHT_SD,
    FoundPose,
    Matched,
    Pose,
    find_pose,
    matched,
    nominal_from_targets,
    refine_pose,
    turned_to_targets,
)
from geom.design import Design
from geom.readings.cloud import Cloud, CloudReadings
from geom.surface.clouds.binning import Counter, count_cloud, sample
from geom.surface.clouds.cells import (
    Cells,
    cells_of,
    combined,
    layers_of,
)
from geom.surface.clouds.posterior import LEAN_BY, Leaning
from geom.surface.clouds.tally import Layout, Tally
from geom.surface.grid import Grid
from geom.units import Float, Int

Tick = Callable[[str], None]

#: Error of a cell that the laser meets at 45 degrees, mm; it grows with the tangent.
#: Our own choice, no source.
GRAZING = 0.5
_STEEPEST = 80.0
#: Rows and columns of cells that make a block in a band.
_BAND_ROWS, _BAND_COLUMNS = 5, 6
#: Without datum bands an axis is only known as well as the wall is sound, mm.
NO_BAND_SD = 3.0
#: Times that the axis is found anew with what targets say of direction and height.
_TARGET_ROUNDS = 2


@dataclass(frozen=True)
class Scan:
    """One cloud, counted.

    Attributes
    ----------
    cells : Cells
    grazing : array (m, k), mm2
        Variance of cells by the angle at which the laser met them.
    bands : tuple of array
        What `bands_of` tells.
    """

    cells: Cells
    grazing: Float
    bands: tuple[Float, ...]


@dataclass(frozen=True)
class Scanned:
    """All clouds of a survey, counted and laid on the design's axis.

    Attributes
    ----------
    cells : Cells
    grazing : array (m, k), mm2
    found : tuple of FoundPose
        One for each frame.
    leaning : Leaning
        How cut-back follows their errors.
    """

    cells: Cells
    grazing: Float
    found: tuple[FoundPose, ...]
    leaning: Leaning


def count_clouds(
    readings: CloudReadings,
    design: Design,
    grid: Grid,
    *,
    tick: Tick,
    counter: Counter = count_cloud,
) -> Scanned:
    """Find where the clouds lie and sort all their points into the cells of a grid.

    Parameters
    ----------
    readings : CloudReadings
    design : Design
    grid : Grid
        Over the whole profile.
    tick : callable
        Told what comes next.
    counter : callable
        Adds all points of a cloud to a tally.

    Returns
    -------
    Scanned
    """
    scans: list[Scan] = []
    leans: list[tuple[slice, Float]] = []
    found: list[FoundPose] = []
    targets = matched(readings.targets, design) if readings.targets else None
    for clouds in frames(readings):
        tick("finding the axis")
        pose = found_pose(clouds, design, targets)
        first = len(scans)
        for cloud in clouds:
            tally = Tally(Layout.of(design, grid))
            counter(cloud, pose.pose, tally, progress=_told(tick, cloud))
            cells = cells_of(tally, grid)
            bands = bands_of(tally, design, grid)
            scans.append(Scan(cells, grazing(cloud, pose.pose, grid), bands))
        pose, moved = _refined(pose, scans[first:], design, grid)
        scans[first:] = moved
        found.append(pose)
        leans.append((slice(first, len(scans)), lean_of(pose.pose, design, grid)))
    cells, share = combined([scan.cells for scan in scans])
    whole = sum(s.grazing * part**2 for s, part in zip(scans, share, strict=True))
    rise = -np.broadcast_to(design.profile.slope_at(grid.height)[:, None], grid.shape)
    slope = [
        one * share[some].sum(axis=0) for some, lean in leans for one in (*lean, rise)
    ]
    return Scanned(
        cells=cells,
        grazing=np.asarray(whole),
        found=tuple(found),
        leaning=Leaning(np.stack(slope), _side_by_side(found)),
    )


def _told(tick: Tick, cloud: Cloud) -> Callable[[int], None]:
    """What tells how far the points of a cloud are counted."""
    words = f"sorting points of {Path(cloud.name).name}"
    count, done = cloud.source.count, 0
    tick(words)

    def tell(points: int) -> None:
        nonlocal done
        done += points
        share = f"{100 * done / count:.0f} %" if count else f"{done / 1e6:.0f} million"
        tick(f"{words}: {share}")

    return tell


def frames(readings: CloudReadings) -> list[tuple[Cloud, ...]]:
    """The clouds that share a frame, together."""
    if readings.one_frame:
        return [readings.clouds]
    return [(cloud,) for cloud in readings.clouds]


def found_pose(
    clouds: Sequence[Cloud], design: Design, targets: Matched | None = None
) -> FoundPose:
    """The pose of clouds of one frame, from a sample of them.

    Parameters
    ----------
    clouds : sequence of Cloud
    design : Design
    targets : Matched, optional
        To tell direction and height; else what the first cloud carries.
    """
    points = np.concatenate([sample(cloud) for cloud in clouds])
    sd_height = HEIGHT_SD
    if targets is None:
        nominal = Pose.nominal(
            design, azimuth_of_x=clouds[0].azimuth_of_x, z_offset=clouds[0].z_offset
        )
    else:
        nominal = nominal_from_targets(targets, design)
        for _ in range(_TARGET_ROUNDS):
            rough = find_pose(points, design, nominal)
            turned, _, sd_height = turned_to_targets(rough.pose, targets)
            nominal = turned.at(np.zeros(4), np.zeros((4, 4)))
    found = replace(find_pose(points, design, nominal), sd_height=sd_height)
    if found.on_bands:
        return found
    tall = 0.5 * (design.profile.top - design.profile.bottom)
    tilt = np.rad2deg(NO_BAND_SD / tall)
    loose = np.diag([NO_BAND_SD, NO_BAND_SD, tilt, tilt]) ** 2
    pose = found.pose
    return replace(found, pose=pose.at(pose.parameters, pose.covariance + loose))


def _refined(
    found: FoundPose, scans: list[Scan], design: Design, grid: Grid
) -> tuple[FoundPose, list[Scan]]:
    """The pose made exact on all points of the bands, and the cells moved with it."""
    if not found.on_bands:
        return found, scans
    told = [
        np.concatenate(part) for part in zip(*(s.bands for s in scans), strict=True)
    ]
    better = refine_pose(found, design, *told)
    change = better.pose.parameters - found.pose.parameters
    moved = np.tensordot(change, lean_of(found.pose, design, grid), axes=1)
    return better, [
        replace(s, cells=replace(s.cells, cutback=s.cells.cutback - moved))
        for s in scans
    ]


def bands_of(tally: Tally, design: Design, grid: Grid) -> tuple[Float, ...]:
    """Blocks of cells in the datum bands: azimuth, height, cut-back and its variance.

    Blocks, because a band high up is met at a grazing angle and has few points.
    """
    first, last = _rows_of_blocks(design, grid)
    layers = layers_of(tally, _BAND_COLUMNS, first=first, last=last)
    turned = grid.azimuth.reshape(-1, _BAND_COLUMNS).mean(axis=1)
    up = 0.5 * (grid.edge[first] + grid.edge[last])
    height, azimuth = np.meshgrid(up, turned, indexing="ij")
    seen = layers.seen
    variance = layers.spread[seen] ** 2 / layers.count[seen]
    return azimuth[seen], height[seen], layers.cutback[seen], variance + 1e-4


def _rows_of_blocks(design: Design, grid: Grid) -> tuple[Int, Int]:
    """First and last row of each row of blocks, all of it inside a band."""
    first, last = [], []
    for band in design.datum_bands:
        rows = np.flatnonzero(
            (grid.edge[:-1] >= band.low - 1e-6) & (grid.edge[1:] <= band.high + 1e-6)
        )
        if rows.size:
            cuts = np.arange(rows[0], rows[-1] + 1, _BAND_ROWS)
            first.append(cuts)
            last.append(np.append(cuts[1:], rows[-1] + 1))
    none = np.zeros(0, dtype=np.int64)
    return np.concatenate([none, *first]), np.concatenate([none, *last])


def lean_of(pose: Pose, design: Design, grid: Grid) -> Float:
    """How cut-back in each cell follows the pose; (4, m, k)."""
    height, azimuth = np.meshgrid(grid.height, grid.azimuth, indexing="ij")
    slope = np.broadcast_to(design.profile.slope_at(grid.height)[:, None], grid.shape)
    drawn = np.broadcast_to(grid.design_radius[:, None], grid.shape)
    return np.moveaxis(pose.lean(azimuth, height, slope, drawn), -1, 0)


def grazing(cloud: Cloud, pose: Pose, grid: Grid) -> Float:
    """Variance of each cell by the angle between laser and wall, mm2; (m, k).

    With i the angle from square on, the part of an error along the beam's spot that
    falls on the radius grows with tan i.  None where the scanner's place is not known.
    """
    if cloud.scanner is None:
        return np.zeros(grid.shape)
    height, azimuth = np.meshgrid(grid.height, grid.azimuth, indexing="ij")
    radius = np.broadcast_to(grid.design_radius[:, None], grid.shape)
    wall = pose.from_wall(azimuth, radius, height)
    inward = pose.from_wall(azimuth, radius - 1.0, height) - wall
    beam = cloud.scanner - wall
    square = np.sum(beam * inward, axis=-1) / np.linalg.norm(beam, axis=-1)
    angle = np.arccos(np.clip(square, -1.0, 1.0))
    steep = np.minimum(angle, np.deg2rad(_STEEPEST))
    return np.asarray((GRAZING * np.tan(steep)) ** 2)


def _side_by_side(found: Sequence[FoundPose]) -> Float:
    whole = np.zeros((len(found), LEAN_BY, len(found), LEAN_BY))
    for k, one in enumerate(found):
        whole[k, :4, k, :4] = one.pose.covariance
        whole[k, 4, k, 4] = one.sd_height**2
    return whole.reshape(len(found) * LEAN_BY, -1)
