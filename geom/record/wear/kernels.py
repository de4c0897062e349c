"""The compiled inner loops of wear cell by cell.

Each cell of the wall keeps its sums in one row of a table; a spell is added to them,
and two tables are added, about their own means, so that nothing cancels however many
spells there are.  Arithmetic is done in the order written here (no fast maths, no
threads): the same spells in the same order give the same bits everywhere.

References
----------
West, D. H. D. (1979). Updating mean and variance estimates: an improved method.
    Communications of the ACM 22(9), 532-535: adding one weighted value.
Chan, T. F., Golub, G. H. and LeVeque, R. J. (1983). Algorithms for computing the sample
    variance. The American Statistician 37(3), 242-247: adding two tables.
"""

# mypy: disable-error-code="no-untyped-def,misc,untyped-decorator"
# ruff: noqa: PLR0917

from __future__ import annotations

import numpy as np
from numba import njit

#: What a cell keeps: spells counted; their exposure; mean wear per exposure and mean
#: heat; squares of wear, of heats, and products, about those means; variance that the
#: surveys state, per exposure; their variance, times heat, times heat twice; and the
#: same of surveys that end one spell and start the next.
COUNT, EXPOSURE, WEAR, HEAT, WEAR_2, HEAT_2, PRODUCT, STATED = range(8)
ERROR, ERROR_HEAT, ERROR_HEAT_2, SHARED, SHARED_HEAT, SHARED_HEAT_2 = range(8, 14)
KEPT = 14


@njit(error_model="numpy", nogil=True, cache=True)
def add_spells(table, cutback, sd, start, end, exposure, heat, lead):
    """Count spells, in order, in the cells that both of their surveys tell.

    Parameters
    ----------
    table : array (c, KEPT)
        Added to.
    cutback, sd : float32 array (u, c), mm
        Of u surveys; NaN where not surveyed.
    start, end : int array (n,)
        The surveys of each spell.
    exposure : array (n,)
        How many heats, hours or tonnes; NaN or zero where not told: not counted.
    heat : array (n,)
        Number of the heat in the middle of each spell, from any fixed heat.
    lead : int
        Spells at the front that were counted before and are only looked back at.
    """
    per = 1.0 / exposure
    for i in range(table.shape[0]):
        cell = table[i]
        seen = -1
        for k in range(start.size):
            here, there = start[k], end[k]
            wear = np.float64(cutback[there, i]) - np.float64(cutback[here, i])
            first, last = np.float64(sd[here, i]), np.float64(sd[there, i])
            first *= first
            error = first + last * last
            told = np.isfinite(wear + error) and exposure[k] > 0.0
            before, seen = seen, (k if told else -1)
            if not told or k < lead:
                continue
            now = heat[k]
            total = cell[EXPOSURE] + exposure[k]
            share = exposure[k] / total
            apart, later = wear * per[k] - cell[WEAR], now - cell[HEAT]
            kept = exposure[k] * (1.0 - share)
            cell[COUNT] += 1.0
            cell[EXPOSURE] = total
            cell[WEAR] += share * apart
            cell[HEAT] += share * later
            cell[WEAR_2] += kept * apart * apart
            cell[HEAT_2] += kept * later * later
            cell[PRODUCT] += kept * apart * later
            cell[STATED] += error * per[k]
            cell[ERROR] += error
            cell[ERROR_HEAT] += error * now
            cell[ERROR_HEAT_2] += error * now * now
            if before == k - 1 and k > 0 and end[k - 1] == here:
                cell[SHARED] += first
                cell[SHARED_HEAT] += first * (now + heat[k - 1])
                cell[SHARED_HEAT_2] += first * now * heat[k - 1]


@njit(error_model="numpy", nogil=True, cache=True)
def add_table(table, other):
    """Add what other spells left to a table; both (c, KEPT)."""
    for i in range(table.shape[0]):
        cell, more = table[i], other[i]
        if more[COUNT] == 0.0:
            continue
        total = cell[EXPOSURE] + more[EXPOSURE]
        share = more[EXPOSURE] / total
        apart, later = more[WEAR] - cell[WEAR], more[HEAT] - cell[HEAT]
        kept = cell[EXPOSURE] * share
        cell[WEAR] += share * apart
        cell[HEAT] += share * later
        cell[WEAR_2] += more[WEAR_2] + kept * apart * apart
        cell[HEAT_2] += more[HEAT_2] + kept * later * later
        cell[PRODUCT] += more[PRODUCT] + kept * apart * later
        cell[COUNT] += more[COUNT]
        cell[EXPOSURE] = total
        for k in range(STATED, KEPT):
            cell[k] += more[k]


def compile_all() -> None:
    """Compile, so that no study waits for it; what is compiled is kept on disk."""
    table, survey = np.zeros((1, KEPT)), np.zeros((2, 1), np.float32)
    one, heat = np.ones(1), np.zeros(1)
    add_spells(table, survey, survey, np.zeros(1, int), np.ones(1, int), one, heat, 0)
    add_table(table, table.copy())
