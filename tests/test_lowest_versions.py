"""The lowest versions that pyproject.toml allows are those that were tried."""

from __future__ import annotations

import importlib.util
import json
from pathlib import Path

SCRIPT = Path(__file__).resolve().parent.parent / "scripts" / "lowest.py"


def script():
    """The script that tries them, as a module of its own."""
    spec = importlib.util.spec_from_file_location("lowest_versions", SCRIPT)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_the_bounds_of_today_are_those_that_were_tried():
    lowest = script()
    assert lowest.digest() == lowest.tried(), (
        "what pyproject.toml asks for has changed: run scripts/lowest.py FOLDER"
    )
    assert lowest.bounds() == json.loads(lowest.TRIED.read_text("utf-8"))["bounds"]


def test_another_bound_or_another_library_is_a_change(tmp_path):
    lowest = script()
    written = (lowest.ROOT / "pyproject.toml").read_text("utf-8")
    lowest.ROOT = tmp_path
    found = set()
    for old, new in (
        ("", ""),
        ('"h5py>=3.11"', '"h5py>=3.12"'),
        ('    "h5py>=3.11",\n', ""),
        ('"segno>=1.5.2"', '"segno>=1.6"'),
    ):
        assert old in written
        (tmp_path / "pyproject.toml").write_text(written.replace(old, new), "utf-8")
        found.add(lowest.digest())
    assert len(found) == 4
