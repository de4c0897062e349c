"""Mutants of the code that the tests have to kill, by cosmic-ray; nightly, by hand.

``python3 scripts/mutants.py FOLDER [--sample N] [--room geom/compare ...]`` copies the
checkout into the folder, makes a venv there with cosmic-ray, draws mutants at random
(seeded) from the rooms, and runs the tests of the room on each, those nearest to the
module first, with the Python of ``.venv``.  Changes that raise at once, as bits of
floats do, are not drawn.  It prints how many were killed and the change that each
survivor is.  Nothing outside the folder is touched.  A survivor gets a test, or a line
with the reason in ``docs/benchmarks.md``.  At least 90 of 100 are to be killed.
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


def nearest_first(copy: Path, path: str, tests: list[str]) -> list[str]:
    """Tests in the order in which they are likely to see a change of a module."""
    files = [
        file for test in tests for file in sorted((copy / test).rglob("test_*.py"))
    ]
    files += [copy / test for test in tests if test.endswith(".py")]
    module = path.removesuffix(".py").replace("/", ".")

    def rank(file: Path) -> int:
        if file.stem == f"test_{Path(path).stem}":
            return 0
        return 1 if module in file.read_text("utf-8") else 2

    return [str(file.relative_to(copy)) for file in sorted(files, key=rank)]


def drawn_from(
    python: Path, copy: Path, paths: list[str], *, count: int, seed: int
) -> dict[str, Path]:
    """Draw mutants; a session of those of each module, by its path."""
    folder = copy.parent / "sessions"
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir()
    whole = folder / "whole.sqlite"
    config = configured(folder / "whole.toml", paths, [])
    init = (python, "-m", "cosmic_ray.cli", "init", config, whole)
    subprocess.run(init, cwd=copy, check=True)
    with closing(sqlite3.connect(whole)) as held:
        every = "SELECT job_id, operator_name, module_path FROM mutation_specs"
        module = {
            job: path
            for job, how, path in held.execute(every)
            if not any(trivial in how for trivial in TRIVIAL)
        }
    drawn = set(random.Random(seed).sample(sorted(module), min(count, len(module))))
    print(f"{', '.join(paths)}: {len(drawn)} of {len(module)} mutants", flush=True)
    sessions = {}
    for path in sorted({module[job] for job in drawn}):
        session = sessions[path] = folder / f"{len(sessions)}.sqlite"
        shutil.copyfile(whole, session)
        with closing(sqlite3.connect(session)) as held, held:
            jobs = [job for (job,) in held.execute("SELECT job_id FROM mutation_specs")]
            others = [(j,) for j in jobs if j not in drawn or module[j] != path]
            for table in ("mutation_specs", "work_items"):
                held.executemany(f"DELETE FROM {table} WHERE job_id = ?", others)
    return sessions


def configured(config: Path, paths: list[str], tests: list[str]) -> Path:
    """Write the file in which cosmic-ray is told what to change and what to run."""
    asked = "-m pytest -x -q -p no:xdist -m 'not slow'"
    run = f"{own_venv.tool('python')} {asked} {' '.join(tests)}"
    config.write_text(
        "[cosmic-ray]\n"
        f"module-path = {json.dumps(paths)}\ntimeout = {SECONDS}\n"
        f"excluded-modules = []\ntest-command = {json.dumps(run)}\n"
        '[cosmic-ray.distributor]\nname = "local"\n',
        "utf-8",
    )
    return config


def tried(python: Path, copy: Path, path: str, session: Path, tests: list[str]):
    """Try the mutants of a module; outcome and change of each."""
    ordered = nearest_first(copy, path, tests)
    config = configured(session.with_suffix(".toml"), [path], ordered)
    run = (python, "-m", "cosmic_ray.cli", "exec", config, session)
    subprocess.run(run, cwd=copy, check=True)
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
        for module, session in drawn_from(python, copy, paths, **counts).items():
            rows = tried(python, copy, module, session, tests)
            for path, line, operator, outcome, diff in rows:
                if "SURVIVED" in str(outcome).upper():
                    survived += 1
                    print(f"survived: {path}:{line} {operator}\n{diff}", flush=True)
                else:
                    killed += 1
                    print(f"killed: {path}:{line} {operator}", flush=True)
    total = max(killed + survived, 1)
    print(f"killed {killed} of {killed + survived}, {100 * killed / total:.0f} %")
    return 0 if killed >= 0.9 * total else 1


if __name__ == "__main__":
    sys.exit(main())
