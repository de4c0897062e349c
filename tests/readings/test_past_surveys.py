"""Earlier surveys read from their folders, and what is refused."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest

from geom.compare import assess
from geom.design import Design, Profile
from geom.errors import InputError
from geom.readings import load_past_survey, load_past_surveys
from geom.surface import RadialSurface, reconstruct
from geom.views.netcdf import write_netcdf
from tests.walls import tapered_design, worn_readings

if TYPE_CHECKING:
    import xarray as xr

DESIGN = tapered_design(name="Cupola\n 2")


@pytest.fixture(scope="module")
def surface() -> RadialSurface:
    readings = worn_readings(DESIGN, azimuths=8, heights=6)
    return reconstruct(readings, DESIGN, spacing=25.0, columns=60)


@pytest.fixture(scope="module")
def folder(surface: RadialSurface, tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("heat-41")
    write_netcdf(made / "surface.nc", surface, assess(surface, DESIGN))
    return made


def test_what_was_found_is_read_back_on_the_surveyed_rows(
    folder: Path, surface: RadialSurface
) -> None:
    survey = load_past_survey(folder, DESIGN)
    rows = surface.grid.surveyed_rows
    assert 0 < rows.sum() < rows.size
    np.testing.assert_allclose(survey.height, surface.height[rows])
    np.testing.assert_allclose(survey.azimuth, surface.azimuth)
    np.testing.assert_allclose(survey.cutback, surface.cutback[rows])
    np.testing.assert_allclose(survey.cutback_sd, surface.radius_sd[rows])


def test_a_folder_given_twice_is_refused(folder: Path) -> None:
    again = folder / ".." / folder.name
    with pytest.raises(InputError, match="given twice"):
        load_past_surveys([folder, again], DESIGN)
    assert len(load_past_surveys([folder], DESIGN)) == 1


OTHERS: dict[str, tuple[Design, str]] = {
    "lining": (replace(DESIGN, name="Cupola 3"), "lining is 'Cupola 2' there"),
    "sense": (
        replace(DESIGN, azimuth_sense="counterclockwise"),
        "azimuth sense is 'clockwise seen from above' there",
    ),
    "azimuth 0": (replace(DESIGN, azimuth_zero="slag hole"), "azimuth zero is"),
    "height 0": (replace(DESIGN, height_zero="floor"), "height zero is"),
    "drawing": (
        replace(
            DESIGN,
            profile=Profile(np.array([0.0, 1500.0]), np.array([450.0, 480.0])),
        ),
        "another drawing: at height",
    ),
    "shorter drawing": (
        replace(
            DESIGN,
            profile=Profile(
                np.array([0.0, 600.0, 600.0, 1200.0]),
                np.array([450.0, 430.0, 450.0, 470.0]),
            ),
        ),
        "another drawing: at height",
    ),
}


@pytest.mark.parametrize("case", OTHERS)
def test_a_survey_of_another_lining_frame_or_drawing_is_refused(
    folder: Path, case: str
) -> None:
    design, words = OTHERS[case]
    with pytest.raises(InputError, match=words) as caught:
        load_past_survey(folder, design)
    assert caught.value.file == str(folder / "surface.nc")
    assert caught.value.cure


def turned(data: xr.Dataset) -> xr.Dataset:
    return data.assign_coords(azimuth=data["azimuth"] + 1.5)


def falling(data: xr.Dataset) -> xr.Dataset:
    return data.isel(height=slice(None, None, -1))


def holed(data: xr.Dataset) -> xr.Dataset:
    return data.assign(cutback=data["cutback"].where(data["azimuth"] > 20.0))


def certain(data: xr.Dataset) -> xr.Dataset:
    return data.assign(cutback_sd=-data["cutback_sd"])


def unread(data: xr.Dataset) -> xr.Dataset:
    return data.assign(surveyed=data["surveyed"] * 0)


def flat(data: xr.Dataset) -> xr.Dataset:
    return data.assign(cutback=data["cutback"].mean("azimuth"))


SPOILED: dict[str, tuple[Callable[[xr.Dataset], xr.Dataset], str]] = {
    "no sd": (lambda data: data.drop_vars("cutback_sd"), "no variable cutback_sd"),
    "one dimension": (flat, "not over height and azimuth"),
    "turned net": (turned, "not spread evenly"),
    "falling heights": (falling, "does not rise"),
    "holes": (holed, "not a number on surveyed wall"),
    "negative sd": (certain, "not a sd"),
    "nothing surveyed": (unread, "fewer than two surveyed rows"),
    "no attributes": (lambda data: data.assign_attrs(lining=""), "lining is ''"),
}


@pytest.mark.parametrize("case", SPOILED)
def test_a_spoiled_file_is_refused_by_name(
    folder: Path, tmp_path: Path, case: str
) -> None:
    import xarray as xr

    spoil, words = SPOILED[case]
    with xr.open_dataset(folder / "surface.nc", engine="h5netcdf") as data:
        spoil(data.load()).to_netcdf(tmp_path / "surface.nc", engine="h5netcdf")
    with pytest.raises(InputError, match=words) as caught:
        load_past_survey(tmp_path, DESIGN)
    assert caught.value.file == str(tmp_path / "surface.nc")


@pytest.mark.parametrize("content", [b"", b"junk" * 99, b"\x89HDF\r\n\x1a\n" * 20])
def test_what_is_no_netcdf_is_refused(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "surface.nc").write_bytes(content)
    with pytest.raises(InputError, match="NetCDF-4"):
        load_past_survey(tmp_path, DESIGN)


def test_a_cut_off_file_is_refused(folder: Path, tmp_path: Path) -> None:
    whole = (folder / "surface.nc").read_bytes()
    (tmp_path / "surface.nc").write_bytes(whole[: len(whole) // 2])
    with pytest.raises(InputError, match="NetCDF-4"):
        load_past_survey(tmp_path, DESIGN)


@pytest.mark.parametrize("name", ["nowhere", "file"])
def test_what_is_no_survey_folder_is_refused(tmp_path: Path, name: str) -> None:
    (tmp_path / "file").write_text("rod sheet")
    with pytest.raises(InputError, match=r"no surface\.nc") as caught:
        load_past_survey(tmp_path / name, DESIGN)
    assert "output folder" in (caught.value.cure or "")
