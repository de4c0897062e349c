"""Slips of the pen: readings that the rest of the wall contradicts.

A slip makes the whole wall look restless and so hides itself.  Therefore in two steps:

1. each reading is foretold from all others (in closed form, from the inverse
   covariance of the readings); the one furthest off is set aside, then the next without
   it, as long as it is off by more than `odd_sd` standard deviations: these are
   suspects;
2. sizes and lengths are learned anew without the suspects, and each suspect is one of
   three things: wall as the rest foretells it, a hole or a lump that no other reading
   shows, or a slip by a whole mark of the rod.

Slips are few a sheet, whatever the wall.  Lone holes are none on most walls and many on
some: a sheet with several suspects off by odd amounts is a wall with bricks out, and
what is off by an inch there is one more.  So the suspects are judged together, over
all ways to divide them among the three.  A suspect that is a slip with a probability
of at least `LoneErrors.sure` is left out; and so, whatever the mark, is one further off
than `odd_far` standard deviations and `slip_least` mm.  Where another suspect near by
is off alike, neither is.

What is left out is named, with what was expected there, and the place is to be measured
again: two readings that agree there are believed.

References
----------
Rasmussen and Williams (2006), eq. 5.10 to 5.12 (leave-one-out by the inverse).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from geom.surface.assumptions import ASSUMED
from geom.surface.gp.conditional import ConditionalGP
from geom.surface.gp.kernels import chord, height_distance
from geom.units import Bool, Float, Int


@dataclass(frozen=True)
class LoneErrors:
    """What slips and lone holes are like; our own choices, by the fleet's rod surveys.

    Attributes
    ----------
    marks : tuple of (mm, share)
        A slip is by one of these, long or short alike: an inch, two, a foot, a
        centimetre, five, ten.  Less than `least` is not looked for.
    depths : tuple of (mm, share)
        A hole under a single reading; a lump is as thick, `lump` times as often.
    any_slip, slips : float
        Chance that a sheet has slips; their mean number then (geometric from 1).
    any_hole, holes : float
        The same of holes that one reading alone shows.
    wider : float
        Walls are less regular than normal: sd foretold, times this.
    freedom : float
        How much they vary is known from a sheet as from so many values, a share of its
        readings.
    least : float, mm
    sure : float
        Probability from which a slip is left out.
    """

    marks: tuple[tuple[float, float], ...] = (
        (25.4, 0.5),
        (50.8, 0.1),
        (304.8, 0.05),
        (10.0, 0.15),
        (50.0, 0.1),
        (100.0, 0.1),
    )
    depths: tuple[tuple[float, float], ...] = (
        (7.5, 0.15),
        (15.0, 0.25),
        (22.5, 0.2),
        (30.0, 0.15),
        (37.5, 0.1),
        (45.0, 0.08),
        (60.0, 0.05),
        (75.0, 0.02),
    )
    lump: float = 0.25
    any_slip: float = 0.3
    slips: float = 2.0
    any_hole: float = 0.4
    holes: float = 8.0
    wider: float = 1.2
    freedom: float = 1.0 / 6.0
    least: float = 15.0
    sure: float = 0.5


LONE = LoneErrors()


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
    candidates = np.zeros(value.size, dtype=bool)
    while candidates.sum() < max(1, int(ASSUMED.most_set_aside * eligible.sum())):
        off, sd = leave_one_out(inverse, np.where(candidates, 0.0, value))
        asked = eligible & ~candidates & (np.abs(off) > ASSUMED.odd_least)
        far = np.where(asked, np.abs(off) / sd, 0.0)
        worst = int(np.argmax(far))
        if far[worst] <= ASSUMED.odd_sd:
            break
        candidates[worst] = True
        drop_from_inverse(inverse, worst)
    return candidates


def confirmed_outliers(
    whole: ConditionalGP, rest: ConditionalGP, candidates: Bool
) -> list[Outlier]:
    """The suspects that are slips rather than wall.

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
    far = (np.abs(off) > ASSUMED.odd_far * sd) & (np.abs(off) > ASSUMED.slip_least)
    lone = ~_corroborated(whole, rows, off)
    slip = chance_of_slip(off, sd, lone, readings=candidates.size) >= LONE.sure
    slip &= (np.abs(off) > LONE.least) & (np.abs(off) > ASSUMED.odd_sd * sd)
    return [
        Outlier(int(row), float(mean[k]), float(sd[k]))
        for k, row in enumerate(rows)
        if (far[k] or slip[k]) and lone[k]
    ]


def chance_of_slip(off: Float, sd: Float, lone: Bool, *, readings: int) -> Float:
    """How probably each suspect is a slip by a mark of the rod.

    Parameters
    ----------
    off, sd : array (s,), mm
        How far each is from what the rest foretells, and the sd of that.
    lone : bool array (s,)
        Those without another near by that is off alike; the rest are holes or wall.
    readings : int
        Of the sheet: a slip, or a hole, may be at any of them.

    Returns
    -------
    array (s,)
    """
    spread = LONE.wider * sd
    wall = _student(off, spread, LONE.freedom * readings)
    both = [(sign * mm, 0.5 * share) for mm, share in LONE.marks for sign in (1, -1)]
    slip = np.where(lone, _mixture(off, spread, both) + ASSUMED.slip_density, 0.0)
    hole = (
        _mixture(off, spread, LONE.depths)
        + LONE.lump * _mixture(-off, spread, LONE.depths)
    ) / (1.0 + LONE.lump) + ASSUMED.size_density
    # joint[a, b, c]: of the suspects so far a are slips and b holes; c is 1 where the
    # suspect in question is a slip.
    chance = np.zeros(off.size)
    for asked in range(off.size):
        joint = np.zeros((off.size + 1, off.size + 1, 2))
        joint[0, 0, 0] = 1.0
        for k in range(off.size):
            stays = joint * wall[k]
            stays[:, 1:] += joint[:, :-1] * hole[k]
            if k == asked:
                stays[1:, :, 1] += joint[:-1, :, 0] * slip[k]
            else:
                stays[1:] += joint[:-1] * slip[k]
            joint = stays / stays.max()
        count = np.arange(off.size + 1)
        weight = np.outer(
            _count_weight(count, LONE.any_slip, LONE.slips, readings),
            _count_weight(count, LONE.any_hole, LONE.holes, readings),
        )
        # summed over how many slips and holes, as likely as a sheet holds them
        total = np.einsum("ab,abc->c", weight, joint)
        chance[asked] = total[1] / total.sum()
    return chance


def _count_weight(count: Int, some: float, mean: float, readings: int) -> Float:
    """Probability of so many, at named ones of the readings; same shape."""
    from scipy.special import gammaln

    many = np.where(
        count == 0, 1.0 - some, some / mean * (1.0 - 1.0 / mean) ** (count - 1.0)
    )
    # one of "readings choose count" sets of places
    places = gammaln(count + 1.0) + gammaln(readings - count + 1.0)
    return np.asarray(many * np.exp(places - gammaln(readings + 1.0)))


def _normal(off: Float, sd: Float) -> Float:
    return np.asarray(np.exp(-0.5 * (off / sd) ** 2) / sd / np.sqrt(2.0 * np.pi))


def _student(off: Float, sd: Float, freedom: float) -> Float:
    """Density of Student's t: how much wall varies is known from few values."""
    from scipy.special import gammaln

    log = gammaln(0.5 * (freedom + 1.0)) - gammaln(0.5 * freedom)
    log -= 0.5 * np.log(freedom * np.pi)
    tail = -0.5 * (freedom + 1.0) * np.log1p((off / sd) ** 2 / freedom)
    return np.asarray(np.exp(log + tail) / sd)


def _mixture(off: Float, sd: Float, parts: Iterable[tuple[float, float]]) -> Float:
    """Density of what is off by one of some amounts, each with its share."""
    return np.asarray(sum(share * _normal(off - mm, sd) for mm, share in parts))


def _corroborated(gp: ConditionalGP, rows: Int, off: Float) -> Bool:
    """Whether another suspect near by is off to the same side, by at least half."""
    places = gp.observed.places
    azimuth, height = places.azimuth[rows], places.height[rows]
    radius = gp.covariance.prior.radius
    apart = np.hypot(chord(azimuth, azimuth, radius), height_distance(height, height))
    alike = off[:, None] / off[None, :] >= 0.5
    near = (apart < ASSUMED.suspects_near) & alike
    np.fill_diagonal(near, val=False)
    return np.asarray(near.any(axis=1))


def leave_one_out(inverse: Float, value: Float) -> tuple[Float, Float]:
    """Each reading less what the others foretell, and the sd of that; two (n,)."""
    own = np.diag(inverse)
    return (inverse @ value) / own, 1.0 / np.sqrt(own)


def drop_from_inverse(inverse: Float, row: int) -> None:
    """Make the inverse of a matrix that of the matrix without one row and column.

    In place; the row and column are left as those of the identity, so that others keep
    their numbers.
    """
    column = inverse[:, row].copy()
    inverse -= np.outer(column / column[row], column)
    inverse[row], inverse[:, row] = 0.0, 0.0
    inverse[row, row] = 1.0
