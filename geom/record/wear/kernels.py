"""The compiled inner loops of wear cell by cell.

Each cell of the wall keeps its sums in one record (`CELL`); a spell is added to them,
and two of them are added, about their own means, so that nothing cancels however many
spells there are.  Arithmetic is done in the order written here (no fast maths, no
threads): the same spells in the same order give the same bits everywhere.

References
----------
West, D. H. D. (1979). Updating mean and variance estimates: an improved method.
    Communications of the ACM 22(9), 532-535: adding one weighted value.
Chan, T. F., Golub, G. H. and LeVeque, R. J. (1983). Algorithms for computing the sample
    variance. The American Statistician 37(3), 242-247: adding two sets of sums.
"""

# mypy: disable-error-code="no-untyped-def,misc,untyped-decorator"
# ruff: noqa: PLR0917

from __future__ import annotations

import numpy as np

from geom.parallel import compiled

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


@compiled(error_model="numpy")
def add_spells(cells, cutback, sd, start, end, exposure, heat, lead):
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
    per = 1.0 / exposure
    for i in range(cells.size):
        cell = cells[i]
        last_counted = -1
        for k in range(start.size):
            here, there = start[k], end[k]
            wear = np.float64(cutback[there, i]) - np.float64(cutback[here, i])
            first, last = np.float64(sd[here, i]), np.float64(sd[there, i])
            first *= first
            error = first + last * last
            valid = np.isfinite(wear + error) and exposure[k] > 0.0
            before, last_counted = last_counted, (k if valid else -1)
            if not valid or k < lead:
                continue
            now = heat[k]
            total = cell.exposure + exposure[k]
            share = exposure[k] / total
            apart, later = wear * per[k] - cell.wear, now - cell.heat
            kept = exposure[k] * (1.0 - share)
            cell.count += 1.0
            cell.exposure = total
            cell.wear += share * apart
            cell.heat += share * later
            cell.wear_2 += kept * apart * apart
            cell.heat_2 += kept * later * later
            cell.product += kept * apart * later
            cell.stated += error * per[k]
            cell.error += error
            cell.error_heat += error * now
            cell.error_heat_2 += error * now * now
            if before == k - 1 and k > 0 and end[k - 1] == here:
                cell.shared += first
                cell.shared_heat += first * (now + heat[k - 1])
                cell.shared_heat_2 += first * now * heat[k - 1]


@compiled(error_model="numpy")
def add_cells(cells, other):
    """Add the sums of other spells; both (c,) of `CELL`."""
    for i in range(cells.size):
        cell, more = cells[i], other[i]
        if more.count == 0.0:
            continue
        total = cell.exposure + more.exposure
        share = more.exposure / total
        apart, later = more.wear - cell.wear, more.heat - cell.heat
        kept = cell.exposure * share
        cell.wear += share * apart
        cell.heat += share * later
        cell.wear_2 += more.wear_2 + kept * apart * apart
        cell.heat_2 += more.heat_2 + kept * later * later
        cell.product += more.product + kept * apart * later
        cell.count += more.count
        cell.exposure = total
        cell.stated += more.stated
        cell.error += more.error
        cell.error_heat += more.error_heat
        cell.error_heat_2 += more.error_heat_2
        cell.shared += more.shared
        cell.shared_heat += more.shared_heat
        cell.shared_heat_2 += more.shared_heat_2


def compile_all() -> None:
    """Compile, so that no study waits for it; what is compiled is kept on disk."""
    cells, survey = np.zeros(1, CELL), np.zeros((2, 1), np.float32)
    exposure, heat = np.ones(1), np.zeros(1)
    add_spells(
        cells, survey, survey, np.zeros(1, int), np.ones(1, int), exposure, heat, 0
    )
    add_cells(cells, cells.copy())
