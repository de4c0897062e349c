"""Rows of the report and the sheet."""

from dataclasses import replace

import pytest

from geom.quantity import Quantity
from geom.views.tables import survey as tables


def test_zones_come_in_the_order_of_the_work_largest_first(furnace):
    first = furnace.findings.of_action("brick")[0]
    small = replace(first, id=9, volume=first.volume.times(0.1))
    findings = replace(furnace.findings, zones=(small, *furnace.findings.zones))
    rows = tables.zone_rows(findings, furnace.design)
    assert [row.action for row in rows] == [
        "brick", "brick", "daub", "chip", "measure again",
    ]  # fmt: skip
    assert rows[1].id == "9"


def test_what_stands_proud_is_told_as_a_positive_length(furnace):
    chip = furnace.findings.of_action("chip")[0]
    chip = replace(chip, cutback_mean=Quantity(-12.7, 1.0, -14.0, -11.0))
    findings = replace(furnace.findings, zones=(chip,))
    row = tables.zone_rows(findings, furnace.design)[0]
    assert row.depth == "proud, on average 1/2 in (13 mm)"
    assert row.depth_interval == "3/8 to 1/2 in (11 to 14 mm)"


def test_the_summary_gives_the_interval_in_every_measure(furnace):
    volume = Quantity(28.316846592e6, 1e6, 26e6, 31e6)
    found = replace(
        furnace.findings, volume=replace(furnace.findings.volume, rebuild=volume)
    )
    name, value, remark = tables.finding_rows(found, furnace.design)[0]
    assert (name, value) == ("Rebuild volume", "1.00 ft³ (28.3 L)")
    assert remark == "0.918 to 1.09 ft³; in m³: 0.0283 (0.0260 to 0.0310)"


def test_lining_left_is_told_only_where_the_shell_is_known(furnace):
    deepest = replace(furnace.findings.deepest, remaining_lining=None)
    bare = replace(furnace.findings, deepest=deepest)
    names = [row[0] for row in tables.finding_rows(bare, furnace.design)]
    assert "Least lining left anywhere" not in names
    full = [row[0] for row in tables.finding_rows(furnace.findings, furnace.design)]
    assert "Least lining left anywhere" in full


def test_where_the_rebuild_lies_closes_to_the_rebuild(furnace):
    findings = furnace.findings
    rows = tables.closing_rows(findings, furnace.design)
    litres = [float(volume.split("(")[1].split(" L")[0]) for _, volume in rows]
    assert sum(litres[:-1]) == pytest.approx(litres[-1], abs=0.3)
    assert rows[-1][0] == "Rebuild volume"
    called = [zone for zone in findings.zones if zone.action != "chip"]
    assert len(rows) == 2 + len({zone.action for zone in called})


def test_greatest_anywhere_is_told_apart_from_the_deepest_place(furnace):
    rows = dict(tables._deepest(furnace.design, furnace.findings))
    assert rows["Greatest cut-back"].endswith("anywhere on the wall")
    assert rows["Least lining left"].endswith("anywhere on the wall")
    assert "lining" not in rows["Deepest place"]


def test_left_out_readings_are_told_with_their_reason(furnace):
    rows = tables.rejected_rows(furnace.surface)
    assert rows == [
        (
            furnace.readings.place[40],
            "20 1/8 in (512 mm)",
            "18 1/2 in (470 mm)",
            "8 sd from its neighbours",
        )
    ]


def test_budget_shares_are_percent(furnace):
    rows = tables.budget_rows(furnace.findings)
    assert rows[0] == ("wall between readings", "A", "2.4 mm", "71 %")
