"""A record keeps surveys as they were, whatever happens to the folder around them."""

from __future__ import annotations

import errno
import hashlib
import json
import os
import shutil
import stat
import time
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest

from geom.compare.panels import panels_of
from geom.design import load_design
from geom.errors import InputError
from geom.record.store import manifest, store
from geom.record.store.occasion import Occasion
from geom.record.store.store import (
    add_survey,
    check_record,
    open_record,
    rebuild_manifest,
    start_record,
)
from geom.record.store.survey_file import load_panels, load_wall
from tests.record.furnace import DRAWING, drawing, occasion, output_folder, surveyed

FIRST, LAST = occasion(3, hours=6.5, melted=40_000.0, campaign="7"), occasion(5)


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the drawing and the output folder of one survey of it."""
    folder = tmp_path_factory.mktemp("shop")
    output_folder(folder / "survey", drawing(folder))
    return folder


@pytest.fixture(scope="module")
def kept(shop: Path) -> Path:
    """A record of two surveys; not to be changed."""
    folder = shop / "kept"
    start_record(folder, shop / "cupola-s.toml")
    for when in (LAST, FIRST):
        add_survey(folder, shop / "survey", when)
    return folder


@pytest.fixture
def record(kept: Path, tmp_path: Path) -> Path:
    """The same, for one test."""
    return Path(shutil.copytree(kept, tmp_path / "record"))


def files(folder: Path) -> set[str]:
    found = (path for path in folder.rglob("*") if path.is_file())
    return {path.relative_to(folder).as_posix() for path in found}


def survey_of(folder: Path, when: Occasion) -> Path:
    return folder / "surveys" / f"{when.name}.nc"


# --- what is kept --------------------------------------------------------------------


def test_a_record_is_its_drawing_its_surveys_and_a_manifest(
    shop: Path, kept: Path
) -> None:
    assert files(kept) == {
        "lining.toml",
        "manifest.json",
        "surveys/heat-00003-before-repair.nc",
        "surveys/heat-00005-before-repair.nc",
    }
    drawn = (shop / "cupola-s.toml").read_bytes()
    assert (kept / "lining.toml").read_bytes() == drawn
    for name in ("lining.toml", "surveys/heat-00003-before-repair.nc"):
        assert stat.S_IMODE((kept / name).stat().st_mode) & 0o333 == 0


def test_occasions_come_back_in_order_as_they_were_stated(kept: Path) -> None:
    record = open_record(kept)
    assert record.occasions == (FIRST, LAST)
    assert record.design.name == "Cupola S (invented)"
    assert record.path(FIRST) == survey_of(kept, FIRST)
    assert record.wall(FIRST).occasion == FIRST


def test_a_wall_comes_back_from_the_record_as_from_the_folder(
    shop: Path, kept: Path
) -> None:
    design, surface, findings = surveyed(shop / "cupola-s.toml")
    wall, own = open_record(kept).wall(FIRST), load_wall(shop / "survey", design)
    assert own.occasion is None
    np.testing.assert_allclose(own.cutback, surface.cutback)
    np.testing.assert_array_equal(own.wall, surface.grid.wall)
    np.testing.assert_allclose(own.row_height, surface.grid.row_height)
    assert wall.findings == own.findings == json.loads(json.dumps(findings.to_dict()))
    assert (wall.title, wall.created) == ("Heat 7", findings.created)
    np.testing.assert_array_equal(wall.panels.cutback, findings.panels.cutback)
    np.testing.assert_allclose(wall.panels.covariance, findings.panels.covariance, 1e-6)
    # The volume put in does not depend on whose rows it is added up on; rows at both
    # ends of the surveyed wall are up to half a row off.
    volumes = [
        np.nansum(w.wall * w.cutback * (w.design_radius * w.row_height)[:, None])
        for w in (wall, own)
    ]
    assert volumes[0] == pytest.approx(volumes[1], rel=0.03)


def test_panels_are_read_alone_and_are_the_same(shop: Path, kept: Path) -> None:
    record = open_record(kept)
    for state in (
        record.state(FIRST),
        load_panels(shop / "survey", panels_of(record.design)),
    ):
        found = record.wall(FIRST).panels
        for name in ("cutback", "covariance", "deepest", "deepest_sd", "area"):
            np.testing.assert_array_equal(getattr(state, name), getattr(found, name))


def test_all_surveys_open_in_one_call_and_nothing_is_filled_in(kept: Path) -> None:
    """With xarray, whose merging takes NaN for any number among coordinates."""
    import xarray as xr

    paths = sorted((kept / "surveys").glob("*.nc"))
    with xr.open_mfdataset(paths, combine="nested", concat_dim="survey") as data:
        assert data["cutback"].dims == ("survey", "height", "azimuth")
        assert data["cutback"].dtype == np.float32
        assert data["heat"].to_numpy().tolist() == [3, 5]
        days = data["time"].to_numpy().astype("datetime64[D]").astype(object)
        assert days.tolist() == [FIRST.date, LAST.date]
        np.testing.assert_array_equal(data["melted"], [40_000.0, np.nan])
        np.testing.assert_array_equal(data["hours_on_blast"], [6.5, np.nan])
        assert data["campaign"].to_numpy().tolist() == ["7", ""]
        assert str(data["stage"].to_numpy().ravel()[0]) == "before repair"
        assert json.loads(data["findings"].to_numpy()[0])["title"] == "Heat 7"
        wall = open_record(kept).wall(LAST)
        np.testing.assert_array_equal(data["cutback"][1], wall.cutback)


def test_another_library_reads_the_same(kept: Path) -> None:
    import netCDF4

    wall = open_record(kept).wall(FIRST)
    with netCDF4.Dataset(survey_of(kept, FIRST)) as data:
        data.set_auto_mask(False)
        np.testing.assert_array_equal(data["cutback"][:], wall.cutback)
        assert data["cutback"].dimensions == ("height", "azimuth")
        assert data["panel_covariance"].dimensions == ("panel", "panel_other")
        assert data["cutback"].units == "mm"
        assert data["melted"].units == "kg"
        assert netCDF4.num2date(data["time"][()], data["time"].units).day == 4
        assert data["stage"][()] == "before repair"
        assert set(data["cutback"].coordinates.split()) == {
            "heat", "time", "stage", "campaign",
        }  # fmt: skip
        for name, variable in data.variables.items():
            if variable.ndim > 0:
                assert variable.filters()["fletcher32"], name
                assert variable.filters()["zlib"], name


def test_the_same_survey_gives_the_same_bytes(shop: Path, tmp_path: Path) -> None:
    made = []
    for name in ("one", "other"):
        start_record(tmp_path / name, shop / "cupola-s.toml")
        made.append(add_survey(tmp_path / name, shop / "survey", FIRST).read_bytes())
        time.sleep(1.1)
    assert made[0] == made[1]


# --- what is refused -----------------------------------------------------------------

WRONG: dict[str, tuple[Occasion, str]] = {
    "there": (FIRST, "heat 3, before repair is already in the record"),
    "contradicts": (occasion(5, "not repaired"), "there are both heat 5"),
    "too early": (
        occasion(4, date=date(2026, 1, 3)),
        "heat 4, before repair is of 2026-01-03, but heat 3, before repair of "
        "2026-01-04: dates run backwards",
    ),
    "too late": (
        occasion(3, "after repair", date=date(2026, 1, 7)),
        "heat 5, before repair is of 2026-01-06, but heat 3, after repair of",
    ),
    "campaign": (occasion(9, campaign="a\nb"), "no name on one line"),
}


@pytest.mark.parametrize("case", WRONG)
def test_a_wrong_occasion_is_refused(shop: Path, record: Path, case: str) -> None:
    when, words = WRONG[case]
    before = files(record)
    with pytest.raises(InputError, match=words):
        add_survey(record, shop / "survey", when)
    assert files(record) == before


def test_an_occasion_of_the_same_day_between_others_is_taken(
    shop: Path, record: Path
) -> None:
    add_survey(record, shop / "survey", occasion(3, "after repair", date=FIRST.date))
    add_survey(record, shop / "survey", occasion(4, "not repaired", date=LAST.date))
    assert [one.words for one in open_record(record).occasions] == [
        "heat 3, before repair",
        "heat 3, after repair",
        "heat 4, not repaired",
        "heat 5, before repair",
    ]
    assert check_record(record) == ()


OTHERS: dict[str, tuple[str, str, str]] = {
    "lining": ('"Cupola S (invented)"', '"Cupola T"', "lining is"),
    "frame": ('"clockwise"', '"counterclockwise"', "azimuth sense is"),
    "profile": ("radius = 440", "radius = 470", "another drawing"),
    "opening moved": ("azimuth = 40", "azimuth = 80", "another drawing"),
    "opening gone": ("width = 90", "width = 10", "it has an opening, and the record"),
}


@pytest.mark.parametrize("case", OTHERS)
def test_a_survey_of_another_drawing_is_refused(
    shop: Path, tmp_path: Path, case: str
) -> None:
    old, new, words = OTHERS[case]
    assert old in DRAWING
    start_record(tmp_path / "record", drawing(tmp_path, DRAWING.replace(old, new)))
    with pytest.raises(InputError, match=words) as found:
        add_survey(tmp_path / "record", shop / "survey", FIRST)
    assert found.value.cure
    assert open_record(tmp_path / "record").occasions == ()


def spoiled(shop: Path, folder: Path, spoil: Callable[[Path], object]) -> Path:
    shutil.copytree(shop / "survey", folder)
    spoil(folder)
    return folder


def without_panels(folder: Path) -> None:
    import xarray as xr

    path = folder / "surface.nc"
    with xr.open_dataset(path, engine="h5netcdf") as data:
        older = data.load()
    older = older.drop_vars([name for name in older if str(name).startswith("panel_")])
    path.unlink()
    older.to_netcdf(path, engine="h5netcdf")


FOLDERS: dict[str, tuple[Callable[[Path], object], str]] = {
    "empty": (lambda f: [p.unlink() for p in f.iterdir()], "no surface.nc"),
    "no findings": (lambda f: (f / "findings.json").unlink(), "no findings.json"),
    "two surveys": (
        lambda f: (f / "findings.json").write_text(
            (f / "findings.json")
            .read_text("utf-8")
            .replace('created": "20', 'created": "21'),
            "utf-8",
        ),
        r"but surface\.nc next to it",
    ),
    "cut short": (
        lambda f: (f / "surface.nc").write_bytes(
            (f / "surface.nc").read_bytes()[:9000]
        ),
        "cannot be read",
    ),
    "older": (without_panels, "Survey its readings again with this version"),
}


@pytest.mark.parametrize("case", FOLDERS)
def test_a_folder_that_holds_no_such_survey_is_refused(
    shop: Path, record: Path, tmp_path: Path, case: str
) -> None:
    spoil, words = FOLDERS[case]
    folder = spoiled(shop, tmp_path / "spoiled", spoil)
    before = files(record)
    with pytest.raises(InputError, match=words) as found:
        add_survey(record, folder, occasion(9))
    assert "spoiled" in (found.value.file or "")
    assert files(record) == before


def test_a_record_is_started_once_and_only_in_an_empty_folder(
    shop: Path, kept: Path, tmp_path: Path
) -> None:
    design = shop / "cupola-s.toml"
    with pytest.raises(InputError, match=r"lining\.toml in it already"):
        start_record(kept, design)
    with pytest.raises(InputError, match="files that are of no record"):
        start_record(shop, design)
    with pytest.raises(InputError, match="there is a file"):
        start_record(design, design)
    (tmp_path / "bad.toml").write_text("[lining]\n", "utf-8")
    with pytest.raises(InputError, match=r"bad\.toml"):
        start_record(tmp_path / "new", tmp_path / "bad.toml")
    assert not (tmp_path / "new").exists()
    with pytest.raises(InputError, match=r"there is no lining\.toml in it"):
        open_record(tmp_path)


def test_of_two_who_start_a_record_at_once_one_does(
    shop: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The other comes in after the first has looked and found nothing."""
    design, folder = shop / "cupola-s.toml", tmp_path / "record"
    look = store.refuse_start

    def look_then_other(where: Path) -> None:
        look(where)
        monkeypatch.setattr(store, "refuse_start", look)
        start_record(folder, design)

    monkeypatch.setattr(store, "refuse_start", look_then_other)
    with pytest.raises(InputError, match=r"lining\.toml in it already"):
        start_record(folder, design)
    assert files(folder) == {"lining.toml", "manifest.json"}
    assert check_record(folder) == ()


def test_a_start_that_was_killed_can_be_made_again(shop: Path, tmp_path: Path) -> None:
    folder = tmp_path / "record"
    (folder / "surveys").mkdir(parents=True)
    (folder / ".lining.toml.0a1b2c").write_bytes(b"")
    start_record(folder, shop / "cupola-s.toml")
    assert open_record(folder).occasions == ()


# --- the manifest is only a cache ----------------------------------------------------

MANIFESTS: dict[str, Callable[[str], str]] = {
    "empty": lambda _: "",
    "cut short": lambda text: text[: len(text) // 2],
    "nested": lambda _: "[" * 100_000,
    "no object": lambda _: "[]",
    "another schema": lambda text: text.replace("record/1", "record/9"),
    "no date": lambda text: text.replace('"date"', '"day"'),
    "a wrong date": lambda text: text.replace("2026-01-04", "2026-13-04"),
    "a wrong stage": lambda text: text.replace('"before repair"', "[1]"),
    "another heat": lambda text: text.replace('"heat": 3', '"heat": 4'),
    "no number": lambda text: text.replace("40000.0", '"40000"'),
    "not a number": lambda text: text.replace("40000.0", "NaN"),
    "a size that is not": lambda text: text.replace('"size": ', '"size": 1'),
    "no surveys": lambda text: text.split('"surveys"')[0] + '"surveys": {}}',
}


@pytest.mark.parametrize("case", MANIFESTS)
def test_a_record_opens_whatever_its_manifest_says(record: Path, case: str) -> None:
    path = record / "manifest.json"
    old = path.read_text("utf-8")
    assert MANIFESTS[case](old) != old
    path.write_text(MANIFESTS[case](old), "utf-8")
    assert open_record(record).occasions == (FIRST, LAST)
    if case not in ("no surveys", "a size that is not"):
        assert [fault.split(":")[0] for fault in check_record(record)] == [
            "manifest.json"
        ]
    rebuild_manifest(record)
    assert path.read_text("utf-8") == old
    assert check_record(record) == ()


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("40000.0", "4000.0", "tells melted 4000.0 of"),
        ("2026-01-06", "2026-01-02", "tells date '2026-01-02' of"),
        ('"campaign": ""', '"campaign": "one"', "tells campaign 'one' of"),
    ],
)
def test_an_edited_manifest_is_refused_with_the_file_that_says_otherwise(
    record: Path, old: str, new: str, words: str
) -> None:
    path = record / "manifest.json"
    text = path.read_text("utf-8")
    assert old in text
    path.write_text(text.replace(old, new), "utf-8")
    with pytest.raises(InputError) as fault:
        open_record(record)
    assert words in fault.value.what
    assert "surveys/heat-0000" in fault.value.what
    assert str(fault.value.file) == str(path)
    assert "daubline record rebuild" in str(fault.value)
    rebuild_manifest(record)
    assert open_record(record).occasions == (FIRST, LAST)


def test_a_manifest_laid_out_anew_or_without_a_seal_tells_the_same(
    shop: Path, record: Path
) -> None:
    path = record / "manifest.json"
    found = json.loads(path.read_text("utf-8"))
    path.write_text(json.dumps(found, indent=1), "utf-8")
    assert manifest.read_manifest(record).sealed
    del found["seal"]
    path.write_text(json.dumps(found), "utf-8")
    assert not manifest.read_manifest(record).sealed
    assert open_record(record).occasions == (FIRST, LAST)
    add_survey(record, shop / "survey", occasion(9))
    assert manifest.read_manifest(record).sealed


def test_a_record_opens_without_its_manifest_and_the_next_add_makes_it(
    shop: Path, record: Path
) -> None:
    (record / "manifest.json").unlink()
    assert open_record(record).occasions == (FIRST, LAST)
    assert check_record(record) == ()
    add_survey(record, shop / "survey", occasion(9))
    found = json.loads((record / "manifest.json").read_text("utf-8"))["surveys"]
    assert list(found) == [p.name for p in sorted((record / "surveys").iterdir())]
    for name, entry in found.items():
        content = (record / "surveys" / name).read_bytes()
        assert entry["sha256"] == hashlib.sha256(content).hexdigest()


def test_a_manifest_that_another_writes_over_is_mended(
    shop: Path, record: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Another adds a survey, and writes what it listed before this one was there."""
    path = record / "manifest.json"
    old, write = path.read_bytes(), manifest.atomic_write
    theirs = add_survey(record, shop / "survey", occasion(9))
    taken = theirs.rename(record / "theirs.nc")

    def write_then_other(where: Path, content: bytes) -> None:
        write(where, content)
        if taken.exists():
            taken.rename(theirs)
            write(where, old)

    path.write_bytes(old)
    monkeypatch.setattr(manifest, "atomic_write", write_then_other)
    add_survey(record, shop / "survey", occasion(11))
    found = json.loads(path.read_text("utf-8"))["surveys"]
    assert [entry["heat"] for entry in found.values()] == [3, 5, 9, 11]


def test_with_a_good_manifest_no_survey_is_opened(
    record: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(path: Path) -> Iterator[None]:
        raise AssertionError(path)

    monkeypatch.setattr(manifest, "open_hdf5", refuse)
    assert len(open_record(record).occasions) == 2
    (record / "manifest.json").unlink()
    with pytest.raises(AssertionError):
        open_record(record)


def test_five_thousand_surveys_are_listed_in_a_second(record: Path) -> None:
    """Of the processor's time; the surveys are links to one file."""
    one = survey_of(record, LAST)
    held = manifest.read_manifest(record)
    for heat in range(6, 5004):
        name = f"heat-{heat:05d}-before-repair.nc"
        os.link(one, record / "surveys" / name)
        entry = held.entries[one.name]
        later = replace(entry.occasion, heat=heat)
        held.entries[name] = replace(entry, occasion=later)
    content = manifest.as_text(held.lining, held.entries)
    (record / "manifest.json").write_bytes(content)
    start = time.process_time()
    found = open_record(record)
    assert time.process_time() - start < 1.0
    assert [one.heat for one in found.occasions] == [3, *range(5, 5004)]


def test_a_survey_taken_out_is_gone_and_can_be_added_anew(
    shop: Path, record: Path
) -> None:
    survey_of(record, FIRST).unlink()
    assert open_record(record).occasions == (LAST,)
    (fault,) = check_record(record)
    assert fault.startswith("surveys/heat-00003-before-repair.nc: is gone")
    anew = occasion(3, hours=7.0)
    add_survey(record, shop / "survey", anew)
    assert open_record(record).occasions == (anew, LAST)
    assert check_record(record) == ()


def test_a_killed_writers_old_leftovers_are_swept_and_young_ones_kept(
    shop: Path, record: Path
) -> None:
    old = [
        record / ".manifest.json.k2_x9",
        record / "surveys" / ".heat-00009-before-repair.nc.0a1b2c3d4e5f",
    ]
    young = record / "surveys" / ".heat-00010-before-repair.nc.0a1b2c3d4e5f"
    other = record / "surveys" / ".notes"
    for path in (*old, young, other):
        path.write_bytes(b"half")
    hour_ago = time.time() - 3700.0
    for path in (*old, other):
        os.utime(path, (hour_ago, hour_ago))
    assert open_record(record).occasions == (FIRST, LAST)
    assert check_record(record) == ()
    add_survey(record, shop / "survey", occasion(9))
    assert not any(path.exists() for path in old)
    assert young.exists()
    assert other.exists()


# --- damage is seen ------------------------------------------------------------------


def flip(path: Path, place: int) -> None:
    """Turn one bit over, as a disk may."""
    path.chmod(0o644)
    content = bytearray(path.read_bytes())
    content[place] ^= 0x10
    path.write_bytes(bytes(content))


def place_of(path: Path, name: str) -> int:
    """The middle of a field's stored bytes."""
    import h5py

    with h5py.File(path, "r") as file:
        chunk = file[name].id.get_chunk_info(0)
    return int(chunk.byte_offset + chunk.size // 2)


def names_it(faults: tuple[str, ...]) -> bool:
    return len(faults) == 1 and faults[0].startswith(f"surveys/{FIRST.name}.nc: ")


@pytest.mark.parametrize("name", ["cutback", "zone", "panel_covariance", "panel_edge"])
def test_one_wrong_bit_is_seen_with_and_without_a_manifest(
    record: Path, name: str
) -> None:
    path = survey_of(record, FIRST)
    flip(path, place_of(path, name))
    assert names_it(check_record(record))
    rebuild_manifest(record)
    assert names_it(check_record(record))
    (record / "manifest.json").unlink()
    assert names_it(check_record(record))
    if name != "zone":
        with pytest.raises(InputError, match="cannot be read"):
            open_record(record).wall(FIRST)


def test_a_wrong_bit_in_a_text_is_seen_by_the_manifest(record: Path) -> None:
    path = survey_of(record, FIRST)
    flip(path, path.read_bytes().index(b"Heat 7") + 1)
    assert names_it(check_record(record))
    assert "sha256" in check_record(record)[0]


def test_damage_is_not_covered_up_by_the_next_add(shop: Path, record: Path) -> None:
    path = survey_of(record, FIRST)
    flip(path, path.read_bytes().index(b"Heat 7") + 1)
    add_survey(record, shop / "survey", occasion(9))
    assert names_it(check_record(record))


@pytest.mark.parametrize("left", [0.0, 0.3, 0.999])
def test_a_file_cut_short_is_seen(record: Path, left: float) -> None:
    path = survey_of(record, FIRST)
    content = path.read_bytes()
    path.chmod(0o644)
    path.write_bytes(content[: int(left * len(content))])
    assert names_it(check_record(record))
    with suppress(InputError):
        assert FIRST not in open_record(record).occasions


@pytest.mark.parametrize("to", ["heat-00007-before-repair.nc", "heat-7.nc", "note.txt"])
def test_a_file_of_another_name_is_no_survey(record: Path, to: str) -> None:
    shutil.copy(survey_of(record, FIRST), record / "surveys" / to)
    faults = check_record(record)
    assert len(faults) == 1
    assert faults[0].startswith(f"surveys/{to}: ")
    if to.startswith("heat-00007"):
        with pytest.raises(InputError, match="holds the survey of heat 3"):
            open_record(record)
    else:
        assert open_record(record).occasions == (FIRST, LAST)


def test_what_two_writers_contradict_each_other_in_is_seen(
    shop: Path, record: Path
) -> None:
    """Each looked before the other was there."""
    before = open_record(record)
    add_survey(record, shop / "survey", occasion(4))
    kept = store.refuse_occasion
    try:
        store.refuse_occasion = lambda *_: kept(before, occasion(4, "not repaired"))
        add_survey(record, shop / "survey", occasion(4, "not repaired"))
    finally:
        store.refuse_occasion = kept
    (fault,) = check_record(record)
    assert "there are both heat 4" in fault


def test_a_changed_drawing_is_seen(record: Path) -> None:
    path = record / "lining.toml"
    path.chmod(0o644)
    path.write_text(path.read_text("utf-8") + "\n[repair]\ntolerance = 5\n", "utf-8")
    (fault,) = check_record(record)
    assert fault.startswith("lining.toml: ")
    rebuild_manifest(record)
    assert check_record(record) == ()
    assert load_design(path).repair.tolerance == 5.0


# --- disks that cannot do everything -------------------------------------------------


def no_links(*_: object, **__: object) -> None:
    raise OSError(errno.EPERM, os.strerror(errno.EPERM))


def test_where_files_cannot_be_linked_the_first_wins_too(
    shop: Path, record: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(os, "link", no_links)
    path = add_survey(record, shop / "survey", occasion(9))
    content = path.read_bytes()
    assert stat.S_IMODE(path.stat().st_mode) & 0o333 == 0
    other = open_record(record)
    monkeypatch.setattr(store, "refuse_occasion", lambda *_: None)
    with pytest.raises(InputError, match="heat 9, before repair is already"):
        add_survey(record, shop / "survey", occasion(9))
    assert path.read_bytes() == content
    assert other.occasions[-1] == occasion(9)
    assert check_record(record) == ()
    assert not [name for name in files(record) if "/." in name]


@pytest.mark.parametrize(("age", "there"), [(5.0, True), (100.0, False)])
def test_an_empty_file_is_no_survey_and_holds_its_place_for_a_minute(
    shop: Path, record: Path, age: float, there: bool
) -> None:
    path = survey_of(record, occasion(9))
    path.touch()
    then = time.time() - age
    os.utime(path, (then, then))
    assert open_record(record).occasions == (FIRST, LAST)
    assert check_record(record) == ()
    if there:
        with pytest.raises(InputError, match="heat 9, before repair is already"):
            add_survey(record, shop / "survey", occasion(9))
    else:
        add_survey(record, shop / "survey", occasion(9))
        assert occasion(9) in open_record(record).occasions


@pytest.mark.parametrize("call", ["fsync", "link and replace"])
def test_a_full_disk_is_reported_and_leaves_the_record_as_it_was(
    shop: Path, record: Path, monkeypatch: pytest.MonkeyPatch, call: str
) -> None:
    def full(*_: object, **__: object) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    before = {name: (record / name).read_bytes() for name in files(record)}
    for name in ("fsync",) if call == "fsync" else ("link", "replace", "rename"):
        monkeypatch.setattr(os, name, full)
    with pytest.raises(InputError, match="cannot be written") as found:
        add_survey(record, shop / "survey", occasion(9))
    assert "No space left" in found.value.what
    monkeypatch.undo()
    assert {name: (record / name).read_bytes() for name in files(record)} == before


def test_a_survey_is_kept_though_its_manifest_cannot_be_written(
    shop: Path, record: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(manifest, "atomic_write", no_links)
    path = add_survey(record, shop / "survey", occasion(9))
    assert path.is_file()
    monkeypatch.undo()
    assert occasion(9) in open_record(record).occasions
    assert check_record(record) == ()
