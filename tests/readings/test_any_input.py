"""Whatever a file holds, it is read or refused in a sentence; nothing else happens."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from geom.errors import InputError
from geom.readings import load_readings

pytestmark = pytest.mark.filterwarnings("ignore::geom.errors.InputWarning")

QUIET = settings(
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
    max_examples=100,
    deadline=None,
    derandomize=True,
)
SOUND = "azimuth_deg,height_in,radius_in,sd_mm,note\n10,24,18 3/8,1,a\n50,40,18.5,,b\n"
WIDE = "height_in \\ radius_in;45deg;90deg;note\n24;18,5;;a\n40;;18 3/8;b\n"
BITS = st.sampled_from(
    [",", ";", "\t", '"', "#", "\n", "\r", " ", "/", "-", "e9", "1e-999999999", "0",
     "9", "nan", "⅜", "²", "٣", "\\", "deg", "_in", "radius_mm", "\x00", "\u2028",
     "\ufeff"]
)  # fmt: skip


def well_told(fault, path) -> bool:
    """Check a refusal."""
    assert fault.file == str(path)
    assert fault.cure
    assert len(str(fault)) < 1000
    return False


def read_or_refused(path, design) -> bool:
    """Read a file, and check what comes of it."""
    try:
        found = load_readings(path, design)
    except InputError as fault:
        return well_told(fault, path)
    assert len(found) > 0
    for name in ("azimuth", "height", "value", "step"):
        part = getattr(found, name)
        assert part.shape == (len(found),)
        assert np.isfinite(part).all()
    assert ((found.azimuth >= 0.0) & (found.azimuth < 360.0)).all()
    assert (found.height >= design.profile.bottom).all()
    assert (found.height <= design.profile.top).all()
    assert (np.isnan(found.sd) | (found.sd > 0.0)).all()
    return True


@given(
    text=st.sampled_from([SOUND, WIDE]),
    spoil=st.lists(st.tuples(st.integers(0, 120), BITS), max_size=4),
)
@QUIET
def test_a_sheet_with_anything_typed_into_it(write, design, text, spoil):
    for place, bit in spoil:
        text = text[:place] + bit + text[place:]
    read_or_refused(write(text), design)


@given(content=st.binary(max_size=300))
@QUIET
def test_any_bytes(write, design, content):
    assert not read_or_refused(write(content), design)
    assert not read_or_refused(write(content, "rod.xlsx"), design)


@given(
    cells=st.lists(
        st.lists(
            st.one_of(st.integers(), st.floats(), st.text(max_size=8)), max_size=4
        ),
        max_size=4,
    )
)
@QUIET
def test_any_cells_below_a_sound_header(write, design, cells):
    rows = "\n".join(",".join(str(cell) for cell in row) for row in cells)
    read_or_refused(write(SOUND.partition("\n")[0] + "\n" + rows), design)


@given(place=st.floats(0.0, 1.0), byte=st.integers(0, 255))
@settings(QUIET, max_examples=50)
def test_a_workbook_with_a_byte_changed(workbook, design, place, byte):
    path = workbook({"rod": [["azimuth_deg", "height_in", "radius_in"], [10, 24, 18]]})
    content = bytearray(path.read_bytes())
    content[int(place * (len(content) - 1))] = byte
    path.write_bytes(bytes(content))
    read_or_refused(path, design)


def test_the_sheets_that_are_spoiled_above_are_sound(write, design):
    assert read_or_refused(write(SOUND), design)
    assert read_or_refused(write(WIDE), design)
