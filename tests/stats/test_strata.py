"""A few draws that stand for many."""

from __future__ import annotations

import numpy as np
import pytest

from geom.stats.strata import of_each_stratum


def test_the_mean_of_what_strata_follow_is_known_as_in_the_textbook() -> None:
    # Of a uniform variable, one from each of L equal strata: variance 1 / (12 L**3),
    # of L simple draws 1 / (12 L) (Cochran 1977, 5.6, from memory).
    count, each = 12, 50
    value = (np.arange(count * each) + 0.5) / (count * each)
    means = [
        value[of_each_stratum(value, value, count, rng=np.random.default_rng(k))].mean()
        for k in range(2000)
    ]
    assert np.mean(means) == pytest.approx(0.5, abs=0.001)
    assert np.var(means) == pytest.approx(1.0 / (12.0 * count**3), rel=0.1)


def test_every_draw_is_as_likely_and_both_variables_part_them() -> None:
    rng = np.random.default_rng(3)
    first, second = rng.normal(size=(2, 240))
    seen = np.zeros(240)
    for k in range(3000):
        chosen = of_each_stratum(first, second, 24, rng=np.random.default_rng(k))
        seen[chosen] += 1
    # 3000 times one of ten: 300, sd 16.4; of 240 the furthest within 4.5 sd
    assert abs(seen - 300.0).max() < 75.0
    rank = np.argsort(np.argsort(first))[chosen] // 40
    assert np.bincount(rank).tolist() == [4] * 6
    for group in range(6):
        here = np.flatnonzero(np.argsort(np.argsort(first)) // 40 == group)
        ranks = {int(k): r for r, k in enumerate(here[np.argsort(second[here])])}
        assert sorted(ranks[int(k)] // 10 for k in chosen[rank == group]) == [
            0,
            1,
            2,
            3,
        ]
