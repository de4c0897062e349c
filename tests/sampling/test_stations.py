"""Where to measure next, against conditioning by brute force and simulated surveys.

References
----------
Rasmussen and Williams (2006), Gaussian Processes for Machine Learning, eq. 2.23 and
2.24 (a joint normal conditioned on what was read), solved here from the prior anew for
each station, without what the package keeps of the readings.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import norm, t

from geom import InputError, reconstruct
from geom.compare import assess
from geom.compare.nodes import Nodes, make_nodes
from geom.design import Design, Opening, Profile, RodErrors
from geom.frame import turn
from geom.readings import RodReadings
from geom.readings.rod import Unreachable
from geom.sampling.assumptions import ASSUMED
from geom.sampling.feasible import feasible_stations
from geom.sampling.stations import Aim, BrickGoal, next_stations, station_covariance
from geom.stats.normal import hermite_excess
from geom.surface import RadialSurface
from geom.surface.gp.conditional import net_points
from geom.surface.gp.kernels import Points2D
from geom.surface.gp.posterior import GPPosterior
from geom.units import Float
from tests.walls import plain_design, rod_readings, stations, worn, worn_readings

NOISE = 2.0
SMALL = RodErrors(height_step=150.0, azimuth_step=45.0)


def surveyed(readings: RodReadings, design: Design) -> RadialSurface:
    """Fit on a grid that is coarse enough to be quick."""
    return reconstruct(readings, design, spacing=30.0, columns=120)


@pytest.fixture(scope="module")
def design() -> Design:
    return plain_design(rod=SMALL)


@pytest.fixture(scope="module")
def readings(design: Design) -> RodReadings:
    return worn_readings(design, azimuths=7, heights=6, noise=NOISE)


@pytest.fixture(scope="module")
def surface(design: Design, readings: RodReadings) -> RadialSurface:
    return surveyed(readings, design)


@pytest.fixture(scope="module")
def alone(surface: RadialSurface) -> RadialSurface:
    """The surface as it would be if the best sizes and lengths were the true ones."""
    return replace(surface, posterior=GPPosterior(surface.posterior.best))


def weight_of(nodes: Nodes, surface: RadialSurface) -> Float:
    """Change of the rebuild volume with cut-back: by differences of its closed form."""
    patch = nodes.gather(surface.grid.patch)
    slope = hermite_excess(nodes.mean, nodes.sd, nodes.design_radius)[0] / nodes.sd
    return np.asarray(patch * slope)


class BruteForce:
    """The variance of a weighted sum after any readings, from the prior anew."""

    def __init__(self, surface: RadialSurface, readings: RodReadings) -> None:
        self.nodes = make_nodes(surface)
        self.prior = surface.posterior.best.covariance
        self.read = Points2D(readings.azimuth, readings.height)
        self.wall = net_points(self.nodes.height, self.nodes.azimuth)
        self.weight = weight_of(self.nodes, surface)
        alike = self.prior.between(self.wall, self.wall)
        self.whole = float(self.weight @ alike @ self.weight)

    def sd(self, azimuth: Float, height: Float) -> float:
        """Standard deviation once stations are read too, each with the sheet's sd."""
        places = Points2D(
            np.append(self.read.azimuth, azimuth), np.append(self.read.height, height)
        )
        seen = self.prior.between(places, places) + NOISE**2 * np.eye(len(places))
        cross = self.prior.between(places, self.wall) @ self.weight
        return float(np.sqrt(self.whole - cross @ np.linalg.solve(seen, cross)))


def test_each_uncertainty_foretold_is_that_of_the_wall_fitted_anew(
    alone: RadialSurface, readings: RodReadings
) -> None:
    # Both are sums in double precision, of some thousand terms.
    brute = BruteForce(alone, readings)
    advice = next_stations(alone, readings, count=4)
    azimuth = np.array([s.azimuth for s in advice.stations])
    height = np.array([s.height for s in advice.stations])
    none = brute.sd(azimuth[:0], height[:0])
    for k, station in enumerate(advice.stations, 1):
        anew = brute.sd(azimuth[:k], height[:k])
        assert station.after / advice.now == pytest.approx(anew / none, rel=1e-8)
    spoiled = brute.sd(azimuth[1:], height[1:])
    assert advice.stations[-1].after / advice.now != pytest.approx(
        spoiled / none, rel=1e-3
    )


def test_the_first_station_is_the_best_of_all(
    alone: RadialSurface, readings: RodReadings
) -> None:
    brute = BruteForce(alone, readings)
    feasible = feasible_stations(alone.design, *alone.grid.surveyed_heights)
    height, azimuth = feasible.each()
    every = [brute.sd(azimuth[[k]], height[[k]]) for k in range(azimuth.size)]
    best = int(np.argmin(every))
    (first,) = next_stations(alone, readings, count=1).stations
    assert (first.azimuth, first.height) == (azimuth[best], height[best])
    assert np.ptp(every) > 0.01 * every[best]


def test_stations_hang_together_as_the_belief_says(surface: RadialSurface) -> None:
    # The same covariance by `GPPosterior.joint`, which takes all pairs at once.
    assert surface.posterior.samples
    nodes = make_nodes(surface)
    feasible = feasible_stations(surface.design, *surface.grid.surveyed_heights)
    covariance = station_covariance(surface.posterior, nodes, feasible)
    _, whole = surface.posterior.joint(feasible.height, feasible.azimuth)
    free = feasible.free.ravel()
    whole = whole[np.ix_(free, free)]
    assert covariance.variance == pytest.approx(np.diag(whole), rel=1e-9)
    assert covariance.column(9) == pytest.approx(whole[9], rel=1e-9, abs=1e-9)
    height, azimuth = feasible.each()
    rows = np.append(nodes.height[[3, 8]], height[9])
    columns = np.append(nodes.azimuth[[0, 31]], azimuth[9])
    _, both = surface.posterior.joint(rows, columns)
    asked = [3 * 60 + 0, 3 * 60 + 31, 8 * 60 + 0, 8 * 60 + 31]
    told = both[[0, 1, 3, 4], 8]
    assert covariance.block[asked, 9] == pytest.approx(told, rel=1e-9, abs=1e-9)


def brick_goal(mean: float, sd: float) -> BrickGoal:
    """One node of 1 mm2 whose mean is that much over the threshold."""
    return BrickGoal(
        np.array([True]), np.array([mean]), np.array([sd**2]), np.array([1.0])
    )


@pytest.mark.parametrize(("mean", "sd"), [(0.0, 5.0), (6.0, 5.0), (-9.0, 5.0)])
@pytest.mark.parametrize("share", [0.3, 0.9])
def test_expected_undecided_area_is_the_integral_over_the_reading(
    mean: float, sd: float, share: float
) -> None:
    # The rule itself, applied to each future best estimate, by quadrature; 1e-6 is its
    # error at the two jumps, which it is told of.
    left = sd * np.sqrt(1.0 - share)
    moved = sd * np.sqrt(share)

    def undecided(future: float) -> float:
        chance = t.cdf(future / left * np.sqrt(2.0), 4)
        return float(0.1 < chance < 0.9) * norm.pdf(future, mean, moved)

    edge = t.ppf(0.9, 4) / np.sqrt(2.0) * left
    whole, _ = quad(undecided, -60, 60, points=[-edge, 0.0, edge, mean], limit=300)
    (found,) = brick_goal(mean, sd).after(np.array([[share * sd**2]]))
    assert found == pytest.approx(whole, abs=1e-6)


def test_a_node_is_undecided_between_one_in_ten_and_nine_in_ten() -> None:
    # Student's t of 4 degrees of freedom, standard deviation 1: 0.9 below 1.0841
    assert brick_goal(1.08 * 5.0, 5.0).now == 1.0
    assert brick_goal(-1.08 * 5.0, 5.0).now == 1.0
    assert brick_goal(1.09 * 5.0, 5.0).now == 0.0
    assert brick_goal(1.08 * 5.0, 5.0).after(np.zeros((1, 1)))[0] == pytest.approx(1.0)
    assert brick_goal(1.09 * 5.0, 5.0).after(np.zeros((1, 1)))[0] == pytest.approx(0.0)


def test_a_wall_on_its_drawing_has_nothing_undecided(design: Design) -> None:
    azimuth, height = stations(12, 10, 100.0, 1400.0)
    error = np.random.default_rng(3).normal(0.0, 1.0, azimuth.size)
    readings = rod_readings(azimuth, height, 450.0 + error, sd=1.0)
    advice = next_stations(surveyed(readings, design), readings, aim="brick")
    assert advice.now == 0.0
    assert advice.stations == ()


def test_a_station_read_before_says_so(
    surface: RadialSurface, design: Design, readings: RodReadings
) -> None:
    advice = next_stations(surface, readings, count=3)
    assert not any(station.is_repeat for station in advice.stations)
    first = advice.stations[0]
    far = rod_readings(
        np.array([(first.azimuth + 180.0) % 360.0]),
        np.array([first.height]),
        np.array([900.0]),
        kind="diameter",
    )
    told = next_stations(surface, readings.joined(far), count=3)
    ends = [(a % 360.0, first.height) for a in (first.azimuth, first.azimuth + 180.0)]
    expected = [(s.azimuth, s.height) in ends for s in advice.stations]
    assert [s.is_repeat for s in told.stations] == expected
    assert expected[0]
    assert not all(expected)
    assert [s.after for s in told.stations] == [s.after for s in advice.stations]


def test_a_station_may_be_read_twice_where_that_tells_most(
    surface: RadialSurface, readings: RodReadings, design: Design
) -> None:
    # Openings leave one station on the net, so it is proposed each time; of a reading
    # with error a repeat still tells something, but less and less.
    rod = RodErrors(height_step=1000.0, azimuth_step=120.0)
    holes = tuple(Opening("door", a, 1000.0, 50.0, 50.0) for a in (0.0, 120.0))
    one = replace(surface, design=replace(design, rod=rod, openings=holes))
    found = next_stations(one, readings, count=3)
    assert {(s.azimuth, s.height) for s in found.stations} == {(240.0, 1000.0)}
    assert [s.is_repeat for s in found.stations] == [False, True, True]
    left = np.array([found.now, *(s.after for s in found.stations)]) ** 2
    gain = -np.diff(left)
    assert gain[0] > gain[1] > gain[2] > 0.0


# --- which stations can be reached ---------------------------------------------------


def test_stations_stand_on_whole_steps_from_zero() -> None:
    rod = RodErrors(height_step=100.0, azimuth_step=90.0)
    feasible = feasible_stations(plain_design(rod=rod), 150.0, 500.0)
    assert feasible.height.tolist() == [200.0, 300.0, 400.0, 500.0]
    assert feasible.azimuth.tolist() == [0.0, 90.0, 180.0, 270.0]
    assert feasible.free.all()


@pytest.mark.parametrize(("unit", "step"), [("in", 76.2), ("mm", 75.0), ("m", 75.0)])
def test_default_steps_are_the_shops_own(unit: str, step: float) -> None:
    feasible = feasible_stations(plain_design(length_unit=unit), 0.0, 1500.0)
    assert np.diff(feasible.height) == pytest.approx(step, abs=1e-9)
    assert np.diff(feasible.azimuth) == pytest.approx(15.0)


def test_default_steps_widen_on_a_tall_furnace() -> None:
    profile = Profile(np.array([0.0, 3e4]), np.array([450.0, 450.0]))
    feasible = feasible_stations(plain_design(profile=profile), 0.0, 3e4)
    assert feasible.height.size <= 61
    assert np.diff(feasible.height) == pytest.approx(525.0)


def test_no_station_lies_in_or_beside_an_opening_or_at_a_step() -> None:
    profile = Profile(np.array([0.0, 600.0, 600.0, 1500.0]), np.full(4, 450.0))
    profile = replace(profile, radius=np.array([450.0, 450.0, 480.0, 480.0]))
    hole = Opening("tuyere", 359.0, 300.0, 127.0, 90.0)
    rod = RodErrors(height_step=10.0, azimuth_step=3.0)
    design = plain_design(profile=profile, openings=(hole,), rod=rod)
    feasible = feasible_stations(design, 200.0, 500.0)
    height, azimuth = feasible.each()
    arc = np.deg2rad(np.abs((azimuth - 359.0 + 180.0) % 360.0 - 180.0)) * 450.0
    off = np.maximum(arc - 63.5, np.abs(height - 300.0) - 45.0)
    assert off.min() >= ASSUMED.margin - 1e-5
    # No more is left out than need be: the next step on the net.
    assert off.min() <= ASSUMED.margin + 10.0
    high = feasible_stations(design, 500.0, 700.0)
    at = high.height[high.free.any(axis=1)]
    assert np.abs(at - 600.0).min() == pytest.approx(30.0)


@pytest.mark.parametrize(
    ("rod", "words"),
    [
        (RodErrors(height_step=5000.0), "no station"),
        (RodErrors(height_step=1.0, azimuth_step=1.0), "more than the 4000"),
        (RodErrors(height_step=1e-300), "more than the 4000"),
    ],
)
def test_steps_that_leave_no_choice_are_refused(rod: RodErrors, words: str) -> None:
    with pytest.raises(InputError, match=words) as told:
        feasible_stations(plain_design(rod=rod), 100.0, 1400.0)
    assert told.value.place == "[rod], keys height_step and azimuth_step"
    assert told.value.cure


# --- does it come true? --------------------------------------------------------------


class Furnace:
    """An invented wall, other than the model's own, with a sparse survey of it."""

    def __init__(self, seed: int) -> None:
        self.chance = np.random.default_rng(seed)
        draw = self.chance.uniform
        self.burn = draw(400, 1000), draw(150, 350), draw(15, 50), draw(0, 360)
        self.spots = [
            (draw(0, 360), draw(100, 1400), draw(60, 200), self.chance.normal(0, 12))
            for _ in range(12)
        ]
        self.design = plain_design()
        self.readings = self.read(*stations(8, 6, 100.0, 1400.0))
        self.surface = surveyed(self.readings, self.design)

    def cutback(self, azimuth: Float, height: Float) -> Float:
        up, tall, depth, side = self.burn
        ring = depth * np.exp(-(((height - up) / tall) ** 2))
        total = ring * (1.0 + 0.4 * np.cos(np.deg2rad(azimuth - side)))
        for around, at, size, deep in self.spots:
            chord = 900.0 * np.sin(np.deg2rad(0.5 * (azimuth - around)))
            apart = chord**2 + (height - at) ** 2
            total = total + deep * np.exp(-apart / (2.0 * size**2))
        return np.asarray(total)

    def read(self, azimuth: Float, height: Float) -> RodReadings:
        error = self.chance.normal(0.0, NOISE, azimuth.size)
        radius = 450.0 + self.cutback(azimuth, height) + error
        return rod_readings(azimuth, height, radius, sd=NOISE)

    def with_more(self, azimuth: Float, height: Float) -> RadialSurface:
        more = self.readings.joined(self.read(azimuth, height))
        return surveyed(more, self.design)

    def some_stations(self, count: int) -> tuple[Float, Float]:
        """Stations at random among those that can be reached."""
        height, azimuth = feasible_stations(self.design, 100.0, 1400.0).each()
        pick = self.chance.choice(height.size, count, replace=False)
        return azimuth[pick], height[pick]


def stated_sd(surface: RadialSurface) -> float:
    return assess(surface, surface.design).volume.rebuild.sd


def undecided(surface: RadialSurface) -> float:
    limit = surface.design.repair.brick_threshold
    return BrickGoal.of(surface.grid, make_nodes(surface), limit).now


SEEDS = (0, 1, 3, 4, 5, 6)
COUNT = 6


@pytest.fixture(scope="module")
def furnaces() -> list[Furnace]:
    return [Furnace(seed) for seed in SEEDS]


def both_ways(furnace: Furnace, aim: Aim) -> tuple[float, float, float, float]:
    """What is left: now, as foretold, once read, and with stations at random."""
    tell = stated_sd if aim == "volume" else undecided
    advice = next_stations(furnace.surface, furnace.readings, count=COUNT, aim=aim)
    azimuth = np.array([s.azimuth for s in advice.stations])
    height = np.array([s.height for s in advice.stations])
    left = advice.stations[-1].after if advice.stations else advice.now
    read = tell(furnace.with_more(azimuth, height))
    random = tell(furnace.with_more(*furnace.some_stations(COUNT)))
    return advice.now, left, read, random


@pytest.mark.slow
def test_the_stated_uncertainty_shrinks_as_foretold_and_more_than_by_chance(
    furnaces: list[Furnace],
) -> None:
    # Sizes and lengths are learned anew from the readings that come in, which alone
    # moves the stated uncertainty by a tenth and more; on the mean of six furnaces a
    # quarter is allowed.
    told = np.array([both_ways(furnace, "volume") for furnace in furnaces])
    now, left, read, random = told.T
    assert np.mean(left / now) < 0.75
    assert np.mean(read / left) == pytest.approx(1.0, abs=0.25)
    assert np.mean(read / random) < 0.95


@pytest.mark.slow
def test_less_brick_stays_undecided_than_by_chance(furnaces: list[Furnace]) -> None:
    told = np.array([both_ways(furnace, "brick") for furnace in furnaces])
    now, left, read, random = told.sum(axis=0)
    assert now > 2.0 * 228.6 * 63.5  # more than two brick faces in all
    # Areas jump with each node that is called; a third is allowed on the sum.
    assert read == pytest.approx(left, rel=0.33)
    assert read < 0.92 * random


# --- wall nobody read, and stations nobody can reach ---------------------------------


def top_read(design: Design) -> RodReadings:
    azimuth, height = stations(12, 4, 900.0, 1400.0)
    return rod_readings(azimuth, height, 450.0 + worn(azimuth, height), sd=2.0)


def test_unread_wall_attracts(design: Design) -> None:
    readings = top_read(design)
    surface = surveyed(readings, design)
    advice = next_stations(surface, readings, count=4)
    assert advice.unread
    assert all(station.height < 850.0 for station in advice.stations)
    assert len({station.azimuth for station in advice.stations}) > 1


def test_unread_wall_counts_over_all_its_height(design: Design) -> None:
    # Read at the foot: what is unread is above, as far as the rod can be set.
    azimuth, height = stations(12, 4, 100.0, 500.0)
    readings = rod_readings(azimuth, height, 450.0 + worn(azimuth, height), sd=2.0)
    advice = next_stations(surveyed(readings, design), readings, count=4)
    assert advice.unread
    assert all(station.height > 550.0 for station in advice.stations)


def test_wall_read_all_over_counts_as_read(
    surface: RadialSurface, readings: RodReadings
) -> None:
    assert not next_stations(surface, readings, count=1).unread


def test_a_station_nobody_could_reach_is_not_proposed_again(
    surface: RadialSurface, readings: RodReadings
) -> None:
    first = next_stations(surface, readings, count=1).stations[0]
    shut = Unreachable(np.array([first.azimuth]), np.array([first.height]))
    told = next_stations(surface, replace(readings, no_access=shut), count=5)
    off = np.deg2rad([turn(s.azimuth, first.azimuth) for s in told.stations]) * 450.0
    up = np.array([s.height - first.height for s in told.stations])
    assert np.hypot(off, up).min() > 95.0


def test_where_nothing_can_be_reached_it_says_so(
    surface: RadialSurface, readings: RodReadings
) -> None:
    feasible = feasible_stations(surface.design, 0.0, 1500.0)
    height, azimuth = feasible.each()
    shut = replace(readings, no_access=Unreachable(azimuth, height))
    with pytest.raises(InputError, match="out of reach"):
        next_stations(surface, shut)
