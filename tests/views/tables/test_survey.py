"""Rows of the report and the sheet."""

from dataclasses import replace

import numpy as np
import pytest

import geom
from geom.compare.extent import Gap
from geom.design import DatumBand
from geom.quantity import Quantity
from geom.surface.radial import (
    AtStep,
    BandAxisOff,
    BandsOff,
    Contradicted,
    DoubtedBand,
    InFront,
    InOpenings,
    ManyLeftOut,
    NoDatumBand,
    Outlying,
    PastBesideCloud,
    PastSurveys,
    PoseAsStated,
    Rejected,
    RowsApart,
)
from geom.views.tables import survey as tables
from tests.walls import plain_design, rod_readings, stations


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


def test_five_figures_decide_and_are_those_of_the_findings(furnace):
    rows = tables.deciding_rows(furnace.findings, furnace.works, furnace.design)
    names = [name for name, _, _ in rows]
    assert names == [
        "Rebuild",
        "Greatest cut-back anywhere",
        "Least lining left anywhere",
        "Zones",
        "Call off",
    ]
    told = {name: (value, remark) for name, value, remark in rows}
    summary = {
        name: value
        for name, value, _ in tables.finding_rows(furnace.findings, furnace.design)
    }
    assert told["Rebuild"][0] == summary["Rebuild volume"]
    assert (
        told["Greatest cut-back anywhere"][0] == summary["Greatest cut-back anywhere"]
    )
    called = " ".join(told["Call off"])
    assert all(line.material in called for line in furnace.works.plan.order)
    assert "95 % sure to be enough" in called


def test_left_out_readings_are_told_with_their_reason(furnace):
    rows = tables.rejected_rows(furnace.surface)
    assert rows == [
        (
            furnace.readings.place[40],
            "20 1/8 in (512 mm)",
            "18 1/2 in (470 mm)",
            "radius reads 20 3/16 in (512 mm); from the others 18 1/2 in (470 mm) is "
            "expected, give or take 3/8 in (10 mm)",
        )
    ]


BAND = DatumBand(1250.0, 1450.0)
GAP = Gap(
    azimuth_from=0.0,
    azimuth_to=90.0,
    height_from=100.0,
    height_to=900.0,
    widest=90.0,
)


@pytest.mark.parametrize(
    ("found", "words"),
    [
        (
            Rejected("rod.csv, row 9", "radius", 520.0, 450.0, Outlying(5.0)),
            "rod.csv, row 9: radius reads 520 mm; from the others 450 mm is expected, "
            "give or take 10 mm. Left out; measure again there, and add the new "
            "reading.",
        ),
        (
            Rejected(
                "a.csv, row 2",
                "diameter",
                900.0,
                930.0,
                Contradicted((("b.csv, row 3", 930.0), ("c.csv, row 4", 931.0))),
            ),
            "a.csv, row 2: diameter reads 900 mm; the same station was also read as "
            "930 mm (b.csv, row 3) and 931 mm (c.csv, row 4). Left out; measure again "
            "there, and add the new reading.",
        ),
        (GAP, "from azimuth 0° to 90°, heights 100 mm to 900 mm: it is not surveyed"),
        (replace(GAP, widest=360.0), "No reading tells of the wall all round, heights"),
        (AtStep(6), "6 readings stand exactly at a step"),
        (
            InOpenings(tuple(f"a.csv, row {k}" for k in range(2, 9))),
            "a.csv, row 5; a.csv, row 6 and 2 more.",
        ),
        (DoubtedBand(BAND), "from 1250 mm to 1450 mm reads off its drawing"),
        (RowsApart(600.0, 950.0), "No row was read between 600 mm and 950 mm"),
        (PastSurveys(1, used=True), "One past survey was used with the readings."),
        (PastSurveys(2, used=False), "2 past surveys were not used: "),
        (PastBesideCloud(), "Past surveys are not used with a point cloud."),
        (NoDatumBand(0.34), "with a standard uncertainty of 0.340 mm"),
        (PoseAsStated("a.las", 5.0), "a.las: too few points to find the axis on"),
        (BandsOff(-3.0), "read 3 mm narrower than drawn"),
        (BandsOff(3.0), "read 3 mm wider than drawn"),
        (BandAxisOff(BAND, 4.0, 0.25), "4 mm and 0.25° off the axis"),
        (InFront(1200, 50.8), "In 1,200 cells something stood more than 51 mm in"),
        (ManyLeftOut(0.3), "30 % of the laser points were not taken for wall."),
    ],
)
def test_each_diagnostic_is_worded_with_its_facts(found, words):
    (said,) = tables.say_diagnostics((found,), plain_design())
    assert words in said


def test_the_public_assess_words_what_to_mind_in_the_shops_unit():
    azimuth, height = stations(8, 6, 150.0, 1050.0)
    readings = rod_readings(azimuth, height, np.full(azimuth.size, 455.0))
    readings = replace(
        readings, value=np.where(np.arange(len(readings)) == 20, 555.0, readings.value)
    )
    design = plain_design(length_unit="in")
    surface = geom.reconstruct(readings, design, spacing=50.0, columns=36)
    (words,) = geom.assess(surface, design).to_dict()["warnings"]
    assert words.startswith(f"{readings.place[20]}: radius reads 21 7/8 in (555 mm)")


def test_budget_shares_are_percent(furnace):
    rows = tables.budget_rows(furnace.findings, furnace.design)
    said = "0.094 in (2.40 mm)"  # 2.4 / 25.4
    assert rows[0] == ("wall between readings", "A", said, "71 %")
