"""Taper audit: whether slag that runs down the wall passes over the tuyeres.

Melted iron and slag run down the wall from the melting zone.  Whatever reaches the top
edge of a tuyere, the lip, falls plumb from there.  If the lip stands nearer the axis
than the sill, the wall at the opening's lower edge, it falls clear in front of the
mouth and is led over it.  If the wall above has burnt back behind the sill, it runs in,
meets the blast, chills and closes the tuyere.  So what decides is the

    overhang = radius at the sill - radius at the lip,

positive where the opening sheds.  Both are radii of the wall as it stands, build-up
counted: slag grown on the sill catches drips that the drawing lets fall clear, slag
hanging from the lip leads them further out.  The mouth is taken at the sill and not at
the drawn face, since a wall burnt back evenly above and below sheds as it did.

The slope of the wall above, change of radius with height, tells how slag arrives: where
it is positive the wall leans back from the tuyere upward, slag runs down its face
towards the axis and over the lip; where it is negative the wall hangs over and drips
before it reaches the lip.  Either is well as long as the lip stands in front, so the
slope is told and does not decide.

That the wall slopes away from the tuyeres so that slag runs over them and not into
them is common practice, no source.  Reach, width of the lip and the limits of the call
are our own choice.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from geom.compare.excess import chance_above
from geom.design import Design, Opening
from geom.quantity import Quantity
from geom.repair.mouth import LEAST_REACH, Mouth
from geom.surface import RadialSurface
from geom.surface.threads import on_one_thread_when_small
from geom.units import Float

Call = Literal["sheds", "doubtful", "runs in", "not surveyed"]

#: Probability from which an opening sheds; up to the rest to one it runs in.
SURE = 0.9


@dataclass(frozen=True)
class Measure:
    """One measure of the wall: as drawn, as found, and once repaired.

    Attributes
    ----------
    drawn : float
    found : Quantity or None
        None where not surveyed.
    repaired : Quantity
        On the drawing within the tolerance; see `within_tolerance`.
    """

    drawn: float
    found: Quantity | None
    repaired: Quantity

    def to_dict(self) -> dict[str, Any]:
        """As it is written in ``findings.json``."""
        return {
            "drawn": self.drawn,
            "found": None if self.found is None else self.found.to_dict(),
            "repaired": self.repaired.to_dict(),
        }


@dataclass(frozen=True)
class TuyereAudit:
    """How the wall stands about one tuyere.

    Attributes
    ----------
    number : int
        In the order of the design file, from 1.
    azimuth : float, degrees
    height : float, mm
        Of its centre.
    call : {'sheds', 'doubtful', 'runs in', 'not surveyed'}
    chance : float or None
        Probability that the overhang is positive.
    chance_repaired : float
        The same once the wall is back on its drawing within the tolerance.
    overhang : Measure, mm
        Mean over the tuyere's width.
    in_front : Quantity or None, 0 to 1
        Share of the tuyere's width over which the lip stands in front of the sill.
    slope : Measure or None, mm of radius per mm of height
        Of the wall above; None where less than 50 mm of it can be told of.
    reach : float, mm
        Of wall above the top edge over which the slope is told: 150, or less where the
        profile has a step or the survey ends.
    """

    number: int
    azimuth: float
    height: float
    call: Call
    chance: float | None
    chance_repaired: float
    overhang: Measure
    in_front: Quantity | None
    slope: Measure | None
    reach: float

    def to_dict(self) -> dict[str, Any]:
        """As it is written in ``findings.json``."""
        front = self.in_front
        return {
            "number": self.number,
            "azimuth": self.azimuth,
            "height": self.height,
            "call": self.call,
            "chance": self.chance,
            "chance_repaired": self.chance_repaired,
            "overhang": self.overhang.to_dict(),
            "in_front": None if front is None else front.to_dict(),
            "slope": None if self.slope is None else self.slope.to_dict(),
            "reach": self.reach,
        }


@on_one_thread_when_small(lambda surface, *_, **__: surface.count)
def taper_audit(surface: RadialSurface, design: Design) -> tuple[TuyereAudit, ...]:
    """Look at the wall about every tuyere.

    Parameters
    ----------
    surface : RadialSurface
    design : Design

    Returns
    -------
    tuple of TuyereAudit
        In the order of the design file; a tuyere whose lip or sill lies outside the
        surveyed heights is ``"not surveyed"``.
    """
    return tuple(
        _audit(number, tuyere, surface, design)
        for number, tuyere in enumerate(design.tuyeres, 1)
    )


def call_of(chance: float) -> Call:
    """What is said of a probability that the overhang is positive.

    Examples
    --------
    >>> [call_of(chance) for chance in (0.9, 0.5, 0.1)]
    ['sheds', 'doubtful', 'runs in']
    """
    if chance >= SURE:
        return "sheds"
    return "runs in" if 1.0 - chance >= SURE else "doubtful"


def within_tolerance(drawn: float, most: float) -> Quantity:
    """Difference of two places that were put back on the drawing.

    Each is taken to lie anywhere within ``most`` of it, evenly and by itself; their
    difference is triangular about the drawn one, of half width a = 2 * most.

    Parameters
    ----------
    drawn, most : float

    Returns
    -------
    Quantity
        Of sd a / sqrt(6); 95 % lie within a * (1 - sqrt(0.05)).

    References
    ----------
    JCGM 100:2008, 4.3.9 (triangular distribution).
    """
    wide = 2.0 * most
    half = wide * (1.0 - 0.05**0.5)
    return Quantity(drawn, wide / 6.0**0.5, drawn - half, drawn + half)


def chance_within_tolerance(drawn: float, most: float) -> float:
    """Probability that such a difference is positive.

    Examples
    --------
    >>> chance_within_tolerance(0.0, 6.0), chance_within_tolerance(12.0, 6.0)
    (0.5, 1.0)
    """
    part = min(abs(drawn) / (2.0 * most), 1.0)
    tail = 0.5 * (1.0 - part) ** 2
    return 1.0 - tail if drawn > 0.0 else tail


def _audit(
    number: int, tuyere: Opening, surface: RadialSurface, design: Design
) -> TuyereAudit:
    mouth = Mouth(tuyere, surface, design)
    drawn, most = mouth.drawn_overhang, design.repair.tolerance
    found = chance = front = slope = None
    call: Call = "not surveyed"
    if mouth.surveyed:
        mean, covariance = mouth.known()
        found = _normal(drawn, mouth.overhang, mean, covariance)
        chance = float(chance_above(np.array(found.value), np.array(found.sd), 0.0))
        call = call_of(chance)
        front = mouth.share_in_front(mean, covariance)
        if mouth.reach >= LEAST_REACH:
            tilt = mouth.drawn_slope
            slope = Measure(
                drawn=tilt,
                found=_normal(tilt, mouth.slope, mean, covariance),
                repaired=within_tolerance(tilt, most / mouth.reach),
            )
    return TuyereAudit(
        number=number,
        azimuth=tuyere.azimuth,
        height=tuyere.height,
        call=call,
        chance=chance,
        chance_repaired=chance_within_tolerance(drawn, most),
        overhang=Measure(drawn, found, within_tolerance(drawn, most)),
        in_front=front,
        slope=slope,
        reach=mouth.reach,
    )


def _normal(drawn: float, weight: Float, mean: Float, covariance: Float) -> Quantity:
    """A drawn number and what a weighted sum of cut-back adds to it."""
    spread = float(weight @ covariance @ weight)
    return Quantity.normal(drawn + float(weight @ mean), max(spread, 0.0) ** 0.5)
