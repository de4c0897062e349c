"""The README: short, the job first, and every path and command in it is there."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")

LONGEST = 130
HEAVIEST = 200_000  # bytes of its picture
USERS = ("foreman", "engineer", "reviewer")
#: What has to come in this order, by how it begins.
ORDER = (
    "# daubline\n\nAfter each heat",
    "![",
    "python3 scripts/demo.py",
    "python3 scripts/test.py",
    ". .venv/bin/activate",
    "\ndaubline design",
    "\ndaubline check",
    "\ndaubline survey",
    "docs/tutorials/",
    "## Cautions",
    "## Licence",
)


def faults(text: str) -> list[str]:
    """What is wrong with a README's length, order and links."""
    found = []
    if text.count("\n") > LONGEST:
        found.append(f"longer than {LONGEST} lines")
    places = [text.find(part) for part in ORDER]
    if -1 in places or places != sorted(places):
        found.append("a part is missing or out of its place")
    for user in USERS:
        if text.count(f"(docs/tutorials/{user}.md)") != 1:
            found.append(f"not one link for the {user}")
    if not re.search(r"## Licence\n\nNone is chosen yet", text):
        found.append("does not say that no licence is chosen")
    return found


def test_the_readme_is_short_and_in_its_order() -> None:
    assert faults(README) == []


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("## Licence", "\n" * LONGEST + "## Licence"),
        ("After each heat", "Welcome. After each heat"),
        ("(docs/tutorials/reviewer.md)", "(docs/record.md)"),
        ("None is chosen yet", "Free for all"),
        (". .venv/bin/activate", "activate it"),
    ],
)
def test_a_readme_that_is_long_or_out_of_order_is_seen(old: str, new: str) -> None:
    assert faults(README.replace(old, new)) != []


def test_the_job_stands_in_one_paragraph_and_nothing_before_it() -> None:
    title, paragraph, picture, *_ = README.split("\n\n")
    assert title == "# daubline"
    assert "uncertainty" in paragraph
    assert picture.startswith("![")


def test_its_picture_is_drawn_by_a_script_and_small() -> None:
    (path,) = re.findall(r"!\[[^\]]*\]\(([^)]+)\)", README)
    assert (ROOT / path).stat().st_size < HEAVIEST
    script = (ROOT / "scripts" / "make_pictures.py").read_text("utf-8")
    assert f'"{Path(path).name}"' in script


def test_the_way_to_the_command_that_is_printed_leads_to_where_it_is_installed() -> (
    None
):
    before, _, _ = README.partition("\ndaubline ")
    (way,) = re.findall(r"^\. (\.venv/bin)/activate\s", before, re.MULTILINE)
    setup = (ROOT / "scripts" / "own_venv.py").read_text("utf-8")
    assert f'VENV = ROOT / "{Path(way).parent}"' in setup
    assert f"`{way}/daubline`" in before
