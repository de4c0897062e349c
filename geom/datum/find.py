"""The pose of a cloud, found on the datum bands or, without them, on the whole wall.

Four numbers are sought: the offset of the axis in x and y and two tilts; height and
direction come from the surveyor or from targets.  First a circle through the band is
found that most points agree with, so that dirt, dust and whatever hangs in the furnace
have no say.  Then the distances of all points from the drawing, at right angles to it,
taper included, are made small, each point counting less the further off it lies
(Tukey's biweight, its width narrowed step by step).

Without a datum band the whole wall is used, one-sidedly: a worn wall lies outside its
drawing, so points outside count for little and points inside for much until they are
clearly build-up.

References
----------
Beaton, A. E. and Tukey, J. W. (1974). The fitting of power series, meaning polynomials,
illustrated on band-spectroscopic data. Technometrics 16(2), 147-185 (the biweight).
Huber, P. J. (1967). The behavior of maximum likelihood estimates under nonstandard
conditions. Proc. Fifth Berkeley Symposium 1, 221-233 (covariance of estimates from
observations that are not all alike; by patches, so that points of one patch may err
alike).

The pose made exact on the cells of the datum bands, once all points are counted.

A sample of points finds the pose nearly; the cells of the bands hold all of them.  The
small change of pose that makes the bands lie on their drawing is linear in what the
cells read, and is applied to the cells instead of counting anew.

What the bands' own radius is off by (a range offset of the scanner, a band built a
little wide) is fitted beside the pose, so that a band in shadow on one side does not
turn it into an offset of the axis.

The covariance is that by patches or, where it is greater, that which the blocks' own
variances make: from few patches the former comes out too small by chance.

References
----------
Huber (1967), as for `geom.datum.find`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from geom.datum.pose import Pose
from geom.design import Design
from geom.errors import InputError
from geom.units import Bool, Float, Int

#: Furthest a cloud is looked for from its nominal place, mm and degrees.
FURTHEST, STEEPEST = 400.0, 6.0
#: Points that the coarse search looks at, candidate circles it tries, and how near a
#: point must lie to agree, mm.
_LOOKED, _TRIED, _NEAR = 3000, 600, 8.0
#: Widths of the biweight, mm, one step each; and of the one-sided weight, outwards and
#: inwards.
_WIDTHS = (40.0, 25.0, 15.0, 10.0, 8.0, 8.0, 8.0)
_OUTWARD, _INWARD = 4.0, 12.0
#: Most steps more at the last width, and the step that is small enough: 0.01 mm and
#: 0.001 degrees.
_ROUNDS, _SETTLED = 60, np.diag([100.0, 100.0, 1000.0, 1000.0])
#: Starts on the whole wall, how far apart, mm, and points that they are tried with.
_STARTS, _APART, _TRIAL = 5, 12.0, 30_000
#: Patches whose points are taken to err alike, degrees and mm.
_PATCH_TURN, _PATCH_TALL = 5.0, 50.0
#: How well a surveyor tells a cloud's height zero, sd in mm.  Our own choice, no
#: source.
HEIGHT_SD = 2.0
#: Nothing below this many points fixes an axis.
LEAST_POINTS = 200
#: Tilts are held to 0 by this sd (degrees) where the points do not tell them.
_TILT_BEFORE = 3.0


@dataclass(frozen=True)
class FoundPose:
    """A pose and how it was found.

    Attributes
    ----------
    pose : Pose
    on_bands : bool
        Whether on datum bands; else on the whole wall.
    n_points : int
        Points that had a say.
    radius_bias : float, mm
        Median distance of those points from the drawing, outwards positive.
    height_sd : float, mm
        Standard uncertainty of the height that the pose rests on.
    """

    pose: Pose
    on_bands: bool
    n_points: int
    radius_bias: float
    height_sd: float = HEIGHT_SD


def find_pose(points: Float, design: Design, nominal: Pose) -> FoundPose:
    """Find the pose from a sample of points.

    Parameters
    ----------
    points : array (n, 3), mm
        Of the whole cloud, in its own frame.
    design : Design
    nominal : Pose
        With direction and height as known; offset and tilt are looked for.

    Returns
    -------
    FoundPose

    Raises
    ------
    InputError
        If no axis can be found.
    """
    on_bands = bool(design.datum_bands)
    pose, *others = _coarse(points, design, nominal, on_bands=on_bands)
    if others and not on_bands:
        pose = _best_start(points, design, [pose, *others])
    points = _near(points, design, pose, on_bands=on_bands)
    pose = _settled(points, design, pose, on_bands=on_bands)
    at = _Placed.of(points, design, pose, on_bands=on_bands, margin=_WIDTHS[-1])
    weight = biweight(at.off, _WIDTHS[-1]) if on_bands else one_sided(at.off, 8.0)
    slope = biweight_slope(at.off, _WIDTHS[-1]) if on_bands else weight
    _refuse_unlikely(pose, int((weight > 0.1).sum()))
    off = _weighted_median(at.off, weight)
    return FoundPose(
        pose.at(pose.parameters, covariance(at, weight, slope)),
        on_bands,
        int((weight > 0.1).sum()),
        off,
    )


def _settled(points: Float, design: Design, pose: Pose, *, on_bands: bool) -> Pose:
    """The pose that steps of narrowing width lead to."""
    start = pose
    for width in (*_WIDTHS, *(_WIDTHS[-1:] * _ROUNDS)):
        at = _Placed.of(points, design, pose, on_bands=on_bands, margin=width)
        weight = biweight(at.off, width) if on_bands else one_sided(at.off, width)
        _refuse_unlikely(start, int((weight > 0.0).sum()))
        step = _step(at, weight)
        pose = pose.at(pose.parameters + step)
        if width == _WIDTHS[-1] and np.abs(step @ _SETTLED).max() < 1.0:
            break
    return pose


def _best_start(points: Float, design: Design, starts: list[Pose]) -> Pose:
    """Of several starts on the whole wall, that which leads to the least loss.

    A burn to one side may look like a wall moved over; the true axis has less of it
    inside its drawing.
    """
    some = points[:: max(1, len(points) // _TRIAL)]
    ends = []
    for start in starts:
        near = _near(some, design, start, on_bands=False)
        try:
            end = _settled(near, design, start, on_bands=False)
        except InputError:
            continue
        off = _Placed.of(near, design, end, on_bands=False, margin=0.0).off
        loss = float(1.0 - np.sqrt(one_sided(off, _WIDTHS[-1])).mean())
        ends.append((loss * off.size + len(some) - off.size, end))
    if not ends:
        return starts[0]
    return min(ends, key=lambda end: end[0])[1]


@dataclass(frozen=True)
class _Placed:
    """Points against the drawing.

    Attributes
    ----------
    off : array (n,), mm
        Distance from the drawing at right angles to it, outwards positive.
    lean : array (n, 4)
        How that follows the true pose.
    patch : int array (n,)
        Number of the patch of wall it lies in.
    """

    off: Float
    lean: Float
    patch: Int

    @classmethod
    def of(
        cls, points: Float, design: Design, pose: Pose, *, on_bands: bool, margin: float
    ) -> _Placed:
        azimuth, radius, height = pose.to_wall(points)
        profile = design.profile
        drawn = profile.radius_at(height)
        near = np.isfinite(drawn) & (np.abs(radius - drawn) < FURTHEST)
        near &= on_wall(design, azimuth, height)
        if on_bands:
            near &= in_bands(design, height, margin)
        azimuth, radius = azimuth[near], radius[near]
        height, drawn = height[near], drawn[near]
        slope = profile.slope_at(height)
        square = 1.0 / np.sqrt(1.0 + slope**2)
        lean = pose.jacobian(azimuth, height, slope, drawn) * square[:, None]
        patch = patches(azimuth, height, profile.bottom)
        return cls((radius - drawn) * square, lean, patch)


def patches(azimuth: Float, height: Float, bottom: float) -> Int:
    """Number of the patch of wall that each place lies in, for `covariance`."""
    turn = (azimuth // _PATCH_TURN).astype(np.int64)
    rise = ((height - bottom) // _PATCH_TALL).astype(np.int64)
    return rise * round(360.0 / _PATCH_TURN) + turn


def _near(points: Float, design: Design, pose: Pose, *, on_bands: bool) -> Float:
    """The points that can have a say, the tilt being unknown yet."""
    _, radius, height = pose.to_wall(points)
    drawn = design.profile.radius_at(height)
    leaning = radius * np.sin(np.deg2rad(STEEPEST))
    near = np.isfinite(drawn) & (np.abs(radius - drawn) < 3.0 * _WIDTHS[0] + leaning)
    if on_bands:
        beside = [
            (height > band.low - leaning) & (height < band.high + leaning)
            for band in design.datum_bands
        ]
        near &= np.any(beside, axis=0)
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
        clear &= ~hole.holds(azimuth, height, design.radius_at_opening(hole))
    return clear


def biweight(off: Float, width: float) -> Float:
    """Tukey's weights: 1 at the drawing, 0 from ``3 * width`` on."""
    return np.asarray(np.maximum(1.0 - (off / (3.0 * width)) ** 2, 0.0) ** 2)


def biweight_slope(off: Float, width: float) -> Float:
    """How the weighted distance grows with the distance, for Tukey's weights."""
    square = np.minimum((off / (3.0 * width)) ** 2, 1.0)
    return np.asarray((1.0 - square) * (1.0 - 5.0 * square))


def one_sided(off: Float, width: float) -> Float:
    """Weights for a wall that wears outwards: steep outside, gentle inside.

    Parameters
    ----------
    off : array (n,), mm
    width : float, mm
        At first wide, so that the search finds its way.
    """
    outward = max(_OUTWARD, 0.5 * width)
    inward = max(_INWARD, width)
    scaled = np.where(off > 0.0, off / outward, off / inward)
    return np.asarray(1.0 / (1.0 + scaled**2) ** 2)


def _step(at: _Placed, weight: Float) -> Float:
    """Weighted least squares of the change of pose, tilts held where not told."""
    normal = (at.lean * weight[:, None]).T @ at.lean
    pull = at.lean.T @ (weight * at.off)
    normal[2, 2] += 1.0 / _TILT_BEFORE**2
    normal[3, 3] += 1.0 / _TILT_BEFORE**2
    return np.asarray(np.linalg.solve(normal, pull))


def covariance(at: _Placed, weight: Float, slope: Float) -> Float:
    """Covariance of the pose, points of one patch being allowed to err alike; (4, 4).

    Parameters
    ----------
    at : _Placed
    weight : array (n,)
    slope : array (n,)
        Of the weighted distance with the distance: what holds the pose, where weights
        follow the distance (Huber 1967).
    """
    count = int(at.patch.max()) + 1
    left = at.off - float(np.average(at.off, weights=weight))
    score = at.lean * (weight * left)[:, None]
    by_patch = np.stack(
        [np.bincount(at.patch, weights=score[:, k], minlength=count) for k in range(4)]
    )
    normal = (at.lean * slope[:, None]).T @ at.lean
    normal[2, 2] += 1.0 / _TILT_BEFORE**2
    normal[3, 3] += 1.0 / _TILT_BEFORE**2
    inverse = np.linalg.inv(normal)
    filled = max(int((np.bincount(at.patch, minlength=count) > 0).sum()), 6)
    middle = by_patch @ by_patch.T * filled / (filled - 4.0)
    return np.asarray(inverse @ middle @ inverse)


def _coarse(
    points: Float, design: Design, nominal: Pose, *, on_bands: bool
) -> list[Pose]:
    """Offsets that most points agree with, best first, tilt left aside; seeded."""
    rng = np.random.default_rng(0)
    azimuth, radius, height = nominal.to_wall(points)
    kept = np.isfinite(design.profile.radius_at(height))
    if on_bands:
        kept &= in_bands(design, height, 25.0)
    if kept.sum() < LEAST_POINTS:
        raise InputError(
            f"only {int(kept.sum())} points lie "
            + (
                "in the datum bands"
                if on_bands
                else "between bottom and top of the wall"
            )
            + f"; at least {LEAST_POINTS} are needed to find the axis",
            cure="Check --cloud-unit and --z-offset, or scan the band",
        )
    rows = np.flatnonzero(kept)
    some = rng.choice(rows, min(_LOOKED, rows.size), replace=False)
    drawn = design.profile.radius_at(height[some])
    a = np.deg2rad(azimuth[some])
    x, y = radius[some] * np.cos(a), radius[some] * np.sin(a)
    first, second = rng.integers(0, some.size, (2, _TRIED))
    centre = _centres(x, y, drawn, first, second)
    centre = centre[np.hypot(*centre.T) < FURTHEST]
    centre = np.concatenate([np.zeros((1, 2)), centre])
    far = np.hypot(x - centre[:, :1], y - centre[:, 1:]) - drawn
    votes = np.maximum(1.0 - (far / _NEAR) ** 2, 0.0).sum(axis=1)
    chosen: list[Float] = []
    for one in centre[np.argsort(-votes, kind="stable")]:
        if all(np.hypot(*(one - other)) > _APART for other in chosen):
            chosen.append(one)
        if len(chosen) == _STARTS:
            break
    toward = nominal._to_azimuth[:2, :2]
    return [nominal.at(np.append(toward.T @ one, [0.0, 0.0])) for one in chosen]


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


def _refuse_unlikely(pose: Pose, used: int) -> None:
    away = np.hypot(pose.offset_x, pose.offset_y)
    steep = np.hypot(pose.tilt_x, pose.tilt_y)
    if used < LEAST_POINTS or away > FURTHEST or steep > STEEPEST:
        raise InputError(
            "no axis could be found on which the wall lies as drawn (nearest try: "
            f"{away:.0f} mm off, tilted by {steep:.1f} degrees, {used} points agree)",
            cure="Check --cloud-unit, --z-offset and --azimuth-of-x against the scan",
        )


def _weighted_median(value: Float, weight: Float) -> float:
    order = np.argsort(value)
    total = np.cumsum(weight[order])
    return float(value[order][np.searchsorted(total, 0.5 * total[-1])])


#: How far off its drawing a band's radius may be, sd in mm, and the tilts, degrees.
#: Our own choices, no source.
BAND_SD, _TILT_SD = 2.0, 3.0
#: Roughness of a sound wall from block to block, mm, at least.
_ROUGH = 0.05
_REFINEMENTS = 8
#: Width of the biweight in standard deviations: 95 % as good as least squares where
#: errors are normal.
_BIWEIGHT = 4.685 / 3.0
#: Cells of a band from which its pose can be told.
_LEAST = 30


def refine_pose(  # noqa: PLR0917
    found: FoundPose,
    design: Design,
    azimuth: Float,
    height: Float,
    cutback: Float,
    variance: Float,
) -> FoundPose:
    """The pose on which the bands' cells lie as drawn.

    Parameters
    ----------
    found : FoundPose
        On bands, as the cells were counted with.
    design : Design
    azimuth, height : array (n,), degrees and mm
        Of cells, or blocks of them, that lie in the bands and are seen.
    cutback, variance : array (n,), mm and mm2

    Returns
    -------
    FoundPose
        With the covariance of the new pose; the one given where there are too few
        cells in the bands.
    """
    if azimuth.size < _LEAST:
        return found
    off = cutback
    drawn = design.profile.radius_at(height)
    slope = design.profile.slope_at(height)
    lean = found.pose.jacobian(azimuth, height, slope, drawn)
    design_matrix = np.column_stack([lean, np.ones(off.size)])
    prior = np.diag([0.0, 0.0, _TILT_SD**-2, _TILT_SD**-2, BAND_SD**-2])
    change, rough = np.asarray(np.zeros(5)), 3.0
    for _ in range(_REFINEMENTS):
        left = off - design_matrix @ change
        rough = _roughness(left, variance, rough)
        whole = variance + rough**2
        weight = biweight(left / np.sqrt(whole), _BIWEIGHT) / whole
        normal = (design_matrix * weight[:, None]).T @ design_matrix + prior
        pull = design_matrix.T @ (weight * off)
        change = np.asarray(np.linalg.solve(normal, pull), dtype=np.float64)
    left = off - design_matrix @ change
    patch = patches(azimuth, height, design.profile.bottom)
    count = int(patch.max()) + 1
    score = design_matrix * (weight * left)[:, None]
    by_patch = np.stack([np.bincount(patch, c, count) for c in score.T])
    filled = max(int((np.bincount(patch) > 0).sum()), 7)
    middle = by_patch @ by_patch.T * filled / (filled - 5.0) + prior
    inverse = np.asarray(np.linalg.inv(normal), dtype=np.float64)
    spread = _greater(inverse, inverse @ middle @ inverse)[:4, :4]
    pose = found.pose.at(found.pose.parameters + change[:4], spread)
    used = int((weight > 0.1 * weight.max()).sum())
    return replace(found, pose=pose, n_points=used, radius_bias=float(change[4]))


def _roughness(left: Float, variance: Float, before: float) -> float:
    """Roughness that brings the median distance to that of normal errors, mm."""
    typical = float(np.median(left**2 / (variance + before**2))) / 0.6745**2
    scaled = typical * (variance + before**2) - variance
    return max(_ROUGH, float(np.sqrt(max(float(np.median(scaled)), 0.0))))


def _greater(first: Float, second: Float) -> Float:
    """A covariance that in no direction is below either of two; (p, p)."""
    root = np.linalg.cholesky(first)
    back = np.linalg.inv(root)
    times, way = np.linalg.eigh(back @ second @ back.T)
    turned = root @ way
    return np.asarray((turned * np.maximum(times, 1.0)) @ turned.T)
