"""Ways to a wear map of a record: daubline's, and those of general libraries."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

import numpy as np

from geom.record.regions import regions_of
from geom.record.store.occasion import Occasion
from geom.record.store.store import Record
from geom.record.wear.accumulate import accumulate
from geom.record.wear.series import Spell, find_spells
from geom.units import Float

#: Wear per heat, its sd, and its trend, (m, k) each.
Maps = tuple[Float, Float, Float]


def ours(processes: int | None) -> Callable[[Record], Maps]:
    """Daubline: maps against heats, hours and tonnes, and the series of all pieces."""

    def way(record: Record) -> Maps:
        spells, _ = find_spells(record.occasions)
        regions = regions_of(record.panels, record.design)
        maps = accumulate(record, spells, regions, processes=processes).maps
        return maps.per_heat.rate, maps.per_heat.sd, maps.trend

    return way


def by_hand(record: Record) -> Maps:
    """What somebody handy writes: one pass of plain sums, in one process."""
    import h5py

    spells, _ = find_spells(record.occasions)

    def read(one: Occasion) -> Float:
        with h5py.File(record.path(one), "r") as file:
            return np.asarray(file["cutback"][()], dtype=np.float64)

    sums: Any = 0.0
    for one in spells:
        wear = read(one.end) - read(one.start)
        heats, middle = float(one.heats), 0.5 * (one.first_heat + one.last_heat)
        known = np.isfinite(wear)
        wear = np.where(known, wear, 0.0)
        sums = sums + np.stack([
            known, heats * known, heats * middle * known, heats * middle**2 * known,
            wear, wear * middle, wear**2 / heats,
        ])  # fmt: skip
    return _from_sums(sums)


def by_xarray(record: Record) -> Maps:
    """Xarray over dask, out of core, as its own documentation has it; on threads."""
    import xarray as xr

    spells, _ = find_spells(record.occasions)
    place = {one: k for k, one in enumerate(record.occasions)}
    data = xr.open_mfdataset(
        [str(record.path(one)) for one in record.occasions],
        engine="h5netcdf", combine="nested", concat_dim="survey",
        preprocess=lambda one: one[["cutback"]].reset_coords(drop=True),
        chunks={}, join="override", data_vars="all", coords="minimal",
        compat="override",
    )  # fmt: skip
    start = data["cutback"].isel(survey=[place[one.start] for one in spells])
    end = data["cutback"].isel(survey=[place[one.end] for one in spells])
    wear = end.astype("f8") - start.astype("f8")
    return _fitted(wear, spells)


def by_xarray_on_processes(record: Record) -> Maps:
    """The same on processes, by dask.distributed."""
    from distributed import Client, LocalCluster

    quiet = {"dashboard": False, "dashboard_address": "127.0.0.1:0"}
    with (
        LocalCluster(
            n_workers=os.cpu_count(), threads_per_worker=1, scheduler_kwargs=quiet,
            silence_logs="CRITICAL",
        ) as cluster,
        Client(cluster),
    ):  # fmt: skip
        return by_xarray(record)


def _fitted(wear: Any, spells: tuple[Spell, ...]) -> Maps:
    """Mean and plain trend of dask-backed wear, in one reading."""
    import dask
    import xarray as xr

    heats = xr.DataArray([float(one.heats) for one in spells], dims="survey")
    middle = xr.DataArray(
        [0.5 * (one.first_heat + one.last_heat) for one in spells], dims="survey"
    )
    known = wear.notnull()
    weight = heats.where(known)
    sums = {
        "n": known.sum("survey"),
        "w": weight.sum("survey"),
        "x": (weight * middle).sum("survey"),
        "xx": (weight * middle**2).sum("survey"),
        "y": wear.sum("survey"),
        "xy": (wear * middle).sum("survey"),
        "yy": (wear**2 / heats).sum("survey"),
    }
    found = dask.compute(*sums.values())
    return _from_sums(one.to_numpy() for one in found)


def _from_sums(sums: Iterable[Float]) -> Maps:
    n, w, x, xx, y, xy, yy = sums
    with np.errstate(invalid="ignore", divide="ignore"):
        rate = y / w
        sd = np.sqrt((yy - rate * y) / (n - 1) / w)
        slope = (xy - rate * x) / (xx - x * x / w)
    return rate, sd, slope


WAYS: dict[str, Callable[[Record], Maps]] = {
    "daubline, one process": ours(1),
    "daubline, processes": ours(None),
    "h5py and numpy by hand": by_hand,
    "xarray and dask, threads": by_xarray,
    "xarray and dask, processes": by_xarray_on_processes,
}


def save(path: Path, maps: Maps) -> None:
    """Keep what was found, to be set beside what others found."""
    np.savez(path, rate=maps[0], sd=maps[1], trend=maps[2])
