"""Wear per heat: what it goes with, and what each spell is worth."""

import numpy as np
import pytest

from geom.record.wear.series import per_heat
from tests.record.worn_heats import PIECES, heats, series_of

WALL = PIECES.of_kind("wall")[0]
ZONE = PIECES.of_kind("zone")[2]


def test_wear_of_a_spell_is_shared_out_over_its_heats():
    wear = heats(6, seed=1)
    lasted = [1, 2, 3, 1, 4, 1]
    whole = wear * np.array(lasted)[:, None, None]
    one, many = per_heat(series_of(wear)), per_heat(series_of(whole, lasted=lasted))
    assert np.allclose(one.rate, many.rate)
    # both surveys' errors are those of the whole spell
    assert many.variance[4, WALL] == pytest.approx(one.variance[4, WALL] / 16.0)
    assert np.argmax(many.weight) == 4
    assert np.allclose(one.weight, 1.0)
    assert many.weight.mean() == pytest.approx(1.0)


@pytest.mark.parametrize(("told", "name"), [("hours", "hour"), ("melted", "tonne")])
def test_wear_that_goes_with_hours_or_iron_is_estimated_by_them(told, name):
    long = np.random.default_rng(3).uniform(5.0, 12.0, 12)
    wear = heats(12, seed=2, shared=0.01) * (long / long.mean())[:, None, None]
    by_it = per_heat(series_of(wear, **{told: long.tolist()}))
    assert by_it.exposure == name
    steady = by_it.rate[:, ZONE].std() / by_it.rate[:, ZONE].mean()
    rough = per_heat(series_of(wear)).rate[:, ZONE].std() / wear.mean()
    assert steady < 0.1 < rough
    # the mean heat wears the same either way
    assert by_it.rate[:, ZONE].mean() == pytest.approx(
        series_of(wear).wear[:, ZONE].mean(), rel=0.03
    )


def test_hours_that_wear_does_not_go_with_are_left_aside():
    long = np.random.default_rng(3).uniform(5.0, 12.0, 12)
    assert per_heat(series_of(heats(12), hours=long.tolist())).exposure == "heat"


def test_hours_that_not_every_spell_tells_are_left_aside():
    long = np.random.default_rng(3).uniform(5.0, 12.0, 12)
    wear = heats(12, seed=2, shared=0.01) * (long / long.mean())[:, None, None]
    gaps = [None, *long[1:].tolist()]
    assert per_heat(series_of(wear, hours=gaps)).exposure == "heat"


def test_no_spells_are_no_rates():
    found = per_heat(series_of(heats(0)))
    assert found.rate.shape == (0, len(PIECES.regions))
    assert found.weight.size == 0
