"""Mutants of the code that the tests have to kill, by cosmic-ray; nightly, by hand.

``python3 scripts/mutants.py FOLDER [--sample N] [--room geom/compare ...]`` copies the
checkout into the folder, makes a venv there with cosmic-ray, draws mutants at random
(seeded) from the rooms, and runs the tests of the room on each, with the Python of
``.venv``.  Changes that raise at once, as bits of floats do, are not drawn.  It prints
how many were killed and the change that each survivor is.  Nothing outside the folder
is touched.  A survivor gets a test, or a line with the reason in
``docs/benchmarks.md``.  At least 90 of 100 are to be killed.
"""

from __future__ import annotations

import argparse
import json
import random
import shutil
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import own_venv

ROOT = Path(__file__).resolve().parent.parent
TOOL = "cosmic-ray==8.7.0"
#: Rooms, and the tests that answer for each.
ROOMS = {
    "geom/surface": ("tests/surface", "tests/published"),
    "geom/compare": ("tests/compare", "tests/published"),
    "geom/repair": ("tests/repair", "tests/published"),
    "geom/desk": ("tests/desk",),
}
SECONDS = 1200.0
#: Not drawn: of two floats these raise at once, so that any test that runs kills them.
TRIVIAL = ("Bit", "Shift")


def copied(folder: Path) -> Path:
    """Copy what tests need; mutants are written over it."""
    copy = folder / "checkout"
    shutil.rmtree(copy, ignore_errors=True)
    leave = shutil.ignore_patterns(".venv", ".git", ".node", "__pycache__", "out-*")
    shutil.copytree(ROOT, copy, ignore=leave)
    return copy


def tool(folder: Path) -> Path:
    """Python of a venv that holds cosmic-ray."""
    python = folder / "venv" / "bin" / "python"
    if not python.exists():
        subprocess.run([sys.executable, "-m", "venv", python.parents[1]], check=True)
        install = (python, "-m", "pip", "install", "--quiet", TOOL)
        subprocess.run(install, check=True)
    return python


def tried(
    python: Path,
    copy: Path,
    room: str,
    paths: list[str],
    tests: list[str],
    *,
    count: int,
    seed: int,
):
    """Draw mutants of a room and try them; outcome and change of each."""
    config, session = copy.parent / "mutants.toml", copy.parent / "mutants.sqlite"
    session.unlink(missing_ok=True)
    asked = "-m pytest -x -q -p no:xdist -m 'not slow'"
    run = f"{own_venv.tool('python')} {asked} {' '.join(tests)}"
    config.write_text(
        "[cosmic-ray]\n"
        f"module-path = {json.dumps(paths)}\ntimeout = {SECONDS}\n"
        f"excluded-modules = []\ntest-command = {json.dumps(run)}\n"
        '[cosmic-ray.distributor]\nname = "local"\n',
        "utf-8",
    )
    cosmic = (python, "-m", "cosmic_ray.cli")
    subprocess.run([*cosmic, "init", config, session], cwd=copy, check=True)
    with closing(sqlite3.connect(session)) as held, held:
        rows = held.execute("SELECT job_id, operator_name FROM mutation_specs")
        everyone = list(rows)
        jobs = [job for job, how in everyone if not any(t in how for t in TRIVIAL)]
        drawn = set(random.Random(seed).sample(sorted(jobs), min(count, len(jobs))))
        for job in {job for job, _ in everyone} - drawn:
            held.execute("DELETE FROM mutation_specs WHERE job_id = ?", (job,))
            held.execute("DELETE FROM work_items WHERE job_id = ?", (job,))
    print(f"{room}: {len(drawn)} of {len(jobs)} mutants", flush=True)
    subprocess.run([*cosmic, "exec", config, session], cwd=copy, check=True)
    with closing(sqlite3.connect(session)) as held:
        return list(
            held.execute(
                "SELECT m.module_path, m.start_pos_row, m.operator_name, "
                "r.test_outcome, r.diff FROM mutation_specs m "
                "JOIN work_results r ON r.job_id = m.job_id"
            )
        )


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--sample", type=int, default=100, help="mutants of each room")
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--room", nargs="*", default=list(ROOMS), choices=ROOMS)
    parser.add_argument("--only", nargs="*", help="files of the room, to look closer")
    parser.add_argument("--tests", nargs="*", help="in place of all those of the room")
    options = parser.parse_args()
    folder = options.folder.resolve()
    folder.mkdir(parents=True, exist_ok=True)
    python, copy = tool(folder), copied(folder)
    killed = survived = 0
    for room in options.room:
        paths = options.only or [room]
        tests = options.tests or list(ROOMS[room])
        counts = {"count": options.sample, "seed": options.seed}
        rows = tried(python, copy, room, paths, tests, **counts)
        for path, line, operator, outcome, diff in rows:
            if "SURVIVED" in str(outcome).upper():
                survived += 1
                print(f"survived: {path}:{line} {operator}\n{diff}")
            else:
                killed += 1
    total = max(killed + survived, 1)
    print(f"killed {killed} of {killed + survived}, {100 * killed / total:.0f} %")
    return 0 if killed >= 0.9 * total else 1


if __name__ == "__main__":
    sys.exit(main())
