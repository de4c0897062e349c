"""How lively the wall is over height: blended in the melting zone."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import quad

from geom.surface.gp.prior import MeltingZone, Prior, default_prior, hump
from geom.units import Float

ZONE = MeltingZone(
    centre=720.0,
    below=130.0,
    above=240.0,
    depth=40.0,
    centre_sd=60.0,
    below_sd=0.35,
    above_sd=0.25,
)
#: Far below the hump, on its flanks, at its crest and far above.
HEIGHTS = np.array([-400.0, 480.0, 610.0, 720.0, 900.0, 1100.0, 2600.0])


def prior(zone: MeltingZone | None = ZONE) -> Prior:
    return default_prior(450.0, 100.0, 1400.0, zone=zone)


def some_theta(count: int) -> Float:
    return np.random.default_rng(3).normal(0.3, 0.7, count)


@pytest.mark.parametrize("zone", [ZONE, None], ids=["zone", "none"])
def test_slopes_of_the_log_amplitude_agree_with_differences(
    zone: MeltingZone | None,
) -> None:
    wall = prior(zone)
    theta = some_theta(wall.amplitudes)
    _, slopes = wall.amplitude(HEIGHTS, theta)
    step = 1e-6
    for k, unit in enumerate(step * np.eye(theta.size)):
        ahead, behind = (
            np.log(wall.amplitude(HEIGHTS, theta + sign * unit)[0])
            for sign in (1.0, -1.0)
        )
        np.testing.assert_allclose(
            slopes[:, k], (ahead - behind) / (2.0 * step), rtol=1e-6, atol=1e-8
        )
    assert np.abs(slopes).max(axis=0).min() > 0.1  # each has a say somewhere


def test_the_crest_is_not_a_power_of_its_flank() -> None:
    """Where the zone's share is 0.2, a ratio of e**l counts for a fifth of itself."""
    wall = prior()
    fifth = height_of_share(0.2)
    for log_ratio in (-1.0, 0.0, 1.0, 2.5):
        theta = np.append(np.zeros(wall.knots.size), log_ratio)
        amplitude, _ = wall.amplitude(np.array([fifth, 2600.0]), theta)
        assert amplitude[0] == pytest.approx(0.8 + 0.2 * np.exp(log_ratio), rel=1e-6)
        assert amplitude[1] == pytest.approx(1.0, abs=1e-6)
    # three times as lively on that flank makes the crest at most 11 times, not 3**5
    flank = np.log(11.0)
    theta = np.append(np.zeros(wall.knots.size), flank)
    there, crest = wall.amplitude(np.array([fifth, ZONE.centre]), theta)[0]
    assert there == pytest.approx(3.0, rel=1e-6)
    assert 5.0 < crest < 11.0


def height_of_share(share: float) -> float:
    """The height above the crest at which so much of the hump is expected."""
    heights = np.linspace(ZONE.centre, 2600.0, 20_000)
    return float(np.interp(-share, -ZONE.expected_share(heights), heights))


def normal(z: float) -> float:
    return float(np.exp(-0.5 * z**2) / np.sqrt(2.0 * np.pi))


def by_brute_force(height: float) -> float:
    """The hump averaged over centre and widths on a fine net; widths move together."""
    net = np.linspace(-6.0, 6.0, 601)
    weight = np.exp(-0.5 * net**2)
    weight /= weight.sum()
    share = hump(
        np.asarray(height),
        ZONE.centre + net[:, None] * ZONE.centre_sd,
        ZONE.below * np.exp(net * ZONE.below_sd),
        ZONE.above * np.exp(net * ZONE.above_sd),
    )
    return float(weight @ share @ weight)


def test_the_expected_share_is_that_of_brute_force() -> None:
    told = ZONE.expected_share(HEIGHTS)
    exact = np.array([by_brute_force(height) for height in HEIGHTS])
    # seven places and three widths: a kink in the middle and three nodes cost 1 or 2 %
    np.testing.assert_allclose(told, exact, atol=0.02)
    assert exact[3] < 0.9  # a crest of unsure place is not taken as if it had been read
    assert ZONE.share(HEIGHTS)[3] == 1.0


def test_the_net_of_brute_force_is_fine_enough() -> None:
    still = MeltingZone(**(vars(ZONE) | {"below_sd": 0.0, "above_sd": 0.0}))
    exact, _ = quad(
        lambda z: (
            normal(z) * float(hump(np.asarray(610.0), 720.0 + 60.0 * z, 130.0, 240.0))
        ),
        -8.0,
        8.0,
        points=[-110.0 / 60.0],
    )
    assert float(still.expected_share(np.array([610.0]))[0]) == pytest.approx(
        exact, abs=0.01
    )


def test_a_zone_known_exactly_is_its_own_expectation() -> None:
    known = MeltingZone(**(vars(ZONE) | {"centre_sd": 0, "below_sd": 0, "above_sd": 0}))
    np.testing.assert_allclose(
        known.expected_share(HEIGHTS), known.share(HEIGHTS), rtol=1e-12
    )
