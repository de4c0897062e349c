"""Files of another user: refused by name, nothing written, no traceback.

Root's powers to open everything are dropped by setpriv; without root, who gives the
files away, or without setpriv, these tests are left out (tests/conftest.py).
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.e2e.small_furnace import DESIGN, SHEET

ROOT = Path(__file__).resolve().parents[2]
#: What lets root read and write everybody's files.
POWERS = "-dac_override,-dac_read_search"
SOMEBODY = 65534


@pytest.mark.parametrize(
    ("theirs", "mode", "words"),
    [
        ("oven.csv", 0o600, "next oven.toml oven.csv"),
        ("oven.toml", 0o600, "next oven.toml oven.csv"),
        ("before/surface.nc", 0o600, "survey oven.toml oven.csv --past before --out o"),
        ("record", 0o700, "record list record"),
        ("record", 0o755, "survey oven.toml oven.csv --out record/out"),
    ],
)
def test_another_users_files_are_refused_by_name(theirs, mode, words, tmp_path):
    (tmp_path / "oven.toml").write_text(DESIGN, "utf-8")
    (tmp_path / "oven.csv").write_text(SHEET, "utf-8")
    (tmp_path / "record").mkdir()
    (tmp_path / "before").mkdir()
    for name in ("surface.nc", "findings.json"):
        (tmp_path / "before" / name).write_bytes(b"{}")
    os.chown(tmp_path / theirs, SOMEBODY, SOMEBODY)
    (tmp_path / theirs).chmod(mode)
    before = sorted(tmp_path.rglob("*"))
    as_owner = ("setpriv", "--bounding-set", POWERS, "--inh-caps", POWERS)
    env = dict(os.environ, PYTHONPATH=str(ROOT), OMP_NUM_THREADS="1")
    done = subprocess.run(
        [*as_owner, sys.executable, "-m", "geom.cli", *words.split()],
        cwd=tmp_path, env=env, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 2
    assert theirs in done.stderr
    assert "who may" in done.stderr
    assert "Traceback" not in done.stderr
    assert sorted(tmp_path.rglob("*")) == before
