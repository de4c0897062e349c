"""The survey before a repair read from its folder, and what is refused."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from geom.compare import Findings, assess
from geom.errors import InputError
from geom.readings.surveys import load_survey_before
from geom.surface import RadialSurface, reconstruct
from geom.views.netcdf import write_netcdf
from tests.walls import tapered_design, worn_readings

DESIGN = tapered_design(name="Cupola 2")


@pytest.fixture(scope="module")
def surveyed() -> tuple[RadialSurface, Findings]:
    readings = worn_readings(DESIGN, azimuths=10, heights=8)
    surface = reconstruct(readings, DESIGN, spacing=25.0, columns=90)
    return surface, assess(surface, DESIGN, title="Heat 41")


def write(folder: Path, surveyed: tuple[RadialSurface, Findings]) -> Path:
    surface, findings = surveyed
    folder.mkdir()
    write_netcdf(folder / "surface.nc", surface, findings)
    (folder / "findings.json").write_text(json.dumps(findings.to_dict()), "utf-8")
    return folder


@pytest.fixture
def folder(tmp_path: Path, surveyed: tuple[RadialSurface, Findings]) -> Path:
    return write(tmp_path / "before", surveyed)


def change(folder: Path, edit: Callable[[dict[str, Any]], object]) -> None:
    path = folder / "findings.json"
    document = json.loads(path.read_text("utf-8"))
    edit(document)
    path.write_text(json.dumps(document), "utf-8")


def test_what_was_found_is_read_back_in_mm(
    folder: Path, surveyed: tuple[RadialSurface, Findings]
) -> None:
    surface, findings = surveyed
    before = load_survey_before(folder, DESIGN)
    rows = surface.grid.surveyed_rows
    np.testing.assert_array_equal(before.zone, findings.maps.zone[rows])
    np.testing.assert_allclose(before.survey.cutback, surface.cutback[rows])
    assert before.title == "Heat 41"
    assert (before.low, before.high) == pytest.approx((100.0, 1400.0))
    assert before.rebuild.value == pytest.approx(findings.volume.rebuild.value)
    assert before.net.sd == pytest.approx(findings.volume.net.sd)
    assert len(before.zones) == len(findings.zones) > 0
    for read, found in zip(before.zones, findings.zones, strict=True):
        assert (read.id, read.action) == (found.id, found.action)
        assert read.area == pytest.approx(found.area)
        assert read.volume.high95 == pytest.approx(found.volume.high95)
        assert read.cutback_mean.sd == pytest.approx(found.cutback_mean.sd)
    assert before.planned is None


def test_a_plan_beside_the_findings_is_read(folder: Path) -> None:
    change(folder, lambda document: document.update(repair={"notes": []}))
    assert load_survey_before(folder, DESIGN).planned is None
    account = {"rebuild": 0.050, "left": 0.002}
    change(folder, lambda document: document.update(repair={"account": account}))
    before = load_survey_before(folder, DESIGN)
    assert before.planned == pytest.approx(48e6)
    assert before.repair == {"account": account}
    change(folder, lambda document: document.update(repair=[]))
    assert load_survey_before(folder, DESIGN).repair == {}


def test_another_drawing_is_refused(folder: Path) -> None:
    other = tapered_design(name="Cupola 3")
    with pytest.raises(InputError, match="lining is 'Cupola 2' there"):
        load_survey_before(folder, other)


def test_files_of_two_surveys_are_refused(
    folder: Path, surveyed: tuple[RadialSurface, Findings]
) -> None:
    surface, findings = surveyed
    later = replace(findings, created="2031-01-01T00:00:00+00:00")
    write_netcdf(folder / "surface.nc", surface, later)
    with pytest.raises(InputError, match="was made") as caught:
        load_survey_before(folder, DESIGN)
    assert caught.value.file == str(folder / "findings.json")


SPOILED: dict[str, tuple[Callable[[dict[str, Any]], object], str]] = {
    "another schema": (lambda t: t.update(schema="other/1"), "no daubline.findings/1"),
    "no zones": (lambda t: t.pop("zones"), "zones: is not as it was written"),
    "zones are a number": (lambda t: t.update(zones=3), "zones: is not as"),
    "unknown action": (lambda t: t["zones"][0].update(action="paint"), "zones: is not"),
    "no volume": (lambda t: t["volume"].pop("net"), "volume: is not as"),
    "negative sd": (lambda t: t["volume"]["net"].update(sd=-1), "volume: is not as"),
    "a word for a number": (
        lambda t: t["surveyed"].update(height_from="low"),
        "surveyed: is not as",
    ),
    "infinite": (lambda t: t["volume"]["net"].update(value=1e999), "cannot be read"),
    "a zone lost": (lambda t: t["zones"].pop(), "tells nothing of zone"),
    "a spoiled plan": (lambda t: t.update(repair={"account": {}}), "repair: is not as"),
}


@pytest.mark.parametrize("case", SPOILED)
def test_spoiled_findings_are_refused_by_name(folder: Path, case: str) -> None:
    edit, words = SPOILED[case]
    change(folder, edit)
    with pytest.raises(InputError, match=words) as caught:
        load_survey_before(folder, DESIGN)
    assert caught.value.file == str(folder / "findings.json")


@pytest.mark.parametrize(
    "content", [b"", b"{", b"\xff\xfe" * 9, b"[" * 5000, b'{"volume": 1e400}']
)
def test_what_is_no_json_document_is_refused(folder: Path, content: bytes) -> None:
    (folder / "findings.json").write_bytes(content)
    with pytest.raises(InputError):
        load_survey_before(folder, DESIGN)


def test_a_number_too_large_for_json_is_refused(folder: Path) -> None:
    path = folder / "findings.json"
    text = path.read_text("utf-8")
    path.write_text(text.replace('"height_from": 100.0', '"height_from": 1e999'))
    with pytest.raises(InputError, match="surveyed: is not as it was written"):
        load_survey_before(folder, DESIGN)


def test_a_folder_without_findings_is_refused(folder: Path) -> None:
    (folder / "findings.json").unlink()
    with pytest.raises(InputError, match=r"no findings\.json"):
        load_survey_before(folder, DESIGN)


def test_a_surface_without_zones_is_refused(folder: Path) -> None:
    import xarray as xr

    path = folder / "surface.nc"
    with xr.open_dataset(path, engine="h5netcdf") as data:
        bare = data.load().drop_vars("zone")
    path.unlink()
    bare.to_netcdf(path, engine="h5netcdf")
    with pytest.raises(InputError, match="no zones"):
        load_survey_before(folder, DESIGN)
