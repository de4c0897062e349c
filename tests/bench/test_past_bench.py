"""The bench of past surveys: its walls and its table, by hand."""

from __future__ import annotations

import numpy as np
import pytest
from linings import make_campaign
from past import CASES, own_wear, tabulate
from wear import Lump, Patch


def test_own_wear_is_the_same_wall_without_what_comes_anew() -> None:
    lining = make_campaign(9000).present
    kept = own_wear(lining)
    gone = [p for p in lining.regions if isinstance(p, (Patch, Lump))]
    assert gone
    assert len(kept.regions) == len(lining.regions) - len(gone)
    azimuth, height = np.array([10.0, 200.0]), np.array([500.0, 900.0])
    lost = sum(region(azimuth, height) for region in gone)
    np.testing.assert_allclose(
        kept.cutback(azimuth, height) + lost, lining.cutback(azimuth, height)
    )


def test_table_holds_means_and_the_paired_difference() -> None:
    def record(name: str, seed: int, rmse: float, volume: float) -> dict[str, object]:
        return {
            "case": name,
            "seed": seed,
            "rmse": rmse,
            "covered": 0.9,
            "volume_percent": volume,
            "volume_covered": True,
            "volume_half_width": 5.0,
        }

    records = [record(c.name, 1, 4.0, -2.0) for c in CASES]
    worse = [c.count == 0 and c.grid == "8x6" for c in CASES]
    records += [
        record(c.name, 2, 8.0 if w else 5.0, 6.0)
        for c, w in zip(CASES, worse, strict=True)
    ]
    for row, plain in zip(tabulate(records), worse, strict=True):
        assert row["rmse"] == (6.0 if plain else 4.5)
        assert row["volume"] == 4.0
        # differences 0 and -3: mean -1.5, sd of the mean 3 / sqrt(2) / sqrt(2)
        assert row["against_no_past"] == (0.0 if plain else -1.5)
        assert row["against_no_past_se"] == pytest.approx(0.0 if plain else 1.5)
