"""Targets fix azimuth and height, and move nothing of an axis that is found."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from geom import InputError
from geom.datum import (
    MatchedTargets,
    Pose,
    align_to_targets,
    find_pose,
    match_targets,
    nominal_from_targets,
)
from geom.datum.assumptions import ASSUMED
from geom.design import DatumBand, Design, Target
from geom.frame import Sense, turn
from geom.readings.cloud import ObservedTarget
from geom.units import Float
from tests.walls import plain_design, tapered_design

SENSES: tuple[Sense, ...] = ("clockwise", "counterclockwise")
#: Spread round the furnace and over its height; the last stands on the shell above.
ROUND = (
    Target("A", 20.0, 1350.0),
    Target("B", 95.0, 300.0),
    Target("C", 170.0, 900.0),
    Target("D", 250.0, 1420.0, 500.0),
    Target("E", 330.0, 1600.0, 660.0),
)


def furnace(*targets: Target, sense: Sense = "clockwise") -> Design:
    return plain_design(targets=targets or ROUND, azimuth_sense=sense)


def true_pose(
    design: Design, rng: np.random.Generator, *, away: float = 80.0, steep: float = 2.0
) -> Pose:
    """A pose anywhere: any azimuth, offset and tilt up to what is told."""
    toward, leaning = rng.uniform(0.0, 2.0 * np.pi, 2)
    off, tilt = away * rng.uniform(), steep * rng.uniform()
    level = Pose.nominal(
        design,
        azimuth_of_x=float(rng.uniform(0.0, 360.0)),
        z_offset=float(rng.uniform(-3000.0, 3000.0)),
    )
    return level.at(
        np.array(
            [
                off * np.cos(toward),
                off * np.sin(toward),
                tilt * np.cos(leaning),
                tilt * np.sin(leaning),
            ]
        )
    )


def scanned(
    design: Design, pose: Pose, noise: Float | float = 0.0
) -> list[ObservedTarget]:
    """The targets where a scanner in that pose sees them."""
    at = pose.from_wall(
        np.array([t.azimuth for t in design.targets]),
        np.array([design.radius_at_target(t) for t in design.targets]),
        np.array([t.height for t in design.targets]),
    )
    named = zip(design.targets, at + noise, strict=True)
    return [ObservedTarget(t.name, *map(float, place)) for t, place in named]


def axis_found(true: Pose, nominal: Pose) -> Pose:
    """The true axis as it is told with another azimuth and height: a line in space."""
    none = np.zeros(1)
    low = true.from_wall(none, none, none)[0]
    high = true.from_wall(none, none, none + 1000.0)[0]
    level = nominal.mid_height + nominal.z_offset
    there = low + (high - low) * (level - low[2]) / (high[2] - low[2])
    return nominal.at(np.array([there[0], there[1], true.tilt_x, true.tilt_y]))


def fixed(design: Design, true: Pose, seen: list[ObservedTarget]) -> Pose:
    """All steps, the axis being found exactly."""
    both = match_targets(seen, design)
    nominal = nominal_from_targets(both, design)
    return align_to_targets(axis_found(true, nominal), both)[0]


def assert_same(found: Pose, true: Pose) -> None:
    assert abs(float(turn(found.azimuth_of_x, true.azimuth_of_x))) < 1e-6
    assert 0.0 <= found.azimuth_of_x < 360.0
    assert found.z_offset == pytest.approx(true.z_offset, abs=1e-6)
    np.testing.assert_allclose(found.parameters, true.parameters, atol=1e-6)


# --- without noise -------------------------------------------------------------------


@pytest.mark.parametrize("sense", SENSES)
@pytest.mark.parametrize(
    "targets",
    [
        ROUND,
        ROUND[:2],
        (Target("low", 77.0, 200.0), Target("high", 77.0, 1400.0)),
        (Target("left", 100.0, 1400.0), Target("right", 103.0, 100.0)),
    ],
    ids=["five", "two", "one above the other", "side by side"],
)
def test_any_pose_is_found_again(sense, targets) -> None:
    design = furnace(*targets, sense=sense)
    rng = np.random.default_rng(3)
    for _ in range(40):
        true = true_pose(design, rng)
        seen = scanned(design, true)
        assert_same(fixed(design, true, seen), true)


def test_the_axis_stays_in_its_place() -> None:
    design = furnace()
    rng = np.random.default_rng(4)
    spoiled = []
    for _ in range(20):
        true = true_pose(design, rng)
        both = match_targets(scanned(design, true), design)
        nominal = nominal_from_targets(both, design)
        found = axis_found(true, replace(nominal, z_offset=nominal.z_offset + 40.0))
        better, misfit, _ = align_to_targets(found, both)
        assert misfit < 1e-6
        # both ends of the axis as found lie on the axis of the better pose
        none = np.zeros(2)
        ends = found.from_wall(none, none, np.array([0.0, 1500.0]))
        np.testing.assert_allclose(better.to_wall(ends)[1], 0.0, atol=1e-6)
        # spoiled twin: height set without moving the point that the offset is told at
        stale = replace(better, offset_x=found.offset_x, offset_y=found.offset_y)
        spoiled.append(stale.to_wall(ends)[1].max())
    assert max(spoiled) > 0.5  # 40 mm along an axis that leans by up to 2 degrees


def test_told_rightly_already_nothing_changes() -> None:
    design = furnace(sense="counterclockwise")
    true = true_pose(design, np.random.default_rng(5))
    found, misfit, height_sd = align_to_targets(
        true, match_targets(scanned(design, true), design)
    )
    assert_same(found, true)
    assert misfit == pytest.approx(0.0, abs=1e-9)
    # 2 mm counted as one target beside five that agree: 2 / sqrt(5) / sqrt(5)
    assert height_sd == pytest.approx(0.4, abs=1e-9)


@pytest.mark.parametrize("sense", SENSES)
def test_the_first_turn_bears_offset_and_tilt(sense) -> None:
    design = furnace(sense=sense)
    rng = np.random.default_rng(6)
    about_z = []
    for _ in range(60):
        true = true_pose(design, rng, away=400.0, steep=3.0)
        both = match_targets(scanned(design, true), design)
        nominal = nominal_from_targets(both, design)
        assert nominal.parameters.tolist() == [0.0] * 4
        off = abs(float(turn(nominal.azimuth_of_x, true.azimuth_of_x)))
        # 3 degrees over heights that scatter by 460 mm shift a target by 24 mm, on a
        # spread of 510 mm
        assert off < np.rad2deg(24.0 / 510.0)
        # a target at 660 mm is lifted by 35 mm at most, the mean of five by less
        assert nominal.z_offset == pytest.approx(true.z_offset, abs=35.0)
        # spoiled twin: the turn about the cloud's own z
        angle = np.arctan2(*(both.seen @ nominal.rotation.T)[:, 1::-1].T)
        about_z.append(np.abs(turn(np.rad2deg(angle), both.azimuth)).max())
    assert max(about_z) > 30.0


@pytest.mark.parametrize("sense", SENSES)
@pytest.mark.parametrize("across", [0.0, 3.0, 14.0])
def test_targets_close_together_are_turned_about_the_clouds_own_z(
    sense, across
) -> None:
    targets = (Target("low", 100.0, 1400.0), Target("high", 100.0 + across, 100.0))
    design = furnace(*targets, sense=sense)
    rng = np.random.default_rng(17)
    # 80 mm off and 2 degrees over 750 mm from the middle, seen at 450 mm
    most = np.rad2deg(np.arcsin((80.0 + 750.0 * np.tan(np.deg2rad(2.0))) / 450.0))
    among_themselves = []
    for _ in range(40):
        true = true_pose(design, rng)
        both = match_targets(scanned(design, true), design)
        nominal = nominal_from_targets(both, design)
        assert abs(float(turn(nominal.azimuth_of_x, true.azimuth_of_x))) < most
        # spoiled twin: the direction from one to the other
        (x, y), (east, north) = (
            np.diff(a, axis=0)[0, :2] for a in (both.seen, both.across)
        )
        hand = -1.0 if nominal.clockwise else 1.0
        off = np.arctan2(north, east) - np.arctan2(hand * y, x)
        among_themselves.append(abs(float(turn(np.rad2deg(off), true.azimuth_of_x))))
    assert max(among_themselves) > 1.3 * most


UP = np.array([50.0, 10.0, 20.0, 12.0])  # mean 23


def test_the_first_turn_is_that_of_a_reference_library() -> None:
    # Kabsch's best turn as scipy has it; in the plane both solve one least squares.
    from scipy.spatial.transform import Rotation

    rng = np.random.default_rng(7)
    drawn = 450.0 * np.exp(1j * np.deg2rad(np.array([5.0, 60.0, 200.0, 310.0])))
    for _ in range(10):
        turned = rng.uniform(0.0, 360.0)
        rough = drawn * np.exp(-1j * np.deg2rad(turned))
        rough = rough + rng.normal(0.0, 30.0, 4) + 1j * rng.normal(0.0, 30.0, 4)
        seen = np.stack([rough.real, rough.imag, np.zeros(4)], axis=1)
        both = MatchedTargets(
            names=("a", "b", "c", "d"),
            seen=seen + np.array([300.0, -200.0, 0.0]) + UP[:, None] * [0.0, 0.0, 1.0],
            azimuth=np.rad2deg(np.angle(drawn)),
            radius=np.abs(drawn),
            height=np.zeros(4),
        )
        flat = np.stack([drawn.real, drawn.imag, np.zeros(4)], axis=1)
        best, _ = Rotation.align_vectors(flat - flat.mean(0), seen - seen.mean(0))
        ours = nominal_from_targets(both, furnace(sense="counterclockwise"))
        theirs = best.as_euler("zxy", degrees=True)[0]
        assert abs(float(turn(ours.azimuth_of_x, theirs))) < 1e-7
        assert ours.z_offset == pytest.approx(23.0)


# --- with noise ----------------------------------------------------------------------


@pytest.mark.parametrize("sense", SENSES)
def test_noise_comes_through_as_least_squares_says(sense) -> None:
    """Closed forms for n targets of one radius r with noise s in each coordinate.

    sd of azimuth s / (r sqrt(n)), of height s / sqrt(n); of 3 n coordinates two are
    spent, so that the mean square misfit is s^2 (3 n - 2) / n.
    """
    targets = tuple(Target(f"T{k}", 55.0 * k, 200.0 * k + 100.0) for k in range(6))
    design = furnace(*targets, sense=sense)
    rng = np.random.default_rng(8)
    told = []
    for _ in range(400):
        true = true_pose(design, rng)
        both = match_targets(
            scanned(design, true, rng.normal(0.0, 1.0, (6, 3))), design
        )
        found = axis_found(true, nominal_from_targets(both, design))
        better, misfit, height_sd = align_to_targets(found, both)
        # along the axis: what z of the cloud tells is that times the cosine of the tilt
        along = (better.z_offset - true.z_offset) / true.rotation[2, 2]
        off = float(turn(true.azimuth_of_x, better.azimuth_of_x))
        told.append((off, along, misfit**2, abs(along) < 1.96 * height_sd))
    off, along, square, held = np.array(told, dtype=np.float64).T
    # an sd from 400 draws is good to 3.5 %; these are 4 times that
    assert np.std(off) == pytest.approx(np.rad2deg(1 / (450 * np.sqrt(6))), rel=0.15)
    assert np.std(along) == pytest.approx(1.0 / np.sqrt(6.0), rel=0.15)
    assert abs(np.mean(off)) < 4.0 * np.std(off) / 20.0
    assert abs(np.mean(along)) < 4.0 * np.std(along) / 20.0
    assert np.mean(square) == pytest.approx(16.0 / 6.0, rel=0.1)
    assert 0.93 < np.mean(held) < 0.995


def test_two_targets_that_agree_by_chance_do_not_fix_the_height_for_certain() -> None:
    design = furnace(*ROUND[:2])
    rng = np.random.default_rng(9)
    held, bare = [], []
    for _ in range(400):
        noise = np.zeros((2, 3))
        noise[:, 2] = rng.normal(0.0, 2.0, 2)
        level = Pose.nominal(design)
        both = match_targets(scanned(design, level, noise), design)
        better, _, height_sd = align_to_targets(level, both)
        held.append(abs(better.z_offset) < 1.96 * height_sd)
        scatter = abs(noise[0, 2] - noise[1, 2]) / 2.0
        bare.append(abs(better.z_offset) < 1.96 * scatter)
    # twin: the scatter of the two alone (JCGM 100:2008, 4.2.3), one degree of freedom
    assert np.mean(bare) < 0.75
    assert np.mean(held) > 0.85


def test_what_the_pose_says_of_a_place_on_the_wall_stays_as_uncertain() -> None:
    design = furnace()
    level = Pose.nominal(design, z_offset=200.0)
    root = np.random.default_rng(10).normal(0.0, 0.2, (4, 4))
    found = level.at(np.array([30.0, -20.0, 0.4, -0.3]), root @ root.T)
    true = replace(found, azimuth_of_x=25.0, z_offset=160.0)
    true = axis_found(found, true)
    better, _, _ = align_to_targets(found, match_targets(scanned(design, true), design))
    assert better.z_offset == pytest.approx(160.0, abs=1e-6)
    azimuth, height = np.meshgrid(np.arange(0.0, 360.0, 30.0), [100.0, 700.0, 1300.0])
    places = better.from_wall(azimuth.ravel(), np.full(36, 450.0), height.ravel())

    def spread(pose: Pose, covariance: Float) -> Float:
        turned, radius, up = pose.to_wall(places)
        lean = pose.jacobian(turned, up, np.zeros(36), radius)
        return np.asarray(np.einsum("ni,ij,nj->n", lean, covariance, lean))

    before = spread(found, found.covariance)
    # lean is told to first order in tilts of half a degree
    np.testing.assert_allclose(spread(better, better.covariance), before, rtol=3e-3)
    # spoiled twin: the covariance as it was
    stale = spread(better, found.covariance)
    assert np.abs(stale / before - 1.0).max() > 0.05


def test_covariance_moves_as_the_offset_does() -> None:
    """By differences of where the axis is at the place the offset is then told at."""
    design = furnace()
    root = np.random.default_rng(15).normal(0.0, 0.2, (4, 4))
    found = Pose.nominal(design).at(np.array([30.0, -20.0, 5.0, -4.0]), root @ root.T)
    true = axis_found(found, replace(found, z_offset=-45.0))
    better, _, _ = align_to_targets(found, match_targets(scanned(design, true), design))
    slid = float((better.origin - found.origin) @ found.rotation[2])
    assert slid == pytest.approx(-45.0 / found.rotation[2, 2])
    none = np.zeros(1)

    def offset(parameters: Float) -> Float:
        pose = found.at(parameters)
        return pose.from_wall(none, none, none + pose.mid_height + slid)[0, :2]

    step = 1e-4
    moves = np.eye(4)
    for k, one in enumerate(np.eye(4) * step):
        ahead, behind = offset(found.parameters + one), offset(found.parameters - one)
        moves[:2, k] = (ahead - behind) / (2.0 * step)
    np.testing.assert_allclose(
        better.covariance, moves @ found.covariance @ moves.T, atol=1e-7
    )


@pytest.mark.parametrize("sense", SENSES)
def test_the_whole_road_with_the_axis_found_on_a_cloud(sense) -> None:
    design = tapered_design(
        datum_bands=(DatumBand(1150.0, 1450.0),), targets=ROUND, azimuth_sense=sense
    )
    rng = np.random.default_rng(11)
    true = Pose.nominal(design, azimuth_of_x=213.0, z_offset=-870.0)
    true = true.at(np.array([300.0, -220.0, 2.0, -2.0]))
    azimuth = rng.uniform(0.0, 360.0, 12_000)
    height = rng.uniform(0.0, 1500.0, azimuth.size)
    radius = design.profile.radius_at(height) + rng.normal(0.0, 1.0, azimuth.size)
    cloud = true.from_wall(azimuth, radius, height)
    both = match_targets(scanned(design, true, rng.normal(0.0, 1.0, (5, 3))), design)
    pose = nominal_from_targets(both, design)
    for _ in range(2):
        found = find_pose(cloud, design, pose.at(np.zeros(4)))
        pose, misfit, height_sd = align_to_targets(found.pose, both)
    assert misfit < 4.0
    # noise of 1 mm on five targets: 0.06 degrees and 0.45 mm, four times that
    assert abs(float(turn(pose.azimuth_of_x, true.azimuth_of_x))) < 0.25
    assert pose.z_offset == pytest.approx(true.z_offset, abs=1.8)
    assert 0.2 < height_sd < 2.0
    np.testing.assert_allclose(pose.parameters[:2], true.parameters[:2], atol=1.0)
    np.testing.assert_allclose(pose.parameters[2:], true.parameters[2:], atol=0.1)


# --- what is refused -----------------------------------------------------------------


def refused(design: Design, seen: list[ObservedTarget], true: Pose) -> InputError:
    with pytest.raises(InputError) as told:
        fixed(design, true, seen)
    assert told.value.cure
    return told.value


@pytest.mark.parametrize("sense", SENSES)
def test_swapped_names_are_refused_and_all_misses_told(sense) -> None:
    design = furnace(sense=sense)
    true = true_pose(design, np.random.default_rng(12))
    seen = scanned(design, true)
    seen[1], seen[2] = (
        replace(seen[2], name="B", file="seen.csv"),
        replace(seen[1], name="C", file="seen.csv"),
    )
    seen[0] = replace(seen[0], file="seen.csv")
    said = str(refused(design, seen, true))
    assert said.startswith("seen.csv: the target ")
    assert all(f'"{target.name}" ' in said for target in ROUND)
    assert said.split('"')[1] in ("B", "C")
    assert "swapped" in said
    assert "azimuth_sense" in said


@pytest.mark.parametrize("sense", SENSES)
def test_a_mirrored_set_is_refused(sense) -> None:
    other = SENSES[1 - SENSES.index(sense)]
    design, mirrored = furnace(sense=sense), furnace(sense=other)
    rng = np.random.default_rng(13)
    for count in (3, 5):
        some, meant = furnace(*ROUND[:count], sense=sense), ROUND[:count]
        true = true_pose(design, rng)
        seen = scanned(some, true)
        told = replace(mirrored, targets=meant)
        wrong = replace(true, clockwise=other == "clockwise")
        assert "misses its place" in str(refused(told, seen, wrong))
        assert_same(fixed(some, true, seen), true)


def test_two_opposite_targets_cannot_tell_a_mirror() -> None:
    opposite = (Target("A", 10.0, 500.0), Target("B", 190.0, 900.0))
    design, mirrored = furnace(*opposite), furnace(*opposite, sense="counterclockwise")
    true = true_pose(design, np.random.default_rng(14))
    seen = scanned(design, true)
    fixed(mirrored, replace(true, clockwise=False), seen)


def test_a_target_may_miss_by_two_inches_and_no_more() -> None:
    design = furnace()
    level = Pose.nominal(design)
    seen = scanned(design, level)
    # along the radius: neither turn nor height follow it
    a = np.deg2rad(ROUND[0].azimuth)
    for far, fits in (
        (ASSUMED.target_miss - 0.1, True),
        (ASSUMED.target_miss + 0.1, False),
    ):
        moved = replace(
            seen[0], x=seen[0].x + far * np.cos(a), y=seen[0].y - far * np.sin(a)
        )
        both = match_targets([moved, *seen[1:]], design)
        if fits:
            _, misfit, _ = align_to_targets(level, both)
            assert misfit == pytest.approx(far / np.sqrt(5.0))
        else:
            with pytest.raises(InputError, match='"A" misses its place by 51 mm'):
                align_to_targets(level, both)


def test_names_match_without_capitals_and_blanks() -> None:
    design = furnace(Target("Tap Hole", 0.0, 100.0), Target("Door", 90.0, 300.0, 470.0))
    seen = [
        ObservedTarget(" DOOR", 1.0, 2.0, 3.0),
        ObservedTarget("tap hole ", 4.0, 5.0, 6.0),
    ]
    both = match_targets(seen, design)
    assert both.names == ("Door", "Tap Hole")
    assert both.seen.tolist() == [[1.0, 2.0, 3.0], [4.0, 5.0, 6.0]]
    assert both.azimuth.tolist() == [90.0, 0.0]
    assert both.radius.tolist() == [470.0, 450.0]
    assert both.height.tolist() == [300.0, 100.0]


def seen_as(*names: str) -> list[ObservedTarget]:
    rows = enumerate(names, 2)
    return [ObservedTarget(n, 0.0, 0.0, 0.0, "seen.csv", f"row {k}") for k, n in rows]


LONG = tuple(Target(f"Post {k}", 90.0 * k, 900.0) for k in (1, 2))


@pytest.mark.parametrize(
    ("targets", "names", "words"),
    [
        (ROUND, ("A", "Bb"), 'seen.csv, row 3: the design file knows no target "Bb"'),
        (LONG, ("Post 1", "Pots 2"), 'the nearest known is "Post 2"'),
        (ROUND[:3], ("b",), '"A", "B" and "C", on the sheet: "b"'),
        (ROUND[:3], ("b",), "seen.csv: two targets or more"),
        (ROUND[:3], ("b", "B"), "two targets or more"),
        (ROUND[:3], (), "on the sheet: none"),
        ((), ("A", "B"), "the design file has no target"),
    ],
)
def test_names_that_do_not_match_are_told(targets, names, words) -> None:
    with pytest.raises(InputError) as told:
        match_targets(seen_as(*names), plain_design(targets=targets))
    assert words in str(told.value)
    assert told.value.cure
