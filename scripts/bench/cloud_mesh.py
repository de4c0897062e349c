"""Signed distance from a mesh of the drawing, asked of general libraries.

It is not the question of `cloud_peers` but the first half of it, as mesh libraries put
it: how far each point lies off the drawing.  No cells, no medians.
"""

from __future__ import annotations

import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
from cloud_distance import MISSING
from cloud_wall import Wall

from geom.units import Float, Int

#: Points that distances are asked for at most, and the mesh's sectors.
ASKED, _SECTORS = 200_000, 360


@dataclass(frozen=True)
class Distances:
    """How a library fared with distances from the mesh of the drawing.

    Attributes
    ----------
    failure : str
        Why there is nothing else; empty if all is well.
    points : int
    seconds : float
    gap : float
        Median of the difference from cut-back along the radius, no sign, mm.
    """

    failure: str
    points: int = 0
    seconds: float = np.nan
    gap: float = np.nan


def revolved(wall: Wall) -> tuple[Float, Int]:
    """The drawing's face as a closed mesh in the scan's frame, mm.

    Returns
    -------
    vertices : array (n, 3), mm
    triangles : int array (m, 3)
        Seen from outside, corners run counterclockwise.
    """
    profile = wall.design.profile
    azimuth = np.arange(_SECTORS) * 360.0 / _SECTORS
    a, r = np.meshgrid(azimuth, profile.radius)
    h = np.broadcast_to(profile.height[:, None], a.shape)
    ring = wall.pose.from_wall(a.ravel(), r.ravel(), h.ravel())
    ends = wall.pose.from_wall(np.zeros(2), np.zeros(2), profile.height[[0, -1]])
    one = np.arange(_SECTORS)
    on = (one + 1) % _SECTORS
    faces = []
    for k in range(profile.height.size - 1):
        low, high = k * _SECTORS, (k + 1) * _SECTORS
        faces.append(np.stack([low + one, low + on, high + on], axis=1))
        faces.append(np.stack([low + one, high + on, high + one], axis=1))
    last = (profile.height.size - 1) * _SECTORS
    foot, head = np.full_like(one, len(ring)), np.full_like(one, len(ring) + 1)
    faces.append(np.stack([foot, on, one], axis=1))
    faces.append(np.stack([head, last + one, last + on], axis=1))
    triangles = np.concatenate(faces)
    if wall.pose.clockwise:
        triangles = triangles[:, ::-1]
    return np.concatenate([ring, ends]), triangles


def distances(
    wall: Wall, which: str, limit: float, python: str | None = None
) -> Distances:
    """Ask a library for signed distances from the mesh of the drawing.

    Parameters
    ----------
    wall : Wall
    which : str
        Of `cloud_distance.PEERS`.
    limit : float, s
        About; the portion begun is finished.
    python : str, optional
        A Python to ask where this one has not got the library.
    """
    points = next(wall.runs(ASKED))
    vertices, triangles = revolved(wall)
    script = Path(__file__).with_name("cloud_distance.py")
    with TemporaryDirectory() as name:
        folder = Path(name)
        np.savez(folder / "mesh.npz", vertices=vertices, triangles=triangles)
        np.save(folder / "points.npy", points)
        for program in filter(None, (sys.executable, python)):
            words = [program, str(script), which, name, str(limit)]
            done = subprocess.run(words, capture_output=True, text=True, check=False)
            if done.returncode != MISSING:
                break
        if done.returncode:
            lines = done.stderr.strip().splitlines() or ["no word why"]
            missing = done.returncode == MISSING
            return Distances("not installed" if missing else f"failed: {lines[-1]}")
        found = np.load(folder / "distance.npy")
    count, seconds = done.stdout.split()[-2:]
    _, radius, height = wall.pose.to_wall(points[: found.size])
    cutback = radius - wall.design.profile.radius_at(height)
    gap = float(np.nanmedian(np.abs(found - cutback)))
    return Distances("", int(count), float(seconds), gap)
