"""Reading errors: resolution, stated sd, repeatability, centring, placement, tilt."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from geom.compare import assess
from geom.design import DatumBand, Design, RodErrors
from geom.readings import RodReadings
from geom.surface import reconstruct
from geom.surface.gp.observations import Source
from geom.surface.radial import DoubtedBand
from geom.surface.rods.errors import Slopes, rod_noise
from geom.units import Float
from tests.walls import plain_design, rod_readings, stations, worn

DESIGN = plain_design()


def some_readings(sd: float = np.nan, step: float = 3.175) -> RodReadings:
    azimuth, height = stations(12, 9, 100.0, 1400.0)
    return rod_readings(
        azimuth, height, 450.0 + worn(azimuth, height), sd=sd, step=step
    )


def sources(
    readings: RodReadings, design: Design = DESIGN, slopes: Slopes | None = None
) -> dict[str, Source]:
    none = np.zeros(len(readings), dtype=bool)
    noise = rod_noise(readings, design, pseudo=none, slopes=slopes)
    return {source.name: source for source in noise.sources}


def test_an_eighth_of_an_inch_is_a_rectangle_of_sd_0_92_mm() -> None:
    resolution = sources(some_readings())["rod resolution"]
    # JCGM 100:2008, 4.3.7: a / sqrt(3) with a = step / 2
    assert resolution.sd == pytest.approx(3.175 / 2.0 / np.sqrt(3.0))
    assert resolution.kind == "B"


def test_a_stated_sd_stands_alone() -> None:
    told = sources(some_readings(sd=2.5))
    assert list(told) == ["sd stated on the sheet"]
    np.testing.assert_allclose(told["sd stated on the sheet"].own, 6.25)


def test_the_rods_own_step_goes_before_that_of_the_sheet() -> None:
    design = plain_design(rod=RodErrors(step=5.0))
    resolution = sources(some_readings(step=0.1), design)["rod resolution"]
    assert resolution.sd == pytest.approx(5.0 / np.sqrt(12.0))


def test_a_rod_off_the_axis_reads_a_first_harmonic_and_a_diameter_nothing() -> None:
    readings = some_readings()
    centring = sources(readings)["rod centring"]
    turn = np.deg2rad(readings.azimuth[:, None] - readings.azimuth[None, :])
    told = centring.shared @ centring.shared.T
    np.testing.assert_allclose(told, 2.0**2 * np.cos(turn), atol=1e-12)
    across = replace(readings, kind=("diameter",) * len(readings))
    assert "rod centring" not in sources(across)


def test_a_rod_set_anew_at_each_height_shares_its_error_there_alone() -> None:
    readings = some_readings()
    design = plain_design(rod=RodErrors(set_up="height"))
    shared = sources(readings, design)["rod centring"].shared
    told = shared @ shared.T
    distances = readings.height[:, None] != readings.height[None, :]
    assert np.abs(told[distances]).max() == 0.0
    assert np.diag(told) == pytest.approx(4.0)


def test_misplaced_readings_err_by_the_slope_of_the_wall() -> None:
    readings = some_readings()
    n = len(readings)
    told = sources(readings, slopes=Slopes(np.full(n, 0.8), np.full(n, -0.25)))
    assert told["azimuth of the readings"].own == pytest.approx((1.0 * 0.8) ** 2)
    assert told["height of the readings"].own == pytest.approx((3.0 * 0.25) ** 2)
    tilt = np.deg2rad(0.5)
    own = np.hypot(450.0 * tilt**2 / np.sqrt(2.0), 450.0 * tilt * 0.25)
    assert told["rod tilt"].own == pytest.approx(own**2)


def test_stand_ins_of_a_band_share_half_their_variance_those_of_two_none() -> None:
    """A band is laid in one go: dozens of zeros say no more than one straight-edge."""
    low, high = DatumBand(90.0, 320.0), DatumBand(1250.0, 1450.0)
    design = plain_design(datum_bands=(low, high))
    azimuth, height = stations(6, 7, 100.0, 1400.0)
    readings = rod_readings(azimuth, height, np.full(42, 450.0), sd=2.0)
    of_low = (height >= low.low) & (height <= low.high)
    of_high = height >= high.low
    pseudo = of_low | of_high
    assert of_low.sum() > 1 < of_high.sum()
    noise = rod_noise(readings, design, pseudo=pseudo)
    source = {s.name: s for s in noise.sources}["sound wall of the datum bands"]
    table = np.diag(source.own) + source.shared @ source.shared.T
    np.testing.assert_allclose(np.diag(table)[pseudo], 2.0 * 2.0**2)
    correlation = table[np.ix_(pseudo, pseudo)] / 8.0
    alike = of_low[pseudo][:, None] == of_low[pseudo][None, :]
    off = ~np.eye(int(pseudo.sum()), dtype=bool)
    np.testing.assert_allclose(correlation[alike & off], 0.5)
    np.testing.assert_allclose(correlation[~alike], 0.0)
    # readings are no part of it
    assert not table[~pseudo].any()


def test_slope_of_the_noise_agrees_with_differences() -> None:
    centring = sources(some_readings())["rod centring"]
    pull = np.random.default_rng(1).normal(size=(108, 108))
    pull = pull + pull.T

    def total(sd: float) -> float:
        s = centring.scaled(sd)
        return float(np.sum(pull * (np.diag(s.own) + s.shared @ s.shared.T)))

    step = 1e-5
    rise = total(2.0 * np.exp(step)) - total(2.0 * np.exp(-step))
    assert centring.slope(pull) == pytest.approx(rise / (2.0 * step), rel=1e-6)


def test_repeatability_is_learned_from_readings_repeated_at_each_station() -> None:
    rng = np.random.default_rng(4)
    azimuth, height = stations(10, 8, 100.0, 1400.0)
    azimuth, height = np.tile(azimuth, 3), np.tile(height, 3)
    value = 450.0 + worn(azimuth, height) + rng.normal(0.0, 3.0, azimuth.size)
    surface = reconstruct(
        rod_readings(azimuth, height, value), DESIGN, spacing=100.0, columns=36
    )
    learned = {s.name: s.sd for s in surface.posterior.noise.sources}
    # 160 degrees of freedom give an sd to 6 %; the prior pulls a little towards 1.5
    assert learned["rod repeatability"] == pytest.approx(3.0, rel=0.2)


def off_axis_sheet(by: float) -> tuple[RodReadings, Float, Float]:
    """A wall worn in its middle, read by a rod ``by`` mm off towards 110 degrees."""
    azimuth, height = stations(16, 12, 100.0, 1450.0)
    wear = 30.0 * np.exp(-(((height - 650.0) / 200.0) ** 2))
    error = np.random.default_rng(9).normal(0.0, 1.0, azimuth.size)
    short = by * np.cos(np.deg2rad(azimuth - 110.0))
    return rod_readings(azimuth, height, 450.0 + wear - short + error), azimuth, height


def first_harmonic(values: Float, azimuth: Float) -> float:
    return 2.0 * float(np.abs(np.mean(values * np.exp(-1j * np.deg2rad(azimuth)))))


def test_a_rod_10_mm_off_the_axis_is_not_reported_as_wear() -> None:
    design = plain_design(datum_bands=(DatumBand(1250.0, 1450.0),))
    readings, _, _ = off_axis_sheet(10.0)
    surface = reconstruct(readings, design, spacing=25.0, columns=72)
    ring = int(np.argmin(abs(surface.height - 650.0)))
    found = first_harmonic(surface.cutback[ring], surface.azimuth)
    as_read = readings.value[np.isclose(readings.height, 714.0, atol=60.0)] - 450.0
    assert first_harmonic(as_read[:16], readings.azimuth[:16]) > 8.0
    assert found < 2.0
    centring = next(
        b for b in assess(surface, design).budget if b.source == "rod centring"
    )
    assert 4.0 < centring.sd < 20.0


def test_without_sound_wall_an_error_at_all_heights_alike_is_laid_to_the_rod() -> None:
    readings, _, _ = off_axis_sheet(10.0)
    fair = reconstruct(readings, DESIGN, spacing=25.0, columns=72)
    rows = np.flatnonzero(fair.grid.surveyed_rows)
    height = fair.height[rows]
    wear = 30.0 * np.exp(-(((height - 650.0) / 200.0) ** 2))[:, None]
    off = np.abs(fair.cutback[rows] - wear)
    assert np.mean(off < 1.96 * fair.radius_sd[rows]) > 0.85
    trusting = replace(readings, sd=np.full(len(readings), 1.0))
    fooled = reconstruct(trusting, DESIGN, spacing=25.0, columns=72)
    missed = np.abs(fooled.cutback[rows] - wear)
    assert np.mean(missed < 1.96 * fooled.radius_sd[rows]) < 0.5


def test_a_dirty_datum_band_is_not_taken_as_sound_and_a_warning_says_so() -> None:
    readings, _, height = off_axis_sheet(0.0)
    dirty = replace(
        readings, value=readings.value + np.where(height > 1200.0, 15.0, 0.0)
    )
    design = plain_design(datum_bands=(DatumBand(1250.0, 1450.0),))
    surface = reconstruct(dirty, design, spacing=50.0, columns=36)
    assert surface.diagnostics == (DoubtedBand(design.datum_bands[0]),)
    top = surface.cutback[np.flatnonzero(surface.grid.surveyed_rows)[-1]]
    assert np.mean(top) == pytest.approx(15.0, abs=2.0)
