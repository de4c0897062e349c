"""Errors that no number of points averages away: the scanner's range and scale."""

from __future__ import annotations

import numpy as np
import pytest

from geom.datum import FoundPose, Pose
from geom.readings.cloud import Cloud
from geom.surface.clouds.register import Beam, _block_diagonal
from tests.walls import plain_design


class NoPoints:
    """A source of no points, for a cloud whose place alone counts."""

    name, count = "none.npy", 0


def beam_from(scanner) -> Beam:
    """To four places round a wall of 450 mm, at height 700 mm."""
    design = plain_design()
    cloud = Cloud(NoPoints(), 1.0, 0.0, 0.0, scanner)
    azimuth = np.array([0.0, 90.0, 180.0, 270.0])
    pose = Pose.nominal(design)
    return Beam.of(cloud, pose, azimuth, np.full(4, 450.0), np.full(4, 700.0))


def test_a_range_error_is_one_of_radius_where_the_laser_is_square_on():
    square, scale = beam_from(np.array([0.0, 0.0, 700.0])).ranging
    assert square == pytest.approx(np.ones(4))
    # 10 ppm of 450 mm are 4.5 micrometres.
    assert 10.0 * scale == pytest.approx(np.full(4, 0.0045))


def test_at_an_angle_only_part_of_it_is():
    # 450 mm up: 45 degrees to all of the wall there.
    square, scale = beam_from(np.array([0.0, 0.0, 1150.0])).ranging
    assert square == pytest.approx(np.full(4, np.sqrt(0.5)))
    assert scale == pytest.approx(np.full(4, 450.0e-6))


def test_a_scanner_whose_place_is_not_known_is_taken_to_stand_square_on():
    beam = beam_from(None)
    assert beam.ranging[0].tolist() == [1.0] * 4
    assert beam.grazing.tolist() == [0.0] * 4


def test_the_range_is_one_error_of_all_frames():
    design = plain_design()
    found = [FoundPose(Pose.nominal(design), True, 1000, 0.0)] * 2
    errors = _block_diagonal(found, design, 0.2)
    assert errors.shape == (13, 13)
    assert np.sqrt(np.diag(errors)[-3:]) == pytest.approx([1.0, 10.0, 0.2])
    assert design.scanner.range_error == 1.0
