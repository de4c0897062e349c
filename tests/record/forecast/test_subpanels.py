"""Spots that fall out: planted ones found, steps and hard heats not taken for them."""

from __future__ import annotations

import numpy as np
import pytest

from geom.record.forecast.first_passage import (
    first_passage_time,
    passage_with_spall,
)
from geom.record.forecast.subpanels import Spalling, find_spalls
from geom.units import Float

SPELLS, PANELS = 10, 120
#: A spot read so deep is half as deep again.
READ = 0.65


def gained(seed: int = 0) -> Float:
    """8 mm a heat, 12 mm in a third of the panels, more or less by 1 mm."""
    rng = np.random.default_rng(seed)
    usual = np.where(np.arange(PANELS) % 3 == 0, 12.0, 8.0)
    lost = usual + rng.normal(0.0, 1.0, (SPELLS, PANELS))
    return np.asarray(lost[:, :, None])


def test_a_spot_over_several_parts_of_a_panel_is_one_as_deep_as_its_deepest():
    lost = np.repeat(gained(), 3, axis=2) + np.array([0.0, 4.0, -4.0])
    lost[3, 17] += [14.0, 20.0, 0.0]
    spots = found(lost)
    assert READ * spots.depths == pytest.approx([20.0], abs=3.0)
    assert spots.depths.size == 1


def found(
    lost: Float, heats: Float | None = None, read: Float | None = None
) -> Spalling:
    each = np.ones(len(lost)) if heats is None else heats
    all_read = np.ones(lost.shape[:2])
    return find_spalls(lost, all_read if read is None else read, each)


def test_planted_spots_are_found_and_counted():
    lost = gained()
    lost[3, 17] += 20.0
    lost[8, 60] += 14.0
    spots = found(lost)
    read = READ * np.sort(spots.depths)
    assert read == pytest.approx([14.0, 20.0], abs=3.0)
    assert spots.watched == SPELLS * PANELS


def test_where_none_is_found_part_of_one_is_held_an_inch_deep():
    """Waits as in the test below, of no spots: (1 + t / watched) ** -1/5."""
    spots = found(gained())
    assert spots.depths.size == 0
    after, depth = spots.draws(np.random.default_rng(0), (2, 20000))
    for heats in (20.0, 500.0):
        share = (1.0 + heats / (SPELLS * PANELS)) ** -0.2
        assert (after > heats).mean() == pytest.approx(share, abs=0.01)
    assert (depth == 25.4).all()


def test_panels_that_nothing_was_read_in_are_not_watched():
    lost, read = gained(), np.ones((SPELLS, PANELS))
    lost[3, 17] += 20.0
    read[:, PANELS // 2 :] = 0.0
    spots = found(lost, read=read)
    assert spots.watched == SPELLS * (PANELS // 2)
    assert spots.depths.size == 1
    after, depth = found(lost, read=0.0 * read).draws(np.random.default_rng(0), (3, 5))
    assert np.isinf(after).all()
    assert (depth == 0.0).all()


def test_a_step_and_a_hard_heat_are_no_spots():
    lost = gained()
    lost[6:, 17] += 20.0
    lost[2] *= 1.8
    assert found(lost).depths.size == 0


def test_a_spell_of_two_heats_is_twice_a_heat():
    lost, heats = gained(), np.ones(SPELLS)
    lost[4] *= 2.0
    heats[4] = 2.0
    assert found(lost, heats).depths.size == 0
    lost[4, 30] += 20.0
    spots = found(lost, heats)
    assert READ * spots.depths == pytest.approx([20.0], abs=4.0)
    assert spots.watched == 11 * PANELS


def test_panels_that_few_surveys_tell_show_no_spots_and_spoil_none():
    lost = gained()
    lost[:8, :40] = np.nan
    lost[9, 3] += 30.0
    lost[5, 80] += 20.0
    spots = found(lost)
    assert READ * spots.depths == pytest.approx([20.0], abs=3.0)
    assert spots.watched == SPELLS * PANELS - 8 * 40


def test_spots_come_as_often_as_they_did():
    """Of the waits of one panel, how often being uncertain, more than t last

    (1 + t / watched) ** -(n + 1/5): the gamma mixture of exponentials (Lomax, K. S.
    (1954). J. Am. Stat. Assoc. 49, 847-852).
    """
    spots = Spalling(10.0, np.array([10.0, 30.0]))
    after, depth = spots.draws(np.random.default_rng(1), (2, 20000))
    for heats in (1.0, 5.0):
        share = (1.0 + heats / 10.0) ** -2.2
        # 20 000 independent draws: a share to 0.0035
        assert (after > heats).mean() == pytest.approx(share, abs=0.01)
    assert (depth == 30.0).mean() == pytest.approx(0.5, abs=0.01)
    within = (after < 2.0).astype(float)
    # panels of one furnace go together: it sheds or it does not
    assert np.corrcoef(within)[0, 1] > 0.02


def test_walls_with_spots_pass_when_worn_heat_by_heat_they_do():
    rng = np.random.default_rng(2)
    room, rate = rng.uniform(5.0, 60.0, 300), rng.uniform(2.0, 9.0, 300)
    after, depth = rng.exponential(4.0, 300), rng.uniform(5.0, 30.0, 300)
    even = first_passage_time(room, rate, np.zeros(300))
    result = passage_with_spall(
        first_passage_time, even, room[None], rate[None], np.zeros((1, 1)),
        after=after, depth=depth,
    )  # fmt: skip
    time = np.arange(0.0, 40.0, 0.01)
    worn = rate[:, None] * time + np.where(time >= after[:, None], depth[:, None], 0.0)
    by_hand = time[np.argmax(worn >= room[:, None], axis=1)]
    np.testing.assert_allclose(result, by_hand, atol=0.011)
    assert (result < even - 0.5).mean() > 0.2
