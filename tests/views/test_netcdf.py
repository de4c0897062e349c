"""surface.nc, read back with netCDF4."""

import netCDF4
import numpy as np
import pytest

from geom.views.netcdf import write_netcdf


@pytest.fixture(scope="module")
def data(furnace, tmp_path_factory):
    path = tmp_path_factory.mktemp("nc") / "surface.nc"
    write_netcdf(path, furnace.surface, furnace.findings)
    with netCDF4.Dataset(path) as opened:
        opened.set_auto_mask(False)
        yield opened


def test_fields_are_the_surface_and_its_maps(furnace, data):
    maps, surface = furnace.findings.maps, furnace.surface
    asked = {
        "radius": surface.radius,
        "radius_sd": surface.radius_sd,
        "cutback": maps.cutback,
        "cutback_sd": maps.cutback_sd,
        "p_brick": maps.p_brick,
        "action": maps.action,
        "zone": maps.zone,
        "surveyed": maps.surveyed,
        "opening": surface.grid.opening,
    }
    for name, field in asked.items():
        assert data[name].dimensions == ("height", "azimuth")
        assert np.array_equal(
            data[name][:], field.astype(data[name].dtype), equal_nan=True
        ), name
    drawn = data["design_radius"][:]
    assert (drawn == surface.grid.design_radius[:, None]).all()
    known = maps.surveyed
    gap = (data["radius"][:] - drawn - data["cutback"][:])[known]
    assert np.abs(gap).max() < 1e-9


def test_every_length_says_millimetres(data):
    for name in ("radius", "radius_sd", "design_radius", "cutback", "cutback_sd"):
        assert data[name].units == "mm"
    assert data["height"].units == "mm"
    assert data["azimuth"].units == "degree"
    assert data["p_brick"].units == "1"


def test_actions_are_a_flag_variable(furnace, data):
    action = data["action"]
    assert action.dtype == np.int8
    assert action.flag_values.tolist() == [-1, 0, 1, 2, 3, 4]
    assert action.flag_values.dtype == np.int8
    words = action.flag_meanings.split()
    assert words == ["no_call", "leave", "daub", "brick", "chip", "measure_again"]
    brick = furnace.findings.maps.cutback > 31.75
    code = action.flag_values[words.index("brick")]
    calm = furnace.findings.maps.cutback_sd <= 8.0
    assert (action[:][brick & calm] == code).all()


def test_it_says_what_azimuth_means(data):
    assert data.Conventions == "CF-1.11"
    assert data.azimuth_zero == "tap hole"
    assert data.azimuth_sense == "clockwise seen from above"
    assert data.height_zero == "bottom plate"
    assert data.title == "Heat 212, after drop"
    assert data.lining == "Cupola A (invented)"
    assert data.created == "2026-01-05T06:30:00+00:00"
    assert data.source == "daubline 0.1.0"


def test_every_variable_has_a_name_for_people(data):
    for name, variable in data.variables.items():
        assert variable.long_name, name
