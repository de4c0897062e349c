"""Results as a terminal, a notebook and other libraries see them."""

import base64
import io
import subprocess
import sys
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

import geom
from geom.compare.assess import maps_of
from geom.shown import shown_by
from geom.views.netcdf import write_netcdf
from tests.reprs import long_reprs, reprs_of


@pytest.fixture(scope="module")
def furnace(build):
    return build(spacing=60.0, columns=120)


@pytest.fixture(scope="module")
def wall(furnace):
    """A surface and its findings, all of it seen by a laser."""
    surface = replace(furnace.surface, seen=furnace.surface.grid.surveyed)
    return surface, replace(furnace.findings, surface=surface)


def test_every_repr_is_a_few_lines(wall, furnace):
    results = [*wall, furnace.design, furnace.readings, furnace.works]
    assert long_reprs(*results) == {}
    seen = reprs_of(*results)
    assert len(seen) > 40
    for name in ("RadialSurface", "Findings", "Design", "RodReadings", "RepairPlan"):
        assert " mm" in seen[name] or " L" in seen[name], name
        assert max(map(len, seen[name].splitlines())) <= 90


def test_findings_say_volumes_with_their_unit(furnace):
    litres = furnace.findings.volume.rebuild.times(1e-6)
    assert f"rebuild {litres:L}, build-up" in repr(furnace.findings)
    assert repr(furnace.findings.volume).startswith("<Volume (mm3): rebuild ")
    assert f"{litres:L}".startswith(f"{litres.value:.1f} L +- {litres.sd:.1f} (")


def picture_of(html):
    start = html.index("base64,") + len("base64,")
    return Image.open(io.BytesIO(base64.b64decode(html[start : html.index('"/>')])))


def test_a_notebook_is_shown_the_wall(wall, monkeypatch):
    surface, findings = wall
    html = findings._repr_html_()
    assert picture_of(html).width > 500
    assert "&lt;Findings of Heat 212" in html
    assert surface.design._repr_html_() is None
    assert replace(findings, surface=None)._repr_html_() is None


@pytest.mark.parametrize("kind", ["plot", "plot_section", "plot_profile"])
def test_plots_are_figures_that_a_notebook_shows(wall, kind):
    where = {"plot_section": {"height": 760.0}, "plot_profile": {"azimuth": -20.0}}
    figure = getattr(wall[0], kind)(**where.get(kind, {}))
    words = [text.get_text() for text in figure.texts]
    words += [axes.get_title() for axes in figure.axes]
    named = {"plot": "SEEN FROM INSIDE", "plot_section": "SEEN FROM ABOVE"}
    assert any(named.get(kind, "340°") in text for text in words)
    if kind == "plot_section":
        assert figure._repr_png_().startswith(b"\x89PNG")


def test_a_section_where_nothing_is_surveyed_is_refused(wall):
    with pytest.raises(geom.InputError, match="no wall is surveyed at height 2400 mm"):
        wall[0].plot_section(height=2400.0)


def test_the_dataset_carries_frame_lining_chances_and_actions(wall):
    surface, _ = wall
    data, maps = surface.to_xarray(), maps_of(surface, surface.design)
    assert data.attrs["lining"] == "Cupola A (invented)"
    assert data.attrs["azimuth_sense"] == "clockwise seen from above"
    for name in ("p_brick", "action", "surveyed", "cutback"):
        np.testing.assert_array_equal(data[name].to_numpy(), getattr(maps, name))
    assert data["action"].attrs["flag_meanings"].split()[0] == "no_call"
    assert (data["action"].to_numpy() == 2).any()


def test_meshes_are_those_of_other_libraries_in_mm(wall):
    surface, _ = wall
    shape, solid = surface.to_pyvista(), surface.to_trimesh()
    assert shape.n_points == len(solid.vertices)
    assert solid.bounds[1][2] == pytest.approx(90 * 25.4)
    assert shape.active_scalars_name == "cutback"
    assert shape["cutback"] == pytest.approx(solid.vertex_attributes["cutback"])


@pytest.mark.parametrize("sense", ["clockwise", "counterclockwise"])
def test_an_opened_file_knows_zero_sense_and_clock(build, sense, tmp_path):
    import xarray as xr

    furnace = build(sense=sense, spacing=80.0, columns=72)
    write_netcdf(tmp_path / "surface.nc", furnace.surface, furnace.findings)
    with xr.open_dataset(tmp_path / "surface.nc") as data:
        lining = data.lining
        assert (lining.zero, lining.sense) == ("tap hole", sense)
        assert (lining.name, lining.height_zero) == (
            furnace.design.name,
            "bottom plate",
        )
        east = 105.0 if sense == "clockwise" else 255.0
        assert lining.clock.sel(azimuth=east).item() == "3:30"
        there = lining.at(height=500.0, clock="half past 3")
        assert there["azimuth"].item() == east
        assert lining.at(height=500.0, azimuth=359.0)["azimuth"].item() == 0.0
        assert "seen from above" in repr(lining)
        with pytest.raises(geom.InputError, match="one of them"):
            lining.at(height=500.0)


def test_a_dataset_of_no_lining_says_so():
    import xarray as xr

    with pytest.raises(geom.InputError, match="no attribute lining"):
        xr.Dataset().lining


def test_the_accessor_is_there_whichever_is_imported_first(monkeypatch):
    import xarray as xr

    asked = (
        "import geom, importlib.util, sys\n"
        "assert importlib.util.find_spec('xarray') and 'xarray' not in sys.modules\n"
        "import xarray\n"
        "assert 'lining' in dir(xarray.Dataset)\n"
        "assert 'matplotlib' not in sys.modules"
    )
    subprocess.run([sys.executable, "-c", asked], check=True)
    monkeypatch.delattr(xr.Dataset, "lining")
    shown_by("geom.views.notebook")
    assert hasattr(xr.Dataset, "lining")
