"""Whatever stands in a survey, log or sheet read back, it is read or refused."""

from __future__ import annotations

import json
from collections.abc import Callable
from functools import cache, partial
from itertools import product
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from geom.compare import assess
from geom.errors import InputError
from geom.readings import load_past_survey
from geom.readings.cloud import read_targets
from geom.readings.surveys import SurveyBefore, load_survey_before
from geom.record.store.heat_log import read_heat_log
from geom.surface import reconstruct
from geom.views.netcdf import write_netcdf
from tests.walls import tapered_design, worn_readings

SCANS = Path(__file__).resolve().parents[2] / "scans"
DESIGN = tapered_design(name="Cupola 2")
QUIET = settings(
    max_examples=30,
    deadline=None,
    derandomize=True,
    database=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
BITS = st.sampled_from(
    [b"\x00", b"\xff" * 4, b"\xff" * 8, b"\x00" * 8, b"nan", b"9" * 320, b",", b";",
     b"\n", b'"', b"-1", b"e999", b"2026-02-30", b"/", b"\xe2\x85\x9c"]
)  # fmt: skip
EDITS = st.lists(
    st.tuples(st.booleans(), st.one_of(st.floats(0, 1), st.floats(0, 0.05)), BITS),
    min_size=1,
    max_size=3,
)


#: What numbers are changed to, in a surface file and in findings.
ODD = (np.nan, np.inf, -np.inf, -1.0, 0.0, 1e30, -1e30)
ODD_JSON = (None, True, [], "no", -1, 0, 1e300, 10**400, "daub", {"value": 1})
#: Parts of the findings that are read.
READ = ("schema", "created", "surveyed", "volume", "zones")
FIELDS = ("cutback", "cutback_sd", "design_radius", "surveyed", "height", "azimuth")


@pytest.fixture(scope="module")
def surface_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    readings = worn_readings(DESIGN, azimuths=8, heights=6)
    surface = reconstruct(readings, DESIGN, spacing=50.0, columns=36)
    path = tmp_path_factory.mktemp("heat-41") / "surface.nc"
    findings = assess(surface, DESIGN)
    write_netcdf(path, surface, findings)
    path.with_name("findings.json").write_text(json.dumps(findings.to_dict()), "utf-8")
    return path


def edited(content: bytes, edits: list[tuple[bool, float, bytes]]) -> bytes:
    for over, place, bit in edits:
        at = int(place * len(content))
        content = content[:at] + bit + content[at + over * len(bit) :]
    return content


def read_or_refused(read: Callable[[], object]) -> bool:
    try:
        read()
    except InputError as fault:
        return fault.file is None or len(str(fault)) > 1000
    return False


def read_or_named(read: Callable[[], Any], path: Path) -> Any:
    """What is read, or None where the file is refused by its name."""
    try:
        return read()
    except InputError as fault:
        return None if fault.file == str(path) else fault


@given(edits=EDITS)
@QUIET
def test_a_spoiled_surface_file(surface_file, tmp_path, edits):
    (tmp_path / "surface.nc").write_bytes(edited(surface_file.read_bytes(), edits))
    assert not read_or_refused(partial(load_past_survey, tmp_path, DESIGN))


@pytest.mark.parametrize("name", FIELDS)
def test_a_surface_file_with_any_number_changed(surface_file, monkeypatch, name):
    """What a survey promises holds, whatever the numbers were."""
    sound = opened(surface_file)
    dims, values = sound[name].dims, sound[name].to_numpy()
    # as if read, so that many can be looked at; reading is spoiled above
    monkeypatch.setattr("geom.readings.surveys._read", lambda *_: changed)
    read = partial(load_past_survey, surface_file.parent, DESIGN)
    for value, share, count in product(ODD, (0.0, 0.3, 0.5, 1.0), (1, 9)):
        spoiled, at = values.copy(), int(share * (values.size - 1))
        with np.errstate(invalid="ignore", over="ignore"):
            spoiled.flat[at : at + count] = np.full(1, value).astype(values.dtype)
        changed = sound.assign({name: (dims, spoiled)})
        survey = read_or_named(read, surface_file)
        if survey is None:
            continue
        there = changed["surveyed"].to_numpy() > 0
        assert np.isfinite(changed["cutback"].to_numpy()[there]).all(), (value, at)
        assert (np.abs(survey.cutback) < 1e6).all()
        assert ((survey.cutback_sd >= 0.0) & (survey.cutback_sd < 1e6)).all()
        assert np.isfinite(survey.azimuth).all()
        assert (np.diff(survey.height) > 0.0).all()
        assert survey.cutback.shape == (survey.height.size, survey.azimuth.size)


@cache
def opened(path: Path) -> Any:
    import xarray as xr

    with xr.open_dataset(path, engine="h5netcdf") as data:
        return data.load()


def leaves(part: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """Places of everything in a document, by its keys."""
    keys = part if isinstance(part, dict) else range(len(part))
    found = [(*path, key) for key in keys]
    for key in keys:
        if isinstance(part[key], (dict, list)):
            found += leaves(part[key], (*path, key))
    return found


def test_findings_with_any_value_changed(surface_file, tmp_path, monkeypatch):
    """What a survey before a repair promises holds, whatever its document says."""
    (tmp_path / "surface.nc").touch()
    data = opened(surface_file)
    monkeypatch.setattr("geom.readings.surveys._read", lambda *_: data)
    path = tmp_path / "findings.json"
    sound = surface_file.with_name("findings.json").read_text("utf-8")
    read = refused = 0
    for place in leaves(json.loads(sound)):
        # what is read of it, and the first zone of many
        if place[0] not in READ or (place[0] == "zones" and place[1:2] > (0,)):
            continue
        for value in ODD_JSON:
            document = into = json.loads(sound)
            for step in place[:-1]:
                into = into[step]
            into[place[-1]] = value
            path.write_text(json.dumps(document), "utf-8")
            before = read_or_named(partial(load_survey_before, tmp_path, DESIGN), path)
            refused += before is None
            read += before is not None
            assert before is None or as_promised(before), (place, value)
    assert refused > 200
    assert read > 50


def as_promised(before: SurveyBefore) -> bool:
    """Whether every number of a survey is one, and every sd none below 0."""
    quantities = [before.rebuild, before.net]
    plain = [before.low, before.high]
    for zone in before.zones:
        quantities += [zone.volume, zone.cutback_mean]
        plain += [zone.azimuth_from, zone.azimuth_to, zone.area]
        plain += [zone.height_from, zone.height_to]
    for one in quantities:
        plain += [one.value, one.sd, one.low95, one.high95]
    return bool(np.isfinite(plain).all()) and all(one.sd >= 0.0 for one in quantities)


@pytest.mark.parametrize(
    ("name", "read"),
    [
        ("cupola-2-campaign.csv", read_heat_log),
        ("cupola-2-heat-41-targets.csv", partial(read_targets, unit_mm=None)),
    ],
)
def test_a_spoiled_log_or_sheet_of_targets(name, read, tmp_path):
    sound = (SCANS / name).read_bytes()
    path = tmp_path / name

    @given(edits=EDITS)
    @QUIET
    def spoiled(edits):
        path.write_bytes(edited(sound, edits))
        assert not read_or_refused(partial(read, path))

    spoiled()
