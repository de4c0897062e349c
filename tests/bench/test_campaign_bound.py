"""How far a step stands out, against the closed form for scatter that is all alike."""

from dataclasses import replace

import numpy as np
import pytest
from campaign_bound import height, scatter

from geom.compare.panels import HOURS
from geom.record.changepoints.table import wear_table
from tests.record.worn_heats import heats, series_of

SIGMA = 0.8


def test_a_step_stands_out_by_the_root_of_its_panels() -> None:
    """h mm on m panels, after 2 of n: h sqrt(m) / (s sqrt(1 / 2 + 1 / (n - 2)))."""
    ring = wear_table(series_of(heats(10)))
    rng = np.random.default_rng(3)
    noise = [
        replace(ring, wear=SIGMA * rng.standard_normal(ring.wear.shape))
        for _ in range(300)
    ]
    known = scatter(noise)
    rows = ring.wear.shape[1]
    np.testing.assert_allclose(known[3], SIGMA**2 * np.eye(rows), atol=0.05)
    wear = ring.wear.copy()
    wear[-2:, 1:3, :4] += 3.0
    due = 3.0 * np.sqrt(8) / (SIGMA * np.sqrt(1.0 / 2.0 + 1.0 / 8.0))
    assert height(ring, replace(ring, wear=wear), known) == pytest.approx(due, rel=0.05)
    assert wear.shape[2] == HOURS
