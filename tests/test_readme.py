"""README and docs: what they print is what comes out, what they name is there."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
PAGES = [
    ROOT / "README.md",
    ROOT / "DEVELOPERS.md",
    *sorted((ROOT / "docs").glob("*.md")),
]


def test_readme_opens_with_the_job_in_one_paragraph() -> None:
    title, paragraph, *_ = README.split("\n\n")
    assert title == "# daubline"
    assert paragraph.startswith("After each heat")
    assert "uncertainty" in paragraph


def test_program_of_the_readme_prints_what_the_readme_says(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    found = re.search(r"```python\n(.*?)```\n\n```\n(.*?)```", README, re.DOTALL)
    assert found is not None
    monkeypatch.chdir(ROOT)
    exec(compile(found[1], "README.md", "exec"), {})
    assert capsys.readouterr().out == found[2]


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_every_file_a_page_points_at_is_there(page: Path) -> None:
    text = page.read_text(encoding="utf-8")
    targets = re.findall(r"\]\(([^)#]+)\)", text)
    missing = [t for t in targets if "://" not in t and not (page.parent / t).exists()]
    assert not missing


def test_every_file_the_readme_lists_is_one_that_is_written() -> None:
    from geom.views.names import FILES

    table = README.split("| file | what |")[1].split("\n\n")[0]
    told = {
        name if name.startswith("l") or name[0] != "." else f"lining{name}"
        for name in re.findall(r"`([\w.-]+\.\w+|\.\w+)`", table)
    }
    assert told == set(FILES)
