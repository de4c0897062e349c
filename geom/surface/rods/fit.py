"""The wall fitted to its readings: errors, outliers, hyperparameters, posterior."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from geom.design import Design
from geom.readings import RodReadings
from geom.readings.rod import pseudo_readings
from geom.surface.assumptions import ASSUMED
from geom.surface.gp.conditional import ConditionalGP
from geom.surface.gp.hyperparameters import MarginalLikelihood, fit_map, laplace_draws
from geom.surface.gp.kernels import Points2D
from geom.surface.gp.observations import (
    Noise,
    ObservationOperator,
    Source,
    observe,
)
from geom.surface.gp.posterior import GPPosterior
from geom.surface.gp.prior import GRAIN_NAME, Prior
from geom.surface.radial import Outlying, Rejected
from geom.surface.rods.errors import (
    Slopes,
    placement_errors,
    rod_noise,
    with_broken_zones,
    zone_labels,
)
from geom.surface.rods.outliers import Outlier, confirmed_outliers, outlier_candidates
from geom.units import Bool, Float, Int

if TYPE_CHECKING:
    from scipy.sparse import csr_array


#: Readings past which they are averaged where they lie dense, and how many cells and
#: single readings are then left at most; readings that are asked at a time whether
#: they are slips, of so many.
MOST_READINGS, MOST_CELLS, _ASKED = 2000, 1200, 250


#: Step of the differences that tell the wall's slope at a reading, mm.
_STEP = 5.0


#: In place of a standard uncertainty of nothing.
_NONE = 1e-9


@dataclass(frozen=True)
class Fit:
    """What the readings say, and which of them were left out.

    Attributes
    ----------
    n_readings : int
        Readings that it rests on, stand-ins of datum bands, which follow them, apart.
    """

    posterior: GPPosterior
    rejected: tuple[Rejected, ...]
    n_readings: int


def fit_wall(
    readings: RodReadings,
    design: Design,
    prior: Prior,
    *,
    seed: int = 0,
    may_be_outlier: Bool | None = None,
    n_samples: int | None = None,
) -> Fit:
    """Fit the wall to its readings.

    Parameters
    ----------
    design : Design
        Its datum bands are taken as sound wall unless the readings belie them.
    seed : int
        Of the draws of sizes and lengths.
    may_be_outlier : bool array (n,), optional
        Which readings may be slips of the pen; default all.
    n_samples : int, even
        Choices of sizes and lengths other than the best.
    """
    stand_ins = pseudo_readings(design, readings)
    sheet = readings.joined(stand_ins)
    pseudo = np.arange(len(sheet)) >= len(readings)
    observed = observe(sheet, design)
    likelihood = MarginalLikelihood.of(
        observed, rod_noise(sheet, design, pseudo=pseudo), prior
    )
    best = fit_map(likelihood)
    suspects, found = _outliers(
        likelihood, best, _may_be_outlier(may_be_outlier, pseudo)
    )
    outliers = [o for o in found if not _looked_at(o, sheet, observed)]
    kept = np.ones(len(sheet), dtype=bool)
    kept[[outlier.row for outlier in outliers]] = False
    holes = suspects & kept
    taught = with_broken_zones(prior, sheet.azimuth[holes], sheet.height[holes])
    if outliers or taught is not prior:
        prior, likelihood = taught, replace(likelihood, prior=taught).subset(kept)
        best = fit_map(likelihood)
    rejected = tuple(_rejected(outlier, sheet, observed) for outlier in outliers)
    n_readings = int((kept & ~pseudo).sum())
    if n_readings > MOST_READINGS:
        dense = _may_be_outlier(may_be_outlier, pseudo)[kept]
        used = sheet.take(np.flatnonzero(kept))
        gp = _fitted_to_cells(used, likelihood, best, dense, design)
        n_readings = len(gp.observed) - int(pseudo.sum())
        return Fit(GPPosterior(gp), rejected, n_readings)
    if np.isnan(sheet.sd).any():
        gp = ConditionalGP(*likelihood.filled(best), likelihood.observed)
        slopes = slopes_of(gp, observed.places, sheet, design)
        noise = rod_noise(sheet, design, pseudo=pseudo, slopes=slopes).subset(kept)
        likelihood = MarginalLikelihood.of(likelihood.observed, noise, prior)
        best = fit_map(likelihood, start=best)
    return Fit(
        sample_posterior(likelihood, best, seed=seed, n_samples=n_samples),
        rejected,
        n_readings,
    )


def _looked_at(
    outlier: Outlier, sheet: RodReadings, observed: ObservationOperator
) -> bool:
    """Whether somebody wrote a remark next to a reading that is not grossly off.

    Who writes "slag hanging" has looked at the wall there: what stands proud or lies
    back by a mark of the rod is then more likely the wall than a slip.
    """
    off = float(observed.value[outlier.row]) - outlier.expected
    return bool(sheet.note[outlier.row].strip()) and abs(off) < ASSUMED.gross_error


def _may_be_outlier(named: Bool | None, pseudo: Bool) -> Bool:
    if named is None:
        return ~pseudo
    return np.append(named, np.zeros(pseudo.size - named.size, dtype=bool))


def _outliers(
    likelihood: MarginalLikelihood, best: Float, eligible: Bool
) -> tuple[Bool, list[Outlier]]:
    """The suspects (n,), and those of them to leave out."""
    if not eligible.any():
        return eligible, []
    observed, filled = likelihood.observed, likelihood.filled(best)
    candidates = np.zeros(len(observed), dtype=bool)
    windows = list(_windows(observed))
    if len(windows) > 1:
        odd = eligible & _unlike_neighbours(observed, likelihood.prior.radius)
        windows = [window for window in windows if (window[0] & odd).any()]
    for core, near in windows:
        whole = ConditionalGP(*filled, observed).subset(near)
        candidates[near] |= outlier_candidates(whole, (eligible & core)[near])
    if not candidates.any():
        return candidates, []
    calm = likelihood.subset(~candidates)
    anew = likelihood.filled(fit_map(calm, start=best))
    found = []
    for core, near in windows:
        if not (core & candidates).any():
            continue
        whole = ConditionalGP(*filled, observed).subset(near)
        rest = ConditionalGP(*anew, observed).subset(near & ~candidates)
        rows = np.flatnonzero(near)
        found += [
            replace(outlier, row=int(rows[outlier.row]))
            for outlier in confirmed_outliers(whole, rest, candidates[near])
            if core[rows[outlier.row]]
        ]
    return candidates, sorted(found, key=lambda outlier: outlier.row)


def _windows(observed: ObservationOperator) -> Iterator[tuple[Bool, Bool]]:
    """Readings to ask about together, and those that they are foretold from; masks.

    All of a sheet; one of very many readings is asked height by height.
    """
    count = len(observed)
    order = np.argsort(observed.places.height[:count], kind="stable")
    step, margin = (count, 0) if count <= MOST_READINGS else (_ASKED, _ASKED // 2)
    for start in range(0, count, step):
        core, near = np.zeros((2, count), dtype=bool)
        core[order[start : start + step]] = True
        near[order[max(0, start - margin) : start + step + margin]] = True
        yield core, near


def _unlike_neighbours(observed: ObservationOperator, radius: float) -> Bool:
    """Readings that may be odd at all among very many; (n,).

    Half of what makes one odd away from the median of those around it, which lie near
    where readings are many; diameters, whose far ends they are not, may all be.
    """
    if observed.across.any():
        return np.ones(len(observed), dtype=bool)
    from scipy.spatial import cKDTree

    places = observed.places
    angle = np.deg2rad(places.azimuth)
    across = (radius * np.cos(angle), radius * np.sin(angle))
    tree = cKDTree(np.column_stack([*across, places.height]))
    _, near = tree.query(tree.data, k=ASSUMED.odd_neighbours + 1)
    usual = np.median(observed.value[np.asarray(near)[:, 1:]], axis=1)
    return np.asarray(np.abs(observed.value - usual) > 0.5 * ASSUMED.odd_least)


def _fitted_to_cells(
    sheet: RodReadings,
    likelihood: MarginalLikelihood,
    best: Float,
    dense: Bool,
    design: Design,
) -> ConditionalGP:
    """The wall by the means of readings in cells.

    Sizes and lengths are those of single readings.  What the wall is uneven by within a
    cell is an error of its mean, and the grain, which reaches less far than a cell,
    is no part of what means follow.

    Parameters
    ----------
    sheet : RodReadings, n
        Those of the likelihood.
    best : array (p,)
        The most probable logs for single readings.
    dense : bool array (n,)
        Which readings may be averaged.
    """
    covariance, noise = likelihood.filled(best)
    own = np.sum([source.own for source in noise.sources], axis=0)
    cells = average_in_cells(sheet, own, dense, likelihood.prior, design)
    observed = observe(cells.sheet, design)
    averaged = noise.averaged(cells.weights)
    follows = covariance.without(GRAIN_NAME)
    first = ConditionalGP(covariance, averaged, observed, follows)
    read = likelihood.observed
    wall = read.apply(_mean_at(first, read.places))
    # A mean over a cell is not the wall at the middle of it where the wall is curved.
    curved = cells.weights @ wall - observed.apply(_mean_at(first, observed.places))
    observed = replace(observed, value=observed.value - curved)
    slopes = slopes_of(first, observed.places, cells.sheet, design)
    rod = np.isnan(sheet.sd).astype(np.float64)
    placed = placement_errors(
        cells.sheet.height, design, cells.weights.power(2) @ rod, slopes
    )
    grain = covariance.sd_of(GRAIN_NAME) ** 2
    uneven = cells.scatter(read.value - wall, own, grain)
    errors = (*averaged.sources, *placed, uneven)
    return ConditionalGP(covariance, Noise(errors), observed, follows)


def _mean_at(gp: ConditionalGP, places: Points2D) -> Float:
    """Mean of cut-back at places, a part of them at a time; (q,), mm."""
    parts = []
    for start in range(0, len(places), MOST_READINGS):
        some = slice(start, start + MOST_READINGS)
        there = Points2D(places.azimuth[some], places.height[some])
        parts.append(gp.weights @ gp.cross_covariance(there))
    return np.concatenate(parts)


@dataclass(frozen=True)
class ReadingCells:
    """Readings averaged where they lie dense: m means of n readings.

    Attributes
    ----------
    sheet : RodReadings, m
        The means, each at the mean of its readings' places.
    number : int array (n,)
        Which mean a reading is in.
    weights : csr array (m, n)
        Of each reading in its mean; rows add up to 1.
    dense : bool array (m,)
        Which are means of readings; the others were not to be averaged.
    """

    sheet: RodReadings
    number: Int
    weights: csr_array
    dense: Bool

    def scatter(self, off: Float, own: Float, grain: float) -> Source:
        """What each mean is off by because the wall is uneven within its cell.

        How readings lie about the fitted wall, their mean apart, less what they err by
        themselves; of a cell with few readings mostly as in all others, and of one with
        a single reading the grain alone.

        Parameters
        ----------
        off : array (n,), mm
            What readings saw less what the fitted wall is there.
        own : array (n,), mm2
            Variance of each reading by its own error.
        grain : float, mm2
            Variance of the wall's grain.
        """
        row = self.number
        off = off - (self.weights @ off)[row]
        count = np.bincount(row)
        free, square = count - 1.0, np.bincount(row, off**2)
        error = np.bincount(row, own) / count
        more = float(np.sum(square - free * error) / max(float(free.sum()), 1.0))
        usual = max(more, 0.0) + error
        seen = (square + ASSUMED.lent_readings * usual) / (free + ASSUMED.lent_readings)
        each = np.where(count > 1, np.maximum(seen - error, 0.0), grain)
        each = np.where(self.dense, each, 0.0)
        return Source(
            name="wall uneven within cells of readings",
            kind="A",
            unit="mm",
            sd=float(np.sqrt(each[self.dense].mean())),
            own=each * np.asarray(self.weights.power(2).sum(axis=1)),
            shared=np.zeros((row.max() + 1, 0)),
        )


def average_in_cells(
    sheet: RodReadings,
    own: Float,
    dense: Bool,
    prior: Prior,
    design: Design,
    *,
    most: int = MOST_CELLS,
) -> ReadingCells:
    """Average readings in cells as small as their number allows.

    A cell holds readings of one kind, of one side of a step of the profile, and of one
    repaired zone or none.

    Parameters
    ----------
    sheet : RodReadings, n
    own : array (n,), mm2
        Variance of each by its own error: what it weighs by.
    dense : bool array (n,)
        Which may be averaged.
    most : int
        Cells to come out, with readings not to be averaged.
    """
    from scipy.sparse import csr_array

    azimuth, rows = _folded(sheet), np.flatnonzero(dense)
    labels = np.stack(
        [
            np.unique(np.array(sheet.kind), return_inverse=True)[1],
            np.isnan(sheet.sd),
            np.searchsorted(design.profile.steps, sheet.height, side="right"),
            zone_labels(prior, azimuth, sheet.height),
        ],
        axis=1,
    )[rows]
    ring, side = 2.0 * np.pi * prior.radius, ASSUMED.cell_side
    while True:
        columns = max(1, round(ring / side))
        at = np.stack(
            [sheet.height[rows] // side, azimuth[rows] * columns // 360.0], axis=1
        )
        keys, cell = np.unique(
            np.concatenate([labels, at], axis=1), axis=0, return_inverse=True
        )
        if len(keys) <= most or side > ring:
            break
        side *= ASSUMED.cell_growth
    number = np.empty(len(sheet), dtype=np.int64)
    number[rows] = cell
    number[~dense] = len(keys) + np.arange(len(sheet) - rows.size)
    weight = np.where(dense, 1.0 / own, 1.0)
    weight /= np.bincount(number, weight)[number]
    shape = number.max() + 1, len(sheet)
    weights = csr_array((weight, (number, np.arange(len(sheet)))), shape=shape)
    first = np.unique(number, return_index=True)[1]
    height = weights @ sheet.height
    base = sheet.value - observe(sheet, design).value
    off = weights @ (sheet.value - base)
    means = replace(
        sheet.take(first),
        azimuth=weights @ azimuth,
        height=height,
    )
    drawn = means.value - observe(means, design).value
    means = replace(means, value=off + drawn, common={})
    return ReadingCells(means, number, weights, np.arange(shape[0]) < len(keys))


def _folded(sheet: RodReadings) -> Float:
    """Azimuth of each reading, of a diameter that of its end in the first half turn."""
    across = sheet.is_kind("diameter")
    return np.where(across, sheet.azimuth % 180.0, sheet.azimuth)


def sample_posterior(
    likelihood: MarginalLikelihood,
    best: Float,
    *,
    seed: int = 0,
    n_samples: int | None = None,
) -> GPPosterior:
    """The wall with the most probable sizes and lengths, and with others as likely."""
    count = len(likelihood.observed)
    if n_samples is None:
        wanted = int(
            np.clip(
                ASSUMED.choices_readings // count,
                ASSUMED.least_choices,
                ASSUMED.most_choices,
            )
        )
        n_samples = 2 * (wanted // 2)
    many = n_samples if count <= ASSUMED.choices_up_to else 0
    draws = laplace_draws(likelihood, best, count=many, seed=seed)
    processes = [
        ConditionalGP(*likelihood.filled(theta), likelihood.observed)
        for theta in (best, *draws)
    ]
    return GPPosterior(processes[0], tuple(processes[1:]))


def slopes_of(
    gp: ConditionalGP, places: Points2D, sheet: RodReadings, design: Design
) -> Slopes:
    """How what is read changes with azimuth and height, from the wall as first fitted.

    Cut-back is read against the drawing at its own place, a radius is not: there the
    taper of the drawing counts too.  Of a diameter both ends count.
    """
    turn = np.rad2deg(_STEP / design.profile.mean_radius)
    if gp.covariance.prior.unrepaired is None:
        around = _change(gp, places, turn, 0.0) / turn
        up = _change(gp, places, 0.0, _STEP) / _STEP
    else:
        rod, wide = (
            design.rod,
            np.rad2deg(ASSUMED.repair_edge_sd / design.profile.mean_radius),
        )
        astray = (
            float(np.hypot(rod.azimuth_sd, wide)),
            float(np.hypot(rod.height_sd, ASSUMED.repair_edge_sd)),
        )
        around = _astray(gp, places, astray[0], 0.0) / max(rod.azimuth_sd, _NONE)
        up = _astray(gp, places, 0.0, astray[1]) / max(rod.height_sd, _NONE)
    taper = design.profile.slope_at(places.height)
    n = len(sheet)
    far = sheet.is_kind("diameter")
    total_up = up[:n] + np.where(sheet.is_kind("cutback"), 0.0, taper[:n])
    total_up[far] += up[n:] + taper[n:]
    total_around = around[:n].copy()
    total_around[far] += around[n:]
    return Slopes(total_around, total_up)


def _change(gp: ConditionalGP, places: Points2D, turn: float, rise: float) -> Float:
    """What cut-back changes by some degrees and mm on; (n,)."""
    return gp.change(places, Points2D(places.azimuth + turn, places.height + rise))


def _astray(gp: ConditionalGP, places: Points2D, turn: float, rise: float) -> Float:
    """By how much readings so far astray are off, where the wall steps, mm; (n,).

    Root mean square change, by Gauss-Hermite quadrature over where a reading may have
    been taken in truth, a standard uncertainty of ``turn`` degrees or ``rise`` mm off:
    next to the edge of a repair it may have met either side.
    """
    at, weight = np.polynomial.hermite_e.hermegauss(7)
    squares = [
        part * _change(gp, places, step * turn, step * rise) ** 2
        for step, part in zip(at, weight / weight.sum(), strict=True)
        if step != 0.0
    ]
    return np.asarray(np.sqrt(np.sum(squares, axis=0)))


def _rejected(
    outlier: Outlier, sheet: RodReadings, observed: ObservationOperator
) -> Rejected:
    value = float(sheet.value[outlier.row])
    expected = value - float(observed.value[outlier.row]) + outlier.expected
    return Rejected(
        sheet.place[outlier.row],
        sheet.kind[outlier.row],
        value,
        expected,
        Outlying(outlier.sd),
    )
