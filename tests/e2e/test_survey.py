"""The main job on the demo's files, from the command to every file."""

from __future__ import annotations

import io
import json
import os
import re
import subprocess
import sys
from contextlib import redirect_stdout
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from geom.cli import main
from tests.schema_faults import schema_faults

SCANS = Path(__file__).parents[2] / "scans"
#: One in inches and clockwise, one in millimetres and counterclockwise.
SHEETS = [SCANS / "cupola-2-heat-41.csv", SCANS / "cupola-5-heat-12.csv"]
FILES = {
    "findings.json", "surface.nc", "lining.glb", "lining.ply", "lining.vtp",
    "rebuild.stl", "masonry.glb", "map.png", "report.html", "repair-sheet.pdf",
}  # fmt: skip


def design_of(sheet: Path) -> str:
    return str(sheet.with_name(sheet.name.split("-heat-")[0] + ".toml"))


def survey(sheet: Path, out: Path, *more: str) -> int:
    return main(["survey", design_of(sheet), str(sheet), "--out", str(out), *more])


@dataclass(frozen=True)
class Run:
    """A second survey of a sheet: where its files are, and what it printed."""

    out: Path
    printed: str


@pytest.fixture(scope="module", params=SHEETS, ids=lambda path: path.stem)
def surveyed(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> Path:
    """The files of each sheet: of one as the command itself writes them."""
    if request.param == SHEETS[0]:
        made: Path = request.getfixturevalue("demo_survey")
        return made
    done: subprocess.CompletedProcess = request.getfixturevalue("command")
    return Path(done.args[done.args.index("--out") + 1])


@pytest.fixture(scope="module")
def command(
    tmp_path_factory: pytest.TempPathFactory,
) -> subprocess.CompletedProcess[str]:
    """The installed command at work on the second sheet, without a display."""
    plain = {k: v for k, v in os.environ.items() if k not in ("DISPLAY", "MPLBACKEND")}
    return subprocess.run(
        [
            sys.executable, "-m", "geom.cli", "survey", design_of(SHEETS[1]),
            str(SHEETS[1]), "--quiet", "--title", "Heat 41 <b>",
            "--out", str(tmp_path_factory.mktemp("survey") / "out"),
        ],
        capture_output=True,
        text=True,
        env=plain | {"PYTHONPATH": str(SCANS.parent)},
        check=False,
    )  # fmt: skip


@pytest.fixture(scope="module")
def spoken(tmp_path_factory: pytest.TempPathFactory) -> Run:
    """The first sheet once more, in words."""
    out = tmp_path_factory.mktemp("spoken") / "out"
    with redirect_stdout(io.StringIO()) as printed:
        assert survey(SHEETS[0], out) == 0
    return Run(out, printed.getvalue())


@pytest.fixture(scope="module")
def over(tmp_path_factory: pytest.TempPathFactory) -> Run:
    """The second sheet once more, for machines, over files that were there."""
    out = tmp_path_factory.mktemp("over") / "out"
    out.mkdir()
    (out / "mine.txt").write_text("mine")
    for name in ("findings.json", "still-map.svg", "recheck.json"):
        (out / name).write_text("old")
    with redirect_stdout(io.StringIO()) as printed:
        assert survey(SHEETS[1], out, "--json", "--overwrite") == 0
    return Run(out, printed.getvalue())


def told(out: Path) -> dict:
    return json.loads((out / "findings.json").read_text(encoding="utf-8"))


def test_every_pinned_file_is_there_and_no_other(surveyed: Path) -> None:
    assert {path.name for path in surveyed.iterdir()} == FILES
    assert all(path.stat().st_size > 1000 for path in surveyed.iterdir())
    assert sorted(p.name for p in surveyed.parent.iterdir()) == ["out"]


def test_the_findings_fit_their_schema(surveyed: Path) -> None:
    assert schema_faults("findings", told(surveyed)) == []


def test_solid_to_rebuild_is_watertight_and_has_the_volume_of_the_findings(
    surveyed: Path,
) -> None:
    import trimesh

    solid = trimesh.load_mesh(surveyed / "rebuild.stl")
    assert solid.is_watertight
    said = told(surveyed)["volume"]["rebuild"]["value"]
    assert solid.volume * 1e-9 == pytest.approx(said, rel=0.005)


def test_gridded_file_agrees_with_the_findings(surveyed: Path) -> None:
    import netCDF4

    found = told(surveyed)
    with netCDF4.Dataset(surveyed / "surface.nc") as file:
        height, azimuth = file["height"][:], file["azimuth"][:]
        assert np.diff(height).max() <= 10.0 + 1e-9
        assert np.diff(azimuth).max() <= 1.0
        surveyed_rows = file["surveyed"][:].astype(bool).any(axis=1)
        inside = height[surveyed_rows]
        assert found["surveyed"]["height_from"] < inside.min()
        assert found["surveyed"]["height_to"] > inside.max()
        cutback = np.ma.filled(file["cutback"][:].astype(float), np.nan)
        assert np.isnan(cutback[~surveyed_rows]).all()
        wall = np.where(file["opening"][:] == 1, np.nan, cutback)
        deepest = found["deepest"]["cutback"]
        assert deepest["low95"] < np.nanmax(wall) <= deepest["high95"]
        row = np.argmin(np.abs(height - found["deepest"]["height"]))
        column = np.argmin(np.abs(azimuth - found["deepest"]["azimuth"]))
        assert wall[row, column] == np.nanmax(wall)
        likely = np.ma.filled(file["p_brick"][:].astype(float), np.nan)
        assert np.nanmin(likely) >= 0.0
        assert np.nanmax(likely) <= 1.0


def test_zones_lie_on_the_surveyed_wall_and_volumes_fit_together(
    surveyed: Path,
) -> None:
    found = told(surveyed)
    assert found["zones"]
    low, high = found["surveyed"]["height_from"], found["surveyed"]["height_to"]
    for zone in found["zones"]:
        assert low <= zone["height_from"] < zone["height_to"] <= high
        assert 0 <= zone["azimuth_from"] < 360
        assert 0 <= zone["azimuth_to"] < 360
    to_fill = sum(
        zone["volume"]["value"] for zone in found["zones"] if zone["action"] != "chip"
    )
    assert to_fill <= found["volume"]["rebuild"]["value"]
    gross = found["volume"]["rebuild"]["value"] - found["volume"]["buildup"]["value"]
    assert found["volume"]["net"]["value"] == pytest.approx(gross)


def test_the_account_of_the_repair_closes(surveyed: Path) -> None:
    found = told(surveyed)
    repair, volume = found["repair"], found["volume"]
    account = repair["account"]
    put_in = account["bricks"] + account["joints"] + account["daub"]
    room = account["rebuild"] - account["left"] + account["cut"] + account["before"]
    assert put_in == pytest.approx(room, rel=1e-6)
    assert account["rebuild"] == pytest.approx(volume["rebuild"]["value"], rel=1e-6)
    assert account["buildup"] == pytest.approx(volume["buildup"]["value"], rel=1e-6)
    # zone by zone the same, told once more
    laid = [zone["brickwork"] for zone in repair["zones"] if zone["brickwork"]]
    daub = sum(z["daub"]["volume"]["value"] for z in repair["zones"] if z["daub"])
    assert sum(one["volume"] for one in laid) == pytest.approx(account["bricks"])
    assert daub == pytest.approx(account["daub"], rel=1e-6)
    assert put_in != pytest.approx(room + daub, rel=1e-6)
    ordered = {line["material"]: line for line in repair["order"]}
    needed = {}
    for brick in (brick for one in laid for brick in one["bricks"]):
        needed[brick["name"]] = needed.get(brick["name"], 0) + brick["needed"]
    for name, count in needed.items():
        assert 0 < count <= ordered[name]["enough"]


def test_the_same_input_gives_the_same_repair(
    surveyed: Path, request: pytest.FixtureRequest
) -> None:
    sheet = request.node.callspec.params["surveyed"]
    again = request.getfixturevalue("spoken" if sheet == SHEETS[0] else "over").out
    one, other = (
        json.dumps(told(out)["repair"], sort_keys=False) for out in (surveyed, again)
    )
    assert one == other


def test_repair_sheet_is_two_cards_and_a_page_a_brick_zone(surveyed: Path) -> None:
    import pypdf

    repair = told(surveyed)["repair"]
    pages = [
        " ".join(page.extract_text().split())
        for page in pypdf.PdfReader(surveyed / "repair-sheet.pdf").pages
    ]
    bricked = [z["id"] for z in repair["zones"] if z["brickwork"] is not None]
    assert len(pages) <= 2 + len(bricked) + 1
    assert (pages[0][:9], pages[1][:9]) == ("Wall card", "Work card")
    for zone in repair["zones"]:
        laid = zone["action"] == "brick" and zone["brickwork"] is not None
        letter = "B" if laid else {"chip": "C"}.get(zone["action"], "D")
        assert f"{letter}{zone['id']} " in pages[1]
        named = sum(page.startswith(f"B{zone['id']}: brick") for page in pages)
        assert named == (zone["id"] in bricked)
    for line in repair["order"]:
        if line["unit"] == "bricks":
            assert f"{line['material']}: {line['enough']:.0f}" in pages[2]


def test_title_is_text_and_not_markup_in_the_report(surveyed: Path) -> None:
    page = (surveyed / "report.html").read_text(encoding="utf-8")
    assert "Heat 41 &lt;b&gt;" in page
    assert "Heat 41 <b>" not in page


def test_summary_says_volume_deepest_point_zones_and_where_the_files_are(
    spoken: Run,
) -> None:
    out, said = spoken.out, " ".join(spoken.printed.split())
    rebuild = told(out)["volume"]["rebuild"]
    feet, low, high = (rebuild[k] / 0.3048**3 for k in ("value", "low95", "high95"))
    litres = 1e3 * rebuild["value"]
    assert f"{feet:.2f} ft³ ({litres:.1f} L), 95 %: {low:.2f} to {high:.2f} ft³" in said
    assert "o'clock" in said or "half past" in said
    actions = [zone["action"] for zone in told(out)["zones"]]
    assert "brick" in actions
    for action in ("daub", "brick", "chip", "measure again"):
        count = actions.count(action)
        told_counts = re.findall(rf"\b(\d+) {action}\b", said)
        assert told_counts == ([str(count)] if count else []), action
    assert "report.html" in said
    repair = told(out)["repair"]
    for line in repair["order"]:
        assert line["material"] in said
    assert "95 % sure" in said
    words = {"chip sill": "chip sill", "daub lip": "daub lip out"}
    for one in repair["taper"]:
        for remedy in one["remedies"]:
            assert words.get(remedy["work"], "fill the hollow") in said
    assert ("As drawn the wall is flush" in said) == any(
        one["flush"] for one in repair["taper"]
    )
    assert "runs in" not in said


def test_overwrite_replaces_our_files_and_keeps_others(over: Run) -> None:
    assert (over.out / "mine.txt").read_text() == "mine"
    assert told(over.out)["schema"] == "daubline.findings/1"
    assert {path.name for path in over.out.iterdir()} == {*FILES, "mine.txt"}
    assert {path.name for path in over.out.parent.iterdir()} == {"out"}


def test_quiet_says_nothing_and_the_installed_command_needs_no_display(
    command: subprocess.CompletedProcess[str],
) -> None:
    assert (command.returncode, command.stdout, command.stderr) == (0, "", "")


def test_version_is_told() -> None:
    from geom._version import __version__

    done = subprocess.run(
        [sys.executable, "-m", "geom.cli", "--version"],
        capture_output=True,
        text=True,
        env=os.environ | {"PYTHONPATH": str(SCANS.parent)},
        check=True,
    )
    assert done.stdout.strip() == f"daubline {__version__}"


def test_for_machines_the_findings_are_printed_and_nothing_else(over: Run) -> None:
    assert json.loads(over.printed) == told(over.out)
