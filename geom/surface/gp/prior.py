"""What is known of a worn wall before anybody measures it: the prior of cut-back.

Cut-back is a sum of independent Gaussian components.  Each has a standard deviation,
and where it varies round the ring or with height, a length scale over which it does.
These hyperparameters are learned from the readings; what is written here is where they
start from and how far they may be drawn: log-normal hyperpriors.

One component is not stationary.  The blast burns fiercest some way above the tuyeres,
so the wear of a cupola is a hump over height, often steeper below than above.  Where it
lies, how deep it is and how fast it fades are fitted to all readings at once
(`find_melting_zone`); what the readings leave open of that enters as further
components, one standard deviation of place and widths each, linearised.  Without it a
process that knows nothing of humps draws the wall between two rows of readings flatter
than it is, and is as unsure of the quiet stack as of the burnt ring.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cache
from typing import Literal

import numpy as np

from geom.design import Design
from geom.readings import RodReadings
from geom.readings.rod import cutback_of_each
from geom.surface.assumptions import ASSUMED
from geom.surface.gp.fields import Pattern, SteppedPattern
from geom.units import Float

_STEP = 5.0


#: Names of the parts that diameters see nothing of.
ONE_SIDED, MELTED_ONE_SIDE = "one-sided burn", "melting zone on one side"

GRAIN_NAME = "grain of the face"


@dataclass(frozen=True)
class MeltingZone:
    """A hump of wear over height, the same all round.

    Attributes
    ----------
    centre : float, mm
        Height where it is deepest.
    below, above : float, mm
        Distance at which it has fallen to 1/e, downwards and upwards.
    depth : float, mm
    centre_sd : float, mm
    below_sd, above_sd : float
        Of the logarithms of the distances.
    """

    centre: float
    below: float
    above: float
    depth: float
    centre_sd: float
    below_sd: float
    above_sd: float

    def share(self, height: Float) -> Float:
        """Wear at heights as a share of the deepest, 0 to 1; same shape."""
        return hump(height, self.centre, self.below, self.above)

    def expected_share(self, height: Float) -> Float:
        """The share averaged over where the hump may lie and how wide it may be.

        By Gauss-Hermite quadrature over seven places of the centre and three widths,
        both moved together: a crest that no row read is not taken as if it had been.
        """
        places, place_weight = _gauss_hermite(7)
        widths, width_weight = _gauss_hermite(3)
        # axes: height, place of the centre, width
        shares = hump(
            height[:, None, None],
            self.centre + places[:, None] * self.centre_sd,
            self.below * np.exp(widths * self.below_sd),
            self.above * np.exp(widths * self.above_sd),
        )
        total = place_weight.sum() * width_weight.sum()
        return np.asarray(shares @ width_weight @ place_weight / total)

    def hump(self, low: float, high: float) -> Pattern:
        """The share as a pattern between two heights."""
        net = _net(low, high)
        return Pattern(net, self.share(net)[:, None])

    def changes(self, low: float, high: float) -> tuple[Pattern, ...]:
        """What one sd of centre, and of each distance, does to the wear, mm."""
        net = _net(low, high)
        off = net - self.centre
        wide = np.where(off < 0.0, self.below, self.above)
        falling = 2.0 * self.depth * self.share(net) * off / wide**2
        ways = (
            falling * self.centre_sd,
            np.where(off < 0.0, falling * off * self.below_sd, 0.0),
            np.where(off < 0.0, 0.0, falling * off * self.above_sd),
        )
        return tuple(Pattern(net, way[:, None]) for way in ways)


@cache
def _gauss_hermite(count: int) -> tuple[Float, Float]:
    """Nodes and weights of the rule; asked for at every step of a search."""
    return np.polynomial.hermite_e.hermegauss(count)


def hump(
    height: Float, centre: Float | float, below: Float | float, above: Float | float
) -> Float:
    """One at the centre, a normal curve of its own width to either side."""
    off = height - centre
    return np.asarray(np.exp(-((off / np.where(off < 0.0, below, above)) ** 2)))


def find_melting_zone(
    readings: RodReadings, design: Design, *, one_sided: bool = False
) -> MeltingZone:
    """The hump that the readings show, held to what is usual where they say little.

    Parameters
    ----------
    design : Design
        Its tuyeres tell where to look; without any, all heights are as likely.
    one_sided : bool
        Whether it may be deeper on one side: a hump that only one side has is found by
        that side, where it would be an outlier to one that is the same all round.

    Returns
    -------
    MeltingZone
        Least squares in which far-off readings count by their distance, not its
        square, so that a slip or a hole does not bend the hump.  The standard
        deviations are those of the linearised fit (JCGM 100:2008, H.3).
    """
    from scipy.optimize import least_squares

    height, cutback = readings.height, cutback_of_each(readings, design)
    usual, spread = _expected(design, float(height.min()), float(height.max()))
    count = min(1.0, ASSUMED.telling_readings / height.size)
    # a diameter sees as much more on one end as it sees less on the other
    felt = one_sided * ~readings.is_kind("diameter")
    angle = np.deg2rad(readings.azimuth)
    side = np.stack([np.cos(angle), np.sin(angle)]) * felt
    if one_sided:
        usual, spread = (
            np.append(usual, [0.0, 0.0]),
            np.append(spread, [ASSUMED.side_depth] * 2),
        )

    def misfit(parameters: Float) -> Float:
        depth, centre, below, above, base = parameters[:5]
        share = hump(height, centre, np.exp(below), np.exp(above))
        deep = depth + parameters[5:] @ side if one_sided else depth
        wear = base + deep * share
        off = (cutback - wear) / ASSUMED.about_hump
        robust = np.sign(off) * np.sqrt(2.0 * count * (np.sqrt(1.0 + off**2) - 1.0))
        return np.append(robust, (parameters - usual) / spread)

    ways = np.zeros((3, usual.size))
    ways[:, 0], ways[:, 1] = 1.0, (-0.8, 0.0, 1.0)
    starts = usual + spread * ways
    found = [least_squares(misfit, start) for start in starts]
    best = min(found, key=lambda fit: float(fit.cost))
    depth, centre, below, above = best.x[:4]
    slopes = np.asarray(best.jac, dtype=np.float64)
    sd = np.sqrt(np.diag(np.linalg.inv(slopes.T @ slopes)))
    return MeltingZone(
        centre=float(centre),
        below=float(np.exp(below)),
        above=float(np.exp(above)),
        depth=max(float(depth), ASSUMED.about_hump),
        centre_sd=float(sd[1]),
        below_sd=float(sd[2]),
        above_sd=float(sd[3]),
    )


def _expected(design: Design, low: float, high: float) -> tuple[Float, Float]:
    """Depth, centre, log widths and base before any reading, and their spreads."""
    centre, rides = 0.5 * (low + high), 0.5 * (high - low)
    if design.tuyeres:
        centre = (
            float(np.mean([t.height for t in design.tuyeres]))
            + ASSUMED.crest_above_tuyeres
        )
        rides = ASSUMED.crest_ride_sd
    usual = [0.0, centre, np.log(ASSUMED.width_below), np.log(ASSUMED.width_above), 0.0]
    return np.array(usual), np.array(
        [
            ASSUMED.crest_depth_sd,
            rides,
            ASSUMED.width_spread,
            ASSUMED.width_spread,
            ASSUMED.about_zero,
        ]
    )


def _net(low: float, high: float) -> Float:
    return np.linspace(low, high, 2 + int((high - low) / _STEP))


@dataclass(frozen=True)
class LogNormal:
    """A positive number before it is learned: median and spread of its logarithm.

    With a spread of 0 it is taken as known and not learned.
    """

    median: float
    spread: float

    @property
    def learned(self) -> bool:
        """Whether the readings have a say in it."""
        return self.spread > 0.0


@dataclass(frozen=True)
class Component:
    """One part of the wall's cut-back.

    Attributes
    ----------
    sd : LogNormal, mm
        Standard deviation; with patterns, the multiple of them.
    kernel_azimuth : str
        Correlation round the ring: a key of `geom.surface.gp.kernels.CORRELATIONS`;
        ``"same"``: equal at all azimuths; ``"wave"``: a cosine of any phase with
        ``waves`` crests round the ring.
    kernel_height : str
        Correlation with height, or ``"same"``.
    length_scale_azimuth : LogNormal or None, mm
        Length round the ring.
    length_scale_height : LogNormal or None, mm
        Length along the height.
    waves : int
        Crests round the ring, for ``"wave"``.
    scaled_by_height : bool
        Whether its size follows the liveliness of the wall over height.
    patterns : tuple of Pattern
        What it is a multiple of, place by place; of several, an independent multiple of
        each.
    parity : {'', 'even', 'odd'}
        What is left of it half a turn on: anything, the same, or the opposite.
    repaired : bool
        Whether it is a part of what a repair put in, where the wall as it was has no
        part; its patterns say where.
    """

    name: str
    sd: LogNormal
    kernel_azimuth: str = "same"
    kernel_height: str = "same"
    length_scale_azimuth: LogNormal | None = None
    length_scale_height: LogNormal | None = None
    waves: int = 0
    scaled_by_height: bool = True
    patterns: tuple[Pattern, ...] = ()
    parity: Literal["", "even", "odd"] = ""
    repaired: bool = False

    @property
    def ring_patterns(self) -> bool:
        """Whether it has patterns, all of them the same all round."""
        return bool(self.patterns) and all(p.axisymmetric for p in self.patterns)

    @property
    def patterned(self) -> bool:
        """Whether it has patterns that go round the wall."""
        return bool(self.patterns) and not self.ring_patterns

    @property
    def axisymmetric(self) -> bool:
        """Whether it is the same at all azimuths."""
        return self.kernel_azimuth == "same" and not self.patterned

    @property
    def hyperpriors(self) -> tuple[LogNormal, ...]:
        """Size, then arc, then rise, as far as they are there and learned."""
        every = (self.sd, self.length_scale_azimuth, self.length_scale_height)
        return tuple(g for g in every if g is not None and g.learned)


@dataclass(frozen=True)
class Prior:
    """All parts together.

    Attributes
    ----------
    radius : float, mm
        Of the ring on which arc lengths are meant.
    knots : array (k,), mm, rising
        Heights at which the liveliness of the wall is learned: the stack hardly wears,
        the melting zone does.  Its logarithm is level at a knot: a peak would draw a
        bulge between rows that nobody measured.
    amplitude_spread : float
        Spread of its logarithm at a knot before it is learned.
    zone : MeltingZone or None
        The ring of wear that the wall is livelier in.
    unrepaired : SteppedPattern or None
        1 where the wall is as it was, 0 where it was repaired.  There only the parts
        that are ``repaired`` count, and elsewhere only the others.
    """

    components: tuple[Component, ...]
    radius: float
    knots: Float = field(default_factory=lambda: np.zeros(0))
    amplitude_spread: float = 0.6
    zone: MeltingZone | None = None
    unrepaired: SteppedPattern | None = None

    @property
    def median(self) -> Float:
        """Logarithms of all sizes, lengths and liveliness at their medians; (p,)."""
        theta = np.log([g.median for part in self.components for g in part.hyperpriors])
        zone = [] if self.zone is None else [ASSUMED.amplified]
        return np.concatenate([theta, np.zeros(self.knots.size), zone])

    @property
    def spread(self) -> Float:
        """Their spreads; shape (p,)."""
        spreads = [g.spread for part in self.components for g in part.hyperpriors]
        zone = [] if self.zone is None else [ASSUMED.amplified]
        knots = np.full(self.knots.size, self.amplitude_spread)
        return np.concatenate([spreads, knots, zone])

    def amplitude(self, height: Float, theta: Float) -> tuple[Float, Float]:
        """How much the wall varies at heights, and the slopes of its logarithm.

        The log amplitude is linear in the knots.  The melting zone blends the amplitude
        itself, not its logarithm: with share s and log ratio l the factor is
        ``1 + s (exp(l) - 1)``, so that a flank that was read does not set a crest that
        was not by a power of itself.

        Parameters
        ----------
        height : array (n,), mm
        theta : array (k,) or (k + 1,)
            Log amplitudes at the knots, then the log ratio of the melting zone.

        Returns
        -------
        amplitude : array (n,)
        slopes : array (n, k) or (n, k + 1)
            Derivatives of its logarithm by ``theta``.
        """
        return self.amplitude_of(self.amplitude_shares(height), theta)

    def amplitude_shares(self, height: Float) -> tuple[Float, Float | None]:
        """What of `amplitude` goes by height alone: shares of the knots and the zone.

        Returns
        -------
        array (n, k), and array (n,) or None
        """
        zone = None if self.zone is None else self.zone.expected_share(height)
        return self._knot_shares(height), zone

    def amplitude_of(
        self, shares: tuple[Float, Float | None], theta: Float
    ) -> tuple[Float, Float]:
        """`amplitude` at the heights of those shares."""
        (knots, share), count = shares, self.knots.size
        amplitude = np.exp(knots @ theta[:count])
        if share is None:
            return amplitude, knots
        ratio = np.exp(theta[count])
        factor = 1.0 + share * (ratio - 1.0)
        slope = (share * ratio / factor)[:, None]
        return amplitude * factor, np.concatenate([knots, slope], axis=1)

    @property
    def amplitudes(self) -> int:
        """How many of theta, its last, are of the amplitude."""
        return self.knots.size + (self.zone is not None)

    def _knot_shares(self, height: Float) -> Float:
        """Share of each knot at heights, flat at the knots, summing to 1; (n, k)."""
        if not self.knots.size:
            return np.zeros((height.size, 0))
        eye = np.eye(self.knots.size)
        part = np.stack([np.interp(height, self.knots, row) for row in eye], axis=1)
        return np.asarray(part**2 * (3.0 - 2.0 * part))


def default_prior(
    radius: float,
    low: float,
    high: float,
    *,
    row: float = 0.0,
    zone: MeltingZone | None = None,
    one_sided: bool = False,
) -> Prior:
    """The parts of a cupola wall for which readings speak, see docs/method.md.

    Parameters
    ----------
    radius : float, mm
        Mean design radius.
    low, high : float, mm
        Surveyed heights.
    row : float, mm
        Typical distance of the heights read: the liveliness is not learned finer than
        four of them, or it would draw shapes between rows that nobody measured.
    zone : MeltingZone, optional
        The ring of wear that the readings show.
    one_sided : bool
        Whether that ring may be deeper on one side, at all of its heights alike.
    """
    ring = Component(
        "burn-back all round",
        sd=LogNormal(15.0 if zone is None else 5.0, 0.8),
        kernel_height="matern32",
        length_scale_height=LogNormal(180.0, 0.5),
        scaled_by_height=zone is not None,
    )
    side = Component(
        ONE_SIDED,
        sd=LogNormal(6.0, 0.8),
        kernel_azimuth="wave",
        waves=1,
        kernel_height="matern52",
        length_scale_height=LogNormal(180.0, 0.5),
        scaled_by_height=False,
    )
    local = Component(
        "local wear",
        sd=LogNormal(8.0 if zone is None else 4.0, 0.8),
        kernel_azimuth="matern32",
        kernel_height="matern32",
        length_scale_azimuth=LogNormal(0.4 * radius, 0.4),
        length_scale_height=LogNormal(150.0, 0.6),
    )
    brick = Component(
        "single bricks",
        sd=LogNormal(1.5, 0.6),
        kernel_azimuth="matern32",
        kernel_height="matern32",
        length_scale_azimuth=LogNormal(60.0, 0.4),
        length_scale_height=LogNormal(60.0, 0.4),
    )
    courses = Component(
        "courses all round",
        sd=LogNormal(1.0, 1.0),
        kernel_height="matern32",
        length_scale_height=LogNormal(60.0, 0.3),
    )
    grain = Component(
        GRAIN_NAME,
        sd=LogNormal(1.0, 0.5),
        kernel_azimuth="matern32",
        kernel_height="matern32",
        length_scale_azimuth=LogNormal(ASSUMED.grain_reach, 0.0),
        length_scale_height=LogNormal(ASSUMED.grain_reach, 0.0),
        scaled_by_height=False,
    )
    whole = Component(
        "whole wall off the drawing", LogNormal(3.0, 0.8), scaled_by_height=False
    )
    melted: tuple[Component, ...] = ()
    if zone is not None:
        melted = whole, *_melted(zone, low, high, one_sided=one_sided)
    distances = max(ASSUMED.knot_spacing, ASSUMED.knot_rows * row)
    knots = np.linspace(low, high, 1 + max(1, round((high - low) / distances)))
    return Prior(
        components=(*melted, ring, courses, side, local, brick, grain),
        radius=radius,
        knots=knots,
        zone=zone,
    )


def with_tuyere_waves(prior: Prior, tuyeres: int) -> Prior:
    """The same with wear that goes round as the tuyeres do.

    Only where a wall is seen densely is such wear distinct from other local wear.

    Parameters
    ----------
    tuyeres : int
        How many there are; below two nothing is added.
    """
    if tuyeres < 2:
        return prior
    waves = tuple(
        Component(
            f"{times * tuyeres} waves round the ring",
            sd=LogNormal(1.5, 0.8),
            kernel_azimuth="wave",
            waves=times * tuyeres,
            kernel_height="matern52",
            length_scale_height=LogNormal(120.0, 0.5),
        )
        for times in (1, 2)
    )
    return replace(prior, components=(*prior.components, *waves))


def _melted(
    zone: MeltingZone, low: float, high: float, *, one_sided: bool
) -> tuple[Component, ...]:
    hump, changes = zone.hump(low, high), zone.changes(low, high)
    side = Component(
        MELTED_ONE_SIDE,
        LogNormal(ASSUMED.side_share * zone.depth, ASSUMED.side_spread),
        kernel_azimuth="wave",
        waves=1,
        patterns=(hump,),
        scaled_by_height=False,
    )
    return (
        Component(
            "melting zone",
            LogNormal(zone.depth, 0.8),
            patterns=(hump,),
            scaled_by_height=False,
        ),
        Component(
            "its place and width",
            LogNormal(1.0, 0.5),
            patterns=changes,
            scaled_by_height=False,
        ),
        *((side,) if one_sided else ()),
    )
