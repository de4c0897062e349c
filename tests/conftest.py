"""What is tested only where the programs for it are: a browser, the glTF validator.

``.ci/run`` brings both; on a machine with Python alone the rest is tested, and the head
of the report says what was left out.
"""

from __future__ import annotations

import os
import shutil
from pathlib import Path

TESTS = Path(__file__).parent
VALIDATOR = TESTS.parent / ".node" / "node_modules" / "gltf-validator"
IN_BROWSER = ["e2e/test_desk.py", "e2e/test_report_page.py", "e2e/test_heats_page.py"]


def _left_out() -> dict[str, list[str]]:
    lacking = {}
    if not (shutil.which("chromium") or os.environ.get("CI")):
        lacking["Chromium"] = IN_BROWSER
    if not (shutil.which("node") and VALIDATOR.is_dir()):
        lacking["the glTF validator"] = ["views/meshes/test_gltf_validator.py"]
    return lacking


collect_ignore = [name for names in _left_out().values() for name in names]


def pytest_report_header() -> list[str]:
    return [
        f"not here: {program}; left out: {', '.join(names)}"
        for program, names in _left_out().items()
    ]
