"""Types reach those who use the package: mypy sees them, and the wheel brings them."""

from __future__ import annotations

import importlib.util
import os
import re
import subprocess
import sys
import zipfile
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
#: Three lines of a user, and what mypy has to say of them.
PROGRAM = """\
import geom
reveal_type(geom.load_readings)
reveal_type(geom.reconstruct)
reveal_type(geom.assess)
"""
RETURNS = {
    2: "geom.readings.rod.RodReadings | geom.readings.cloud.CloudReadings",
    3: "geom.surface.radial.RadialSurface",
    4: "geom.compare.findings.Findings",
}


def revealed(folder: Path) -> tuple[int, str]:
    """Mypy's verdict of the program and what it printed, modules of ours silent."""
    program = folder / "user.py"
    program.write_text(PROGRAM, "utf-8")
    command = [sys.executable, "-m", "mypy", "--strict", "--follow-imports=silent"]
    options = ["--config-file=", "--no-error-summary", "--cache-dir", folder / "cache"]
    run = subprocess.run(
        [*command, *options, program],
        env=os.environ | {"MYPYPATH": str(ROOT)},
        cwd=folder,
        capture_output=True,
        text=True,
        check=False,
    )
    return run.returncode, run.stdout + run.stderr


def test_a_strict_user_sees_real_types(tmp_path: Path) -> None:
    """No Any in what is taken or given, as a bare decorator would leave it."""
    code, printed = revealed(tmp_path)
    assert code == 0, printed
    told = {
        int(line): words
        for line, words in re.findall(r":(\d+): note: Revealed type is (.*)", printed)
    }
    assert told.keys() == RETURNS.keys()
    for line, words in told.items():
        assert not re.search(r"\bAny\b", words), words
        assert "def (" in words
        assert words.rstrip('"').endswith(f"-> {RETURNS[line]}"), words


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
