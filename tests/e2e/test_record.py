"""``daubline record`` and ``survey --record``: surveys kept heat by heat."""

from __future__ import annotations

import json
import re
import shlex
import shutil
from datetime import date
from pathlib import Path

import numpy as np
import pytest

from geom.cli import main
from geom.cli.main import parser
from geom.record.store import store
from geom.record.store.heat_log import read_heat_log
from geom.record.store.occasion import Occasion
from geom.record.store.store import check_record, open_record, start_record
from tests.record.furnace import DRAWING, drawing

DOC = Path(__file__).parents[2].joinpath("docs", "record.md").read_text("utf-8")
PAGE = DOC.split("\n## ")[1]

LOG = """# an invented furnace
heat,date,stage,hours_on_blast,melted_long_ton,campaign,readings
7,2026-03-02,before-repair,6.5,40,3,readings/7.csv
7,2026-03-03,after-repair,,,3,readings/7-after.csv
8,2026-03-04,before-repair,7,42,3,readings/8.csv | readings/8-more.csv
"""


def sheet(path: Path, worn: float, *, heights: tuple[float, float] = (30, 290)) -> None:
    """Radii on 6 azimuths at 4 heights, by an invented wall worn more to one side."""
    rows = ["azimuth_deg,height_mm,radius_mm"]
    for height in np.linspace(*heights, 4).round():
        drawn = 400.0 if height < 150 else 420.0 + (height - 150.0) * 20.0 / 170.0
        for azimuth in range(0, 360, 60):
            radius = drawn + worn * (1.0 + 0.3 * np.cos(np.deg2rad(azimuth)))
            rows.append(f"{azimuth},{height:g},{radius:.0f}")
    path.write_text("\n".join(rows) + "\n", "utf-8")


@pytest.fixture(scope="module")
def shop(few_walls: None, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Drawing, readings, a heat log, and a record of one survey."""
    folder = tmp_path_factory.mktemp("shop")
    drawing(folder)
    (folder / "readings").mkdir()
    for name, worn in (("7", 20.0), ("7-after", 4.0), ("8", 26.0)):
        sheet(folder / "readings" / f"{name}.csv", worn)
    sheet(folder / "readings" / "8-more.csv", 26.0, heights=(45.0, 275.0))
    (folder / "log.csv").write_text(LOG, "utf-8")
    told = "--heat 7 --date 2026-03-02 --stage before-repair --hours 6.5"
    words = [*told.split(), "--melted", "40 long tons", "--campaign", "3"]
    assert survey(folder, folder / "heat-7", *words, record=folder / "kept") == 0
    return folder


def survey(shop: Path, out: Path, *more: str, record: Path | None, name: str = "7"):
    words = ["survey", shop / "cupola-s.toml", shop / "readings" / f"{name}.csv"]
    kept = [] if record is None else ["--record", record]
    return main([str(word) for word in (*words, "--out", out, *kept, "--quiet", *more)])


def record(*words: object) -> int:
    return main(["record", *(str(word) for word in words)])


def flat(text: str) -> str:
    return " ".join(text.split())


# --- survey --record -----------------------------------------------------------------


def test_a_survey_starts_the_record_and_is_in_it(shop: Path) -> None:
    kept = open_record(shop / "kept")
    (only,) = kept.occasions
    assert only.words == "heat 7, before repair"
    assert only.melted == pytest.approx(40 * 2240 * 0.45359237)
    assert (only.hours, only.campaign) == (6.5, "3")
    told = json.loads((shop / "heat-7" / "findings.json").read_text("utf-8"))
    assert kept.wall(only).findings == told
    assert "repair" in told
    assert check_record(shop / "kept") == ()
    drawn = (shop / "cupola-s.toml").read_bytes()
    assert (shop / "kept" / "lining.toml").read_bytes() == drawn


GOOD = "--heat 8 --date 2026-03-04 --stage before-repair"
HALF = {
    "no heat": ("--date 2026-03-04 --stage before-repair", "needs --heat"),
    "nothing": ("", "needs --heat and --date and --stage"),
    "no number": (GOOD.replace("8", "8th", 1), "--heat: '8th' is no heat"),
    "no day": (GOOD.replace("03-04", "3-4"), "--date: '2026-3-4' is no date"),
    "a bare ton": (f"{GOOD} --melted '12 tons'", "--melted: 'tons' is no unit"),
    "no hours": (f"{GOOD} --hours long", "--hours"),
    "in it": (GOOD.replace("8", "7", 1), "heat 7, before repair is already in"),
    "backwards": (GOOD.replace("03-04", "03-01"), "dates run backwards"),
}


@pytest.mark.parametrize("case", HALF)
def test_what_cannot_be_recorded_is_refused_before_any_work(
    shop: Path, case: str, capsys: pytest.CaptureFixture[str], monkeypatch
) -> None:
    words, message = HALF[case]
    out = shop / "never"
    before = {path.name for path in (shop / "kept" / "surveys").iterdir()}
    monkeypatch.setattr("geom.readings.load_readings", None)
    assert survey(shop, out, *shlex.split(words), record=shop / "kept", name="8") == 2
    assert message in flat(capsys.readouterr().err)
    assert not out.exists()
    assert {path.name for path in (shop / "kept" / "surveys").iterdir()} == before


def test_an_occasion_without_a_record_is_refused(
    shop: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert survey(shop, shop / "never", "--heat", "8", record=None) == 2
    assert "--heat is for --record" in capsys.readouterr().err


def test_another_drawing_and_folders_in_one_another_are_refused(
    shop: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    shutil.copytree(shop / "readings", tmp_path / "readings")
    drawing(tmp_path, DRAWING.replace("width = 90", "width = 120"))
    more = GOOD.split()
    assert survey(tmp_path, tmp_path / "out", *more, record=shop / "kept") == 2
    assert "openings are not those of the record" in flat(capsys.readouterr().err)
    assert survey(shop, shop / "kept" / "out", *more, record=shop / "kept") == 2
    assert "next to each other" in capsys.readouterr().err
    assert survey(shop, tmp_path / "out", *more, record=shop) == 2
    assert "files that are of no record" in capsys.readouterr().err
    assert not (tmp_path / "out").exists()


def test_if_it_cannot_be_added_it_says_where_the_survey_is_and_how_to_add_it(
    shop: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """The disk of the record is full when the survey is done."""
    folder = Path(shutil.copytree(shop / "kept", tmp_path / "the record"))

    def full(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(store, "atomic_write", full)
    more = [*GOOD.split(), "--campaign", "no. 3"]
    assert survey(shop, tmp_path / "out", *more, record=folder, name="8") == 2
    said = flat(capsys.readouterr().err)
    assert f"The survey itself is in {tmp_path / 'out'}" in said
    assert (tmp_path / "out" / "report.html").is_file()
    assert len(open_record(folder).occasions) == 1
    monkeypatch.undo()
    program, *words = shlex.split(said[said.index("daubline record add") :].rstrip("."))
    assert program == "daubline"
    assert main(words) == 0
    assert open_record(folder).occasions[-1].campaign == "no. 3"


# --- record --------------------------------------------------------------------------


def test_a_record_is_started_added_to_listed_and_checked(
    shop: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "record"
    assert record("start", folder, shop / "cupola-s.toml") == 0
    assert record("list", folder) == 0
    assert "0 surveys" in capsys.readouterr().out
    for words in (
        "--heat 7 --date 2026-03-02 --stage not-repaired --melted 3.25t",
        "--heat 8 --date 2026-03-04 --stage before-repair",
    ):
        assert record("add", folder, shop / "heat-7", *words.split()) == 0
    capsys.readouterr()

    assert record("list", folder) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[0] == "Record: Cupola S (invented): 2 surveys"
    assert lines[2].split() == ["7", "not", "repaired", "2026-03-02", "3.25", "tonnes"]
    assert "1 spell of wear" in lines[4]

    assert record("list", folder, "--json") == 0
    told = json.loads(capsys.readouterr().out)
    assert told["schema"] == "daubline.record/1"
    assert [one["melted"] for one in told["surveys"]] == [3250.0, None]
    assert told["units"]["melted"] == "kg"
    assert all((folder / one["file"]).is_file() for one in told["surveys"])
    assert told["spells"] == [
        {
            "start": "surveys/heat-00007-not-repaired.nc",
            "end": "surveys/heat-00008-before-repair.nc",
        }
    ]

    assert record("check", folder) == 0
    assert "2 surveys, all as they were added" in capsys.readouterr().out
    (folder / "manifest.json").write_text("{", "utf-8")
    damaged = folder / "surveys" / "heat-00008-before-repair.nc"
    damaged.chmod(0o644)
    damaged.write_bytes(damaged.read_bytes()[:-5000])
    assert record("check", folder) == 2
    said = capsys.readouterr().err
    assert "the record has 2 faults" in said
    assert "manifest.json: cannot be read" in said
    assert "surveys/heat-00008-before-repair.nc: " in said
    assert record("rebuild", folder) == 2
    assert "the record has 1 fault" in capsys.readouterr().err
    damaged.unlink()
    assert record("rebuild", folder) == 0
    assert "1 survey, all as" in capsys.readouterr().out


@pytest.mark.parametrize("name", ["list", "check", "rebuild"])
def test_a_folder_that_is_no_record_is_refused(
    shop: Path, name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert record(name, shop / "heat-7") == 2
    assert "there is no lining.toml in it" in capsys.readouterr().err


def test_an_add_needs_to_be_told_when(
    shop: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as stopped:
        record("add", shop / "kept", shop / "heat-7", "--heat", "8")
    assert stopped.value.code == 2
    assert "--date" in capsys.readouterr().err


def test_commands_of_the_page_are_understood() -> None:
    blocks = re.findall(r"```\n(daubline .*?)```", PAGE, re.DOTALL)
    lines = [line for block in blocks for line in block.replace("\\\n", "").split("\n")]
    told = [shlex.split(line)[1:] for line in lines if line]
    assert {words[0] for words in told} >= {"survey", "record"}
    for words in told:
        assert parser().parse_args(words).run is not None


def test_the_log_of_the_page_is_read(tmp_path: Path) -> None:
    (text,) = re.findall(r"```\n(heat,.*?)```", PAGE, re.DOTALL)
    (tmp_path / "log.csv").write_text(text, "utf-8")
    for name in re.findall(r"heat-[\w-]+\.csv", text):
        (tmp_path / name).touch()
    logged = read_heat_log(tmp_path / "log.csv")
    assert [one.occasion.heat for one in logged] == [41, 41, 42]
    assert len(logged[2].readings) == 2


# --- record log ----------------------------------------------------------------------


def test_several_processes_add_the_same_and_a_line_now_and_then_says_how_far(
    shop: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.setattr("geom.cli.record._MANY", 2)
    monkeypatch.setattr("geom.cli.record._EVERY", 0.0)
    monkeypatch.setattr("geom.parallel.processors", lambda: 2)
    many, log = tmp_path / "many", shop / "log.csv"
    assert record("log", many, log, "--design", shop / "cupola-s.toml") == 0
    lines = capsys.readouterr().err.splitlines()
    assert [re.sub(r"about \d+", "about some", line) for line in lines] == [
        "1 of 3 surveyed, about some s left",
        "2 of 3 surveyed, about some s left",
        f"3 surveys were added to {many}",
    ]
    first, *_ = open_record(many).occasions
    alone = open_record(shop / "kept").wall(first)
    mine = open_record(many).wall(first)
    np.testing.assert_array_equal(mine.cutback, alone.cutback)
    np.testing.assert_array_equal(mine.cutback_sd, alone.cutback_sd)


def test_a_log_that_was_stopped_is_gone_on_with(
    shop: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    folder, log = tmp_path / "record", shop / "log.csv"
    keep, calls = store.keep_survey, []

    def stop_at_second(*given: object) -> Path:
        calls.append(given)
        if len(calls) == 2:
            raise KeyboardInterrupt
        return keep(*given)

    monkeypatch.setattr(store, "keep_survey", stop_at_second)
    with pytest.raises(SystemExit) as stopped:
        record("log", folder, log, "--design", shop / "cupola-s.toml")
    assert stopped.value.code == 130
    assert "1 survey was added; call again" in flat(capsys.readouterr().err)
    monkeypatch.undo()

    assert record("log", folder, log) == 0
    said = flat(capsys.readouterr().err)
    assert "1 survey was in the record already" in said
    assert "2 surveys were added" in said
    kept = open_record(folder)
    assert [one.words for one in kept.occasions] == [
        "heat 7, before repair",
        "heat 7, after repair",
        "heat 8, before repair",
    ]
    assert kept.occasions[2].melted == pytest.approx(42 * 2240 * 0.45359237)
    assert check_record(folder) == ()
    assert kept.wall(kept.occasions[2]).findings["readings"]["count"] == 48
    assert "repair" in kept.wall(kept.occasions[2]).findings
    # What a log adds is what the survey of the same readings is.
    mine = kept.wall(kept.occasions[0])
    other = open_record(shop / "kept").wall(kept.occasions[0])
    np.testing.assert_array_equal(mine.cutback, other.cutback)
    means = [kept.wall(one).panels.cutback for one in kept.occasions]
    assert np.nanmean(means[0]) == pytest.approx(20.0, abs=2.0)
    assert np.nanmean(means[1]) == pytest.approx(4.0, abs=2.0)

    changed = shop / "changed.csv"
    changed.write_text(LOG.replace(",7,42,", ",7.5,42,"), "utf-8")
    assert record("log", folder, changed) == 0
    assert "row 5: the record tells other hours" in flat(capsys.readouterr().err)


def test_a_log_with_a_wrong_row_is_refused_before_any_survey(
    shop: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    design = ("--design", shop / "cupola-s.toml")
    folder = tmp_path / "record"
    wrong = shop / "wrong.csv"
    for old, new, words in (
        ("2026-03-04", "March 4", "wrong.csv, row 5, column date"),
        ("readings/8.csv", "cupola-s.toml", "cupola-s.toml"),
    ):
        wrong.write_text(LOG.replace(old, new), "utf-8")
        assert record("log", folder, wrong, *design) == 2
        assert words in flat(capsys.readouterr().err)
        assert not folder.exists()
    assert record("log", folder, shop / "log.csv") == 2
    assert "--design" in capsys.readouterr().err


def test_a_log_that_contradicts_the_record_is_refused(
    shop: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "record"
    start_record(folder, shop / "cupola-s.toml")
    late = Occasion(6, "not repaired", date(2026, 3, 9))
    store.add_survey(folder, shop / "heat-7", late)
    assert record("log", folder, shop / "log.csv") == 2
    assert "dates run backwards" in flat(capsys.readouterr().err)
    assert len(open_record(folder).occasions) == 1


def test_a_row_that_cannot_be_surveyed_is_named_and_those_before_it_are_kept(
    shop: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "record"
    few = shop / "readings" / "few.csv"
    lines = (shop / "readings" / "8.csv").read_text("utf-8").splitlines()
    few.write_text("\n".join(lines[:3]) + "\n", "utf-8")
    log = shop / "few-log.csv"
    log.write_text(
        LOG.replace("readings/8.csv | readings/8-more.csv", "readings/few.csv"), "utf-8"
    )
    start_record(folder, shop / "cupola-s.toml")
    shutil.copy(next((shop / "kept" / "surveys").iterdir()), folder / "surveys")
    assert record("log", folder, log, "--quiet") == 2
    said = flat(capsys.readouterr().err)
    assert "row 5" in said
    assert "Before it 1 survey was added; call again to go on" in said
    assert len(open_record(folder).occasions) == 2
