"""``daubline sheet``: a blank sheet that is printed, filled in and surveyed."""

from __future__ import annotations

import json
import re
from pathlib import Path

import numpy as np
import pypdf
import pytest

from geom import InputError, assess, load_design, load_readings, reconstruct
from geom.cli import main
from geom.units import MM_PER, as_fraction
from geom.views.cautions import TO_ENTER

SCANS = Path(__file__).resolve().parents[2] / "scans"
DEMO = SCANS / "cupola-2.toml"
READ = SCANS / "cupola-2-heat-41.csv"
FILES = {"rod-sheet.xlsx", "rod-sheet.pdf"}

METRIC = """\
[lining]
name = "Schacht 3 (invented)"
length_unit = "mm"
azimuth_zero = "Abstich"
azimuth_sense = "counterclockwise"
height_zero = "Bodenplatte"

[[profile]]
height = 0
radius = 450
[[profile]]
height = 900
radius = 430
[[profile]]
height = 900
radius = 460
[[profile]]
height = 1800
radius = 460

[[tuyere]]
azimuth = 60
height = 450
width = 130
tall = 90
[[tuyere]]
azimuth = 240
height = 450
width = 130
tall = 90
"""


@pytest.fixture
def metric(tmp_path: Path) -> Path:
    path = tmp_path / "schacht-3.toml"
    path.write_text(METRIC, encoding="utf-8")
    return path


def sheet(design: Path, out: Path, *more: str) -> int:
    return main(["sheet", str(design), "--out", str(out), *more])


def fill_in(path: Path, design, leave_out: int = 7) -> list[tuple[float, float, float]]:
    """Type a reading into every white cell but some, as a person would.

    Gives what was typed as azimuth in degrees, height and radius in mm.
    """
    import openpyxl

    book = openpyxl.load_workbook(path)
    rod = book["rod"]
    rows = list(rod.iter_rows())
    (top,) = [k for k, row in enumerate(rows) if "\\" in str(row[0].value)]
    per = float(MM_PER[design.length_unit])
    typed, met = [], 0
    for row in rows[top + 1 :]:
        if str(row[0].value).startswith("#"):
            continue
        height = float(row[0].value) * per
        turn = 0.0
        for head, cell in zip(rows[top][1:], row[1:], strict=True):
            if head.value == "turn_deg":
                turn = float(cell.value)
                continue
            if head.value == "note" or cell.fill.fill_type == "solid":
                continue
            met += 1
            if met % leave_out == 0:
                continue
            azimuth = (float(head.value.removesuffix("deg")) + turn) % 360.0
            radius = float(design.profile.radius_at(height)) + 8.0 + met % 5
            if design.length_unit == "in":
                said = as_fraction(radius / 25.4)
                # Now as a fraction, now as the decimal it is.
                eighths = round(radius / 25.4 * 8.0)
                cell.value = said if met % 2 else eighths / 8.0
                radius = eighths / 8.0 * 25.4
            else:
                radius = float(round(radius))
                cell.value = radius / per
            typed.append((azimuth, height, radius))
    book.save(path)
    return typed


def as_read(readings):
    """Azimuth, height and radius of each reading; (n, 3)."""
    return np.column_stack([readings.azimuth, readings.height, readings.value])


def words_of(pdf: Path) -> list[str]:
    read = pypdf.PdfReader(pdf).pages
    return [re.sub(r"\s+", " ", page.extract_text()) for page in read]


# --- there and back ------------------------------------------------------------------


def test_a_sheet_in_inches_comes_back_as_it_was_written(tmp_path: Path) -> None:
    out = tmp_path / "blank"
    assert sheet(DEMO, out, "--title", "After heat 60") == 0
    assert {path.name for path in out.iterdir()} == FILES
    design = load_design(DEMO)
    typed = fill_in(out / "rod-sheet.xlsx", design)
    readings = load_readings(out / "rod-sheet.xlsx", design)
    assert set(readings.kind) == {"radius"}
    assert as_read(readings) == pytest.approx(np.array(typed), abs=1e-6)
    assert len(typed) > 100
    assert np.unique(readings.step) == pytest.approx([25.4 / 8])
    surface = reconstruct(readings, design, spacing=40.0, columns=90)
    found = assess(surface, design).to_dict()
    assert found["readings"]["count"] == len(typed)
    assert found["readings"]["kinds"] == ["rod radius"]
    assert found["surveyed"]["height_to"] == pytest.approx(max(t[1] for t in typed))
    # The wall was written down 8 to 12 mm back, give or take half an eighth of an inch.
    assert 5.0 < found["deepest"]["cutback"]["value"] < 20.0


@pytest.mark.parametrize(
    ("unit", "sense"),
    [("mm", "counterclockwise"), ("mm", "clockwise"), ("cm", "counterclockwise")],
)
def test_other_units_and_senses_come_back_too(
    tmp_path: Path, metric: Path, unit: str, sense: str
) -> None:
    text = METRIC.replace('"counterclockwise"', f'"{sense}"')
    if unit == "cm":
        text = re.sub(
            r"(height|radius|width|tall) = (\d+)",
            lambda m: f"{m[1]} = {int(m[2]) / 10}",
            text,
        ).replace('length_unit = "mm"', 'length_unit = "cm"')
    metric.write_text(text, encoding="utf-8")
    out = tmp_path / "blank"
    assert sheet(metric, out, "--azimuths", "10") == 0
    design = load_design(metric)
    typed = fill_in(out / "rod-sheet.xlsx", design)
    readings = load_readings(out / "rod-sheet.xlsx", design)
    assert as_read(readings) == pytest.approx(np.array(typed), abs=1e-6)
    # Ten a row, evenly round; rows are turned against each other.
    turn_at = {
        h: {round(a % 36.0, 6) for a, g, _ in typed if g == h} for _, h, _ in typed
    }
    assert all(len(turns) == 1 for turns in turn_at.values())
    assert len(set.union(*turn_at.values())) == 2
    assert len({azimuth for azimuth, _, _ in typed}) == 2 * 10


@pytest.mark.parametrize("sense", ["clockwise", "counterclockwise"])
def test_the_clock_above_a_column_is_that_of_its_azimuth(
    tmp_path: Path, metric: Path, sense: str
) -> None:
    import openpyxl

    metric.write_text(METRIC.replace('"counterclockwise"', f'"{sense}"'), "utf-8")
    assert sheet(metric, tmp_path / "out", "--columns") == 0
    rows = list(openpyxl.load_workbook(tmp_path / "out/rod-sheet.xlsx")["rod"].values)
    (top,) = [k for k, row in enumerate(rows) if "\\" in str(row[0])]
    clocks, heads = rows[top - 1][1:-1], rows[top][1:-1]
    assert len(heads) == 12
    for hour, (clock, head) in enumerate(zip(clocks, heads, strict=True)):
        # An hour is 30 degrees, the way the hands turn.
        assert clock == f"{hour or 12} o'clock"
        onward = hour if sense == "clockwise" else -hour % 12
        assert head == f"{30 * onward}deg"


@pytest.mark.parametrize("sense", ["clockwise", "counterclockwise"])
def test_the_clock_above_a_turned_row_is_that_of_its_stations(
    tmp_path: Path, metric: Path, sense: str
) -> None:
    import openpyxl

    metric.write_text(METRIC.replace('"counterclockwise"', f'"{sense}"'), "utf-8")
    assert sheet(metric, tmp_path / "out") == 0
    rows = list(openpyxl.load_workbook(tmp_path / "out/rod-sheet.xlsx")["rod"].values)
    (top,) = [k for k, row in enumerate(rows) if "\\" in str(row[0])]
    assert rows[top][1] == "turn_deg"
    heads = [float(head.removesuffix("deg")) for head in rows[top][2:-1]]
    assert len(heads) == 12
    turns = set()
    pairs = list(zip(rows[top + 1 :: 2], rows[top + 2 :: 2], strict=True))
    assert len(pairs) >= 8
    for clocks, row in pairs:
        assert clocks[0] == "# clock, azimuth"
        assert isinstance(row[0], int | float)
        turn = float(row[1])
        turns.add(turn)
        for head, clock in zip(heads, clocks[2:-1], strict=True):
            azimuth = (head + turn) % 360.0
            # Half a degree a minute, the way the hands turn.
            onward = azimuth if sense == "clockwise" else -azimuth % 360.0
            hour, minute = divmod(round(2.0 * onward), 60)
            assert clock == f"{hour or 12}:{minute:02d}, {azimuth:g}\N{DEGREE SIGN}"
    assert len(turns) > 1


# --- paper ---------------------------------------------------------------------------


@pytest.mark.parametrize("unit", ["in", "mm"])
def test_the_paper_has_every_height_and_the_cautions(
    tmp_path: Path, metric: Path, unit: str
) -> None:
    import openpyxl

    assert sheet(DEMO if unit == "in" else metric, tmp_path / "out") == 0
    told = words_of(tmp_path / "out/rod-sheet.pdf")
    assert all(caution in told[0] for caution in TO_ENTER)
    rows = list(openpyxl.load_workbook(tmp_path / "out/rod-sheet.xlsx")["rod"].values)
    heights = [row[0] for row in rows if isinstance(row[0], int | float)]
    assert len(heights) >= 8
    for height in heights:
        said = as_fraction(height, finest=64) if unit == "in" else f"{height:g}"
        assert f" {said} {unit} " in " ".join(told[1:])
    for page in pypdf.PdfReader(tmp_path / "out/rod-sheet.pdf").pages:
        # Lying, A4 is 842 x 595 points and Letter 792 x 612.
        assert page.mediabox.width <= 792
        assert page.mediabox.height <= 595


def test_more_or_fewer_stations_are_had_for_the_asking(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert sheet(DEMO, tmp_path / "a", "--heights", "6", "--azimuths", "8") == 0
    said = capsys.readouterr()
    assert re.search(r"\b4\d stations at 6 heights and 8 azimuths", said.out)
    assert "rod-sheet.pdf" in said.out
    assert "Caution" in said.out
    assert said.err == ""


def test_rows_too_far_apart_are_said_before_anybody_climbs(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert sheet(DEMO, tmp_path / "a", "--heights", "3", "--azimuths", "8") == 0
    told = " ".join(capsys.readouterr().out.split())
    found = re.search(r"no row between .* in .* --heights (\d+) closes the gap", told)
    assert found
    more = found[1]
    assert sheet(DEMO, tmp_path / "b", "--heights", more, "--azimuths", "8") == 0
    assert "no row between" not in capsys.readouterr().out


# --- a second climb ------------------------------------------------------------------


@pytest.fixture(scope="module")
def few(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give the demo's sheet with every fifth reading, to be quick."""
    lines = READ.read_text(encoding="utf-8").splitlines()
    head = [line for line in lines if line[:1] in ("#", "a")]
    rows = [line for line in lines if line[:1].isdigit()]
    path = tmp_path_factory.mktemp("few") / "fifth.csv"
    path.write_text("\n".join([*head, *rows[::5]]) + "\n", encoding="utf-8")
    return path


def test_a_second_climb_goes_where_next_says(
    tmp_path: Path, few: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "again"
    assert sheet(DEMO, out, "--readings", str(few), "--count", "4") == 0
    capsys.readouterr()
    assert main(["next", str(DEMO), str(few), "--count", "4", "--json"]) == 0
    stations = json.loads(capsys.readouterr().out)["stations"]
    design = load_design(DEMO)
    typed = fill_in(out / "rod-sheet.xlsx", design, leave_out=99)
    wanted = [(s["azimuth"], s["height"]) for s in stations]
    assert len(wanted) == 4
    places = sorted((azimuth, height) for azimuth, height, _ in typed)
    assert np.array(places) == pytest.approx(np.array(sorted(wanted)))
    readings = load_readings([few, out / "rod-sheet.xlsx"], design)
    assert len(readings) == 47 + 4
    listed = " ".join(words_of(out / "rod-sheet.pdf")[1:])
    for station in stations:
        inches = as_fraction(station["height"] / 25.4)
        assert re.search(
            rf"\b{station['rank']} (half past \d+|\d+ o'clock) "
            rf"{station['azimuth']:g}° {inches} in ",
            listed,
        )


# --- what is refused -----------------------------------------------------------------


@pytest.mark.parametrize(
    ("more", "words"),
    [
        (["--count", "3"], "--count is for a second climb"),
        (
            ["--readings", str(READ), "--heights", "5"],
            "--heights, --azimuths and --columns",
        ),
        (
            ["--readings", str(READ), "--azimuths", "8"],
            "--heights, --azimuths and --columns",
        ),
        (["--heights", "60"], "60 heights are asked for, the rod can be set at 30"),
        (["--readings", str(SCANS / "none.csv")], "there is no such file"),
        (["--readings", str(SCANS / "cupola-2-heat-41-scan.laz")], "rod readings only"),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_written(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], more: list[str], words: str
) -> None:
    assert sheet(DEMO, tmp_path / "deep/out", *more) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert words in said.err
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    "more",
    [
        ["--heights", "1"],
        ["--heights", "61"],
        ["--azimuths", "3"],
        ["--azimuths", "x"],
        ["--count", "0"],
    ],
)
def test_bad_usage_ends_with_2(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], more: list[str]
) -> None:
    with pytest.raises(SystemExit) as left:
        sheet(DEMO, tmp_path / "out", *more)
    assert left.value.code == 2
    assert more[0] in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


def test_a_bad_design_is_told_as_survey_tells_it(
    tmp_path: Path, metric: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    metric.write_text(METRIC.replace("azimuth_zero", "azimuth_zer"), "utf-8")
    assert sheet(metric, tmp_path / "out") == 2
    assert f"daubline: {metric}, " in capsys.readouterr().err
    assert not (tmp_path / "out").exists()


def test_a_folder_with_files_needs_overwrite(
    tmp_path: Path, metric: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "out"
    assert sheet(metric, out) == 0
    before = (out / "rod-sheet.xlsx").read_bytes()
    assert sheet(metric, out, "--heights", "5") == 2
    assert "already holds files" in capsys.readouterr().err
    assert (out / "rod-sheet.xlsx").read_bytes() == before
    assert sheet(metric, out, "--heights", "5", "--overwrite") == 0
    assert (out / "rod-sheet.xlsx").read_bytes() != before


def test_a_sheet_that_has_been_written_on_is_never_overwritten(
    tmp_path: Path, metric: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "out"
    assert sheet(metric, out) == 0
    fill_in(out / "rod-sheet.xlsx", load_design(metric))
    before = {path.name: path.read_bytes() for path in out.iterdir()}
    assert sheet(metric, out, "--overwrite") == 2
    assert "has been written on" in capsys.readouterr().err
    assert {path.name: path.read_bytes() for path in out.iterdir()} == before


def test_a_blank_sheet_is_no_survey(tmp_path: Path, metric: Path) -> None:
    assert sheet(metric, tmp_path / "out") == 0
    with pytest.raises(InputError, match="holds no readings"):
        load_readings(tmp_path / "out/rod-sheet.xlsx", load_design(metric))


def test_the_same_design_gives_the_same_files(tmp_path: Path, metric: Path) -> None:
    for name in ("a", "b"):
        assert sheet(metric, tmp_path / name) == 0
    for file in FILES:
        first, second = (tmp_path / name / file for name in ("a", "b"))
        assert first.read_bytes() == second.read_bytes()
