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
from geom.views.window import FIELDS, open_window

design = geom.load_design(sys.argv[1])
window = open_window(Path(sys.argv[2]), design, off_screen=True)
told = {"said": window.describe((0.0, -2000.0, 1000.0))}
for _, field, _ in FIELDS:
    window.colour_by(field)
    told[field] = window.plotter.screenshot(None, window_size=(500, 400)).mean()
window.open_towards(3.0)
told["open"] = window.plotter.screenshot(None, window_size=(500, 400)).mean()
window.cut_above(800.0)
told["cut"] = window.plotter.screenshot(None, window_size=(500, 400)).mean()
print(json.dumps(told, default=float))
"""


@pytest.fixture
def folder(demo_survey):
    return demo_survey


def python(*words):
    quiet = {k: v for k, v in os.environ.items() if k != "DISPLAY"}
    return subprocess.run(
        [sys.executable, *words], env=quiet, capture_output=True, text=True,
        check=True, timeout=120,
    )  # fmt: skip


def test_fields_sections_and_picking_show(folder):
    told = json.loads(python("-c", ASK, str(DESIGN), str(folder)).stdout)
    assert told["said"].startswith("3 o'clock (9")
    assert "95 %" in told["said"]
    fields = ["cutback", "lining_left", "cutback_sd", "p_brick", "action"]
    assert len({round(told[name], 2) for name in fields}) == len(fields)
    assert abs(told["open"] - told["action"]) > 0.3
    assert abs(told["cut"] - told["open"]) > 0.3


def test_the_picture_is_not_blank_without_a_screen(folder, tmp_path):
    out = tmp_path / "wall.png"
    python("-m", "geom.cli", "view", str(DESIGN), str(folder), "--picture", str(out))
    points = np.asarray(Image.open(out).convert("RGB"), dtype=int)
    assert points.shape[:2] == (1000, 1400)
    warm = (points[..., 0] - points[..., 2] > 60).mean()
    assert warm > 0.02  # orange and red: wall that is cut back
    assert len(np.unique(points.reshape(-1, 3), axis=0)) > 500


def test_without_a_screen_the_window_says_what_to_do(folder, monkeypatch, capsys):
    monkeypatch.delenv("DISPLAY", raising=False)
    monkeypatch.delenv("WAYLAND_DISPLAY", raising=False)
    assert main(["view", str(DESIGN), str(folder)]) == 2
    assert "--picture" in capsys.readouterr().err
