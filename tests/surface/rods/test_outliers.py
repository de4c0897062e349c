"""Slips of the pen: found, named, left out; real holes read twice are kept."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from geom.compare import assess
from geom.readings import RodReadings
from geom.surface import RadialSurface, reconstruct
from geom.surface.rods.outliers import drop_from_inverse, leave_one_out
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
    assert good.place[row] in surface.warnings[0]
    assert "measure again" in surface.warnings[0]
    clean = rough(good)
    np.testing.assert_allclose(surface.cutback, clean.cutback, atol=8.0)
    findings = assess(surface, DESIGN)
    assert (findings.readings.count, findings.readings.rejected) == (len(good), 1)


def test_a_clean_sheet_loses_nothing() -> None:
    assert rough(sheet()).rejected == ()


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
        np.testing.assert_allclose(drop_from_inverse(inverse, k), rest, atol=1e-9)
