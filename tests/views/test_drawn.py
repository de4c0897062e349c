"""Drawings of a survey, by this process or by another."""

import pytest

from geom.parallel import second_process
from geom.views import drawn


@pytest.fixture(scope="module")
def small(build):
    return build(spacing=40.0)


def drawings(furnace):
    """All of them, and how many processes there may be decides by whom."""
    with second_process() as second:
        second.begin(drawn.get_ready, None)
        made = furnace.surface, furnace.findings
        wall = drawn.begin_wall(second, furnace.readings, *made)
        begun = wall.with_plan(furnace.works.plan).with_repair(furnace.works)
        every = begun.wall, begun.plan, begun.sheet
        return second.pool, *(wait() for wait in every)


def test_another_process_draws_the_same_bytes(small, monkeypatch):
    monkeypatch.setattr("geom.parallel.processors", lambda: 2)
    other, *there = drawings(small)
    monkeypatch.setattr("geom.parallel.processors", lambda: 1)
    none, *here = drawings(small)
    assert other is not None
    assert none is None
    assert there == here
    wall, plan, sheet = here
    assert len({wall.map, wall.level, wall.upright, plan.work}) == 4
    assert len({wall.glb, wall.ply, wall.vtp, plan.masonry, sheet}) == 5
    alone = drawn.Drawings.here(
        small.readings, small.surface, small.findings, small.works
    )
    assert [alone.wall(), alone.plan(), alone.sheet()] == here
