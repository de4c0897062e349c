"""Words, numbers and names on the cards are those of findings.json, on the fleet."""

from __future__ import annotations

import io
import json
import re
import sys
from functools import partial
from pathlib import Path

import pypdf
import pytest

import geom
from geom.repair import package
from geom.units import say_length
from geom.views.documents import findings_document
from geom.views.paper.repair_sheet import repair_sheet_bytes

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
        ("48 in, tapered well", "8x6", "one-sided"),
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
    assert len(pages) <= 3 + 2 * len(laid)
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
    for line in repair["order"]:
        if line["unit"] == "bricks":
            assert f"{line['material']}: {line['enough']:.0f}" in pages[2]
        else:
            assert f"{line['material']} " in pages[2]
            assert f"buy {line['packs']} of" in pages[2]
    for stop in repair["support"]["stops"]:
        assert "STOP." in pages[0]
        assert say_length(stop["height_to"], unit) in pages[0]
    for number in laid:
        (page,) = [p for p in pages if p.startswith(f"B{number}: brick")]
        for brick in planned[number]["brickwork"]["bricks"]:
            assert f"{brick['name']}: {brick['whole']} whole" in page
