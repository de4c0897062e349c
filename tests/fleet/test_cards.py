"""Words, numbers and names on the cards are those of findings.json, on the fleet."""

from __future__ import annotations

import io
import json
import re
import sys
from dataclasses import astuple
from functools import partial
from pathlib import Path
from typing import Any

import pypdf
import pytest

import geom
from geom.repair import package
from geom.repair.plan.day import day_plan
from geom.units import MM_PER, parse_number, say_length
from geom.views.documents import findings_document
from geom.views.paper.repair_sheet import repair_sheet_bytes
from geom.views.tables.cards import RodSetting, rod_settings
from geom.views.tables.survey import deciding_rows

sys.path.insert(0, str(Path(__file__).parents[2] / "scripts/bench"))

import fleet
from fleet_surveys import WAYS, write_rods

FURNACE = {furnace.name: k for k, furnace in enumerate(fleet.FLEET)}
WAY = {way.name: k for k, way in enumerate(WAYS)}
LETTER = {"brick": "B", "daub": "D", "chip": "C", "measure again": "M"}


@pytest.mark.parametrize(
    ("furnace", "way", "family"),
    [
        ("900 mm, two rows", "12x10", "slag"),
        ("36 in", "12x10", "ring"),
    ],
)
def test_cards_say_what_the_findings_say(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    furnace: str,
    way: str,
    family: str,
) -> None:
    wall, rng = fleet.wall_of(
        (FURNACE[furnace], WAY[way], fleet.FAMILIES.index(family))
    )
    drawn, sheet = tmp_path / "lining.toml", tmp_path / "rods.csv"
    drawn.write_text(wall.furnace.toml(), "utf-8")
    design = geom.load_design(drawn)
    write_rods(WAYS[WAY[way]], wall, rng, sheet)
    readings = geom.load_readings(sheet, design)
    surface = geom.reconstruct(readings, design, spacing=20.0, columns=180)
    findings = geom.assess(surface, design)
    few = partial(package.plan_repair, draws=3)
    monkeypatch.setattr(package, "plan_repair", few)
    works = package.prepare_repair(surface, findings, design)
    told = json.loads(findings_document(findings, works, design))
    made = pypdf.PdfReader(io.BytesIO(repair_sheet_bytes(surface, findings, works)))
    pages = [
        re.sub(r"\s+", " ", page.extract_text().replace("\N{NO-BREAK SPACE}", " "))
        for page in made.pages
    ]
    repair, unit = told["repair"], design.length_unit
    laid = {z["id"] for z in repair["zones"] if z["brickwork"] is not None}
    assert len(pages) == 3 + len(laid)
    planned = {zone["id"]: zone for zone in repair["zones"]}
    for zone in told["zones"]:
        if zone["action"] == "leave":
            continue
        work, at = zone["action"], planned.get(zone["id"])
        if work == "brick" and at is not None and zone["id"] not in laid:
            work = "daub"
        name = f"{LETTER[work]}{zone['id']}"
        assert re.search(rf"\b{name}\b", pages[0]), name
        if at is None and work != "measure again":
            continue  # taken up by the brickwork beside it
        heights = at or zone
        low, high = (
            say_length(heights[end], unit) for end in ("height_from", "height_to")
        )
        span = f"{low.removesuffix(f' {unit}')} to {high}"
        assert re.search(rf"{name} [^|]*?{re.escape(span)}", pages[1]), (name, span)
    ordered = [
        *(line for line in repair["order"] if line["unit"] == "bricks"),
        *(line for line in repair["order"] if line["unit"] != "bricks"),
    ]
    pound = {"in": 0.45359237, "mm": 1.0}[unit]
    for line in ordered:
        if line["unit"] == "bricks":
            assert f"{line['material']}: {line['enough']:.0f}" in pages[2]
        else:
            found = re.search(
                rf"{line['material']} ([\d.]+) (?:lb|kg): buy (\d+) of", pages[2]
            )
            assert float(found[1]) * pound == pytest.approx(line["enough"], rel=6e-3)
            assert int(found[2]) == line["packs"]
    batches = len(day_plan(repair, design, again=0).batches)
    pails_as_found(pages[1], repair["daub"], batches, design)
    rods_as_drawn(pages[1], rod_settings(works, surface, design), design)
    lead_as_found(deciding_rows(findings, works, design), told, ordered, unit)
    for stop in repair["support"]["stops"]:
        assert "STOP." in pages[0]
        assert say_length(stop["height_to"], unit) in pages[0]
    for number in laid:
        (page,) = [p for p in pages if p.startswith(f"B{number}: brick")]
        for brick in planned[number]["brickwork"]["bricks"]:
            counted = (brick["whole"], "whole"), (brick["pieces"], "hal(f|ves)")
            for count, name in counted:
                assert not count or re.search(rf"\b{count} {name}\b", page)


def pails_as_found(
    card: str, daub: dict[str, Any], batches: int, design: geom.Design
) -> None:
    """Sand and clay by the pail, each under its own name, in the batches of the day."""
    mix = design.shop.mix
    many, often = re.search(r"(\d+) batch(?:es)?,? ?(each|in all)?", card).groups()
    assert int(many) == batches
    parts = re.search(r"([\d /]+) pails? of sand, ([\d /]+) pails? of fire clay", card)
    for said, name, density in zip(
        parts.groups(),
        ("sand", "clay"),
        (mix.sand_density, mix.clay_density),
        strict=True,
    ):
        pails = daub[name]["value"] / density * 1e3 / mix.pail
        assert parse_number(said.strip()) == pytest.approx(
            pails / (batches if often == "each" else 1), abs=0.26
        )


def rods_as_drawn(card: str, rows: list[RodSetting], design: geom.Design) -> None:
    """The rod of the finished face is the drawing to a sixteenth; wet it is shorter."""
    assert len(rows) > 3
    unit = design.length_unit
    finest = {"in": 25.4 / 16.0, "mm": 1.0}[unit]
    for row in rows:
        height, dry, wet = (
            words.replace("\N{NO-BREAK SPACE}", " ") for words in astuple(row)
        )
        assert f" {dry} " in card
        mark = height.removesuffix(" below")
        at = parse_number(mark.removesuffix(" above")) * MM_PER[unit]
        drawn = design.profile.radius_at(
            float(at), side="below" if "below" in height else "above"
        )
        told = float(parse_number(dry) * MM_PER[unit])
        assert told == pytest.approx(float(drawn), abs=0.51 * finest)
        if wet != "same":
            assert f" {wet} " in card
            assert 0.0 <= told - float(parse_number(wet) * MM_PER[unit]) <= 6.0


def lead_as_found(
    rows: list[tuple[str, str, str]],
    told: dict[str, Any],
    ordered: list[dict[str, Any]],
    unit: str,
) -> None:
    """The five figures that the report opens with, their intervals too."""
    rebuild, deepest, third, zones, call = rows
    volume = told["volume"]["rebuild"]
    size = {"in": 0.3048**3, "mm": 1e-3}[unit]
    numbers = [float(n) for n in re.findall(r"[\d.]+", f"{rebuild[1]} {rebuild[2]}")]
    said = [numbers[0], *numbers[-2:]]  # of "0.5 ft³ (14.2 L) 95 %: 0.4 to 0.6 ft³"
    for number, key in zip(said, ("value", "low95", "high95"), strict=True):
        assert number * size == pytest.approx(volume[key], rel=6e-3)
    for row, found in (
        (deepest, told["deepest"]["cutback"]),
        (third, told["deepest"]["remaining_lining"]),
    ):
        in_mm = re.search(r"([\d.]+) mm", row[1])
        ends = re.search(r"([\d.]+) to ([\d.]+) mm", row[2])
        assert float(in_mm[1]) == pytest.approx(found["value"], abs=0.51)
        for number, key in zip(ends.groups(), ("low95", "high95"), strict=True):
            assert float(number) == pytest.approx(found[key], abs=0.51)
    actions = [zone["action"] for zone in told["zones"]]
    for action in LETTER:
        count = actions.count(action)
        assert (f"{count} {action}" in zones[1]) == (count > 0)
    for line in ordered:
        assert line["material"] in f"{call[1]}; {call[2]}"
        if line["unit"] == "bricks":
            assert f"{line['enough']:.0f} × {line['material']}" in call[1]
