"""Signed distance of points from a mesh by general libraries, alone in a process.

``python cloud_distance.py WHICH FOLDER SECONDS`` reads ``mesh.npz`` (vertices,
triangles) and ``points.npy`` from the folder, asks for the distance of portion after
portion until the points or the seconds are used up, writes ``distance.npy`` (positive
outside) and prints how many points took how long.  It needs nothing of this repository,
so that a Python with other libraries in it can run it; without the library it leaves
with 3.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Distance = Callable[[Array], Array]

MISSING = 3


def by_trimesh(vertices: Array, triangles: NDArray[np.int64]) -> tuple[Distance, int]:
    """Function `trimesh.proximity.signed_distance`."""
    import rtree  # noqa: F401 - trimesh asks for it when it is too late to say so
    import trimesh

    mesh = trimesh.Trimesh(vertices, triangles, process=False)
    return lambda points: -trimesh.proximity.signed_distance(mesh, points), 1000


def by_vtk(vertices: Array, triangles: NDArray[np.int64]) -> tuple[Distance, int]:
    """Class ``vtkImplicitPolyDataDistance``, asked for a whole array at once."""
    from vtkmodules.util.numpy_support import numpy_to_vtk, vtk_to_numpy
    from vtkmodules.vtkCommonCore import vtkDoubleArray, vtkPoints
    from vtkmodules.vtkCommonDataModel import vtkCellArray, vtkPolyData
    from vtkmodules.vtkFiltersCore import vtkImplicitPolyDataDistance

    places, faces = vtkPoints(), vtkCellArray()
    places.SetData(numpy_to_vtk(vertices, deep=True))
    for triangle in triangles.tolist():
        faces.InsertNextCell(3, triangle)
    mesh = vtkPolyData()
    mesh.SetPoints(places)
    mesh.SetPolys(faces)
    query = vtkImplicitPolyDataDistance()
    query.SetInput(mesh)

    def distance(points: Array) -> Array:
        timed = vtkDoubleArray()
        query.FunctionValue(numpy_to_vtk(points), timed)
        return vtk_to_numpy(timed)

    return distance, 5000


def by_open3d(vertices: Array, triangles: NDArray[np.int64]) -> tuple[Distance, int]:
    """Method ``RaycastingScene.compute_signed_distance``, on all processors."""
    import open3d

    scene = open3d.t.geometry.RaycastingScene()
    scene.add_triangles(vertices.astype(np.float32), triangles.astype(np.uint32))

    def distance(points: Array) -> Array:
        query = open3d.core.Tensor(points.astype(np.float32))
        return scene.compute_signed_distance(query).numpy()

    return distance, 100_000


PEERS = {"trimesh": by_trimesh, "VTK": by_vtk, "Open3D": by_open3d}


def timed(distance: Distance, points: Array, portion: int, limit: float) -> Array:
    """Distances of the first points, as many as the time allows."""
    found, end = [], time.perf_counter() + limit
    for first in range(0, len(points), portion):
        found.append(np.array(distance(points[first : first + portion])))
        if time.perf_counter() > end:
            break
    return np.concatenate(found)


def main(which: str, folder: Path, limit: float) -> int:
    with np.load(folder / "mesh.npz") as mesh:
        vertices, triangles = mesh["vertices"], mesh["triangles"]
    points = np.load(folder / "points.npy").astype(np.float64)
    try:
        distance, portion = PEERS[which](vertices, triangles)
    except ImportError as fault:
        print(fault, file=sys.stderr)
        return MISSING
    distance(points[:10])
    start = time.perf_counter()
    found = timed(distance, points, portion, limit)
    seconds = time.perf_counter() - start
    np.save(folder / "distance.npy", found)
    print(len(found), seconds)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1], Path(sys.argv[2]), float(sys.argv[3])))
