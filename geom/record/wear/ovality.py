"""How wear lies round the wall: to one side, oval, or with the tuyeres.

Of every spell the wear of the twelve sides of a zone is parted into waves: one round
the wall (one side wears more than the other), two (oval), and the difference between
panels in front of tuyeres and those between them.  A wave is told where the spells bear
it out together: the mean of its two parts, set against how they scatter from spell to
spell, is tested by Hotelling's T-squared, all waves of all zones sharing one chance of
a false call.  Its height is never read off without that test: the height of no wave at
all is greater than nothing.

Between stations a survey tells what is likely, and so every wave flatter than it is,
heat after heat: no number of heats mends that.  How flat is known: what a wave is apart
from what is told of it is the survey's stated error, so the share that is told is
``told squared / (told squared + stated variance)``.  Heights are divided by it.  What
of the stated error comes back every heat besides is added to their uncertainty.

References
----------
Hotelling, H. (1931). The generalization of Student's ratio. Ann. Math. Stat. 2,
360-378.
Mardia, K. V., Kent, J. T. and Bibby, J. M. (1979). Multivariate Analysis. Academic
Press, section 5.2 (one-sample test; cited from memory).
Fuller, W. A. (1987). Measurement Error Models. Wiley, section 1.1 (what is told too
flat is divided by its reliability; cited from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.stats import f as f_distribution
from scipy.stats import t as student

from geom.compare.panels import HOURS
from geom.design import Design
from geom.frame import clock_face, turn, wrap
from geom.quantity import Quantity
from geom.record.regions import Region
from geom.record.wear.rates import SYSTEMATIC_SHARE
from geom.record.wear.series import WearSeries
from geom.units import Bool, Float, from_mm

#: Chance that any wave is told of a record that has none.
FALSE_CALLS = 0.05
#: Fewest spells that a wave is told from.
FEWEST = 4
#: Orders that are looked for: to one side, oval.
ORDERS = (1, 2)
#: Share of the stated variance of a wave that comes back every heat though the wave's
#: flatness is mended: in whole campaigns on invented walls (scripts/bench) intervals
#: without it held 84 to 97 times in 100.  Our own choice, no source.  Between tuyeres,
#: which are as narrow as what stations tell, it is that of single sides.
_COMES_BACK = 0.05


@dataclass(frozen=True)
class Harmonics:
    """How wear lies round one zone.

    Attributes
    ----------
    zone : Piece
    lobes : tuple of (int, Quantity, float)
        Order, height over the mean (mm a heat) and azimuth of its first peak (degrees)
        of every wave that is borne out.
    words : str
        In plain words.
    tuyeres : Quantity or None, mm a heat
        Wear in front of the tuyeres less that between them, where it is borne out.
    spells : int
        That tell all sides of it.
    """

    zone: Region
    lobes: tuple[tuple[int, Quantity, float], ...]
    words: str
    tuyeres: Quantity | None = None
    spells: int = 0


def circumferential_pattern(
    series: WearSeries, design: Design
) -> tuple[Harmonics, ...]:
    """How wear lies round the wall and each of its zones.

    Parameters
    ----------
    series : WearSeries
    design : Design
        Its tuyeres, and the clock that sides are told by.

    Returns
    -------
    tuple of Roundness
        One for the wall and one for each zone that is surveyed.
    """
    regions = series.regions
    places = [i for kind in ("wall", "zone") for i in regions.of_kind(kind)]
    rings = [_ring(series, place, row) for row, place in enumerate(places)]
    front = faces_tuyere(design)
    tested = sum(len(one.wear) >= FEWEST for one in rings)
    chances = FALSE_CALLS / max(tested * (len(ORDERS) + (front is not None)), 1)
    return tuple(
        _roundness(regions.regions[place], one, front, chances, design)
        for place, one in zip(places, rings, strict=True)
        if len(one.wear)
    )


@dataclass(frozen=True)
class _Ring:
    """Wear of the twelve sides of a piece; n spells.

    Attributes
    ----------
    wear : array (n, HOURS), mm per heat
        Of the rows of panels that every spell tells all round; spells that tell none
        of the piece are left out.
    errors : array (HOURS, HOURS), mm2
        How surveys err in it before a repair, in the mean of the spells.
    """

    wear: Float
    errors: Float

    def parts(self, shapes: Float) -> tuple[Float, float]:
        """Some shapes' share of the wear of every spell, and how flat it is told.

        Parameters
        ----------
        shapes : array (HOURS, k)
            Alike but for where they stand.

        Returns
        -------
        parts : array (n, k), mm per heat
        blind : float, mm2
            Stated variance of a part.
        """
        blind = np.einsum("ak,ab,bk->", shapes, self.errors, shapes) / shapes.shape[1]
        return self.wear @ shapes, float(blind)


def _ring(series: WearSeries, place: int, row: int) -> _Ring:
    """Wear round the piece at a place, the errors of which stand in a row of sides."""
    regions = series.regions
    panel = list(regions.of_kind("panel"))
    wear = series.wear[:, panel].reshape(len(series.spells), -1, HOURS)
    inside = regions.member[place].reshape(-1, HOURS).any(axis=1)
    round_it = np.isfinite(wear).all(axis=2) & inside
    rows = round_it[round_it.any(axis=1)].all(axis=0)
    if not (round_it.any() and rows.any()):
        return _Ring(np.empty((0, HOURS)), np.zeros((HOURS, HOURS)))
    heats = np.array([one.heats for one in series.spells], dtype=np.float64)
    told = round_it[:, rows].all(axis=1)
    sides = wear[told][:, rows].mean(axis=1) / heats[told][:, None]
    errors = series.sides[told, row] / heats[told][:, None, None] ** 2
    return _Ring(sides, errors.mean(axis=0))


def faces_tuyere(design: Design) -> Bool | None:
    """Sides that have a tuyere; None where that is all, none, or not half-way clear."""
    if not design.tuyeres:
        return None
    middle = np.arange(HOURS) * 360.0 / HOURS
    at = np.array([one.azimuth for one in design.tuyeres])
    away = np.abs(turn(at[:, None], middle[None, :])).min(axis=0)
    front: Bool = away < 0.5 * 360.0 / HOURS
    return front if front.any() and not front.all() else None


def _roundness(
    zone: Region, ring: _Ring, front: Bool | None, chance: float, design: Design
) -> Harmonics:
    """Every wave of one zone that is borne out."""
    lobes = []
    tuyeres = None
    spells = len(ring.wear)
    if spells >= FEWEST:
        for order in ORDERS:
            found = _wave(ring, order, chance)
            if found is not None:
                lobes.append((order, *found))
        if front is not None:
            tuyeres = _contrast(ring, front, chance)
    words = _words(lobes, tuyeres, spells, design)
    return Harmonics(zone, tuple(lobes), words, tuyeres, spells)


def _wave(ring: _Ring, order: int, chance: float) -> tuple[Quantity, float] | None:
    """Height and place of a wave, if the spells bear it out."""
    angle = np.deg2rad(order * np.arange(HOURS) * 360.0 / HOURS)
    turned = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    parts, blind = ring.parts(2.0 / HOURS * turned)
    count = len(parts)
    mean = parts.mean(axis=0)
    spread = np.cov(parts, rowvar=False) / count
    square = float(mean @ np.linalg.pinv(spread, hermitian=True) @ mean)
    limit = 2.0 * (count - 1) / (count - 2) * f_distribution.isf(chance, 2, count - 2)
    if not square > limit:
        return None
    high = float(np.hypot(*mean))
    along = mean / high
    across = np.array([-along[1], along[0]])
    # What scatter across adds to the height of a wave, to first order.
    high -= min(0.5 * float(across @ spread @ across) / high, 0.5 * high)
    peak = float(wrap(np.rad2deg(np.arctan2(mean[1], mean[0])) / order))
    square = float(along @ spread @ along) + _COMES_BACK * blind
    return _upright(high, square, parts, blind).not_below(0.0), peak


def _contrast(ring: _Ring, front: Bool, chance: float) -> Quantity | None:
    """Wear in front of tuyeres less that between, if the spells bear it out."""
    shape = front / front.sum() - ~front / (~front).sum()
    parts, blind = ring.parts(shape[:, None])
    count = len(parts)
    mean, square = float(parts.mean()), float(parts.var(ddof=1) / count)
    if not abs(mean) > np.sqrt(square) * float(student.isf(0.5 * chance, count - 1)):
        return None
    return _upright(mean, square + SYSTEMATIC_SHARE * blind, parts, blind)


def _upright(told: float, square: float, parts: Float, blind: float) -> Quantity:
    """A height, and its variance, that surveys tell too flat."""
    seen = float(np.mean(parts**2))
    share = seen / (seen + blind)
    value, sd = told / share, float(np.sqrt(square)) / share
    reach = sd * float(student.ppf(0.975, len(parts) - 1))
    return Quantity(value, sd, value - reach, value + reach)


def _words(
    lobes: list[tuple[int, Quantity, float]],
    tuyeres: Quantity | None,
    spells: int,
    design: Design,
) -> str:
    if spells < FEWEST:
        return f"too few spells of wear to tell how it lies round the wall ({spells})"
    said = [_of_lobe(order, high, peak, design) for order, high, peak in lobes]
    if tuyeres is not None:
        more = "more" if tuyeres.value > 0.0 else "less"
        said.append(
            f"wears {more} in front of the tuyeres than between them, by "
            f"{_interval(tuyeres, design)} a heat"
        )
    return "; ".join(said) or "no side wears more than another as far as surveys tell"


def _of_lobe(order: int, high: Quantity, peak: float, design: Design) -> str:
    places = [
        clock_face(peak + turned, design.azimuth_sense)
        for turned in np.arange(2) * 180.0 / order
    ]
    if order == 1:
        return (
            f"wears more at {places[0]}: {_interval(high, design)} a heat over the "
            f"mean; least at {places[1]}"
        )
    return (
        f"wears oval: {_interval(high, design)} a heat over the mean at {places[0]} "
        f"and {clock_face(peak + 180.0, design.azimuth_sense)}, least across"
    )


def _interval(told: Quantity, design: Design) -> str:
    """A length with its 95 % interval, in mm or, where the shop has them, inches."""
    low, high = sorted(abs(part) for part in (told.low95, told.high95))
    value = abs(told.value)
    if design.length_unit == "in":
        inches = [from_mm(x, "in") for x in (value, low, high)]
        said, least, most = (f"{x:.2f}" for x in inches)
        return f"{said} in ({value:.1f} mm), 95 %: {least} to {most} in,"
    return f"{value:.1f} mm, 95 %: {low:.1f} to {high:.1f} mm,"
