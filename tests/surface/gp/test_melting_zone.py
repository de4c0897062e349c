"""The hump of wear above the tuyeres: found where it is, not made where it is not."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from geom.design import Design, Opening
from geom.readings import RodKind, RodReadings
from geom.surface import reconstruct
from geom.surface.gp.covariance import Covariance
from geom.surface.gp.kernels import Points2D
from geom.surface.gp.prior import (
    MELTED_ONE_SIDE,
    LogNormal,
    default_prior,
    find_melting_zone,
    hump,
)
from geom.units import Float
from tests.walls import plain_design, rod_readings, stations

ROOT = Path(__file__).resolve().parents[3]
TUYERES = tuple(Opening("tuyere", a, 450.0, 120.0, 90.0) for a in (0.0, 120.0, 240.0))
DESIGN = plain_design(openings=TUYERES)
CENTRE, BELOW, ABOVE, DEPTH = 720.0, 120.0, 250.0, 40.0


def wear(height: Float) -> Float:
    return np.asarray(DEPTH * hump(height, CENTRE, BELOW, ABOVE))


def sheet(
    heights: int, *, azimuths: int = 12, noise: float = 2.0, seed: int = 1
) -> RodReadings:
    azimuth, height = stations(azimuths, heights, 150.0, 1400.0)
    error = np.random.default_rng(seed).normal(0.0, noise, azimuth.size)
    return rod_readings(azimuth, height, 450.0 + wear(height) + error, sd=noise)


def test_a_planted_hump_is_found() -> None:
    found = find_melting_zone(sheet(14), DESIGN)
    assert found.centre == pytest.approx(CENTRE, abs=15.0)
    assert found.below == pytest.approx(BELOW, rel=0.2)
    assert found.above == pytest.approx(ABOVE, rel=0.2)
    assert found.depth == pytest.approx(DEPTH, rel=0.1)


@pytest.mark.parametrize("heights", [6, 14])
def test_what_is_said_of_its_place_is_true(heights: int) -> None:
    off = []
    for seed in range(20):
        found = find_melting_zone(sheet(heights, seed=seed), DESIGN)
        off.append(abs(found.centre - CENTRE) / found.centre_sd)
    # it may say too little of its certainty, readings of one ring being alike, not more
    assert np.quantile(off, 0.95) < 1.96


def test_more_rows_tell_its_place_better() -> None:
    few, many = (find_melting_zone(sheet(n), DESIGN) for n in (5, 25))
    assert many.centre_sd < few.centre_sd


def test_without_tuyeres_it_is_found_all_the_same() -> None:
    found = find_melting_zone(sheet(14), plain_design())
    assert found.centre == pytest.approx(CENTRE, abs=15.0)


def test_a_slip_of_a_foot_does_not_bend_it() -> None:
    good = sheet(14)
    value = good.value.copy()
    value[30] += 305.0
    bad = rod_readings(good.azimuth, good.height, value, sd=2.0)
    clean, slipped = (find_melting_zone(r, DESIGN) for r in (good, bad))
    assert slipped.centre == pytest.approx(clean.centre, abs=5.0)
    assert slipped.depth == pytest.approx(clean.depth, abs=1.5)


def test_the_ways_it_may_change_are_slopes_of_the_hump() -> None:
    found = find_melting_zone(sheet(14), DESIGN)
    height = np.linspace(160.0, 1390.0, 60)
    ways = [way.at_heights(height) for way in found.changes(150.0, 1400.0)]
    step = 1e-3
    told = (found.centre, np.log(found.below), np.log(found.above))
    for k, sd in enumerate((found.centre_sd, found.below_sd, found.above_sd)):
        ahead, behind = (
            [value + sign * step * sd * (k == n) for n, value in enumerate(told)]
            for sign in (1.0, -1.0)
        )
        slope = (shape(height, *ahead) - shape(height, *behind)) / (2.0 * step)
        # patterns are straight lines 5 mm long
        np.testing.assert_allclose(ways[k], found.depth * slope, atol=0.15)
        assert np.abs(ways[k]).max() > 0.3


def shape(height: Float, centre: float, below: float, above: float) -> Float:
    return hump(height, centre, np.exp(below), np.exp(above))


@pytest.mark.parametrize("design", [DESIGN, plain_design()], ids=["tuyeres", "none"])
def test_a_sound_wall_is_not_given_a_hump_between_its_rows(design: Design) -> None:
    azimuth, height = stations(8, 5, 150.0, 1400.0)
    error = np.random.default_rng(4).normal(0.0, 1.5, azimuth.size)
    readings = rod_readings(azimuth, height, 450.0 + error, sd=1.5)
    surface = reconstruct(readings, design, spacing=25.0, columns=36)
    assert np.nanmax(np.abs(surface.cutback)) < 4.0


def test_between_few_rows_the_hump_is_drawn_and_its_interval_holds_it() -> None:
    readings = sheet(6, azimuths=8)
    surface = reconstruct(readings, DESIGN, spacing=25.0, columns=36)
    rows = surface.grid.surveyed_rows
    true = wear(surface.height[rows])[:, None]
    off = np.abs(surface.cutback[rows] - true)
    assert np.sqrt(np.mean(off**2)) < 3.0
    assert np.mean(off < 1.96 * surface.radius_sd[rows]) > 0.9


def on_one_side(azimuth: Float, height: Float) -> Float:
    """A skewed bell at 720 mm, on the side of 70 degrees alone; not the model's."""
    facing = np.maximum(np.cos(np.deg2rad(azimuth - 70.0)), 0.0)
    width = np.where(height < CENTRE, 130.0, 250.0)
    return np.asarray(45.0 * facing**2 / np.cosh((height - CENTRE) / width) ** 2)


def one_sided_sheet(kind: RodKind = "radius") -> RodReadings:
    """Rows 18 in apart."""
    azimuth, height = stations(12, 4, 60.0, 1440.0)
    error = np.random.default_rng(3).normal(0.0, 2.0, azimuth.size)
    value = 450.0 + on_one_side(azimuth, height)
    if kind == "diameter":
        value = value + 450.0 + on_one_side(azimuth + 180.0, height)
    return rod_readings(azimuth, height, value + error, kind)


def test_a_hump_of_one_side_alone_is_found_by_that_side() -> None:
    design = plain_design(
        openings=tuple(replace(hole, height=300.0) for hole in TUYERES)
    )
    readings = one_sided_sheet()
    alike = find_melting_zone(readings, design)
    found = find_melting_zone(readings, design, one_sided=True)
    # as if the same all round it is taken for outliers, and left where it is usual
    assert abs(alike.centre - CENTRE) > 140.0
    assert abs(found.centre - CENTRE) < 60.0
    assert found.centre_sd < alike.centre_sd


def test_diameters_tell_nothing_of_a_side() -> None:
    readings = one_sided_sheet("diameter")
    alike = find_melting_zone(readings, DESIGN)
    found = find_melting_zone(readings, DESIGN, one_sided=True)
    assert found.centre == pytest.approx(alike.centre, abs=0.5)
    assert found.depth == pytest.approx(alike.depth, rel=0.01)


def test_the_hump_of_one_side_is_a_wave_round_the_ring_times_the_hump() -> None:
    zone = find_melting_zone(one_sided_sheet(), DESIGN, one_sided=True)
    prior = default_prior(450.0, 60.0, 1440.0, zone=zone, one_sided=True)
    covariance = Covariance(prior, prior.median)
    (part,) = (
        filled
        for filled in covariance.components
        if filled.component.name == MELTED_ONE_SIDE
    )
    rest = replace(
        prior, components=tuple(c for c in prior.components if c != part.component)
    )
    places = Points2D(np.array([10.0, 100.0, 190.0]), np.array([600.0, 700.0, 800.0]))
    share = zone.share(places.height)
    turn = np.deg2rad(places.azimuth[:, None] - places.azimuth[None, :])
    told = part.sd**2 * np.outer(share, share) * np.cos(turn)
    without = Covariance(rest, rest.median)
    added = covariance.between(places, places) - without.between(places, places)
    # the pattern is kept on a net of 5 mm
    np.testing.assert_allclose(added, told, atol=2e-3 * part.sd**2)
    assert part.sd == pytest.approx(0.25 * zone.depth)


def as_written(number: LogNormal | None, of: float = 1.0, unit: str = "") -> str:
    """As the table of docs/method.md has it."""
    if number is None:
        return ""
    return f"{number.median / of:g}{unit} ({number.spread})"


def test_sizes_and_lengths_are_those_of_the_documents_table() -> None:
    zone = find_melting_zone(sheet(8), DESIGN)
    assert zone is not None
    with_zone, without = (
        {c.name: c for c in default_prior(450.0, 150.0, 1400.0, zone=z).components}
        for z in (zone, None)
    )
    text = (ROOT / "docs" / "method.md").read_text("utf-8")
    table = text.partition("| part | size |")[2].partition("\n\n")[0]
    rows = [
        [cell.strip() for cell in line.split("|")[1:-1]]
        for line in table.split("\n")[2:]
    ]
    hump_parts = {"melting zone", "its place and width", "melting zone on one side"}
    assert {row[0] for row in rows} == set(with_zone) - hump_parts
    for name, *cells in rows:
        part, bare = with_zone[name], without.get(name)
        far = part.length_scale_azimuth
        wide = (450.0, " R") if name == "local wear" else (1.0, "")
        assert cells == [
            as_written(part.sd),
            as_written(bare.sd if bare else None),
            as_written(part.length_scale_height),
            as_written(far, *wide),
        ]
