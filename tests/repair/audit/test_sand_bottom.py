"""The sand bottom against integration, geometry and the fall that the sheet says."""

from __future__ import annotations

import json

import numpy as np
import pytest
from scipy.integrate import dblquad

from geom.design import Bottom, Design, Opening, Profile, RepairRules, Shop
from geom.document import as_document
from geom.repair.audit.sand_bottom import (
    bottom_volume,
    found_radius,
    sand_bottom,
    thickness_at,
)
from geom.units import Float
from geom.views.tables.repair import say_bottom_notes
from tests.repair.known_wall import KnownWall, known_surface
from tests.walls import plain_design

WALL, LEAST, FALL = 450.0, 100.0, 0.0625


def tapped(azimuth: float = 0.0, **changes: object) -> Design:
    """A straight wall with a tap hole whose lower edge is at 100 mm."""
    hole = Opening("tap hole", azimuth, 140.0, 75.0, 80.0)
    told: dict[str, object] = {
        "openings": (hole,),
        "shop": Shop(bottom=Bottom(least=LEAST, density=1700.0)),
    }
    return plain_design(**(told | changes))


def integrated(least: float, fall: float) -> float:
    """Volume of the bed by quadrature over the disc."""

    def column(radius: float, angle: float) -> float:
        at = np.array(radius), np.rad2deg(np.array(angle))
        tall = thickness_at(*at, wall=WALL, least=least, fall=fall)
        return float(tall) * radius

    volume, _ = dblquad(column, 0.0, 2.0 * np.pi, 0.0, WALL, epsrel=1e-7)
    return volume


@pytest.mark.parametrize(("least", "fall"), [(LEAST, FALL), (0.0, 0.25), (80.0, 0.0)])
def test_volume_is_that_of_the_surface_integrated(least: float, fall: float) -> None:
    exact = bottom_volume(WALL, least, fall)
    assert exact == pytest.approx(integrated(least, fall), rel=1e-6)
    if fall:
        plane = np.pi * WALL**2 * (least + fall * WALL)
        assert exact > 1.01 * plane  # a board's plane holds less than the cone


def test_volume_mass_and_thicknesses_of_a_bed_as_drawn() -> None:
    bed = sand_bottom(tapped())
    assert bed.radius_from == "drawing"
    assert bed.volume.value == pytest.approx(integrated(LEAST, FALL), rel=1e-6)
    assert bed.volume.sd == 0.0
    assert bed.mass.value == pytest.approx(1700.0 * bed.volume.value * 1e-9, rel=1e-12)
    assert bed.greatest == pytest.approx(LEAST + FALL * 900.0)
    assert bed.middle == pytest.approx(LEAST + FALL * 450.0)
    # the disc's mean thickness lies between
    mean = bed.volume.value / (np.pi * WALL**2)
    assert bed.middle < mean < bed.greatest


def test_heights_to_strike_are_by_the_straight_way_to_the_tap_hole() -> None:
    profile = Profile(np.array([20.0, 1500.0]), np.array([450.0, 450.0]))
    bed = sand_bottom(tapped(30.0, profile=profile))
    assert [point.azimuth for point in bed.strike] == pytest.approx(
        [30.0, 75.0, 120.0, 165.0, 210.0, 255.0, 300.0, 345.0]
    )
    chord = [2.0 * WALL * np.sin(np.deg2rad(22.5 * k)) for k in range(8)]
    for point, far in zip(bed.strike, chord, strict=True):
        assert point.thickness == pytest.approx(LEAST + FALL * far, abs=1e-9)
        assert point.height == pytest.approx(20.0 + point.thickness)
    assert bed.strike[0].thickness == pytest.approx(bed.least)
    assert bed.strike[4].thickness == pytest.approx(bed.greatest)


def test_clock_positions_go_by_the_sense_of_the_furnace() -> None:
    faces = [point.clock for point in sand_bottom(tapped()).strike]
    assert faces == [
        "12 o'clock", "half past 1", "3 o'clock", "half past 4",
        "6 o'clock", "half past 7", "9 o'clock", "half past 10",
    ]  # fmt: skip
    other = sand_bottom(tapped(azimuth_sense="counterclockwise"))
    assert [point.clock for point in other.strike] == [faces[0], *faces[:0:-1]]


def test_the_fall_across_is_the_slope_times_the_diameter() -> None:
    # 3/4 in to the foot over 2 x 450 mm: 56.25 mm
    bed = sand_bottom(tapped(repair=RepairRules(bottom_fall=0.0625)))
    assert bed.greatest - bed.least == pytest.approx(56.25)


def test_without_a_tap_hole_there_is_none() -> None:
    bare = plain_design()
    assert sand_bottom(bare) is None


def test_of_two_tap_holes_the_lower_one_is_drained_to() -> None:
    low = Opening("tap hole", 90.0, 120.0, 75.0, 40.0)
    design = tapped()
    both = tapped(openings=(*design.openings, low))
    assert sand_bottom(both).tap_azimuth == 90.0


def test_a_bed_that_does_not_meet_the_tap_hole_is_noted() -> None:
    fits = sand_bottom(tapped())
    assert fits.above_sill == pytest.approx(0.0)
    assert say_bottom_notes(fits, "mm") == []
    for least, side in ((160.0, "above"), (40.0, "below")):
        bed = sand_bottom(tapped(shop=Shop(bottom=Bottom(least=least))))
        assert bed.above_sill == pytest.approx(least - 100.0)
        (note,) = say_bottom_notes(bed, "mm")
        assert f"60 mm {side} the hole's lower edge" in note


def test_a_surveyed_wall_is_as_wide_as_it_was_found() -> None:
    design = tapped()
    surface = known_surface(design, KnownWall(ring_of_20, one_error))
    radius = found_radius(surface, 140.0)
    assert radius.value == pytest.approx(np.sqrt(470.0**2 + 3.0**2), rel=1e-9)
    assert radius.sd == pytest.approx(3.0, rel=1e-3)
    bed = sand_bottom(design, surface=surface)
    assert bed.radius_from == "survey"
    assert bed.radius == radius
    rng = np.random.default_rng(4)
    drawn = np.array([bottom_volume(r, LEAST, FALL) for r in rng.normal(470, 3, 4000)])
    # 4 000 draws: sd to 1.1 %
    assert bed.volume.sd == pytest.approx(drawn.std(), rel=0.04)
    assert bed.volume.low95 < bed.volume.value < bed.volume.high95
    above = known_surface(design, KnownWall(ring_of_20), surveyed=(200.0, 1400.0))
    assert found_radius(above, 140.0) is None
    assert sand_bottom(design, surface=above) == sand_bottom(design)


def test_where_the_tap_hole_stands_does_not_matter() -> None:
    volumes = {sand_bottom(tapped(turned)).volume.value for turned in (0, 123.4, 359)}
    assert len(volumes) == 1


def test_what_is_told_can_be_written() -> None:
    told = json.loads(json.dumps(as_document(sand_bottom(tapped()))))
    assert told["volume"]["value"] == pytest.approx(integrated(LEAST, FALL) * 1e-9)
    assert len(told["strike"]) == 8
    assert told["strike"][2]["clock"] == "3 o'clock"


def ring_of_20(azimuth: Float, height: Float) -> Float:
    return np.full(azimuth.shape, 20.0)


def one_error(a: Float, h: Float, a2: Float, h2: Float) -> Float:
    """3 mm that the whole wall shares."""
    return np.full(np.broadcast_shapes(a.shape, a2.shape), 9.0)
