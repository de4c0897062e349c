"""After the repair: is an opening its size, is the lip there; or: measure."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from geom.compare.nodes import make_nodes
from geom.design import Opening
from geom.document import as_document
from geom.repair.acceptance.judge import RepairedWall, beyond
from geom.repair.acceptance.result import OpeningCheck
from geom.surface.gp.kernels import Points2D
from geom.surface.gp.observations import ObservationOperator
from geom.units import Float
from tests.repair.known_wall import KnownWall, known_surface
from tests.repair.surveyed import kernel
from tests.walls import plain_design

RADIUS, TOLERANCE = 450.0, 6.0
TUYERE = Opening("tuyere", 90.0, 445.0, 127.0, 90.0)


def arc(mm: float) -> float:
    """An arc of the hot face, degrees."""
    return float(np.rad2deg(mm / RADIUS))


def all_about(gap: float = 30.0) -> list[tuple[float, float]]:
    """Places so far from each edge of the tuyere and its corners."""
    side, up = arc(63.5 + gap), 45.0 + gap
    return [
        (90.0 + side * i, 445.0 + up * k)
        for i in (-1.0, 0.0, 1.0)
        for k in (-1.0, 0.0, 1.0)
        if (i, k) != (0.0, 0.0)
    ]


def checked(
    field, places: list[tuple[float, float]], *, opening: Opening = TUYERE, sd=0.5
) -> OpeningCheck:
    """The wall of a field, known well, as if it had been read at some places."""
    design = plain_design(openings=(opening,))
    wall = KnownWall(field, kernel(sd))
    azimuth, height = np.array(places, dtype=float).T
    observed = ObservationOperator(
        np.zeros(azimuth.size),
        Points2D(azimuth, height),
        np.zeros(azimuth.size, dtype=bool),
    )
    quiet = SimpleNamespace(sources=())
    wall.fitted = SimpleNamespace(best=SimpleNamespace(observed=observed, noise=quiet))
    surface = known_surface(design, wall)
    surface = replace(
        surface,
        count=azimuth.size,
        radius_sd=np.where(surface.grid.surveyed, sd, np.nan),
    )
    now = RepairedWall(surface, make_nodes(surface), TOLERANCE)
    return now.check_opening(opening, 1)


def flat(mm: float):
    return lambda a, h: np.full(np.broadcast_shapes(np.shape(a), np.shape(h)), mm)


def test_wall_that_is_back_all_about_it_is_its_size_and_has_its_lip() -> None:
    check = checked(flat(1.0), all_about())
    assert (check.size.decision, check.lip.decision) == ("accept", "accept")
    assert check.size.readings == 8
    assert check.lip.readings == 3
    assert check.size.deviation.value == pytest.approx(1.0)
    assert as_document(check)["size"]["decision"] == "accept"


def test_an_opening_left_too_large_is_not_its_size() -> None:
    def gone(a: Float, h: Float) -> Float:
        return np.where(beyond(TUYERE, a, h, RADIUS) < 45.0, 60.0, 0.0)

    check = checked(gone, all_about())
    assert (check.size.decision, check.lip.decision) == ("reject", "reject")


def test_a_lip_left_out_is_seen_though_all_else_is_back() -> None:
    def lipless(a: Float, h: Float) -> Float:
        return np.where((h > 490.0) & (h < 520.0) & (np.abs(a - 90.0) < 9.0), 20.0, 0.0)

    check = checked(lipless, all_about())
    assert check.lip.decision == "reject"
    assert check.lip.deviation.value == pytest.approx(20.0)
    # three tenths of the wall about it: that is not its size either
    assert check.size.decision == "reject"


def test_a_lip_that_is_drawn_has_to_stand_out() -> None:
    drawn = replace(TUYERE, lip=18.0)

    def lipped(a: Float, h: Float) -> Float:
        out = np.maximum(18.0 - (h - 490.0) / 3.0, 0.0)
        over = (h > 490.0) & (np.abs(a - 90.0) <= arc(63.5))
        return np.where(over, -out, 0.0)

    there = checked(lipped, all_about(), opening=drawn)
    assert (there.size.decision, there.lip.decision) == ("accept", "accept")
    assert there.lip.deviation.value == pytest.approx(0.0, abs=0.5)
    flush = checked(flat(0.0), all_about(), opening=drawn)
    # over the first 20 mm it should stand out by 18 less 10 / 3 on average
    assert flush.lip.deviation.value == pytest.approx(18.0 - 10.0 / 3.0, abs=0.5)
    assert (flush.size.decision, flush.lip.decision) == ("accept", "reject")


def test_readings_further_off_tell_nothing_of_it() -> None:
    # 120 mm off every edge; a wall that is known well there, and all of it back
    check = checked(flat(0.0), all_about(120.0))
    assert (check.size.decision, check.lip.decision) == ("measure", "measure")
    assert (check.size.readings, check.size.deviation) == (0, None)


def test_readings_at_one_side_alone_do_not_settle_it() -> None:
    left = [place for place in all_about() if place[0] < 90.0]
    check = checked(flat(0.0), left)
    assert check.size.readings == 3
    assert 0.0 < check.size.measured < 0.9
    assert check.size.decision == "measure"


def test_a_lip_read_at_one_end_alone_is_measured() -> None:
    # within 4 in of that reading lie some four fifths of the lip's 5 in
    check = checked(flat(0.0), [(90.0 - arc(60.0), 500.0)])
    assert (check.lip.readings, check.lip.decision) == (1, "measure")
    assert check.lip.deviation.value == pytest.approx(0.0, abs=0.1)
    assert 0.7 < check.lip.measured < 0.9


def test_a_reading_in_the_opening_tells_nothing_of_its_edges() -> None:
    check = checked(flat(0.0), [(90.0, 445.0), (91.0, 460.0)])
    assert (check.size.readings, check.size.decision) == (0, "measure")


def test_doubt_is_measured_again_and_a_hole_has_no_lip() -> None:
    hole = replace(TUYERE, kind="tap hole")
    check = checked(flat(0.0), all_about(), opening=hole, sd=8.0)
    assert check.lip is None
    assert check.size.decision == "measure"


def test_distance_beyond_an_opening() -> None:
    places = np.array([90.0, 90.0 + arc(93.5), 90.0, 90.0 - arc(63.5 + 30.0)])
    heights = np.array([445.0, 445.0, 530.0, 445.0 + 45.0 + 40.0])
    off = beyond(TUYERE, places, heights, RADIUS)
    assert off == pytest.approx([0.0, 30.0, 40.0, 50.0])
