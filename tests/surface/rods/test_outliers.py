"""Slips of the pen: found, named, left out; real holes read twice are kept."""

from __future__ import annotations

import itertools
from dataclasses import replace
from functools import cache
from math import comb

import numpy as np
import pytest
from scipy.stats import norm, t

from geom.compare import assess
from geom.readings import RodReadings
from geom.surface import RadialSurface, reconstruct
from geom.surface.assumptions import ASSUMED
from geom.surface.rods import outliers
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
    off, sd, readings = np.array([24.0, 31.0]), np.array([4.0, 5.0]), 50
    found = chance_of_slip(off, sd, np.array([True, True]), readings=readings)

    def mixed(value: float, spread: float, parts: list[tuple[float, float]]) -> float:
        return float(sum(share * norm(mm, spread).pdf(value) for mm, share in parts))

    def density(kind: str, k: int) -> float:
        spread = LONE.wider * sd[k]
        if kind == "wall":
            return float(t(LONE.freedom * readings, scale=spread).pdf(off[k]))
        if kind == "slip":
            both = [(sign * mm, 0.5 * p) for mm, p in LONE.marks for sign in (1, -1)]
            return mixed(off[k], spread, both) + ASSUMED.slip_density
        hole = mixed(off[k], spread, [*LONE.depths])
        lump = mixed(-off[k], spread, [*LONE.depths])
        return (hole + LONE.lump * lump) / (1.0 + LONE.lump) + ASSUMED.size_density

    def so_many(count: int, some: float, mean: float) -> float:
        many = some / mean * (1.0 - 1.0 / mean) ** (count - 1) if count else 1.0 - some
        return float(many / comb(readings, count))

    total, slips = 0.0, np.zeros(2)
    for kinds in itertools.product(("wall", "slip", "hole"), repeat=2):
        weight = so_many(kinds.count("slip"), LONE.any_slip, LONE.slips)
        weight *= so_many(kinds.count("hole"), LONE.any_hole, LONE.holes)
        weight *= density(kinds[0], 0) * density(kinds[1], 1)
        total += weight
        slips += weight * np.array([kind == "slip" for kind in kinds])
    np.testing.assert_allclose(found, slips / total, rtol=1e-9)


def test_of_few_readings_the_one_on_the_deep_side_is_no_slip(monkeypatch) -> None:
    # 34 mm where 47 readings foretell it to 6.8: eight round the ring met the wear on
    # one side once.
    off, sd, lone = np.array([34.0]), np.array([6.8]), np.array([True])
    assert chance_of_slip(off, sd, lone, readings=47) < 0.3
    # were it known how much the wall varies, it would be one
    monkeypatch.setattr(outliers, "LONE", replace(LONE, freedom=1e6))
    assert chance_of_slip(off, sd, lone, readings=47) > LONE.sure
