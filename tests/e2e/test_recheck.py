"""``daubline recheck``: the repaired wall is proved to be back, or not, by files."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pypdf
import pytest

from geom.cli import main
from geom.views.cautions import CAUTIONS
from tests.schema_faults import schema_faults

DESIGN = """
[lining]
name = "Cupola R (invented)"
length_unit = "mm"
azimuth_zero = "tap hole"
azimuth_sense = "counterclockwise"
height_zero = "bottom plate"

[shell]
radius = 685

[[profile]]
height = 0
radius = 450
[[profile]]
height = 1200
radius = 450

[[tuyere]]
azimuth = 33
height = 300
width = 120
tall = 80

[repair]
tolerance = 6
"""
#: Burnt most at this azimuth and height.
BURN = (180.0, 650.0)


def hollow(azimuth: float, height: float) -> float:
    return float(
        np.exp(-(((azimuth - BURN[0]) / 40.0) ** 2) - ((height - BURN[1]) / 150.0) ** 2)
    )


def worn(azimuth: float, height: float) -> float:
    low = np.exp(-(((azimuth - 290.0) / 25.0) ** 2) - ((height - 900.0) / 120.0) ** 2)
    return 45.0 * hollow(azimuth, height) + 22.0 * float(low)


def mended(azimuth: float, height: float) -> float:
    return 2.0 * float(np.sin(np.deg2rad(2.0 * azimuth) + height / 200.0))


def short(azimuth: float, height: float) -> float:
    """The big hollow was left 15 mm short, the other filled."""
    beside = abs(azimuth - BURN[0]) <= 40.0 and abs(height - BURN[1]) <= 150.0
    return mended(azimuth, height) + 15.0 * beside


def sheet(
    path: Path,
    cutback: Callable[[float, float], float],
    *,
    azimuths: int = 20,
    heights: int = 12,
    seed: int = 1,
) -> Path:
    chance = np.random.default_rng(seed)
    rows = ["azimuth_deg,height_mm,radius_mm"]
    for height in np.linspace(60.0, 1140.0, heights).round():
        for azimuth in np.arange(azimuths) * 360.0 / azimuths:
            radius = 450.0 + cutback(azimuth, height) + chance.normal(0.0, 1.0)
            rows.append(f"{azimuth:g},{height:g},{radius:.0f}")
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def shop(few_walls: None, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the drawing, the survey before, and sheets of after."""
    folder = tmp_path_factory.mktemp("shop")
    (folder / "lining.toml").write_text(DESIGN, encoding="utf-8")
    first = sheet(folder / "worn.csv", worn)
    design, out = str(folder / "lining.toml"), str(folder / "before")
    told = ["survey", design, str(first), "--out", out, "--quiet", "--title", "Heat 7"]
    assert main(told) == 0
    sheet(folder / "mended.csv", mended, seed=2)
    sheet(folder / "short.csv", short, seed=3)
    sheet(folder / "sparse.csv", mended, azimuths=5, heights=3, seed=4)
    return folder


def recheck(shop: Path, name: str, out: Path, *more: str, before: str = "before"):
    told = ["recheck", str(shop / "lining.toml"), str(shop / f"{name}.csv")]
    return main([*told, "--before", str(shop / before), "--out", str(out), *more])


@pytest.fixture(scope="module")
def found(shop: Path) -> dict[str, Path]:
    """The output folder of each recheck."""
    outs = {name: shop / f"out-{name}" for name in ("mended", "short", "sparse")}
    for name, out in outs.items():
        assert recheck(shop, name, out, "--quiet", "--title", "Heat 7, mended") == 0
    return outs


def told(out: Path) -> dict:
    return json.loads((out / "recheck.json").read_text(encoding="utf-8"))


def page(out: Path) -> str:
    (only,) = pypdf.PdfReader(out / "certificate.pdf").pages
    return re.sub(r"\s+", " ", only.extract_text())


def decisions(document: dict) -> set[str]:
    return {one["decision"] for one in document["levels"] + document["zones"]}


def test_both_files_are_there_and_no_other(found: dict[str, Path]) -> None:
    for out in found.values():
        names = {path.name for path in out.iterdir()}
        assert names == {"recheck.json", "certificate.pdf"}
    left = [path.name for path in found["mended"].parent.iterdir()]
    assert not [name for name in left if name.startswith(".")]


def test_what_is_written_fits_its_schema(found: dict[str, Path]) -> None:
    for out in found.values():
        assert schema_faults("recheck", told(out)) == []
    spoiled = told(found["mended"])
    spoiled["zones"][0]["verdict"] = "fine"
    assert schema_faults("recheck", spoiled)


def test_a_wall_put_back_gets_its_certificate(found: dict[str, Path]) -> None:
    document = told(found["mended"])
    assert document["schema"] == "daubline.recheck/1"
    assert document["verdict"] == "back on its drawing"
    assert decisions(document) == {"accept"}
    assert document["before"]["title"] == "Heat 7"
    assert document["cautions"] == list(CAUTIONS)
    assert document["released"] is False
    assert [hold["temperature"] for hold in document["drying"]["holds"]] == [
        120.0,
        260.0,
        370.0,
        540.0,
    ]
    text = page(found["mended"])
    assert "NOT RELEASED until drying is signed" in text
    assert "BACK ON ITS DRAWING" in text
    assert "NOT BACK" not in text
    assert CAUTIONS[0] in text
    assert "Measured by ____" in text


def test_material_is_that_of_the_survey_before_and_of_the_truth(
    shop: Path, found: dict[str, Path]
) -> None:
    material = told(found["mended"])["material"]
    put_in, called = material["zones"]["put_in"], material["called_for"]
    assert put_in["value"] == pytest.approx(called["value"], rel=0.08)
    azimuth, height = np.meshgrid(np.arange(0.5, 360.0), np.arange(62.5, 1140.0, 5.0))
    was, now = (
        450.0 + np.vectorize(truth)(azimuth, height) for truth in (worn, mended)
    )
    net = np.sum(was**2 - now**2) / 2.0 * np.deg2rad(1.0) * 5.0 * 1e-9
    told_net = material["wall"]["net"]
    assert told_net["low95"] < net < told_net["high95"]
    assert not told_net["low95"] < 0.5 * net < told_net["high95"]
    before = json.loads((shop / "before" / "findings.json").read_text("utf-8"))
    assert {zone["id"] for zone in before["zones"]} == {
        zone["id"] for zone in told(found["mended"])["zones"]
    }


def test_a_zone_left_short_is_refused_and_the_other_accepted(
    found: dict[str, Path],
) -> None:
    document = told(found["short"])
    assert document["verdict"] == "not back"
    around = [z for z in document["zones"] if z["azimuth_from"] < 180.0]
    other = [z for z in document["zones"] if z["azimuth_from"] > 180.0]
    assert "reject" in {zone["decision"] for zone in around}
    assert {zone["decision"] for zone in other} == {"accept"}
    worst = next(z for z in around if z["decision"] == "reject")["worst"]
    assert abs(worst["azimuth"] - BURN[0]) <= 45.0
    assert abs(worst["height"] - BURN[1]) <= 175.0
    assert "NOT BACK ON ITS DRAWING" in page(found["short"])


def test_few_readings_cannot_tell_and_say_where_to_measure(
    found: dict[str, Path],
) -> None:
    document = told(found["sparse"])
    assert document["verdict"] == "cannot tell"
    assert "accept" not in {zone["decision"] for zone in document["zones"]}
    assert document["measure_at"]
    text = page(found["sparse"])
    assert "CANNOT TELL YET" in text
    assert "Measure at: " in text


def test_the_terminal_says_the_verdict_and_that_it_is_not_all(
    shop: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert recheck(shop, "sparse", tmp_path / "out") == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "CANNOT TELL YET" in said
    assert "Measure at: " in said
    assert "NOT RELEASED until drying is signed" in said
    assert "not safe to run" in said


def spoil_lining(folder: Path) -> None:
    import xarray as xr

    path = folder / "surface.nc"
    with xr.open_dataset(path, engine="h5netcdf") as data:
        other = data.load().assign_attrs(lining="Cupola S")
    path.unlink()
    other.to_netcdf(path, engine="h5netcdf")


def spoil_drawing(folder: Path) -> None:
    import xarray as xr

    path = folder / "surface.nc"
    with xr.open_dataset(path, engine="h5netcdf") as data:
        other = data.load()
    other["design_radius"] = other["design_radius"] + 25.0
    path.unlink()
    other.to_netcdf(path, engine="h5netcdf")


SPOILED = {
    "of another lining": (spoil_lining, "Cupola S"),
    "of another drawing": (spoil_drawing, "another drawing"),
    "without findings": (lambda f: (f / "findings.json").unlink(), "no findings.json"),
    "without surface": (lambda f: (f / "surface.nc").unlink(), "no surface.nc"),
    "cut short": (
        lambda f: (f / "findings.json").write_text('{"schema":', "utf-8"),
        "JSON",
    ),
}


@pytest.mark.parametrize("case", SPOILED)
def test_a_survey_before_that_is_wrong_is_refused_and_nothing_written(
    shop: Path, tmp_path: Path, case: str, capsys: pytest.CaptureFixture[str]
) -> None:
    spoil, words = SPOILED[case]
    folder = tmp_path / "before"
    folder.mkdir()
    for name in ("findings.json", "surface.nc"):
        (folder / name).write_bytes((shop / "before" / name).read_bytes())
    spoil(folder)
    out = tmp_path / "new" / "out"
    assert recheck(shop, "mended", out, before=str(folder)) == 2
    assert words in capsys.readouterr().err
    assert not out.parent.exists()


def test_an_output_folder_with_files_is_kept_unless_told_otherwise(
    shop: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "out"
    out.mkdir()
    (out / "mine.txt").write_text("mine")
    assert recheck(shop, "mended", out) == 2
    assert "already holds files" in capsys.readouterr().err
    assert [path.name for path in out.iterdir()] == ["mine.txt"]


def test_readings_elsewhere_on_the_wall_are_refused(
    shop: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = shop / "before" / "findings.json"
    document = json.loads(path.read_text("utf-8"))
    document["surveyed"] |= {"height_from": 5000.0, "height_to": 6000.0}
    folder = tmp_path / "before"
    folder.mkdir()
    (folder / "findings.json").write_text(json.dumps(document), "utf-8")
    surface = (shop / "before" / "surface.nc").read_bytes()
    (folder / "surface.nc").write_bytes(surface)
    assert recheck(shop, "sparse", tmp_path / "out", before=str(folder)) == 2
    assert "no wall in common" in capsys.readouterr().err
    assert not (tmp_path / "out").exists()


def test_the_survey_before_has_to_be_named(
    shop: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as stopped:
        main(["recheck", str(shop / "lining.toml"), "x.csv", "--out", "y"])
    assert stopped.value.code == 2
    assert "--before" in capsys.readouterr().err
