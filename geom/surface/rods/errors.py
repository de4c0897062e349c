"""What can go wrong with a rod, in numbers.

A reading whose sd is stated on the sheet has that and no other error.  The others have
the sources below, with the sizes of the design file's ``[rod]`` table or its defaults.

A repaired wall: what was filled is new, and need not join on to what was not.

A process that is smooth all over the wall draws a patch and the wall next to it as one
slope: a patch left short pulls the good wall about it out, and is pulled in by it.
Where the zones of the repair are known, the wall within them is new: the drawn face, an
offset of each zone's own, one that all share, as one hand filled them, and how uneven
that hand left each face; their sizes are learned from the readings.  Nothing that the
wall next to a zone does, its holes least of all, holds for the zone, nor the reverse.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from geom.design import Design
from geom.errors import InputError
from geom.readings import RodReadings
from geom.readings.surveys import SurveyBefore
from geom.surface.assumptions import ASSUMED
from geom.surface.gp.fields import SteppedPattern
from geom.surface.gp.kernels import Points2D, patterns_at
from geom.surface.gp.observations import Noise, Source
from geom.surface.gp.prior import Component, LogNormal, Prior
from geom.units import Bool, Float, Int

#: Name of what datum bands are off by.
BANDS = "sound wall of the datum bands"
#: Most set-ups, for each of which centring has two columns of errors.
MOST_SET_UPS = 500


@dataclass(frozen=True)
class Slopes:
    """How the hot face runs at the readings, for what misplacing them does.

    Attributes
    ----------
    around : array (n,), mm per degree
        Change of what is read with azimuth.
    up : array (n,), mm per mm
        Change of what is read with height, the design's taper included.
    """

    around: Float
    up: Float


def rod_noise(
    readings: RodReadings, design: Design, *, pseudo: Bool, slopes: Slopes | None = None
) -> Noise:
    """All errors of a survey's readings.

    Parameters
    ----------
    readings : RodReadings, n
        With the stand-ins for sound wall, if any, among them.
    pseudo : bool array (n,)
        Which are stand-ins for the sound wall of a datum band.
    slopes : Slopes, optional
        Without them nothing is stated of misplaced readings.

    Returns
    -------
    Noise

    Raises
    ------
    InputError
        If there are more than `MOST_SET_UPS`.
    """
    stated = np.isfinite(readings.sd)
    rod = (~stated).astype(np.float64)
    sources = [
        _own("sd stated on the sheet", np.where(stated & ~pseudo, readings.sd, 0.0)),
        _bands(readings, design, pseudo),
        _resolution(readings, design, rod),
        _learned(
            "rod repeatability",
            design.rod.repeatability,
            rod,
            ASSUMED.repeatability_spread,
        ),
        _centring(readings, design, rod),
    ]
    sources += [_common(name, table) for name, table in readings.common.items()]
    if slopes is not None:
        sources += placement_errors(readings.height, design, rod, slopes)
    return Noise(tuple(source for source in sources if source.touches))


def _own(name: str, sd: Float) -> Source:
    """A known error of each reading by itself; given by its root mean square."""
    touched = sd[sd > 0]
    typical = float(np.sqrt(np.mean(touched**2))) if touched.size else 0.0
    return Source(name, "B", "mm", typical, sd**2, np.zeros((sd.size, 0)))


def _common(name: str, table: Float) -> Source:
    """A known error that readings share; stated by its root mean square."""
    typical = float(np.sqrt(np.mean(np.sum(table**2, axis=1)))) if table.size else 0.0
    return Source(name, "B", "mm", typical, np.zeros(len(table)), table)


def _bands(readings: RodReadings, design: Design, pseudo: Bool) -> Source:
    """How far the face of a datum band is off: each stand-in, and the band as one.

    A band is laid or struck in one go: its stand-ins share an offset of the same size
    as their own, or dozens of exact zeros would say more than one straight-edge can.
    """
    sd = np.where(pseudo, readings.sd, 0.0)
    bands = [
        (readings.height >= band.low) & (readings.height <= band.high) & pseudo
        for band in design.datum_bands
    ]
    shared = [np.where(band, sd, 0.0) for band in bands if band.any()]
    own = _own(BANDS, sd)
    return replace(own, shared=np.stack(shared, axis=1)) if shared else own


def _learned(name: str, sd: float, rod: Float, spread: float) -> Source:
    none = np.zeros((rod.size, 0))
    return Source(name, "A", "mm", sd, rod * sd**2, none, spread)


def _resolution(readings: RodReadings, design: Design, rod: Float) -> Source:
    own = design.rod.step
    step = readings.step if own is None else np.full(len(readings), own)
    return _own("rod resolution", rod * step / np.sqrt(12.0))


def _centring(readings: RodReadings, design: Design, rod: Float) -> Source:
    """A rod off the axis by e reads e cos(azimuth - direction) short or long.

    To first order in e; the same for all readings of one set-up: a sheet, or each
    height of it.  A diameter does not feel it.
    """
    angle = np.deg2rad(readings.azimuth)
    felt = rod * ~readings.is_kind("diameter") * design.rod.centring
    waves = np.stack([np.cos(angle), np.sin(angle)], axis=1) * felt[:, None]
    set_up = _set_ups(readings, each_height=design.rod.set_up == "height")
    if set_up.max() >= MOST_SET_UPS:
        raise InputError(
            f"the rod was set up more than {MOST_SET_UPS} times: once for every sheet, "
            "and for every height of it where the design file says so",
            cure="Write readings of one row at one height, put sheets together, or "
            'write set_up = "sheet" under [rod]',
        )
    columns = [waves * (set_up == k)[:, None] for k in range(set_up.max() + 1)]
    kept = [block for block in columns if np.any(block)]
    shared = np.concatenate(kept, axis=1) if kept else np.zeros((len(readings), 0))
    sd, none = design.rod.centring, np.zeros(len(readings))
    return Source("rod centring", "A", "mm", sd, none, shared, ASSUMED.centring_spread)


def _set_ups(readings: RodReadings, *, each_height: bool) -> np.ndarray:
    keys = [
        (place.split(", ")[0], height if each_height else 0.0)
        for place, height in zip(readings.place, readings.height, strict=True)
    ]
    number = {key: k for k, key in enumerate(dict.fromkeys(keys))}
    return np.array([number[key] for key in keys])


def placement_errors(
    height: Float, design: Design, rod: Float, slopes: Slopes
) -> list[Source]:
    """Misplaced in azimuth or height, and a rod out of level.

    A rod tilted by t reads R / cos(t), about R t**2 / 2 too long, and touches the wall
    R t higher or lower than meant.

    Parameters
    ----------
    height : array (n,), mm
    rod : array (n,)
        Share of each that a single reading's variance has: 1, or 0 where its sd is
        stated; less of means.
    """
    stated = design.rod
    design_radius = design.profile.radius_at(height)
    tilt = np.deg2rad(stated.tilt_sd)
    long = design_radius * tilt**2 / np.sqrt(2.0)
    tilted = np.hypot(long, design_radius * tilt * slopes.up)
    made = (
        ("azimuth of the readings", "deg", stated.azimuth_sd, slopes.around),
        ("height of the readings", "mm", stated.height_sd, slopes.up),
    )
    none = np.zeros((height.size, 0))
    placed = [
        Source(name, "B", unit, sd, rod * (sd * slope) ** 2, none)
        for name, unit, sd, slope in made
    ]
    return [
        *placed,
        Source("rod tilt", "B", "deg", stated.tilt_sd, rod * tilted**2, none),
    ]


#: Name of the offsets of single zones.
EACH_ZONE = "each repaired zone"


#: Rows of the net that the zones are given on, mm apart at most.
_ROW = 5.0


def with_repaired_zones(prior: Prior, before: SurveyBefore) -> Prior:
    """The same, but new within the zones of the survey before the repair.

    Parameters
    ----------
    before : SurveyBefore
        One without zones changes nothing.
    """
    patterns = zone_patterns(before)
    if not patterns:
        return prior
    every = SteppedPattern(
        patterns[0].height, np.sum([p.field for p in patterns], axis=0)
    )
    size, reach = (
        LogNormal(ASSUMED.offset_sd, ASSUMED.offset_spread),
        LogNormal(ASSUMED.uneven_reach, 0.0),
    )
    part = Component("", size, scaled_by_height=False, repaired=True)
    uneven = replace(
        part,
        name="unevenness of each repaired zone",
        sd=LogNormal(ASSUMED.uneven_sd, ASSUMED.uneven_spread),
        kernel_azimuth="matern32",
        kernel_height="matern32",
        length_scale_azimuth=reach,
        length_scale_height=reach,
        patterns=patterns,
    )
    # one zone left short is no measure of how even the others are
    each_uneven: tuple[Component, ...] = (uneven,)
    if len(patterns) <= ASSUMED.most_uneven:
        each_uneven = tuple(
            replace(uneven, name=f"unevenness of repaired zone {k}", patterns=(one,))
            for k, one in enumerate(patterns, 1)
        )
    return replace(
        prior,
        components=(
            *prior.components,
            *each_uneven,
            replace(part, name=EACH_ZONE, patterns=patterns),
            replace(part, name="all repaired zones", patterns=(every,)),
        ),
        unrepaired=SteppedPattern(every.height, 1.0 - every.field, beyond=1.0),
    )


def zone_labels(prior: Prior, azimuth: Float, height: Float) -> Int:
    """Number of the repaired zone that places are in, alike for places alike; (n,)."""
    label = np.zeros(azimuth.size, dtype=np.int64)
    for component in prior.components:
        if component.name == EACH_ZONE:
            at = patterns_at(component, Points2D(azimuth, height))
            label = np.unique(np.round(at), axis=1, return_inverse=True)[1]
    return label


def with_broken_zones(prior: Prior, azimuth: Float, height: Float) -> Prior:
    """The same with holes in the repaired zones that some places stand in.

    A hole left in one zone, or one next to it that was read as in it, is no measure of
    how uneven the others are.

    Parameters
    ----------
    prior : Prior
        Without such zones it stays the same.
    azimuth, height : array (n,), degrees and mm
        Of readings that the rest of their zone does not foretell.
    """
    parts = [part.patterns for part in prior.components if part.repaired]
    zones = max(parts, key=len, default=())
    broken = tuple(zone for zone in zones if zone.at(azimuth, height).any())
    if not broken:
        return prior
    reach = LogNormal(ASSUMED.hole_reach, 0.0)
    hole = Component(
        "holes in repaired zones",
        LogNormal(ASSUMED.hole_sd, ASSUMED.hole_spread),
        kernel_azimuth="matern32",
        kernel_height="matern32",
        length_scale_azimuth=reach,
        length_scale_height=reach,
        patterns=broken,
        scaled_by_height=False,
        repaired=True,
    )
    return replace(prior, components=(*prior.components, hole))


def zone_patterns(before: SurveyBefore) -> tuple[SteppedPattern, ...]:
    """Every zone as a pattern: 1 in it, 0 elsewhere."""
    height, zone = before.survey.height, before.zone
    low, high = float(height[0]), float(height[-1])
    net = np.linspace(low, high, 2 + int((high - low) / _ROW))
    row = np.rint(np.interp(net, height, np.arange(height.size))).astype(np.int64)
    inside = (zone[row] == number for number in np.unique(zone[zone > 0]))
    # beyond the rows surveyed before nothing is known to have been repaired
    edge = np.zeros((1, zone.shape[1]))
    step = net[1] - net[0]
    padded = np.concatenate([[low - step], net, [high + step]])
    return tuple(
        SteppedPattern(padded, np.concatenate([edge, mask.astype(np.float64), edge]))
        for mask in inside
    )
