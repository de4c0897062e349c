"""Few single points, as of a total station: each a radius reading of its own.

The clouds are laid on the design's axis as dense ones are, where there are points
enough to find it; else they are taken as stated.  Every point is then a reading
with the scanner's own standard uncertainty; what the pose and the scanner's range may
be off by, all readings share.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from geom.datum import (
    FoundPose,
    MatchedTargets,
    WallPatches,
    match_targets,
    settled_on_sound_wall,
)
from geom.datum.assumptions import ASSUMED as DATUM
from geom.design import Design
from geom.errors import InputError
from geom.readings.cloud import Cloud, CloudReadings
from geom.readings.rod import RodKind, RodReadings
from geom.surface.assumptions import ASSUMED
from geom.surface.clouds.binning import sample
from geom.surface.clouds.register import (
    Beam,
    find_frame_pose,
    frames,
    given_pose,
)
from geom.surface.radial import PoseAsStated
from geom.units import Float

_RADIUS: tuple[RodKind, ...] = ("radius",)
#: Names of shared errors among the sources.
POSE, RANGE = "pose of the cloud", "scanner's range and scale"


def single_readings(
    readings: CloudReadings, design: Design
) -> tuple[RodReadings, tuple[FoundPose, ...], tuple[PoseAsStated, ...]]:
    """Every point as a radius reading, next to the rod readings.

    Returns
    -------
    readings : RodReadings
    found : tuple of FoundPose
        One for each frame.
    diagnostics : tuple of PoseAsStated

    Raises
    ------
    InputError
        If there are too many points to be read singly.
    """
    many = sum(cloud.source.count or 0 for cloud in readings.clouds)
    if many > DATUM.few_points:
        most = DATUM.few_points
        what = f"there are {many:,} points, more than the {most:,} that are read singly"
        cure = "Leave out --sparse (sparse=True)"
        raise InputError(what, file=readings.clouds[0].name, cure=cure)
    targets = match_targets(readings.targets, design) if readings.targets else None
    sheet, found, diagnostics = readings.rod, [], []
    for clouds in frames(readings):
        pose, stated = _pose(clouds, design, targets)
        found.append(pose)
        diagnostics += stated
        for cloud in clouds:
            sheet = sheet.joined(_of_cloud(cloud, pose, design))
    return sheet, tuple(found), tuple(diagnostics)


def _pose(
    clouds: tuple[Cloud, ...], design: Design, targets: MatchedTargets | None
) -> tuple[FoundPose, list[PoseAsStated]]:
    try:
        found = find_frame_pose(clouds, design, targets, least=ASSUMED.axis_points)
    except InputError:
        nominal = given_pose(clouds, design, targets)
    else:
        return _settled(found, clouds, design), []
    tilt = np.rad2deg(
        ASSUMED.stated_set_up_sd / (0.5 * (design.profile.top - design.profile.bottom))
    )
    pose = nominal.at(
        nominal.parameters,
        np.diag([ASSUMED.stated_set_up_sd, ASSUMED.stated_set_up_sd, tilt, tilt]) ** 2,
    )
    found = FoundPose(pose, on_bands=False, n_points=0, radius_bias=0.0)
    return found, [PoseAsStated(clouds[0].name, ASSUMED.stated_set_up_sd)]


def _settled(found: FoundPose, clouds: tuple[Cloud, ...], design: Design) -> FoundPose:
    """The pose that sound wall anywhere bears out."""
    pose, profile = found.pose, design.profile
    azimuth, radius, height = pose.to_wall(np.concatenate([sample(c) for c in clouds]))
    cutback = radius - profile.radius_at(height)
    near = np.abs(cutback) < ASSUMED.furthest_point
    azimuth, cutback, height = azimuth[near], cutback[near], height[near]
    drawn = profile.radius_at(height)
    jacobian = pose.jacobian(azimuth, height, profile.slope_at(height), drawn)
    # points scatter each by itself: means over as much wall as is off alike
    columns = max(4, round(2.0 * np.pi * profile.mean_radius / DATUM.patches_alike))
    column = np.clip((azimuth / 360.0 * columns).astype(int), 0, columns - 1)
    row = ((height - profile.bottom) / DATUM.patches_alike).astype(int)
    _, patch, count = np.unique(
        row * columns + column, return_inverse=True, return_counts=True
    )

    def mean(field: Float) -> Float:
        return np.asarray(np.bincount(patch, field) / count)

    wall = WallPatches(
        cutback=mean(cutback),
        variance=design.scanner.point_sd**2 / count,
        jacobian=np.stack([mean(part) for part in jacobian.T], axis=-1),
        area=np.full(count.size, DATUM.patches_alike**2),
    )
    better = settled_on_sound_wall(pose, wall, on_bands=found.on_bands)
    return replace(found, pose=better)


def _of_cloud(cloud: Cloud, found: FoundPose, design: Design) -> RodReadings:
    pose, profile = found.pose, design.profile
    points = sample(cloud)
    azimuth, radius, height = pose.to_wall(points)
    near = np.abs(radius - profile.radius_at(height)) < ASSUMED.furthest_point
    azimuth, radius, height = azimuth[near], radius[near], height[near]
    n, scanner = azimuth.size, design.scanner
    return RodReadings(
        kind=_RADIUS * n,
        azimuth=azimuth,
        height=height,
        value=radius,
        sd=np.full(n, scanner.point_sd),
        step=np.zeros(n),
        place=tuple(f"{cloud.name}, point {k + 1}" for k in np.flatnonzero(near)),
        note=("",) * n,
        common={
            POSE: _pose_errors(found, design, azimuth, height),
            RANGE: Beam.of(cloud, pose, azimuth, radius, height).ranging.T
            * [scanner.range_error, scanner.scale_error],
        },
    )


def _pose_errors(
    found: FoundPose, design: Design, azimuth: Float, height: Float
) -> Float:
    """What one standard uncertainty of each of the pose's numbers does; (n, 5)."""
    slope = design.profile.slope_at(height)
    drawn = design.profile.radius_at(height)
    jacobian = found.pose.jacobian(azimuth, height, slope, drawn)
    root = np.linalg.cholesky(found.pose.covariance + 1e-12 * np.eye(4))
    rise = -slope * found.height_sd
    return np.column_stack([jacobian @ root, rise])
