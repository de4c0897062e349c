"""Two campaigns beside each other, against walls whose wear is known."""

from __future__ import annotations

import json
from datetime import date

import numpy as np
import pytest

from geom.errors import InputError
from geom.record.campaigns.compare import compare_campaigns
from geom.views.tables.campaigns import comparison_cautions
from tests.record.campaign_records import add_campaign, hump, new_record
from tests.reprs import long_reprs

#: Wear of a heat in the old way and the new, mm; the new loses a quarter less.
OLD, NEW = hump(12.0, low=2.0), hump(9.0, low=1.5)


@pytest.fixture(scope="module")
def record(tmp_path_factory):
    made = new_record(tmp_path_factory.mktemp("furnace") / "record")
    found = {"heats": 5, "scatter": 0.03}
    add_campaign(made, "old", OLD, first=0, seed=1, **found)
    add_campaign(made, "new", NEW, first=5, seed=2, begin=date(2026, 2, 1), **found)
    later = {"begin": date(2026, 3, 1), "melted": 40_000.0, "hours": None}
    return add_campaign(made, "old again", OLD, first=10, seed=3, **found, **later)


@pytest.fixture(scope="module")
def better(record):
    return compare_campaigns((record, "old"), (record, "new"))


@pytest.fixture(scope="module")
def alike(record):
    return compare_campaigns((record, "old"), (record, "old again"), by="heat")


def test_a_comparison_prints_in_a_few_lines(better):
    assert long_reprs(better) == {}


def mean_wear(record, wear, low, high):
    """Mean over the wall between two heights, mm; straight wall, rows alike."""
    from geom.record.store.grid import record_grid

    grid = record_grid(record.design)
    rows = (grid.height > low) & (grid.height < high)
    weight = grid.face_area[rows]
    return float((wear(grid)[rows] * weight).sum() / weight.sum())


def test_rates_hold_the_known_wear_of_every_zone(record, better):
    for i in (*better.regions.of_kind("zone"), *better.regions.of_kind("wall")):
        region, found = better.regions.regions[i], better.wear[i]
        for rate, wear in ((found.first, OLD), (found.second, NEW)):
            # Twenty tonnes a heat.
            truth = mean_wear(record, wear, region.height_from, region.height_to) / 20.0
            assert abs(rate.value - truth) < 3.0 * rate.sd
            assert abs(rate.value - 1.6 * truth) > 3.0 * rate.sd


def test_a_quarter_less_is_found_in_the_melting_zone(better):
    found = better.of("melting zone")
    assert found.ratio.low95 < 0.75 < found.ratio.high95 < 1.0
    assert found.difference.high95 < 0.0
    assert found.difference.value == pytest.approx(
        found.second.value - found.first.value
    )
    assert better.of("no such zone") is None


def test_the_map_shows_it_where_it_is(better):
    maps, height = better.maps, better.grid.height
    hot = (height > 550.0) & (height < 750.0)
    assert (maps.shown[hot] == -1).mean() > 0.9
    assert not (maps.shown == 1).any()
    truth = (NEW(better.grid) - OLD(better.grid)) / 20.0
    away = (maps.difference - truth)[~better.grid.opening]
    sd = maps.sd[~better.grid.opening]
    assert np.sqrt(np.mean((away / sd) ** 2)) < 1.5
    assert np.isnan(maps.difference[better.grid.opening]).all()


def test_the_same_wear_is_not_called_different(alike):
    assert (alike.maps.shown != 0).mean() < 0.05
    for name in ("whole wall", "melting zone"):
        found = alike.of(name)
        assert found.ratio.low95 < 1.0 < found.ratio.high95
        assert found.difference.low95 < 0.0 < found.difference.high95


def test_what_wear_is_divided_by_decides(record):
    # Twice the iron in a heat that wears the same.
    by_tonne = compare_campaigns((record, "old"), (record, "old again"))
    found = by_tonne.of("melting zone").ratio
    assert found.low95 < 0.5 < found.high95 < 0.75
    assert by_tonne.second.exposure == pytest.approx(200.0)
    assert any("what iron" in words for words in comparison_cautions(by_tonne))


def test_material_is_what_the_repairs_took(better):
    first, second = better.material.first, better.material.second
    assert len(better.first.material.repairs) == 5 - 1
    assert better.material.ratio.low95 < 0.75 < better.material.ratio.high95
    # A straight wall of 450 mm: (450 + c)^2 - 451^2, half, all round and up, per tonne.
    grid = better.grid
    for found, wear in ((first, OLD), (second, NEW)):
        worn = ((451.0 + wear(grid)) ** 2 - 451.0**2) / 2.0
        truth = float((worn * grid.patch).sum()) / 20.0
        assert abs(found.value - truth) < 3.0 * found.sd
        assert found.sd < 0.2 * truth


def test_levels_are_ranked_as_far_as_they_are_settled(better):
    levels = better.levels
    assert {rank.item for rank in levels} == set(better.regions.of_kind("level"))
    values = [better.wear[rank.item].difference.value for rank in levels]
    assert values == sorted(values, reverse=True)
    height = [better.regions.regions[rank.item].height_from for rank in levels]
    # The hump lost most: its two levels come last, and surely not first.
    assert {height[-1], height[-2]} == {450.0, 600.0}
    assert levels[-1].first > 1
    # Nothing sets one side apart from another.
    assert all(not rank.settled for rank in better.sides)
    assert all(rank.first <= 4 and rank.last >= 9 for rank in better.sides)


def test_two_records_of_one_drawing_are_compared_with_a_caution(record, tmp_path):
    other = new_record(tmp_path / "other", name="Cupola S (invented)")
    other = add_campaign(other, "old", NEW, first=0, heats=4, seed=4, scatter=0.02)
    found = compare_campaigns((record, "old"), (other, "old"), by="hour")
    assert "different furnaces" in comparison_cautions(found)[0]
    assert found.second.lining == "Cupola S (invented)"
    assert found.of("melting zone").ratio.high95 < 1.0


def test_what_cannot_be_compared_is_refused(record, tmp_path):
    with pytest.raises(InputError, match="both are campaign 'old'"):
        compare_campaigns((record, "old"), (record, "old"))
    with pytest.raises(InputError, match=r"no campaign 'odl'.*Did you mean 'old'"):
        compare_campaigns((record, "odl"), (record, "new"))
    with pytest.raises(
        InputError, match=r"no campaign 'summer'; there is 'old'"
    ) as far:
        compare_campaigns((record, "summer"), (record, "new"))
    assert "Did you mean" not in str(far.value)
    with pytest.raises(InputError, match="tells its hours"):
        compare_campaigns((record, "old"), (record, "old again"), by="hour")
    wider = new_record(tmp_path / "wider", radius=455.0)
    with pytest.raises(InputError, match="profile or openings"):
        compare_campaigns((record, "old"), (wider, "old"))
    moved = new_record(tmp_path / "moved", tuyere=340.0)
    with pytest.raises(InputError, match="profile or openings"):
        compare_campaigns((record, "old"), (moved, "old"))
    empty = new_record(tmp_path / "empty")
    with pytest.raises(InputError, match="holds no survey"):
        compare_campaigns((record, "old"), (empty, "old"))


def test_the_document_has_every_number_and_no_other(better):
    found = json.loads(json.dumps(better.to_dict(), allow_nan=False))
    assert found["schema"] == "daubline.campaigns/1"
    assert found["units"]["wear"] == "mm/tonne"
    (zone,) = [p for p in found["pieces"] if p["name"] == "melting zone"]
    assert zone["difference"] == better.of("melting zone").difference.to_dict()
    assert set(zone["ratio"]) == {"value", "sd", "low95", "high95"}
    material = found["material"]["first"]["value"]
    assert material == pytest.approx(better.material.first.value * 1e-9)
    area = found["map"]
    parts = area["second_more"] + area["second_less"] + area["not_shown"]
    assert parts == pytest.approx(area["compared"])
    # All round, less the tuyere.
    whole = 2.0 * np.pi * 0.45 * 1.2
    assert whole - 0.02 < area["compared"] < whole
