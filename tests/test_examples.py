"""Every example of the gallery runs, draws and says that its numbers are invented."""

from __future__ import annotations

import runpy
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

import geom

EXAMPLES = Path(__file__).resolve().parents[1] / "docs" / "examples"
SCRIPTS = sorted(EXAMPLES.glob("*.py"))


@pytest.fixture(scope="module", autouse=True)
def surveyed_once() -> Any:
    """Several examples survey the same sheet: what is asked again is given again."""
    patch = pytest.MonkeyPatch()
    for name in ("reconstruct", "assess"):
        patch.setattr(geom, name, remembered(getattr(geom, name)))
    patch.setattr(geom, "load_design", remembered(geom.load_design))
    patch.setattr(geom, "load_readings", remembered(geom.load_readings))
    yield
    patch.undo()


def remembered(work: Callable[..., Any]) -> Callable[..., Any]:
    """A function that gives the same answer to the very same objects, or file of scans.

    What it was asked is kept with the answer, so no two objects share an identity.
    """
    answers: dict[object, tuple[object, Any]] = {}

    def asked(*subjects: Any, **told: Any) -> Any:
        lasting = [s for s in subjects if not (isinstance(s, Path) and s.suffix != "")]
        paths = [s for s in subjects if isinstance(s, Path)]
        if any("scans" not in path.parts for path in paths):
            return work(*subjects, **told)
        key = (*map(id, lasting), *paths, *((k, repr(v)) for k, v in told.items()))
        if key not in answers:
            answers[key] = (subjects, work(*subjects, **told))
        return answers[key][1]

    return asked


@pytest.mark.parametrize("script", SCRIPTS, ids=lambda script: script.stem)
def test_an_example_runs_and_leaves_a_picture(
    script: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from matplotlib.figure import Figure

    monkeypatch.chdir(tmp_path)
    names = runpy.run_path(str(script))
    figures = [value for value in names.values() if isinstance(value, Figure)]
    assert figures
    for figure in figures:
        figure.savefig(tmp_path / "picture.png", dpi=40)
        assert drawn_in(figure) > 0
    assert {file.name for file in tmp_path.iterdir()} == {"picture.png"}


def drawn_in(figure: Any) -> int:
    """How many marks, lines and patches of its own a figure holds."""
    return sum(
        len(axis.lines) + len(axis.collections) + len(axis.patches)
        for axis in figure.axes
    )


def test_there_are_ten_and_more_and_most_are_not_of_the_demo_furnace() -> None:
    assert len(SCRIPTS) >= 10
    demo = [s for s in SCRIPTS if "cupola-2" in s.read_text("utf-8")]
    assert len(demo) <= len(SCRIPTS) / 3


@pytest.mark.parametrize("script", SCRIPTS, ids=lambda script: script.stem)
def test_an_example_says_that_it_is_invented_and_uses_the_face_alone(
    script: Path,
) -> None:
    text = script.read_text("utf-8")
    assert "invented" in text.split('"""')[1]
    assert "import geom\n" in text
    assert "from geom" not in text
    assert "import geom." not in text
