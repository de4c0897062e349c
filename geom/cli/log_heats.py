"""``daubline record log``: every survey of a heat log, one after another."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from geom.design import Design
    from geom.errors import InputError
    from geom.readings import CloudReadings, RodReadings
    from geom.record.heat_log import Logged
    from geom.record.store import Record

    Read = RodReadings | CloudReadings

_STOPPED = 130


def log_heats(asked: argparse.Namespace) -> None:
    """Do it: all rows are read and checked first, then each is surveyed and added."""
    from geom.cli.survey import progress_bar
    from geom.record.heat_log import read_heat_log
    from geom.record.store import start_record

    logged = read_heat_log(asked.log)
    record, fresh = _record(asked.record, asked.design)
    new = _new(logged, record, quiet=asked.quiet)
    with progress_bar(asked.quiet) as bar:
        task = bar.add_task("reading", total=2 * len(new))

        def tick(next_up: str, advance: int = 1) -> None:
            bar.update(task, advance=advance, description=next_up)

        read = []
        for one in new:
            tick(f"reading {one.occasion.words}", 0)
            read.append(_readings(one, record.design, asked))
            tick("")
        if fresh:
            start_record(asked.record, asked.design)
        added = _add_all(record, new, read, cluster=asked.cluster, tick=tick)
    if not asked.quiet:
        _say(f"{_surveys(added)} added to {asked.record}")


def _record(folder: Path, design: Path | None) -> tuple[Record, bool]:
    """The record, and whether it has still to be started."""
    from geom.design import load_design
    from geom.errors import InputError
    from geom.record.manifest import LINING
    from geom.record.refusals import refuse_start, refuse_unwritable
    from geom.record.same_drawing import refuse_other_design
    from geom.record.store import Record, open_record

    if (folder / LINING).is_file():
        record = open_record(folder)
        refuse_unwritable(folder)
        if design is not None:
            try:
                refuse_other_design(record.design, load_design(design))
            except InputError as said:
                raise said.at(file=design) from None
        return record, False
    if design is None:
        what = "there is no record there"
        raise InputError(what, file=folder, cure="Start it with --design DESIGN")
    refuse_start(folder)
    return Record(folder, load_design(design), ()), True


def _new(
    logged: Sequence[Logged], record: Record, *, quiet: bool
) -> tuple[Logged, ...]:
    """Rows whose surveys are not in the record, checked against those that are."""
    from geom.record.refusals import refuse_occasion

    there = {one.name: one for one in record.occasions}
    new = tuple(one for one in logged if one.occasion.name not in there)
    refuse_occasion(record, *(one.occasion for one in new))
    old = [one for one in logged if one.occasion.name in there]
    if old and not quiet:
        _say(f"{_surveys(len(old))} in the record already")
    for one in old:
        if there[one.occasion.name] != one.occasion and not quiet:
            _say(
                f"{one.file}, {one.place}: the record tells other hours, iron, date or "
                f"campaign of {one.occasion.words}; it is left as it is"
            )
    return new


def _readings(one: Logged, design: Design, asked: argparse.Namespace) -> Read:
    from geom.cli.inputs import read_readings
    from geom.errors import InputError

    try:
        return read_readings(one.readings, design, asked)
    except InputError as said:
        raise said.at(file=one.file, place=one.place) from None


def _add_all(
    record: Record,
    new: Sequence[Logged],
    read: Sequence[Read],
    *,
    cluster: str | None,
    tick: Callable[[str], None],
) -> int:
    """Survey and add each; how many were added."""
    from geom.errors import InputError

    added = 0
    try:
        for one, readings in zip(new, read, strict=True):
            tick(one.occasion.words)
            if not record.path(one.occasion).exists():
                _survey(record, one, readings, cluster)
                added += 1
    except InputError as said:
        raise _halfway(said, one, added) from said
    except KeyboardInterrupt:
        _say(f"daubline: stopped, {_surveys(added)} added; call again to go on")
        raise SystemExit(_STOPPED) from None
    return added


def _survey(record: Record, one: Logged, readings: Read, cluster: str | None) -> None:
    import tempfile

    from geom.compare import assess
    from geom.record.store import add_survey
    from geom.repair import work_out
    from geom.surface import reconstruct
    from geom.views.document import document_bytes
    from geom.views.netcdf import write_netcdf

    surface = reconstruct(readings, record.design, cluster=cluster)
    findings = assess(surface, record.design, title=one.occasion.words)
    works = work_out(surface, findings, record.design)
    with tempfile.TemporaryDirectory(prefix="daubline-") as name:
        folder = Path(name)
        (folder / "findings.json").write_bytes(document_bytes(findings, works))
        write_netcdf(folder / "surface.nc", surface, findings)
        add_survey(record.folder, folder, one.occasion)


def _halfway(said: InputError, one: Logged, added: int) -> InputError:
    from geom.errors import InputError

    cure = f"{said.cure.rstrip('.')}. " if said.cure else ""
    return InputError(
        said.what,
        file=said.file or one.file,
        place=said.place or one.place,
        cure=f"{cure}Before it {_surveys(added)} added; call again to go on",
    )


def _surveys(count: int) -> str:
    return "1 survey was" if count == 1 else f"{count} surveys were"


def _say(words: str) -> None:
    print(words, file=sys.stderr)  # noqa: T201
