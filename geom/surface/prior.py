"""What is known of a worn wall before anybody measures it.

Cut-back is a sum of independent parts.  Each part has a size (standard deviation), and
where it varies round the ring or with height, a length over which it does.  Sizes and
lengths are learned from the readings; what is written here is where they start from and
how far they may be drawn: a normal in the logarithm.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

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
        Standard deviation.
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
    """

    name: str
    size: Guess
    around: str = "same"
    along: str = "same"
    arc: Guess | None = None
    rise: Guess | None = None
    waves: int = 0

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
    """

    parts: tuple[Part, ...]
    radius: float

    @property
    def median(self) -> Float:
        """Logarithms of all sizes and lengths at their medians; shape (p,)."""
        return np.log([g.median for part in self.parts for g in part.guesses])

    @property
    def spread(self) -> Float:
        """Their spreads; shape (p,)."""
        return np.array([g.spread for part in self.parts for g in part.guesses])


def default_prior(radius: float) -> Prior:
    """The parts of a cupola wall for which readings speak, see docs/method.md.

    Parameters
    ----------
    radius : float, mm
        Mean design radius.
    """
    ring = Part(
        "burn-back all round",
        size=Guess(15.0, 0.8),
        along="matern52",
        rise=Guess(250.0, 0.6),
    )
    side = Part(
        "one-sided burn",
        size=Guess(6.0, 0.8),
        around="wave",
        waves=1,
        along="matern52",
        rise=Guess(250.0, 0.6),
    )
    local = Part(
        "local wear",
        size=Guess(8.0, 0.8),
        around="matern32",
        along="matern32",
        arc=Guess(0.6 * radius, 0.7),
        rise=Guess(200.0, 0.7),
    )
    return Prior(parts=(ring, side, local), radius=radius)
