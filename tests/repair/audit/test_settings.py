"""Run settings after a repair, against worked sums.

A foundry course (stored scan, scribd 530506536): bore 75 cm, 150 cm from the sand
bottom up, coke of 482 kg/m3: bed of 320 kg; 0.562 kg an hour from each square
centimetre melt 2,480 kg/h; at 10 to 1 that takes 248 kg of coke an hour.

The bed over the tuyeres, 10.5 sqrt(blast in oz/in2) + 6 in, is a handbook rule from
memory: 16 oz ask for 48 in.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from geom.compare.levels import section_levels
from geom.design import Design, Melting, Opening, Profile, RepairRules, Shop
from geom.repair.audit.melting import RunSettings, run_settings, worn_melting
from tests.repair.audit.test_melting import FewFindings, burnt_back_evenly
from tests.repair.known_wall import KnownWall, known_surface
from tests.walls import plain_design

#: Upper edges of the tuyeres at 345 mm: with a bed of 1,355 mm it reaches to 1,700.
TUYERE = Opening("tuyere", 90.0, 300.0, 100.0, 90.0)
WORKED = Melting(specific_rate=0.562, bed=1355.0, coke_density=482.0, coke_ratio=10.0)


def bore(melting: Melting, *, radius: float = 375.0, **changes: object) -> Design:
    told = {
        "profile": Profile(np.array([0.0, 2000.0]), np.array([radius, radius])),
        "shop": Shop(melting=melting),
        "openings": (TUYERE,),
    }
    return plain_design(**(told | changes))


def set_for(design: Design, *, bottom: float = 200.0) -> RunSettings | None:
    """Settings of a wall that is gone 30 mm all round."""
    surface = known_surface(design, KnownWall(burnt_back_evenly))
    levels = section_levels(surface, 100.0, 1400.0)
    worn = worn_melting(surface, FewFindings(levels), design)
    return run_settings(worn, surface, design, bottom=bottom)


def found(design: Design, **changes: float) -> RunSettings:
    settings = set_for(design, **changes)
    assert settings is not None
    return settings


def test_the_worked_sums_of_a_course_come_out() -> None:
    settings = found(bore(WORKED))
    assert settings.rate is not None
    assert settings.rate.after.value == pytest.approx(2480.0, abs=5.0)
    assert settings.rate.after.value == pytest.approx(2482.8, abs=0.1)
    assert settings.coke is not None
    assert settings.coke.after.value == pytest.approx(248.0, abs=0.5)
    assert settings.bed_from == 200.0
    assert settings.bed_coke is not None
    assert settings.bed_coke.after.value == pytest.approx(320.0, abs=1.0)
    assert settings.bed_coke.after.value == pytest.approx(319.4, abs=0.05)
    assert settings.specific_rate == pytest.approx(5620.0)


def test_sixteen_ounces_ask_for_a_bed_of_48_inches() -> None:
    pound = 6.894757  # kPa
    settings = found(bore(Melting(pressure=pound)))
    assert settings.bed == pytest.approx(48.0 * 25.4, abs=0.01)
    assert settings.bed_rule
    # a quarter of it: 10.5 * 2 + 6 = 27 in
    quarter = found(bore(Melting(pressure=0.25 * pound)))
    assert quarter.bed == pytest.approx(27.0 * 25.4, abs=0.01)
    own = found(bore(Melting(pressure=pound, bed=900.0)))
    assert (own.bed, own.bed_rule) == (900.0, False)


def test_the_worn_wall_asked_for_more_by_the_square_of_its_diameter() -> None:
    settings = found(bore(Melting(rate=2000.0, blast=1500.0)))
    square = (405.0 / 375.0) ** 2
    for setting, drawn in ((settings.rate, 2000.0), (settings.blast, 1500.0)):
        assert setting is not None
        assert setting.after.value == drawn
        assert setting.last.value == pytest.approx(drawn * square, rel=1e-9)
        assert not setting.stated
    assert settings.area_ratio.value == pytest.approx(1.0 / square, rel=1e-9)
    assert settings.diameter.after.value == pytest.approx(750.0)
    assert settings.diameter.last.value == pytest.approx(810.0)


def test_the_last_heat_as_told_is_brought_to_the_wall_after_the_repair() -> None:
    settings = found(bore(Melting(last_blast=1800.0)))
    assert settings.blast is not None
    assert settings.blast.stated
    assert settings.blast.last.value == 1800.0
    expected = 1800.0 * (375.0 / 405.0) ** 2
    assert settings.blast.after.value == pytest.approx(expected, rel=1e-9)
    both = found(bore(Melting(blast=1500.0, last_blast=1800.0)))
    assert both.blast is not None
    assert (both.blast.after.value, both.blast.last.value) == (1500.0, 1800.0)


def test_the_tolerance_of_the_repair_is_the_doubt_of_the_settings() -> None:
    """All round alike and anywhere within t: area 1 +- 2 t / R, evenly."""
    design = bore(Melting(rate=1000.0), repair=RepairRules(tolerance=7.5))
    settings = found(design)
    assert settings.rate is not None
    half = 2.0 * 7.5 / 375.0
    after = settings.rate.after
    assert after.sd == pytest.approx(1000.0 * half / np.sqrt(3.0))
    assert after.high95 - after.value == pytest.approx(950.0 * half)
    # drawn evenly in the tolerance and squared: to first order the same
    draws = np.random.default_rng(1).uniform(-7.5, 7.5, 200_000)
    areas = 1000.0 * (1.0 + draws / 375.0) ** 2
    assert after.sd == pytest.approx(float(np.std(areas)), rel=0.01)


def test_the_bed_of_the_last_heat_lay_in_the_wall_as_found() -> None:
    """Surveyed from 100 to 1,400 mm: from there to 1,700 it is as drawn."""
    settings = found(bore(WORKED))
    assert settings.bed_coke is not None
    worn = np.pi * 405.0**2 * 1200.0 + np.pi * 375.0**2 * 300.0
    assert settings.bed_coke.last.value == pytest.approx(worn * 482e-9, rel=5e-3)


def test_a_bore_that_tapers_is_summed_as_frusta() -> None:
    tapered = Profile(
        np.array([0.0, 1000.0, 1000.0, 2000.0]), np.array([300, 400, 350, 350])
    )
    settings = found(
        bore(Melting(bed=1155.0, coke_density=500.0), profile=tapered), bottom=500.0
    )
    assert settings.bed_coke is not None
    # 500 mm from radius 350 to 400, then 500 mm of 350
    frustum = np.pi / 3.0 * 500.0 * (350.0**2 + 350.0 * 400.0 + 400.0**2)
    volume = frustum + np.pi * 350.0**2 * 500.0
    assert settings.bed_coke.after.value == pytest.approx(volume * 500e-9)


def test_what_the_shop_does_not_tell_is_not_made_up() -> None:
    assert set_for(bore(Melting())) is None
    settings = found(bore(Melting(coke_ratio=9.0)))
    assert settings.rate is settings.blast is settings.coke is None
    assert settings.bed is settings.bed_coke is settings.bed_from is None
    no_tuyeres = found(bore(replace(WORKED, pressure=5.0), openings=()))
    assert no_tuyeres.bed is no_tuyeres.bed_coke is None
    surface = known_surface(bore(WORKED), KnownWall(burnt_back_evenly))
    assert run_settings(None, surface, surface.design) is None
