"""How far form errors of a wall reach, and what they cost the pose found on it.

A band is nowhere quite round and straight, and where it is off, it is off over more
than one block of cells: by a brick, a course, a former that was out of true.  Taken as
independent, blocks would fix an axis far better than the band does.  Here the residuals
of the band say how far its errors reach and how large a part of them that is, by
restricted maximum likelihood, which knows that the fit took what looks like an axis out
of them.  What they leave open is averaged over.

Without a band the pose rests on worn wall.  What looks like an offset there may be wear
to one side, as far as the least worn wall is worn at all.

References
----------
Patterson, H. D. and Thompson, R. (1971). Recovery of inter-block information when block
sizes are unequal. Biometrika 58(3), 545-554 (restricted likelihood).
Huber (1967), as in `geom.datum.find` (covariance of estimates from errors that are not
those the weights assume).
"""

from __future__ import annotations

import itertools

import numpy as np

from geom.datum.pose import Pose
from geom.design import Design
from geom.units import Float

#: Reaches of form errors that are tried, mm: from a block of cells to a quarter of a
#: large furnace; and their parts of the variance.
REACHES = (60.0, 150.0, 400.0, 1000.0)
PARTS = (0.05, 0.15, 0.3, 0.5, 0.7, 0.9)
#: Most blocks that likelihoods are worked out on.
_MOST = 400
#: Slabs and most sectors of a worn wall, mm and number; least points that tell one, and
#: least sectors that tell a slab.
_SLAB, _SECTORS, _LEAST, _LEAST_SECTORS = 150.0, 24, 5, 8
#: Share of a slab's sectors that lie nearer the drawing than it is taken to be worn
#: by: a few missing bricks are no wear to one side.
_ROUND = 0.7
#: Standard uncertainty of an axis found on worn wall, over what its least worn quarter
#: of slabs is worn by.  From worn walls of the fleet (docs/benchmarks.md).
WORN = 0.7
#: The same where too little of the wall is seen round to tell, mm.  Our own choice.
NO_BAND_SD = 3.0


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
    choices = [(REACHES[0], 0.0), *itertools.product(REACHES, PARTS)]
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
    root = np.linalg.cholesky(correlation)
    white = np.linalg.solve(root, np.column_stack([table, residual]))
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
    slabs = max(4, int(tall / _SLAB))
    sectors = int(np.clip(known.sum() / slabs / (2 * _LEAST), _LEAST_SECTORS, _SECTORS))
    slab = ((height[known] - profile.bottom) / tall * slabs).astype(int)
    sector = (azimuth[known] / 360.0 * sectors).astype(int) % sectors
    cell = np.clip(slab, 0, slabs - 1) * sectors + sector
    middle = _medians(cell, cutback[known], slabs * sectors).reshape(slabs, sectors)
    seen = np.isfinite(middle).sum(axis=1)
    round_it = np.abs(middle[seen >= _LEAST_SECTORS])
    worn = np.nanquantile(round_it, _ROUND, axis=1) if round_it.size else np.zeros(0)
    sd = WORN * float(np.quantile(worn, 0.25)) if worn.size >= 4 else NO_BAND_SD
    tilt = np.rad2deg(sd / (0.5 * tall))
    return np.asarray(np.diag([sd, sd, tilt, tilt]) ** 2)


def _medians(cell: np.ndarray, value: Float, count: int) -> Float:
    """Median of each cell's values; NaN where there are too few."""
    order = np.lexsort((value, cell))
    many = np.bincount(cell, minlength=count)
    first = np.cumsum(many) - many
    at = np.minimum(first + many // 2, max(value.size - 1, 0))
    return np.where(many >= _LEAST, value[order][at], np.nan)
