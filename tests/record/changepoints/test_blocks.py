"""Spells of a long record taken together, and steps placed among them."""

import numpy as np
import pytest

from geom.record.changepoints.segmentation import Blocks


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
