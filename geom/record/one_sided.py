"""How wear lies round the wall: to one side, oval, or with the tuyeres.

Of every spell the wear of the twelve sides of a zone is parted into waves: one round
the wall (one side wears more than the other), two (oval), and the difference between
panels in front of tuyeres and those between them.  A wave is told where the spells bear
it out together: the mean of its two parts, set against how they scatter from spell to
spell, is tested by Hotelling's T-squared, all waves of all zones sharing one chance of
a false call.  Its height is never read off without that test: the height of no wave at
all is greater than nothing.

References
----------
Hotelling, H. (1931). The generalization of Student's ratio. Ann. Math. Stat. 2,
360-378.
Mardia, K. V., Kent, J. T. and Bibby, J. M. (1979). Multivariate Analysis. Academic
Press, section 5.2 (one-sample test; cited from memory).
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
from geom.record.pieces import Piece
from geom.record.series import WearSeries
from geom.units import Bool, Float, from_mm

#: Chance that any wave is told of a record that has none.
FALSE_CALLS = 0.05
#: Fewest spells that a wave is told from.
FEWEST = 4
#: Orders that are looked for: to one side, oval.
ORDERS = (1, 2)


@dataclass(frozen=True)
class Roundness:
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

    zone: Piece
    lobes: tuple[tuple[int, Quantity, float], ...]
    words: str
    tuyeres: Quantity | None = None
    spells: int = 0


def wear_pattern(series: WearSeries, design: Design) -> tuple[Roundness, ...]:
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
    pieces = series.pieces
    places = [i for kind in ("wall", "zone") for i in pieces.of_kind(kind)]
    sides = [_sides(series, place) for place in places]
    front = _in_front(design)
    tested = sum(len(one) >= FEWEST for one in sides)
    chances = FALSE_CALLS / max(tested * (len(ORDERS) + (front is not None)), 1)
    return tuple(
        _roundness(pieces.pieces[place], some, front, chances, design)
        for place, some in zip(places, sides, strict=True)
        if len(some)
    )


def _sides(series: WearSeries, place: int) -> Float:
    """Wear per heat of the twelve sides of a piece, spell by spell; (n, HOURS).

    The rows of panels that every spell tells all round; spells that tell none of the
    piece are left out.
    """
    pieces = series.pieces
    panel = list(pieces.of_kind("panel"))
    wear = series.wear[:, panel].reshape(len(series.spells), -1, HOURS)
    inside = pieces.member[place].reshape(-1, HOURS).any(axis=1)
    round_it = np.isfinite(wear).all(axis=2) & inside
    rows = round_it[round_it.any(axis=1)].all(axis=0)
    if not rows.any():
        return np.empty((0, HOURS))
    heats = np.array([one.heats for one in series.spells], dtype=np.float64)
    told = round_it[:, rows].all(axis=1)
    return np.asarray(wear[told][:, rows].mean(axis=1) / heats[told][:, None])


def _in_front(design: Design) -> Bool | None:
    """Sides that have a tuyere; None where that is all, none, or not half-way clear."""
    if not design.tuyeres:
        return None
    middle = np.arange(HOURS) * 360.0 / HOURS
    at = np.array([one.azimuth for one in design.tuyeres])
    away = np.abs(turn(at[:, None], middle[None, :])).min(axis=0)
    front: Bool = away < 0.5 * 360.0 / HOURS
    return front if front.any() and not front.all() else None


def _roundness(
    zone: Piece, sides: Float, front: Bool | None, chance: float, design: Design
) -> Roundness:
    """Every wave of one zone that is borne out."""
    lobes = []
    tuyeres = None
    if len(sides) >= FEWEST:
        for order in ORDERS:
            found = _wave(sides, order, chance)
            if found is not None:
                lobes.append((order, *found))
        if front is not None:
            tuyeres = _contrast(sides, front, chance)
    words = _words(lobes, tuyeres, len(sides), design)
    return Roundness(zone, tuple(lobes), words, tuyeres, len(sides))


def _wave(sides: Float, order: int, chance: float) -> tuple[Quantity, float] | None:
    """Height and place of a wave, if the spells bear it out."""
    angle = np.deg2rad(order * np.arange(HOURS) * 360.0 / HOURS)
    turned = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    parts = 2.0 / HOURS * sides @ turned
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
    sd = float(np.sqrt(along @ spread @ along))
    # What scatter across adds to the height of a wave, to first order.
    high -= min(0.5 * float(across @ spread @ across) / high, 0.5 * high)
    reach = float(student.ppf(0.975, count - 1)) * sd
    peak = float(wrap(np.rad2deg(np.arctan2(mean[1], mean[0])) / order))
    told = Quantity(high, sd, high - reach, high + reach).not_below(0.0)
    return told, peak


def _contrast(sides: Float, front: Bool, chance: float) -> Quantity | None:
    """Wear in front of tuyeres less that between, if the spells bear it out."""
    parts = sides[:, front].mean(axis=1) - sides[:, ~front].mean(axis=1)
    count = len(parts)
    mean, sd = float(parts.mean()), float(parts.std(ddof=1) / np.sqrt(count))
    if not abs(mean) > sd * float(student.isf(0.5 * chance, count - 1)):
        return None
    reach = sd * float(student.ppf(0.975, count - 1))
    return Quantity(mean, sd, mean - reach, mean + reach)


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
