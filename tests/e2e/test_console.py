"""On a console that knows few characters words come out, and JSON stays JSON."""

from __future__ import annotations

import io
import json
from contextlib import redirect_stderr, redirect_stdout
from pathlib import Path

import pytest

from geom.cli import main
from tests.e2e.small_furnace import DESIGN, SHEET

NAME = "Купольная печь № 2 (выдумана)"


def daubline(encoding: str, *words: object) -> tuple[int, str, str]:
    """Exit code and what is said where streams know the characters of one encoding."""
    held = io.BytesIO(), io.BytesIO()
    out, err = (io.TextIOWrapper(one, encoding=encoding) for one in held)
    with redirect_stdout(out), redirect_stderr(err):
        code = main([str(word) for word in words])
    for stream in (out, err):
        stream.flush()
    said, noted = (one.getvalue().decode(encoding) for one in held)
    return code, said, noted


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    (tmp_path / "lining.toml").write_text(DESIGN, "utf-8")
    (tmp_path / "rod.csv").write_text(SHEET, "utf-8")
    return tmp_path


@pytest.mark.parametrize("encoding", ["ascii", "cp1252", "utf-8"])
def test_words_and_documents_come_out_whatever_the_console_knows(
    encoding: str, shop: Path
) -> None:
    told = ("next", shop / "lining.toml", shop / "rod.csv", "--count", "1")
    code, words, notes = daubline(encoding, *told)
    assert (code, notes) == (0, "")
    assert ("40 degC" if encoding == "ascii" else "40 °C") in words
    code, document, _ = daubline(encoding, *told, "--json")
    assert code == 0
    assert json.loads(document)["lining"] == NAME


@pytest.mark.parametrize("encoding", ["ascii", "cp1252", "utf-8"])
def test_a_message_about_a_file_of_any_name_is_one_line(
    encoding: str, shop: Path
) -> None:
    told = ("survey", shop / "чертёж № 2.toml", "x.csv", "--out", shop / "out")
    code, _, message = daubline(encoding, *told)
    assert code == 2
    assert message.startswith("daubline: ")
    assert message.count("\n") == 1
    assert {"utf-8": "№ 2.toml"}.get(encoding, "No 2.toml") in message
