"""The mesh of the measured face: closed round, facing the axis, nothing invented."""

import numpy as np
import pytest

from geom.views.meshes.mesh import wall_mesh

SENSES = ("clockwise", "counterclockwise")


def as_trimesh(mesh):
    import trimesh

    return trimesh.Trimesh(mesh.vertices, mesh.faces, process=False)


def open_loops(mesh):
    """Number of closed lines along which the mesh ends."""
    from trimesh.graph import connected_components

    edges = np.sort(mesh.faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1)
    found, times = np.unique(edges, axis=0, return_counts=True)
    assert times.max() == 2
    rim = connected_components(found[times == 1])
    return len(rim)


@pytest.mark.parametrize("sense", SENSES)
def test_normals_point_to_the_axis(build, sense):
    shape = as_trimesh(wall_mesh(build(sense=sense).surface))
    inward = -shape.triangles_center * [1, 1, 0]
    # Ledges at a step of the drawing look up or down, not away.
    facing = np.einsum("ij,ij->i", shape.face_normals, inward)
    assert (facing > 0).mean() > 0.97
    assert shape.face_normals.shape[0] > 60_000


def test_it_ends_only_at_top_bottom_and_openings(furnace):
    openings = len(furnace.design.openings)
    assert open_loops(wall_mesh(furnace.surface)) == 2 + openings


def test_without_openings_it_is_one_tube(build):
    mesh = wall_mesh(build(openings=()).surface)
    assert open_loops(mesh) == 2
    assert as_trimesh(mesh).euler_number == 0


def test_the_last_column_is_joined_to_the_first(build):
    mesh = wall_mesh(build(openings=()).surface)
    last = 359
    across = mesh.column[mesh.faces]
    seam = (across == last).any(axis=1) & (across == 0).any(axis=1)
    rings = np.unique(mesh.vertices[:, 2]).size
    assert seam.sum() == 2 * (rings - 1)


@pytest.mark.parametrize("sense", SENSES)
def test_vertices_stand_where_the_surface_says(build, sense):
    surface = build(sense=sense).surface
    mesh = wall_mesh(surface)
    inner = (mesh.vertices[:, 2] > 1.0) & (mesh.vertices[:, 2] < 2285.0)
    radius = np.hypot(mesh.vertices[:, 0], mesh.vertices[:, 1])
    assert radius[inner] == pytest.approx(mesh.pick(surface.radius)[inner], abs=1e-9)
    hand = -1 if sense == "clockwise" else 1
    turned = (
        np.rad2deg(hand * np.arctan2(mesh.vertices[:, 1], mesh.vertices[:, 0])) % 360
    )
    gap = (turned - surface.azimuth[mesh.column] + 180) % 360 - 180
    assert np.abs(gap).max() < 1e-9


def test_it_reaches_from_the_lowest_to_the_highest_reading(build):
    mesh = wall_mesh(build(surveyed=(300.0, 1900.0)).surface)
    assert mesh.vertices[:, 2].min() == 300.0
    assert mesh.vertices[:, 2].max() == 1900.0


def test_no_vertex_carries_an_opening_or_an_unmeasured_cell(furnace):
    mesh = wall_mesh(furnace.surface)
    assert np.isfinite(mesh.vertices).all()
    assert not mesh.pick(furnace.surface.grid.opening).any()
    assert mesh.pick(furnace.findings.maps.surveyed).all()
