"""What is known of a worn wall before anybody measures it.

Cut-back is a sum of independent parts.  Each part has a size (standard deviation), and
where it varies round the ring or with height, a length over which it does.  Sizes and
lengths are learned from the readings; what is written here is where they start from and
how far they may be drawn: a normal in the logarithm.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from geom.surface.pattern import Pattern
from geom.units import Float


@dataclass(frozen=True)
class Guess:
    """A positive number before it is learned: median and spread of its logarithm."""

    median: float
    spread: float


@dataclass(frozen=True)
class Part:
    """One part of the wall's cut-back.

    Attributes
    ----------
    name : str
    size : Guess, mm
        Standard deviation; with a pattern, the multiple of it.
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
    pattern : Pattern or None
        What it is a multiple of, place by place.
    """

    name: str
    size: Guess
    around: str = "same"
    along: str = "same"
    arc: Guess | None = None
    rise: Guess | None = None
    waves: int = 0
    lively: bool = True
    pattern: Pattern | None = None

    @property
    def guesses(self) -> tuple[Guess, ...]:
        """Size, then arc, then rise, as far as they are there."""
        return tuple(g for g in (self.size, self.arc, self.rise) if g is not None)


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
    """

    parts: tuple[Part, ...]
    radius: float
    knots: Float = field(default_factory=lambda: np.zeros(0))
    liveliness: float = 0.6

    @property
    def median(self) -> Float:
        """Logarithms of all sizes, lengths and liveliness at their medians; (p,)."""
        logs = np.log([g.median for part in self.parts for g in part.guesses])
        return np.append(logs, np.zeros(self.knots.size))

    @property
    def spread(self) -> Float:
        """Their spreads; shape (p,)."""
        spreads = [g.spread for part in self.parts for g in part.guesses]
        return np.append(spreads, np.full(self.knots.size, self.liveliness))

    def hats(self, height: Float) -> Float:
        """Share of each knot at heights, flat at the knots and summing to 1; (n, k)."""
        if self.knots.size == 0:
            return np.zeros((height.size, 0))
        eye = np.eye(self.knots.size)
        part = np.stack([np.interp(height, self.knots, row) for row in eye], axis=1)
        return part**2 * (3.0 - 2.0 * part)


def default_prior(radius: float, low: float, high: float, *, row: float = 0.0) -> Prior:
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
    """
    ring = Part(
        "burn-back all round",
        size=Guess(15.0, 0.8),
        along="matern32",
        rise=Guess(180.0, 0.5),
        lively=False,
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
        size=Guess(8.0, 0.8),
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
    apart = max(KNOT_SPACING, KNOT_ROWS * row)
    knots = np.linspace(low, high, 1 + max(1, round((high - low) / apart)))
    return Prior(parts=(ring, side, local, brick), radius=radius, knots=knots)


#: Least distance of the heights at which liveliness is learned, mm and rows read.
KNOT_SPACING = 250.0
KNOT_ROWS = 4.0
