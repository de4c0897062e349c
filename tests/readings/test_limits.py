"""How much a survey's tables may hold: refused at once, with what to do instead."""

from __future__ import annotations

import time

import pytest

from geom.errors import InputError
from geom.readings import load_readings

LONG = "azimuth_deg,height_mm,radius_mm\n"


def long_form(rows: int) -> str:
    return LONG + "".join(
        f"{k % 360},{600 + k // 360},{457 + k % 2}\n" for k in range(rows)
    )


def test_a_sheet_of_twenty_thousand_readings_is_read(write, design):
    readings = load_readings(write(long_form(20_000)), design)
    assert len(readings) == 20_000


def test_one_row_more_is_refused(write, design):
    with pytest.raises(InputError, match=r"more than 20000 rows.*save them as x, y, z"):
        load_readings(write(long_form(20_001)), design)


def test_two_sheets_together_are_refused_as_one_is(write, design):
    first = write(long_form(10_001), "a.csv")
    second = write(long_form(10_001), "b.csv")
    with pytest.raises(
        InputError, match=r"b\.csv: there are more than 20,000 rod read"
    ):
        load_readings([first, second], design)


def test_a_wide_sheet_counts_its_cells(write, design):
    head = r"height_mm \ radius_mm," + ",".join(f"{k * 0.9:.1f}deg" for k in range(399))
    row = ",".join(["457"] * 399)
    text = head + "\n" + "".join(f"{600 + k},{row}\n" for k in range(51))
    with pytest.raises(InputError, match="more than 20,000 rod readings"):
        load_readings(write(text), design)


def test_a_wide_sheet_with_few_cells_filled_in_is_read(write, design):
    head = r"height_mm \ radius_mm," + ",".join(f"{k * 0.9:.1f}deg" for k in range(399))
    blank = "," * 396
    text = head + "\n" + "".join(f"{600 + k},457,458{blank}\n" for k in range(51))
    assert len(load_readings(write(text), design)) == 102


def test_a_table_of_too_many_cells_is_not_looked_at_further(write, design):
    text = LONG + ("1," * 399 + "1\n") * 5_000
    start = time.process_time()
    with pytest.raises(InputError, match="400000 cells"):
        load_readings(write(text), design)
    assert time.process_time() - start < 5.0


def test_thousands_of_stations_out_of_reach_are_read_in_no_time(write, design):
    rows = "".join(
        f"{k % 360},{600 + k // 360},{'n/a' if k % 2 else 457}\n" for k in range(19_000)
    )
    start = time.process_time()
    readings = load_readings(write(LONG + rows), design)
    assert len(readings) == len(readings.no_access.height) == 9_500
    assert time.process_time() - start < 10.0
