"""The area law against published rates, and sections against their closed forms.

Modern Mechanical Engineering, vol. I, p. 152 of the stored scan: a bore of 18 in melts
about 3/4 ton an hour (the fraction is badly printed), one of 6 ft about 12 tons.

Bores, areas and 10 lb/in2 h: handbook table and rule as remembered, unverified; areas
are pi D**2 / 4 cut or rounded to whole square inches, so that 1 in2 is the tolerance.
"""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from geom.compare.assess import assess
from geom.compare.findings import Level
from geom.compare.levels import section_levels
from geom.design import Melting, Shop
from geom.quantity import Quantity
from geom.repair.assumptions import ASSUMED
from geom.repair.audit.melting import (
    band_ratio,
    section_ratio,
    worn_melting,
    worst_row,
)
from geom.surface import RadialSurface, reconstruct
from geom.units import Float
from tests.repair.known_wall import KnownWall, known_surface
from tests.walls import plain_design, tapered_design, worn, worn_readings

INCH = 25.4
LONG_TON, SHORT_TON = 2240.0, 2000.0
BORES = {
    18: 254, 23: 415, 27: 572, 32: 804, 37: 1075, 42: 1385, 45: 1590, 48: 1810,
    54: 2290, 60: 2827, 66: 3421, 72: 4071, 78: 4778, 84: 5542,
}  # fmt: skip


def section(drawn: float, found: float, sd_percent: float = 0.0, height: float = 0.0):
    """A section drawn and found with some diameters, mm."""
    change = 100.0 * ((found / drawn) ** 2 - 1.0)
    return Level(
        height=height,
        side="",
        design_diameter=drawn,
        area_diameter=Quantity.normal(found, 0.0),
        area_change_percent=Quantity.normal(change, sd_percent),
    )


def test_published_rates_of_two_cupolas_follow_the_area() -> None:
    ratio = section_ratio(section(18.0 * INCH, 72.0 * INCH)).value
    assert ratio == pytest.approx(16.0, rel=1e-12)
    assert 0.75 * ratio == pytest.approx(12.0, rel=1e-12)
    # the diameter alone would make it 3 tons
    assert 0.75 * np.sqrt(ratio) == pytest.approx(3.0)
    for bore, tons in ((18.0, 0.75), (72.0, 12.0)):
        specific = tons * LONG_TON / (np.pi / 4.0 * bore**2)
        assert specific == pytest.approx(6.60, abs=0.005)


@pytest.mark.parametrize(("bore", "area"), BORES.items())
def test_areas_of_bores_are_those_of_the_table(bore: int, area: int) -> None:
    ratio = section_ratio(section(18.0, float(bore))).value
    assert ratio * np.pi / 4.0 * 18.0**2 == pytest.approx(area, abs=1.0)


@pytest.mark.parametrize(
    ("bore", "tons"),
    [(18, 1.27), (27, 2.86), (36, 5.09), (48, 9.05), (60, 14.14), (72, 20.36)],
)
def test_the_common_rule_is_ten_pounds_a_square_inch(bore: int, tons: float) -> None:
    kilograms = ASSUMED.common_rule * np.pi / 4.0 * (bore * INCH) ** 2
    assert kilograms / 0.45359237 / SHORT_TON == pytest.approx(tons, abs=0.005)


def test_rate_goes_by_the_square_of_the_diameter() -> None:
    design = plain_design(
        shop=Shop(melting=Melting(rate=5000.0, blast=3600.0)),
    )
    even = KnownWall(burnt_back_evenly)
    surface = known_surface(design, even)
    findings = FewFindings(section_levels(surface, 100.0, 1400.0))
    told = worn_melting(surface, findings, design)
    square = (480.0 / 450.0) ** 2
    assert told.zone.area_ratio.value == pytest.approx(square, rel=1e-12)
    assert told.zone.rate.value == pytest.approx(5000.0 * square, rel=1e-12)
    assert told.zone.blast.value == pytest.approx(3600.0 * square, rel=1e-12)
    assert told.zone.change_percent.value == pytest.approx(100.0 * (square - 1.0))
    for one in told.levels:
        by_diameter = (one.level.area_diameter.value / 900.0) ** 2
        assert one.worn.area_ratio.value == pytest.approx(by_diameter, rel=1e-12)


def test_the_mean_diameter_of_a_wall_out_of_round_is_too_small() -> None:
    design = plain_design()
    surface = known_surface(design, KnownWall(lobed))
    (level, *_) = section_levels(surface, 700.0, 1400.0)
    ratio = section_ratio(level).value
    assert ratio == pytest.approx(1.0 + 60.0**2 / (2.0 * 450.0**2), rel=1e-9)
    by_mean_diameter = 1.0  # cos(2 a) has no mean
    assert ratio > by_mean_diameter + 0.008


def test_the_ring_that_is_named_is_the_ring_that_is_told() -> None:
    """A narrow hump: the band about it is worn less than the ring at its crest."""
    design = plain_design()
    surface = known_surface(design, KnownWall(narrow_hump))
    findings = FewFindings(section_levels(surface, 100.0, 1400.0))
    told = worn_melting(surface, findings, design)
    assert told is not None
    assert told.ring == pytest.approx(700.0, abs=10.0)
    crest = 1.0 + float(narrow_hump(np.zeros(1), np.array([told.ring]))[0]) / 450.0
    assert told.at_ring.area_ratio.value == pytest.approx(crest**2, rel=1e-9)
    assert told.height_from == pytest.approx(told.ring - 150.0, abs=10.0)
    assert told.height_to == pytest.approx(told.ring + 150.0, abs=10.0)
    height = np.linspace(told.height_from, told.height_to, 3001)
    whole = np.mean((1.0 + narrow_hump(height, height) / 450.0) ** 2)
    assert told.zone.area_ratio.value == pytest.approx(whole, rel=1e-4)
    assert told.at_ring.area_ratio.value > 1.05 * told.zone.area_ratio.value


def test_of_a_ring_that_was_not_read_round_nothing_is_told() -> None:
    design = plain_design()
    surface = known_surface(design, KnownWall(burnt_back_evenly))
    read = np.broadcast_to(surface.azimuth < 200.0, surface.grid.shape)
    surface = replace(
        surface,
        grid=replace(surface.grid, surveyed=surface.grid.surveyed & read),
        radius=np.where(read, surface.radius, np.nan),
    )
    levels = section_levels(surface, 100.0, 1400.0)
    assert levels == ()
    assert worn_melting(surface, FewFindings(levels), design) is None


def test_openings_do_not_make_the_worst_ring() -> None:
    design = tapered_design()
    surface = known_surface(design, KnownWall(deep_at_the_tuyeres))
    # without the cells of the tuyeres the ring at 900 mm is the worst
    assert worst_height(surface) == pytest.approx(900.0, abs=30.0)
    bare = tapered_design(openings=())
    spoiled = known_surface(bare, KnownWall(deep_at_the_tuyeres))
    assert worst_height(spoiled) == pytest.approx(445.0, abs=45.0)


def worst_height(surface: RadialSurface) -> float:
    row = worst_row(surface)
    assert row is not None
    return float(surface.height[row])


def test_a_band_is_as_sure_as_its_draws() -> None:
    """Rows that err together: the stated sd is that of integrated areas drawn."""

    def kernel(a: Float, h: Float, a2: Float, h2: Float) -> Float:
        return 9.0 * np.exp(-(((h - h2) / 200.0) ** 2)) + 0.0 * (a - a2)

    surface = known_surface(plain_design(), KnownWall(burnt_back_evenly, kernel))
    rows = np.flatnonzero(np.abs(surface.height - 700.0) < 150.0)
    told = band_ratio(surface, rows)
    height = surface.height[rows]
    table = 9.0 * np.exp(-(((height[:, None] - height) / 200.0) ** 2))
    root = np.linalg.cholesky(table + 1e-9 * np.eye(rows.size))
    error = root @ np.random.default_rng(2).standard_normal((rows.size, 20_000))
    drawn = np.mean(((480.0 + error) / 450.0) ** 2, axis=0)
    assert told.sd == pytest.approx(drawn.std(), rel=0.03)


def test_of_a_real_survey_the_truth_lies_in_the_interval() -> None:
    design = plain_design(shop=Shop(melting=Melting(rate=6000.0)))
    surface = reconstruct(worn_readings(design), design, spacing=25.0, columns=120)
    told = worn_melting(surface, assess(surface, design), design)
    assert told.ring == pytest.approx(700.0, abs=60.0)  # where it was planted
    heights = np.linspace(told.height_from, told.height_to, 61)
    truth = np.mean([true_ratio(height) for height in heights])
    ratio = told.zone.area_ratio
    assert ratio.low95 < truth < ratio.high95
    assert not ratio.low95 < 1.0 < ratio.high95
    assert told.zone.rate.value == pytest.approx(6000.0 * ratio.value, rel=1e-12)
    assert told.zone.rate.sd == pytest.approx(6000.0 * ratio.sd, rel=1e-12)
    assert told.zone.blast is None  # the shop told none
    rule = told.common_rule.value / (told.drawn_area * ratio.value)
    assert rule == pytest.approx(ASSUMED.common_rule, rel=1e-12)
    again = json.loads(json.dumps(told.to_dict()))
    assert again["melting_zone"]["blast"] is None
    assert again["melting_zone"]["drawn_area"] == pytest.approx(np.pi * 0.45**2)
    assert len(again["levels"]) == len(told.levels)


def test_where_the_shop_tells_no_rate_only_the_ratio_is_told() -> None:
    design = plain_design()
    surface = known_surface(design, KnownWall(burnt_back_evenly))
    findings = FewFindings(section_levels(surface, 100.0, 1400.0))
    told = worn_melting(surface, findings, design)
    assert told.zone.rate is None
    assert told.zone.blast is None
    assert told.zone.change_percent.value > 0.0
    with_rate = replace(design, shop=Shop(melting=Melting(rate=1.0)))
    assert worn_melting(surface, findings, with_rate).zone.rate is not None


class FewFindings:
    """Of findings only the sections are looked at."""

    def __init__(self, levels: tuple[Level, ...]) -> None:
        self.levels = levels


def burnt_back_evenly(azimuth: Float, height: Float) -> Float:
    return np.full(azimuth.shape, 30.0)


def narrow_hump(azimuth: Float, height: Float) -> Float:
    return 60.0 * np.exp(-(((height - 700.0) / 80.0) ** 2)) + 0.0 * azimuth


def lobed(azimuth: Float, height: Float) -> Float:
    return 60.0 * np.cos(np.deg2rad(2.0 * azimuth))


def deep_at_the_tuyeres(azimuth: Float, height: Float) -> Float:
    """A hump at 900 mm, and holes of 200 mm where the tuyeres are."""
    hump = 20.0 * np.exp(-(((height - 900.0) / 150.0) ** 2))
    away = np.abs(np.mod(azimuth + 60.0, 120.0) - 60.0)
    hole = (np.abs(height - 445.0) < 45.0) & (away < 8.4)
    return np.where(hole, 200.0, hump)


def true_ratio(height: float) -> float:
    azimuth = np.arange(720) * 0.5
    radius = 450.0 + worn(azimuth, np.full(720, height))
    return float(np.mean(radius**2) / 450.0**2)
