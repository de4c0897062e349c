"""What is called shown, by simulation of surveys whose errors hang together."""

from __future__ import annotations

import numpy as np
import pytest

from geom.stats.detection import (
    FALSE_DISCOVERY_RATE,
    significant,
    significant_together,
)
from geom.units import Float
from tests.record.two_walls import Errors, burnt, coarse_grid

SURVEYS = 400
#: Of both surveys together: reaches over two to three panels.
ERRORS = Errors(sd=3.0, reach=250.0, common=0.5)


def changed() -> Float:
    """True change: burnt where it is worth a name, nothing elsewhere; (m, k)."""
    grid = coarse_grid()
    loss = burnt(grid.height[:, None], grid.azimuth)
    return np.where(loss > 6.0, loss, 0.0)


def surveyed(truth: Float, *, axis: float = 0.0) -> tuple[Float, float]:
    """Change as so many pairs of surveys see it, (SURVEYS, m, k), and its sd.

    ``axis`` is the sd of the axis found, in either direction, mm: it sets one side of
    the wall against the other.
    """
    grid, chance = coarse_grid(), np.random.default_rng(5)
    seen = truth + ERRORS.draw(grid, 450.0, SURVEYS, chance)
    around = np.deg2rad(grid.azimuth)
    ways = np.stack([np.cos(around), np.sin(around)])
    seen += (axis * chance.standard_normal((SURVEYS, 2)) @ ways)[:, None, :]
    return seen, float(np.sqrt(ERRORS.sd**2 + ERRORS.common**2 + axis**2))


def false_share(found: Float, truth: Float) -> Float:
    """Share of what is called that did not change, or changed to the other side."""
    called = found != 0
    wrong = called & (found != np.sign(truth))
    count = called.sum(axis=(1, 2))
    return wrong.sum(axis=(1, 2)) / np.maximum(count, 1)


def all_called(seen: Float, sd: float) -> tuple[Float, Float]:
    """What is shown and what is significant in every pair of surveys."""
    spread = np.full(seen.shape[1:], sd)
    together = np.stack([significant_together(one, spread) for one in seen])
    return together, np.stack([significant(one, spread) for one in seen])


@pytest.mark.parametrize("axis", [0.0, 3.0])
def test_no_more_of_what_is_shown_is_false_than_is_said(axis: float) -> None:
    truth = changed()
    seen, sd = surveyed(truth, axis=axis)
    together, alone = all_called(seen, sd)
    share = false_share(together, truth)
    doubt = share.std() / np.sqrt(SURVEYS)
    assert share.mean() <= FALSE_DISCOVERY_RATE + 3.0 * doubt
    assert doubt < 0.2 * FALSE_DISCOVERY_RATE  # else the line above could not fail
    # each cell by itself: a quarter and more of what is called is false
    assert false_share(alone, truth).mean() > 5.0 * FALSE_DISCOVERY_RATE
    found = (together == 1) & (truth > 0.0)
    assert found.sum() > 0.2 * SURVEYS * (truth > 0.0).sum()  # nor is nothing called


def test_where_nothing_changed_mostly_nothing_is_shown() -> None:
    truth = np.zeros(coarse_grid().shape)
    together, alone = all_called(*surveyed(truth))
    called = float((together != 0).any(axis=(1, 2)).mean())
    assert called <= FALSE_DISCOVERY_RATE + 3.0 * np.sqrt(
        FALSE_DISCOVERY_RATE * (1.0 - FALSE_DISCOVERY_RATE) / SURVEYS
    )
    assert float((alone != 0).any(axis=(1, 2)).mean()) > 0.9


def test_one_cell_in_twenty_is_significant_where_nothing_changed() -> None:
    seen = np.random.default_rng(1).normal(0.0, 2.0, (200, 500))
    share = float((significant(seen, np.full(seen.shape, 2.0)) != 0).mean())
    assert share == pytest.approx(0.05, abs=3.0 * np.sqrt(0.05 * 0.95 / seen.size))


def test_what_is_shown_is_significant_too() -> None:
    truth = changed()
    together, alone = all_called(*surveyed(truth))
    assert (together != 0).any()
    assert (alone[together != 0] == together[together != 0]).all()


def test_losses_and_gains_are_told_apart_and_what_is_unknown_is_neither() -> None:
    change = np.array([9.0, -9.0, 0.1, np.nan])
    sd = np.array([1.0, 1.0, 1.0, np.nan])
    assert significant_together(change, sd).tolist() == [1, -1, 0, 0]
    assert significant(change, sd).tolist() == [1, -1, 0, 0]
    assert significant_together(np.full(3, np.nan), np.full(3, np.nan)).tolist() == [
        0,
        0,
        0,
    ]


def test_against_the_procedure_written_out() -> None:
    # Benjamini and Hochberg 1995, (1): the largest i with p(i) <= i q / n, and q halved
    # for each side
    rng = np.random.default_rng(2)
    change = np.append(rng.normal(0.0, 1.0, 300), rng.normal(3.5, 1.0, 40))
    from scipy.stats import norm

    chance = np.sort(norm.sf(change))
    passed = np.flatnonzero(
        chance <= np.arange(1, 341) * 0.5 * FALSE_DISCOVERY_RATE / 340
    )
    assert (significant_together(change, np.ones(340)) == 1).sum() == passed[-1] + 1
