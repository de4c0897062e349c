"""Places in a ranking: only as far as they are settled."""

from __future__ import annotations

import numpy as np
import pytest

from geom.quantity import Quantity
from geom.stats.intervals import rank_quantities


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
