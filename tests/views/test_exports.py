"""What other programs are given, opened with libraries other than the writers."""

import csv
import json
import re
from dataclasses import replace

import numpy as np
import pytest
from scipy.ndimage import distance_transform_edt

import geom
from geom.compare.extent import outline
from geom.views.charts.colours import cutback_rgb, to_linear


@pytest.fixture(scope="module")
def results(build):
    """By what is exported of them."""
    furnace = build(spacing=60.0, columns=120)
    findings = replace(furnace.findings, surface=furnace.surface)
    return {
        "surface": furnace.surface,
        "findings": findings,
        "plan": furnace.works.plan,
        "design": furnace.design,
    }


@pytest.fixture(scope="module")
def written(results, tmp_path_factory):
    """Writes one file once, and gives its path."""
    folder = tmp_path_factory.mktemp("exports")

    def write(of, ending):
        path = folder / f"{of}.{ending}"
        if not path.exists():
            geom.export(results[of], path)
        return path

    return write


def test_meshio_and_pyvista_read_every_field(results, written):
    import meshio
    import pyvista as pv

    surface = results["surface"]
    shape = surface.to_pyvista()
    grid = meshio.read(written("surface", "vtu"))
    assert grid.points == pytest.approx(np.asarray(shape.points), abs=1e-3)
    assert grid.cells_dict["triangle"].shape == (shape.n_cells, 3)
    assert set(grid.point_data) == set(shape.point_data)
    assert (grid.point_data["action"] == shape["action"]).all()
    again = pv.read(written("surface", "vtp"))
    assert (again["cutback"] == shape["cutback"]).all()


def test_pyvista_shows_the_numbers_of_a_ply(results, written):
    import pyvista as pv

    shape = pv.read_meshio(written("surface", "ply"))
    expected = results["surface"].to_pyvista()
    for name in ("cutback", "cutback_sd", "p_brick"):
        assert shape[name] == pytest.approx(expected[name], abs=1e-6)


def test_trimesh_keeps_the_colours_of_a_glb(results, written):
    import trimesh

    rgb = cutback_rgb(
        results["surface"].to_trimesh().vertex_attributes["cutback"], 31.75
    )
    light = np.rint(255.0 * to_linear(rgb))
    content = written("surface", "glb").read_bytes()

    def load(content, **options):
        stream = trimesh.util.wrap_as_stream(content)
        return trimesh.load_scene(stream, file_type="glb", **options)

    (shape,) = load(content).geometry.values()
    assert (shape.visual.vertex_attributes["color"][:, :3] == light).all()
    bare = load(content, skip_materials=True)
    for scene in (bare, load(bare.export(file_type="glb"))):
        (plain,) = scene.geometry.values()
        assert (plain.visual.vertex_colors[:, :3] == light).all()


@pytest.mark.parametrize("ending", ["csv", "xlsx"])
def test_zones_and_orders_are_tables(results, written, ending):
    import pandas as pd

    read = pd.read_csv if ending == "csv" else pd.read_excel
    zones, order = (read(written(of, ending)) for of in ("findings", "plan"))
    found = results["findings"].zones
    assert zones["zone"].tolist() == [zone.id for zone in found]
    assert zones["action"].tolist() == [zone.action for zone in found]
    assert zones["volume_L"].tolist() == pytest.approx(
        [zone.volume.value * 1e-6 for zone in found]
    )
    assert zones["cutback_max_mm_high95"].tolist() == pytest.approx(
        [zone.cutback_max.high95 for zone in found]
    )
    assert zones["clock_to"].str.fullmatch(r"\d+:\d\d").all()
    lines = results["plan"].order
    assert order["buy_packs"].tolist() == [line.packs for line in lines]
    assert order["material"].tolist() == [line.material for line in lines]


def test_a_material_is_never_a_formula(results, tmp_path):
    from openpyxl import load_workbook

    plan = results["plan"]
    evil = replace(plan.order[0], material="=1+1")
    geom.export(replace(plan, order=(evil,)), tmp_path / "order.xlsx")
    cell = load_workbook(tmp_path / "order.xlsx").active["A2"]
    assert (cell.value, cell.data_type) == ("=1+1", "s")
    geom.export(replace(plan, order=(evil,)), tmp_path / "order.csv")
    lines = (tmp_path / "order.csv").read_text("utf-8-sig").splitlines()
    rows = list(csv.reader(lines))
    assert rows[1][0] == "'=1+1"


def test_outlines_are_polygons_to_shapely(results, written):
    from shapely import from_geojson
    from shapely.geometry import shape

    findings = results["findings"]
    text = written("findings", "geojson").read_text("utf-8")
    document = json.loads(text)
    assert document["azimuth_sense"] == "clockwise seen from above"
    for zone, feature in zip(findings.zones, document["features"], strict=True):
        assert feature["properties"]["action"] == zone.action
        drawn = outline(findings.maps.zone == zone.id, findings.surface.grid)
        assert shape(feature["geometry"]).symmetric_difference(drawn).area < 1e-6
    assert len(from_geojson(text).geoms) == len(findings.zones)


def lines_by_layer(path):
    """Lines of a DXF as trimesh reads them, mm; it gives no layers to polylines."""
    import trimesh

    with path.open("rb") as file:
        drawing = trimesh.load_path(file, file_type="dxf")
    layers = re.findall(r"POLYLINE\n\s+8\n(\w+)\n", path.read_text("ascii"))
    found = {}
    lines = [entity for entity in drawing.entities if type(entity).__name__ == "Line"]
    for entity, layer in zip(lines, layers, strict=True):
        found.setdefault(layer, []).append(drawing.vertices[entity.points])
    return found


@pytest.mark.parametrize("sense", ["clockwise", "counterclockwise"])
def test_zones_lie_in_a_cad_drawing_as_seen_from_inside(build, sense, tmp_path):
    from shapely import transform
    from shapely.geometry import Polygon

    furnace = build(sense=sense, spacing=60.0, columns=120)
    holed = furnace.findings.maps.zone.copy()
    depth = distance_transform_edt(holed == furnace.findings.zones[0].id)
    holed[np.unravel_index(depth.argmax(), depth.shape)] = 0
    maps = replace(furnace.findings.maps, zone=holed)
    findings = replace(furnace.findings, surface=furnace.surface, maps=maps)
    geom.export(findings, tmp_path / "zones.dxf")
    lines = lines_by_layer(tmp_path / "zones.dxf")
    degree = np.deg2rad(furnace.design.profile.mean_radius)

    def unrolled(points):
        azimuth, height = points.T
        right = azimuth if sense == "clockwise" else 360.0 - azimuth
        return np.stack([right * degree, height], axis=1)

    rings = 0
    for zone in findings.zones:
        area = outline(findings.maps.zone == zone.id, furnace.surface.grid)
        drawn = Polygon()
        for ring in lines[zone.action.upper().replace(" ", "_")]:
            drawn = drawn.symmetric_difference(Polygon(ring))
            rings += 1
        expected = transform(area, unrolled)
        assert drawn.symmetric_difference(expected).area < 1e-5 * expected.area
    assert rings > len(findings.zones)
    assert len(lines["OPENING"]) >= len(furnace.design.openings)


def test_the_profile_is_a_cad_drawing(results, written):
    lines = lines_by_layer(written("design", "dxf"))
    profile = results["design"].profile
    (face,) = lines["FACE"]
    drawn = np.stack([profile.radius, profile.height], axis=1)
    assert face == pytest.approx(drawn, abs=1e-3)
    (shell,) = lines["SHELL"]
    assert shell[:, 0] == pytest.approx(27 * 25.4)


def test_the_same_result_gives_the_same_bytes(results, written, tmp_path):
    geom.export(results["findings"], tmp_path / "zones.xlsx")
    assert (tmp_path / "zones.xlsx").read_bytes() == (
        written("findings", "xlsx").read_bytes()
    )


def test_what_cannot_be_written_is_refused(results, written, tmp_path):
    with pytest.raises(geom.InputError, match=r"Findings is written as .*\.geojson"):
        geom.export(results["findings"], tmp_path / "zones.shp")
    with pytest.raises(geom.InputError, match="is there already"):
        geom.export(results["design"], written("design", "dxf"))
    with pytest.raises(geom.InputError, match="cannot be written"):
        geom.export(results["design"], tmp_path / "none" / "profile.dxf")
    with pytest.raises(geom.InputError, match="do not hold their surface"):
        geom.export(replace(results["findings"], surface=None), tmp_path / "z.csv")
