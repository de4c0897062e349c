"""Propagation of uncertainty against the GUM's and its first supplement's examples.

JCGM 100:2008, annex H.1 (end-gauge calibration) and H.2 (simultaneous resistance and
reactance), values as printed in the standard and as carried by the test suites of GTC
and suncal; JCGM 101:2008, 9.2 to 9.4, results from memory, checked against closed forms
where there are any.  What is tested is what propagates here: `Source.variance_of`
(linear, with shared errors), `Noise.matrix`, `Nodes.sd_of_sum`, `Quantity.of_samples`.
"""

from __future__ import annotations

import numpy as np
import pytest

from geom.compare.nodes import Nodes
from geom.quantity import Quantity
from geom.surface.gp.observations import Noise, Source
from geom.units import Float

DRAWS = 400_000


def source(alone: Float, shared: Float | None = None) -> Source:
    none = np.zeros((alone.size, 0))
    return Source("s", "B", "mm", 1.0, alone, none if shared is None else shared)


def test_h1_end_gauge_combines_to_32_nm() -> None:
    # l_s 25 nm, repeated observations 5.8, random 3.9 and systematic 6.7 of the
    # comparator, difference of expansion 2.9, difference of temperature 16.6
    components = np.array([25.0, 5.8, 3.9, 6.7, 2.887, 16.599])
    combined = np.sqrt(source(components**2).variance_of(np.ones(6)))
    assert combined == pytest.approx(31.7, abs=0.05)  # printed 32, rounded up
    assert combined != pytest.approx(np.sum(components), rel=0.1)


H2_VOLT = np.array([5.007, 4.994, 5.005, 4.990, 4.999])
H2_AMPERE = np.array([19.663, 19.639, 19.640, 19.685, 19.678]) * 1e-3
H2_PHASE = np.array([1.0456, 1.0438, 1.0468, 1.0428, 1.0433])


def h2_inputs() -> tuple[Float, Float]:
    """Means, and their errors told as five shared ones: the deviations of each set."""
    sets = np.stack([H2_VOLT, H2_AMPERE, H2_PHASE])
    away = sets - sets.mean(axis=1, keepdims=True)
    return sets.mean(axis=1), away / np.sqrt(5.0 * 4.0)


def h2_gains(volt: float, ampere: float, phase: float) -> dict[str, Float]:
    z = volt / ampere
    c, s = np.cos(phase), np.sin(phase)
    return {
        "R": np.array([c / ampere, -z * c / ampere, -z * s]),
        "X": np.array([s / ampere, -z * s / ampere, z * c]),
        "Z": np.array([1.0 / ampere, -z / ampere, 0.0]),
    }


@pytest.mark.parametrize(
    ("name", "value", "sd"),
    [("R", 127.732, 0.071), ("X", 219.847, 0.295), ("Z", 254.260, 0.236)],
)
def test_h2_resistance_and_reactance(name: str, value: float, sd: float) -> None:
    means, shared = h2_inputs()
    z = means[0] / means[1]
    told = {"R": z * np.cos(means[2]), "X": z * np.sin(means[2]), "Z": z}
    gain = h2_gains(*means)[name]
    found = np.sqrt(source(np.zeros(3), shared).variance_of(gain))
    assert told[name] == pytest.approx(value, abs=5e-4)
    assert found == pytest.approx(sd, abs=1e-3)  # printed to 0.001, rounded on the way


def test_h2_without_the_correlations_is_wrong() -> None:
    means, shared = h2_inputs()
    alone = source(np.sum(shared**2, axis=1))
    wrong = np.sqrt(alone.variance_of(h2_gains(*means)["R"]))
    assert wrong == pytest.approx(0.1945, abs=5e-4)  # 0.071 is right


def test_h2_results_are_correlated_as_printed() -> None:
    means, shared = h2_inputs()
    gains = np.stack(list(h2_gains(*means).values()))
    covariance = gains @ Noise((source(np.zeros(3), shared),)).matrix @ gains.T
    sd = np.sqrt(np.diag(covariance))
    r = covariance / np.outer(sd, sd)
    assert r[0, 1] == pytest.approx(-0.588, abs=2e-3)
    assert r[0, 2] == pytest.approx(-0.485, abs=2e-3)
    assert r[1, 2] == pytest.approx(0.993, abs=2e-3)


def test_nodes_sum_correlated_quantities_as_h2_does() -> None:
    means, shared = h2_inputs()
    nodes = Nodes(
        height=np.zeros(1),
        azimuth=np.zeros(3),
        design_radius=np.ones(3),
        mean=means,
        covariance=shared @ shared.T,
        owner=np.zeros((1, 3), dtype=np.int64),
    )
    assert nodes.sd_of_sum(h2_gains(*means)["X"]) == pytest.approx(0.295, abs=1e-3)


def draws(count: int, seed: int = 1) -> np.random.Generator:
    return np.random.default_rng(seed + count)


def test_101_9_2_2_sum_of_four_normals() -> None:
    found = Quantity.of_samples(draws(2).normal(size=(4, DRAWS)).sum(axis=0))
    # 400,000 draws: sd to 0.0022, limits to about 0.01
    assert found.sd == pytest.approx(2.0, abs=0.01)
    assert found.high95 == pytest.approx(3.92, abs=0.04)


def test_101_9_2_3_sum_of_four_rectangles_is_narrower_than_the_normal() -> None:
    half = np.sqrt(3.0)
    found = Quantity.of_samples(
        draws(3).uniform(-half, half, size=(4, DRAWS)).sum(axis=0)
    )
    exact = 2.0 * np.sqrt(3.0) * (2.0 - (3.0 / 5.0) ** 0.25)
    assert exact == pytest.approx(3.8794, abs=1e-4)
    assert found.high95 == pytest.approx(exact, abs=0.025)
    assert found.high95 < 3.92 - 0.01
    assert Quantity.normal(0.0, 2.0).high95 == pytest.approx(3.92, abs=0.001)


def test_101_9_2_4_one_rectangle_larger_than_the_rest() -> None:
    half = np.sqrt(3.0)
    parts = draws(4).uniform(-half, half, size=(4, DRAWS))
    parts[0] *= 10.0
    found = Quantity.of_samples(parts.sum(axis=0))
    assert found.sd == pytest.approx(10.15, abs=0.05)
    assert found.high95 == pytest.approx(17.0, abs=0.1)
    assert Quantity.normal(0.0, 10.15).high95 == pytest.approx(19.9, abs=0.05)


def test_101_9_3_mass_calibration_needs_more_than_first_order() -> None:
    rng = draws(5)
    m, d = rng.normal(100_000.0, 0.050, DRAWS), rng.normal(1.234, 0.020, DRAWS)
    air = rng.uniform(1.10, 1.30, DRAWS)
    weight, reference = rng.uniform(7000, 9000, DRAWS), rng.uniform(7950, 8050, DRAWS)
    off = (m + d) * (1.0 + (air - 1.2) * (1.0 / weight - 1.0 / reference)) - 100_000.0
    found = Quantity.of_samples(off)
    first_order = np.hypot(0.050, 0.020)
    assert found.value == pytest.approx(1.234, abs=0.001)
    assert found.sd == pytest.approx(0.0754, abs=0.0005)
    assert first_order == pytest.approx(0.0539, abs=1e-4)


@pytest.mark.parametrize(
    ("at", "mean", "sd"),
    [(0.0, 50.0, 50.0), (0.010, 150.0, 112.0), (0.050, 2551.0, 502.0)],
)
def test_101_9_4_comparison_loss(at: float, mean: float, sd: float) -> None:
    rng = draws(6)
    real, imaginary = rng.normal(at, 0.005, DRAWS), rng.normal(0.0, 0.005, DRAWS)
    found = Quantity.of_samples((real**2 + imaginary**2) * 1e6)
    assert found.value == pytest.approx(mean, abs=0.004 * mean + 0.5)
    assert found.sd == pytest.approx(sd, abs=0.01 * sd)


def test_101_9_4_the_square_of_a_normal_area_is_propagated_in_closed_form() -> None:
    """`section_area` sums squares of normals: exact where first order gives nothing."""
    from geom.compare.levels import section_area

    radius, covariance = np.zeros(2), np.diag([25.0, 25.0])
    area, sd = section_area(radius, covariance)
    half = np.pi / 2.0
    assert area / half == pytest.approx(50.0)
    assert sd / half == pytest.approx(50.0)
