"""JSON Schemas of the documents: complete, in words, and strict."""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Iterator
from copy import deepcopy
from pathlib import Path
from typing import Any

import pytest

from geom.design.schema import TABLES
from geom.design.values import OneOf
from geom.document import document_schema
from tests.schema_faults import schema_faults

ROOT = Path(__file__).resolve().parents[2]
NAMES: tuple[Any, ...] = ("findings", "recheck", "wear", "design")
#: What says in what a number is.
_UNIT = re.compile(
    r"mm|m2|m3|kg|degrees|degC|litres|%|kPa|ppm|hours?|heats?|length_unit|unit|parts|"
    r"whole number|0 to 1|ratio|share of one|height over distance|h|t"
)


def objects(schema: Any) -> Iterator[dict[str, Any]]:
    """Every part of a schema that is about an object."""
    if isinstance(schema, dict):
        if "properties" in schema:
            yield schema
        for part in schema.values():
            yield from objects(part)
    elif isinstance(schema, list):
        for part in schema:
            yield from objects(part)


def is_measured(entry: dict[str, Any]) -> bool:
    """Whether a property holds a number that has a unit."""
    every = [entry, *entry.get("anyOf", [])]
    kinds = [one.get("type") for one in every]
    refs = [one.get("$ref", "") for one in every]
    return any("number" in (kind or ()) for kind in kinds) or any(
        ref.endswith(("/Quantity", "/number")) for ref in refs
    )


def unsaid(schema: dict[str, Any]) -> list[str]:
    """Properties without a meaning, or numbers without a unit."""
    lacking = []
    for part in objects(schema):
        for name, entry in part["properties"].items():
            words = entry.get("description", "")
            units = re.search(rf"(?<!\w)({_UNIT.pattern})(?!\w)", words)
            if not words or (is_measured(entry) and not units):
                lacking.append(name)
    return lacking


@pytest.mark.parametrize("name", NAMES)
def test_every_key_has_its_meaning_and_every_number_its_unit(name: Any) -> None:
    assert unsaid(document_schema(name)) == []


def test_a_number_without_a_unit_and_a_key_without_words_are_seen() -> None:
    spoiled = {
        "properties": {
            "height": {"type": "number", "description": "of its centre"},
            "title": {"type": "string"},
            "width": {"type": "number", "description": "mm, along the arc"},
        }
    }
    assert unsaid(spoiled) == ["height", "title"]


@pytest.mark.parametrize("name", NAMES)
def test_no_object_takes_a_key_that_is_not_written_down(name: Any) -> None:
    for part in objects(document_schema(name)):
        assert part["additionalProperties"] is False, list(part["properties"])


def test_the_design_schema_has_the_tables_and_keys_that_are_read() -> None:
    said = document_schema("design")["properties"]
    assert set(said) == {table.name for table in TABLES}
    for table in TABLES:
        entry = said[table.name].get("items", said[table.name])
        assert ("items" in said[table.name]) == table.many
        assert set(entry["properties"]) == set(table.keys), table.name
        assert set(entry.get("required", ())) == set(table.needed), table.name
        for key, read in table.keys.items():
            if isinstance(read, OneOf):
                assert entry["properties"][key]["enum"] == list(read.allowed)


def drawings() -> list[str]:
    """Every design file there is in the checkout, and that of the docs."""
    page = (ROOT / "docs" / "file-formats.md").read_text("utf-8")
    printed = page.partition("\n```toml\n")[2].partition("```")[0]
    files = sorted((ROOT / "scans").glob("*.toml"))
    assert len(files) >= 2
    return [*(file.read_text("utf-8") for file in files), printed]


def test_drawings_fit_their_schema() -> None:
    for text in drawings():
        assert schema_faults("design", tomllib.loads(text)) == []


@pytest.mark.parametrize(
    ("right", "wrong"),
    [
        ('length_unit = "in"', 'length_unit = "inch"'),
        ("azimuth = 30 ", "azimuth = 390 "),
        ("height = 17.5", "hieght = 17.5"),
        ("breakage = 0.05", "breakage = 5"),
        ("stock = 240", "stock = 240.5"),
        ('lip = "3/8"', 'lip = "some"'),
        ("azimuth = 30 ", 'azimuth = 30\nclock = "1:00" '),
    ],
)
def test_a_wrong_drawing_does_not(right: str, wrong: str) -> None:
    text = drawings()[-1]
    assert text.count(right)
    assert schema_faults("design", tomllib.loads(text.replace(right, wrong, 1)))


def test_findings_of_the_demo_fit_and_spoiled_ones_do_not(demo_survey: Path) -> None:
    found = json.loads((demo_survey / "findings.json").read_text("utf-8"))
    assert schema_faults("findings", found) == []
    for spoil in (
        lambda it: it.update(more=1),
        lambda it: it.pop("volume"),
        lambda it: it["zones"][0].update(action="paint"),
        lambda it: it["volume"]["rebuild"].pop("sd"),
        lambda it: it["repair"]["zones"][0].update(depth=1.0),
        lambda it: it["deepest"].update(height="48 in"),
    ):
        spoiled = deepcopy(found)
        spoil(spoiled)
        assert schema_faults("findings", spoiled)
