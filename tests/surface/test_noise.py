"""Reading errors: resolution, stated sd, repeatability."""

from __future__ import annotations

import numpy as np
import pytest

from geom.design import RodErrors
from geom.surface.evidence import Evidence
from geom.surface.learn import learn
from geom.surface.noise import reading_noise
from geom.surface.observed import observe
from geom.surface.prior import default_prior
from tests.walls import plain_design, rod_readings, stations, worn


def some_readings(sd: float = np.nan, step: float = 3.175):
    azimuth, height = stations(12, 9, 100.0, 1400.0)
    return rod_readings(
        azimuth, height, 450.0 + worn(azimuth, height), sd=sd, step=step
    )


def test_an_eighth_of_an_inch_is_a_rectangle_of_sd_0_92_mm() -> None:
    noise = reading_noise(some_readings(), RodErrors())
    resolution = next(s for s in noise.sources if s.name == "rod resolution")
    # JCGM 100:2008, 4.3.7: a / sqrt(3) with a = step / 2
    assert resolution.sd == pytest.approx(3.175 / 2.0 / np.sqrt(3.0))
    assert resolution.kind == "B"


def test_a_stated_sd_stands_alone() -> None:
    noise = reading_noise(some_readings(sd=2.5), RodErrors())
    assert [s.name for s in noise.sources] == ["sd stated on the sheet"]
    np.testing.assert_allclose(noise.variance, 6.25)


def test_the_rods_own_step_goes_before_that_of_the_sheet() -> None:
    noise = reading_noise(some_readings(step=0.1), RodErrors(step=5.0))
    resolution = next(s for s in noise.sources if s.name == "rod resolution")
    assert resolution.sd == pytest.approx(5.0 / np.sqrt(12.0))


def test_repeatability_is_learned_from_readings_repeated_at_each_station() -> None:
    rng = np.random.default_rng(4)
    azimuth, height = stations(10, 8, 100.0, 1400.0)
    azimuth, height = np.tile(azimuth, 3), np.tile(height, 3)
    value = 450.0 + worn(azimuth, height) + rng.normal(0.0, 3.0, azimuth.size)
    readings, design = rod_readings(azimuth, height, value), plain_design()
    evidence = Evidence.of(
        observe(readings, design),
        reading_noise(readings, design.rod),
        default_prior(450.0, 100.0, 1400.0),
    )
    _, noise = evidence.filled(learn(evidence))
    # 160 degrees of freedom give an sd to 6 %; the prior pulls a little towards 1.5
    assert noise.repeatability == pytest.approx(3.0, rel=0.2)
