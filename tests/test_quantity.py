"""A number with its uncertainty: how it prints, and what may be done with it."""

import math

import numpy as np
import pytest

from geom.quantity import Quantity

VOLUME = Quantity(55.4321, 2.134, 51.18, 59.71)


@pytest.mark.parametrize(
    ("sd", "words"),
    [
        (2.134, "55.4 +- 2.1 (51.2 to 59.7)"),
        (0.02134, "55.432 +- 0.021 (51.180 to 59.710)"),
        (21.34, "55 +- 21 (51 to 60)"),
        (0.0, "55.4321 +- 0 (51.18 to 59.71)"),
        (math.nan, "55.432100 +- nan (51.180000 to 59.710000)"),
    ],
)
def test_it_prints_to_two_figures_of_its_uncertainty(sd, words):
    assert str(Quantity(55.4321, sd, 51.18, 59.71)) == words


def test_its_holder_gives_the_unit():
    assert f"{VOLUME:L}" == "55.4 L +- 2.1 (51.2 to 59.7)"


def test_it_scales_by_either_sign_and_adds_what_is_known():
    turned = 2.0 - VOLUME * np.float64(2.0)
    assert turned.value == pytest.approx(2.0 - 2 * 55.4321)
    assert turned.sd == pytest.approx(2 * 2.134)
    assert (turned.low95, turned.high95) == pytest.approx(
        (2.0 - 2 * 59.71, 2.0 - 2 * 51.18)
    )
    assert VOLUME.times(0.5) == VOLUME / 2
    assert -VOLUME.times(2.0) == -2 * VOLUME


@pytest.mark.parametrize("other", ["1", None, VOLUME])
def test_what_is_not_defined_is_refused(other):
    with pytest.raises(TypeError):
        VOLUME + other
    with pytest.raises(TypeError):
        VOLUME * other


def test_two_add_only_where_their_errors_are_known_not_to_depend():
    with pytest.raises(TypeError, match="plus_independent"):
        VOLUME + VOLUME
    both = Quantity(2.0, 3.0, -4.0, 8.0).plus_independent(Quantity(1.0, 4.0, -7.0, 9.0))
    assert both == Quantity(3.0, 5.0, -7.0, 13.0)
