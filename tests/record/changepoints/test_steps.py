"""Steps in wear: planted ones are found where and when they begin, others are not."""

from dataclasses import replace

import numpy as np
import pytest

from geom.compare.panels import HOURS
from geom.record.assumptions import ASSUMED
from geom.record.changepoints import scan
from geom.record.changepoints.steps import Blocks, find_steps
from geom.record.regions import Region
from tests.record.worn_heats import (
    MELTING,
    PANELS,
    PIECES,
    ROWS,
    USUAL,
    heats,
    series_of,
)

#: Spells before and after a planted step.
BEFORE, AFTER = 10, 2


@pytest.fixture(autouse=True)
def few_draws(monkeypatch):
    """Chance to one in 112: enough for tests, and quick."""
    monkeypatch.setattr(scan, "PERMUTATIONS", 111)


def stepped(wear, rows, sides=slice(None), *, mm=3.0, at=BEFORE):
    """Wear with so many mm more from one spell on."""
    more = np.zeros((ROWS, HOURS))
    more[rows, sides] = mm
    out = wear.copy()
    out[at:] += more
    return out


def edge(row):
    return float(PANELS.edge[row])


ZONE = PIECES.regions[PIECES.of_kind("zone")[2]]
PLACES = {
    "level": (5, slice(None), Region("level", "", edge(5), edge(6), 0.0, 360.0)),
    "band": (
        slice(5, 7), slice(None), Region("level", "", edge(5), edge(7), 0.0, 360.0),
    ),
    "zone": (MELTING, slice(None), ZONE),
    "sides": (
        MELTING,
        slice(7, 10),
        Region("panel", "", ZONE.height_from, ZONE.height_to, 195.0, 285.0),
    ),
    "across 12": (
        MELTING,
        [11, 0, 1],
        Region("panel", "", ZONE.height_from, ZONE.height_to, 315.0, 45.0),
    ),
    "side": (
        slice(None), slice(4, 5), PIECES.regions[PIECES.of_kind("side")[4]],
    ),
}  # fmt: skip


@pytest.mark.parametrize("where", PLACES)
def test_a_step_of_3_mm_is_found_within_2_heats_where_and_when_it_began(where):
    rows, sides, region = PLACES[where]
    wear = stepped(heats(BEFORE + AFTER, seed=3), rows, sides)
    (step,) = find_steps(series_of(wear))
    assert step.region == region
    assert abs(step.first.end.heat - 11) <= 1
    assert 0.0 < step.change.low95 < 3.0 < step.change.high95
    assert step.after.value - step.before.value == pytest.approx(step.change.value)
    assert step.chance <= 0.05


def test_a_step_of_the_whole_wall_is_found_though_heats_share_their_wear():
    """So much more of what each place wears: what another coke does."""
    wear = heats(12, seed=5)
    wear[BEFORE:] *= 1.0 + 3.0 / USUAL.mean()
    (step,) = find_steps(series_of(wear))
    assert (step.region.kind, step.first.last_heat) == ("wall", 11)
    assert step.change.low95 < 3.0 < step.change.high95


def test_sizes_are_the_means_before_and_after_where_nothing_scatters():
    wear = stepped(heats(12, own=1e-3, level=1e-3, shared=1e-4), MELTING, mm=1.25)
    (step,) = find_steps(series_of(wear, stated=0.0))
    usual = USUAL[MELTING].mean()
    assert step.before.value == pytest.approx(usual, abs=0.01)
    assert step.after.value == pytest.approx(usual + 1.25, abs=0.01)
    assert step.change.value == pytest.approx(1.25, abs=0.01)
    assert step.change.high95 - step.change.low95 < 0.1


def test_survey_error_that_comes_back_widens_the_levels_and_not_their_change():
    wear = stepped(heats(12, seed=1), MELTING)
    known, poor = (
        find_steps(series_of(wear, stated=stated))[0] for stated in (0.0, 8.0)
    )
    more = poor.before.sd**2 - known.before.sd**2
    assert more == pytest.approx(
        ASSUMED.systematic_share * 8.0
    )  # of the worn wall's survey
    assert poor.change.sd == pytest.approx(known.change.sd)


def test_a_clear_step_is_as_evident_as_so_many_draws_can_say(monkeypatch):
    monkeypatch.setattr(scan, "PERMUTATIONS", 222)  # more than are drawn at once
    wear = stepped(heats(12, own=1e-3, level=1e-3, shared=1e-4), MELTING)
    (step,) = find_steps(series_of(wear))
    assert step.chance == pytest.approx(1.0 / 223.0)


def test_less_wear_is_a_step_too():
    (step,) = find_steps(series_of(stepped(heats(12, seed=2), MELTING, mm=-3.0)))
    assert step.region == ZONE
    assert step.change.high95 < 0.0


def test_one_heat_does_not_make_a_step():
    quiet = heats(12, seed=3)
    assert find_steps(series_of(stepped(quiet, MELTING, mm=8.0, at=11))) == ()
    assert find_steps(series_of(stepped(quiet, MELTING, mm=8.0, at=10))) != ()


@pytest.mark.parametrize("odd", [0, 1, 2, 6, 9, 10, 11])
def test_one_odd_heat_is_no_step_wherever_it_is(odd):
    wear = heats(12, seed=3)
    assert find_steps(series_of(wear)) == ()
    wear[odd, MELTING] += 8.0
    assert find_steps(series_of(wear)) == ()


def test_longer_heats_are_no_step_where_their_hours_are_stated(monkeypatch):
    monkeypatch.setattr(scan, "PERMUTATIONS", 222)  # chance comes close to 1 in 20
    hours = np.array([8.0] * BEFORE + [11.0] * 4)
    wear = heats(14, seed=3, shared=0.02) * (hours / 8.0)[:, None, None]
    assert find_steps(series_of(wear, hours=hours.tolist())) == ()
    (step,) = find_steps(series_of(wear))
    assert (step.region.kind, step.first.last_heat) == ("wall", 11)


def test_spells_of_several_heats_are_stated_per_heat():
    lasted = [1, 3, 1, 2, 1, 1, 2, 1, 1, 1, 2, 1]
    wear = stepped(heats(12, seed=4), MELTING)
    whole = wear * np.array(lasted)[:, None, None]
    (step,) = find_steps(series_of(whole, lasted=lasted))
    assert step.region == ZONE
    assert (step.first.first_heat, step.first.last_heat) == (15, 16)
    assert step.first.start.heat == 14
    (single,) = find_steps(series_of(wear))
    assert step.change.value == pytest.approx(single.change.value, abs=0.2)
    assert step.before.value == pytest.approx(single.before.value, abs=0.2)


def test_two_steps_in_one_zone_are_stated_each_by_itself():
    wear = stepped(heats(20, seed=6, level=0.3), MELTING, at=7)
    wear = stepped(wear, MELTING, mm=-4.0, at=14)
    one, other = find_steps(series_of(wear))
    assert [one.first.last_heat, other.first.last_heat] == [8, 15]
    assert one.change.low95 < 3.0 < one.change.high95
    assert other.change.low95 < -4.0 < other.change.high95
    assert other.before.value == pytest.approx(one.after.value)


def test_wall_that_is_not_known_takes_nothing_from_the_rest():
    wear = stepped(heats(14, seed=7), MELTING, at=11)
    wear[3, 6, 2] = wear[5, 8:] = wear[8] = np.nan
    wear[:, :2] = np.nan
    (step,) = find_steps(series_of(wear))
    assert step.region == ZONE
    assert step.first.last_heat == 12


def test_nothing_is_stated_of_wall_that_only_a_few_spells_tell():
    wear = stepped(heats(14, seed=7), 6, at=11)
    assert find_steps(series_of(wear))[0].region.kind == "level"
    wear[12:, 6] = np.nan
    assert find_steps(series_of(wear)) == ()


@pytest.mark.parametrize("count", [0, 1, 4])
def test_with_fewer_than_five_spells_nothing_is_stated(count):
    assert find_steps(series_of(heats(count))) == ()


def test_the_same_seed_says_the_same_and_another_finds_the_same_step():
    series = series_of(stepped(heats(12, seed=3), MELTING, slice(2, 5)))
    assert find_steps(series, seed=1) == find_steps(series, seed=1)
    (one,), (other,) = (find_steps(series, seed=seed) for seed in (1, 2))
    assert replace(one, chance=0.0) == replace(other, chance=0.0)


def test_turning_azimuth_zero_turns_the_step_and_nothing_else():
    wear = stepped(heats(12, seed=3), MELTING, slice(2, 5))
    (one,), (turned,) = (
        find_steps(series_of(np.roll(wear, by, axis=2))) for by in (0, 4)
    )
    assert (one.region.azimuth_from, turned.region.azimuth_from) == (45.0, 165.0)
    assert turned.change.value == pytest.approx(one.change.value)
    assert turned.change.sd == pytest.approx(one.change.sd)


def test_which_pieces_lie_in_a_step_across_azimuth_0():
    rows, sides, _ = PLACES["across 12"]
    (step,) = find_steps(series_of(stepped(heats(12, seed=3), rows, sides)))
    inside = step.inside(PIECES)
    panels = inside[list(PIECES.of_kind("panel"))].reshape(ROWS, HOURS)
    expected = np.zeros((ROWS, HOURS), dtype=bool)
    expected[MELTING] = np.isin(np.arange(HOURS), sides)
    assert np.array_equal(panels, expected)
    assert inside.sum() == expected.sum()  # no level, side, zone or wall


def test_a_step_of_the_zone_holds_the_zone_its_levels_and_panels():
    (step,) = find_steps(series_of(stepped(heats(12, seed=3), MELTING)))
    inside = step.inside(PIECES)
    assert inside[PIECES.of_kind("zone")[2]]
    assert inside.sum() == 1 + 5 + 5 * HOURS


@pytest.mark.slow
def test_in_a_long_record_old_and_new_steps_are_placed_to_the_heat():
    wear = stepped(heats(5000, seed=8), 5, mm=2.0, at=3101)
    wear = stepped(wear, MELTING, slice(2, 5), mm=4.0, at=4998)
    old, new = find_steps(series_of(wear))
    assert (old.region.height_from, old.first.last_heat) == (edge(5), 3102)
    assert old.change.low95 < 2.0 < old.change.high95
    assert (new.region.azimuth_from, new.first.last_heat) == (45.0, 4999)


@pytest.mark.slow
def test_false_alarms_are_held():
    """At 5 %: of 20 campaigns without a step, 4 or more would be 2 in 100 by chance."""
    alarms = sum(bool(find_steps(series_of(heats(14, seed=s)))) for s in range(20))
    assert alarms <= 3
    loose = sum(
        bool(find_steps(series_of(heats(14, seed=s)), false_alarms=0.5))
        for s in range(12)
    )
    assert 2 <= loose <= 10


@pytest.mark.slow
@pytest.mark.parametrize("where", ["level", "zone", "sides"])
def test_steps_of_3_mm_are_found_within_2_heats_in_9_campaigns_of_10(where):
    rows, sides, _ = PLACES[where]
    found = held = 0
    for seed in range(10):
        wear = stepped(heats(BEFORE + AFTER, seed=1000 + seed), rows, sides)
        steps = find_steps(series_of(wear))
        exact = [step for step in steps if step.first.last_heat == 11]
        found += bool(exact)
        held += any(one.change.low95 < 3.0 < one.change.high95 for one in exact)
    assert found >= 9
    assert held >= 0.85 * found


def test_every_spell_of_a_short_record_is_looked_at_by_itself():
    blocks = Blocks(np.ones(50))
    assert np.array_equal(blocks.first, np.arange(50))
    assert blocks.mean_length == 1.0


@pytest.mark.parametrize("count", [51, 60, 500, 5000])
def test_the_last_spells_of_a_long_record_are_singly_and_none_is_lost(count):
    blocks = Blocks(np.ones(count))
    assert blocks.first.size == 50
    assert np.array_equal(blocks.first[-20:], np.arange(count - 20, count))
    assert blocks.counts(np.ones(count, dtype=bool)).sum() == count
    assert blocks.counts(np.ones(count, dtype=bool)).min() >= 1


def test_means_over_blocks_keep_the_weighted_mean():
    rng = np.random.default_rng(1)
    weight = rng.uniform(0.5, 1.5, 300)
    blocks = Blocks(weight / weight.mean())
    table = rng.normal(5.0, 1.0, (300, 4))
    found = np.average(blocks.means(table), axis=0, weights=blocks.block_weight)
    assert np.allclose(found, np.average(table, axis=0, weights=weight))
    assert not np.allclose(found, table.mean(axis=0), rtol=1e-6)


@pytest.mark.parametrize("at", [100, 165, 166, 1234, 4979, 4990, 4998])
def test_a_step_is_placed_to_the_spell(at):
    blocks = Blocks(np.ones(5000))
    heights = np.where(np.arange(5000) >= at, 1.0, 0.0)
    run = int(np.argmin(np.abs(blocks.first - at)))
    assert blocks.locate(heights, run, before=3, after=2) == at


def test_no_step_is_placed_nearer_the_ends_than_may_be():
    blocks = Blocks(np.ones(60))
    heights = np.where(np.arange(60) == 59, 1.0, 0.0)
    assert blocks.locate(heights, 49, before=3, after=2) == 58
