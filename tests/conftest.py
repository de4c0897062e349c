"""What is tested only where the programs for it are: a browser, say.

``.ci/run`` brings both; on a machine with Python alone the rest is tested, and the head
of the report says what was left out.
"""

from __future__ import annotations

import os
import pickle
import shutil
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import IO, TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from geom import RadialSurface

TESTS = Path(__file__).parent
_NODE = TESTS.parent / ".node" / "node_modules"
VALIDATOR = _NODE / "gltf-validator"
AXE = _NODE / "axe-core" / "axe.min.js"
SCANS = TESTS.parent / "scans"
IN_BROWSER = ["e2e/test_desk.py", "e2e/test_report_page.py", "e2e/test_heats_page.py"]
BY_AXE = "e2e/test_accessible.py"


def _left_out() -> dict[str, list[str]]:
    lacking = {}
    if not (shutil.which("chromium") or os.environ.get("CI")):
        lacking["Chromium"] = [*IN_BROWSER, BY_AXE]
    if not AXE.is_file():
        lacking["axe-core"] = [BY_AXE]
    if not (shutil.which("node") and VALIDATOR.is_dir()):
        lacking["the glTF validator"] = ["views/meshes/test_gltf_validator.py"]
    if not (shutil.which("setpriv") and getattr(os, "geteuid", int)() == 0):
        lacking["root and setpriv"] = ["e2e/test_other_users.py"]
    if not shutil.which("bash"):
        lacking["bash"] = ["e2e/test_completion.py"]
    return lacking


collect_ignore = [name for names in _left_out().values() for name in names]


#: Files of minutes in all, which every worker is to have behind it when the many short
#: ones come: else one works at the last of them while the others stand by.
LONGEST_FIRST = (
    "e2e/", "sampling/", "test_campaign_scans", "record/", "repair/", "surface/",
    "fleet/", "published/", "datum/", "bench/", "test_laser_scan", "views/",
)  # fmt: skip


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Put the longest files first; in a file nothing changes."""
    places = {f"tests/{room}": place for place, room in enumerate(LONGEST_FIRST)}

    def rank(item: pytest.Item) -> int:
        rooms = (place for room, place in places.items() if room in item.nodeid)
        return min(rooms, default=len(places))

    items.sort(key=rank)


def pytest_report_header() -> list[str]:
    return [
        f"not here: {program}; left out: {', '.join(names)}"
        for program, names in _left_out().items()
    ]


# --- made once for all files and all workers -----------------------------------------


def hold(lock: IO[str]) -> None:
    """Wait until no other worker holds a file, and hold it until it is closed."""
    try:
        import fcntl
    except ImportError:  # Windows
        import msvcrt

        while True:
            with suppress(OSError):  # it gives up after ten seconds
                msvcrt.locking(lock.fileno(), msvcrt.LK_LOCK, 1)  # type: ignore[attr-defined]
                return
    fcntl.flock(lock, fcntl.LOCK_EX)


def made_once(
    factory: pytest.TempPathFactory, name: str, make: Callable[[Path], object]
) -> Path:
    """A folder that the first test to ask fills, and that all others only read."""
    base = factory.getbasetemp()
    if "PYTEST_XDIST_WORKER" in os.environ:
        base = base.parent
    folder, unfinished = base / f"once-{name}", base / f"unfinished-{name}"
    with (base / f"{name}.lock").open("w") as lock:
        hold(lock)
        if not folder.exists():
            shutil.rmtree(unfinished, ignore_errors=True)
            unfinished.mkdir()
            make(unfinished)
            unfinished.rename(folder)
    return folder


@pytest.fixture(scope="session")
def demo_survey(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """All files of the demo's sheet of heat 41, in a folder alone in another."""

    def make(folder: Path) -> None:
        from geom.cli import main

        design, sheet = SCANS / "cupola-2.toml", SCANS / "cupola-2-heat-41.csv"
        words = ["survey", str(design), str(sheet), "--out", str(folder / "out")]
        assert main([*words, "--quiet", "--title", "Heat 41 <b>"]) == 0

    return made_once(tmp_path_factory, "demo-survey", make) / "out"


@pytest.fixture(scope="session")
def scanned_demo(tmp_path_factory: pytest.TempPathFactory) -> RadialSurface:
    """The surface of the demo's laser scan."""

    def make(folder: Path) -> None:
        import geom

        design = geom.load_design(SCANS / "cupola-2.toml")
        readings = geom.load_readings(
            SCANS / "cupola-2-heat-41-scan.laz",
            design,
            cloud_unit="mm",
            scanner=(0, 0, 0),
            targets=SCANS / "cupola-2-heat-41-targets.csv",
        )
        surface = geom.reconstruct(readings, design)
        (folder / "surface.pickle").write_bytes(pickle.dumps(surface))

    folder = made_once(tmp_path_factory, "demo-scan", make)
    surface: RadialSurface = pickle.loads((folder / "surface.pickle").read_bytes())
    return surface
