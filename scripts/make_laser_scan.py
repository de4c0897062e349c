"""Write the demo's laser scan: ``python scripts/make_laser_scan.py [folder]``.

The wall of the rod survey after heat 41 (`make_scans`), seen by a scanner that stands
off the axis and not level, as if set down on the sand bottom.  A hoist chain and a
ladder hang in front of the wall, the tripod hides the foot, dust floats in between.
All of it is invented.  Seeded; needs the package (run it with the Python of ``.venv``),
for the frame and for LAZ.
"""

from __future__ import annotations

import sys
from pathlib import Path

import make_scans as demo
import numpy as np

import geom
from geom.datum import Pose
from geom.units import Float

SEED = 4141
INCH = demo.INCH
NAME = "cupola-2-heat-41-scan.laz"
TARGETS = "cupola-2-heat-41-targets.csv"
#: Where the scanner stands on the wall's axes: azimuth, mm from the axis, height.
STAND = (70.0, 65.0, 1060.0)
#: The scan's frame: azimuth that its x points at, tilts about x and y, degrees.
AZIMUTH_OF_X, TILT_X, TILT_Y = 23.0, 0.6, -1.1
#: Degrees between rays, lowest and highest ray, scatter along a ray in mm.
STEP, LOWEST, HIGHEST, NOISE = 0.3, -62.0, 80.0, 1.5
#: Uprights in front of the wall: azimuth, mm from the axis, thickness, lowest point.
CHAIN = (205.0, 250.0, 26.0, 700.0)
LADDER = ((318.0, 330.0, 42.0, 0.0), (352.0, 330.0, 42.0, 0.0))
DUST = 0.03
_MARCH, _HALVINGS = 12.0, 14


def radius_table() -> tuple[Float, Float]:
    """True radius (mm) each degree and quarter inch, and the heights (mm)."""
    height = np.arange(0.0, 96.01, 0.25)
    table = [
        [demo.design_radius(h) + demo.lost(float(a), float(h)) for a in range(361)]
        for h in height
    ]
    return np.array(table) * INCH, height * INCH


class Wall:
    """The true wall."""

    def __init__(self) -> None:
        self._table, self._height = radius_table()

    def radius(self, azimuth: Float, height: Float) -> Float:
        """Radius at places, mm, straight between the table's."""
        row = np.clip(height / (0.25 * INCH), 0.0, self._height.size - 1.001)
        column = np.mod(azimuth, 360.0)
        i, j = row.astype(int), column.astype(int)
        u, v = row - i, column - j
        low = self._table[i, j] * (1 - v) + self._table[i, j + 1] * v
        high = self._table[i + 1, j] * (1 - v) + self._table[i + 1, j + 1] * v
        return np.asarray(low * (1 - u) + high * u)

    def met(self, start: Float, way: Float) -> Float:
        """How far rays go until they are behind the wall or under the bottom, mm."""
        near = np.zeros(len(way))
        going = np.arange(len(way))
        for k in range(1, int(3200 / _MARCH)):
            inside = ~self._past(start + way[going] * k * _MARCH)
            near[going[inside]] = k * _MARCH
            going = going[inside]
        far = near + _MARCH
        for _ in range(_HALVINGS):
            middle = 0.5 * (near + far)
            past = self._past(start + way * middle[:, None])
            near, far = np.where(past, near, middle), np.where(past, middle, far)
        return far

    def _past(self, place: Float) -> np.ndarray:
        radius = np.hypot(place[:, 0], place[:, 1])
        azimuth = np.rad2deg(np.arctan2(place[:, 1], place[:, 0]))
        return (radius > self.radius(azimuth, place[:, 2])) | (place[:, 2] < 0.0)


def upright_met(start: Float, way: Float, one: tuple[float, ...]) -> Float:
    """How far rays go to an upright rod; infinite where they miss it."""
    azimuth, out, thick, low = one
    a = np.deg2rad(azimuth)
    toward = out * np.array([np.cos(a), np.sin(a)]) - start[:2]
    flat = np.hypot(way[:, 0], way[:, 1])
    along = (way[:, :2] @ toward) / flat
    beside = np.abs(way[:, 0] * toward[1] - way[:, 1] * toward[0]) / flat
    far = (along - np.sqrt(np.maximum((0.5 * thick) ** 2 - beside**2, 0.0))) / flat
    high = start[2] + far * way[:, 2]
    return np.where((beside < 0.5 * thick) & (along > 0) & (high > low), far, np.inf)


def normals(rng: np.random.Generator, count: int) -> Float:
    """Normal numbers by Box and Muller, from uniform ones alone."""
    u, v = 1.0 - rng.random(count), rng.random(count)
    return np.asarray(np.sqrt(-2.0 * np.log(u)) * np.cos(2.0 * np.pi * v))


def true_pose(design: geom.Design) -> Pose:
    """The pose that puts the scanner into the scan's origin."""
    level = Pose.nominal(design, azimuth_of_x=AZIMUTH_OF_X)
    leaning = level.at(np.array([0.0, 0.0, TILT_X, TILT_Y]))
    azimuth, out, height = (np.array([value]) for value in STAND)
    x, y, z = leaning.from_wall(azimuth, out, height)[0]
    level = Pose.nominal(design, azimuth_of_x=AZIMUTH_OF_X, z_offset=-float(z))
    return level.at(np.array([-x, -y, TILT_X, TILT_Y]))


def scan(design: geom.Design, pose: Pose) -> Float:
    """The points in the scan's frame, mm, in the order of the scanner's head."""
    rng = np.random.Generator(np.random.PCG64(SEED))
    a, out, height = np.deg2rad(STAND[0]), STAND[1], STAND[2]
    start = np.array([out * np.cos(a), out * np.sin(a), height])
    turned, raised = np.meshgrid(
        np.arange(0.0, 360.0, STEP), np.arange(LOWEST, HIGHEST, STEP), indexing="ij"
    )
    turned, raised = np.deg2rad(turned.ravel()), np.deg2rad(raised.ravel())
    flat = np.cos(raised)
    way = np.stack([flat * np.cos(turned), flat * np.sin(turned), np.sin(raised)], 1)
    far = Wall().met(start, way)
    hangs = np.min([upright_met(start, way, one) for one in (CHAIN, *LADDER)], axis=0)
    far = np.minimum(far, hangs)
    dusty = rng.random(far.size) < DUST
    far = np.where(dusty, far * rng.random(far.size), far)
    far = far + NOISE * normals(rng, far.size)
    place = start + way * far[:, None]
    azimuth = np.mod(np.rad2deg(np.arctan2(place[:, 1], place[:, 0])), 360.0)
    radius = np.hypot(place[:, 0], place[:, 1])
    drawn = design.profile.radius_at(np.clip(place[:, 2], 0, 96 * INCH))
    kept = (place[:, 2] < 96 * INCH - 1.0) & (far > 40.0)
    for hole in design.openings:
        inside = hole.holds(azimuth, place[:, 2], design.radius_at_opening(hole))
        kept &= ~(inside & (radius > drawn - 40.0))
    return pose.from_wall(azimuth[kept], radius[kept], place[kept, 2])


def target_sheet(design: geom.Design, pose: Pose) -> str:
    """Where the scanner saw the targets."""
    wall = Wall()
    lines = [
        f"# {demo.NAME}: targets as the scanner saw them, after heat 41",
        "name,x_mm,y_mm,z_mm",
    ]
    for target in design.targets:
        at, up = np.array([target.azimuth]), np.array([target.height])
        x, y, z = pose.from_wall(at, wall.radius(at, up), up)[0]
        lines.append(f"{target.name},{x:.1f},{y:.1f},{z:.1f}")
    return "\n".join(lines) + "\n"


def write_laz(path: Path, points: Float) -> None:
    """Write points to half a millimetre."""
    import laspy

    header = laspy.LasHeader(point_format=0, version="1.2")
    header.scales, header.offsets = np.full(3, 0.5), np.zeros(3)
    header.creation_date = None
    las = laspy.LasData(header)
    las.x, las.y, las.z = points.T
    las.write(path)


def main(folder: Path) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    design = geom.load_design(demo.FOLDER / "cupola-2.toml")
    pose = true_pose(design)
    write_laz(folder / NAME, scan(design, pose))
    (folder / TARGETS).write_text(target_sheet(design, pose), "utf-8", newline="\n")
    print(folder / NAME, folder / TARGETS, sep="\n")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else demo.FOLDER)
