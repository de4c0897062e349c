"""A record summed by whoever: the same bits, each file once, every failure told."""

from __future__ import annotations

import os
import subprocess
import sys
from dataclasses import fields, replace
from pathlib import Path

import numpy as np
import pytest

from geom.errors import InputError, MissingExtra
from geom.record.regions import regions_of
from geom.record.store.store import Record, open_record
from geom.record.wear import accumulate as module
from geom.record.wear.accumulate import (
    Accumulated,
    accumulate,
    accumulate_chunk,
    cut_chunks,
)
from geom.record.wear.series import Spell, exposures, find_spells, wear_series
from tests.record.small_record import start, worn_record

ROOT = Path(__file__).resolve().parents[3]
HEATS = 13


@pytest.fixture(scope="module")
def repaired(tmp_path_factory) -> Record:
    """Thirteen heats, each surveyed before and after its repair."""
    folder = tmp_path_factory.mktemp("records") / "repaired"
    start(folder)
    return worn_record(folder, HEATS)


@pytest.fixture(scope="module")
def left_alone(tmp_path_factory) -> Record:
    """Thirteen heats without a repair: every survey ends a spell and starts one."""
    folder = tmp_path_factory.mktemp("records") / "alone"
    start(folder)
    return worn_record(folder, HEATS, repaired=False, seed=1)


@pytest.fixture
def short_runs(monkeypatch):
    """Runs of four spells, two of them held at once."""
    monkeypatch.setattr(module, "CHUNK_SPELLS", 4)
    monkeypatch.setattr(module, "_HELD", 2)


def summed(record: Record, **how: object) -> Accumulated:
    spells, _ = find_spells(record.occasions)
    regions = regions_of(record.panels, record.design)
    return accumulate(record, spells, regions, **how)  # type: ignore[arg-type]


def assert_same(one: Accumulated, other: Accumulated) -> None:
    """To the last bit."""
    for name in ("start", "end", "start_variance", "end_variance", "side_covariance"):
        a, b = getattr(one.series, name), getattr(other.series, name)
        np.testing.assert_array_equal(a, b)
    np.testing.assert_array_equal(one.maps.trend, other.maps.trend)
    np.testing.assert_array_equal(one.maps.trend_sd, other.maps.trend_sd)
    for name in ("per_heat", "per_hour", "per_tonne"):
        a, b = getattr(one.maps, name), getattr(other.maps, name)
        for part in ("rate", "sd", "spells"):
            np.testing.assert_array_equal(getattr(a, part), getattr(b, part))
    assert one.states.keys() == other.states.keys()
    for occasion, state in one.states.items():
        for name in {field.name for field in fields(state)} - {"panels"}:
            part = getattr(other.states[occasion], name)
            np.testing.assert_array_equal(getattr(state, name), part)


# --- the same, whoever sums ----------------------------------------------------------


def test_processes_sum_to_the_same_bits(left_alone, short_runs):
    here = summed(left_alone)
    assert_same(here, summed(left_alone, processes=2))
    assert np.isfinite(here.maps.trend).mean() > 0.9


@pytest.fixture(scope="module")
def address():
    """Where the scheduler of two workers listens."""
    from distributed import LocalCluster

    with LocalCluster(
        n_workers=2,
        threads_per_worker=1,
        scheduler_kwargs={"dashboard": False, "dashboard_address": "127.0.0.1:0"},
        silence_logs="CRITICAL",
    ) as cluster:
        yield cluster.scheduler_address


def test_a_cluster_sums_to_the_same_bits(address, left_alone, short_runs):
    assert_same(summed(left_alone), summed(left_alone, cluster=address))


def test_runs_of_another_length_agree(left_alone, repaired, short_runs, monkeypatch):
    """Not to the last bit, but no spell is lost or counted twice where runs meet."""
    for record in (left_alone, repaired):
        short = summed(record)
        with monkeypatch.context() as longer:
            longer.setattr(module, "CHUNK_SPELLS", 64)
            longer.setattr(module, "_HELD", 8)
            whole = summed(record)
        for a, b in (
            (short.maps.per_heat.rate, whole.maps.per_heat.rate),
            (short.maps.per_heat.sd, whole.maps.per_heat.sd),
            (short.maps.trend, whole.maps.trend),
            (short.maps.trend_sd, whole.maps.trend_sd),
        ):
            np.testing.assert_allclose(a, b, rtol=1e-9, atol=1e-12)
        np.testing.assert_array_equal(short.series.start, whole.series.start)


def test_a_run_that_does_not_look_back_would_be_seen(left_alone, short_runs):
    """The spoiled twin: errors of a survey between two runs count in both."""
    spells, _ = find_spells(left_alone.occasions)
    regions = regions_of(left_alone.panels, left_alone.design)
    run = cut_chunks(left_alone, spells, regions)[1]
    assert run.lead == spells[3]
    alone, whole = (
        accumulate_chunk(one).cells[0]["shared"]
        for one in (replace(run, lead=None), run)
    )
    assert not np.allclose(alone, whole, rtol=1e-9)


def test_the_wear_series_is_that_of_whole_surveys(repaired, short_runs):
    spells, _ = find_spells(repaired.occasions)
    regions = regions_of(repaired.panels, repaired.design)
    expected = wear_series(spells, regions, repaired.state)
    found = summed(repaired)
    np.testing.assert_allclose(found.series.start, expected.start, rtol=1e-12)
    np.testing.assert_allclose(found.series.wear, expected.wear, rtol=1e-9)
    np.testing.assert_allclose(found.series.variance, expected.variance, rtol=1e-12)
    np.testing.assert_allclose(
        found.series.side_covariance, expected.side_covariance, rtol=1e-9
    )
    assert len(found.states) == 2 * HEATS
    for occasion in found.states:
        state, whole = found.states[occasion], repaired.state(occasion)
        np.testing.assert_array_equal(state.cutback, whole.cutback)
        np.testing.assert_array_equal(state.deepest, whole.deepest)
        np.testing.assert_array_equal(state.deepest_sd, whole.deepest_sd)
        np.testing.assert_array_equal(state.part, whole.part)
        np.testing.assert_array_equal(state.part_sd, whole.part_sd)
        np.testing.assert_array_equal(state.area, whole.area)
        assert state.covariance.size == 0


# --- against a library that knows nothing of this ------------------------------------


def through_xarray(record: Record, spells: tuple[Spell, ...]):
    """Wear of every spell by xarray and dask, out of core: dims (spell, ...)."""
    import xarray as xr

    def open_hdf5(which: str):
        paths = [str(record.path(getattr(one, which))) for one in spells]
        return xr.open_mfdataset(
            paths, engine="h5netcdf", combine="nested", concat_dim="spell",
            preprocess=lambda data: data[["cutback"]].reset_coords(drop=True),
            chunks={}, join="exact", data_vars="all", coords="minimal",
            compat="override",
        )["cutback"]  # fmt: skip

    return open_hdf5("end").astype("f8") - open_hdf5("start").astype("f8")


@pytest.mark.parametrize("which", ["repaired", "left_alone"])
def test_the_map_is_what_plain_xarray_makes_of_the_record(which, request, short_runs):
    import xarray as xr

    record = request.getfixturevalue(which)
    spells, _ = find_spells(record.occasions)
    wear = through_xarray(record, spells)
    assert wear.chunks is not None  # nothing is read until it is asked for
    wear = wear.load()  # once for all that is asked of it
    amounts = [exposures(spells, which) for which in ("heat", "hour", "tonne")]
    maps = summed(record).maps
    rates = (maps.per_heat, maps.per_hour, maps.per_tonne)
    for amount, found in zip(amounts, rates, strict=True):
        lasted = xr.DataArray(amount, dims="spell").where(wear.notnull())
        whole = lasted.sum("spell", min_count=1)
        expected = (wear.sum("spell") / whole).compute()
        np.testing.assert_allclose(found.rate, expected, rtol=1e-9)
        np.testing.assert_array_equal(found.spells, wear.notnull().sum("spell"))
    heat = xr.DataArray([float(one.end.heat) for one in spells], dims="spell")
    away = heat - heat.where(wear.notnull()).mean("spell")
    square = (away**2).where(wear.notnull()).sum("spell")
    square = square.where(wear.notnull().sum("spell") >= 3)
    slope = (away * wear).sum("spell") / square
    np.testing.assert_allclose(maps.trend, slope, rtol=1e-9, atol=1e-12)


# --- how it is read ------------------------------------------------------------------


def test_each_survey_is_read_once(left_alone, repaired, monkeypatch):
    read: list[str] = []
    open_hdf5 = module.open_hdf5

    def noting(path: Path):
        read.append(path.name)
        return open_hdf5(path)

    monkeypatch.setattr(module, "open_hdf5", noting)
    for record in (left_alone, repaired):
        read.clear()
        summed(record)
        spells, _ = find_spells(record.occasions)
        needed = {o.name for one in spells for o in (one.start, one.end)}
        assert sorted(read) == sorted(f"{name}.nc" for name in needed)


def test_progress_is_reported_in_words(repaired, short_runs):
    words: list[str] = []
    summed(repaired, tick=words.append)
    assert words == [f"{n} of 13 spells" for n in (4, 8, 12, 13)]


def test_few_spells_start_no_processes(repaired, monkeypatch):
    def none(*told: object, **named: object) -> None:
        raise AssertionError

    monkeypatch.setattr(module, "ProcessMap", none)
    monkeypatch.setattr(module, "CHUNK_SPELLS", 4)
    summed(repaired)
    monkeypatch.setattr(module, "MANY", HEATS)
    monkeypatch.setattr(module, "processors", lambda: 2)
    with pytest.raises(AssertionError):
        summed(repaired)


def test_a_script_may_call_it_without_a_guard(repaired, tmp_path):
    """Each process of a pool of the standard library would begin with the script."""
    script = tmp_path / "script.py"
    script.write_text(
        f"import sys; sys.path.insert(0, {str(ROOT)!r})\n"
        "from geom.record.wear import accumulate as module\n"
        "from geom.record.wear.accumulate import accumulate\n"
        "from geom.record.regions import regions_of\n"
        "from geom.record.wear.series import find_spells\n"
        "from geom.record.store.store import open_record\n"
        "module.CHUNK_SPELLS = 4\n"
        f"record = open_record({str(repaired.folder)!r})\n"
        "spells, _ = find_spells(record.occasions)\n"
        "regions = regions_of(record.panels, record.design)\n"
        "found = accumulate(record, spells, regions, processes=2)\n"
        "print('summed', found.maps.per_heat.spells.max())\n"
    )
    done = subprocess.run(
        [sys.executable, str(script)], capture_output=True, text=True, check=False
    )
    assert (done.returncode, done.stdout) == (0, f"summed {HEATS}\n"), done.stderr


# --- every failure told --------------------------------------------------------------


@pytest.fixture
def damaged(repaired, tmp_path, monkeypatch) -> Record:
    """The same with half of one file lost, named as seen from its own folder."""
    folder = tmp_path / "damaged"
    (folder / "surveys").mkdir(parents=True)
    for file in repaired.folder.rglob("*.*"):
        (folder / file.relative_to(repaired.folder)).write_bytes(file.read_bytes())
    record = open_record(folder)
    path = record.path(record.occasions[9])
    os.truncate(path, path.stat().st_size // 2)
    monkeypatch.chdir(tmp_path)
    return replace(record, folder=Path("damaged"))


@pytest.mark.parametrize("how", [{}, {"processes": 2}, {"cluster": "address"}])
def test_a_damaged_survey_is_reported_the_same_by_all(
    damaged, how, short_runs, request
):
    if "cluster" in how:
        how = {"cluster": request.getfixturevalue(how["cluster"])}
    with pytest.raises(InputError) as fault:
        summed(damaged, **how)
    name = damaged.occasions[9].name
    assert fault.value.file == str(Path("damaged") / "surveys" / f"{name}.nc")
    assert "not as it was written" in fault.value.what
    assert "daubline record check" in str(fault.value)


def test_a_survey_that_is_gone_is_reported(damaged):
    damaged.path(damaged.occasions[9]).unlink()
    with pytest.raises(InputError, match=r"no such file.*under the same name"):
        summed(damaged)


def test_a_survey_on_other_rows_is_reported(repaired):
    spells, _ = find_spells(repaired.occasions)
    regions = regions_of(repaired.panels, repaired.design)
    run = cut_chunks(repaired, spells, regions)[0]
    taller = replace(run, shape=(run.shape[0] + 2, run.shape[1]))
    with pytest.raises(InputError, match="cutback: is not on the rows of the drawing"):
        accumulate_chunk(taller)


def test_another_version_of_the_program_is_reported(repaired):
    spells, _ = find_spells(repaired.occasions)
    regions = regions_of(repaired.panels, repaired.design)
    run = replace(cut_chunks(repaired, spells, regions)[0], version="0.0.9")
    with pytest.raises(InputError, match=r"Install daubline 0\.0\.9 for"):
        accumulate_chunk(run)


def test_no_scheduler_is_reported(repaired):
    with pytest.raises(InputError, match='no Dask scheduler answers at "nowhere"'):
        summed(repaired, cluster="nowhere")


def test_without_dask_the_extra_is_named(repaired, monkeypatch):
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(MissingExtra, match=r"daubline\[cluster\]"):
        summed(repaired, cluster="local")
