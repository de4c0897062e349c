"""What may not matter: order of rows, azimuth zero, unit; and what must go one way."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from geom.compare import assess
from geom.readings import RodReadings
from geom.surface import RadialSurface, reconstruct
from tests.walls import plain_design, rod_readings, stations, worn

DESIGN = plain_design()


def sheet(azimuths: int = 12, heights: int = 13) -> RodReadings:
    """Past 140 readings a part of them is searched first: the order picked it."""
    azimuth, height = stations(azimuths, heights, 100.0, 1400.0)
    azimuth = (azimuth + 7.0 * height) % 360.0
    azimuth = np.round(azimuth)
    error = np.random.default_rng(5).normal(0.0, 1.5, azimuth.size)
    value = np.round(450.0 + worn(azimuth, height) + error, 1)
    value[17] += 25.4
    return rod_readings(azimuth, height, value)


def made(readings: RodReadings) -> RadialSurface:
    return reconstruct(readings, DESIGN, spacing=50.0, columns=36)


@cache
def surface_of_sheet() -> RadialSurface:
    return made(sheet())


def test_the_order_of_rows_has_no_effect_at_all() -> None:
    readings, surface = sheet(), surface_of_sheet()
    shuffled = readings.take(np.random.default_rng(1).permutation(len(readings)))
    other = made(shuffled)
    np.testing.assert_array_equal(other.radius, surface.radius)
    np.testing.assert_array_equal(other.radius_sd, surface.radius_sd)
    assert other.rejected == surface.rejected
    first, second = (assess(s, DESIGN) for s in (surface, other))
    assert second.volume == first.volume
    assert second.zones == first.zones
    assert second.levels == first.levels


def test_a_turn_of_azimuth_zero_turns_the_wall_and_nothing_else() -> None:
    readings, surface = sheet(), surface_of_sheet()
    turned = made(replace(readings, azimuth=(readings.azimuth + 90.0) % 360.0))
    moved = np.roll(surface.radius, 9, axis=1)
    # to a part of its uncertainty: the search ends within its own tolerance
    off = np.abs(turned.radius - moved)[~np.isnan(moved)]
    assert off.max() < 0.1 * float(np.nanmean(surface.radius_sd))
    assert {r.place for r in turned.rejected} == {r.place for r in surface.rejected}


def test_inches_make_the_same_wall_as_millimetres() -> None:
    readings = sheet()
    inches = replace(
        readings,
        value=(readings.value / 25.4) * 25.4,
        height=readings.height / 0.3 * 0.3,
    )
    one, other = surface_of_sheet(), made(inches)
    np.testing.assert_allclose(other.radius, one.radius, atol=1e-3)


def slagged() -> RodReadings:
    """8 x 6, a ridge of slag over a worn wall."""
    azimuth, height = stations(8, 6, 100.0, 1400.0)
    ridge = 16.0 * np.exp(-(((height - 620.0) / 90.0) ** 2)) * (azimuth < 180.0)
    error = np.random.default_rng(9).normal(0.0, 1.5, azimuth.size)
    value = 450.0 + 0.4 * worn(azimuth, height) - ridge + error
    return rod_readings(azimuth, height, np.round(value, 1))


@pytest.mark.parametrize("row", [16, 18])
def test_a_reading_made_deeper_raises_the_rebuild_and_by_as_much_as_it_is(
    row: int,
) -> None:
    """Half a millimetre by a tenth of what 5 mm do: draws are common to all.

    Drawn anew each time, sizes and lengths move the rebuild by more than half a
    millimetre does.
    """
    readings = slagged()

    def rebuild(deeper: float) -> float:
        value = readings.value.copy()
        value[row] += deeper
        told = assess(made(replace(readings, value=value)), DESIGN)
        return told.volume.rebuild.value

    was = rebuild(0.0)
    little, more = rebuild(0.5) - was, rebuild(5.0) - was
    assert little > 0.0
    assert more == pytest.approx(10.0 * little, rel=0.15)
