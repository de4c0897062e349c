"""Brickwork arc by arc: it is what the totals are made of."""

from __future__ import annotations

import numpy as np
import pytest

from geom.design import Shop
from geom.document import as_document
from geom.repair.masonry.bricks import brick_volume
from geom.repair.plan.result import ZonePlan
from tests.repair.surveyed import SLIGHT, STEEP, STRETCHER, box, planned, together
from tests.walls import plain_design

AROUND = box(0.0, 180.1, 400.0, 600.0, 50.0)
ACROSS = together(
    box(2.0, 25.0, 400.0, 620.0, 55.0), box(60.0, 12.0, 420.0, 520.0, 55.0)
)


def brick_zone(field: object, *bricks: object) -> ZonePlan:
    shop = Shop(bricks=tuple(bricks))  # type: ignore[arg-type]
    plan, _, _ = planned(plain_design(shop=shop), field)  # type: ignore[arg-type]
    return plan.of_action("brick")[0]


@pytest.mark.parametrize("bricks", [(STRETCHER,), (STEEP, SLIGHT)])
@pytest.mark.parametrize("field", [ACROSS, AROUND])
def test_arcs_add_up_to_what_is_ordered(field: object, bricks: tuple[object]) -> None:
    laid = brick_zone(field, *bricks).brickwork
    tally = laid.tally
    first = sum(tally.of_first)
    assert sum(one.whole for one in tally.arcs) == sum(
        one.whole for one in tally.bricks
    )
    assert first == tally.bricks[0].whole
    assert all(
        0 <= of <= one.whole for of, one in zip(tally.of_first, tally.arcs, strict=True)
    )
    assert sum(len(one.pieces) for one in tally.arcs) == sum(
        one.pieces for one in tally.bricks
    )


def test_bricks_pieces_and_joints_fill_their_arc() -> None:
    laid = brick_zone(ACROSS, STRETCHER).brickwork
    joint = 3.0
    for one in laid.tally.arcs:
        held = one.whole * (one.face + joint) + sum(p + joint for p in one.pieces)
        assert held + joint == pytest.approx(one.length, abs=joint)
    volume = sum(
        (one.whole + sum(one.pieces) / one.face) * brick_volume(laid.bond.shapes[0])
        for one in laid.tally.arcs
    )
    assert volume == pytest.approx(laid.tally.volume)


def test_an_arc_ends_where_the_wall_it_covers_ends() -> None:
    zone = brick_zone(box(2.0, 25.0, 400.0, 620.0, 55.0), STRETCHER)
    one = zone.brickwork.tally.arcs[0]
    assert (one.azimuth_from, one.azimuth_to) == (zone.azimuth_from, zone.azimuth_to)
    assert one.azimuth_from > one.azimuth_to
    span = (one.azimuth_to - one.azimuth_from) % 360.0
    assert one.length == pytest.approx(np.deg2rad(span) * 450.0)


def test_a_ring_goes_all_round() -> None:
    laid = brick_zone(AROUND, STRETCHER).brickwork
    assert laid.tally.rings == len(laid.courses) == len(laid.tally.arcs)
    assert laid.tally.arcs[0].length == pytest.approx(2.0 * np.pi * 450.0)


def test_every_arc_is_written_down() -> None:
    zone = brick_zone(ACROSS, STRETCHER)
    courses = as_document(zone)["brickwork"]["courses"]
    assert [len(course["arcs"]) for course in courses] == [
        sum(one.course == k for one in zone.brickwork.tally.arcs)
        for k in range(len(courses))
    ]
    arc = courses[0]["arcs"][0]
    assert set(arc) == {"azimuth_from", "azimuth_to", "length", "whole", "pieces"}
