"""How wear lies round the wall: planted waves come back, chance is held."""

from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest

from geom.compare.panels import HOURS, panels_of
from geom.design import load_design
from geom.record.assumptions import ASSUMED
from geom.record.regions import regions_of
from geom.record.store.occasion import Occasion
from geom.record.wear.ovality import circumferential_pattern
from geom.record.wear.series import Spell, WearSeries
from geom.views.say_rates import say_harmonics

SCANS = Path(__file__).parents[3] / "scans"
DESIGN = load_design(SCANS / "cupola-2.toml")
PANELS = panels_of(DESIGN)
PIECES = regions_of(PANELS, DESIGN)
TURN = np.deg2rad(np.arange(HOURS) * 30.0)
START = date(2026, 1, 5)


def series_of(sides, scatter=0.0, *, count=12, seed=0, heats=1, blind=0.0):
    """Spells whose wear per heat goes round the wall as ``sides``, the same all up.

    Surveys say that they err by ``blind`` mm in every side.
    """
    rng = np.random.default_rng(seed)
    spells = []
    for k in range(count):
        first = Occasion(k * heats, "after repair", START + timedelta(days=2 * k))
        last = Occasion((k + 1) * heats, "before repair", first.date)
        spells.append(Spell(first, last))
    table = np.tile(sides, PANELS.rows)
    wear = heats * (table + scatter * rng.standard_normal((count, PANELS.count)))
    weight = PIECES.member / PIECES.member.sum(axis=1, keepdims=True)
    end = wear @ weight.T
    variance = np.full_like(end, 0.5)
    large = len(PIECES.of_kind("wall")) + len(PIECES.of_kind("zone"))
    errors = np.broadcast_to(blind**2 * np.eye(HOURS), (count, large, HOURS, HOURS))
    return WearSeries(
        tuple(spells), PIECES, np.zeros_like(end), end, variance, variance, errors
    )


@pytest.mark.parametrize("heats", [1, 3])
def test_planted_waves_come_back_to_the_number(heats):
    """12 + 4 cos(a - 240) + 2 cos 2(a - 30): closed form, no scatter to speak of."""
    sides = 12.0 + 4.0 * np.cos(TURN - np.deg2rad(240.0))
    sides += 2.0 * np.cos(2.0 * (TURN - np.deg2rad(30.0)))
    found = circumferential_pattern(series_of(sides, 1e-6, heats=heats), DESIGN)
    assert [one.zone.name for one in found] == [
        "whole wall", "well", "tuyere belt", "melting zone", "stack"
    ]  # fmt: skip
    for one in found:
        first, second = one.harmonics
        assert (first.order, second.order) == (1, 2)
        assert first.amplitude.value == pytest.approx(4.0, abs=1e-4)
        assert second.amplitude.value == pytest.approx(2.0, abs=1e-4)
        assert first.azimuth == pytest.approx(240.0, abs=1e-3)
        assert second.azimuth % 180.0 == pytest.approx(30.0, abs=1e-3)
        words = say_harmonics(one, DESIGN)
        assert "wears more at 8 o'clock: 5/32 in (4.000 mm), 95 %" in words
        assert "least at 2 o'clock" in words
        assert "oval" in words


def test_wear_in_front_of_the_tuyeres_is_distinguished_from_wear_between():
    """Six tuyeres at 30, 90, ... stand at the odd hours."""
    sides = np.where(np.arange(HOURS) % 2 == 1, 9.0, 6.0)
    found = circumferential_pattern(series_of(sides, 0.05), DESIGN)
    for one in found:
        assert one.tuyeres is not None
        assert one.tuyeres.value == pytest.approx(3.0, abs=0.1)
        assert "more in front of the tuyeres" in say_harmonics(one, DESIGN)
    without = circumferential_pattern(
        series_of(sides, 0.05), replace(DESIGN, openings=())
    )
    assert all(one.tuyeres is None for one in without)


def test_turning_azimuth_zero_turns_the_answer_and_nothing_else():
    sides = 10.0 + 3.0 * np.cos(TURN - np.deg2rad(60.0))
    found, turned = (
        circumferential_pattern(noisy(sides, by=by), DESIGN) for by in (0, 4)
    )
    for one, other in zip(found, turned, strict=True):
        first, moved = one.harmonics[0], other.harmonics[0]
        assert first.amplitude.value == pytest.approx(moved.amplitude.value)
        assert (moved.azimuth - first.azimuth) % 360.0 == pytest.approx(120.0)


def noisy(sides, *, by=0):
    """The same scattered wear, every panel moved on by some hours."""
    series = series_of(sides, 0.4, seed=3)
    panel = list(PIECES.of_kind("panel"))
    table = series.end[:, panel].reshape(-1, PANELS.rows, HOURS)
    wear = np.roll(table, by, axis=2).reshape(len(series.spells), -1)
    weight = PIECES.member / PIECES.member.sum(axis=1, keepdims=True)
    return replace(series, end=wear @ weight.T)


def test_a_round_wall_is_called_otherwise_in_no_more_than_its_share_of_records():
    """Each test at 0.05, and not all together, calls some 40 of 100."""
    count, calls = 120, 0
    for seed in range(count):
        found = circumferential_pattern(
            series_of(np.full(HOURS, 8.0), 1.5, seed=seed), DESIGN
        )
        calls += any(one.harmonics or one.tuyeres for one in found)
    least = ASSUMED.false_harmonics + 3.0 * np.sqrt(ASSUMED.false_harmonics / count)
    assert 0 < calls <= least * count


@pytest.mark.parametrize(("count", "scatter"), [(5, 2.0), (14, 6.0)])
def test_the_interval_of_a_clear_wave_holds_the_truth(count, scatter):
    """A normal interval in place of Student's holds 5 spells' wave 85 times in 100."""
    sides = 10.0 + 3.0 * np.cos(TURN)
    held = found = 0
    for seed in range(120):
        series = series_of(sides, scatter, count=count, seed=seed)
        wall = circumferential_pattern(series, DESIGN)[0]
        for harmonic in wall.harmonics:
            if harmonic.order == 1:
                found += 1
                held += harmonic.amplitude.low95 <= 3.0 <= harmonic.amplitude.high95
    assert found > 108
    assert 0.92 < held / found < 0.98


def test_waves_that_surveys_tell_too_flat_stand_upright_again():
    """Surveys that tell what is likely under a prior as wide as the wall is uneven.

    With a prior of variance P and readings that err by R, they tell P / (P + R) of
    the truth on average and state the variance P R / (P + R): closed form.
    """
    prior, read = 2.0, 1.5
    share, stated = prior / (prior + read), prior * read / (prior + read)
    held = plain = result = 0
    for seed in range(80):
        rng = np.random.default_rng([seed, 7])
        true = np.sqrt(2.0 * prior) * np.cos(TURN - rng.uniform(0.0, 2.0 * np.pi))
        blunt = series_of(
            10.0 + share * true,
            share * np.sqrt(read * HOURS / 2.0 * PANELS.rows),
            seed=seed,
            blind=np.sqrt(stated * HOURS / 2.0),
        )
        sharp = replace(blunt, side_covariance=np.zeros_like(blunt.side_covariance))
        found = [circumferential_pattern(one, DESIGN)[0] for one in (blunt, sharp)]
        upright, flat = (
            [part.amplitude for part in one.harmonics if part.order == 1]
            for one in found
        )
        if upright:
            result += 1
            held += upright[0].low95 <= np.sqrt(2.0 * prior) <= upright[0].high95
            plain += flat[0].low95 <= np.sqrt(2.0 * prior) <= flat[0].high95
    assert result > 60
    assert plain < 0.6 * result
    assert 0.92 * result < held


def test_few_spells_and_wall_not_known_all_round_say_so():
    sides = np.full(HOURS, 8.0)
    few = circumferential_pattern(series_of(sides, count=3), DESIGN)[0]
    assert "too few" in say_harmonics(few, DESIGN)
    series = series_of(sides, 0.3)
    end = series.end.copy()
    panel = np.array(PIECES.of_kind("panel"))
    end[:, panel[3::HOURS]] = np.nan
    assert circumferential_pattern(replace(series, end=end), DESIGN) == ()
    clear = circumferential_pattern(series, DESIGN)[0]
    assert say_harmonics(clear, DESIGN).startswith("no side wears more")
