"""Sheets of very many readings: their means in cells instead of each of them."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from geom.compare import Findings, assess
from geom.design import DatumBand, Profile
from geom.errors import InputError
from geom.quantity import Quantity
from geom.readings import RodReadings
from geom.surface import RadialSurface, reconstruct
from geom.surface.gp.observations import observe
from geom.surface.gp.prior import default_prior
from geom.surface.rods import fit
from geom.surface.rods.errors import rod_noise
from geom.surface.rods.fit import ReadingCells, average_in_cells
from geom.units import Float
from tests.walls import plain_design, rod_readings, stations, worn

STEPPED = plain_design(
    profile=Profile(
        np.array([0.0, 700.0, 700.0, 1500.0]), np.array([450.0, 450.0, 480.0, 480.0])
    ),
    datum_bands=(DatumBand(1300.0, 1400.0),),
)


def tilted(azimuth: Float, height: Float) -> Float:
    """A wall that is even within every cell."""
    return 0.02 * height + 0.05 * azimuth


def some(count: int = 900, kind: str = "radius", **how: object) -> RodReadings:
    rng = np.random.default_rng(5)
    azimuth, height = rng.uniform(0, 360, count), rng.uniform(0, 1500, count)
    value = STEPPED.profile.radius_at(height) + tilted(azimuth, height)
    return rod_readings(azimuth, height, value, kind, **how)  # type: ignore[arg-type]


def own_errors(sheet: RodReadings) -> Float:
    none = np.zeros(len(sheet), dtype=bool)
    noise = rod_noise(sheet, STEPPED, pseudo=none)
    return np.sum([source.own for source in noise.sources], axis=0)


def in_cells(sheet: RodReadings, most: int = 120) -> ReadingCells:
    every = np.ones(len(sheet), dtype=bool)
    prior = default_prior(450.0, 0.0, 1500.0, row=100.0, zone=None)
    return average_in_cells(sheet, own_errors(sheet), every, prior, STEPPED, most=most)


def test_means_lie_on_a_wall_that_runs_straight_through_its_cells() -> None:
    cells = in_cells(some())
    assert 60 < len(cells.sheet) <= 120
    found = observe(cells.sheet, STEPPED)
    expected = tilted(cells.sheet.azimuth, cells.sheet.height)
    np.testing.assert_allclose(found.value, expected, atol=1e-9)


def test_a_cell_keeps_to_one_side_of_a_step_and_to_one_kind() -> None:
    both = some().joined(some(300, "cutback")).joined(some(300, sd=1.0))
    cells = in_cells(both, most=200)
    below = both.height < 700.0
    for marks in (below, both.is_kind("cutback"), np.isnan(both.sd)):
        share = cells.weights @ marks.astype(float)
        assert np.all((share < 1e-12) | (share > 1.0 - 1e-12))


def test_diameters_count_by_either_end() -> None:
    sheet = some(400, "diameter")
    turned = replace(sheet, azimuth=(sheet.azimuth + 180.0) % 360.0)
    first, second = in_cells(sheet), in_cells(turned)
    np.testing.assert_allclose(first.sheet.azimuth, second.sheet.azimuth)
    np.testing.assert_allclose(first.sheet.value, second.sheet.value)


def test_errors_of_means_are_those_of_their_readings() -> None:
    sheet = some(300)
    cells = in_cells(sheet, most=40)
    none = np.zeros(len(sheet), dtype=bool)
    noise = rod_noise(sheet, STEPPED, pseudo=none)
    table = cells.weights.toarray()
    np.testing.assert_allclose(
        noise.averaged(cells.weights).matrix, table @ noise.matrix @ table.T, atol=1e-12
    )


def test_a_better_reading_weighs_more_in_its_cell() -> None:
    sheet = some(200, sd=1.0)
    sheet = replace(sheet, sd=np.where(np.arange(200) % 2, 0.5, 2.0))
    cells = in_cells(sheet, most=10)
    weight = np.asarray(cells.weights.sum(axis=0)).ravel()
    at = cells.number == np.bincount(cells.number).argmax()
    good, poor = weight[at & (sheet.sd == 0.5)], weight[at & (sheet.sd == 2.0)]
    assert good[0] / poor[0] == pytest.approx(16.0)


@pytest.mark.parametrize("sd", [0.0, 3.0])
def test_scatter_within_cells_is_that_of_the_wall_beyond_the_readings_error(
    sd: float,
) -> None:
    rng = np.random.default_rng(8)
    sheet = some(2000, sd=1.0)
    uneven = rng.normal(0.0, np.hypot(sd, 1.0), len(sheet))
    sheet = replace(sheet, value=sheet.value + uneven)
    cells = in_cells(sheet)
    count = np.bincount(cells.number)
    wall = tilted(sheet.azimuth, sheet.height)
    off = observe(sheet, STEPPED).value - wall
    found = cells.scatter(off, own_errors(sheet), grain=0.0)
    # (2000 - 120) degrees of freedom: 1.6 % of a variance near 1 + sd^2
    each = float(np.average(found.own * count, weights=count - 1.0))
    assert each == pytest.approx(sd**2, abs=0.15 + 0.1 * sd**2)


# --- the whole fit -------------------------------------------------------------------


def dense(count: int) -> RodReadings:
    """A worn wall with joints: every reading by chance a millimetre and a half off."""
    rng = np.random.default_rng(count)
    azimuth, height = stations(36, count // 36, 100.0, 1400.0)
    off = worn(azimuth, height) + rng.normal(0.0, 1.5, azimuth.size)
    return rod_readings(azimuth, height, np.round(450.0 + off), step=1.0)


@cache
def fitted(most: int) -> tuple[RadialSurface, Findings]:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(fit, "MOST_READINGS", most)
        patch.setitem(average_in_cells.__kwdefaults__, "most", 330)
        design = plain_design(datum_bands=(DatumBand(1400.0, 1500.0),))
        surface = reconstruct(dense(900), design, spacing=40.0)
    return surface, assess(surface, design)


def test_means_in_cells_change_the_wall_by_far_less_than_its_uncertainty() -> None:
    (every, _), (means, _) = fitted(5000), fitted(500)
    assert len(means.posterior.fitted.best.observed) < 400
    assert len(every.posterior.fitted.best.observed) > 900
    off = np.sqrt(np.nanmean((means.cutback - every.cutback) ** 2))
    assert off < 0.5 * np.sqrt(np.nanmean(every.radius_sd**2))
    more = np.sqrt(np.nanmean(means.radius_sd**2) / np.nanmean(every.radius_sd**2))
    assert 0.95 < more < 1.3


@pytest.mark.parametrize("name", ["rebuild", "net"])
def test_and_volumes_too(name: str) -> None:
    (_, every), (_, means) = fitted(5000), fitted(500)
    one: Quantity = getattr(every.volume, name)
    other: Quantity = getattr(means.volume, name)
    assert abs(other.value - one.value) < 0.3 * one.sd
    # a mean is taken as the wall at one place: wall about it counts as less seen
    assert 0.95 < other.sd / one.sd < 1.6


def test_cells_are_off_the_truth_as_they_say() -> None:
    surface, _ = fitted(500)
    truth = worn(surface.azimuth[None, :], surface.height[:, None])
    off = (surface.cutback - truth) / surface.radius_sd
    assert np.mean(np.abs(off[np.isfinite(off)]) < 1.96) > 0.93


def test_what_was_read_is_where_readings_are_not_where_bands_are() -> None:
    surface, _ = fitted(500)
    _, height = surface.read_at
    assert height.max() <= 1400.0
    assert height.size == len(surface.posterior.fitted.best.observed) - 24


def test_a_slip_among_very_many_readings_is_left_out_alone() -> None:
    sheet = dense(900)
    value = sheet.value.copy()
    value[437] += 60.0
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(fit, "MOST_READINGS", 500)
        patch.setitem(average_in_cells.__kwdefaults__, "most", 200)
        surface = reconstruct(
            replace(sheet, value=value), plain_design(), spacing=100.0
        )
    assert [r.place for r in surface.rejected] == [sheet.place[437]]


# --- how many there may be -----------------------------------------------------------


def test_more_readings_than_a_survey_may_have_are_refused() -> None:
    with pytest.raises(InputError, match="more than 20,000 rod readings"):
        reconstruct(some(20_001), STEPPED)


def test_a_rod_set_up_at_every_one_of_many_heights_is_refused() -> None:
    design = replace(STEPPED, rod=replace(STEPPED.rod, set_up="height"))
    with pytest.raises(InputError, match='write set_up = "sheet"'):
        reconstruct(some(600), design)


# the peak of its own memory: ru_maxrss would count the process that started it
_LARGEST = """
import sys
from pathlib import Path
sys.path[:] = {path!r}
from geom.surface import reconstruct
from tests.surface.rods.test_cells import dense
from tests.walls import plain_design
surface = reconstruct(dense(8_100), plain_design(), spacing=100.0)
(peak,) = [
    line.split()[1]
    for line in Path("/proc/self/status").read_text().splitlines()
    if line.startswith("VmHWM")
]
print(surface.count, peak)
"""


@pytest.mark.slow
def test_eight_thousand_readings_are_surveyed_in_less_than_a_gigabyte() -> None:
    run = subprocess.run(
        [sys.executable, "-c", _LARGEST.format(path=["", *sys.path])],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    count, kilobytes = map(int, run.stdout.split())
    assert count == 8_100
    # a single table of 8,100 x 8,100 has 525 MB
    assert kilobytes < 1_000_000
