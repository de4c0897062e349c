"""Cylinders and cones through points of a wall: found from anywhere, known how well."""

from __future__ import annotations

from dataclasses import replace
from functools import partial

import numpy as np
import pytest

from geom import InputError, Quantity, RevolutionFit, fit_revolution
from geom.units import Float

#: Radius, height, degrees of the way around: a band of a cupola, a third of it, ...
SHAPES = {
    "band": (457.0, 229.0, 360.0),
    "third of a band": (457.0, 229.0, 120.0),
    "shaft": (457.0, 2500.0, 360.0),
    "third of a shaft": (457.0, 2500.0, 120.0),
    "blast pipe": (60.0, 3000.0, 360.0),
    "half a ring": (457.0, 40.0, 180.0),
}
AXES = {
    "upright": (0.0, 0.0, 1.0),
    "leaning": (0.02, -0.03, 1.0),
    "along x": (1.0, 0.0, 0.0),
    "askew": (0.5, -0.6, 0.4),
}
PLACE = np.array([1200.0, -340.0, 5000.0])
fit_cylinder = partial(fit_revolution, surface="cylinder")
fit_cone = partial(fit_revolution, surface="cone")


def unit(vector: Float | tuple[float, ...]) -> Float:
    return np.asarray(vector) / np.linalg.norm(vector)


def wall(
    shape: str = "band",
    *,
    taper: float = 0.0,
    axis: tuple[float, ...] = (0.02, -0.03, 1.0),
    points: int = 60,
    noise: float = 0.0,
    seed: int = 0,
) -> Float:
    """Points of a wall about an axis through `PLACE`, noise square to it, (n, 3)."""
    radius, height, span = SHAPES[shape]
    rng = np.random.default_rng(seed)
    turn = np.deg2rad(rng.uniform(0.0, span, points))
    t = rng.uniform(-height / 2.0, height / 2.0, points)
    off = rng.normal(0.0, noise, points)
    slant = np.sqrt(1.0 + taper**2)
    out = radius + taper * t + off / slant
    up = unit(axis)
    first = unit(np.cross(up, [0.3, 0.8, 0.5]))
    second = np.cross(up, first)
    along = (t - off * taper / slant)[:, None] * up
    flat = np.cos(turn)[:, None] * first + np.sin(turn)[:, None] * second
    return PLACE + out[:, None] * flat + along


def off_axis(fit: RevolutionFit) -> float:
    """How far the true axis passes from the point told, mm."""
    return float(np.linalg.norm(np.cross(fit.point - PLACE, fit.direction)))


# --- the right one is found ----------------------------------------------------------


@pytest.mark.parametrize("axis", AXES)
@pytest.mark.parametrize("shape", SHAPES)
def test_a_cylinder_is_found_wherever_it_points(shape, axis) -> None:
    points = wall(shape, axis=AXES[axis])
    fit = fit_cylinder(points)
    assert fit.radius == pytest.approx(SHAPES[shape][0], abs=1e-7)
    assert abs(fit.direction @ unit(AXES[axis])) == pytest.approx(1.0, abs=1e-12)
    assert fit.direction[np.argmax(np.abs(fit.direction))] > 0.0
    assert off_axis(fit) < 1e-6
    assert fit.residual_sd < 1e-8
    assert (fit.point - points.mean(axis=0)) @ fit.direction == pytest.approx(
        0, abs=1e-9
    )


@pytest.mark.parametrize("taper", [0.02, -0.2, 1.0])
@pytest.mark.parametrize("shape", ["band", "third of a band", "half a ring"])
def test_a_cone_is_found_wherever_it_points(shape, taper) -> None:
    for axis in AXES.values():
        fit = fit_cone(wall(shape, taper=taper, axis=axis))
        up = np.sign(fit.direction @ unit(axis))
        assert fit.taper == pytest.approx(up * taper, abs=1e-8)
        assert abs(fit.direction @ unit(axis)) == pytest.approx(1.0, abs=1e-12)
        at = float((fit.point - PLACE) @ unit(axis))
        rim = SHAPES[shape][0] + taper * at
        assert fit.radius == pytest.approx(rim, abs=1e-6)
        assert off_axis(fit) < 1e-6
        assert np.arctan(fit.taper) == pytest.approx(np.deg2rad(fit.half_angle))


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("shape", ["band", "third of a band", "shaft"])
def test_with_noise_no_surface_nearby_fits_better(shape, seed) -> None:
    points = wall(shape, taper=0.03, noise=3.0, seed=seed, points=40)
    for fit in (fit_cylinder(points), fit_cone(points)):
        best = float(np.sum(fit.distance(points) ** 2))
        assert best == pytest.approx(fit.residual_sd**2 * fit.dof, rel=1e-9)
        for other in neighbours(fit):
            assert np.sum(other.distance(points) ** 2) > best
    assert np.sum(fit_cylinder(points).distance(points) ** 2) > best


def neighbours(fit: RevolutionFit) -> list[RevolutionFit]:
    """The fit with one unknown a tenth of its standard uncertainty off, both ways."""
    near: list[RevolutionFit] = []
    for sign in (-0.1, 0.1):
        for k in range(2):
            offset = sign * fit.offset_sd[k] * fit.across[k]
            lean = sign * np.deg2rad(fit.tilt_sd[k]) * fit.across[k]
            near.append(replace(fit, point=fit.point + offset))
            near.append(replace(fit, direction=unit(fit.direction + lean)))
        near.append(replace(fit, radius=fit.radius + sign * fit.radius_sd))
        if len(fit.covariance) == 6:
            angle = fit.half_angle + sign * fit.half_angle_sd
            near.append(replace(fit, half_angle=angle))
    return near


def test_more_points_than_are_tried_at_first_are_all_used() -> None:
    points = wall(points=5000, noise=2.0)
    fit = fit_cylinder(points)
    assert fit.dof == 4995
    assert fit.residual_sd == pytest.approx(2.0, abs=0.06)  # 3 * 2 / sqrt(2 * 4995)
    assert fit.radius_sd == pytest.approx(2.0 / np.sqrt(5000.0), rel=0.05)
    assert fit.radius == pytest.approx(457.0, abs=4.0 * fit.radius_sd)
    assert fit_cylinder(points[::-1]).radius == pytest.approx(fit.radius, abs=1e-9)


def test_the_same_points_give_the_same_fit() -> None:
    points = wall(points=600, noise=2.0)
    one, two = fit_cone(points), fit_cone(points.copy())
    assert one.half_angle == two.half_angle
    np.testing.assert_array_equal(one.point, two.point)
    np.testing.assert_array_equal(one.covariance, two.covariance)


def test_a_turned_and_moved_wall_is_the_same_wall() -> None:
    points = wall("third of a band", taper=0.05, noise=3.0)
    matrix = np.linalg.qr(np.random.default_rng(8).normal(size=(3, 3)))[0]
    matrix *= np.linalg.det(matrix)
    fit, other = fit_cone(points), fit_cone(points @ matrix.T + 777.0)
    hand = np.sign(other.direction @ matrix @ fit.direction)
    assert other.radius == pytest.approx(fit.radius, abs=1e-6)
    assert other.half_angle == pytest.approx(hand * fit.half_angle, abs=1e-8)
    np.testing.assert_allclose(other.point, matrix @ fit.point + 777.0, atol=1e-6)
    assert other.radius_sd == pytest.approx(fit.radius_sd, rel=1e-6)


def test_inches_and_millimetres_are_the_same_wall() -> None:
    points = wall(noise=2.0)
    mm, inch = fit_cylinder(points), fit_cylinder(points / 25.4)
    assert inch.radius * 25.4 == pytest.approx(mm.radius, abs=1e-8)
    assert inch.residual_sd * 25.4 == pytest.approx(mm.residual_sd, rel=1e-9)
    np.testing.assert_allclose(inch.tilt_sd, mm.tilt_sd, rtol=1e-7)
    np.testing.assert_allclose(inch.offset_sd * 25.4, mm.offset_sd, rtol=1e-7)


# --- how well it is known ------------------------------------------------------------


UP = unit((0.02, -0.03, 1.0))


def true_rim(fit: RevolutionFit, taper: float) -> float:
    """Radius of the true wall where the fit tells its own."""
    return 457.0 + taper * float((fit.point - PLACE) @ UP)


def taper_sd(fit: RevolutionFit) -> float:
    return float(np.deg2rad(fit.half_angle_sd)) * (1.0 + fit.taper**2)


def errors(fit: RevolutionFit, taper: float) -> list[tuple[float, float]]:
    """Radius, offset (2), lean (2) and taper off the truth, each with its stated sd."""
    to_plane = (fit.point - PLACE) @ fit.direction / (UP @ fit.direction)
    offset = fit.across @ (fit.point - PLACE - to_plane * UP)
    lean = np.rad2deg(fit.across @ (fit.direction - UP / (UP @ fit.direction)))
    pairs = [(fit.radius - true_rim(fit, taper), fit.radius_sd)]
    pairs += zip(offset, fit.offset_sd, strict=True)
    pairs += zip(lean, fit.tilt_sd, strict=True)
    return pairs + (
        [(fit.taper - taper, taper_sd(fit))] if len(fit.covariance) == 6 else []
    )


def holding(fits: list[RevolutionFit], taper: float, *, part: float = 1.0) -> Float:
    """How many intervals hold the truth when only a part of the sd is stated."""
    held = []
    for fit in fits:
        intervals = [
            Quantity.student(off, part * sd, fit.dof) for off, sd in errors(fit, taper)
        ]
        held.append([one.low95 < 0.0 < one.high95 for one in intervals])
    return np.sum(held, axis=0)


def surveys(fit, count: int, shape: str, **kind: float) -> list[RevolutionFit]:
    return [fit(wall(shape, noise=2.0, seed=seed, **kind)) for seed in range(count)]


def test_95_percent_intervals_hold_the_truth_about_95_times_in_100() -> None:
    """Noise 2 mm, 60 points of a band; of 100 surveys 95 are expected, sd 2.2."""
    fits = surveys(fit_cylinder, 100, "band")
    held = holding(fits, 0.0)
    assert ((held >= 90) & (held <= 99)).all(), held
    assert (holding(fits, 0.0, part=0.5) < 90).all()  # half the sd would be seen


def test_intervals_of_a_cone_hold_the_truth_about_95_times_in_100() -> None:
    fits = surveys(fit_cone, 100, "third of a shaft", taper=0.04, points=40)
    held = holding(fits, 0.04)
    assert held.shape == (6,)
    assert ((held >= 90) & (held <= 99)).all(), held
    assert (holding(fits, 0.04, part=0.5) < 90).all()


def test_a_cylinder_comes_out_as_a_cone_without_a_taper() -> None:
    for seed in range(5):
        fit = fit_cone(wall(noise=2.0, seed=seed))
        assert abs(fit.half_angle) < 4.0 * fit.half_angle_sd
    assert abs(fit_cone(wall(taper=0.2, noise=2.0)).half_angle) > 11.0


def test_offset_and_lean_are_told_along_x_and_y_of_a_standing_wall() -> None:
    across = fit_cylinder(wall(axis=AXES["leaning"], noise=1.0)).across
    np.testing.assert_allclose(across, np.eye(3)[:2], atol=0.04)
    np.testing.assert_allclose(across @ across.T, np.eye(2), atol=1e-12)


def test_a_short_band_leaves_the_lean_less_certain_than_a_tall_one() -> None:
    """Ends at +-h/2 with n points: the sd of lean goes as sqrt(24 / n) s / h."""
    band, shaft = (
        fit_cylinder(wall(s, noise=2.0, points=400)) for s in ("band", "shaft")
    )
    for fit, height in ((band, 229.0), (shaft, 2500.0)):
        rule = np.rad2deg(2.0 * np.sqrt(24.0 / 400.0) / height)
        np.testing.assert_allclose(fit.tilt_sd, rule, rtol=0.2)


def test_as_many_points_as_unknowns_leave_nothing_to_judge_by() -> None:
    cylinder, cone = fit_cylinder(wall(points=5)), fit_cone(wall(points=6, taper=0.1))
    for fit, points in ((cylinder, wall(points=5)), (cone, wall(points=6, taper=0.1))):
        assert fit.dof == 0
        assert np.isnan(fit.residual_sd)
        assert np.isnan(fit.radius_sd)
        assert np.abs(fit.distance(points)).max() < 1e-6


# --- refusals ------------------------------------------------------------------------


def ring(count: int = 24) -> Float:
    turn = np.arange(count) * 2.0 * np.pi / count
    level = np.full(count, 300.0)
    return np.stack([457.0 * np.cos(turn), 457.0 * np.sin(turn), level], axis=1)


def noisy(points: Float) -> Float:
    return points + np.random.default_rng(4).normal(0.0, 2.0, points.shape)


#: Pushes points up by half of how far along x they lie: a ring becomes a slanting cut.
LEANING = np.array([[1.0, 0.0, 0.5], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]])
RNG = np.random.default_rng(3)
LINE = np.outer(RNG.uniform(-1.0, 1.0, 20), [100.0, 20.0, 300.0])
PLANE = np.append(RNG.uniform(-500.0, 500.0, (40, 2)), np.zeros((40, 1)), axis=1)


@pytest.mark.parametrize("fit", [fit_cylinder, fit_cone])
@pytest.mark.parametrize(
    ("points", "says"),
    [
        (ring()[:4], "4 points came"),
        (LINE, "on a line"),
        (np.ones((20, 3)), "on a line"),
        (
            np.concatenate([LINE, LINE + np.array([50.0, 0.0, 0.0])]),
            "do not determine",
        ),
        (PLANE, "do not determine"),
        (noisy(PLANE), "do not determine"),
        (ring(), "do not determine"),
        (noisy(ring()), "do not determine"),
        (ring() @ LEANING, "do not determine"),
        (RNG.normal(0.0, 100.0, (60, 3)), "do not determine"),
        (np.where(ring() > 456.0, np.nan, ring()), "not numbers"),
        (ring()[:, :2], "x, y, z"),
        (ring()[0], "x, y, z"),
    ],
)
def test_what_settles_no_surface_is_refused(fit, points, says) -> None:
    with pytest.raises(InputError, match=says):
        fit(points)


def test_a_cone_needs_one_point_more_than_a_cylinder() -> None:
    with pytest.raises(InputError, match="5 points came; a cone needs 6"):
        fit_cone(wall(points=5))
    assert fit_cylinder(wall(points=5)).dof == 0


def test_two_rings_are_enough() -> None:
    two = np.concatenate([ring(), ring() + np.array([0.0, 0.0, 229.0])])
    assert fit_cylinder(two).radius == pytest.approx(457.0, abs=1e-8)
    two[24:, :2] *= 500.0 / 457.0
    cone = fit_cone(two)
    assert cone.taper == pytest.approx((500.0 - 457.0) / 229.0, abs=1e-9)
    assert cone.radius == pytest.approx(478.5, abs=1e-7)
