"""What README and docs print to be typed, run as printed.

``.venv/bin/python scripts/printed.py FOLDER [PAGE ...]`` runs every ``daubline``
command of the pages (default: README.md and docs/) in their order, each page in a
folder of its own that has the demo inputs beside it, as a fresh clone has.  Words in
capitals (``DESIGN``) are a pattern, not a command, and left out; the desk is opened and
closed again.  Every command is told with its exit code and its seconds; the exit code
is 1 where one was not 0.  Ten minutes and more.
"""

from __future__ import annotations

import os
import re
import shlex
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
PAGES = (ROOT / "README.md", *sorted((ROOT / "docs").glob("*.md")))
_PATTERN = re.compile(r"[\[(]*[A-Z]{2,}(\.\.\.)?[\])]*")


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


def run(words: list[str], folder: Path) -> int:
    """Run a command in a folder; give its exit code."""
    command = [sys.executable, "-m", "geom.cli", *words[1:]]
    told = os.environ | {"PYTHONPATH": str(ROOT), "PYTHONUNBUFFERED": "1"}
    if words[1] != "desk":
        return subprocess.run(command, cwd=folder, env=told, check=False).returncode
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
        own = folder / page.stem
        shutil.rmtree(own, ignore_errors=True)
        own.mkdir(parents=True)
        shutil.copytree(ROOT / "scans", own / "scans")
        for words in commands(page.read_text("utf-8")):
            print(f"+ {page.name}: {shlex.join(words)}", flush=True)
            since = time.perf_counter()
            code = run(words, own)
            print(f"= {code}, {time.perf_counter() - since:.0f} s", flush=True)
            failed += code != 0
    print(f"{failed} failed." if failed else "All ran as printed.")
    return min(failed, 1)


if __name__ == "__main__":
    if len(sys.argv) < 2:
        sys.exit("usage: printed.py FOLDER [PAGE ...]")
    sys.exit(main(Path(sys.argv[1]), [Path(page) for page in sys.argv[2:]]))
