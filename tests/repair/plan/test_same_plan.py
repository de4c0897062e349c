"""The same plan wherever azimuth 0 is and in any unit; more cut-back, no less."""

from __future__ import annotations

import itertools
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

import geom
from geom.design import Design, Shop
from geom.document import as_document
from geom.repair.masonry.bricks import brick_volume
from geom.repair.plan.result import RepairPlan
from tests.repair.known_wall import Field
from tests.repair.surveyed import SPLIT, STRETCHER, box, hollow, planned, together
from tests.walls import plain_design

SHOP = Shop(bricks=(STRETCHER, SPLIT))
FEW = settings(max_examples=5, deadline=None, derandomize=True, phases=[Phase.generate])
BURNT = together(hollow(60.0, 550.0, 70.0), hollow(220.0, 400.0, 25.0))


#: Azimuths, and what rests on draws.
TURNING = ("azimuth_from", "azimuth_to", "azimuth", "order", "cut")


def flat(value: object, without: tuple[str, ...] = ()) -> list[float]:
    """All numbers of a document in one list."""
    if isinstance(value, dict):
        kept = [value[key] for key in sorted(value) if key not in without]
        return flat(kept, without)
    if isinstance(value, list):
        return [x for one in value for x in flat(one, without)]
    return [float(value)] if isinstance(value, int | float) else []


@cache
def unturned() -> RepairPlan:
    return planned(plain_design(shop=SHOP), BURNT, columns=360)[0]


@FEW
@given(degrees=st.integers(1, 359))
def test_turning_azimuth_zero_turns_the_plan(degrees: int) -> None:
    field = BURNT
    turned, _, _ = planned(
        plain_design(shop=SHOP), lambda a, h: field(a - degrees, h), columns=360
    )
    still = unturned()
    for one, other in zip(still.zones, turned.zones, strict=True):
        assert np.roll(one.share, degrees, axis=1) == pytest.approx(other.share)
        assert (one.azimuth_from + degrees) % 360.0 == pytest.approx(other.azimuth_from)
        assert (one.azimuth_to + degrees) % 360.0 == pytest.approx(other.azimuth_to)
        assert one.brickwork is None or (one.brickwork.tally == other.brickwork.tally)
        if one.brickwork is not None:
            for brick, twin in zip(
                one.brickwork.bricks, other.brickwork.bricks, strict=True
            ):
                assert (brick.piece, brick.course) == (twin.piece, twin.course)
                assert brick.foot == pytest.approx(twin.foot)
                around = (brick.azimuth + degrees - twin.azimuth + 180.0) % 360.0
                assert around == pytest.approx(180.0)
    # the net that errors are summed on has 6 degrees: their sd moves a little with it,
    # that of the little that is cut by more
    assert still.account.cut == pytest.approx(turned.account.cut, rel=1e-6)
    one, other = (flat(plan.to_dict(), TURNING) for plan in (still, turned))
    assert one == pytest.approx(other, rel=0.02, abs=1e-9)
    assert still.account.put_in == pytest.approx(turned.account.put_in, rel=1e-9)


SHEET = """
[lining]
name = "invented"
length_unit = "{unit}"
azimuth_zero = "tap hole"
azimuth_sense = "clockwise"
height_zero = "bottom plate"
[shell]
radius = {shell}
[[profile]]
height = 0
radius = {radius}
[[profile]]
height = {top}
radius = {radius}
[[brick]]
name = "straight"
length = {long}
width = {wide}
thickness = {thick}
radial = "width"
[brickwork]
joint = {joint}
opening = {half}
[repair]
bed_most = {one}
cover_least = {half}
cover_most = {most}
squaring = {half}
brick_threshold = {threshold}
tolerance = {quarter}
[mix]
layer_most = {one}
wash = {thin}
"""
INCHES = {
    "shell": 27, "radius": 18, "top": 60, "long": 9, "wide": 4.5, "thick": 2.5,
    "joint": 0.125, "one": 1, "half": 0.5, "most": 1.5, "threshold": 1.25,
    "quarter": 0.25, "thin": 0.04,
}  # fmt: skip


def written(tmp_path: Path, unit: str, scale: float) -> Design:
    file = tmp_path / f"{unit}.toml"
    sizes = {name: repr(scale * size) for name, size in INCHES.items()}
    file.write_text(SHEET.format(unit=unit, **sizes))
    return geom.load_design(file)


def test_a_design_in_inches_and_in_millimetres_give_one_plan(tmp_path: Path) -> None:
    plans = [
        planned(written(tmp_path, unit, scale), BURNT)[0]
        for unit, scale in (("in", 1.0), ("mm", 25.4))
    ]
    one, other = (flat(plan.to_dict()) for plan in plans)
    assert one == pytest.approx(other, rel=1e-9)
    wrong = planned(written(tmp_path, "cm", 2.6), BURNT)[0]
    assert flat(as_document(wrong.account)) != pytest.approx(
        flat(as_document(plans[0].account)), rel=1e-3
    )


# --- more cut-back -------------------------------------------------------------------


def ordered(design: Design, field: Field) -> dict[str, float]:
    plan, _, _ = planned(design, field, draws=8)
    return {line.material: line.enough for line in plan.order}


@FEW
@given(shallow=st.floats(12.0, 20.0), deeper=st.floats(0.0, 4.0))
def test_more_cut_back_never_lowers_the_order_of_daub(
    shallow: float, deeper: float
) -> None:
    design = plain_design(shop=SHOP)
    one = ordered(design, box(100.0, 40.0, 300.0, 600.0, shallow))
    other = ordered(design, box(100.0, 40.0, 300.0, 600.0, shallow + deeper))
    assert set(one) == set(other) == {"sand", "fire clay"}
    assert all(other[name] >= one[name] * (1.0 - 1e-9) for name in one)


@FEW
@given(shallow=st.floats(38.0, 140.0), deeper=st.floats(0.0, 15.0))
def test_more_cut_back_never_lowers_the_order_of_brick(
    shallow: float, deeper: float
) -> None:
    design = plain_design(shop=SHOP)
    one, other = (
        planned(design, box(100.0, 20.0, 300.0, 600.0, depth), draws=8)[0]
        for depth in (shallow, shallow + deeper)
    )
    sizes = {brick.name: brick_volume(brick) for brick in SHOP.bricks}

    def ordered_brick(plan: RepairPlan) -> float:
        return sum(sizes.get(line.material, 0.0) * line.enough for line in plan.order)

    assert ordered_brick(one) > 0.0
    # whole bricks are ordered: one of them up or down is no less
    assert ordered_brick(other) >= ordered_brick(one) - max(sizes.values())
    assert other.account.put_in >= one.account.put_in


def test_more_cut_back_all_round_never_lowers_what_goes_in() -> None:
    design = plain_design(shop=SHOP)
    put_in = [
        planned(design, lambda _, h, d=depth: np.where(abs(h - 500.0) < 100.0, d, 0.0))[
            0
        ].account.put_in
        for depth in (8.0, 20.0, 28.0, 38.0, 60.0, 110.0, 130.0)
    ]
    assert all(b >= a for a, b in itertools.pairwise(put_in))
