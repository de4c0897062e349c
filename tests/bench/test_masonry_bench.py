"""A plan laid as printed on the true wall, and what the recheck says of it."""

from __future__ import annotations

import pytest
from fleet_walls import FAMILIES
from masonry import plan_wall


@pytest.fixture(scope="module")
def ring():
    """A 27 in furnace of a 4 1/2 in lining, burnt out all round, read 24 x 16."""
    return plan_wall((2, 0, FAMILIES.index("ring"), "24x16", 1.7))


def test_bricks_of_a_narrow_furnace_follow_the_hollow(ring):
    assert ring["bricks"] >= 10
    assert ring["overlap"] <= 0.0
    assert ring["into_least"] <= 0.0
    for zone in ring["zones"]:
        assert zone["cut"] <= 0.15 * zone["lost"]
        assert abs(zone["account"]) < 1e-6 * zone["lost"]


def test_a_ring_burnt_out_raises_the_stop(ring):
    assert ring["burnt"] > 0.95
    assert {"burnt", "opened"} & set(ring["stop"])
    assert ring["behind"] >= ring["kept"]


def test_laid_as_printed_no_zone_or_level_that_is_back_is_rejected(ring):
    """Common practice, no source: what is laid to the sheet is back on the drawing."""
    laid = ring["recheck"]
    assert laid["left_out"] == 0
    zones = list(zip(laid["zones"], laid["zones_back"], strict=True))
    assert zones
    assert not [z for z in zones if z[0] == "reject" and z[1]]
    assert any(decision == "accept" for decision, _ in zones)
    levels = zip(laid["levels"], laid["levels_off"], strict=True)
    back = [d for d, off in levels if abs(off) <= laid["tolerance"]]
    assert len(back) >= 5
    assert "reject" not in back
    assert back.count("accept") >= 0.8 * len(back)
