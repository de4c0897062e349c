"""Slips of the pen: found, named, left out; real holes read twice are kept."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from geom.compare import assess
from geom.readings import RodReadings
from geom.surface import RadialSurface, reconstruct
from geom.surface.rods.outliers import (
    LONE,
    chance_of_slip,
    drop_from_inverse,
    leave_one_out,
)
from tests.walls import plain_design, rod_readings, stations, worn

DESIGN = plain_design(shell_radius=None, length_unit="in")


def sheet() -> RodReadings:
    azimuth, height = stations(14, 9, 100.0, 1400.0)
    error = np.random.default_rng(6).normal(0.0, 1.5, azimuth.size)
    return rod_readings(azimuth, height, 450.0 + worn(azimuth, height) + error)


def with_value(readings: RodReadings, row: int, value: float) -> RodReadings:
    values = readings.value.copy()
    values[row] = value
    return replace(readings, value=values)


def rough(readings: RodReadings) -> RadialSurface:
    return reconstruct(readings, DESIGN, spacing=50.0, columns=36)


@cache
def clean() -> RadialSurface:
    return rough(sheet())


@pytest.mark.parametrize(
    "slip",
    [
        pytest.param(lambda r: r + 12 * 25.4, id="a foot out"),
        pytest.param(lambda r: r - 4 * 25.4, id="four inches short"),
        pytest.param(lambda r: 541.0 if r < 500 else 405.0, id="digits swapped"),
        pytest.param(lambda r: r + 60.0, id="60 mm too deep"),
        pytest.param(lambda r: 2.0 * r, id="a diameter for a radius"),
    ],
)
def test_a_misread_number_is_flagged_with_its_row_and_the_reading_expected(
    slip,
) -> None:
    good, row = sheet(), 71
    surface = rough(with_value(good, row, slip(good.value[row])))
    assert [r.place for r in surface.rejected] == [good.place[row]]
    found = surface.rejected[0]
    assert found.value == pytest.approx(slip(good.value[row]))
    assert found.expected == pytest.approx(good.value[row], abs=15.0)
    assert surface.diagnostics == surface.rejected
    np.testing.assert_allclose(surface.cutback, clean().cutback, atol=8.0)


def test_findings_count_what_was_read_and_what_was_left_out() -> None:
    good = sheet()
    findings = assess(rough(with_value(good, 71, good.value[71] + 12 * 25.4)), DESIGN)
    assert (findings.readings.count, findings.readings.rejected) == (len(good), 1)


def test_a_clean_sheet_loses_nothing() -> None:
    assert clean().rejected == ()


def test_two_slips_are_both_found() -> None:
    good = sheet()
    bad = with_value(with_value(good, 20, 600.0), 90, 380.0)
    places = {r.place for r in rough(bad).rejected}
    assert places == {good.place[20], good.place[90]}


def test_a_hole_read_a_second_time_is_believed() -> None:
    good, row = sheet(), 71
    once = with_value(good, row, good.value[row] + 80.0)
    again = replace(
        once,
        kind=once.kind[row : row + 1],
        azimuth=once.azimuth[row : row + 1],
        height=once.height[row : row + 1],
        value=once.value[row : row + 1] + 2.0,
        sd=once.sd[row : row + 1],
        step=once.step[row : row + 1],
        place=("rod.csv, row 200",),
        note=("",),
    )
    assert len(rough(once).rejected) == 1
    twice = rough(once.joined(again))
    assert twice.rejected == ()


def test_leaving_one_out_in_closed_form_is_leaving_it_out() -> None:
    rng = np.random.default_rng(0)
    root = rng.normal(size=(12, 12))
    matrix, value = root @ root.T + np.eye(12), rng.normal(size=12)
    inverse = np.linalg.inv(matrix)
    off, sd = leave_one_out(inverse, value)
    for k in range(12):
        keep = np.arange(12) != k
        rest = np.linalg.inv(matrix[np.ix_(keep, keep)])
        cross = matrix[k, keep]
        assert off[k] == pytest.approx(value[k] - cross @ rest @ value[keep])
        assert sd[k] == pytest.approx(np.sqrt(matrix[k, k] - cross @ rest @ cross))
        without = inverse.copy()
        drop_from_inverse(without, k)
        np.testing.assert_allclose(without[np.ix_(keep, keep)], rest, atol=1e-9)
        assert not without[k, keep].any()
        assert without[k, k] == 1.0


@pytest.mark.parametrize("mm", [25.4, -25.4, 50.0])
def test_a_rod_misread_by_a_mark_is_found_in_quiet_wall(mm: float) -> None:
    good, row = sheet(), 100
    surface = rough(with_value(good, row, good.value[row] + mm))
    assert [r.place for r in surface.rejected] == [good.place[row]]


def test_a_lone_suspect_by_an_inch_is_a_slip_and_among_many_it_is_one_hole_more() -> (
    None
):
    lone = np.array([True])
    sd = np.array([3.5])
    assert chance_of_slip(np.array([25.0]), sd, lone, readings=120) > 0.7
    assert chance_of_slip(np.array([17.5]), sd, lone, readings=120) < LONE.sure
    assert chance_of_slip(np.array([8.0]), sd, lone, readings=120) < 0.3
    off = np.array([25.0, 17.0, 33.0, 40.0, 20.0])
    many = chance_of_slip(off, np.full(5, 3.5), np.ones(5, dtype=bool), readings=120)
    assert many.max() < LONE.sure


def test_slips_are_judged_together_whatever_the_order() -> None:
    off = np.array([25.0, -26.0, 9.0, 900.0])
    sd, lone = np.array([3.0, 4.0, 3.0, 5.0]), np.ones(4, dtype=bool)
    chance = chance_of_slip(off, sd, lone, readings=120)
    assert chance[[0, 1, 3]].min() > 0.9
    turned = chance_of_slip(off[::-1], sd[::-1], lone, readings=120)[::-1]
    np.testing.assert_allclose(chance, turned, rtol=1e-9)


def test_chances_are_those_of_all_ways_to_divide_the_suspects() -> None:
    off, sd = np.array([24.0, 31.0]), np.array([4.0, 5.0])
    found = chance_of_slip(off, sd, np.array([True, True]), readings=50)

    def alone(kind: str, k: int) -> float:
        one = chance_of_slip(off[[k]], sd[[k]], np.array([True]), readings=50)
        return float(one[0]) if kind == "slip" else float(1.0 - one[0])

    assert ((found > 0.0) & (found < 1.0)).all()
    # two off alike by odd amounts speak for holes: each is less sure than by itself
    assert found[1] < alone("slip", 1)


def test_a_remark_beside_a_reading_keeps_it_unless_it_is_grossly_off() -> None:
    row = 57
    plain = sheet()
    slipped = with_value(plain, row, plain.value[row] - 25.4)
    remarks = ["slag hanging" if k == row else "" for k in range(len(plain))]
    noted = replace(slipped, note=tuple(remarks))
    assert len(rough(slipped).rejected) == 1
    assert rough(noted).rejected == ()
    assert len(rough(with_value(noted, row, plain.value[row] - 125.4)).rejected) == 1
