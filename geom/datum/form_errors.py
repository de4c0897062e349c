"""What form errors and wear of a wall cost the pose found on it, and what it tells.

A band is nowhere quite round and straight, and where it is off, it is off over more
than one block of cells: by a brick, a course, a former that was out of true.  Taken as
independent, blocks would fix an axis far better than the band does.  Here the residuals
of the band say how far its errors reach and how large a part of them that is, by
restricted maximum likelihood, which knows that the fit took what looks like an axis out
of them.  What they leave open is averaged over.

Without a band the pose rests on worn wall.  What looks like an offset there may be wear
to one side, as far as the least worn wall is worn at all.

Wall that is not worn lies on its drawing, and worn wall behind it: an axis that is off
by millimetres makes wall stand proud on one side that is as drawn on the other, which
is rare.  So the whole wall tells where the axis is, next to bands and without them, as
far as some of it is sound.

References
----------
Patterson, H. D. and Thompson, R. (1971). Recovery of inter-block information when block
sizes are unequal. Biometrika 58(3), 545-554 (restricted likelihood).
McLachlan, G. and Peel, D. (2000). Finite Mixture Models. Wiley, chapter 2 (expectation
and maximisation; from memory).
Huber (1967), as in `geom.datum.find` (covariance of estimates from errors that are not
those the weights assume).
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np

from geom.datum.assumptions import ASSUMED
from geom.datum.pose import Pose
from geom.design import Design
from geom.parallel import on_one_thread
from geom.units import Float

#: Most blocks that likelihoods are worked out on.
_MOST = 400


#: Least patches that may move a pose; most rounds of learning shares and finding the
#: pose, steps of learning in each, and what moves no patch by more is settled, mm.
_LEAST_PATCHES, _ROUNDS, _LEARNED, _SETTLED = 30, 8, 3, 0.02
#: Slope of the log posterior that is none, by standard uncertainties before.
_NEAR = 0.02
#: Least curvature of the log posterior, over that of the prior.
_LEAST_CURVE = 0.2
_LOG_ROOT = float(0.5 * np.log(2.0 * np.pi))


@on_one_thread
def form_covariance(
    table: Float, residual: Float, variance: Float, places: Float, gain: Float
) -> Float:
    """Covariance of estimates from residuals whose errors reach further than a block.

    Parameters
    ----------
    table : array (n, p)
        What was fitted to the blocks.
    residual : array (n,), mm
    variance : array (n,), mm2
        Of each by itself, roughness included.
    places : array (n, 3), mm
        Where the blocks are.
    gain : array (p, n)
        Change of the estimates with what each block reads.

    Returns
    -------
    array (p, p)
    """
    sd = np.sqrt(variance)
    some = np.linspace(0, sd.size - 1, min(sd.size, _MOST)).round().astype(int)
    scaled, fitted = residual[some] / sd[some], table[some] / sd[some, None]
    near = _distances(places[some])
    moved = gain * sd
    choices = [
        (ASSUMED.form_reaches[0], 0.0),
        *itertools.product(ASSUMED.form_reaches, ASSUMED.form_parts),
    ]
    found = [
        _restricted(scaled, fitted, _correlation(near, reach, part))
        for reach, part in choices
    ]
    log = np.array([likelihood for likelihood, _ in found])
    weight = np.exp(log - log.max())
    weight /= weight.sum()
    far = _distances(places)
    total = np.zeros((len(gain), len(gain)))
    for (reach, part), (_, scale), share in zip(choices, found, weight, strict=True):
        if share > 1e-3:
            total += share * scale * moved @ _correlation(far, reach, part) @ moved.T
    return total


def _distances(places: Float) -> Float:
    from scipy.spatial.distance import cdist

    return np.asarray(cdist(places, places))


def _correlation(distance: Float, reach: float, part: float) -> Float:
    """Exponential in the distance, besides what each block has alone."""
    matrix = part * np.exp(-distance / reach)
    np.fill_diagonal(matrix, 1.0)
    return np.asarray(matrix)


def _restricted(
    residual: Float, table: Float, correlation: Float
) -> tuple[float, float]:
    """Restricted log likelihood, its scale profiled out, and that scale."""
    from scipy.linalg import solve_triangular

    root = np.linalg.cholesky(correlation)
    sides = np.column_stack([table, residual])
    white = solve_triangular(root, sides, lower=True, check_finite=False)
    design, value = white[:, :-1], white[:, -1]
    normal = design.T @ design
    left = value @ value - value @ design @ np.linalg.solve(normal, design.T @ value)
    dof = residual.size - table.shape[1]
    scale = max(float(left) / dof, 1e-12)
    log = -np.log(np.diag(root)).sum() - 0.5 * dof * np.log(scale)
    return float(log - 0.5 * np.linalg.slogdet(normal)[1]), scale


def worn_wall_covariance(points: Float, design: Design, pose: Pose) -> Float:
    """What wear to one side may have done to a pose found on worn wall; (4, 4).

    Parameters
    ----------
    points : array (n, 3), mm
        Of the whole wall, in the cloud's frame.
    """
    profile = design.profile
    azimuth, radius, height = pose.to_wall(points)
    cutback = radius - profile.radius_at(height)
    known = np.isfinite(cutback)
    tall = profile.top - profile.bottom
    slabs = max(4, int(tall / ASSUMED.slab_height))
    sectors = int(
        np.clip(
            known.sum() / slabs / (2 * ASSUMED.sector_points),
            ASSUMED.least_sectors,
            ASSUMED.slab_sectors,
        )
    )
    slab = ((height[known] - profile.bottom) / tall * slabs).astype(int)
    sector = (azimuth[known] / 360.0 * sectors).astype(int) % sectors
    cell = np.clip(slab, 0, slabs - 1) * sectors + sector
    middle = _medians(cell, cutback[known], slabs * sectors).reshape(slabs, sectors)
    seen = np.isfinite(middle).sum(axis=1)
    round_it = np.abs(middle[seen >= ASSUMED.least_sectors])
    worn = (
        np.nanquantile(round_it, ASSUMED.worn_sectors, axis=1)
        if round_it.size
        else np.zeros(0)
    )
    sd = (
        ASSUMED.worn_axis_sd * float(np.quantile(worn, 0.25))
        if worn.size >= 4
        else ASSUMED.no_band_sd
    )
    tilt = np.rad2deg(sd / (0.5 * tall))
    return np.asarray(np.diag([sd, sd, tilt, tilt]) ** 2)


def _medians(cell: np.ndarray, value: Float, count: int) -> Float:
    """Median of each cell's values; NaN where there are too few."""
    order = np.lexsort((value, cell))
    many = np.bincount(cell, minlength=count)
    first = np.cumsum(many) - many
    at = np.minimum(first + many // 2, max(value.size - 1, 0))
    return np.where(many >= ASSUMED.sector_points, value[order][at], np.nan)


@dataclass(frozen=True)
class WallPatches:
    """Means of cut-back over patches of the whole wall; arrays (n,).

    Attributes
    ----------
    cutback, variance : array, mm and mm2
        As found with the pose that is asked about, and by scatter of the points.
    jacobian : array (n, 4)
        Change of cut-back with that pose, as `Pose.jacobian` has it.
    area : array, mm2
        Of wall that each tells.
    """

    cutback: Float
    variance: Float
    jacobian: Float
    area: Float


@dataclass(frozen=True)
class _Shares:
    """How much wall is sound, worn and proud, and by how much.

    Attributes
    ----------
    sound, proud : float
        Share of sound wall, and of proud wall in the rest.
    wear, build : float, mm
        Mean depth of worn wall, and height of proud wall.
    """

    sound: float = 0.5
    proud: float = 0.15
    wear: float = 10.0
    build: float = 6.0


def settled_on_sound_wall(pose: Pose, wall: WallPatches, *, on_bands: bool) -> Pose:
    """The pose once the whole wall has had its say; see `sound_wall_pose`.

    Of fewer than `_LEAST_PATCHES` it stays as it is.

    Parameters
    ----------
    pose : Pose
        That the patches were found with.
    on_bands : bool
        Whether it rests on datum bands; else on the same wall, and its uncertainty says
        less of where the axis is.
    """
    if wall.cutback.size < _LEAST_PATCHES:
        return pose
    before = pose.covariance if on_bands else ASSUMED.loosened**2 * pose.covariance
    change, covariance = sound_wall_pose(wall, before)
    return pose.at(pose.parameters + change, covariance)


def sound_wall_pose(wall: WallPatches, before: Float) -> tuple[Float, Float]:
    """Where the axis is if what is sound of the wall lies on its drawing.

    A patch of wall is sound, and then off its drawing by a form error; or worn, by
    depths exponentially distributed; or seldom proud, likewise.  Shares and depths are
    learned from the patches with the pose (expectation and maximisation), the size of
    form errors is averaged over.  Next to the pose stands a radius that all sound wall
    may be off by.  Where no wall is sound, or sound wall lies to one side alone,
    this says nothing, and what was known before stays.

    What looks sound may be worn to one side alike at all heights.  As wear is never
    below nil, it is then no less worn all round: so far out as that wall lies, the axis
    may be off to any side, and this is known less surely by that.

    Parameters
    ----------
    before : array (4, 4)
        Covariance of the pose without this.

    Returns
    -------
    change : array (4,)
        Of the pose's parameters.
    covariance : array (4, 4)
    """
    root = np.zeros((5, 5))
    root[:4, :4] = np.linalg.cholesky(before + 1e-12 * np.eye(4))
    root[4, 4] = ASSUMED.sound_radius_sd
    table = np.column_stack([wall.jacobian, np.ones(wall.cutback.size)]) @ root
    weight = np.minimum(wall.area / ASSUMED.patches_alike**2, 1.0)
    at, shares, found = np.zeros(5), _Shares(), []
    for form in ASSUMED.form_sds:
        start = at, shares
        log, at, shares, spread = _most_probable(wall, table, weight, form, start)
        found.append((log, at, spread))
    logs = np.array([log for log, _, _ in found])
    share = np.exp(logs - logs.max())
    share /= share.sum()
    ends = np.stack([end for _, end, _ in found])
    mean = share @ ends
    apart = ends - mean
    covariance = (apart * share[:, None]).T @ apart
    covariance += np.tensordot(share, np.stack([c for _, _, c in found]), axes=1)
    square = ASSUMED.sound_radius_sd**2 * float(
        covariance[4, 4] + max(mean[4], 0.0) ** 2
    )
    doubt = _to_one_side(wall.jacobian, square)
    # all of it in the units of what was known before
    scale = root[:4, :4]
    known = np.linalg.inv(covariance[:4, :4])
    inside = np.linalg.solve(scale, np.linalg.solve(scale, doubt).T)
    lost = np.linalg.inv(np.eye(4) + (known - np.eye(4)) @ inside)
    gain = lost @ (known - np.eye(4))
    after = np.linalg.inv(np.eye(4) + 0.5 * (gain + gain.T))
    change = after @ lost @ known @ mean[:4]
    return scale @ change, scale @ after @ scale.T


def _to_one_side(jacobian: Float, square: float) -> Float:
    """Covariance of a pose by wear of one side, of that mean square, mm2; (4, 4).

    Evenly spread over a disc, either axis has a quarter of its radius squared.
    """
    turned = np.sqrt(np.mean(jacobian**2, axis=0))
    reach = np.maximum(turned / turned[:2].mean(), 1e-9)
    return np.asarray(np.diag(0.25 * square / reach**2))


def _most_probable(
    wall: WallPatches,
    table: Float,
    weight: Float,
    form: float,
    start: tuple[Float, _Shares],
) -> tuple[float, Float, _Shares, Float]:
    """Of one form error: log evidence, most probable numbers, shares, covariance.

    Looked for from the numbers and shares of ``start``.
    """
    from scipy.optimize import minimize

    at, shares = start

    def misfit(to: Float, given: _Shares) -> tuple[float, Float]:
        log, slope, _ = _mixture(wall.cutback - table @ to, wall, form, given)
        value = 0.5 * float(to @ to) - float(weight @ log)
        return value, to + (weight * slope) @ table

    for _ in range(_ROUNDS):
        before = at
        for _ in range(_LEARNED):
            shares = _learned(wall, wall.cutback - table @ at, weight, form, shares)
        given = (shares,)
        at = minimize(misfit, at, given, method="BFGS", jac=True, tol=_NEAR).x
        if np.abs(table @ (at - before)).max() < _SETTLED:
            break
    step = _SETTLED / np.maximum(np.abs(table).max(axis=0), 1e-9)
    bend = np.stack(
        [
            (misfit(at + move, shares)[1] - misfit(at - move, shares)[1]) / size
            for move, size in zip(np.diag(step), step, strict=True)
        ]
    )
    curve, axes = np.linalg.eigh(0.25 * (bend + bend.T))
    # the prior alone has 1; less is a saddle between two places
    curve = np.maximum(curve, _LEAST_CURVE)
    log = -float(misfit(at, shares)[0]) - 0.5 * float(np.log(curve).sum())
    return log, np.asarray(at), shares, (axes / curve) @ axes.T


def _mixture(
    cutback: Float, wall: WallPatches, form: float, shares: _Shares
) -> tuple[Float, Float, Float]:
    """Log density of patches, its slope by cut-back, and the three kinds' shares."""
    sd = np.sqrt(wall.variance + form**2)
    sound = np.log(shares.sound) - 0.5 * (cutback / sd) ** 2 - np.log(sd) - _LOG_ROOT
    # worn wall has a face as well
    face = np.sqrt(wall.variance + ASSUMED.worn_face**2)
    rest = 1.0 - shares.sound
    worn, worn_slope = _exponential(cutback, face, shares.wear)
    proud, proud_slope = _exponential(-cutback, face, shares.build)
    logs = np.stack(
        [
            sound,
            np.log(rest * (1.0 - shares.proud)) + worn,
            np.log(rest * shares.proud) + proud,
        ]
    )
    most = logs.max(axis=0)
    total = most + np.log(np.exp(logs - most).sum(axis=0))
    kinds = np.exp(logs - total)
    slopes = np.stack([-cutback / sd**2, worn_slope, -proud_slope])
    return total, np.sum(kinds * slopes, axis=0), kinds


def _exponential(value: Float, sd: Float, mean: float) -> tuple[Float, Float]:
    """Log density, and its slope, of an exponential and a normal variable's sum."""
    from scipy.special import log_ndtr

    at = value / sd - sd / mean
    below = log_ndtr(at)
    log = -np.log(mean) + 0.5 * (sd / mean) ** 2 - value / mean + below
    density = np.exp(-0.5 * at**2 - _LOG_ROOT - below)
    return log, density / sd - 1.0 / mean


def _learned(
    wall: WallPatches, cutback: Float, weight: Float, form: float, shares: _Shares
) -> _Shares:
    """Shares and depths that the patches make more probable; each is held loosely."""
    usual = _Shares()
    _, _, kinds = _mixture(cutback, wall, form, shares)
    sound, worn, proud = kinds * weight
    whole, some, few = float(weight.sum()), float(worn.sum()), float(proud.sum())
    depth = float(worn @ np.maximum(cutback, 0.0))
    height = float(proud @ np.maximum(-cutback, 0.0))
    return _Shares(
        sound=(float(sound.sum()) + 2.0 * usual.sound) / (whole + 2.0),
        proud=(few + 3.0 * usual.proud) / (some + few + 3.0),
        wear=(depth + 2.0 * usual.wear) / (some + 2.0),
        build=(height + 2.0 * usual.build) / (few + 2.0),
    )
