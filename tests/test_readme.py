"""README and docs: what they print is what comes out, what they name is there."""

from __future__ import annotations

import argparse
import importlib
import re
import shlex
import shutil
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from geom.cli.main import main, parser

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


def test_programs_of_readme_and_python_page_run_and_print_what_is_said(
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    tmp_path: Path,
) -> None:
    found = re.search(r"```python\n(.*?)```\n\n```\n(.*?)```", README, re.DOTALL)
    assert found is not None
    monkeypatch.chdir(ROOT)
    names: dict[str, object] = {}
    exec(compile(found[1], "README.md", "exec"), names)
    assert capsys.readouterr().out == found[2]
    monkeypatch.chdir(tmp_path)
    page = (ROOT / "docs" / "python.md").read_text("utf-8")
    for block in re.findall(r"```python\n(.*?)```", page, re.DOTALL):
        exec(compile(block, "python.md", "exec"), names)
    printed = capsys.readouterr().out.splitlines()
    assert re.fullmatch(r"[\d.]+ mm \+- [\d.]+ \([\d.]+ to [\d.]+\)", printed[0])
    assert printed[2:] == ["tap hole clockwise", "3:30"]
    made = {file.name for file in tmp_path.iterdir()}
    assert made == {"wall.png", "lining.vtu", "zones.xlsx", "zones.dxf", "profile.dxf"}


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


# --- commands ------------------------------------------------------------------------

#: Run here as they are printed; ``scripts/printed.py`` runs all of them, in minutes.
RUN_HERE = ("design", "check", "sheet", "strickle", "day")


@pytest.fixture(scope="module")
def commands() -> Callable[[str], Iterator[list[str]]]:
    """Reads the commands out of a page's text."""
    sys.path.insert(0, str(ROOT / "scripts"))
    try:
        found: Callable[[str], Iterator[list[str]]]
        found = importlib.import_module("printed").commands
    finally:
        sys.path.remove(str(ROOT / "scripts"))
    return found


def files_of(options: argparse.Namespace) -> tuple[set[Path], set[Path]]:
    """What a command needs to be there, and what is there after it."""
    starts = options.command == "survey" or "log" in options
    written = {"new", "out", "sheet", *(["record"] if starts else [])}
    needed, made = set(), set()
    for key, value in vars(options).items():
        paths = {
            path
            for path in (value if isinstance(value, list) else [value])
            if isinstance(path, Path)
        }
        (made if key in written else needed).update(paths)
    return needed, made


def lacking(text: str, commands: Callable[[str], Iterator[list[str]]]) -> list[str]:
    """What the commands of a page need that is not there when their turn comes."""
    made: set[Path] = set()
    lacks = []
    for words in commands(text):
        options = parser().parse_args(words[1:])
        needed, new = files_of(options)
        for path in sorted(needed):
            by_command = any(path.is_relative_to(one) for one in made)
            if not (by_command or (ROOT / path).is_file()):
                lacks.append(f"{path} for {shlex.join(words)}")
        if getattr(options, "out", None) in made:
            lacks.append(f"{options.out} is not new for {shlex.join(words)}")
        made |= new
    return lacks


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_every_command_a_page_prints_is_one_and_has_its_files(
    page: Path, commands: Callable[[str], Iterator[list[str]]]
) -> None:
    text = page.read_text(encoding="utf-8")
    assert lacking(text, commands) == []


def test_a_command_without_its_files_or_out_of_its_order_is_seen(
    commands: Callable[[str], Iterator[list[str]]], capsys: pytest.CaptureFixture[str]
) -> None:
    wanted = "scans/cupola-2-heat-41-after.csv"
    assert len(lacking(README.replace(wanted, "after.csv"), commands)) == 1
    assert len(lacking(README.replace("--out heat-52", "--out other"), commands)) == 1
    assert len(lacking(README.replace("--out heat-52", "--out heat-41"), commands)) == 2
    with pytest.raises(SystemExit):
        lacking(README.replace("--before heat-41", "--befor-e heat-41"), commands)
    assert "required: --before" in capsys.readouterr().err


def test_the_readme_shows_every_command_that_a_clone_can_run(
    commands: Callable[[str], Iterator[list[str]]],
) -> None:
    shown = {words[1] for words in commands(README)}
    every = set(parser()._subparsers._group_actions[0].choices)
    assert every - shown == {"view"}  # which opens a window, and stands in the text
    assert "`daubline view DESIGN DIR`" in README


def test_the_way_to_the_command_that_is_printed_leads_to_where_it_is_installed() -> (
    None
):
    before, _, _ = README.partition("\ndaubline ")
    before = before.partition("   daubline ")[0]
    (way,) = re.findall(r"^\. (\.venv/bin)/activate\s", before, re.MULTILINE)
    setup = (ROOT / "scripts" / "own_venv.py").read_text("utf-8")
    assert f'VENV = ROOT / "{Path(way).parent}"' in setup


@pytest.mark.parametrize("command", RUN_HERE)
def test_a_command_of_the_readme_runs_as_printed(
    command: str,
    commands: Callable[[str], Iterator[list[str]]],
    demo_survey: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    (printed,) = [words for words in commands(README) if words[1] == command]
    shutil.copytree(ROOT / "scans", tmp_path / "scans")
    (tmp_path / "heat-41").symlink_to(demo_survey)
    monkeypatch.chdir(tmp_path)
    assert main(printed[1:]) == 0
    _, made = files_of(parser().parse_args(printed[1:]))
    assert all(path.exists() for path in made)
