"""Help, completion, and how options are spelled."""

from __future__ import annotations

import argparse
import re
import sys
import types
from pathlib import Path
from typing import Any

import pytest

from geom.cli import main
from geom.cli.main import BAD_INPUT, DONE, FAULT, STOPPED, TERMINATED, parser

ROOT = Path(__file__).resolve().parent.parent.parent


def every_parser(top: argparse.ArgumentParser) -> list[argparse.ArgumentParser]:
    """It, and those of its commands."""
    found = [top]
    for action in top._actions:
        if isinstance(action, argparse._SubParsersAction):
            found += [one for p in action.choices.values() for one in every_parser(p)]
    return found


def test_help_is_grouped_by_whose_work_it_is() -> None:
    text = parser().format_help()
    groups = re.findall(r"^  (\w[\w ,]+):\n((?:    .*\n)+)", text, re.M)
    listed = {head: re.findall(r"^    (\w+)", lines, re.M) for head, lines in groups}
    assert list(listed) == [
        "in the office, before and after the survey",
        "at the furnace",
        "heat after heat",
    ]
    assert listed["at the furnace"][:2] == ["sheet", "desk"]
    (commands,) = (a for a in parser()._actions if a.dest == "command")
    assert isinstance(commands.choices, dict)
    assert sorted(name for names in listed.values() for name in names) == sorted(
        commands.choices
    )


def test_an_option_has_one_spelling_and_means_one_thing(
    capsys: pytest.CaptureFixture[str],
) -> None:
    parsers = every_parser(parser())
    assert len(parsers) > 20
    assert not any(one.allow_abbrev for one in parsers)
    kinds: dict[str, set[Any]] = {}
    for one in parsers:
        for action in one._actions:
            longs = [name for name in action.option_strings if name[:2] == "--"]
            assert len(longs) == bool(action.option_strings)
            for name in longs:
                choices = tuple(action.choices or ())
                kinds.setdefault(name, set()).add((choices, action.nargs, action.dest))
    assert {name: kind for name, kind in kinds.items() if len(kind) > 1} == {}
    with pytest.raises(SystemExit):
        main(["strickle", "d.toml", "--from", "1", "--to", "2", "--ou", "a.pdf"])
    assert "--out" in capsys.readouterr().err
    folders = {a.metavar for one in parsers for a in one._actions}
    assert "FOLDER" not in folders


def test_exit_codes_are_told_in_a_table() -> None:
    text = (ROOT / "docs" / "commands.md").read_text("utf-8")
    rows = re.findall(r"^\| (\d+) \|", text, re.M)
    assert [int(row) for row in rows] == [DONE, FAULT, BAD_INPUT, STOPPED, TERMINATED]
    for command in ("survey", "recheck", "campaigns"):
        assert f"`{command}`" in text


def test_completion_without_its_library_says_what_to_install(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setitem(sys.modules, "shtab", None)
    assert main(["--completion", "bash"]) == 2
    assert "pip install 'daubline[completion]'" in capsys.readouterr().err


def test_completion_is_of_every_command_and_of_files(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    seen: list[argparse.ArgumentParser] = []

    def complete(top: argparse.ArgumentParser, shell: str) -> str:
        seen.append(top)
        return f"# for {shell}"

    library = types.SimpleNamespace(FILE={"bash": "files"}, complete=complete)
    monkeypatch.setitem(sys.modules, "shtab", library)
    with pytest.raises(SystemExit) as ended:
        main(["--completion", "zsh"])
    assert ended.value.code == 0
    assert capsys.readouterr().out == "# for zsh\n"
    paths = [a for p in every_parser(seen[0]) for a in p._actions if a.type is Path]
    assert len(paths) > 20
    assert all(getattr(a, "complete", None) == library.FILE for a in paths)
