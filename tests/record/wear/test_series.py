"""Spells of wear, wear of pieces in them, and what it goes with."""

from __future__ import annotations

import itertools
from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from geom import InputError
from geom.compare.panels import HOURS, PARTS, Panels, PanelState, panels_of
from geom.record.regions import Regions, regions_of
from geom.record.store.occasion import STAGES, Occasion, Stage
from geom.record.wear.series import (
    Spell,
    SurveyGap,
    WearSeries,
    find_spells,
    per_heat,
    wear_series,
)
from geom.units import Float
from geom.views.say import say_spell, say_survey_gap
from tests.record.worn_heats import PIECES as WORN_PIECES
from tests.record.worn_heats import heats, series_of
from tests.walls import plain_design

DAY = date(2026, 1, 5)


def made(heat: int, stage: Stage, campaign: str = "one", **told: float) -> Occasion:
    return Occasion(heat, stage, DAY + timedelta(heat), campaign=campaign, **told)


def ends(spells: tuple[Spell, ...]) -> list[tuple[int, int]]:
    return [(one.start.heat, one.end.heat) for one in spells]


def test_from_a_repair_to_the_next_survey_before_one_is_a_spell() -> None:
    spells, gaps = find_spells(
        [
            made(0, "after repair"),
            made(1, "before repair", hours=6.0, melted=9000.0),
            made(1, "after repair"),
            made(3, "before repair"),
        ]
    )
    assert ends(spells) == [(0, 1), (1, 3)]
    assert gaps == ()
    assert [one.heats for one in spells] == [1, 2]
    assert [say_spell(spell) for spell in spells] == ["heat 1", "heats 2 to 3"]
    assert (spells[0].hours, spells[0].melted) == (6.0, 9000.0)
    assert spells[1].hours is None
    assert spells[0].campaign == "one"


def test_the_repair_itself_is_no_wear() -> None:
    spells, gaps = find_spells([made(4, "before repair"), made(4, "after repair")])
    assert spells == gaps == ()


def test_a_wall_left_alone_ends_one_spell_and_starts_the_next() -> None:
    spells, gaps = find_spells(
        [made(0, "not repaired"), made(2, "not repaired"), made(5, "before repair")]
    )
    assert ends(spells) == [(0, 2), (2, 5)]
    assert spells[0].end == spells[1].start
    assert gaps == ()


def test_a_repair_that_was_not_surveyed_leaves_a_gap_and_says_so() -> None:
    spells, gaps = find_spells([made(1, "before repair"), made(2, "before repair")])
    assert spells == ()
    assert gaps == (SurveyGap(1, "after repair"),)
    assert say_survey_gap(gaps[0]) == "after heat 1: its repair was not surveyed"


def test_wear_and_repair_surveyed_together_leave_a_gap_and_say_so() -> None:
    spells, gaps = find_spells([made(1, "after repair"), made(2, "after repair")])
    assert spells == ()
    assert gaps == (SurveyGap(2, "before repair"),)
    assert say_survey_gap(gaps[0]) == "heat 2: surveyed only after its repair"


def test_a_new_campaign_is_neither_spell_nor_gap() -> None:
    old, new = made(9, "after repair", "old"), made(10, "before repair", "new")
    assert find_spells([old, new]) == ((), ())
    same = made(10, "before repair", "old")
    assert ends(find_spells([old, same])[0]) == [(9, 10)]


@given(
    st.lists(
        st.tuples(st.integers(0, 30), st.sampled_from(STAGES)), max_size=12, unique=True
    ),
    st.randoms(),
)
def test_spells_are_in_order_without_overlap_however_surveys_come(told, chance) -> None:
    one_of_each = {(h, s == "after repair"): made(h, s) for h, s in told}
    surveys = list(one_of_each.values())
    spells, gaps = find_spells(surveys)
    chance.shuffle(surveys)
    assert find_spells(surveys) == (spells, gaps)
    assert all(one.heats > 0 for one in spells)
    assert all(one.start.is_as_left and one.end.is_as_worn for one in spells)
    for one, other in itertools.pairwise(spells):
        assert one.end.heat <= other.start.heat


@pytest.mark.parametrize(
    ("told", "says"),
    [
        ({"heat": -1}, "heat -1 is not between"),
        ({"heat": 100_000}, "heat 100000 is not between"),
        ({"stage": "half repaired"}, "is none of"),
        ({"hours": -1.0}, "hours -1.0 is not"),
        ({"melted": float("nan")}, "melted nan is not"),
    ],
)
def test_occasions_that_cannot_be_are_refused(told, says) -> None:
    with pytest.raises(InputError, match=says):
        Occasion(**({"heat": 3, "stage": "before repair", "date": DAY} | told))


def test_an_occasion_is_called_as_its_file_and_as_people_say() -> None:
    one = made(41, "before repair")
    assert one.name == "heat-00041-before-repair"
    assert one.words == "heat 41, before repair"
    assert (one.is_as_left, one.is_as_worn) == (False, True)
    assert one.place < made(41, "after repair").place < made(42, "before repair").place


DESIGN = plain_design()
PANELS: Panels = panels_of(DESIGN)
PIECES: Regions = regions_of(PANELS, DESIGN)
COUNT = PANELS.count

START = Occasion(0, "after repair", date(2026, 1, 5))
END = Occasion(1, "before repair", date(2026, 1, 6))
NEXT = Occasion(2, "before repair", date(2026, 1, 8))


def covariance(seed: int) -> Float:
    """Errors of the panels' own, of about 1 mm, and one of 0.5 mm that all share."""
    root = np.random.default_rng(seed).normal(size=(COUNT, 2 * COUNT))
    return np.asarray(root @ root.T / (2 * COUNT) + 0.5**2)


def state(
    seed: int, *, area: Float | None = None, blind: tuple[int, ...] = ()
) -> PanelState:
    """An invented survey; panels that are blind are not told."""
    rng = np.random.default_rng(seed)
    cutback = rng.uniform(0.0, 30.0, COUNT)
    table = covariance(seed)
    cutback[list(blind)] = np.nan
    table[list(blind)] = 0.0
    table[:, list(blind)] = 0.0
    wide = rng.uniform(1.0, 2.0, COUNT) if area is None else area
    none = np.full((COUNT, PARTS), np.nan)
    one = np.ones(COUNT)
    return PanelState(PANELS, cutback, table, cutback, one, none, none, wide, one)


def series(one: PanelState, other: PanelState) -> WearSeries:
    states = {START: one, END: other}
    return wear_series((Spell(START, END),), PIECES, states.__getitem__)


def test_wear_is_the_mean_over_the_piece_by_area() -> None:
    area = np.random.default_rng(0).uniform(1.0, 3.0, COUNT)
    one, other = state(1, area=area), state(2, area=area)
    found = series(one, other)
    for i in (0, *PIECES.of_kind("level")[:2], PIECES.of_kind("panel")[7]):
        weight = PIECES.member[i] * area
        weight /= weight.sum()
        mean = float(weight @ (other.cutback - one.cutback))
        assert found.wear[0, i] == pytest.approx(mean, rel=1e-12)
        plain = (PIECES.member[i] * (other.cutback - one.cutback)).sum()
        if i == 0:  # the plain mean of unlike panels is another number
            assert found.wear[0, i] != pytest.approx(plain / COUNT, rel=1e-4)


def test_variance_of_a_mean_uses_how_errors_hang_together() -> None:
    area = np.ones(COUNT)
    one, other = state(1, area=area), state(2, area=area)
    found = series(one, other)
    weight = np.full(COUNT, 1.0 / COUNT)
    draws = np.random.default_rng(4).multivariate_normal(
        np.zeros(COUNT), other.covariance, 20000
    )
    # 20 000 draws tell a variance to 1 %
    assert found.end_variance[0, 0] == pytest.approx((draws @ weight).var(), rel=0.05)
    assert found.variance[0, 0] == pytest.approx(
        weight @ (one.covariance + other.covariance) @ weight, rel=1e-12
    )
    alone = float(np.diag(other.covariance).sum()) / COUNT**2
    assert found.end_variance[0, 0] > 10.0 * alone


def test_a_level_that_one_survey_left_out_is_not_known_and_the_rest_is() -> None:
    blind = tuple(range(HOURS))
    found = series(state(1), state(2, blind=blind))
    levels, panels = PIECES.of_kind("level"), PIECES.of_kind("panel")
    assert np.isnan(found.wear[0, levels[0]])
    assert np.isnan(found.end_variance[0, levels[0]])
    assert np.isnan(found.wear[0, panels[3]])
    assert np.isfinite(found.wear[0, levels[1:]]).all()
    assert np.isfinite(found.wear[0, 0])  # nine tenths of the wall: enough


def test_a_wall_of_which_too_little_is_surveyed_is_not_known() -> None:
    found = series(state(1), state(2, blind=tuple(range(3 * HOURS))))
    assert np.isnan(found.wear[0, 0])


def test_only_panels_that_both_surveys_tell_are_compared() -> None:
    """Else a panel that one survey misses would look like wear or growth."""
    area = np.ones(COUNT)
    one, other = state(1, area=area, blind=(4,)), state(2, area=area, blind=(9,))
    both = np.isfinite(one.cutback) & np.isfinite(other.cutback)
    found = series(one, other)
    mean = float((other.cutback - one.cutback)[both].mean())
    assert found.wear[0, 0] == pytest.approx(mean, rel=1e-12)
    apart = float(np.nanmean(other.cutback) - np.nanmean(one.cutback))
    assert found.wear[0, 0] != pytest.approx(apart, rel=1e-4)


def test_a_panel_that_one_survey_measured_only_partly_is_weighed_whole() -> None:
    small = np.ones(COUNT)
    small[:HOURS] = 0.85
    found = series(state(1, area=np.ones(COUNT)), state(2, area=small))
    swapped = series(state(1, area=small), state(2, area=np.ones(COUNT)))
    np.testing.assert_allclose(found.wear, swapped.wear, rtol=1e-12)


def test_wear_of_two_spells_adds_up() -> None:
    later = Occasion(1, "not repaired", END.date)
    states = {START: state(1), later: state(2), NEXT: state(3)}
    spells = (Spell(START, later), Spell(later, NEXT), Spell(START, NEXT))
    found = wear_series(spells, PIECES, states.__getitem__)
    assert found.wear.shape == (3, len(PIECES.regions))
    panels = list(PIECES.of_kind("panel"))
    np.testing.assert_allclose(
        found.wear[0, panels] + found.wear[1, panels], found.wear[2, panels], atol=1e-9
    )


def test_sides_err_as_the_mean_of_their_rows() -> None:
    """Against draws of the whole covariance, wall that is blind left out."""
    blind = (3, HOURS + 5)
    result = series(state(1), state(2, blind=blind))
    root = np.linalg.cholesky(covariance(2))
    draws = root @ np.random.default_rng(9).standard_normal((COUNT, 20_000))
    rows = draws.reshape(-1, HOURS, draws.shape[1])
    large = [*PIECES.of_kind("wall"), *PIECES.of_kind("zone")]
    assert result.side_covariance.shape == (1, len(large), HOURS, HOURS)
    for found, region in zip(result.side_covariance[0], large, strict=True):
        inside = PIECES.member[region].reshape(-1, HOURS).all(axis=1)
        inside[[0, 1]] = False  # the blind panels' rows
        if not inside.any():
            assert np.isnan(found).all()
            continue
        expected = np.cov(rows[inside].mean(axis=0))
        np.testing.assert_allclose(found, expected, atol=0.05 * expected.max())
    assert np.isfinite(result.side_covariance[0, 0]).all()


def test_no_spell_is_an_empty_series_of_the_right_width() -> None:
    found = wear_series((), PIECES, {}.__getitem__)
    assert found.wear.shape == found.variance.shape == (0, len(PIECES.regions))


def test_days_do_not_matter() -> None:
    late = Occasion(1, "before repair", END.date + timedelta(90))
    states = {START: state(1), END: state(2), late: state(2)}
    found = wear_series(
        (Spell(START, END), Spell(START, late)), PIECES, states.__getitem__
    )
    np.testing.assert_array_equal(found.wear[0], found.wear[1])


WALL = WORN_PIECES.of_kind("wall")[0]
ZONE = WORN_PIECES.of_kind("zone")[2]


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
    assert found.rate.shape == (0, len(WORN_PIECES.regions))
    assert found.weight.size == 0
