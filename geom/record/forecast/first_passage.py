"""First-passage times: heats until walls pass limits, in closed form.

A limit is a cut-back, panel by panel.  A place that has a room of so many mm to its
limit, is worn r a heat in the mean and more or less than that by a standard deviation s
from heat to heat, has gone

    n r + sqrt(n) s z,    z standard normal,

after n heats.  It is past its limit after

    sqrt(n) = 2 room / (s z + sqrt((s z) ** 2 + 4 r room)),

the life of Birnbaum and Saunders; never, where there is no such n.  That a wall may
pass its limit, be slagged back over it and pass again later is left out: it matters
only where scatter is several times the mean wear.

A piece of wall passes when the first of its panels does.

References
----------
Birnbaum, Z. W. and Saunders, S. C. (1969). A new family of life distributions. J. Appl.
Prob. 6, 319-327.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Literal

import numpy as np

from geom.compare.panels import HOURS
from geom.design import Design
from geom.record.assumptions import ASSUMED
from geom.record.regions import Region, Regions
from geom.units import Bool, Float

Limit = Literal["brick threshold", "least lining"]


def limits_of(regions: Regions, design: Design) -> Iterator[tuple[Limit, Float]]:
    """Limits, and the cut-back at which each panel passes them.

    Parameters
    ----------
    design : Design
        Its shell gives the second limit; `least_lining_of` is what is to be left.

    Yields
    ------
    limit : {'brick threshold', 'least lining'}
    depth : array (p,), mm
        Where the radius drawn changes within a panel, the widest counts: there the
        lining is thinnest.
    """
    levels = regions.named("level")
    panels = len(levels) * HOURS
    yield "brick threshold", np.full(panels, design.repair.brick_threshold)
    least = least_lining_of(design)
    if design.shell_radius is not None and least is not None:
        widest = np.repeat([_widest(level, design) for level in levels], HOURS)
        yield "least lining", design.shell_radius - widest - least


def least_lining_of(design: Design) -> float | None:
    """Lining to be left before the steel, mm; None where no shell is drawn.

    What the shop states, else half of the lining where it is drawn thinnest.
    """
    if design.shell_radius is None or design.least_lining is not None:
        return design.least_lining if design.shell_radius is not None else None
    return ASSUMED.lining_left * (
        design.shell_radius - float(design.profile.radius.max())
    )


def _widest(region: Region, design: Design) -> float:
    """Greatest radius drawn in a piece: there the lining is thinnest."""
    corners = design.profile.corners
    low, high = region.height_from, region.height_to
    between = corners[(corners > low) & (corners < high)]
    above = design.profile.radius_at(np.array([low, *between]), side="above")
    below = design.profile.radius_at(np.array([*between, high]), side="below")
    return float(np.nanmax([*above, *below]))


#: Heats that a forecast looks ahead; what does not pass within them is inf.
HORIZON = 999.0


def first_passage_time(room: Float, rate: Float, scatter: Float) -> Float:
    """Heats until limits are passed; arrays broadcast.

    Parameters
    ----------
    room : array, mm
        Wear until the limit is passed; 0 or less: it is passed.
    rate : array, mm
        Mean wear of a heat.
    scatter : array, mm
        Draws about 0 of what a heat takes more or less than the mean.

    Returns
    -------
    array
        inf where the limit is not passed within the horizon.

    Examples
    --------
    >>> first_passage_time(np.array([20.0, 20.0, -1.0]), np.array([8.0, 0.0, 8.0]), 0.0)
    array([2.5, inf, 0. ])
    """
    left = np.maximum(room, 0.0)
    square = scatter**2 + 4.0 * rate * left
    with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
        # not a number where it never passes
        reach = np.sqrt(square, out=np.empty_like(square))
        reach += scatter
        heats = np.divide(2.0 * left, reach, out=np.empty_like(square))
        heats *= heats
    np.putmask(heats, ~((reach > 0.0) & (heats <= HORIZON)), np.inf)
    # reach is 0 at room 0 where the scatter is against it: passed all the same
    np.putmask(heats, np.broadcast_to(left == 0.0, heats.shape), 0.0)
    return heats


def longest_heat(room: Float, rate: Float, scatter: Float) -> Float:
    """Length of one heat, in mean heats, until limits are passed; arrays broadcast.

    As for `first_passage_time`, but what a heat takes more or less than the mean it
    takes throughout: a hard heat is hard to its end.

    Examples
    --------
    >>> longest_heat(np.array([20.0, 20.0, 20.0]), np.array([8.0, 8.0, 0.0]), 2.0)
    array([ 2.,  2., 10.])
    """
    left, pace = np.maximum(room, 0.0), rate + scatter
    shape = np.broadcast_shapes(left.shape, pace.shape)
    with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
        length: Float = np.divide(left, pace, out=np.empty(shape))
    np.putmask(length, ~((pace > 0.0) & (length <= HORIZON)), np.inf)
    np.putmask(length, np.broadcast_to(left == 0.0, shape), 0.0)
    return length


def passage_with_spall(
    passage: Callable[[Float, Float, Float], Float],
    even: Float,
    room: Float,
    rate: Float,
    scatter: Float,
    *,
    after: Float,
    depth: Float,
) -> Float:
    """Heats until the first of some places passes where all of them spall meanwhile.

    With even wear a limit is passed once the spall is out and the rest of the room is
    worn, whichever comes later; or without the spall, if that is sooner.

    Parameters
    ----------
    passage : callable
        `first_passage_time` or `longest_heat`.
    even : array (draws,)
        Heats until the first of them passes without the spall, as that tells it.
    room, rate, scatter : array (q, draws)
        Of the places, as there; scatter may be (1, 1).
    after : array (draws,)
        Heats until the spall; inf: never.
    depth : array (draws,), mm
        Of the spall.

    Examples
    --------
    >>> room, rate = np.array([[20.0, 20.0]]), np.array([[8.0, 8.0]])
    >>> even = first_passage_time(room, rate, np.zeros((1, 1)))[0]
    >>> after, depth = np.array([1.0, 9.0]), np.array([12.0, 12.0])
    >>> passage_with_spall(
    ...     first_passage_time, even, room, rate, np.zeros((1, 1)),
    ...     after=after, depth=depth,
    ... )
    array([1. , 2.5])
    """
    # a spall that comes later than that changes nothing
    some = np.broadcast_to(after < even, even.shape)
    after, depth = (np.broadcast_to(part, even.shape)[some] for part in (after, depth))
    if scatter.shape[-1] > 1:
        scatter = scatter[:, some]
    rest = passage(room[:, some] - depth, rate[:, some], scatter).min(axis=0)
    first = even.copy()
    first[some] = np.minimum(even[some], np.maximum(after, rest))
    return first


def earliest_passage(heats: Float, groups: Bool) -> Float:
    """The first panel of each group to pass.

    Parameters
    ----------
    heats : array (p, draws)
    groups : bool array (g, p)

    Returns
    -------
    array (g, draws)
        inf for a group of none.
    """
    rows = [heats[some].min(axis=0, initial=np.inf) for some in groups]
    return np.stack(rows)
