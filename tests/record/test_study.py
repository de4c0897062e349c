"""The study of a record: everything put together, and refusals in plain words."""

from __future__ import annotations

import json
from datetime import UTC, datetime

import numpy as np
import pytest

from geom.errors import InputError
from geom.record.store.store import Record
from geom.record.study import (
    FewSpells,
    ForecastsTried,
    NoLeastLining,
    PartlyStated,
    Wear,
    study_wear,
)
from geom.views.tables.wear import say_warning
from tests.record.small_record import Survey, occasion, put, start, worn_record
from tests.reprs import long_reprs

HEATS = 10
#: Wear of every heat, mm, and the error of every cell of every survey.
WORN, ERROR = 2.0, 0.3
AT = datetime(2026, 6, 1, tzinfo=UTC)


@pytest.fixture(scope="module")
def even(tmp_path_factory) -> Record:
    """Ten heats that each take 2 mm everywhere; hours of only some of them told."""
    folder = tmp_path_factory.mktemp("records") / "even"
    grid = start(folder)
    chance = np.random.default_rng(6)

    def seen(depth: float) -> np.ndarray:
        return depth + chance.normal(0.0, ERROR, grid.shape)

    first = occasion(0, "after repair", campaign="second")
    surveys = [Survey(first, seen(1.0), ERROR)]
    for heat in range(1, HEATS + 1):
        much = {"melted": 40_000.0, "hours": 8.0 if heat < 5 else None}
        before = occasion(heat, "before repair", campaign="second", **much)
        after = occasion(heat, "after repair", campaign="second")
        surveys += [
            Survey(before, seen(1.0 + WORN), ERROR),
            Survey(after, seen(1.0), ERROR),
        ]
    return put(folder, *surveys)


@pytest.fixture(scope="module")
def wear(even) -> Wear:
    return study_wear(even, created=AT)


def test_a_study_and_a_record_print_in_a_few_lines(wear, even):
    assert long_reprs(wear, even) == {}
    assert "mm a heat, hour or tonne" in repr(wear)


# --- what is told --------------------------------------------------------------------


def test_rates_hold_what_every_heat_took(wear):
    """2 mm a heat, 0.05 mm a tonne (40 tonnes a heat), 0.25 mm an hour (8 hours)."""
    true = {"heat": WORN, "tonne": WORN / 40.0, "hour": WORN / 8.0}
    assert set(wear.rates) == set(true)
    wall = wear.regions.of_kind("wall")[0]
    for against, rate in true.items():
        found = wear.rates[against].long[wall]
        assert found is not None
        assert found.low95 < rate < found.high95
        assert found.value == pytest.approx(rate, rel=0.02)
        assert found.high95 - found.low95 < rate


def test_maps_rates_and_series_tell_the_same(wear):
    """The wall's mean over the map, cells weighed by their face, is its mean wear."""
    wall = wear.regions.of_kind("wall")[0]
    rate = float(np.nanmean(wear.maps.per_heat.rate))
    assert rate == pytest.approx(WORN, rel=0.01)
    assert wear.series.wear[:, wall].mean() == pytest.approx(rate, rel=0.01)
    assert (wear.maps.per_heat.spells == HEATS).all()
    assert (wear.maps.per_hour.spells == 4).all()
    assert (wear.maps.per_tonne.spells == HEATS).all()


def test_even_wear_has_no_step(wear):
    assert wear.steps == ()
    assert wear.gaps == ()


def test_what_only_some_spells_state_is_warned_of(wear, even):
    hours, lining, tried = wear.warnings
    assert tried == ForecastsTried()
    assert hours == PartlyStated("hour", 4, 10)
    assert say_warning(hours, even.design) == (
        "hours on blast told of 4 of 10 spells: rates per hour are of those alone"
    )
    assert lining == NoLeastLining(110.0)


def test_forecasts_are_of_the_wall_as_the_last_survey_left_it(wear):
    """About 31 mm to the threshold of 32 mm, at about 2 mm a heat."""
    found = [f for f in wear.forecasts if f.region.kind == "wall"]
    found = [f for f in found if f.limit == "brick threshold"]
    (result,) = found
    assert result.heats is not None
    assert 9.0 < result.heats.value < 19.0
    assert not result.stop


def test_repairs_that_put_the_wall_back_leave_it_standing(wear):
    """Every repair leaves 1 mm: what repairs leave does not come near the limit."""
    found, lining = wear.repaired
    assert (found.limit, lining.limit) == ("brick threshold", "least lining")
    assert found.going == "repaired as now"
    assert found.heats is not None
    assert found.heats.low95 > 100.0
    assert not found.stop


def test_the_longest_next_heat_and_what_repairs_took_are_of_the_record(wear):
    """40 t a heat, in the four that tell hours 8; a repair follows every heat."""
    brick = next(each for each in wear.longest if each.limit == "brick threshold")
    assert brick.tonnes == brick.heats.times(40.0)
    assert brick.hours == brick.heats.times(8.0)
    assert wear.material_by == "tonne"
    assert len(wear.material.repairs) == HEATS
    found = json.loads(json.dumps(wear.to_dict()))
    assert found["longest_heat"][0]["tonnes"] == brick.tonnes.to_dict()
    rate = wear.material.rate.times(1e-9).to_dict()
    assert found["material"]["rate"] == pytest.approx(rate)
    assert found["material"]["by"] == "tonne"


# --- the document --------------------------------------------------------------------


def test_the_document_is_json_and_holds_the_numbers(wear):
    found = json.loads(json.dumps(wear.to_dict(), allow_nan=False))
    assert found["schema"] == "daubline.wear/1"
    assert found["campaign"] == "second"
    assert found["created"] == "2026-06-01T00:00:00+00:00"
    assert found["units"]["per_tonne"] == "mm/tonne"
    assert len(found["spells"]) == HEATS
    assert found["spells"][0]["melted"] == 40.0
    assert found["spells"][-1]["hours"] is None
    wall = wear.regions.of_kind("wall")[0]
    long = wear.rates["heat"].long[wall]
    assert found["wall"]["per_heat"]["long"] == long.to_dict()
    assert found["wall"]["per_hour"]["spells"] == 4
    for kind, name in (("zone", "zones"), ("level", "levels"), ("panel", "panels")):
        assert len(found[name]) == len(wear.regions.of_kind(kind))
    assert [one["name"] for one in found["zones"]] == [
        wear.regions.regions[i].name for i in wear.regions.of_kind("zone")
    ]
    assert len(found["forecasts"]) == len(wear.forecasts) + len(wear.repaired)


def test_the_same_record_is_the_same_document(even, wear):
    assert study_wear(even, created=AT).to_dict() == wear.to_dict()


def test_a_cluster_finds_the_same_document(even, wear):
    assert study_wear(even, created=AT, cluster="local").to_dict() == wear.to_dict()


# --- which campaign ------------------------------------------------------------------


@pytest.fixture(scope="module")
def two_campaigns(tmp_path_factory) -> Record:
    """Three heats that take 1 mm, and after a new lining three that take 4."""
    folder = tmp_path_factory.mktemp("records") / "two"
    grid = start(folder)
    surveys = []
    for first, name, rate in ((0, "old brick", 1.0), (10, "new brick", 4.0)):
        at = occasion(first, "after repair", campaign=name)
        surveys.append(Survey(at, np.zeros(grid.shape), ERROR))
        for heat in range(first + 1, first + 4):
            for stage, depth in (("before repair", rate), ("after repair", 0.0)):
                at = occasion(heat, stage, campaign=name)
                surveys.append(Survey(at, np.full(grid.shape, depth), ERROR))
    return put(folder, *surveys)


def test_the_latest_campaign_is_studied_unless_another_is_named(two_campaigns):
    latest = study_wear(two_campaigns)
    assert latest.campaign == "new brick"
    assert latest.campaigns == ("old brick", "new brick")
    assert latest.maps.per_heat.rate == pytest.approx(4.0)
    assert set(latest.rates) == {"heat"}
    older = study_wear(two_campaigns, campaign="old brick", title="The old one")
    assert older.maps.per_heat.rate == pytest.approx(1.0)
    assert older.title == "The old one"
    assert {one.campaign for one in older.occasions} == {"old brick"}


def test_a_campaign_that_is_not_there_is_reported(two_campaigns):
    with pytest.raises(InputError, match=r"'new brik'.*'old brick' and 'new brick'"):
        study_wear(two_campaigns, campaign="new brik")


# --- too little ----------------------------------------------------------------------


def test_one_spell_is_stated_as_one_spell(tmp_path):
    grid = start(tmp_path / "record")
    record = put(
        tmp_path / "record",
        Survey(occasion(4, "after repair"), np.zeros(grid.shape), ERROR),
        Survey(occasion(6, "before repair"), np.full(grid.shape, 5.0), ERROR),
    )
    found = study_wear(record)
    assert len(found.warnings) == 3
    assert found.warnings[0] == FewSpells(1)
    assert say_warning(found.warnings[0], record.design).startswith(
        "one spell of wear: how heats differ is hardly"
    )
    assert found.maps.per_heat.rate == pytest.approx(2.5)
    assert np.isnan(found.maps.trend).all()
    assert found.rates["heat"].trend == (None,) * len(found.regions.regions)
    assert found.steps == ()
    json.dumps(found.to_dict(), allow_nan=False)


@pytest.mark.parametrize(
    ("stages", "why"),
    [
        (("after repair",), "one survey"),
        (
            ("before repair", "before repair"),
            "2 surveys (no survey after repair of heat 1)",
        ),
    ],
)
def test_without_a_spell_nothing_is_made_up(tmp_path, stages, why):
    grid = start(tmp_path / "record")
    surveys = [
        Survey(occasion(heat, stage), np.zeros(grid.shape))
        for heat, stage in enumerate(stages, 1)
    ]
    record = put(tmp_path / "record", *surveys)
    with pytest.raises(InputError) as fault:
        study_wear(record)
    assert fault.value.what == f"there is no spell of wear between the {why}"
    assert "add those surveys" in str(fault.value)


def test_an_empty_record_is_reported(tmp_path):
    start(tmp_path / "record")
    with pytest.raises(InputError, match="holds no survey"):
        study_wear(put(tmp_path / "record"))


def test_a_record_with_holes_is_studied(tmp_path):
    """Cells, and the lowest rows, are not told now and then."""
    start(tmp_path / "record")
    record = worn_record(tmp_path / "record", 6, repaired=False, seed=4)
    found = study_wear(record)
    assert np.isfinite(found.maps.per_heat.rate[3:]).mean() > 0.999
    assert (found.maps.per_heat.spells < 6).mean() > 0.1
    assert all(found.rates["heat"].long[i] for i in found.regions.of_kind("zone"))
    json.dumps(found.to_dict(), allow_nan=False)
