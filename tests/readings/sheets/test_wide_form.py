"""The wide form says what the long form says."""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from geom.readings import load_readings

WIDE = """\
height_in \\ radius_in,0deg,30deg,270deg,note
24,18 3/8,,18 1/2,seam
30,,18 5/8,18 3/4,
"""


def test_the_wide_form_is_read(write, design):
    readings = load_readings(write(WIDE), design)
    assert readings.kind == ("radius",) * 4
    assert readings.azimuth.tolist() == [0.0, 270.0, 30.0, 270.0]
    assert readings.height == pytest.approx([609.6, 609.6, 762.0, 762.0], abs=1e-9)
    inches = [18.375, 18.5, 18.625, 18.75]
    assert readings.value == pytest.approx([25.4 * r for r in inches], abs=1e-9)
    assert readings.step == pytest.approx([3.175] * 4)
    assert readings.note == ("seam", "seam", "", "")
    assert readings.place == (
        "rod.csv, row 2, column 0deg",
        "rod.csv, row 2, column 270deg",
        "rod.csv, row 3, column 30deg",
        "rod.csv, row 3, column 270deg",
    )


@pytest.mark.parametrize(
    ("corner", "heads"),
    [
        ("height_in/radius_in", "0 deg,30 DEG,270deg"),
        ("HEIGHT_IN \\ Radius_in", "0°,30 °,270°"),
        ('"height_in  /  radius_in"', '"0deg",30.0deg,270deg'),
    ],
)
def test_the_header_may_be_typed_as_it_comes(write, design, corner, heads):
    plain = load_readings(write(WIDE), design)
    text = WIDE.replace("height_in \\ radius_in,0deg,30deg,270deg", f"{corner},{heads}")
    other = load_readings(write(text, "other.csv"), design)
    assert other.value.tolist() == plain.value.tolist()
    assert other.azimuth.tolist() == plain.azimuth.tolist()


@pytest.mark.parametrize(("kind", "value"), [("diameter", "93,1"), ("cutback", "1,4")])
def test_other_kinds_units_and_decimal_commas(write, design, kind, value):
    text = f"height_mm \\ {kind}_cm;22,5deg;360deg\n600;{value};{value}\n"
    readings = load_readings(write(text), design)
    assert readings.kind == (kind, kind)
    assert readings.azimuth.tolist() == [22.5, 0.0]
    assert readings.height.tolist() == [600.0, 600.0]
    mm = 10.0 * float(value.replace(",", "."))
    assert readings.value == pytest.approx([mm, mm], abs=1e-9)
    assert readings.step == pytest.approx([1.0, 1.0])


@given(
    cells=st.lists(
        st.lists(st.none() | st.integers(17 * 16, 26 * 16), min_size=3, max_size=3),
        min_size=1,
        max_size=6,
    ).filter(lambda rows: any(cell is not None for row in rows for cell in row))
)
@settings(
    suppress_health_check=[HealthCheck.function_scoped_fixture],
    max_examples=50,
    deadline=None,
    derandomize=True,
)
def test_wide_and_long_say_the_same(write, design, cells):
    azimuths, wide, long = (45, 100, 300), ["height_in / radius_in"], []
    wide[0] += "".join(f",{a}deg" for a in azimuths)
    for i, row in enumerate(cells):
        cells = ["" if c is None else f"{c // 16} {c % 16}/16" for c in row]
        wide.append(f"{25 + i}," + ",".join(cells))
        long += [f"{a},{25 + i},{t}" for a, t in zip(azimuths, cells, strict=True) if t]
    one = load_readings(write("\n".join(wide), "wide.csv"), design)
    head = ["azimuth_deg,height_in,radius_in"]
    other = load_readings(write("\n".join(head + long), "long.csv"), design)
    for name in ("azimuth", "height", "value", "step"):
        assert getattr(one, name).tolist() == getattr(other, name).tolist()
