"""Stations read more than once: what does not agree there is left out and named."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from geom import InputError
from geom.design import Profile, RodErrors
from geom.readings import RodReadings
from geom.surface import reconstruct
from geom.surface.rods.repeats import contradicting_repeats
from tests.walls import plain_design, rod_readings, stations, worn

DESIGN = plain_design(shell_radius=None, length_unit="in")


def sheet() -> RodReadings:
    azimuth, height = stations(14, 9, 100.0, 1400.0)
    error = np.random.default_rng(6).normal(0.0, 1.0, azimuth.size)
    return rod_readings(azimuth, height, 450.0 + worn(azimuth, height) + error)


def again(
    readings: RodReadings,
    row: int,
    more: float,
    *,
    turned: float = 0.0,
    up: float = 0.0,
    place: str = "rod.csv, row 200",
) -> RodReadings:
    """The sheet with a row more: a station read again, so much deeper."""
    new = readings.take(np.array([row]))
    new = replace(
        new,
        azimuth=new.azimuth + turned,
        height=new.height + up,
        value=new.value + more,
        place=(place,),
    )
    return readings.joined(new)


def left_out(readings: RodReadings) -> set[str]:
    kept, rejected = contradicting_repeats(readings, DESIGN)
    places = {r.place for r in rejected}
    assert {readings.place[k] for k in np.flatnonzero(~kept)} == places
    return places


@pytest.mark.parametrize(("turned", "up"), [(0.0, 0.0), (0.9, -2.5)])
def test_two_readings_of_a_station_that_disagree_are_both_left_out_and_named(
    turned: float, up: float
) -> None:
    good, row = sheet(), 71
    two = again(good, row, -49.0, turned=turned, up=up)
    assert left_out(two) == {good.place[row], "rod.csv, row 200"}
    surface = reconstruct(two, DESIGN, spacing=50.0, columns=36)
    assert {r.place for r in surface.rejected} == {good.place[row], "rod.csv, row 200"}
    first, second = (found.reason.others for found in surface.rejected)
    assert [place for place, _ in first] == [surface.rejected[1].place]
    assert [place for place, _ in second] == [surface.rejected[0].place]
    assert second[0][1] == pytest.approx(surface.rejected[0].value, abs=0.1)
    assert surface.diagnostics == surface.rejected


@pytest.mark.parametrize("radius", [228.6, 457.2, 1371.6])
def test_an_inch_between_two_readings_of_a_station_is_too_much_on_any_bore(
    radius: float,
) -> None:
    """In eighths; on a bore of 9 ft a degree is an inch of girth, and nearly level."""
    profile = Profile(np.array([0.0, 1500.0]), np.array([radius, radius]))
    design = plain_design(profile=profile, shell_radius=None, length_unit="in")
    azimuth, height = stations(12, 10, 100.0, 1400.0)
    read = rod_readings(azimuth, height, np.full(120, radius), step=3.175)
    two = again(read, 40, 25.4)
    named = {r.place for r in contradicting_repeats(two, design)[1]}
    assert named == {read.place[40], "rod.csv, row 200"}
    within = again(read, 40, 9.0)
    assert contradicting_repeats(within, design)[1] == ()


def test_they_do_not_make_the_sheet_look_badly_read() -> None:
    def repeatability(readings: RodReadings) -> float:
        fitted = reconstruct(readings, DESIGN, spacing=50.0, columns=36).posterior
        return next(s.sd for s in fitted.noise.sources if s.name == "rod repeatability")

    good = sheet()
    assert repeatability(again(good, 71, -49.0)) < 1.2 * repeatability(good)


@pytest.mark.parametrize(("more", "turned", "up"), [
    (8.0, 0.0, 0.0),
    (49.0, 3.0, 0.0),
    (49.0, 0.0, 12.0),
])  # fmt: skip
def test_readings_within_chance_and_of_other_stations_stay(
    more: float, turned: float, up: float
) -> None:
    assert left_out(again(sheet(), 71, more, turned=turned, up=up)) == set()


def test_of_three_the_two_that_agree_are_believed() -> None:
    three = again(sheet(), 71, -49.0)
    three = again(three, 71, -2.0, place="rod.csv, row 201")
    assert left_out(three) == {"rod.csv, row 200"}


def test_a_rod_that_is_set_down_more_roughly_has_larger_stations() -> None:
    rough = replace(DESIGN, rod=RodErrors(azimuth_sd=4.0, height_sd=15.0))
    two = again(sheet(), 71, 60.0, turned=3.0, up=12.0)
    assert len(contradicting_repeats(two, rough)[1]) == 2


def test_diameters_from_either_end_are_of_one_station() -> None:
    azimuth, height = stations(7, 5, 100.0, 1400.0)
    read = rod_readings(azimuth, height, np.full(35, 930.0), kind="diameter")
    two = again(read, 10, 60.0, turned=180.0)
    assert left_out(two) == {read.place[10], "rod.csv, row 200"}
    assert left_out(again(read, 10, 9.0, turned=180.0)) == set()


def test_two_surveys_of_different_walls_are_not_one_survey() -> None:
    first = sheet()
    later = replace(
        first,
        value=first.value + 40.0,
        place=tuple(f"later.csv, row {k + 2}" for k in range(len(first))),
    )
    with pytest.raises(InputError, match="of 126 stations that were read twice, 126"):
        reconstruct(first.joined(later), DESIGN)
