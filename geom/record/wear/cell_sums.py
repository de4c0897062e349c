"""The sums of wear cell by cell.

Each cell of the wall keeps its sums in one record (`CELL`); a spell is added to them,
and two of them are added, about their own means, so that nothing cancels however many
spells there are.  Arithmetic is done in the order written here, cell by cell: the same
spells in the same order give the same bits.

References
----------
West, D. H. D. (1979). Updating mean and variance estimates: an improved method.
    Communications of the ACM 22(9), 532-535: adding one weighted value.
Chan, T. F., Golub, G. H. and LeVeque, R. J. (1983). Algorithms for computing the sample
    variance. The American Statistician 37(3), 242-247: adding two sets of sums.
"""

from __future__ import annotations

from typing import NamedTuple, TypeAlias

import numpy as np
from numpy.typing import NDArray

from geom.units import Bool, Float, Int

Cells: TypeAlias = NDArray[np.void]

#: Cells that are summed at once: what is worked on stays in a processor's own memory.
_AT_ONCE = 2048

#: What a cell keeps, one record each, float64.
CELL = np.dtype(
    [
        # spells counted, their exposure, mean wear per exposure, mean heat
        *((name, "f8") for name in ("count", "exposure", "wear", "heat")),
        # weighted squares and product about those means
        *((name, "f8") for name in ("wear_2", "heat_2", "product")),
        # variance that the surveys state, per exposure
        ("stated", "f8"),
        # their variance, times heat, times heat squared
        *((name, "f8") for name in ("error", "error_heat", "error_heat_2")),
        # the same of surveys that end one spell and start the next
        *((name, "f8") for name in ("shared", "shared_heat", "shared_heat_2")),
    ]
)


def add_spells(  # noqa: PLR0917
    cells: Cells,
    cutback: NDArray[np.float32],
    sd: NDArray[np.float32],
    start: Int,
    end: Int,
    exposure: Float,
    heat: Float,
    *,
    lead: int = 0,
) -> None:
    """Count spells, in order, in the cells that both of their surveys tell.

    Parameters
    ----------
    cells : array (c,) of `CELL`
        Added to.
    cutback, sd : float32 array (u, c), mm
        Of u surveys; NaN where not surveyed.
    start, end : int array (n,)
        The surveys of each spell.
    exposure : array (n,)
        How many heats, hours or tonnes; NaN or zero where not known: not counted.
    heat : array (n,)
        Number of the heat in the middle of each spell, from any fixed heat.
    lead : int
        Spells at the front that were counted before and are only looked back at.
    """
    seen = np.flatnonzero(np.isfinite(cutback).any(axis=0))
    for first in range(0, seen.size, _AT_ONCE):
        some = seen[first : first + _AT_ONCE]
        sums = {name: cells[name][some] for name in CELL.names or ()}
        wall = cutback[:, some].astype(np.float64)
        variance = np.square(sd[:, some].astype(np.float64))
        _add_spells(sums, wall, variance, _Spells(start, end, exposure, heat), lead)
        for name, column in sums.items():
            cells[name][some] = column


class _Spells(NamedTuple):
    """Surveys, exposure and heat of spells, as `add_spells` takes them."""

    start: Int
    end: Int
    exposure: Float
    heat: Float


def _add_spells(
    sums: dict[str, Float], wall: Float, variance: Float, spells: _Spells, lead: int
) -> None:
    """Count spells in a few cells; their cut-backs, mm, and variances, (u, c)."""
    finite = np.isfinite(wall + variance)
    known = np.nan_to_num(spells.exposure) > 0.0
    back: Bool | None = None
    for k, (here, there) in enumerate(zip(spells.start, spells.end, strict=True)):
        counted = finite[here] & finite[there] if known[k] else None
        before, back = back, counted
        if counted is None or k < lead:
            continue
        # a slice is several times as fast, and most walls are read in full
        at = slice(None) if counted.all() else np.flatnonzero(counted)
        first = variance[here, at]
        error = first + variance[there, at]
        wear, heat = wall[there, at] - wall[here, at], float(spells.heat[k])
        _add_spell(sums, at, wear, error, exposure=float(spells.exposure[k]), heat=heat)
        if before is not None and spells.end[k - 1] == here:
            shared, last = np.where(before[at], first, 0.0), float(spells.heat[k - 1])
            sums["shared"][at] += shared
            sums["shared_heat"][at] += shared * (heat + last)
            sums["shared_heat_2"][at] += shared * heat * last


def _add_spell(
    sums: dict[str, Float],
    at: Int | slice,
    wear: Float,
    error: Float,
    *,
    exposure: float,
    heat: float,
) -> None:
    """Count one spell in the cells ``at``; their wear and its variance, mm and mm2."""
    per, total = 1.0 / exposure, sums["exposure"][at] + exposure
    share = exposure / total
    kept = exposure * (1.0 - share)
    apart, later = wear * per - sums["wear"][at], heat - sums["heat"][at]
    error_heat = error * heat
    sums["exposure"][at] = total
    for name, more in (
        ("count", 1.0),
        ("wear", share * apart),
        ("heat", share * later),
        ("wear_2", kept * apart * apart),
        ("heat_2", kept * later * later),
        ("product", kept * apart * later),
        ("stated", error * per),
        ("error", error),
        ("error_heat", error_heat),
        ("error_heat_2", error_heat * heat),
    ):
        sums[name][at] += more


def add_cells(cells: Cells, other: Cells) -> None:
    """Add the sums of other spells; both (c,) of `CELL`."""
    (at,) = np.nonzero(other["count"])
    old, more = cells[at], other[at]
    total = old["exposure"] + more["exposure"]
    share = more["exposure"] / total
    apart, later = more["wear"] - old["wear"], more["heat"] - old["heat"]
    kept = old["exposure"] * share
    new = old.copy()
    for name in CELL.names or ():
        new[name] += more[name]
    new["exposure"] = total
    new["wear"] = old["wear"] + share * apart
    new["heat"] = old["heat"] + share * later
    for name, square in (
        ("wear_2", kept * apart * apart),
        ("heat_2", kept * later * later),
        ("product", kept * apart * later),
    ):
        new[name] = old[name] + (more[name] + square)
    cells[at] = new
