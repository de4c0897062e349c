"""Types reach those who use the package: the wheel brings them.

That mypy then sees them is checked by ``scripts/check.py``, on ``typed_user.py``.
"""

from __future__ import annotations

import importlib.util
import subprocess
import sys
import zipfile
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent


def test_the_wheel_brings_every_module_the_types_and_the_face(tmp_path: Path) -> None:
    # with hatchling there, as the test extra brings it, nothing is fetched
    there = importlib.util.find_spec("hatchling") is not None
    alone = ["--no-build-isolation"] if there else []
    pip = [sys.executable, "-m", "pip", "wheel", "--no-deps", "--quiet", *alone]
    subprocess.run([*pip, "--wheel-dir", tmp_path, ROOT], check=True)
    (wheel,) = tmp_path.glob("daubline-*.whl")
    with zipfile.ZipFile(wheel) as packed:
        names = set(packed.namelist())
    assert {"geom/py.typed", "geom/__init__.pyi"} <= names
    here = {
        file.relative_to(ROOT).as_posix()
        for file in (ROOT / "geom").rglob("*")
        if file.is_file() and "__pycache__" not in file.parts
    }
    assert here <= names
    others = {name for name in names if not name.startswith("geom/")}
    assert all(".dist-info/" in name for name in others)
