"""The sand bottom against integration, geometry and the fall that the sheet says."""

from __future__ import annotations

import json

import numpy as np
import pytest
from scipy.integrate import dblquad, quad

from geom.design import Bottom, Design, Opening, Profile, RepairRules, Shop
from geom.document import as_document
from geom.repair.audit.sand_bottom import (
    bore_volume,
    bottom_volume,
    fillet_volume,
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
        "shop": Shop(bottom=Bottom(density=1700.0, fillet=0.0)),
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
        # from the foot at 20 up to the sill at 100
        assert point.thickness == pytest.approx(80.0 + FALL * far, abs=1e-9)
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


def with_hole(height: float, tall: float = 80.0, **bottom: float) -> Design:
    """A tap hole somewhere else."""
    hole = Opening("tap hole", 0.0, height, 75.0, tall)
    return tapped(openings=(hole,), shop=Shop(bottom=Bottom(**bottom)))


@pytest.mark.parametrize(
    ("height", "tall"), [(140.0, 80.0), (60.0, 40.0), (40.0, 80.0)]
)
def test_the_bed_meets_the_sill_and_never_covers_the_hole(height, tall) -> None:
    bed = sand_bottom(with_hole(height, tall, least=LEAST))
    sill = height - 0.5 * tall
    assert (bed.sill, bed.least) == (sill, sill)
    assert bed.strike[0].height == pytest.approx(sill)
    assert min(point.height for point in bed.strike) == pytest.approx(sill)


def test_too_thin_over_the_doors_is_warned_of() -> None:
    fits = sand_bottom(with_hole(140.0, least=100.0))
    assert (fits.short, say_bottom_notes(fits, "mm")) == (0.0, [])
    thin = sand_bottom(with_hole(140.0, least=150.0))
    assert (thin.least, thin.wanted, thin.short) == (100.0, 150.0, 50.0)
    (note,) = say_bottom_notes(thin, "mm")
    assert "100 mm thick over the doors there, 50 mm less than the 150 mm" in note
    # what is asked for changes the warning and not the bed
    assert thin.volume == fits.volume
    # 4 in unless the shop says otherwise
    assert sand_bottom(with_hole(100.0)).short == pytest.approx(101.6 - 60.0)


def test_a_sill_just_high_enough_in_inches_is_not_warned_of() -> None:
    for inches in (1.0, 4.0, 5.125):
        design = with_hole((inches + 2.0) * 25.4, 4.0 * 25.4, least=inches * 25.4)
        assert sand_bottom(design).short == 0.0


def test_half_way_in_the_height_is_by_the_straight_way_too() -> None:
    bed = sand_bottom(tapped())
    for k, point in enumerate(bed.strike):
        turned = np.deg2rad(45.0 * k)
        far = np.hypot(0.5 * WALL * np.cos(turned) - WALL, 0.5 * WALL * np.sin(turned))
        assert point.mid_thickness == pytest.approx(LEAST + FALL * far)
        assert point.mid_height == pytest.approx(point.mid_thickness)
    # 225 mm from the hole on its own side, 675 mm from it beyond the axis
    assert bed.strike[0].mid_thickness == pytest.approx(LEAST + FALL * 225.0)
    assert bed.strike[4].mid_thickness == pytest.approx(LEAST + FALL * 675.0)


def test_a_fillet_is_its_section_by_the_way_of_its_centre() -> None:
    radius, fillet = 450.0, 50.0

    def ring(off: float) -> float:
        # height of the sand at a distance off the wall: a quarter circle, hollow
        tall = fillet - np.sqrt(fillet**2 - (fillet - off) ** 2)
        return 2.0 * np.pi * (radius - off) * tall

    exact, _ = quad(ring, 0.0, fillet, epsrel=1e-10)
    assert fillet_volume(radius, fillet) == pytest.approx(exact, rel=1e-7)
    bare, bed = (
        sand_bottom(with_hole(140.0, fillet=mm, density=1700.0)) for mm in (0.0, 50.0)
    )
    assert bed.volume == bare.volume
    assert bed.fillet_volume == pytest.approx(exact, rel=1e-7)
    assert bed.sand.value - bare.sand.value == pytest.approx(exact, rel=1e-7)
    more = bed.mass.value - bare.mass.value
    assert more == pytest.approx(1700.0 * exact * 1e-9, rel=1e-6)


def slagged(height: float, **bottom: float) -> Design:
    """A slag hole 40 mm tall, and tuyeres whose sill is at 455 mm."""
    holes = (
        *tapped().openings,
        Opening("slag hole", 180.0, height, 60.0, 40.0),
        Opening("tuyere", 90.0, 500.0, 120.0, 90.0),
        Opening("tuyere", 270.0, 520.0, 120.0, 90.0),
    )
    told = {"fillet": 0.0} | bottom
    return tapped(openings=holes, shop=Shop(bottom=Bottom(**told)))


def test_iron_below_the_slag_hole_against_the_closed_form() -> None:
    bed = sand_bottom(slagged(400.0))
    assert bed.slag_sill == 380.0
    # cylinder up to the sill of the slag hole, less the bed
    litres = (np.pi * WALL**2 * 380.0 - integrated(LEAST, FALL)) / 1e6
    assert bed.well.volume / 1e6 == pytest.approx(litres, rel=1e-6)
    assert bed.well.iron == pytest.approx(6.9 * litres, rel=1e-6)
    assert bed.well.iron_in_coke == pytest.approx(0.45 * 6.9 * litres, rel=1e-6)
    heavy = sand_bottom(slagged(400.0, iron_density=7000.0, coke_voids=0.5))
    assert heavy.well.iron == pytest.approx(7.0 * litres, rel=1e-6)
    assert heavy.well.iron_in_coke == pytest.approx(3.5 * litres, rel=1e-6)
    cove = sand_bottom(slagged(400.0, fillet=50.0)).well
    assert bed.well.volume - cove.volume == pytest.approx(fillet_volume(WALL, 50.0))


def test_a_well_that_widens_is_summed_by_frusta() -> None:
    profile = Profile(
        np.array([0.0, 200.0, 200.0, 1500.0]), np.array([450.0, 430.0, 400.0, 460.0])
    )
    exact, _ = quad(
        lambda h: np.pi * float(profile.radius_at(h)) ** 2, 0.0, 380.0, points=[200.0]
    )
    assert bore_volume(profile, 0.0, 380.0) == pytest.approx(exact, rel=1e-9)
    assert bore_volume(profile, 200.0, 200.0) == 0.0


def test_a_slag_hole_that_the_bed_reaches_holds_nothing_and_is_noted() -> None:
    # the bed opposite stands at 156.25 mm
    bed = sand_bottom(slagged(170.0))
    assert bed.well is None
    assert "no higher than the sand bottom" in say_bottom_notes(bed, "mm")[-1]
    assert sand_bottom(slagged(180.0)).well is not None


def test_a_slag_hole_above_the_tuyeres_is_warned_of() -> None:
    below = sand_bottom(slagged(400.0))
    assert below.below_tuyeres == pytest.approx(455.0 - 380.0)
    assert not [n for n in say_bottom_notes(below, "mm") if "tuyeres" in n]
    above = sand_bottom(slagged(490.0))
    assert above.below_tuyeres == pytest.approx(-15.0)
    note = say_bottom_notes(above, "mm")[-1]
    assert "15 mm above the tuyeres' sill" in note
    bare = sand_bottom(tapped())
    assert (bare.slag_sill, bare.below_tuyeres, bare.well) == (None, None, None)


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
