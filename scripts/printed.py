"""What README and docs print to be typed, run as printed.

``.venv/bin/python scripts/printed.py FOLDER [PAGE ...]`` runs every ``daubline``
command of the pages (default: README.md and docs/) in their order, each page in a
folder of its own that has the demo inputs beside it, as a fresh clone has.  A block
that is to be saved (``as `sheet.csv`:`` before it) is saved; lines of a ``text`` block
are held against what the command before it printed.  Words in capitals (``DESIGN``) are
a pattern, not a command, and left out; the desk is opened and closed again.  Every
command is told with its exit code and its seconds; the exit code is 1 where one was not
0 or did not print what the page says.  Ten minutes and more.
"""

from __future__ import annotations

import os
import re
import shlex
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator, Sequence
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
PAGES = (ROOT / "README.md", *sorted((ROOT / "docs").rglob("*.md")))
_PATTERN = re.compile(r"[\[(]*[A-Z]{2,}(\.\.\.)?[\])]*")
_SAVED = re.compile(r"\bas `([\w.-]+)`[^`]*:\n\n```\n(.*?)^```$", re.M | re.S)
_SAID = re.compile(r"^```\n\n```text\n(.*?)^```$", re.M | re.S)


def commands(text: str) -> Iterator[list[str]]:
    """Give the words of every command of daubline that a page prints, in order."""
    lines = text.replace("\\\n", " ").splitlines()
    fenced = False
    for line in map(str.strip, lines):
        fenced ^= line.startswith("```")
        if fenced and line.startswith("daubline "):
            words = shlex.split(line, comments=True)
            if not any(map(_PATTERN.fullmatch, words)):
                yield words


def saved(text: str) -> dict[str, str]:
    """Give the files that a page prints to be saved, by name."""
    return dict(_SAVED.findall(text))


def said(text: str) -> dict[tuple[str, ...], list[str]]:
    """Give the lines that a page says a command prints, by the command's words."""
    told = {}
    for block in _SAID.finditer(text):
        *_, words = commands(text[: block.start()] + "```")
        told[tuple(words)] = block[1].splitlines()
    return told


def run(words: list[str], folder: Path, told_lines: Sequence[str] = ()) -> int:
    """Run a command in a folder; give its exit code, or 1 where a line is not said."""
    command = [sys.executable, "-m", "geom.cli", *words[1:]]
    told = os.environ | {"PYTHONPATH": str(ROOT), "PYTHONUNBUFFERED": "1"}
    if words[1] != "desk":
        done = subprocess.run(
            command, cwd=folder, env=told, check=False, text=True,
            stdout=subprocess.PIPE,
        )  # fmt: skip
        print(done.stdout, end="")
        printed = {" ".join(line.split()) for line in done.stdout.splitlines()}
        missing = [line for line in told_lines if " ".join(line.split()) not in printed]
        for line in missing:
            print(f"! not said: {line}")
        return done.returncode or min(len(missing), 1)
    with subprocess.Popen(
        [*command, "--port", "0"], cwd=folder, env=told, text=True,
        stdout=subprocess.PIPE,
    ) as opened:  # fmt: skip
        there = any("http://" in line for line in opened.stdout or ())
        opened.terminate()
        opened.communicate(timeout=60)
    return 0 if there else 1


def main(folder: Path, pages: list[Path]) -> int:
    failed = 0
    for page in pages or PAGES:
        own = folder / page.relative_to(ROOT).with_suffix("")
        shutil.rmtree(own, ignore_errors=True)
        own.mkdir(parents=True)
        shutil.copytree(ROOT / "scans", own / "scans")
        text = page.read_text("utf-8")
        for name, content in saved(text).items():
            (own / name).write_text(content, "utf-8")
        lines = said(text)
        for words in commands(text):
            print(f"+ {page.name}: {shlex.join(words)}", flush=True)
            since = time.perf_counter()
            code = run(words, own, lines.get(tuple(words), ()))
            print(f"= {code}, {time.perf_counter() - since:.0f} s", flush=True)
            failed += code != 0
    print(f"{failed} failed." if failed else "All ran as printed.")
    return min(failed, 1)


if __name__ == "__main__":
    if len(sys.argv) < 2 or Path(sys.argv[1]).is_file():
        sys.exit("usage: printed.py FOLDER [PAGE ...]")
    sys.exit(main(Path(sys.argv[1]), [Path(page).resolve() for page in sys.argv[2:]]))
