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
slope is stated and does not decide.

What gathers slag is given by itself, against the drawing, the tuyere's own lip in it:
how far the sill stands proud, how far the lip is back, and how deep a hollow above the
lip is, beneath the line from the lip to the wall above.  Each that is more than the
tolerance has its remedy: chip the sill, daub the lip out, fill the hollow.  A drawing
that leaves it to chance on which side slag falls is flush: that is a matter of the
drawing, once, and not of each tuyere.

That the wall slopes back from the tuyeres so that slag runs over them and not into
them is common practice, no source.  Reach, width of the lip and the limits of the call
are our own choice.

All figures of the mouth are a drawn number and a weighted sum of cut-back over cells
of the surface's own grid.  One more cell all round goes into the net that the joint
posterior is asked for, so that a node of a scanned wall stands for its own cell and no
other.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from geom.design import Design, Opening
from geom.frame import turn
from geom.parallel import on_one_thread
from geom.quantity import Quantity
from geom.repair.assumptions import ASSUMED
from geom.stats.normal import eigen_root, exceedance_probability, joint_normal
from geom.surface import Grid, RadialSurface
from geom.units import Bool, Float, Int


class OpeningGeometry:
    """Lip, sill and wall above of one opening.

    Attributes
    ----------
    profile_overhang : float, mm
        Design radius at the lower edge less that at the upper.
    design_overhang : float, mm
        The same, with the lip that the tuyere has of its own.
    reach : float, mm
        Of surveyed wall above the upper edge, up to a step of the profile and at most
        `slope_reach`.
    surveyed : bool
        Whether both lip and sill were.
    """

    def __init__(
        self, opening: Opening, surface: RadialSurface, design: Design
    ) -> None:
        grid, profile = surface.grid, design.profile
        low = opening.height - 0.5 * opening.tall
        high = opening.height + 0.5 * opening.tall
        self._grid, self._posterior = grid, surface.posterior
        self.profile_overhang = float(
            profile.radius_at(max(low, profile.bottom), side="below")
            - profile.radius_at(min(high, profile.top))
        )
        self.design_overhang = self.profile_overhang + opening.lip
        _, highest = grid.surveyed_heights
        ends = [
            high + ASSUMED.slope_reach,
            highest,
            *profile.steps[profile.steps > high],
        ]
        self.reach = max(float(min(ends)) - high, 0.0)
        lip, sill = _next_to(grid.height - high), _next_to(low - grid.height)
        above = (grid.height > high) & (grid.height < high + self.reach)
        patch = grid.counted * grid.row_height[:, None]
        lip_mean, sill_mean = _mean_of(patch, lip), _mean_of(patch, sill)
        whole = lip_mean.any(axis=0) & sill_mean.any(axis=0)
        across = _across(grid, opening, design.radius_at_opening(opening)) * whole
        self.surveyed = bool(across.any())
        self._width = across / across.sum() if self.surveyed else across
        self._sill_mean, self._lip_mean = sill_mean, lip_mean
        self._contrast = sill_mean - lip_mean
        # the lip as drawn, over the strip that is taken for it
        out = np.maximum(opening.lip - (grid.height - high) / ASSUMED.lip_run_out, 0.0)
        self.lip_as_read = float(np.sum(lip_mean * out[:, None] * self._width))
        self._above = np.where(above[:, None], patch * across, 0.0)
        self._rows = _and_neighbours((lip | sill | above) & grid.surveyed_rows)
        self._columns = _and_neighbours(across > 0.0, ring=True)

    def joint(self) -> tuple[Float, Float]:
        """Mean (q,) and covariance (q, q) of cut-back at the nodes; mm, mm2."""
        height, azimuth = self._grid.height, self._grid.azimuth
        return self._posterior.joint(height[self._rows], azimuth[self._columns])

    @property
    def overhang(self) -> Float:
        """Weight of each node's cut-back in the mean overhang; (q,)."""
        return self._at_nodes(self._contrast * self._width)

    def share_in_front(self, mean: Float, covariance: Float) -> Quantity:
        """Share of the width over which the overhang is positive.

        Parameters
        ----------
        mean, covariance : array
            As `joint` tells them.

        Returns
        -------
        Quantity, 0 to 1
            By 4,000 seeded draws of all columns together; the interval holds the mean
            even where nearly all draws are alike.
        """
        columns = np.flatnonzero(self._width)
        # weight (columns, nodes): each column's contrast, 0 at nodes of the others;
        # nodes run (rows, columns), azimuth fastest.
        own = columns[:, None] == self._columns
        contrast = self._contrast[np.ix_(self._rows, self._columns)]
        weight = (own[:, None, :] * contrast).reshape(columns.size, -1)
        error = joint_normal(
            weight @ covariance @ weight.T,
            np.random.default_rng(0),
            ASSUMED.lip_draws,
            root=eigen_root,
        )
        overhang = (self.profile_overhang + weight @ mean)[:, None] + error
        share = Quantity.of_samples(self._width[columns] @ (overhang > 0.0))
        low, high = min(share.low95, share.value), max(share.high95, share.value)
        return replace(share, low95=low, high95=high)

    @property
    def at_sill(self) -> Float:
        """Weight of each node's cut-back in the mean of the sill; (q,)."""
        return self._at_nodes(self._sill_mean * self._width)

    @property
    def at_lip(self) -> Float:
        """Weight of each node's cut-back in the mean of the lip; (q,)."""
        return self._at_nodes(self._lip_mean * self._width)

    def hollows(self) -> tuple[Float, Float, Float]:
        """How deep the wall above the lip lies beneath the line up from the lip.

        The line goes from the lip to the uppermost 20 mm of the wall above.

        Returns
        -------
        height : array (j,), mm
            Of each row between the two.
        weight : array (j, q)
            Of each node's cut-back in its depth.
        lip : array (j,)
            How much of the lip's own cut-back is in it, negative.
        """
        height = self._grid.height
        row = self._above.sum(axis=1)
        rows = np.flatnonzero(row)
        upper = rows[height[rows] >= height[rows[-1]] - ASSUMED.lip]
        low = float(np.sum(self._lip_mean * height[:, None] * self._width))
        top = float(np.mean(height[upper]))
        between = rows[(height[rows] > low) & (height[rows] < top)]
        share = self._above / np.where(row > 0.0, row, 1.0)[:, None]
        # (j, q): each row's own mean, less the line's two ends by distance
        up = ((height[between] - low) / (top - low))[:, None]
        own = np.array([self._at_nodes(self._row(share, k)) for k in between])
        end = np.mean([self._at_nodes(self._row(share, k)) for k in upper], axis=0)
        weight = own.reshape(between.size, -1) - (1.0 - up) * self.at_lip - up * end
        return height[between], weight, -(1.0 - up[:, 0])

    @staticmethod
    def _row(share: Float, row: int) -> Float:
        only = np.zeros_like(share)
        only[row] = share[row]
        return only

    @property
    def slope(self) -> Float:
        """Weight of each node's cut-back in the slope of the wall above; (q,)."""
        return self._at_nodes(self._tilt)

    @property
    def design_slope(self) -> float:
        """Of the design radius over the same cells."""
        return float(np.sum(self._tilt * self._grid.design_radius[:, None]))

    @property
    def _tilt(self) -> Float:
        """Least squares slope as a weighted sum over cells; (m, k), 1/mm."""
        height = self._grid.height[:, None]
        centred = height - np.sum(self._above * height) / self._above.sum()
        return np.asarray(self._above * centred / np.sum(self._above * centred**2))

    def _at_nodes(self, weight: Float) -> Float:
        return weight[np.ix_(self._rows, self._columns)].ravel()


def _next_to(distance: Float) -> Bool:
    """Rows next to an edge: within `lip` of it, or the nearest; (m,).

    ``distance`` is how far each lies beyond the edge, mm.
    """
    beyond = np.where(distance > 0.0, distance, np.inf)
    near = (distance > 0.0) & (beyond <= max(ASSUMED.lip, float(beyond.min())))
    return np.asarray(near, dtype=np.bool_)


def _mean_of(patch: Float, rows: Bool) -> Float:
    """Weights of a mean over some rows, column by column; 0 where there is no wall."""
    area = np.where(rows[:, None], patch, 0.0)
    total = area.sum(axis=0)
    return np.asarray(area / np.where(total > 0.0, total, 1.0))


def _across(grid: Grid, opening: Opening, radius: float) -> Float:
    """Share of each column within an opening's width; (k,)."""
    half, wide = np.rad2deg(0.5 * grid.sector), opening.half_angle(radius)
    centre = turn(opening.azimuth, grid.azimuth)
    overlap = np.minimum(centre + half, wide) - np.maximum(centre - half, -wide)
    return np.asarray(np.maximum(overlap, 0.0) / (2.0 * half))


def _and_neighbours(mask: Bool, *, ring: bool = False) -> Int:
    """Indices of those marked and of their neighbours, in order."""
    before, after = np.roll(mask, -1), np.roll(mask, 1)
    if not ring:
        before[-1] = after[0] = False
    return np.flatnonzero(mask | before | after)


Call = Literal["sheds", "doubtful", "runs in", "not surveyed"]


RemedyWork = Literal["chip sill", "daub lip", "fill hollow"]


@dataclass(frozen=True)
class Remedy:
    """What to do at one tuyere, and by how much, mm, to have the wall as drawn."""

    work: RemedyWork
    by: float


@dataclass(frozen=True)
class Measure:
    """One measure of the wall: as drawn, as found, and once repaired.

    Attributes
    ----------
    found : Quantity or None
        None where not surveyed.
    repaired : Quantity
        On the drawing within the tolerance; see `within_tolerance`.
    """

    drawn: float
    found: Quantity | None
    repaired: Quantity


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
        Of the wall above; None where less than 50 mm of it can be known of.
    reach : float, mm
        Of wall above the top edge over which the slope is taken: 150, or less where the
        profile has a step or the survey ends.
    flush : bool
        As drawn it is left to chance on which side slag falls.
    sill_proud : Quantity or None, mm
        How far the sill stands proud of the drawing, on average over its width.
    lip_back : Quantity or None, mm
        How far the lip lies behind the drawn one.
    hollow : Quantity or None, mm
        Of the wall above, where it is deepest beneath the line up from the lip; None
        where the slope is.
    hollow_height : float or None, mm
    remedies : tuple of Remedy
        For each of the three that is more than the tolerance; of a lip drawn, half of
        it is enough.
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
    flush: bool = False
    sill_proud: Quantity | None = None
    lip_back: Quantity | None = None
    hollow: Quantity | None = None
    hollow_height: float | None = None
    remedies: tuple[Remedy, ...] = ()


@on_one_thread
def taper_audit(surface: RadialSurface, design: Design) -> tuple[TuyereAudit, ...]:
    """Look at the wall about every tuyere.

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
    """What is stated of a probability that the overhang is positive.

    Examples
    --------
    >>> [call_of(chance) for chance in (0.9, 0.5, 0.1)]
    ['sheds', 'doubtful', 'runs in']
    """
    if chance >= ASSUMED.sure_to_shed:
        return "sheds"
    return "runs in" if 1.0 - chance >= ASSUMED.sure_to_shed else "doubtful"


def within_tolerance(nominal: float, tolerance: float) -> Quantity:
    """Difference of two places that were put back on the drawing.

    Each is taken to lie anywhere within ``tolerance`` of it, evenly and by itself;
    their difference is triangular about the nominal one, of half width
    a = 2 * tolerance.

    Returns
    -------
    Quantity
        Of sd a / sqrt(6); 95 % lie within a * (1 - sqrt(0.05)).

    References
    ----------
    JCGM 100:2008, 4.3.9 (triangular distribution).
    """
    wide = 2.0 * tolerance
    half = wide * (1.0 - 0.05**0.5)
    return Quantity(nominal, wide / 6.0**0.5, nominal - half, nominal + half)


def chance_within_tolerance(nominal: float, tolerance: float) -> float:
    """Probability that such a difference is positive.

    Examples
    --------
    >>> chance_within_tolerance(0.0, 6.0), chance_within_tolerance(12.0, 6.0)
    (0.5, 1.0)
    """
    part = min(abs(nominal) / (2.0 * tolerance), 1.0)
    tail = 0.5 * (1.0 - part) ** 2
    return 1.0 - tail if nominal > 0.0 else tail


def _audit(
    number: int, tuyere: Opening, surface: RadialSurface, design: Design
) -> TuyereAudit:
    geometry = OpeningGeometry(tuyere, surface, design)
    nominal, tolerance = geometry.design_overhang, design.repair.tolerance
    repaired = chance_within_tolerance(nominal, tolerance)
    found = chance = front = slope = None
    proud = back = hollow = hollow_height = None
    call: Call = "not surveyed"
    if geometry.surveyed:
        mean, covariance = geometry.joint()
        found = _normal(geometry.profile_overhang, geometry.overhang, mean, covariance)
        chance = float(
            exceedance_probability(np.array(found.value), np.array(found.sd), 0.0)
        )
        call = call_of(chance)
        front = geometry.share_in_front(mean, covariance)
        proud = -_normal(0.0, geometry.at_sill, mean, covariance)
        back = _normal(geometry.lip_as_read, geometry.at_lip, mean, covariance)
        if geometry.reach >= ASSUMED.least_slope_reach:
            tilt = geometry.design_slope
            slope = Measure(
                drawn=tilt,
                found=_normal(tilt, geometry.slope, mean, covariance),
                repaired=within_tolerance(tilt, tolerance / geometry.reach),
            )
            hollow_height, hollow = _deepest_hollow(geometry, mean, covariance)
    return TuyereAudit(
        number=number,
        azimuth=tuyere.azimuth,
        height=tuyere.height,
        call=call,
        chance=chance,
        chance_repaired=repaired,
        overhang=Measure(nominal, found, within_tolerance(nominal, tolerance)),
        in_front=front,
        slope=slope,
        reach=geometry.reach,
        flush=repaired < ASSUMED.sure_to_shed,
        sill_proud=proud,
        lip_back=back,
        hollow=hollow,
        hollow_height=hollow_height,
        remedies=_remedies(proud, back, hollow, geometry, tolerance),
    )


def _deepest_hollow(
    geometry: OpeningGeometry, mean: Float, covariance: Float
) -> tuple[float | None, Quantity | None]:
    """Height and depth of the wall above a lip where it is hollowed out most."""
    height, weight, lip = geometry.hollows()
    if height.size == 0:
        return None, None
    shift = lip * geometry.lip_as_read
    worst = int(np.argmax(shift + weight @ mean))
    depth = _normal(float(shift[worst]), weight[worst], mean, covariance)
    return float(height[worst]), depth


def _remedies(
    proud: Quantity | None,
    back: Quantity | None,
    hollow: Quantity | None,
    geometry: OpeningGeometry,
    tolerance: float,
) -> tuple[Remedy, ...]:
    """What to do, from the sill up; half of a drawn lip gone is too much of it."""
    own = geometry.design_overhang - geometry.profile_overhang
    most = min(tolerance, 0.5 * geometry.lip_as_read) if own else tolerance
    edge = own - geometry.lip_as_read  # the lip's edge stands out by that much more
    gathered: tuple[tuple[RemedyWork, Quantity | None, float, float], ...] = (
        ("chip sill", proud, tolerance, 0.0),
        ("daub lip", back, most, edge),
        ("fill hollow", hollow, tolerance, 0.0),
    )
    return tuple(
        Remedy(work, found.value + more)
        for work, found, least, more in gathered
        if found is not None and found.value > least
    )


def lip_to_shed(tolerance: float) -> float:
    """How far a lip has to be drawn out to shed once it is repaired, mm.

    Parameters
    ----------
    tolerance : float, mm

    Examples
    --------
    >>> round(lip_to_shed(10.0), 3)
    11.056
    """
    return 2.0 * tolerance * (1.0 - float(np.sqrt(2.0 * (1.0 - ASSUMED.sure_to_shed))))


def _normal(nominal: float, weight: Float, mean: Float, covariance: Float) -> Quantity:
    """A nominal value and what a weighted sum of cut-back adds to it."""
    spread = float(weight @ covariance @ weight)
    return Quantity.normal(nominal + float(weight @ mean), max(spread, 0.0) ** 0.5)
