"""What few need is an extra: all else works without, and one line says what to do."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

from tests.e2e.small_furnace import DESIGN, SHEET

ROOT = Path(__file__).resolve().parent.parent
HIDDEN = ("numba", "llvmlite", "polars")
#: Who may import what only clouds need.
OF_CLOUDS = {
    "parallel.py",
    "readings/clouds/text.py",
    "surface/clouds/binning.py",
    "surface/clouds/kernels.py",
}
WITHOUT = """
import sys

class Hide:
    def find_spec(self, name, path=None, target=None):
        if name.partition(".")[0] in {hidden}:
            raise ModuleNotFoundError(name=name)

sys.meta_path.insert(0, Hide())
from geom.cli import main
sys.exit(main(sys.argv[1:]))
"""


def daubline(*words: object) -> subprocess.CompletedProcess[str]:
    """The command where the libraries of extras are not installed."""
    return subprocess.run(
        [sys.executable, "-c", WITHOUT.format(hidden=HIDDEN), *map(str, words)],
        cwd=ROOT,
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
    )


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    """A small furnace: its drawing, readings and clouds."""
    (tmp_path / "lining.toml").write_text(DESIGN, "utf-8")
    (tmp_path / "rod.csv").write_text(SHEET, "utf-8")
    (tmp_path / "wall.xyz").write_text("230 0 100\n0 230 100\n", "utf-8")
    (tmp_path / "wall.ply").write_text(
        "ply\nformat ascii 1.0\nelement vertex 1\nproperty float x\nproperty float y\n"
        "property float z\nend_header\n230 0 100\n",
        "ascii",
    )
    return tmp_path


def test_readings_of_a_rod_are_surveyed_without_what_clouds_need(shop: Path) -> None:
    told = ("survey", shop / "lining.toml", shop / "rod.csv", "--out", shop / "out")
    done = daubline(*told, "--quiet")
    assert (done.returncode, done.stderr) == (0, "")
    assert (shop / "out" / "lining.vtp").stat().st_size > 1000


@pytest.mark.parametrize("cloud", ["wall.xyz", "wall.ply"])
def test_a_cloud_without_them_is_one_line(shop: Path, cloud: str) -> None:
    out = shop / "out"
    told = ("survey", shop / "lining.toml", shop / cloud, "--out", out)
    done = daubline(*told, "--cloud-unit", "mm")
    assert done.returncode == 2
    assert done.stderr == (
        "daubline: numba is not installed. "
        "Install it with: pip install 'daubline[cloud]'\n"
    )
    assert not out.exists()


def test_nobody_else_imports_what_only_clouds_need() -> None:
    using = set()
    for file in (ROOT / "geom").rglob("*.py"):
        for node in ast.walk(ast.parse(file.read_text("utf-8"))):
            names = [getattr(node, "module", None) or ""]
            if isinstance(node, ast.Import):
                names = [alias.name for alias in node.names]
            if isinstance(node, ast.Import | ast.ImportFrom) and any(
                name.partition(".")[0] in HIDDEN for name in names
            ):
                using.add(file.relative_to(ROOT / "geom").as_posix())
    assert using == OF_CLOUDS
