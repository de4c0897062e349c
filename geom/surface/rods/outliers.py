"""Slips of the pen: readings that the rest of the wall contradicts.

A slip makes the whole wall look restless and so hides itself.  Therefore in two steps:

1. each reading is foretold from all others (in closed form, from the inverse
   covariance of the readings); the one furthest off is set aside, then the next without
   it, as long as it is off by more than `ODD` standard deviations: these are suspects;
2. sizes and lengths are learned anew without the suspects, and a suspect further off
   from that wall than `FAR` standard deviations and `LEAST` mm is left out, unless
   another suspect near by is off alike; the other suspects go back in.

What is left out is named, with what was expected there, and the place is to be measured
again: two readings that agree there are believed.

References
----------
Rasmussen and Williams (2006), eq. 5.10 to 5.12 (leave-one-out by the inverse).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geom.surface.gp.kernels import chord, rise
from geom.surface.gp.posterior import Process
from geom.units import Bool, Float, Int

#: What makes a suspect: one normal reading in 370 is this far off.
ODD = 3.0
#: Nothing nearer than this to what was expected is set aside, mm.
ODD_LEAST = 12.0
#: What convicts it.  Walls are less regular than normal: our own choice, no source.
FAR = 6.0
#: No reading nearer than this to what was expected is called a slip, mm: up to 2 in, a
#: spall or a lump of slag under a single reading is real wall.  Our own choice.
LEAST = 50.8
#: Suspects this near each other (mm) that are off alike bear each other out: a hole.
NEAR = 400.0
#: At most this share of a sheet is set aside: past it the sheet as a whole is doubtful.
MOST = 0.05


@dataclass(frozen=True)
class Slip:
    """A reading left out.

    Attributes
    ----------
    row : int
        Among all readings.
    expected, sd : float, mm
        Of the cut-back, or sum of two for a diameter, that the others foretell.
    """

    row: int
    expected: float
    sd: float


def suspects(process: Process, may_be: Bool) -> Bool:
    """The readings that are oddly far from what the others foretell.

    Parameters
    ----------
    process : Process
        Of all readings.
    may_be : bool array (n,)
        Which readings can be slips at all; stand-ins for sound wall cannot.

    Returns
    -------
    bool array (n,)
    """
    inverse = process.unfactor.T @ process.unfactor
    value = process.observed.value
    kept = np.arange(value.size)
    while value.size - kept.size < max(1, int(MOST * may_be.sum())):
        off, sd = left_one_out(inverse, value[kept])
        far = np.where(may_be[kept] & (np.abs(off) > ODD_LEAST), np.abs(off) / sd, 0.0)
        worst = int(np.argmax(far))
        if far[worst] <= ODD:
            break
        inverse = without(inverse, worst)
        kept = np.delete(kept, worst)
    odd = np.ones(value.size, dtype=bool)
    odd[kept] = False
    return odd


def convicted(whole: Process, rest: Process, odd: Bool) -> list[Slip]:
    """The suspects that the rest of the wall contradicts.

    A suspect near which another is off alike is not convicted: they bear each other
    out.

    Parameters
    ----------
    whole : Process
        Of all readings, for where and how well each was read.
    rest : Process
        Of all but the suspects, with its own sizes and lengths.
    odd : bool array (n,)
    """
    rows = np.flatnonzero(odd)
    mean, variance = rest.foretell(whole.observed.taken(odd), whole.noise.taken(odd))
    off = whole.observed.value[rows] - mean
    sd = np.sqrt(variance)
    far = (np.abs(off) > FAR * sd) & (np.abs(off) > LEAST)
    lone = ~_borne_out(whole, rows, off)
    return [
        Slip(int(row), float(mean[k]), float(sd[k]))
        for k, row in enumerate(rows)
        if far[k] and lone[k]
    ]


def _borne_out(process: Process, rows: Int, off: Float) -> Bool:
    """Whether another suspect near by is off to the same side, by at least half."""
    places = process.observed.places
    azimuth, height = places.azimuth[rows], places.height[rows]
    radius = process.covariance.prior.radius
    apart = np.hypot(chord(azimuth, azimuth, radius), rise(height, height))
    alike = off[:, None] / off[None, :] >= 0.5
    near = (apart < NEAR) & alike
    np.fill_diagonal(near, val=False)
    return np.asarray(near.any(axis=1))


def left_one_out(inverse: Float, value: Float) -> tuple[Float, Float]:
    """Each reading less what the others foretell, and the sd of that; two (n,)."""
    own = np.diag(inverse)
    return (inverse @ value) / own, 1.0 / np.sqrt(own)


def without(inverse: Float, row: int) -> Float:
    """Inverse of a matrix without one row and column, from the inverse of the whole."""
    column = np.delete(inverse[:, row], row)
    rest = np.delete(np.delete(inverse, row, axis=0), row, axis=1)
    return np.asarray(rest - np.outer(column, column) / inverse[row, row])
