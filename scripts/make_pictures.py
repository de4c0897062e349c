"""Draw the pictures of README.md and docs/ from the demo: ``.venv/bin/python`` runs it.

Everything drawn is the invented furnace of scans/; the same input gives the same bytes.
"""

from __future__ import annotations

import io
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

import geom
from geom.design import Design, Profile
from geom.readings import RodReadings
from geom.units import Float

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from PIL.Image import Image

ROOT = Path(__file__).resolve().parents[1]
SCANS = ROOT / "scans"
PICTURES = ROOT / "docs" / "pictures"
BLUE, ORANGE, GREY = "#2b6ca3", "#c4541a", "#77757f"


def main() -> None:
    PICTURES.mkdir(parents=True, exist_ok=True)
    sheet, scan = SCANS / "cupola-2-heat-41.csv", SCANS / "cupola-2-heat-41-scan.laz"
    (PICTURES / "map.png").write_bytes(demo_map(sheet))
    told = {
        "cloud_unit": "mm",
        "scanner": (0, 0, 0),
        "targets": SCANS / "cupola-2-heat-41-targets.csv",
    }
    (PICTURES / "scan-map.png").write_bytes(demo_map(scan, **told))
    (PICTURES / "learning.png").write_bytes(learning())


def demo_map(path: Path, **told: Any) -> bytes:
    """The map of a demo survey, small enough for a page."""
    from PIL.Image import Resampling
    from PIL.Image import open as opened

    from geom.views.charts.survey_maps import map_png

    design = geom.load_design(SCANS / "cupola-2.toml")
    readings = geom.load_readings(path, design, **told)
    surface = geom.reconstruct(readings, design)
    findings = geom.assess(surface, design, title="Demo: invented furnace, heat 41")
    picture = opened(io.BytesIO(map_png(readings, surface, findings)))
    picture = picture.convert("RGB").resize(
        (900, round(900 * picture.height / picture.width)), Resampling.LANCZOS
    )
    return png(picture.quantize(256))


def png(picture: Image) -> bytes:
    written = io.BytesIO()
    picture.save(written, format="PNG", optimize=True)
    return written.getvalue()


def learning() -> bytes:
    """A ring of the wall with no reading of its own, with one, with ten."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(9.0, 9.5), dpi=100, layout="constrained")
    FigureCanvasAgg(figure)
    axes = figure.subplots(3, 1, sharex=True, sharey=True)
    counts = (0, 1, 10)
    for axis, count in zip(axes, counts, strict=True):
        draw_ring(axis, count)
    axes[-1].set_xlabel("azimuth, degrees", fontsize=13)
    written = io.BytesIO()
    figure.savefig(written, format="png", metadata={"Software": None})
    return written.getvalue()


def draw_ring(axis: Axes, count: int) -> None:
    design = invented_design()
    azimuth = np.arange(0.0, 361.0, 1.0)
    level = np.array([700.0])
    readings = invented_readings(count)
    surface = geom.reconstruct(readings, design, spacing=100.0, columns=36)
    mean, sd = surface.posterior.on_grid(level, azimuth)
    mean, sd = mean[0], sd[0]
    here = readings.height == level[0]
    axis.fill_between(
        azimuth, mean - 1.96 * sd, mean + 1.96 * sd, color=BLUE, alpha=0.22, lw=0,
        label="95 % interval",
    )  # fmt: skip
    axis.plot(azimuth, mean, color=BLUE, lw=2.2, label="best estimate")
    axis.plot(
        azimuth, truth(azimuth, level), color=GREY, lw=1.6, ls="--", label="true wall"
    )
    axis.plot(
        readings.azimuth[here], readings.value[here] - 450.0, "o", color=ORANGE, ms=8,
        label="readings in this ring",
    )  # fmt: skip
    axis.axhline(31.75, color="black", lw=1.2, ls=":")
    axis.annotate("brick threshold", (2, 25), fontsize=12)
    words = {0: "none"}.get(count, f"{count}") + " in this ring, 32 above and below"
    axis.set_title(f"Readings: {words}", fontsize=14, loc="left")
    axis.set_ylabel("cut-back, mm", fontsize=13)
    axis.tick_params(labelsize=12)
    if count == 0:
        axis.legend(fontsize=11, ncols=2, loc="upper right")


def invented_design() -> Design:
    wall = Profile(np.array([0.0, 1500.0]), np.array([450.0, 450.0]))
    return Design("invented", "mm", "tap hole", "clockwise", "bottom plate", wall)


def truth(azimuth: Float, height: Float) -> Float:
    burn = 36.0 * np.exp(-(((height - 700.0) / 320.0) ** 2))
    return burn * (1.0 + 0.3 * np.cos(np.deg2rad(azimuth - 60.0))) + 4.0 * np.sin(
        np.deg2rad(4.0 * azimuth)
    )


def invented_readings(count: int) -> RodReadings:
    """Eight readings at four other heights, and ``count`` in the ring at 700 mm."""
    own = np.arange(count) * 360.0 / max(count, 1)
    azimuth = np.concatenate([np.tile(np.arange(8) * 45.0, 4), own])
    height = np.concatenate(
        [np.repeat([250.0, 475.0, 925.0, 1150.0], 8), 0 * own + 700]
    )
    error = np.random.default_rng(3).normal(0.0, 1.5, azimuth.size)
    n = azimuth.size
    return RodReadings(
        kind=("radius",) * n,
        azimuth=azimuth,
        height=height,
        value=450.0 + truth(azimuth, height) + error,
        sd=np.full(n, 1.5),
        step=np.full(n, 0.1),
        place=tuple(f"row {k}" for k in range(n)),
        note=("",) * n,
    )


if __name__ == "__main__":
    main()
