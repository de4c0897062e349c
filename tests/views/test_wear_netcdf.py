"""wear.nc, read back by another library than the one that wrote it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import netCDF4
import numpy as np
import pytest

from geom.record.store.grid import record_grid
from geom.record.wear.maps import RateMap, WearMaps
from geom.views.netcdf import write_wear_netcdf
from tests.walls import tapered_design

DESIGN = tapered_design()
GRID = record_grid(DESIGN)


@pytest.fixture
def maps() -> WearMaps:
    """Maps with wall that nothing is known of."""
    chance = np.random.default_rng(2)

    def field() -> np.ndarray:
        drawn = chance.random(GRID.shape)
        drawn[:5] = np.nan
        return drawn

    def rate() -> RateMap:
        spells = chance.integers(1, 9, GRID.shape)
        spells[:5] = 0
        return RateMap(field(), field(), spells)

    return WearMaps(
        height=GRID.height,
        azimuth=GRID.azimuth,
        opening=GRID.opening,
        per_heat=rate(),
        trend=field(),
        trend_sd=field(),
        per_hour=rate(),
        per_tonne=rate(),
    )


ABOUT = {"title": "wear of a furnace", "source": "daubline", "campaign": "of 2026\n"}


def test_what_another_library_reads_is_what_was_told(maps, tmp_path):
    path = tmp_path / "wear.nc"
    write_wear_netcdf(path, maps, DESIGN, ABOUT)
    told = {
        "wear_per_heat": maps.per_heat.rate,
        "wear_per_heat_sd": maps.per_heat.sd,
        "wear_per_hour": maps.per_hour.rate,
        "wear_per_hour_sd": maps.per_hour.sd,
        "wear_per_tonne": maps.per_tonne.rate,
        "wear_per_tonne_sd": maps.per_tonne.sd,
        "trend": maps.trend,
        "trend_sd": maps.trend_sd,
    }
    with netCDF4.Dataset(path) as data:
        for name, field in told.items():
            found = data[name]
            assert found.dimensions == ("height", "azimuth")
            assert found.units.startswith("mm")
            np.testing.assert_array_equal(found[:].filled(np.nan), field)
        np.testing.assert_array_equal(data["spells"][:], maps.per_heat.spells)
        np.testing.assert_array_equal(data["opening"][:], GRID.opening)
        np.testing.assert_array_equal(data["height"][:], GRID.height)
        np.testing.assert_array_equal(data["azimuth"][:], GRID.azimuth)
        assert data.Conventions == "CF-1.11"
        assert data.campaign == "of 2026"
        assert data["trend"].ancillary_variables == "trend_sd"
        assert "clockwise seen from above" in data["azimuth"].long_name


def test_what_was_not_told_is_not_there(maps, tmp_path):
    path = tmp_path / "wear.nc"
    write_wear_netcdf(path, replace(maps, per_hour=None, per_tonne=None), DESIGN, {})
    with netCDF4.Dataset(path) as data:
        assert "wear_per_heat" in data.variables
        assert not [name for name in data.variables if "hour" in name or "ton" in name]


def test_the_same_maps_are_the_same_bytes(maps, tmp_path):
    for name in ("one.nc", "other.nc"):
        write_wear_netcdf(tmp_path / name, maps, DESIGN, ABOUT)
    one, other = (Path(tmp_path, name).read_bytes() for name in ("one.nc", "other.nc"))
    assert one == other
    spoiled = replace(maps, trend=np.nan_to_num(maps.trend) + 1e-9)
    write_wear_netcdf(tmp_path / "third.nc", spoiled, DESIGN, ABOUT)
    assert (tmp_path / "third.nc").read_bytes() != one
