"""What is known of a worn wall before anybody measures it.

Cut-back is a sum of independent parts.  Each part has a size (standard deviation), and
where it varies round the ring or with height, a length over which it does.  Sizes and
lengths are learned from the readings; what is written here is where they start from and
how far they may be drawn: a normal in the logarithm.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from geom.surface.melting_zone import MeltingZone
from geom.surface.pattern import Pattern
from geom.units import Float


@dataclass(frozen=True)
class Guess:
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
class Part:
    """One part of the wall's cut-back.

    Attributes
    ----------
    name : str
    size : Guess, mm
        Standard deviation; with patterns, the multiple of them.
    around : str
        Correlation round the ring; ``"same"``: equal at all azimuths; ``"wave"``: a
        cosine of any phase with ``waves`` crests round the ring.
    along : str
        Correlation with height, or ``"same"``.
    arc : Guess or None, mm
        Length round the ring.
    rise : Guess or None, mm
        Length along the height.
    waves : int
        Crests round the ring, for ``"wave"``.
    lively : bool
        Whether its size follows the liveliness of the wall over height.
    patterns : tuple of Pattern
        What it is a multiple of, place by place; of several, an independent multiple of
        each.
    """

    name: str
    size: Guess
    around: str = "same"
    along: str = "same"
    arc: Guess | None = None
    rise: Guess | None = None
    waves: int = 0
    lively: bool = True
    patterns: tuple[Pattern, ...] = ()

    @property
    def level(self) -> bool:
        """Whether it has patterns, all of them the same all round."""
        return bool(self.patterns) and all(p.level for p in self.patterns)

    @property
    def woven(self) -> bool:
        """Whether it has patterns that go round the wall."""
        return bool(self.patterns) and not self.level

    @property
    def level_all_round(self) -> bool:
        """Whether it is the same at all azimuths."""
        return self.around == "same" and not self.woven

    @property
    def guesses(self) -> tuple[Guess, ...]:
        """Size, then arc, then rise, as far as they are there and learned."""
        every = (self.size, self.arc, self.rise)
        return tuple(g for g in every if g is not None and g.learned)


@dataclass(frozen=True)
class Prior:
    """All parts together.

    Attributes
    ----------
    parts : tuple of Part
    radius : float, mm
        Of the ring on which arc lengths are meant.
    knots : array (k,), mm, rising
        Heights at which the liveliness of the wall is learned: the stack hardly wears,
        the melting zone does.  Its logarithm is level at a knot: a peak would draw a
        bulge between rows that nobody measured.
    liveliness : float
        Spread of its logarithm at a knot before it is learned.
    zone : MeltingZone or None
        The ring of wear that the wall is livelier in.
    """

    parts: tuple[Part, ...]
    radius: float
    knots: Float = field(default_factory=lambda: np.zeros(0))
    liveliness: float = 0.6
    zone: MeltingZone | None = None

    @property
    def median(self) -> Float:
        """Logarithms of all sizes, lengths and liveliness at their medians; (p,)."""
        logs = np.log([g.median for part in self.parts for g in part.guesses])
        zone = [] if self.zone is None else [LIVELIER]
        return np.concatenate([logs, np.zeros(self.knots.size), zone])

    @property
    def spread(self) -> Float:
        """Their spreads; shape (p,)."""
        spreads = [g.spread for part in self.parts for g in part.guesses]
        zone = [] if self.zone is None else [LIVELIER]
        knots = np.full(self.knots.size, self.liveliness)
        return np.concatenate([spreads, knots, zone])

    def hats(self, height: Float) -> Float:
        """Share of each knot, and of the melting zone, at heights; (n, k or k + 1).

        Those of the knots are flat at the knots and sum to 1.
        """
        columns = [np.zeros((height.size, 0))]
        if self.knots.size:
            eye = np.eye(self.knots.size)
            part = np.stack([np.interp(height, self.knots, row) for row in eye], axis=1)
            columns.append(part**2 * (3.0 - 2.0 * part))
        if self.zone is not None:
            columns.append(self.zone.share(height)[:, None])
        return np.concatenate(columns, axis=1)


def default_prior(
    radius: float,
    low: float,
    high: float,
    *,
    row: float = 0.0,
    zone: MeltingZone | None = None,
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
    """
    ring = Part(
        "burn-back all round",
        size=Guess(15.0 if zone is None else 5.0, 0.8),
        along="matern32",
        rise=Guess(180.0, 0.5),
        lively=zone is not None,
    )
    side = Part(
        "one-sided burn",
        size=Guess(6.0, 0.8),
        around="wave",
        waves=1,
        along="matern52",
        rise=Guess(180.0, 0.5),
        lively=False,
    )
    local = Part(
        "local wear",
        size=Guess(8.0 if zone is None else 4.0, 0.8),
        around="matern32",
        along="matern32",
        arc=Guess(0.4 * radius, 0.4),
        rise=Guess(150.0, 0.6),
    )
    brick = Part(
        "single bricks",
        size=Guess(1.5, 0.6),
        around="matern32",
        along="matern32",
        arc=Guess(60.0, 0.4),
        rise=Guess(60.0, 0.4),
    )
    grain = Part(
        "grain of the face",
        size=Guess(1.0, 0.5),
        around="matern32",
        along="matern32",
        arc=Guess(GRAIN, 0.0),
        rise=Guess(GRAIN, 0.0),
        lively=False,
    )
    whole = Part("whole wall off the drawing", Guess(3.0, 0.8), lively=False)
    melted = () if zone is None else (whole, *_melted(zone, low, high))
    apart = max(KNOT_SPACING, KNOT_ROWS * row)
    knots = np.linspace(low, high, 1 + max(1, round((high - low) / apart)))
    return Prior(
        parts=(*melted, ring, side, local, brick, grain),
        radius=radius,
        knots=knots,
        zone=zone,
    )


def with_tuyere_waves(prior: Prior, tuyeres: int) -> Prior:
    """The same with wear that goes round as the tuyeres do.

    Only where a wall is seen densely can such wear be told from other local wear.

    Parameters
    ----------
    prior : Prior
    tuyeres : int
        How many there are; below two nothing is added.
    """
    if tuyeres < 2:
        return prior
    waves = tuple(
        Part(
            f"{times * tuyeres} waves round the ring",
            size=Guess(1.5, 0.8),
            around="wave",
            waves=times * tuyeres,
            along="matern52",
            rise=Guess(120.0, 0.5),
        )
        for times in (1, 2)
    )
    return replace(prior, parts=(*prior.parts, *waves))


def _melted(zone: MeltingZone, low: float, high: float) -> tuple[Part, Part]:
    hump, changes = zone.hump(low, high), zone.changes(low, high)
    return (
        Part("melting zone", Guess(zone.depth, 0.8), patterns=(hump,), lively=False),
        Part("its place and width", Guess(1.0, 0.5), patterns=changes, lively=False),
    )


#: Least distance of the heights at which liveliness is learned, mm and rows read.
KNOT_SPACING = 250.0
KNOT_ROWS = 4.0
#: Logarithm of how much livelier the wall is in the melting zone, and its spread.
LIVELIER = 1.0
#: Reach of joints and roughness, mm: less than readings are ever apart, so it cannot be
#: learned from them.
GRAIN = 15.0
