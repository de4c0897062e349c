"""What a wear map of a long record costs, beside general libraries, in one run.

``python scripts/bench/record.py --surveys 50,200,1000``

For each number of surveys a record is made (`long_records`), every way to its wear map
(`record_ways`) is run in a process of its own, and seconds and memory, of it and its
processes together, stand side by side.  ``--study`` times the whole command as well.
"""

from __future__ import annotations

import argparse
import os
import platform
import shutil
import sys
import time
from collections.abc import Sequence
from importlib.metadata import version
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
from cloud_timing import formatted, show
from long_records import bytes_of, make_record
from record_memory import Watched, watched
from record_ways import WAYS, save

from geom.record.store.store import Record, open_record

#: Bytes of disk that a survey takes, and that must be free besides.
_SURVEY, _FREE = 1_400_000, 2_000_000_000
#: Surveys from which peers are not asked any more, unless formatted.
_PEERS = 2000
_LIBRARIES = ("numpy", "numba", "h5py", "xarray", "dask", "distributed")


def one_way(name: str, folder: Path, out: Path) -> None:
    """Run one way; print the seconds of opening the record, and of the rest."""
    begun = time.perf_counter()
    record = open_record(folder)
    open_hdf5 = time.perf_counter()
    maps = WAYS[name](record)
    done = time.perf_counter()
    save(out, maps)
    print(open_hdf5 - begun, done - open_hdf5)


def measured(name: str, folder: Path, out: Path) -> Watched:
    """One way, in a process of its own."""
    words = [sys.executable, __file__, "--one", name, str(folder), str(out)]
    done = watched(words)
    if done.code:
        raise RuntimeError(f"{name}: {done.err}")
    return done


def compared(record: Record, names: Sequence[str]) -> list[list[str]]:
    """A row for each way."""
    rows, first, base = [], None, 0.0
    with TemporaryDirectory() as folder:
        for name in names:
            out = Path(folder) / "maps.npz"
            done = measured(name, record.folder, out)
            open_hdf5, seconds = map(float, done.out.split())
            maps = dict(np.load(out))
            if first is None:
                first, base = maps, seconds
            off = [
                float(np.nanmax(np.abs(maps[k] - first[k]))) for k in ("rate", "trend")
            ]
            count = len(record.occasions)
            rows.append(
                [f"{count:,}", name, formatted(open_hdf5), formatted(seconds, ".1f"),
                 formatted(1e3 * seconds / count), formatted(seconds / base, ".2f"),
                 formatted(done.seconds, ".1f"), formatted(done.processor, ".1f"),
                 formatted(done.megabytes, ".0f"),
                 *(formatted(o, ".1g") for o in off)]
            )  # fmt: skip
            print(f"  {name}: {seconds:.1f} s", file=sys.stderr, flush=True)
    return rows


def whole_command(record: Record) -> list[str]:
    """``daubline wear`` from its start to its end."""
    with TemporaryDirectory() as folder:
        command = str(Path(sys.executable).with_name("daubline"))
        out = str(Path(folder) / "out")
        done = watched([command, "wear", str(record.folder), "--out", out, "--quiet"])
    if done.code:
        raise RuntimeError(done.err)
    count = f"{len(record.occasions):,}"
    spent = formatted(done.seconds, ".1f"), formatted(done.processor, ".1f")
    return [count, *spent, formatted(done.megabytes, ".0f")]


def _counts(text: str) -> tuple[int, ...]:
    found = tuple(int(part) for part in text.split(","))
    if min(found) < 5:
        raise argparse.ArgumentTypeError("a record has at least five surveys here")
    return found


def _options(words: Sequence[str] | None) -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    add = parser.add_argument
    add(
        "--surveys", type=_counts, default=(50, 200, 1000), help="how many, with commas"
    )
    add("--peers-to", type=int, default=_PEERS, help="largest record that peers do")
    add("--study", action="store_true", help="the whole command too")
    add("--only-study", action="store_true", help="and nothing else")
    add("--folder", type=Path, help="make records there instead of a scratch folder")
    add("--one", nargs=3, metavar=("WAY", "RECORD", "OUT"), help=argparse.SUPPRESS)
    return parser.parse_args(words)


def main(words: Sequence[str] | None = None) -> None:
    """Run what is asked for, and print tables as they come."""
    options = _options(words)
    if options.one:
        name, folder, out = options.one
        one_way(name, Path(folder), Path(out))
        return
    found = ", ".join(f"{name} {version(name)}" for name in _LIBRARIES)
    print(f"{os.cpu_count()} processors; Python {platform.python_version()}, {found}")
    maps: list[list[str]] = []
    whole: list[list[str]] = []
    with TemporaryDirectory(dir=options.folder) as scratch:
        for count in options.surveys:
            if shutil.disk_usage(scratch).free < count * _SURVEY + _FREE:
                print(f"{count:,} surveys: too little disk")
                continue
            begun = time.perf_counter()
            record = make_record(Path(scratch) / f"record-{count}", count)
            size, made = bytes_of(record) / 1e6, time.perf_counter() - begun
            shape = f"{size:,.0f} MB, {size / count:.2f} MB a survey"
            print(f"{count:,} surveys: {shape}; made in {made:.0f} s", flush=True)
            names = [
                n for n in WAYS if n.startswith("daub") or count <= options.peers_to
            ]
            if not options.only_study:
                maps += compared(record, names)
            if options.study or options.only_study:
                whole.append(whole_command(record))
            shutil.rmtree(record.folder)
    if maps:
        show(
            "Wear map of a record (files in the system's cache)",
            ("surveys", "way", "opening s", "map s", "ms a survey",
             "time / one process", "with start-up s", "processor s",
             "peak MB, all processes",
             "rate off mm", "trend off mm"),
            maps,
        )  # fmt: skip
    if whole:
        heads = ("surveys", "s", "processor s", "peak MB, all processes")
        show("The whole command, from its start to its end", heads, whole)


if __name__ == "__main__":
    main()
