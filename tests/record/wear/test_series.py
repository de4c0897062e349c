"""Wear of pieces in spells: weighted means, true variances, and what is not told."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest

from geom.compare.panels import HOURS, PARTS, Panels, PanelState, panels_of
from geom.record.regions import Regions, regions_of
from geom.record.store.occasion import Occasion
from geom.record.wear.series import WearSeries, wear_series
from geom.record.wear.spells import Spell
from geom.units import Float
from tests.walls import plain_design

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
