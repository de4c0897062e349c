"""A window to turn the wall in, for engineers: section planes, picking, every field."""

from __future__ import annotations

import os
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from geom.atomic import atomic_write
from geom.compare.findings import ACTIONS
from geom.design import Design
from geom.errors import InputError
from geom.frame import clock_face
from geom.quantity import K95
from geom.readings.surveys import load_survey_before
from geom.units import MM_PER, Float, from_mm, say_both, to_mm
from geom.views.charts import colours
from geom.views.say import plain

if TYPE_CHECKING:
    import pyvista as pv

#: Scales that end below this are numbered in hundredths.
_COARSE = 10.0
#: Key, name of the field in the file, and what it is called.
FIELDS: tuple[tuple[str, str, str], ...] = (
    ("c", "cutback", "cut-back"),
    ("l", "lining_left", "lining left to the shell"),
    ("u", "cutback_sd", "standard uncertainty"),
    ("b", "p_brick", "probability of brick"),
    ("a", "action", "what to do"),
)
#: Fields that are lengths: shown in the design's unit.
_LENGTHS = {"cutback", "lining_left", "cutback_sd"}
#: Hours that are written round the top of the wall, and how far outside of it, mm.
_HOURS, _OUTSIDE = (12, 3, 6, 9), 90.0
_HELP = "c cut-back   l lining left   u uncertainty   b brick   a action   r turn back"


@dataclass
class Window:
    """The window of one survey; sections and field change while it is open.

    Attributes
    ----------
    shape : PolyData
        The mesh of the survey, with ``lining_left`` where the shell is drawn.
    field : str
        By which it is coloured.
    picked : str
        What the window says of the point picked last.
    """

    design: Design
    shape: pv.PolyData
    plotter: Any
    field: str = "cutback"
    picked: str = ""

    def colour_by(self, field: str) -> None:
        """Colour the wall by another field, on its fixed scale."""
        if field not in self.shape.point_data:
            return
        self.field = field
        words = next(name for _, key, name in FIELDS if key == field)
        table, limits = _scale(field, self.design)
        unit = self.design.length_unit
        if field in _LENGTHS:
            words = f"{words}, {unit}"
            limits = from_mm(limits[0], unit), from_mm(limits[1], unit)
            shown = f"{field}, {unit}"
            mm = np.asarray(self.shape.point_data[field])
            self.shape.point_data[shown] = mm / np.float32(MM_PER[unit])
        else:
            shown = field
        for bar in list(self.plotter.scalar_bars.keys()):
            self.plotter.remove_scalar_bar(bar)
        self.plotter.add_mesh(
            self.shape,
            name="wall",
            scalars=shown,
            cmap=table,
            clim=limits,
            lighting=False,
            culling="back",  # faces look to the axis: the near side is left off
            scalar_bar_args={
                "title": f"{words}\n",
                "vertical": True,
                "color": "black",
                "n_labels": 7,
                "fmt": "%.0f" if limits[1] > _COARSE else "%.2f",
            },
            reset_camera=False,
        )
        self._cut()

    def cut_above(self, height: float) -> None:
        """Leave off the wall above a height, in the design's unit."""
        self._top = to_mm(float(height), self.design.length_unit)
        self._cut()

    def open_towards(self, hour: float) -> None:
        """Leave off the half of the wall about an hour of the clock; 0: none."""
        self._hour = float(hour)
        self._cut()

    def describe(self, point: Float) -> str:
        """Say what is known of the wall nearest to a point, and show it."""
        place = int(self.shape.find_closest_point(point))
        self.picked = _description(self.shape, place, self.design)
        self.plotter.add_text(
            self.picked, position="upper_left", font_size=12, color="black", name="said"
        )
        return self.picked

    def __post_init__(self) -> None:
        self._top = float(self.shape.bounds[5]) + 1.0
        self._hour = 0.0

    def _cut(self) -> None:
        from pyvista import _vtk

        mapper = self.plotter.actors["wall"].mapper
        mapper.RemoveAllClippingPlanes()
        sections = [((0.0, 0.0, self._top), (0.0, 0.0, -1.0))]
        if self._hour > 0.0:
            # The clock runs clockwise seen from above, 12 at +x.
            turned = np.deg2rad(30.0 * self._hour)
            normal = (-float(np.cos(turned)), float(np.sin(turned)), 0.0)
            sections.append(((0.0, 0.0, 0.0), normal))
        for origin, normal in sections:
            plane = _vtk.vtkPlane()
            plane.SetOrigin(*origin)
            plane.SetNormal(*normal)
            mapper.AddClippingPlane(plane)


def open_window(
    folder: Path | str, design: Design, *, off_screen: bool = False
) -> Window:
    """Make the window of a survey; ``show`` its plotter to open it.

    Parameters
    ----------
    folder : path
        Output folder of ``daubline survey``.
    design : Design
        That it was compared with.
    off_screen : bool
        Draw into memory instead of onto a screen.

    Raises
    ------
    InputError
        If the folder holds no survey of this lining, or no mesh.
    """
    import pyvista as pv

    folder = Path(folder)
    before = load_survey_before(folder, design)
    path = folder / "lining.vtp"
    if not path.is_file():
        raise InputError(f"there is no {path.name} in it", file=folder)
    shape = _read_mesh(path, design)
    plotter: Any = pv.Plotter(off_screen=off_screen, title=plain(before.title))
    plotter.set_background("#dcdad3")
    window = Window(design, shape, plotter)
    window.colour_by("cutback")
    _add_controls(window)
    _add_clock(window)
    _reset_camera(window)
    return window


def draw_window(folder: Path | str, design: Design, path: Path | str) -> None:
    """What the window shows at first, as a PNG; needs no screen."""
    import io

    from vtkmodules.vtkCommonCore import vtkLogger

    # Without a screen it tries one in vain, and says so in words that help nobody.
    vtkLogger.SetStderrVerbosity(vtkLogger.VERBOSITY_ERROR)
    window = open_window(folder, design, off_screen=True)
    out = io.BytesIO()
    window.plotter.screenshot(out, window_size=(1400, 1000))
    window.plotter.close()
    atomic_write(Path(path), out.getvalue())


def refuse_no_screen() -> None:
    """Say so where there is no screen to open a window on.

    Raises
    ------
    InputError
    """
    if sys.platform.startswith("linux") and not (
        os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY")
    ):
        raise InputError(
            "there is no screen to open a window on",
            cure="Open report.html instead, or name a file with --out",
        )


def _read_mesh(path: Path, design: Design) -> pv.PolyData:
    import pyvista as pv

    shape: Any = pv.read(path)
    missing = {"cutback", "cutback_sd", "p_brick", "action"} - set(shape.point_data)
    if missing:
        raise InputError(f"has no field {min(missing)}", file=path)
    if design.shell_radius is not None:
        left = design.shell_radius - np.asarray(shape.point_data["radius"])
        shape.point_data["lining_left"] = left.astype(np.float32)
    read: pv.PolyData = shape
    return read


def _add_controls(window: Window) -> None:
    """Keys, sliders and picking."""
    plotter = window.plotter
    for key, field, _ in FIELDS:
        plotter.add_key_event(key, lambda field=field: window.colour_by(field))
    plotter.add_key_event("r", lambda: _reset_camera(window))
    unit = window.design.length_unit
    low, high = (from_mm(z, unit) for z in window.shape.bounds[4:6])
    look = {
        "color": "#2d6a9f",
        "interaction_event": "always",
        "fmt": "%.0f" if high > _COARSE else "%.2f",
        "title_height": 0.02,
        "slider_width": 0.02,
        "tube_width": 0.004,
    }
    plotter.add_slider_widget(
        window.cut_above, (low, high + from_mm(1.0, unit)),
        value=high + from_mm(1.0, unit), title=f"cut off above, {unit}",
        pointa=(0.03, 0.08), pointb=(0.30, 0.08), **look,
    )  # fmt: skip
    plotter.add_slider_widget(
        window.open_towards, (0.0, 12.0), value=0.0,
        title="open towards hour (0: no)", pointa=(0.36, 0.08),
        pointb=(0.63, 0.08), **look,
    )  # fmt: skip
    plotter.enable_surface_point_picking(
        callback=window.describe,
        left_clicking=True,
        show_message=False,
        show_point=True,
    )
    plotter.add_text(_HELP, position="upper_right", font_size=9, color="#55535c")


def _add_clock(window: Window) -> None:
    """Hours of the clock laid on the furnace, round the top of the wall."""
    design, top = window.design, window.shape.bounds[5]
    radius = float(window.shape.bounds[1]) + _OUTSIDE
    turned = np.deg2rad(30.0 * np.array(_HOURS))
    # The clock runs clockwise seen from above, 12 at +x.
    points = np.column_stack(
        (radius * np.cos(turned), -radius * np.sin(turned), np.full(len(_HOURS), top))
    )
    zero = plain(design.azimuth_zero, most=24)
    labels = [f"{hour}: {zero}" if hour == 12 else str(hour) for hour in _HOURS]
    window.plotter.add_point_labels(
        points, labels, font_size=18, text_color="#1c1c20", shape=None,
        show_points=False, always_visible=True, bold=True,
    )  # fmt: skip


def _reset_camera(window: Window) -> None:
    """From the side of azimuth 180, a little above."""
    low, high = window.shape.bounds[4], window.shape.bounds[5]
    middle = 0.5 * (low + high)
    far = 2.2 * max(high - low, 2.0 * window.shape.bounds[1])
    window.plotter.camera_position = [
        (-far, 0.0, middle + 0.5 * far),
        (0.0, 0.0, middle),
        (0.0, 0.0, 1.0),
    ]


def _scale(field: str, design: Design) -> tuple[Any, tuple[float, float]]:
    """Colours and fixed limits of a field."""
    from matplotlib.colors import ListedColormap

    limit = design.repair.brick_threshold
    low, high = colours.cutback_limits(limit)
    tables: dict[str, tuple[Float, tuple[float, float]]] = {
        "cutback": (colours.cutback_table(), (low, high)),
        "cutback_sd": (colours.uncertainty_table(), (0.0, 0.5 * limit)),
        "p_brick": (colours.probability_table(), (0.0, 1.0)),
    }
    if design.shell_radius is not None:
        whole = design.shell_radius - design.profile.mean_radius
        tables["lining_left"] = (colours.remaining_table(), (0.0, max(whole, 1.0)))
    if field in tables:
        table, limits = tables[field]
        return ListedColormap(table / 255.0), limits
    fills = [
        colours.OPENING,
        *(colours.ACTION_STYLES[action].fill for action in ACTIONS),
    ]
    return ListedColormap(fills), (-1.5, len(ACTIONS) - 0.5)


def _description(shape: pv.PolyData, place: int, design: Design) -> str:
    """What is known at one vertex."""
    z = shape.points[place][2]
    at = {
        name: float(shape.point_data[name][place])
        for name in ("cutback", "cutback_sd", "p_brick", "azimuth", "action")
    }
    unit, depth = design.length_unit, at["cutback"]
    half = K95 * at["cutback_sd"]
    action = int(at["action"])
    call = "no call" if action < 0 else colours.ACTION_STYLES[ACTIONS[action]].word
    clock = clock_face(at["azimuth"], design.azimuth_sense)
    return "\n".join(
        (
            f"{clock} ({at['azimuth']:.0f} deg), {say_both(float(z), unit)} up",
            f"cut back {say_both(depth, unit)}",
            f"95 %: {say_both(depth - half, unit)} to {say_both(depth + half, unit)}",
            f"brick {100.0 * at['p_brick']:.0f} in 100; {call}",
        )
    )
