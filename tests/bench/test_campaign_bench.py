"""The bench of whole campaigns: its walls, its truth and what it keeps, by hand."""

from __future__ import annotations

import itertools
from dataclasses import replace
from pathlib import Path

import campaign_surveys
import numpy as np
import pytest
from campaign_scores import holds, survey_errors
from campaign_surveys import AFTER_STEP as AFTER
from campaign_surveys import Furnace, Tiles, observe, observe_all, stepped, tiles_of
from campaign_truth import CampaignTruth, Onward
from campaign_walls import added, mean_spalls, steps_to_plant, walls_at
from linings import in_opening

from geom.compare.panels import PARTS, PanelState
from geom.quantity import Quantity
from geom.units import Float

HEATS = 4
AZIMUTH = np.arange(0.0, 360.0, 10.0)[None, :]
HEIGHT = np.arange(300.0, 1400.0, 50.0)[:, None]


def walls(furnace: Furnace, *, texture: bool = False) -> list[Float]:
    return walls_at(furnace, HEATS, AZIMUTH, HEIGHT, texture=texture)


def test_a_wall_is_what_was_left_less_what_the_heat_wore() -> None:
    furnace = Furnace(5)
    smooth = walls(furnace)
    assert len(smooth) == 2 * HEATS + 1
    for number in range(1, HEATS + 1):
        worn = smooth[2 * number - 1] - smooth[2 * number - 2]
        heat = furnace.heat(number)
        np.testing.assert_allclose(worn, heat.wear(AZIMUTH, HEIGHT), atol=1e-9)
        other = furnace.heat(number + 1).wear(AZIMUTH, HEIGHT)
        assert np.abs(worn - other).max() > 0.5


def test_a_repair_puts_back_what_is_deep_and_leaves_the_rest() -> None:
    heat = Furnace(5).heat(2)
    found = np.full((HEIGHT.size, AZIMUTH.size), 12.0)
    anew = heat.repaired(found, AZIMUTH, HEIGHT)
    np.testing.assert_allclose(
        anew, heat.repaired(found + 30.0, AZIMUTH, HEIGHT), atol=0.01
    )
    assert np.abs(anew).max() < 8.0
    assert anew.std() > 0.3
    shallow = heat.repaired(0.0 * found, AZIMUTH, HEIGHT)
    np.testing.assert_allclose(shallow, 0.0, atol=0.1)


def test_a_step_wears_from_its_heat_on_and_nothing_else_changes() -> None:
    step = steps_to_plant(5)[0]
    plain, with_it = walls(Furnace(5)), walls(Furnace(5, step, from_heat=3))
    for one, other in zip(plain[:5], with_it[:5], strict=True):
        np.testing.assert_array_equal(one, other)
    heat = Furnace(5).heat(3)
    extra = heat.strength * step(AZIMUTH, HEIGHT)
    np.testing.assert_allclose(with_it[5] - plain[5], extra, atol=1e-9)
    assert extra.max() > 2.4


def test_texture_is_small_and_comes_anew() -> None:
    furnace = Furnace(5)
    rough = [
        a - b for a, b in zip(walls(furnace, texture=True), walls(furnace), strict=True)
    ]
    for one, other in itertools.pairwise(rough):
        assert 0.4 < one.std() < 2.0
        assert abs(np.corrcoef(one.ravel(), other.ravel())[0, 1]) < 0.3


def test_the_lasting_pattern_is_the_mean_of_heats_at_strength_one() -> None:
    furnace = Furnace(5)
    own = np.zeros((HEIGHT.size, AZIMUTH.size))
    many = 400
    for number in range(1, many + 1):
        heat = furnace.heat(number, future=9)
        own += heat.wear(AZIMUTH, HEIGHT) - added(heat.spalls, AZIMUTH, HEIGHT)
    lasting = furnace.lasting(AZIMUTH, HEIGHT)
    # Both are means over 400 heats that differ by a quarter at one place.
    assert np.abs(own / many - lasting).max() < 0.05 * lasting.max()
    assert np.abs(1.1 * own / many - lasting).max() > 0.05 * lasting.max()


def test_mean_spalls_are_what_spalls_come_to() -> None:
    height = np.arange(0.0, 1524.0, 20.0)
    by_height = mean_spalls(height)
    # 0.2 a heat of on average 1.25 faces of 9 x 4.5 in, 20 mm deep, over the bore of
    # 457.2 mm: faces' sizes are given at that radius.
    volume = 0.2 * 1.25 * (9 * 25.4) * (4.5 * 25.4) * 20.0
    bore = 2.0 * np.pi * 457.2
    # Shape and depth are drawn 1500 times, so a few per cent are chance.
    assert (by_height.sum() * 20.0 * bore) == pytest.approx(volume, rel=0.08)


# --- panels --------------------------------------------------------------------------


def test_tiles_give_means_and_greatest_of_panels() -> None:
    tiles = tiles_of(Furnace(5).design)
    cells = tiles.cells
    np.testing.assert_allclose(tiles.mean(np.ones(cells.azimuth.size)), 1.0)
    below = cells.height < 300.0
    inside = ~in_opening(Furnace(5).design, cells.azimuth, cells.height)
    np.testing.assert_array_equal(cells.clear, inside)
    high = tiles.greatest(cells.height)
    assert high[-1] == cells.height.max()
    assert tiles.greatest(np.where(below, 7.0, 0.0))[-1] == 0.0
    rows = tiles.panels.rows
    middle = tiles.mean(cells.height).reshape(rows, 12).mean(axis=1)
    edge = tiles.panels.edge
    # Openings pull the panels beside them up or down.
    np.testing.assert_allclose(middle[4:], 0.5 * (edge[4:-1] + edge[5:]), rtol=0.01)


@pytest.fixture
def perfect(monkeypatch: pytest.MonkeyPatch) -> None:
    """Surveys that see the panels as they are, with a known small error stated."""

    def survey(furnace: Furnace, heats: int, place: int, _: str) -> PanelState:
        tiles: Tiles = tiles_of(furnace.design)
        a, h = tiles.cells.azimuth, tiles.cells.height
        mean = tiles.mean(walls_at(furnace, heats, a, h)[place])
        found = np.abs(tiles.panels.height - 750.0) < 450.0
        mean = np.where(found, mean, np.nan)
        known = 0.01 * np.eye(mean.size) * found
        area = np.where(found, 1e4, 0.0)
        sd = 0.1 + 0.0 * mean
        parts = (np.repeat(one[:, None], PARTS, axis=1) for one in (mean, sd))
        read = np.where(found, 1.0, 0.0)
        return PanelState(tiles.panels, mean, known, mean, sd, *parts, area, read)

    monkeypatch.setattr(campaign_surveys, "survey", survey)


@pytest.mark.usefixtures("perfect")
def test_what_is_kept_is_read_again_the_same(tmp_path: Path) -> None:
    made = observe_all(5, HEATS, "8x6", tmp_path)
    again = observe_all(5, HEATS, "8x6", tmp_path)
    assert set(made) == set(again) == {"", *stepped(5, HEATS)}
    for name, one in made.items():
        other = again[name]
        assert other.furnace == one.furnace
        np.testing.assert_array_equal(other.true, one.true)
        for a, b in zip(one.states, other.states, strict=True):
            np.testing.assert_allclose(b.cutback, a.cutback, rtol=1e-6)
            np.testing.assert_allclose(b.covariance, a.covariance, rtol=1e-6)


@pytest.mark.usefixtures("perfect")
def test_the_truth_is_stated_of_the_same_panels_as_the_wear() -> None:
    seen = observe_all(5, HEATS, "8x6", None)
    found = CampaignTruth(seen[""])
    piece = np.isfinite(found.series.wear).all(axis=0)
    assert 50 < piece.sum() < piece.size
    np.testing.assert_allclose(found.series.wear[:, piece], found.wear[:, piece])
    zone = CampaignTruth(seen["zone"])
    late = zone.wear[-AFTER:] - found.wear[-AFTER:]
    strength = [seen[""].furnace.heat(HEATS - 1 + i).strength for i in range(AFTER)]
    np.testing.assert_allclose(
        late, np.outer(strength, zone.extra), rtol=1e-6, atol=1e-9
    )
    np.testing.assert_array_equal(zone.wear[:-AFTER], found.wear[:-AFTER])


@pytest.mark.usefixtures("perfect")
def test_a_limit_half_a_heat_away_is_passed_in_half_a_heat() -> None:
    found = CampaignTruth(observe(Furnace(5), HEATS, "8x6"))
    tiles = tiles_of(found.seen.furnace.design)
    a, h = tiles.cells.azimuth, tiles.cells.height
    wall = walls_at(found.seen.furnace, HEATS, a, h, texture=False)[-1]
    worn = found.seen.furnace.heat(HEATS + 1, future=2).wear(a, h)
    now, then = tiles.greatest(wall), tiles.greatest(wall + worn)
    panel = int(np.argmax(np.where(found.seen.states[0].area > 0.0, then - now, 0.0)))
    alone = np.zeros((1, now.size), dtype=bool)
    alone[0, panel] = True
    onward = Onward(found, 2)
    half = onward.heats(0.5 * (now + then), alone)
    np.testing.assert_allclose(half, 0.5)
    np.testing.assert_array_equal(onward.heats(now - 1.0, alone), 0.0)
    assert (
        0.9
        < onward.heats(then - 0.01, alone)[0]
        < 1.0
        < onward.heats(then + 0.01, alone)[0]
    )
    np.testing.assert_array_equal(onward.heats(now + 1e4, alone, most=3), np.inf)
    untold = np.zeros_like(alone)
    untold[0, 0] = True
    np.testing.assert_array_equal(onward.heats(now - 1.0, untold, most=1), np.inf)


def test_a_share_counts_truths_inside_and_only_those() -> None:
    words = Quantity(10.0, 1.0, 8.0, 12.0)
    assert holds(words, 8.0)
    assert holds(words, 12.0)
    assert not holds(words, 12.1)


@pytest.mark.usefixtures("perfect")
def test_errors_that_repeat_are_distinguished_from_those_that_do_not() -> None:
    seen = observe(Furnace(5), HEATS, "8x6")
    off = [
        replace(state, cutback=state.cutback + (1.5 if place % 2 else 0.0))
        for place, state in enumerate(seen.states)
    ]
    sound = survey_errors(CampaignTruth(seen))
    spoiled = survey_errors(CampaignTruth(replace(seen, states=tuple(off))))
    assert len(sound) == len(spoiled) > 50
    np.testing.assert_allclose([row["back"] for row in sound], 0.0, atol=1e-9)
    np.testing.assert_allclose([row["back"] for row in spoiled], 1.5**2)
    np.testing.assert_allclose([row["mean"] for row in spoiled], 1.5)
