"""lining.vtp, read back from its raw XML."""

import base64
import zlib
from xml.etree import ElementTree

import numpy as np
import pytest

from geom.views.meshes.formats import vtp_bytes, vtu_bytes, wall_polydata
from geom.views.meshes.mesh import wall_mesh

KINDS = {"Float32": "<f4", "Int8": "i1", "Int32": "<i4"}


def arrays(path):
    """Point arrays of a VTK XML file with inline, base64, zlib-packed data.

    Layout: VTK file formats, "XML file formats", binary data with compression: a block
    count, block size, last block size and packed sizes, then the packed blocks.
    """
    tree = ElementTree.fromstring(path.read_bytes())
    word = {"UInt32": "<u4", "UInt64": "<u8"}[tree.get("header_type")]
    assert tree.get("compressor") == "vtkZLibDataCompressor"
    found = {}
    for item in tree.iterfind(".//PointData/DataArray"):
        raw = unpacked(item.text.strip().encode("ascii"), np.dtype(word))
        found[item.get("Name")] = np.frombuffer(raw, KINDS[item.get("type")])
    return tree, found


def unpacked(packed, word):
    def decode(count):
        return base64.b64decode(packed[: 4 * -(-count // 3)])[:count]

    blocks = int(np.frombuffer(decode(word.itemsize), word)[0])
    head = word.itemsize * (3 + blocks)
    sizes = np.frombuffer(decode(head), word)[3:]
    body = base64.b64decode(
        packed[4 * -(-head // 3) :][: 4 * -(-int(sizes.sum()) // 3)]
    )
    ends = np.cumsum(sizes)
    return b"".join(
        zlib.decompress(body[end - size : end])
        for end, size in zip(ends, sizes, strict=True)
    )


@pytest.fixture(scope="module")
def written(furnace, tmp_path_factory):
    path = tmp_path_factory.mktemp("vtp") / "lining.vtp"
    mesh = wall_mesh(furnace.surface)
    path.write_bytes(vtp_bytes(mesh, furnace.surface, maps=furnace.findings.maps))
    return mesh, *arrays(path)


def test_every_field_is_there_with_its_values(furnace, written):
    mesh, _, found = written
    maps, surface = furnace.findings.maps, furnace.surface
    expected = {
        "cutback": maps.cutback,
        "cutback_sd": maps.cutback_sd,
        "p_brick": maps.p_brick,
        "radius": surface.radius,
        "radius_sd": surface.radius_sd,
        "action": maps.action,
        "zone": maps.zone,
        "surveyed": maps.surveyed,
    }
    assert set(found) == {*expected, "design_radius", "azimuth"}
    for name, field in expected.items():
        assert (found[name] == mesh.pick(field).astype(found[name].dtype)).all(), name
    assert found["radius"] - found["design_radius"] == pytest.approx(
        found["cutback"], abs=1e-4
    )


def test_it_says_how_many_points_and_faces(written):
    mesh, tree, _ = written
    piece = tree.find(".//Piece")
    assert int(piece.get("NumberOfPoints")) == len(mesh.vertices)
    assert int(piece.get("NumberOfPolys")) == len(mesh.faces)


@pytest.mark.parametrize("kind", ["vtp", "vtu"])
def test_vtk_reads_the_mesh_that_pyvista_would_have_written(furnace, tmp_path, kind):
    import pyvista as pv

    mesh, maps = wall_mesh(furnace.surface), furnace.findings.maps
    path = tmp_path / f"lining.{kind}"
    write = {"vtp": vtp_bytes, "vtu": vtu_bytes}[kind]
    path.write_bytes(write(mesh, furnace.surface, maps=maps))
    expected = wall_polydata(mesh, furnace.surface, maps=maps)
    if kind == "vtu":
        expected = expected.cast_to_unstructured_grid()
    read = pv.read(path)
    assert type(read) is type(expected)
    assert read.active_scalars_name == "cutback"
    np.testing.assert_array_equal(read.points, expected.points)
    if kind == "vtp":
        np.testing.assert_array_equal(read.regular_faces, expected.regular_faces)
    else:
        np.testing.assert_array_equal(read.cells, expected.cells)
        np.testing.assert_array_equal(read.celltypes, expected.celltypes)
    assert sorted(read.point_data) == sorted(expected.point_data)
    for name in expected.point_data:
        np.testing.assert_array_equal(read.point_data[name], expected.point_data[name])
        assert read.point_data[name].dtype == expected.point_data[name].dtype
