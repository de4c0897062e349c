from dataclasses import replace

import numpy as np
import pytest
from furnaces import draw_design
from linings import HIGH, LOW, cut_into_cells
from peers import Job, end_areas, griddata_cubic, griddata_linear, thin_plate
from wear import BORE

DESIGN = replace(draw_design(np.random.default_rng(0)), openings=())


def job(wall, *, azimuths=16, heights=14, low=LOW, high=HIGH):
    """Readings without noise of a wall given as a function."""
    a, h = np.meshgrid(
        np.arange(azimuths) * 360.0 / azimuths, np.linspace(low, high, heights)
    )
    a, h = a.ravel(), h.ravel()
    cells = cut_into_cells(DESIGN, low, high, turn_step=2.0, height_step=20.0)
    return Job(DESIGN, a, h, wall(a, h), 2.0, cells, seed=0)


def lobe(a, h):
    return 20.0 + 10.0 * np.cos(np.deg2rad(a)) + 0.01 * (h - LOW)


@pytest.mark.parametrize("peer", [griddata_linear, griddata_cubic, thin_plate])
def test_peers_close_the_wall_and_follow_one_lobe(peer):
    options = job(lobe)
    gap = peer(options).mean - lobe(options.cells.azimuth, options.cells.height)
    assert np.isfinite(gap).all()
    # a chord of 22.5 degrees hangs 10 (1 - cos 11.25) = 0.19 mm off the lobe
    assert np.max(np.abs(gap)) < 0.25


@pytest.mark.parametrize("peer", [griddata_linear, griddata_cubic, thin_plate])
def test_turning_the_azimuth_origin_turns_the_answer(peer):
    plain = job(lobe)
    turned = job(lambda a, h: lobe(a - 90.0, h))
    rows = plain.cells.shape
    there = np.roll(peer(plain).mean.reshape(rows), 45, axis=1)
    # triangles that share a diagonal may split it the other way after the turn
    assert np.max(np.abs(there - peer(turned).mean.reshape(rows))) < 0.1


def test_end_areas_between_two_heights_is_the_mean_area_times_the_height():
    low, high = 254.0, 854.0  # in the cylinder
    options = job(
        lambda a, h: np.where(h < 500.0, 10.0, 30.0) + 0.0 * a,
        azimuths=8, heights=2, low=low, high=high,
    )  # fmt: skip
    areas = [np.pi * ((BORE + c) ** 2 - BORE**2) for c in (10.0, 30.0)]
    by_hand = (high - low) * sum(areas) / 2
    found = options.cells.volume(end_areas(options).mean)
    # the area is a straight line in height, which the midpoint rule integrates exactly
    assert found == pytest.approx(by_hand, rel=1e-9)


def test_end_areas_knows_only_the_mean_of_each_height():
    options = job(lobe)
    flat = end_areas(options).mean.reshape(options.cells.shape)
    assert np.ptp(flat, axis=1).max() < 1e-9
    straight = 20.0 + 0.01 * (options.cells.height.reshape(flat.shape) - LOW)
    # areas, not radii, are straight in between: 0.001 mm here
    assert np.max(np.abs(flat - straight)) < 0.01
