"""``daubline change``: two surveys to what was lost and put back, by files."""

from __future__ import annotations

import io
import json
from collections.abc import Callable
from contextlib import redirect_stdout
from datetime import date
from pathlib import Path

import netCDF4
import numpy as np
import pytest
from PIL import Image

from geom.cli import main
from geom.record.store.occasion import Occasion
from geom.record.store.store import add_survey, start_record
from geom.views.outputs import CHANGE_FILES

DESIGN = """
[lining]
name = "Cupola C (invented)"
length_unit = "mm"
azimuth_zero = "tap hole"
azimuth_sense = "clockwise"
height_zero = "bottom plate"

[[profile]]
height = 0
radius = 450
[[profile]]
height = {top}
radius = 450

[[tuyere]]
azimuth = 33
height = 300
width = 120
tall = 80
"""


def worn(azimuth: float, height: float) -> float:
    """As the first survey saw it: burnt all round in the middle."""
    return 12.0 * float(np.exp(-(((height - 650.0) / 200.0) ** 2))) + 0.0 * azimuth


def later(azimuth: float, height: float) -> float:
    """30 mm more were lost on one side, 25 mm put back low on the other."""
    lost = np.exp(-(((azimuth - 180.0) / 45.0) ** 2) - ((height - 650.0) / 160.0) ** 2)
    back = np.exp(-(((azimuth - 300.0) / 35.0) ** 2) - ((height - 950.0) / 120.0) ** 2)
    return worn(azimuth, height) + 30.0 * float(lost) - 25.0 * float(back)


def truly() -> tuple[float, float]:
    """Lost and put back between 60 and 1140 mm, m3."""
    azimuth, height = np.arange(0.5, 360.0), np.arange(62.5, 1140.0, 5.0)
    lost = restored = 0.0
    for z in height:
        for a in azimuth:
            one, other = 450.0 + worn(a, z), 450.0 + later(a, z)
            section = (other**2 - one**2) / 2.0 * np.deg2rad(1.0) * 5.0
            lost, restored = lost + max(section, 0.0), restored + max(-section, 0.0)
    return lost * 1e-9, restored * 1e-9


def survey(
    shop: Path, name: str, wall: Callable[[float, float], float], *, seed: int
) -> None:
    chance = np.random.default_rng(seed)
    rows = ["azimuth_deg,height_mm,radius_mm"]
    for height in np.linspace(60.0, 1140.0, 12).round():
        for azimuth in np.arange(20) * 18.0:
            radius = 450.0 + wall(azimuth, height) + chance.normal(0.0, 0.5)
            rows.append(f"{azimuth:g},{height:g},{radius:.1f}")
    sheet = shop / f"{name}.csv"
    sheet.write_text("\n".join(rows) + "\n", encoding="utf-8")
    told = ["survey", str(shop / "lining.toml"), str(sheet), "--out", str(shop / name)]
    assert main([*told, "--quiet", "--title", name]) == 0


@pytest.fixture(scope="module")
def shop(few_walls: None, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the drawing and two surveys."""
    folder = tmp_path_factory.mktemp("shop")
    (folder / "lining.toml").write_text(DESIGN.format(top=1200), encoding="utf-8")
    survey(folder, "first", worn, seed=1)
    survey(folder, "last", later, seed=2)
    return folder


def change(shop: Path, out: Path, *more: str, to: str = "last", of: str = "first"):
    design = str(shop / "lining.toml")
    told = ["change", design, str(shop / of), str(shop / to), "--out", str(out)]
    return main([*told, *more])


@pytest.fixture(scope="module")
def out(shop: Path) -> Path:
    with redirect_stdout(io.StringIO()) as printed:
        assert change(shop, shop / "out", "--quiet", "--title", "One week") == 0
    assert printed.getvalue() == ""
    return shop / "out"


def document(out: Path) -> dict:
    return json.loads((out / "change.json").read_text(encoding="utf-8"))


def holds(quantity: dict, truth: float) -> bool:
    return bool(quantity["low95"] <= truth <= quantity["high95"])


def test_all_four_files_are_there_and_no_other(out: Path) -> None:
    assert {path.name for path in out.iterdir()} == set(CHANGE_FILES)
    assert not [path for path in out.parent.iterdir() if path.name.startswith(".")]


def test_what_was_lost_and_put_back_is_in_the_intervals(out: Path) -> None:
    told = document(out)
    assert told["schema"] == "daubline.change/1"
    assert (told["from"]["title"], told["to"]["title"]) == ("first", "last")
    lost, restored = truly()
    volume = told["volume"]
    assert holds(volume["net"], lost - restored)
    assert volume["net"]["sd"] < 0.25 * (lost - restored)
    assert holds(volume["lost"], lost)
    assert holds(volume["restored"], restored)
    # found 3 % off, both
    assert volume["lost"]["value"] == pytest.approx(lost, rel=0.1)
    assert volume["restored"]["value"] == pytest.approx(restored, rel=0.1)
    assert volume["shown_lost"]["value"] < lost
    loss, gain = told["greatest_loss"], told["greatest_gain"]
    assert loss["azimuth"] == pytest.approx(180.0, abs=12.0)
    assert loss["height"] == pytest.approx(650.0, abs=50.0)
    assert holds(loss["change"], 30.0)
    assert gain["azimuth"] == pytest.approx(300.0, abs=12.0)
    assert holds(gain["change"], -25.0)


def test_the_maps_are_read_by_another_library(out: Path) -> None:
    with netCDF4.Dataset(out / "change.nc") as data:
        data.set_auto_mask(False)
        assert data["change"].dimensions == ("height", "azimuth")
        assert data["change"].units == "mm"
        field, height = data["change"][:], data["height"][:]
        kept = {name: data[name][:] for name in ("shown", "significant", "compared")}
        both = data["cutback_to"][:] - data["cutback_from"][:]
    assert kept["shown"][np.abs(height - 650.0).argmin(), 180] == 1
    assert kept["shown"][np.abs(height - 950.0).argmin(), 300] == -1
    assert (np.isfinite(field) == (kept["compared"] == 1)).all()
    np.testing.assert_allclose(field, both, atol=1e-4)
    assert (kept["shown"][kept["compared"] == 0] == 0).all()
    area = (np.diff(height).mean() * 450.0 * np.deg2rad(1.0)) * 1e-6
    told = document(out)["area"]["shown_lost"]
    assert (kept["shown"] == 1).sum() * area == pytest.approx(told, rel=0.02)


def test_picture_and_page(out: Path) -> None:
    with Image.open(out / "change.png") as picture:
        assert picture.width > 1600
    page = (out / "change.html").read_text(encoding="utf-8")
    assert page.count("data:image/png;base64,") == 5
    assert "One week" in page


def test_the_summary_says_it_in_a_few_lines(
    shop: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert change(shop, tmp_path / "out") == 0
    said = " ".join(capsys.readouterr().out.split())
    for words in (
        "From first, worked out",
        "To last",
        "Lost ",
        "Put back ",
        " L, 95 %: ",
    ):
        assert words in said
    assert "Greatest loss" in said
    assert "start with change.html" in said


def test_files_of_a_record_are_surveys_too(
    shop: Path, out: Path, tmp_path: Path
) -> None:
    record = tmp_path / "record"
    start_record(record, shop / "lining.toml")
    kept = [
        add_survey(record, shop / name, Occasion(heat, stage, date(2026, 1, heat)))
        for name, heat, stage in (
            ("first", 3, "after repair"),
            ("last", 4, "before repair"),
        )
    ]
    done = change(shop, tmp_path / "out", "--quiet", of=str(kept[0]), to=str(kept[1]))
    assert done == 0
    told, folders = document(tmp_path / "out"), document(out)
    assert told["title"] == "From heat 3, after repair to heat 4, before repair"
    for name in ("lost", "restored", "net"):
        one, other = (d["volume"][name]["value"] for d in (told, folders))
        assert one == pytest.approx(other, rel=1e-4, abs=1e-7)
    # the same survey from its folder and from the record
    assert change(shop, tmp_path / "same", "--quiet", of="first", to=str(kept[0])) == 2


def other_drawing(folder: Path) -> Path:
    path = folder / "other.toml"
    path.write_text(DESIGN.format(top=1300), encoding="utf-8")
    return path


def other_lining(folder: Path) -> Path:
    path = folder / "other.toml"
    text = DESIGN.format(top=1200).replace("Cupola C", "Cupola D")
    path.write_text(text, encoding="utf-8")
    return path


@pytest.mark.parametrize(
    ("design", "of", "to", "words"),
    [
        (None, "first", "first", "both FROM and TO"),
        (None, "first", "none", "none"),
        (None, "first", "first.csv", "first.csv"),
        (other_lining, "first", "last", "lining"),
        (other_drawing, "first", "last", "drawing"),
    ],
)
def test_bad_input_is_one_message_and_nothing_written(  # noqa: PLR0917
    shop: Path,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    design: Callable[[Path], Path] | None,
    of: str,
    to: str,
    words: str,
) -> None:
    drawn = shop / "lining.toml" if design is None else design(tmp_path)
    target = tmp_path / "new" / "out"
    told = ["change", str(drawn), str(shop / of), str(shop / to), "--out", str(target)]
    assert main(told) == 2
    said = capsys.readouterr()
    assert words in said.err
    assert said.err.count("daubline:") == 1
    assert said.out == ""
    assert not target.parent.exists()


def test_a_folder_with_files_is_kept_unless_told_otherwise_and_json_is_the_file(
    shop: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "mine.txt").write_text("mine", encoding="utf-8")
    assert change(shop, tmp_path, "--quiet") == 2
    capsys.readouterr()
    assert change(shop, tmp_path, "--json", "--overwrite") == 0
    assert {path.name for path in tmp_path.iterdir()} == {*CHANGE_FILES, "mine.txt"}
    assert json.loads(capsys.readouterr().out) == document(tmp_path)
