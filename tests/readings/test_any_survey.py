"""Whatever stands in a survey, log or sheet read back, it is read or refused."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from geom.compare import assess
from geom.errors import InputError
from geom.readings import load_past_survey
from geom.readings.cloud import read_targets
from geom.record.store.heat_log import read_heat_log
from geom.surface import reconstruct
from geom.views.netcdf import write_netcdf
from tests.walls import tapered_design, worn_readings

SCANS = Path(__file__).resolve().parents[2] / "scans"
DESIGN = tapered_design(name="Cupola 2")
QUIET = settings(
    max_examples=60,
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


@pytest.fixture(scope="module")
def surface_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    readings = worn_readings(DESIGN, azimuths=8, heights=6)
    surface = reconstruct(readings, DESIGN, spacing=50.0, columns=36)
    path = tmp_path_factory.mktemp("heat-41") / "surface.nc"
    write_netcdf(path, surface, assess(surface, DESIGN))
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


@given(edits=EDITS)
@QUIET
def test_a_spoiled_surface_file(surface_file, tmp_path, edits):
    (tmp_path / "surface.nc").write_bytes(edited(surface_file.read_bytes(), edits))
    assert not read_or_refused(partial(load_past_survey, tmp_path, DESIGN))


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
