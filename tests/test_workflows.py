"""The workflows run what a change is judged by, on every Python and system promised."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

import pytest
import yaml

ROOT = Path(__file__).resolve().parent.parent
WORKFLOWS = sorted((ROOT / ".github" / "workflows").glob("*.yml"))
SYSTEMS = {"ubuntu-latest", "macos-latest", "windows-latest"}
#: What every change has to pass somewhere.
JUDGED_BY = {"scripts/test.py", "scripts/check.py", "scripts/wheel.py", ".ci/run"}


def promised() -> set[str]:
    """Versions of Python that the package says it runs on."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    found = (re.search(r":: (3\.\d+)$", line) for line in project["classifiers"])
    return {one[1] for one in found if one}


def jobs(text: str) -> dict[str, Any]:
    """Jobs of a workflow by name."""
    found: dict[str, Any] = yaml.safe_load(text)["jobs"]
    return found


def faults(text: str) -> list[str]:
    """What is wrong with the jobs of a workflow."""
    wrong = []
    for name, job in jobs(text).items():
        if "timeout-minutes" not in job:
            wrong.append(f"{name} may run for ever")
        matrix = job.get("strategy", {}).get("matrix", {})
        for place in re.findall(r"matrix\.(\w+)", str(job)):
            if place not in matrix:
                wrong.append(f"{name} has no {place} in its matrix")
        for step in job["steps"]:
            if ("run" in step) == ("uses" in step):
                wrong.append(f"a step of {name} neither runs nor uses, or does both")
            for file in re.findall(
                r"(?:scripts/\S+\.py|\.ci/\w+)", step.get("run", "")
            ):
                if not (ROOT / file).is_file():
                    wrong.append(f"{name} runs {file}, which is not there")
    return wrong


def test_there_is_a_workflow_and_nothing_is_wrong_with_it() -> None:
    assert WORKFLOWS
    for file in WORKFLOWS:
        assert faults(file.read_text("utf-8")) == []


@pytest.mark.parametrize(
    ("right", "wrong"),
    [
        ("scripts/test.py", "scripts/tests.py"),
        ("matrix.python }}", "matrix.pithon }}"),
        ("    timeout-minutes: 90\n", ""),
        ("        run: python scripts/test.py\n", ""),
    ],
)
def test_a_fault_is_seen(right: str, wrong: str) -> None:
    text = WORKFLOWS[0].read_text("utf-8")
    assert text.count(right)
    assert faults(text.replace(right, wrong, 1))


def test_the_tests_run_on_every_python_and_system_that_is_promised() -> None:
    every = [
        one for file in WORKFLOWS for one in jobs(file.read_text("utf-8")).values()
    ]
    ran = {str(step.get("run", "")) for one in every for step in one["steps"]}
    assert {
        word for word in JUDGED_BY if any(word in line for line in ran)
    } == JUDGED_BY
    (tests,) = (
        one
        for one in every
        if any("scripts/test.py" in step.get("run", "") for step in one["steps"])
    )
    matrix = tests["strategy"]["matrix"]
    assert set(matrix["python"]) == promised()
    assert set(matrix["system"]) == SYSTEMS
    (wheel,) = (
        one
        for one in every
        if any("scripts/wheel.py" in step.get("run", "") for step in one["steps"])
    )
    assert set(wheel["strategy"]["matrix"]["system"]) == SYSTEMS
