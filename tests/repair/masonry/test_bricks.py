"""The standard series, and the shop's own bricks in its place."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from geom.design import Brick, Profile, Shop
from geom.repair.masonry.bricks import (
    brick_volume,
    bricks_of,
    curved_bricks,
    standard_bricks,
)
from tests.walls import plain_design


def test_the_9_in_series_has_its_published_sizes() -> None:
    # inches; see docs/file-formats.md for the sources
    sizes = {
        "9 in straight": (9, 4.5, 2.5, 0),
        "9 in straight, 3 in thick": (9, 4.5, 3, 0),
        "9 in split": (9, 4.5, 1.25, 0),
        "9 in arch No 1": (9, 4.5, 2.5, 2.125),
        "9 in arch No 2": (9, 4.5, 2.5, 1.75),
        "9 in arch No 3": (9, 4.5, 2.5, 1),
        "9 in wedge No 1-X": (9, 4.5, 2.5, 2.25),
        "9 in wedge No 1": (9, 4.5, 2.5, 1.875),
        "9 in wedge No 2": (9, 4.5, 2.5, 1.5),
        "3 in arch No 1": (9, 4.5, 3, 2.75),
        "3 in arch No 2": (9, 4.5, 3, 2.5),
        "3 in arch No 3": (9, 4.5, 3, 2),
        "3 in arch No 4": (9, 4.5, 3, 1),
        "3 in wedge No 1": (9, 4.5, 3, 2.75),
        "3 in wedge No 2": (9, 4.5, 3, 2.5),
        "3 in wedge No 3": (9, 4.5, 3, 2),
        # keys: from memory
        "9 in key No 1": (9, 4.5, 2.5, 4),
        "9 in key No 2": (9, 4.5, 2.5, 3.6),
        "9 in key No 3": (9, 4.5, 2.5, 3),
        "9 in key No 4": (9, 4.5, 2.5, 2.25),
    }
    found = {
        b.name: tuple(s / 25.4 for s in (b.length, b.width, b.thickness, b.small))
        for b in standard_bricks("in")
    }
    assert found.keys() == sizes.keys()
    for name, size in sizes.items():
        assert found[name] == pytest.approx(size, abs=1e-12)


def test_arches_lie_with_their_width_along_the_radius_and_wedges_with_their_length():
    for unit, reach in (("in", (228.6, 114.3)), ("mm", (230.0, 114.0))):
        for brick in standard_bricks(unit):
            long, short = reach
            assert brick.build == pytest.approx(short if "arch" in brick.name else long)
            assert bool(brick.taper) == ("No" in brick.name) == (brick.small > 0.0)
            assert brick.inner <= brick.outer


@pytest.mark.parametrize("unit", ["mm", "cm", "m"])
def test_drawings_in_other_units_get_the_230_mm_series(unit: str) -> None:
    bricks = standard_bricks(unit)
    straights = [(b.length, b.width, b.thickness) for b in bricks if not b.taper]
    assert straights == [
        (230.0, 114.0, 64.0),
        (230.0, 114.0, 76.0),
        (230.0, 114.0, 32.0),
    ]
    assert bricks != standard_bricks("in")


def test_tapers_in_millimetres_are_those_in_inches_to_the_nearest() -> None:
    inches = [b for b in standard_bricks("in") if b.taper]
    metric = [b for b in standard_bricks("mm") if b.taper]
    assert [b.small for b in metric] == [round(b.small) for b in inches]
    assert [b.name.split(" ")[-3:] for b in inches] == [
        b.name.split(" ")[-3:] for b in metric
    ]


def test_names_are_unique_and_nothing_is_told_of_stock_or_mass() -> None:
    for unit in ("in", "mm"):
        bricks = standard_bricks(unit)
        assert len({b.name.casefold() for b in bricks}) == len(bricks)
        assert all(b.stock is None and b.mass is None for b in bricks)


def test_curved_bricks_turn_the_bores_of_the_drawing_in_whole_numbers() -> None:
    corners = np.array([0.0, 600.0, 800.0, 1500.0]), np.array([450.0, 450.0, 500, 500])
    design = plain_design(profile=Profile(*corners), shell_radius=660.0)
    bricks = curved_bricks(design)
    assert {b.bore for b in bricks} == {900.0, 1000.0}
    # 660 less 450 and 500 mm have room for 150 mm, not for 230 mm
    assert {b.build for b in bricks} == {114.0, 150.0}
    for brick in bricks:
        radius = 0.5 * brick.bore
        number = 2.0 * np.pi * radius / (brick.inner + 3.0)
        assert number == pytest.approx(round(number), abs=1e-9)
        back = 2.0 * np.pi * (radius + brick.build) / (brick.outer + 3.0)
        assert back == pytest.approx(number, abs=1e-9)
        assert brick.outer + 3.0 <= 230.0 + 1e-9
    assert len({b.name for b in bricks}) == len(bricks)


def test_a_profile_that_tapers_throughout_has_the_bore_of_its_middle() -> None:
    profile = Profile(np.array([0.0, 1500.0]), np.array([450.0, 470.0]))
    assert {b.bore for b in curved_bricks(plain_design(profile=profile))} == {920.0}


def test_the_shops_own_bricks_take_the_place_of_the_series() -> None:
    own = (Brick("block", 150.0, 300.0, 200.0, "width", 250.0),)
    assert bricks_of(plain_design()) == standard_bricks("mm")
    assert bricks_of(plain_design(length_unit="in")) == standard_bricks("in")
    assert bricks_of(plain_design(shop=Shop(bricks=own))) == own


def test_the_volume_of_a_brick_is_that_of_its_prism() -> None:
    straight = Brick("straight", 230.0, 114.0, 64.0)
    assert brick_volume(straight) == pytest.approx(230.0 * 114.0 * 64.0)
    # A taper takes off half of what it narrows by, along whichever side is radial.
    wedge = replace(straight, taper="thickness", small=48.0)
    assert brick_volume(wedge) == pytest.approx(230.0 * 114.0 * 56.0)
    arch = replace(wedge, radial="width")
    assert brick_volume(arch) == pytest.approx(230.0 * 114.0 * 56.0)
    key = replace(straight, taper="width", small=100.0)
    assert brick_volume(key) == pytest.approx(230.0 * 107.0 * 64.0)
    assert brick_volume(key) != pytest.approx(230.0 * 114.0 * 64.0)
