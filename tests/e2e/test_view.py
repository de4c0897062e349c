"""The window, drawn into memory by a process of its own: graphics may crash."""

import json
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from geom.cli import main

SCANS = Path(__file__).parents[2] / "scans"
DESIGN = SCANS / "cupola-2.toml"
ASK = """
import json, sys
from pathlib import Path
import geom
from geom.cli import main
from geom.views.window import FIELDS, open_window

assert main(["view", *sys.argv[1:3], "--out", sys.argv[3]]) == 0
design = geom.load_design(sys.argv[1])
window = open_window(sys.argv[2], design, off_screen=True)
told = {"said": window.describe((0.0, -2000.0, 1000.0))}
for _, field, _ in FIELDS:
    window.colour_by(field)
    told[field] = window.plotter.screenshot(None, window_size=(500, 400)).mean()
window.open_towards(3.0)
told["open"] = window.plotter.screenshot(None, window_size=(500, 400)).mean()
window.cut_above(31.5)
told["cut"] = window.plotter.screenshot(None, window_size=(500, 400)).mean()
told["bars"] = {}
for _, field, _ in FIELDS:
    window.colour_by(field)
    (told["bars"][field],) = window.plotter.scalar_bars.keys()
window.colour_by("cutback")
told["limits"] = window.plotter.actors["wall"].mapper.scalar_range
told["clock"] = [
    name for name in window.plotter.actors if name.endswith("labels")
]
print(json.dumps(told, default=float))
"""


@pytest.fixture(scope="module")
def drawn(demo_survey, tmp_path_factory):
    """What one process without a screen told of the window, and its picture."""
    picture = tmp_path_factory.mktemp("view") / "wall.png"
    quiet = {k: v for k, v in os.environ.items() if k != "DISPLAY"}
    done = subprocess.run(
        [sys.executable, "-c", ASK, str(DESIGN), str(demo_survey), str(picture)],
        env=quiet, capture_output=True, text=True, check=True, timeout=120,
    )  # fmt: skip
    wrote, found = done.stdout.splitlines()
    assert wrote == f"Wrote {picture}"
    assert done.stderr == ""  # graphics speak of screens that are not needed
    return json.loads(found), picture


def test_fields_sections_and_picking_show(drawn):
    told, _ = drawn
    assert told["said"].startswith("3 o'clock (9")
    assert "95 %" in told["said"]
    fields = ["cutback", "lining_left", "cutback_sd", "p_brick", "action"]
    assert len({round(told[name], 2) for name in fields}) == len(fields)
    assert abs(told["open"] - told["action"]) > 0.3
    assert abs(told["cut"] - told["open"]) > 0.3


def test_lengths_are_in_the_unit_of_the_shop(drawn):
    told, _ = drawn
    bars = {field: words.strip() for field, words in told["bars"].items()}
    assert bars["cutback"] == "cut-back, in"
    assert bars["lining_left"] == "lining left to the shell, in"
    assert bars["p_brick"] == "probability of brick"
    # The scale runs from a brick threshold proud to two back: 1 1/4 in by the drawing.
    assert told["limits"] == pytest.approx([-1.25, 2.5], abs=1e-6)
    assert told["clock"]


def test_the_picture_is_not_blank_without_a_screen(drawn):
    _, picture = drawn
    points = np.asarray(Image.open(picture).convert("RGB"), dtype=int)
    assert points.shape[:2] == (1000, 1400)
    warm = (points[..., 0] - points[..., 2] > 60).mean()
    assert warm > 0.02  # orange and red: wall that is cut back
    assert len(np.unique(points.reshape(-1, 3), axis=0)) > 500


def test_without_a_screen_the_window_says_what_to_do(demo_survey, monkeypatch, capsys):
    monkeypatch.delenv("DISPLAY", raising=False)
    monkeypatch.delenv("WAYLAND_DISPLAY", raising=False)
    assert main(["view", str(DESIGN), str(demo_survey)]) == 2
    assert "--out" in capsys.readouterr().err
