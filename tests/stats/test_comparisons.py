"""Differences, ratios, rankings and what is called shown: closed forms, simulation."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import norm, t

from geom.quantity import K95, Quantity
from geom.stats.assumptions import ASSUMED
from geom.stats.comparisons import (
    mover_difference,
    mover_ratio,
    normal_equivalent_sd,
    rank_quantities,
    significant,
    significant_together,
)
from geom.units import Float
from tests.record.two_walls import Errors, burnt, coarse_grid


def test_a_difference_of_normals_is_that_of_the_root_of_squares():
    made = mover_difference(Quantity.normal(10.0, 3.0), Quantity.normal(8.0, 4.0))
    told = Quantity.normal(-2.0, 5.0)
    assert made.to_dict() == pytest.approx(told.to_dict())


def test_a_lopsided_interval_goes_over_to_the_side_it_belongs_to():
    # What may be much more than told may make the difference much less.
    wide_above = Quantity(10.0, 2.0, 9.0, 18.0)
    made = mover_difference(wide_above, Quantity.normal(10.0, 0.0))
    assert (made.low95, made.high95) == pytest.approx((-8.0, 1.0))


def fieller(one: Quantity, other: Quantity) -> np.ndarray:
    """Roots of (other - r one)^2 = K95^2 (sd_other^2 + r^2 sd_one^2); Fieller 1954."""
    a = one.value**2 - (K95 * one.sd) ** 2
    b = -2.0 * one.value * other.value
    c = other.value**2 - (K95 * other.sd) ** 2
    return np.sort(np.roots([a, b, c]))


@pytest.mark.parametrize(
    ("one", "other"), [((10, 1), (8, 1)), ((5, 2), (20, 1)), ((3, 0.2), (-1, 1))]
)
def test_a_ratio_of_normals_has_the_interval_of_fieller(one, other):
    pair = Quantity.normal(*one), Quantity.normal(*other)
    made = mover_ratio(*pair)
    assert [made.low95, made.high95] == pytest.approx(fieller(*pair))
    assert made.value == pytest.approx(other[0] / one[0])
    # The symmetric interval of the first order is another one.
    plain = Quantity.normal(made.value, made.sd)
    assert made.high95 - plain.high95 + made.low95 - plain.low95 != pytest.approx(0.0)


def test_a_ratio_below_nothing_is_the_mirror_of_one_above():
    one, other = Quantity(5.0, 1.0, 4.0, 7.0), Quantity(3.0, 1.0, 2.0, 3.5)
    mirrored = Quantity(-3.0, 1.0, -3.5, -2.0)
    made, there = mover_ratio(one, other), mover_ratio(one, mirrored)
    assert (there.low95, there.high95) == pytest.approx((-made.high95, -made.low95))


def test_no_ratio_to_what_may_be_nothing():
    assert mover_ratio(Quantity.normal(1.0, 0.6), Quantity.normal(2.0, 0.1)) is None
    assert mover_ratio(Quantity.normal(-3.0, 0.1), Quantity.normal(2.0, 0.1)) is None
    assert mover_ratio(Quantity.normal(1.0, 0.4), Quantity.normal(2.0, 0.1)) is not None


def test_intervals_hold_the_truth_95_times_in_100():
    chance = np.random.default_rng(3)
    draws = 4000
    truth = np.array([4.0, 3.0])
    sd = np.array([0.8, 0.5])
    seen = truth + sd * chance.standard_normal((draws, 2))
    held = {"difference": 0, "ratio": 0, "too narrow": 0}
    for row in seen:
        one, other = (Quantity.normal(v, s) for v, s in zip(row, sd, strict=True))
        apart, times = mover_difference(one, other), mover_ratio(one, other)
        held["difference"] += apart.low95 <= -1.0 <= apart.high95
        held["ratio"] += times is not None and times.low95 <= 0.75 <= times.high95
        # Spoiled: the second's doubt alone.
        held["too narrow"] += abs(other.value / one.value - 0.75) < (
            K95 * sd[1] / one.value
        )
    share = {name: count / draws for name, count in held.items()}
    # Four standard errors of a share of 0.95 among 4000.
    assert share["difference"] == pytest.approx(0.95, abs=0.014)
    assert share["ratio"] == pytest.approx(0.95, abs=0.014)
    assert share["too narrow"] < 0.9


def test_a_widened_sd_calls_as_students_law_does():
    value = np.array([0.0, 1.0, 3.0, -6.0, 40.0])
    freedom = np.array([4.0, 2.0, 5.0, 9.0, 1e6])
    sd = normal_equivalent_sd(value, np.ones(5), freedom)
    there = np.abs(value) > 0
    mine = norm.sf(np.abs(value[there]) / sd[there])
    assert mine == pytest.approx(t.sf(np.abs(value[there]), freedom[there]), rel=1e-6)
    assert (sd[there][:-1] > 1.0).all()
    assert np.isfinite(sd).all()


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
    assert share.mean() <= ASSUMED.false_discovery_rate + 3.0 * doubt
    assert (
        doubt < 0.2 * ASSUMED.false_discovery_rate
    )  # else the line above could not fail
    # each cell by itself: a quarter and more of what is called is false
    assert false_share(alone, truth).mean() > 5.0 * ASSUMED.false_discovery_rate
    found = (together == 1) & (truth > 0.0)
    assert found.sum() > 0.2 * SURVEYS * (truth > 0.0).sum()  # nor is nothing called


def test_where_nothing_changed_mostly_nothing_is_shown() -> None:
    truth = np.zeros(coarse_grid().shape)
    together, alone = all_called(*surveyed(truth))
    called = float((together != 0).any(axis=(1, 2)).mean())
    assert called <= ASSUMED.false_discovery_rate + 3.0 * np.sqrt(
        ASSUMED.false_discovery_rate * (1.0 - ASSUMED.false_discovery_rate) / SURVEYS
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
        chance <= np.arange(1, 341) * 0.5 * ASSUMED.false_discovery_rate / 340
    )
    assert (significant_together(change, np.ones(340)) == 1).sum() == passed[-1] + 1


def test_what_is_far_apart_has_settled_places():
    amounts = [Quantity.normal(v, 0.1) for v in (3.0, 9.0, 6.0)]
    made = rank_quantities(amounts)
    assert [(r.item, r.first, r.last) for r in made] == [
        (1, 1, 1),
        (2, 2, 2),
        (0, 3, 3),
    ]
    assert all(rank.settled for rank in made)


def test_what_overlaps_shares_its_places():
    amounts = [Quantity.normal(v, 1.0) for v in (3.0, 3.5, 30.0, 2.5)]
    made = {rank.item: rank for rank in rank_quantities(amounts)}
    assert made[2].settled
    assert all((made[k].first, made[k].last) == (2, 4) for k in (0, 1, 3))


def test_intervals_of_few_are_widened_as_students():
    # 95 % for both together of two: 97.5 % each; of Student's law with 4 degrees of
    # freedom 2.776 alone and 3.495 so, of the normal law 1.960 and 2.241.
    def two(apart, reach):
        return [Quantity(v, 1.0, v - reach, v + reach) for v in (0.0, apart)]

    assert not rank_quantities(two(2.0 * 3.49, 2.776))[0].settled
    assert rank_quantities(two(2.0 * 3.51, 2.776))[0].settled
    assert not rank_quantities(two(2.0 * 2.23, 1.96))[0].settled
    assert rank_quantities(two(2.0 * 2.25, 1.96))[0].settled


def test_one_alone_is_first_and_none_are_none():
    (only,) = rank_quantities([Quantity.normal(1.0, 5.0)])
    assert (only.first, only.last) == (1, 1)
    assert rank_quantities([]) == ()


@pytest.mark.parametrize("shared", [0.0, 0.9])
def test_all_ranges_hold_together_95_times_in_100(shared):
    chance = np.random.default_rng(11)
    truth = np.array([0.0, 0.5, 2.0, 2.6, 6.0, 6.1, 9.0])
    place = 1 + np.array([(truth > one).sum() for one in truth])
    draws, count = 2000, truth.size
    alone = chance.standard_normal((draws, count))
    one = chance.standard_normal((draws, 1))
    seen = truth + 0.6 * (np.sqrt(shared) * one + np.sqrt(1.0 - shared) * alone)
    held = by_estimate = settled = 0
    for row in seen:
        made = rank_quantities([Quantity.normal(v, 0.6) for v in row])
        held += all(r.first <= place[r.item] <= r.last for r in made)
        # Spoiled: places by point estimate alone.
        by_estimate += all(k + 1 == place[r.item] for k, r in enumerate(made))
        settled += sum(r.settled for r in made)
    assert held / draws > 0.95
    assert by_estimate / draws < 0.8
    assert settled > 0
