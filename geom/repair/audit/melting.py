"""What the worn diameter does: area, melting rate and blast.

A cupola melts in proportion to the area it burns coke on and to the blast it is given.
To first order, with the same blast on each square metre and the same coke charge,

    rate = rate as drawn * area / area as drawn,   blast likewise,

so that a wall burnt back from diameter D to D' asks for (D' / D)**2 of both.  D' is the
diameter of the circle with the section's area: the mean diameter of a wall out of round
is too small.  This says what rate and blast keep the specific rate, that is melt each
square metre as the drawing does.  It does not say that the furnace melts more by
itself: the rate follows the blast, and blown as before a wider furnace is blown softer.

The worst ring is the row of the wall, read round, at which the mean cut-back all round,
openings left out, is greatest; what is stated of the ring is of that row alone.  The
melting zone is the band of all such rows within 150 mm of it (our own choice, no
source), integrated over height; rate and blast go by the band.  Both are of the wall as
it was surveyed, before any repair.

References
----------
Modern Mechanical Engineering, vol. I, p. 152 of the stored scan: 18 in bore melts about
3/4 ton an hour, 6 ft about 12: both 6.6 lb/in2 h, the area law (the 3/4 is badly
printed there and confirmed by it).
Giessereilexikon, "Schmelzleistung": at constant coke charge the rate rises linearly
with the blast.
10 lb an hour for each square inch: common practice, from memory.
Worked sums of a foundry course (stored scan, scribd 530506536): rate = specific rate *
pi/4 d**2; bed coke = pi/4 d**2 h w, h from the sand bottom up; coke = rate / ratio.
Bed over the tuyeres, in, 10.5 sqrt(blast in oz/in2) + 6: a handbook rule of American
foundrymen, from memory.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

import numpy as np

from geom.compare.extent import read_round
from geom.compare.findings import Findings, Level
from geom.design import Design, Melting, Profile
from geom.document import AREA, MERGED, fields_document, only
from geom.quantity import Quantity
from geom.repair.assumptions import ASSUMED
from geom.shown import Shown
from geom.stats.normal import squares_sd
from geom.surface import RadialSurface
from geom.units import M2, M3, Bool, Int

#: Places that stand for a band: heights at most, and azimuths.
_HEIGHTS, _AZIMUTHS = 7, 60
#: What the document tells of a section apart from what it does.
_SECTION = only("height", "side", "design_diameter", "area_diameter", merged=True)


@dataclass(frozen=True)
class Worn:
    """What one section, or several together, do to the melting.

    Attributes
    ----------
    area_ratio : Quantity
        Area over area as drawn.
    change_percent : Quantity
        Of area, and so of rate and blast.
    rate : Quantity or None, kg/h
        That keeps the specific rate; None where the design file tells none.
    blast : Quantity or None, m3/h
        Likewise.
    """

    area_ratio: Quantity
    change_percent: Quantity
    rate: Quantity | None
    blast: Quantity | None


@dataclass(frozen=True)
class WornLevel:
    """One horizontal section and what it does."""

    level: Level = field(metadata=_SECTION)
    worn: Worn = field(metadata=MERGED)


@dataclass(frozen=True)
class WornMelting(Shown):
    """What the worn diameter does.

    Attributes
    ----------
    levels : tuple of WornLevel
        All surveyed sections, bottom up.
    ring : float, mm
        Height of the worst ring.
    at_ring : Worn
        Of that ring alone.
    height_from, height_to : float, mm
        Of the band that is the melting zone.
    zone : Worn
        Of the band.
    drawn_area : float, mm2
        Of a section of the band as drawn, mean.
    common_rule : Quantity, kg/h
        10 lb/in2 h on the worn area: common practice, from memory; orientation only.
    """

    levels: tuple[WornLevel, ...]
    ring: float
    at_ring: Worn
    height_from: float
    height_to: float
    drawn_area: float = field(metadata=AREA)
    zone: Worn = field(metadata=MERGED)
    common_rule: Quantity

    def to_dict(self) -> dict[str, Any]:
        """As it is written in ``findings.json``; areas m2."""
        zone = fields_document(self)
        return {"levels": zone.pop("levels"), "melting_zone": zone}


@dataclass(frozen=True)
class Setting:
    """What one thing is set to.

    Attributes
    ----------
    after : Quantity
        For the wall after the repair.
    last : Quantity
        Of the last heat: as the shop tells it, or what the wall as surveyed asks for.
    stated : bool
        Whether the shop tells it.
    """

    after: Quantity
    last: Quantity
    stated: bool


@dataclass(frozen=True)
class RunSettings:
    """How the furnace is run after the repair, against the last heat.

    Attributes
    ----------
    diameter : Setting, mm
        Of the circle with the area of the melting zone.
    area_ratio : Quantity
        Area after the repair over area as surveyed.
    specific_rate : float or None, kg/h
        From each square metre of section, before and after alike.
    rate, blast : Setting or None, kg/h, m3/h
    coke : Setting or None, kg/h
        Charged.
    bed : float or None, mm
        Height over the upper edge of the lowest tuyeres.
    bed_rule : bool
        Whether that is by the rule, and not the shop's own.
    bed_from : float or None, mm
        Height of the sand bottom on the axis, or of the foot of the profile.
    bed_coke : Setting or None, kg
        From there up.
    """

    diameter: Setting
    area_ratio: Quantity
    specific_rate: float | None
    rate: Setting | None
    blast: Setting | None
    coke: Setting | None
    bed: float | None
    bed_rule: bool
    bed_from: float | None
    bed_coke: Setting | None


def run_settings(
    worn: WornMelting | None,
    surface: RadialSurface,
    design: Design,
    *,
    bottom: float = 0.0,
) -> RunSettings | None:
    """How to run the furnace after the repair.

    Parameters
    ----------
    worn : WornMelting or None
        Of that surface.
    design : Design
        ``design.shop.melting`` tells what the shop knows of its melting.
    bottom : float, mm
        Thickness of the sand bottom on the axis.

    Returns
    -------
    RunSettings or None
        None where the shop tells nothing of its melting, or no ring was read round.
    """
    melting = design.shop.melting
    if worn is None or melting == Melting():
        return None
    drawn = 2.0 * float(np.sqrt(worn.drawn_area / np.pi))
    after, found = _after(0.5 * drawn, design.repair.tolerance), worn.zone.area_ratio
    rate = rate_as_drawn(melting, worn.drawn_area)
    settings = {
        "rate": _setting(rate, melting.last_rate, after, found),
        "blast": _setting(melting.blast, melting.last_blast, after, found),
    }
    bed, low = _bed(design), design.profile.bottom + bottom
    wide, was = (
        ratio.through(
            lambda r: drawn * float(np.sqrt(r)), 0.5 * drawn / np.sqrt(ratio.value)
        )
        for ratio in (after, found)
    )
    return RunSettings(
        diameter=Setting(wide, was, stated=False),
        area_ratio=_over(after, found),
        specific_rate=None if rate is None else rate / (worn.drawn_area * M2),
        **settings,
        coke=_coke(settings["rate"], melting.coke_ratio),
        bed=bed,
        bed_rule=melting.bed is None,
        bed_from=None if bed is None else low,
        bed_coke=_bed_coke(surface, design, after, low, bed),
    )


def rate_as_drawn(melting: Melting, area: float) -> float | None:
    """What the furnace melts as drawn, kg/h; None where it is not known.

    Parameters
    ----------
    area : float, mm2
        Of its section.

    Examples
    --------
    0.562 kg an hour from each square centimetre of a bore of 75 cm (worked in a
    foundry course: 2,480):

    >>> area = 0.25 * np.pi * 750.0**2
    >>> round(rate_as_drawn(Melting(specific_rate=0.562), area), 1)
    2482.8
    """
    if melting.rate is not None or melting.specific_rate is None:
        return melting.rate
    return melting.specific_rate * area / 100.0


def bed_by_rule(pressure: float) -> float:
    """Height of the bed over the tuyeres, mm, for a blast of so many kPa.

    Examples
    --------
    16 oz to the square inch, a pound, ask for 48 in:

    >>> round(bed_by_rule(6.894757) / 25.4, 4)
    48.0
    """
    return float(
        ASSUMED.bed_rise * np.sqrt(1000.0 * pressure / ASSUMED.ounce)
        + ASSUMED.bed_least
    )


def _after(radius: float, tolerance: float) -> Quantity:
    """Area over that drawn, the wall anywhere within its tolerance, all round alike."""
    half = 2.0 * tolerance / radius
    return Quantity(1.0, half / np.sqrt(3.0), 1.0 - 0.95 * half, 1.0 + 0.95 * half)


def _over(one: Quantity, other: Quantity) -> Quantity:
    """A ratio of two that are independent, to first order."""
    ratio = one.value / other.value
    return Quantity.normal(
        ratio, ratio * float(np.hypot(one.sd / one.value, other.sd / other.value))
    )


def _setting(
    drawn: float | None, last: float | None, after: Quantity, found: Quantity
) -> Setting | None:
    """By what it is as drawn; else by what the last heat ran at on the worn wall."""
    if drawn is None and last is None:
        return None
    stated = last is not None
    was = Quantity.normal(last, 0.0) if last is not None else found.times(drawn or 0.0)
    if drawn is not None:
        return Setting(after.times(drawn), was, stated)
    return Setting(_over(after, found).times(was.value), was, stated)


def _coke(rate: Setting | None, ratio: float | None) -> Setting | None:
    if rate is None or ratio is None:
        return None
    return Setting(rate.after.times(1.0 / ratio), rate.last.times(1.0 / ratio), False)


def _bed(design: Design) -> float | None:
    """Height of the bed over the tuyeres; None where it is not known."""
    melting = design.shop.melting
    if not design.tuyeres or melting.bed is not None:
        return melting.bed if design.tuyeres else None
    return None if melting.pressure is None else bed_by_rule(melting.pressure)


def _bed_coke(
    surface: RadialSurface,
    design: Design,
    after: Quantity,
    low: float,
    bed: float | None,
) -> Setting | None:
    """Coke of the bed, as drawn and as found; rows not read round are as drawn."""
    density = design.shop.melting.coke_density
    if density is None or bed is None:
        return None
    lowest = min(design.tuyeres, key=lambda tuyere: tuyere.height)
    high = lowest.height + 0.5 * lowest.tall + bed
    whole, grid = bore_volume(design.profile, low, high), surface.grid
    inside = (grid.height > low) & (grid.height < high)
    rows = np.flatnonzero(_read_rows(surface) & inside)
    was = Quantity.normal(whole, 0.0)
    if rows.size:
        tall, radius = grid.row_height[rows], grid.design_radius[rows]
        read = float(np.pi * np.sum(tall * radius**2))
        ratio = band_ratio(surface, rows)
        was = Quantity.normal(whole + read * (ratio.value - 1.0), read * ratio.sd)
    each = density * M3
    return Setting(after.times(whole * each), was.times(each), stated=False)


def bore_volume(profile: Profile, low: float, high: float) -> float:
    """What the drawn bore holds between two heights, mm3; frustum by frustum.

    Examples
    --------
    A bore of 75 cm, 150 cm high, of coke of 482 kg/m3 (worked in a foundry course: 320
    kg):

    >>> bore = Profile(np.array([0.0, 3000.0]), np.array([375.0, 375.0]))
    >>> round(bore_volume(bore, 200.0, 1700.0) * 482.0e-9, 1)
    319.4
    """
    total = 0.0
    ends = list(zip(profile.height, profile.radius, strict=True))
    for (foot, below), (head, above) in pairwise(ends):
        first, last = max(foot, low), min(head, high)
        if last > first:
            slope = (above - below) / (head - foot)
            r, s = (below + slope * (z - foot) for z in (first, last))
            total += float(np.pi / 3.0 * (last - first) * (r * r + r * s + s * s))
    return total


def worn_melting(
    surface: RadialSurface, findings: Findings, design: Design
) -> WornMelting | None:
    """What the diameters that were found do to melting rate and blast.

    Parameters
    ----------
    findings : Findings
        Of that surface.
    design : Design
        ``design.shop.melting`` tells rate and blast as drawn, if the shop does.

    Returns
    -------
    WornMelting or None
        None where no ring was read round.
    """
    melting, grid = design.shop.melting, surface.grid
    row = worst_row(surface)
    if row is None:
        return None
    ring = float(grid.height[row])
    band = _read_rows(surface) & (np.abs(grid.height - ring) <= ASSUMED.melting_reach)
    rows = np.flatnonzero(band)
    radius, tall = grid.design_radius[rows], grid.row_height[rows]
    design_area = float(np.pi * np.sum(tall * radius**2) / tall.sum())
    worn = _worn(band_ratio(surface, rows), melting)
    return WornMelting(
        levels=tuple(
            WornLevel(level, _worn(section_ratio(level), melting))
            for level in findings.levels
        ),
        ring=ring,
        at_ring=_worn(band_ratio(surface, np.array([row])), melting),
        height_from=float(grid.edge[rows[0]]),
        height_to=float(grid.edge[rows[-1] + 1]),
        zone=worn,
        drawn_area=design_area,
        common_rule=worn.area_ratio.times(ASSUMED.common_rule * design_area),
    )


def worst_row(surface: RadialSurface) -> int | None:
    """The row, read round, at which mean cut-back all round is greatest.

    The lowest of several; where a row is opening all round it does not count.
    """
    wall = np.where(_read_rows(surface)[:, None], surface.grid.counted, 0.0)
    total = wall.sum(axis=1)
    if not total.any():
        return None
    mean = np.sum(wall * np.nan_to_num(surface.cutback), axis=1)
    mean = np.divide(mean, total, out=np.full(total.size, -np.inf), where=total > 0.0)
    return int(np.argmax(mean))


def _read_rows(surface: RadialSurface) -> Bool:
    """Surveyed rows that were read round; (m,)."""
    return np.asarray(surface.grid.surveyed_rows & read_round(surface.grid))


def band_ratio(surface: RadialSurface, rows: Int) -> Quantity:
    """Area of some rows of the grid over that drawn, integrated over height.

    Parameters
    ----------
    rows : int array (b,)
        A narrow gap in a row is taken to be as the rest of it.

    Returns
    -------
    Quantity
        Its standard uncertainty is that of ``sum v r**2`` over a net of places that
        stand for the band, weights v: variance ``4 (v m)' C (v m) + 2 (v v') . C**2``.
    """
    grid = surface.grid
    tall = grid.row_height[rows]
    drawn = float(np.sum(tall * grid.design_radius[rows] ** 2))
    square = surface.radius[rows] ** 2 + surface.radius_sd[rows] ** 2
    ratio = float(np.sum(tall * np.nanmean(square, axis=1))) / drawn
    some = rows[np.linspace(0, rows.size - 1, min(rows.size, _HEIGHTS)).astype(int)]
    azimuth = np.arange(_AZIMUTHS) * 360.0 / _AZIMUTHS
    mean, covariance = surface.posterior.joint(grid.height[some], azimuth)
    radius = np.repeat(grid.design_radius[some], _AZIMUTHS)
    weight = 1.0 / float(np.sum(radius**2))
    sd = weight * squares_sd(radius + mean, covariance)
    return Quantity.normal(ratio, sd).not_below(0.0)


def section_ratio(level: Level) -> Quantity:
    """Area of a section over that drawn.

    Examples
    --------
    >>> change, found = Quantity.normal(44.0, 2.0), Quantity.normal(1200.0, 8.0)
    >>> ratio = section_ratio(Level(0.0, "", 1000.0, found, change))
    >>> round(ratio.value, 9), round(ratio.sd, 9)
    (1.44, 0.02)
    """
    change = level.area_change_percent.times(0.01)
    return Quantity.normal(1.0 + change.value, change.sd).not_below(0.0)


def _worn(ratio: Quantity, melting: Melting) -> Worn:
    low, high = ratio.low95 - 1.0, ratio.high95 - 1.0
    change = Quantity(ratio.value - 1.0, ratio.sd, low, high)
    return Worn(
        area_ratio=ratio,
        change_percent=change.times(100.0),
        rate=None if melting.rate is None else ratio.times(melting.rate),
        blast=None if melting.blast is None else ratio.times(melting.blast),
    )
