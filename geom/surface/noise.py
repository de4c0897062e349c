"""How well each reading was read: independent sources of error, each by its name.

References
----------
JCGM 100:2008 (GUM), 4.3.7 (a resolution step is a rectangular distribution,
sd = step / sqrt(12)), 2.3.2 and 2.3.3 (type A and type B).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from geom.design import RodErrors
from geom.readings import RodReadings
from geom.units import Float


@dataclass(frozen=True)
class Source:
    """One source of reading error.

    Attributes
    ----------
    name : str
    kind : {'A', 'B'}
    variance : array (n,), mm2
        Of each reading; the errors of different readings are independent.
    """

    name: str
    kind: Literal["A", "B"]
    variance: Float

    @property
    def sd(self) -> float:
        """Root mean square over the readings it touches, mm."""
        touched = self.variance[self.variance > 0]
        return float(np.sqrt(touched.mean())) if touched.size else 0.0


@dataclass(frozen=True)
class Noise:
    """All sources together.

    Attributes
    ----------
    known : tuple of Source
        What the sheet and the design file say.
    repeated : bool array (n,)
        Readings whose repeatability is learned: those without a stated sd.
    repeatability : float, mm
    """

    known: tuple[Source, ...]
    repeated: Float
    repeatability: float

    def with_repeatability(self, sd: float) -> Noise:
        """The same with another repeatability, mm."""
        return replace(self, repeatability=float(sd))

    @property
    def sources(self) -> tuple[Source, ...]:
        """Every source that touches a reading."""
        learned = Source(
            "rod repeatability", "A", self.repeated * self.repeatability**2
        )
        return tuple(s for s in (*self.known, learned) if np.any(s.variance > 0))

    @property
    def variance(self) -> Float:
        """Total variance of each reading, mm2; shape (n,)."""
        total = np.zeros_like(self.repeated)
        for source in self.sources:
            total = total + source.variance
        return total

    @property
    def learned_variance(self) -> Float:
        """The part that scales with the repeatability, mm2; shape (n,)."""
        return self.repeated * self.repeatability**2


def reading_noise(readings: RodReadings, rod: RodErrors) -> Noise:
    """The noise of a sheet.

    A reading whose sd is stated on the sheet has that and no other error; the others
    have the rod's resolution and a repeatability.

    Parameters
    ----------
    readings : RodReadings
    rod : RodErrors
        From the design file, or its defaults.
    """
    stated = np.isfinite(readings.sd)
    step = readings.step if rod.step is None else np.full(len(readings), rod.step)
    resolution = np.where(stated, 0.0, step**2 / 12.0)
    known = (
        Source("sd stated on the sheet", "B", np.where(stated, readings.sd, 0.0) ** 2),
        Source("rod resolution", "B", resolution),
    )
    return Noise(known, (~stated).astype(np.float64), rod.repeatability)
