"""Circumferential pattern of wear: to one side, oval, or with the tuyeres.

Of every spell the wear of the twelve sides of a zone is parted into harmonics: the
first (one side wears more than the other), the second (oval), and the contrast between
panels in front of tuyeres and those between them.  A harmonic is reported where the
spells bear it out together: the mean of its cosine and sine parts, set against how they
scatter from spell to spell, is tested by Hotelling's T-squared, all tests of all zones
sharing one chance of a false call (Bonferroni).  Its amplitude is never read off
without that test: the amplitude of no harmonic at all is greater than nothing.

Between stations a survey shows what is likely, and so every harmonic attenuated, heat
after heat: no number of heats mends that.  By how much is known: what a harmonic is
apart from what is observed of it is the survey's stated error, so its reliability is
``observed squared / (observed squared + stated variance)``.  Amplitudes are divided by
it.  What of the stated error repeats every heat besides is added to their uncertainty.

References
----------
Hotelling, H. (1931). The generalization of Student's ratio. Ann. Math. Stat. 2,
360-378.
Mardia, K. V., Kent, J. T. and Bibby, J. M. (1979). Multivariate Analysis. Academic
Press, section 5.2 (one-sample test; cited from memory).
Fuller, W. A. (1987). Measurement Error Models. Wiley, section 1.1 (what is stated too
flat is divided by its reliability; cited from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geom.compare.panels import HOURS
from geom.design import Design
from geom.frame import turn, wrap
from geom.quantity import Quantity
from geom.record.assumptions import ASSUMED
from geom.record.regions import Region
from geom.record.wear.series import WearSeries
from geom.units import Bool, Float

#: Orders that are tested: to one side, oval.
ORDERS = (1, 2)


@dataclass(frozen=True)
class Harmonic:
    """One harmonic of wear round the wall.

    Attributes
    ----------
    order : int
        How many times it goes round.
    amplitude : Quantity, mm a heat
        Over the mean.
    azimuth : float, degrees
        Of its first peak.
    """

    order: int
    amplitude: Quantity
    azimuth: float


@dataclass(frozen=True)
class Harmonics:
    """How wear lies round one zone.

    Attributes
    ----------
    harmonics : tuple of Harmonic
        Those that the spells bear out.
    tuyeres : Quantity or None, mm a heat
        Wear in front of the tuyeres less that between them, where it is borne out.
    spells : int
        With all sides of it surveyed.
    """

    zone: Region
    harmonics: tuple[Harmonic, ...]
    tuyeres: Quantity | None = None
    spells: int = 0


def circumferential_pattern(
    series: WearSeries, design: Design
) -> tuple[Harmonics, ...]:
    """Harmonics of the wear of the wall and of each of its zones.

    Parameters
    ----------
    design : Design
        For its tuyeres.

    Returns
    -------
    tuple of Harmonics
        One for the wall and one for each zone that is surveyed.
    """
    regions = series.regions
    places = regions.of_kind("wall", "zone")
    rings = [_ring(series, place, row) for row, place in enumerate(places)]
    front = faces_tuyere(design)
    tested = sum(len(ring.wear) >= ASSUMED.harmonic_spells for ring in rings)
    alpha = ASSUMED.false_harmonics / max(
        tested * (len(ORDERS) + (front is not None)), 1
    )
    return tuple(
        _harmonics(regions.regions[place], ring, front, alpha)
        for place, ring in zip(places, rings, strict=True)
        if len(ring.wear)
    )


def faces_tuyere(design: Design) -> Bool | None:
    """Sides that have a tuyere; None where that is all, none, or not half-way clear."""
    if not design.tuyeres:
        return None
    middle = np.arange(HOURS) * 360.0 / HOURS
    azimuth = np.array([tuyere.azimuth for tuyere in design.tuyeres])
    distance = np.abs(turn(azimuth[:, None], middle[None, :])).min(axis=0)
    front: Bool = distance < 0.5 * 360.0 / HOURS
    return front if front.any() and not front.all() else None


@dataclass(frozen=True)
class _Ring:
    """Wear of the twelve sides of a piece; n spells.

    Attributes
    ----------
    wear : array (n, HOURS), mm per heat
        Of the rows of panels that every spell has all round; spells that have none
        of the piece are left out.
    covariance : array (HOURS, HOURS), mm2
        Of the errors of surveys before a repair, in the mean of the spells.
    """

    wear: Float
    covariance: Float

    def project(self, shapes: Float) -> tuple[Float, float]:
        """Coefficients of some shapes in the wear of every spell, and their error.

        Parameters
        ----------
        shapes : array (HOURS, k)
            Alike but for where they stand.

        Returns
        -------
        coefficients : array (n, k), mm per heat
        stated : float, mm2
            Stated variance of a coefficient.
        """
        # trace of shapes' C shapes: a, b sides; k shapes
        trace = np.einsum("ak,ab,bk->", shapes, self.covariance, shapes)
        return self.wear @ shapes, float(trace / shapes.shape[1])


def _ring(series: WearSeries, place: int, row: int) -> _Ring:
    """Wear round the piece at a place, the errors of which stand in a row of sides."""
    regions = series.regions
    panel = regions.of_kind("panel")
    wear = series.wear[:, panel].reshape(len(series.spells), -1, HOURS)
    inside = regions.member[place].reshape(-1, HOURS).any(axis=1)
    complete = np.isfinite(wear).all(axis=2) & inside
    rows = complete[complete.any(axis=1)].all(axis=0)
    if not (complete.any() and rows.any()):
        return _Ring(np.empty((0, HOURS)), np.zeros((HOURS, HOURS)))
    heats = np.array([spell.heats for spell in series.spells], dtype=np.float64)
    valid = complete[:, rows].all(axis=1)
    sides = wear[valid][:, rows].mean(axis=1) / heats[valid][:, None]
    errors = series.side_covariance[valid, row] / heats[valid][:, None, None] ** 2
    return _Ring(sides, errors.mean(axis=0))


def _harmonics(
    zone: Region, ring: _Ring, front: Bool | None, alpha: float
) -> Harmonics:
    """Every harmonic of one zone that is borne out."""
    harmonics: tuple[Harmonic, ...] = ()
    tuyeres = None
    spells = len(ring.wear)
    if spells >= ASSUMED.harmonic_spells:
        tested = (_harmonic(ring, order, alpha) for order in ORDERS)
        harmonics = tuple(found for found in tested if found is not None)
        if front is not None:
            tuyeres = _tuyere_contrast(ring, front, alpha)
    return Harmonics(zone, harmonics, tuyeres, spells)


def _harmonic(ring: _Ring, order: int, alpha: float) -> Harmonic | None:
    """One harmonic, if Hotelling's test bears it out."""
    from scipy.special import fdtri

    angle = np.deg2rad(order * np.arange(HOURS) * 360.0 / HOURS)
    basis = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    parts, stated = ring.project(2.0 / HOURS * basis)
    count = len(parts)
    mean = parts.mean(axis=0)
    covariance = np.cov(parts, rowvar=False) / count
    t_squared = float(mean @ np.linalg.pinv(covariance, hermitian=True) @ mean)
    limit = 2.0 * (count - 1) / (count - 2) * fdtri(2, count - 2, 1.0 - alpha)
    if not t_squared > limit:
        return None
    amplitude = float(np.hypot(*mean))
    along = mean / amplitude
    across = np.array([-along[1], along[0]])
    # What scatter across adds to the amplitude, to first order.
    bias = 0.5 * float(across @ covariance @ across) / amplitude
    amplitude -= min(bias, 0.5 * amplitude)
    peak = float(wrap(np.rad2deg(np.arctan2(mean[1], mean[0])) / order))
    variance = float(along @ covariance @ along)
    variance += ASSUMED.harmonic_systematic_share * stated
    found = _disattenuated(amplitude, variance, parts, stated).not_below(0.0)
    return Harmonic(order, found, peak)


def _tuyere_contrast(ring: _Ring, front: Bool, alpha: float) -> Quantity | None:
    """Wear in front of tuyeres less that between, if Student's test bears it out."""
    from scipy.special import stdtrit

    shape = front / front.sum() - ~front / (~front).sum()
    parts, stated = ring.project(shape[:, None])
    count = len(parts)
    mean, variance = float(parts.mean()), float(parts.var(ddof=1) / count)
    limit = float(stdtrit(count - 1, 1.0 - 0.5 * alpha))
    if not abs(mean) > np.sqrt(variance) * limit:
        return None
    variance += ASSUMED.systematic_share * stated
    return _disattenuated(mean, variance, parts, stated)


def _disattenuated(
    value: float, variance: float, parts: Float, stated: float
) -> Quantity:
    """A coefficient over its reliability: surveys show it too flat."""
    observed = float(np.mean(parts**2))
    reliability = observed / (observed + stated)
    sd = float(np.sqrt(variance)) / reliability
    return Quantity.student(value / reliability, sd, len(parts) - 1)
