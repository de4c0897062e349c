"""lining.ply, read back by the PLY description itself and by VTK."""

import numpy as np
import pytest

from geom.views.charts.colours import cutback_rgb
from geom.views.meshes.formats import ply_bytes
from geom.views.meshes.mesh import wall_mesh

KINDS = {"float": "<f4", "uchar": "u1", "int": "<i4"}


def vertices(content):
    """Vertex table as the header declares it; an independent reading."""
    head, body = content.split(b"end_header\n", 1)
    lines = head.decode("ascii").splitlines()
    assert lines[:2] == ["ply", "format binary_little_endian 1.0"]
    start = next(i for i, line in enumerate(lines) if line.startswith("element vertex"))
    fields = []
    for line in lines[start + 1 :]:
        if not line.startswith("property"):
            break
        _, kind, name = line.split()
        fields.append((name, KINDS[kind]))
    return np.frombuffer(body, np.dtype(fields), count=int(lines[start].split()[-1]))


@pytest.fixture(scope="module")
def content(furnace):
    mesh = wall_mesh(furnace.surface)
    return ply_bytes(mesh, furnace.surface, maps=furnace.findings.maps)


def test_numbers_stand_beside_the_colours(furnace, content):
    mesh, maps = wall_mesh(furnace.surface), furnace.findings.maps
    table = vertices(content)
    for name in ("cutback", "cutback_sd", "p_brick"):
        expected = mesh.pick(getattr(maps, name)).astype(np.float32)
        assert (table[name] == expected).all()
    rgb = np.stack([table[c] for c in ("red", "green", "blue")], axis=1)
    assert (rgb == cutback_rgb(mesh.pick(maps.cutback), 31.75)).all()
    assert (table["alpha"] == 255).all()


def test_vertices_are_millimetres_in_the_design_frame(furnace, content):
    table = vertices(content)
    places = np.stack([table[c] for c in "xyz"], axis=1)
    # Single precision at 2286 mm: 0.0001 mm.
    assert places == pytest.approx(wall_mesh(furnace.surface).vertices, abs=3e-4)


def test_vtk_reads_the_same_mesh(furnace, content, tmp_path):
    import pyvista as pv

    path = tmp_path / "lining.ply"
    path.write_bytes(content)
    read = pv.read(path)
    mesh = wall_mesh(furnace.surface)
    assert read.n_points == len(mesh.vertices)
    assert (read.regular_faces == mesh.faces).all()
    rgb = cutback_rgb(mesh.pick(furnace.surface.cutback), 31.75)
    assert (read.point_data["RGBA"][:, :3] == rgb).all()
