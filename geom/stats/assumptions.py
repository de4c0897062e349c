"""What the statistics take for granted next to their published constants.

Where no source is named the number is our own choice.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class StatsAssumptions:
    """The numbers, each below its meaning, unit and source."""

    # --- comparisons ------------------------------------------------------------------
    #: Probability that any interval of a ranking misses.
    ranking_miss: float = 0.05
    #: Of what is called significant, this share may be false, on average.
    false_discovery_rate: float = 0.05

    # --- shrinkage --------------------------------------------------------------------
    #: What a mean square is by chance no less than in 84 of 100 cases: as one standard
    #: deviation of a normal variable.
    mean_square_chance: float = 0.84
    #: Whether variance goes with the level is asked of no fewer units than this.
    fewest_units: int = 8
    #: Levels under this part of the usual one are taken for as much, and variances,
    #: too.
    low_level: float = 0.1
    low_variance: float = 1e-6


ASSUMED = StatsAssumptions()
