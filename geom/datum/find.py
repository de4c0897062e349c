"""The pose of a cloud, found on the datum bands or, without them, on the whole wall.

Four numbers are sought: the offset of the axis in x and y and two tilts; height and
direction come from the surveyor or from targets.

`find_pose` works on a sample of points.  First a circle through the band is found that
most points agree with, so that dirt, dust and whatever hangs in the furnace have no
say.  Then the distances of all points from the drawing, at right angles to it, taper
included, are made small by iteratively reweighted least squares, each point counting
less the further off it lies (Tukey's biweight, its width narrowed step by step).
Without a datum band the whole wall is used, one-sidedly: a worn wall lies outside its
drawing, so points outside count for little and points inside for much until they are
clearly build-up.

`refine_pose` makes the pose exact on the blocks of cells of the bands, which hold all
points.  The small change that makes the bands lie on their drawing is linear in what
the cells read, and is applied to the cells instead of binning anew.  What the bands'
own radius is off by (a range offset of the scanner, a band built a little wide) is
fitted with the pose, so that a band in shadow on one side does not turn it into an
offset of the axis.  The covariance is that of errors which reach as far as the band's
own residuals say (`geom.datum.form_errors`) or, where it is greater, that which the
blocks' own variances make.

References
----------
Huber, P. J. (1967). The behavior of maximum likelihood estimates under nonstandard
conditions. Proc. Fifth Berkeley Symposium 1, 221-233 (covariance of estimates from
observations that are not all alike; by patches, so that points of one patch may err
alike).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from geom.datum.assumptions import ASSUMED
from geom.datum.band_axis import BandAxis, band_axes
from geom.datum.form_errors import form_covariance
from geom.datum.pose import Pose
from geom.design import Design
from geom.errors import InputError
from geom.stats.regression import EFFICIENT, biweight, biweight_slope
from geom.units import Bool, Float, Int

#: Condition number of the normal equations from which on they are singular; a scan of
#: a hundredth of the ring has some 15.
_SINGULAR = 1e8
#: Coarse search: points looked at, candidate circles tried, and how near a point must
#: lie to agree, mm.
_SAMPLED, _CANDIDATES, _NEAR = 3000, 600, 8.0

#: Most steps more at the last width, and what makes a step of 0.01 mm and 0.001 degrees
#: 1, which is small enough.
_ROUNDS, _CONVERGED = 60, np.diag([100.0, 100.0, 1000.0, 1000.0])
#: Starts on the whole wall, how far apart, mm, and points that they are tried with.
_STARTS, _APART, _TRIAL = 5, 12.0, 30_000


@dataclass(frozen=True)
class BandBlocks:
    """Blocks of cells in the datum bands that the laser saw; arrays (n,).

    Attributes
    ----------
    azimuth : array, degrees
    height : array, mm
    cutback : array, mm
        From the drawing, in the frame of the pose that points were binned with.
    variance : array, mm2
        Of cut-back, by scatter of the points.
    """

    azimuth: Float
    height: Float
    cutback: Float
    variance: Float

    @classmethod
    def joined(cls, parts: Sequence[BandBlocks]) -> BandBlocks:
        """Those of several clouds of one frame."""
        names = ("azimuth", "height", "cutback", "variance")
        return cls(*(np.concatenate([getattr(p, n) for p in parts]) for n in names))


@dataclass(frozen=True)
class FoundPose:
    """A pose and how it was found.

    Attributes
    ----------
    on_bands : bool
        Whether on datum bands; else on the whole wall.
    n_points : int
        Points, or blocks of such, that had a say.
    radius_bias : float, mm
        Median distance of those from the drawing, outwards positive.
    height_sd : float, mm
        Standard uncertainty of the height that the pose rests on.
    band_axes : tuple of BandAxis
        The bands' own axes, as a check.
    """

    pose: Pose
    on_bands: bool
    n_points: int
    radius_bias: float
    height_sd: float = ASSUMED.height_zero_sd
    band_axes: tuple[BandAxis, ...] = ()


def find_pose(
    points: Float, design: Design, nominal: Pose, *, least: int = ASSUMED.pose_points
) -> FoundPose:
    """Find the pose from a sample of points.

    Parameters
    ----------
    points : array (n, 3), mm
        Of the whole cloud, in its own frame.
    nominal : Pose
        With direction and height as known; offset and tilt are looked for.
    least : int
        Points below which there is no axis.

    Raises
    ------
    InputError
        If no axis can be found.
    """
    on_bands = bool(design.datum_bands)
    pose, *others = _coarse(points, design, nominal, on_bands=on_bands, least=least)
    if others and not on_bands:
        pose = _best_start(points, design, [pose, *others], least)
    points = _near(points, design, pose, on_bands=on_bands)
    pose = _converged(points, design, pose, on_bands=on_bands, least=least)
    width = ASSUMED.search_widths[-1]
    at = _Residuals.of(points, design, pose, on_bands=on_bands, margin=width)
    weight = _weights(at.distance, width, on_bands=on_bands)
    slope = biweight_slope(at.distance, width) if on_bands else weight
    n_points = int((weight > 0.1).sum())
    _refuse_unlikely(pose, n_points, least)
    return FoundPose(
        pose.at(pose.parameters, covariance(at, weight, slope)),
        on_bands,
        n_points,
        _weighted_median(at.distance, weight),
    )


def _weights(distance: Float, width: float, *, on_bands: bool) -> Float:
    return (biweight if on_bands else _one_sided)(distance, width)


def _one_sided(distance: Float, width: float) -> Float:
    """Weights for a wall that wears outwards: steep outside, gentle inside.

    Parameters
    ----------
    distance : array (n,), mm
    width : float, mm
        At first wide, so that the search finds its way.
    """
    outward = max(ASSUMED.outward_width, 0.5 * width)
    inward = max(ASSUMED.inward_width, width)
    scaled = np.where(distance > 0.0, distance / outward, distance / inward)
    return np.asarray(1.0 / (1.0 + scaled**2) ** 2)


def _converged(
    points: Float, design: Design, pose: Pose, *, on_bands: bool, least: int
) -> Pose:
    """The pose that steps of narrowing width lead to."""
    start = pose
    for width in (*ASSUMED.search_widths, *(ASSUMED.search_widths[-1:] * _ROUNDS)):
        at = _Residuals.of(points, design, pose, on_bands=on_bands, margin=width)
        weight = _weights(at.distance, width, on_bands=on_bands)
        _refuse_unlikely(start, int((weight > 0.0).sum()), least)
        step = _step(at, weight)
        pose = pose.at(pose.parameters + step)
        if width == ASSUMED.search_widths[-1] and np.abs(step @ _CONVERGED).max() < 1.0:
            break
    return pose


def _best_start(points: Float, design: Design, starts: list[Pose], least: int) -> Pose:
    """Of several starts on the whole wall, that which leads to the least loss.

    A burn to one side may look like a wall moved over; the true axis has less of it
    inside its drawing.
    """
    some = points[:: max(1, len(points) // _TRIAL)]
    ends = []
    for start in starts:
        near = _near(some, design, start, on_bands=False)
        try:
            end = _converged(near, design, start, on_bands=False, least=least)
        except InputError:
            continue
        at = _Residuals.of(near, design, end, on_bands=False, margin=0.0)
        size = at.distance.size
        loss = float(
            1.0 - np.sqrt(_one_sided(at.distance, ASSUMED.search_widths[-1])).mean()
        )
        ends.append((loss * size + len(some) - size, end))
    if not ends:
        return starts[0]
    return min(ends, key=lambda end: end[0])[1]


@dataclass(frozen=True)
class _Residuals:
    """Points against the drawing.

    Attributes
    ----------
    distance : array (n,), mm
        From the drawing at right angles to it, outwards positive.
    jacobian : array (n, 4)
        Of that by the pose: offsets (mm) and tilts (degrees).
    azimuth, height : array (n,), degrees and mm
    bottom : float, mm
        Of the profile.
    """

    distance: Float
    jacobian: Float
    azimuth: Float
    height: Float
    bottom: float

    @classmethod
    def of(
        cls, points: Float, design: Design, pose: Pose, *, on_bands: bool, margin: float
    ) -> _Residuals:
        azimuth, radius, height = pose.to_wall(points)
        profile = design.profile
        drawn = profile.radius_at(height)
        near = np.isfinite(drawn) & (np.abs(radius - drawn) < ASSUMED.search_distance)
        near &= on_wall(design, azimuth, height)
        if on_bands:
            near &= in_bands(design, height, margin)
        azimuth, radius = azimuth[near], radius[near]
        height, drawn = height[near], drawn[near]
        slope = profile.slope_at(height)
        square = 1.0 / np.sqrt(1.0 + slope**2)
        jacobian = pose.jacobian(azimuth, height, slope, drawn) * square[:, None]
        distance = (radius - drawn) * square
        return cls(distance, jacobian, azimuth, height, profile.bottom)

    @cached_property
    def patch(self) -> Int:
        """Number of the patch of wall that each point lies in; (n,)."""
        turn = (self.azimuth // ASSUMED.patch_turn).astype(np.int64)
        rise = ((self.height - self.bottom) // ASSUMED.patch_height).astype(np.int64)
        return rise * round(360.0 / ASSUMED.patch_turn) + turn


def _near(points: Float, design: Design, pose: Pose, *, on_bands: bool) -> Float:
    """The points that can have a say, the tilt being unknown yet."""
    _, radius, height = pose.to_wall(points)
    drawn = design.profile.radius_at(height)
    reach = radius * np.sin(np.deg2rad(ASSUMED.search_tilt))
    near = np.isfinite(drawn) & (
        np.abs(radius - drawn) < 3.0 * ASSUMED.search_widths[0] + reach
    )
    if on_bands:
        by_band = [
            (height > band.low - reach) & (height < band.high + reach)
            for band in design.datum_bands
        ]
        near &= np.any(by_band, axis=0)
    return np.asarray(points[near])


def in_bands(design: Design, height: Float, margin: float) -> Bool:
    """Whether heights lie in a datum band, clear of its ends by a margin, mm.

    The margin is at most a quarter of the band.
    """
    inside = np.zeros(height.shape, dtype=bool)
    for band in design.datum_bands:
        kept = min(margin, 0.25 * (band.high - band.low))
        inside |= (height >= band.low + kept) & (height <= band.high - kept)
    return inside


def on_wall(design: Design, azimuth: Float, height: Float) -> Bool:
    """Whether places lie clear of every opening."""
    clear = np.ones(azimuth.shape, dtype=bool)
    for hole in design.openings:
        level = np.flatnonzero(np.abs(height - hole.height) <= 0.5 * hole.tall)
        radius = design.radius_at_opening(hole)
        clear[level] &= ~hole.holds(azimuth[level], height[level], radius)
    return clear


def _step(at: _Residuals, weight: Float) -> Float:
    """Weighted least squares of the change of pose; tilts have a wide prior."""
    pull = at.jacobian.T @ (weight * at.distance)
    normal = _normal_matrix(at, weight)
    _refuse_unspread(normal)
    return np.asarray(np.linalg.solve(normal, pull))


def _normal_matrix(at: _Residuals, weight: Float) -> Float:
    """Of the pose's four numbers, with what is known of the tilts before; (4, 4)."""
    normal = (at.jacobian * weight[:, None]).T @ at.jacobian
    normal[[2, 3], [2, 3]] += 1.0 / ASSUMED.tilt_sd**2
    return np.asarray(normal)


def _refuse_unspread(normal: Float) -> None:
    """Refuse points that fix no axis: all in one place, or all on one line upwards."""
    scale = np.sqrt(np.diag(normal))
    if not scale.all() or np.linalg.cond(normal / np.outer(scale, scale)) > _SINGULAR:
        raise InputError(
            "the points are not spread round the wall: they fix no axis",
            cure="Check that the columns are x, y and z, and scan all round the wall",
        )


def covariance(at: _Residuals, weight: Float, slope: Float) -> Float:
    """Covariance of the pose, points of one patch being allowed to err alike; (4, 4).

    Parameters
    ----------
    weight : array (n,)
    slope : array (n,)
        Of the weighted distance with the distance: what holds the pose, where weights
        follow the distance (Huber 1967).
    """
    count = int(at.patch.max()) + 1
    residual = at.distance - float(np.average(at.distance, weights=weight))
    score = at.jacobian * (weight * residual)[:, None]
    by_patch = np.stack(
        [np.bincount(at.patch, weights=score[:, k], minlength=count) for k in range(4)]
    )
    inverse = np.linalg.inv(_normal_matrix(at, slope))
    filled = max(int((np.bincount(at.patch, minlength=count) > 0).sum()), 6)
    middle = by_patch @ by_patch.T * filled / (filled - 4.0)
    return np.asarray(inverse @ middle @ inverse)


def _coarse(
    points: Float, design: Design, nominal: Pose, *, on_bands: bool, least: int
) -> list[Pose]:
    """Offsets that most points agree with, best first, without tilt; seeded."""
    rng = np.random.default_rng(0)
    azimuth, radius, height = nominal.to_wall(points)
    kept = np.isfinite(design.profile.radius_at(height))
    if on_bands:
        kept &= in_bands(design, height, 25.0)
    few = len(points) < ASSUMED.few_points
    if kept.sum() < least:
        raise InputError(
            f"only {int(kept.sum())} points lie "
            + (
                "in the datum bands"
                if on_bands
                else "between bottom and top of the wall"
            )
            + f"; at least {least} are needed to find the axis",
            cure="Check --cloud-unit and --z-offset, or scan the band"
            + ("; or read each point as a radius (--sparse)" if few else ""),
        )
    rows = np.flatnonzero(kept)
    some = rng.choice(rows, min(_SAMPLED, rows.size), replace=False)
    drawn = design.profile.radius_at(height[some])
    a = np.deg2rad(azimuth[some])
    x, y = radius[some] * np.cos(a), radius[some] * np.sin(a)
    first, second = rng.integers(0, some.size, (2, _CANDIDATES))
    centre = _centres(x, y, drawn, first, second)
    centre = centre[np.hypot(*centre.T) < ASSUMED.search_distance]
    centre = np.concatenate([np.zeros((1, 2)), centre])
    votes = np.array([_votes(x - at[0], y - at[1], drawn) for at in centre])
    chosen: list[Float] = []
    for candidate in centre[np.argsort(-votes, kind="stable")]:
        if all(np.hypot(*(candidate - other)) > _APART for other in chosen):
            chosen.append(candidate)
        if len(chosen) == _STARTS:
            break
    toward = nominal._to_azimuth[:2, :2]
    return [nominal.at(np.append(toward.T @ at, [0.0, 0.0])) for at in chosen]


def _votes(x: Float, y: Float, drawn: Float) -> float:
    """How many points lie on their circles about the origin, near ones in part."""
    far = (np.sqrt(x * x + y * y) - drawn) / _NEAR
    return float(np.maximum(1.0 - far * far, 0.0).sum())


def _centres(x: Float, y: Float, drawn: Float, first: Int, second: Int) -> Float:
    """Centres of the circles of the design radius through pairs of points; (t, 2)."""
    gap = np.stack([x[second] - x[first], y[second] - y[first]], axis=1)
    far = np.hypot(*gap.T)
    radius = 0.5 * (drawn[first] + drawn[second])
    apart = (far > 0.2 * radius) & (far < 1.95 * radius)
    first, second, gap, far = first[apart], second[apart], gap[apart], far[apart]
    middle = 0.5 * np.stack([x[first] + x[second], y[first] + y[second]], axis=1)
    rise = np.sqrt(radius[apart] ** 2 - 0.25 * far**2) / far
    side = np.stack([-gap[:, 1], gap[:, 0]], axis=1) * rise[:, None]
    return np.concatenate([middle + side, middle - side])


def _refuse_unlikely(pose: Pose, used: int, least: int) -> None:
    distance = np.hypot(pose.offset_x, pose.offset_y)
    steep = np.hypot(pose.tilt_x, pose.tilt_y)
    if (
        used < least
        or distance > ASSUMED.search_distance
        or steep > ASSUMED.search_tilt
    ):
        raise InputError(
            "no axis could be found on which the wall lies as drawn (nearest try: "
            f"{distance:.0f} mm off, tilted by {steep:.1f} degrees, "
            f"{used} points agree)",
            cure="Check --cloud-unit, --z-offset and --azimuth-of-x against the scan",
        )


def _weighted_median(value: Float, weight: Float) -> float:
    order = np.argsort(value)
    total = np.cumsum(weight[order])
    return float(value[order][np.searchsorted(total, 0.5 * total[-1])])


def refine_pose(found: FoundPose, design: Design, blocks: BandBlocks) -> FoundPose:
    """The pose on which the bands' blocks lie as drawn.

    Parameters
    ----------
    found : FoundPose
        On bands, as the points were binned with.

    Returns
    -------
    FoundPose
        With the covariance of the new pose and the bands' own axes; the one given
        where there are too few blocks in the bands.
    """
    azimuth, height, variance = blocks.azimuth, blocks.height, blocks.variance
    if azimuth.size < ASSUMED.pose_blocks:
        return found
    drawn = design.profile.radius_at(height)
    slope = design.profile.slope_at(height)
    jacobian = found.pose.jacobian(azimuth, height, slope, drawn)
    # Unknowns: change of offsets (2) and tilts (2), and bias of the bands' radius.
    table = np.column_stack([jacobian, np.ones(azimuth.size)])
    prior = np.diag(
        [0.0, 0.0, ASSUMED.tilt_sd**-2, ASSUMED.tilt_sd**-2, ASSUMED.band_radius_sd**-2]
    )
    change, rough = np.asarray(np.zeros(5)), 3.0
    for _ in range(ASSUMED.refinements):
        residual = blocks.cutback - table @ change
        rough = _roughness(residual, variance, rough)
        whole = variance + rough**2
        weight = biweight(residual / np.sqrt(whole), EFFICIENT) / whole
        normal = (table * weight[:, None]).T @ table + prior
        pull = table.T @ (weight * blocks.cutback)
        change = np.asarray(np.linalg.solve(normal, pull), dtype=np.float64)
    residual = blocks.cutback - table @ change
    inverse = np.asarray(np.linalg.inv(normal), dtype=np.float64)
    points = found.pose.from_wall(azimuth, drawn + blocks.cutback, height)
    kept = weight > 0.0
    spread = form_covariance(
        table[kept],
        residual[kept],
        whole[kept],
        points[kept],
        inverse @ (table * weight[:, None])[kept].T,
    )
    spread = _greater(inverse, spread + inverse @ prior @ inverse)[:4, :4]
    pose = found.pose.at(found.pose.parameters + change[:4], spread)
    return replace(
        found,
        pose=pose,
        n_points=int((weight > 0.1 * weight.max()).sum()),
        radius_bias=float(change[4]),
        band_axes=band_axes(points, variance, pose, design),
    )


def _roughness(residual: Float, variance: Float, before: float) -> float:
    """Roughness that brings the median distance to that of normal errors, mm."""
    typical = float(np.median(residual**2 / (variance + before**2))) / 0.6745**2
    scaled = typical * (variance + before**2) - variance
    return max(
        ASSUMED.sound_roughness, float(np.sqrt(max(float(np.median(scaled)), 0.0)))
    )


def _greater(first: Float, second: Float) -> Float:
    """A covariance that in no direction is below either of two; (p, p)."""
    root = np.linalg.cholesky(first)
    whitened = np.linalg.inv(root)
    ratio, axes = np.linalg.eigh(whitened @ second @ whitened.T)
    turned = root @ axes
    return np.asarray((turned * np.maximum(ratio, 1.0)) @ turned.T)
