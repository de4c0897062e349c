"""A survey without home or network, below long foreign names."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from tests.e2e.small_furnace import DESIGN, SHEET

ROOT = Path(__file__).resolve().parents[2]
#: 4 of 160 to 240 bytes: a path of some 900, in three scripts.
NAMES = ("Ofen Größe " * 14, "炉" * 80, "Футеровка" * 9, "é" * 120)


def offline() -> list[str]:
    """What takes the network from a command, where this machine lets us."""
    without = ["unshare", "--net"]
    if not shutil.which("unshare"):
        return []
    asked = subprocess.run([*without, "true"], capture_output=True, check=False)
    return [] if asked.returncode else without


@pytest.mark.parametrize("home", ["none", "a place below a file"])
def test_a_survey_without_a_home_below_long_foreign_names(home, tmp_path):
    folder = tmp_path.joinpath(*(name.strip() for name in NAMES))
    folder.mkdir(parents=True)
    (folder / "печь.toml").write_text(DESIGN, "utf-8")
    (folder / "größe.csv").write_text(SHEET, "utf-8")
    gone = {"HOME", "XDG_CACHE_HOME", "XDG_CONFIG_HOME", "MPLCONFIGDIR"}
    env = {key: value for key, value in os.environ.items() if key not in gone}
    (tmp_path / "scratch").mkdir()
    env |= {"PYTHONPATH": str(ROOT), "OMP_NUM_THREADS": "1"}
    env["TMPDIR"] = str(tmp_path / "scratch")
    if home != "none":
        env["HOME"] = str(folder / "печь.toml" / "home")
    words = ("survey", "печь.toml", "größe.csv", "--quiet", "--out", "выход 炉")
    done = subprocess.run(
        [*offline(), sys.executable, "-m", "geom.cli", *words],
        cwd=folder, env=env, umask=0o077, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")
    names = {path.name for path in folder.iterdir()}
    assert names == {"печь.toml", "größe.csv", "выход 炉"}
    assert not list((tmp_path / "scratch").iterdir())
    written = folder / "выход 炉"
    for path in (written, *written.iterdir()):
        assert path.stat().st_mode & 0o077 == 0, path.name
    found = json.loads((written / "findings.json").read_text("utf-8"))
    assert found["lining"] == "Купольная печь № 2 (выдумана)"
