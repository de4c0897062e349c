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

from geom.surface.gp.conditional import ConditionalGP
from geom.surface.gp.kernels import chord, height_distance
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
class Outlier:
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


def outlier_candidates(gp: ConditionalGP, eligible: Bool) -> Bool:
    """The readings that are oddly far from what the others foretell.

    Parameters
    ----------
    gp : ConditionalGP
        Of all readings.
    eligible : bool array (n,)
        Which readings can be slips at all; stand-ins for sound wall cannot.

    Returns
    -------
    bool array (n,)
    """
    inverse = gp.inverse_cholesky.T @ gp.inverse_cholesky
    value = gp.observed.value
    kept = np.arange(value.size)
    while value.size - kept.size < max(1, int(MOST * eligible.sum())):
        off, sd = leave_one_out(inverse, value[kept])
        far = np.where(
            eligible[kept] & (np.abs(off) > ODD_LEAST), np.abs(off) / sd, 0.0
        )
        worst = int(np.argmax(far))
        if far[worst] <= ODD:
            break
        inverse = drop_from_inverse(inverse, worst)
        kept = np.delete(kept, worst)
    candidates = np.ones(value.size, dtype=bool)
    candidates[kept] = False
    return candidates


def confirmed_outliers(
    whole: ConditionalGP, rest: ConditionalGP, candidates: Bool
) -> list[Outlier]:
    """The suspects that the rest of the wall contradicts.

    A suspect near which another is off alike is not convicted: they bear each other
    out.

    Parameters
    ----------
    whole : ConditionalGP
        Of all readings, for where and how well each was read.
    rest : ConditionalGP
        Of all but the suspects, with its own sizes and lengths.
    candidates : bool array (n,)
    """
    rows = np.flatnonzero(candidates)
    mean, variance = rest.predict(
        whole.observed.subset(candidates), whole.noise.subset(candidates)
    )
    off = whole.observed.value[rows] - mean
    sd = np.sqrt(variance)
    far = (np.abs(off) > FAR * sd) & (np.abs(off) > LEAST)
    lone = ~_corroborated(whole, rows, off)
    return [
        Outlier(int(row), float(mean[k]), float(sd[k]))
        for k, row in enumerate(rows)
        if far[k] and lone[k]
    ]


def _corroborated(gp: ConditionalGP, rows: Int, off: Float) -> Bool:
    """Whether another suspect near by is off to the same side, by at least half."""
    places = gp.observed.places
    azimuth, height = places.azimuth[rows], places.height[rows]
    radius = gp.covariance.prior.radius
    apart = np.hypot(chord(azimuth, azimuth, radius), height_distance(height, height))
    alike = off[:, None] / off[None, :] >= 0.5
    near = (apart < NEAR) & alike
    np.fill_diagonal(near, val=False)
    return np.asarray(near.any(axis=1))


def leave_one_out(inverse: Float, value: Float) -> tuple[Float, Float]:
    """Each reading less what the others foretell, and the sd of that; two (n,)."""
    own = np.diag(inverse)
    return (inverse @ value) / own, 1.0 / np.sqrt(own)


def drop_from_inverse(inverse: Float, row: int) -> Float:
    """Inverse of a matrix without one row and column, from the inverse of the whole."""
    column = np.delete(inverse[:, row], row)
    rest = np.delete(np.delete(inverse, row, axis=0), row, axis=1)
    return np.asarray(rest - np.outer(column, column) / inverse[row, row])
