"""``daubline record``: the surveys of one lining, heat after heat.

``daubline record log``: every survey of a heat log, one after another.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from geom.cli.inputs import add_cloud_options
from geom.cli.occasions import add_occasion, occasion_of

if TYPE_CHECKING:
    from geom.design import Design
    from geom.errors import InputError
    from geom.readings import CloudReadings, RodReadings
    from geom.record.store.heat_log import Logged
    from geom.record.store.occasion import Occasion
    from geom.record.store.store import Record

    Read = RodReadings | CloudReadings


_STOPPED = 130


def log_heats(asked: argparse.Namespace) -> None:
    """Do it: all rows are read and checked first, then each is surveyed and added."""
    from geom.cli.survey import progress_bar
    from geom.record.store.heat_log import read_heat_log
    from geom.record.store.store import start_record

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
    from geom.record.store.manifest import LINING
    from geom.record.store.same_drawing import refuse_other_design
    from geom.record.store.store import (
        Record,
        open_record,
        refuse_start,
        refuse_unwritable,
    )

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
    from geom.record.store.store import refuse_occasion

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
    from geom.record.store.store import add_survey
    from geom.repair import prepare_repair
    from geom.surface import reconstruct
    from geom.views.document import document_bytes
    from geom.views.netcdf import write_netcdf

    surface = reconstruct(readings, record.design, cluster=cluster)
    findings = assess(surface, record.design, title=one.occasion.words)
    works = prepare_repair(surface, findings, record.design)
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


def add_to(commands: Any) -> None:
    """Add the commands and their options to the front door."""
    group = commands.add_parser(
        "record",
        help="keep the surveys of a lining, heat after heat",
        description="A record is a folder with every survey of one lining. Surveys "
        "are added to it, never changed.",
    )
    own = group.add_subparsers(
        title="commands", dest="of_record", metavar="COMMAND", required=True
    )
    _add_start(own)
    _add_add(own)
    _add_list(own)
    _add_check(own)
    _add_rebuild(own)
    _add_log(own)


def _command(own: Any, name: str, run: Any, *, help: str, more: str = "") -> Any:
    """A command about one record."""
    said = f"{help.capitalize()}. {more}".rstrip()
    it = own.add_parser(name, help=help, description=said)
    it.add_argument("record", type=Path, metavar="RECORD", help="folder of the record")
    it.set_defaults(run=run)
    return it


def _add_start(own: Any) -> None:
    it = _command(own, "start", _start, help="start the record of a lining")
    it.add_argument(
        "design", type=Path, metavar="DESIGN", help="design file; it is copied"
    )


def _add_add(own: Any) -> None:
    it = _command(own, "add", _add, help="add a survey from its output folder")
    it.add_argument(
        "survey", type=Path, metavar="FOLDER", help="that 'daubline survey' wrote"
    )
    add_occasion(it, required=True)


def _add_list(own: Any) -> None:
    it = _command(own, "list", _list, help="list the surveys, in order")
    it.add_argument("--json", action="store_true", help="print JSON, for machines")


def _add_check(own: Any) -> None:
    more = "Every file is read from its first byte to its last."
    _command(own, "check", _check, help="see whether all is as it was added", more=more)


def _add_rebuild(own: Any) -> None:
    more = "The manifest only spares reading; the surveys are not touched."
    _command(own, "rebuild", _rebuild, help="make manifest.json anew", more=more)


def _add_log(own: Any) -> None:
    it = _command(
        own,
        "log",
        _log,
        help="survey every row of a heat log and add it",
        more="Rows whose survey is in the record are left alone, so that a log can "
        "grow, and a call that was stopped be made again.",
    )
    it.add_argument(
        "log",
        type=Path,
        metavar="LOG",
        help="CSV: heat, date, stage, readings, and if wanted hours_on_blast, "
        "melted_t, campaign",
    )
    it.add_argument(
        "--design", type=Path, metavar="DESIGN", help="to start the record with"
    )
    it.add_argument("--quiet", action="store_true", help="say nothing but errors")
    add_cloud_options(it)


def _start(asked: argparse.Namespace) -> None:
    from geom.record.store.store import start_record

    start_record(asked.record, asked.design)
    print(f"started {asked.record}")  # noqa: T201


def _add(asked: argparse.Namespace) -> None:
    from geom.record.store.store import add_survey

    path = add_survey(asked.record, asked.survey, occasion_of(asked))
    print(f"added {path}")  # noqa: T201


def _list(asked: argparse.Namespace) -> None:
    from geom.record.store.store import open_record

    record = open_record(asked.record)
    if asked.json:
        print(_document(record))  # noqa: T201
    else:
        _print_table(record)


def _check(asked: argparse.Namespace) -> None:
    from geom.errors import InputError
    from geom.record.store.store import check_record, open_record

    faults = check_record(asked.record)
    if faults:
        said = "1 fault" if len(faults) == 1 else f"{len(faults)} faults"
        lines = "\n  ".join((f"the record has {said}:", *faults))
        raise InputError(lines, file=asked.record)
    count = len(open_record(asked.record).occasions)
    print(f"{_surveys(count)}, all as they were added")  # noqa: T201


def _rebuild(asked: argparse.Namespace) -> None:
    from geom.record.store.store import rebuild_manifest

    rebuild_manifest(asked.record)
    _check(asked)


def _log(asked: argparse.Namespace) -> None:

    log_heats(asked)


def _count_surveys(count: int) -> str:
    return "1 survey" if count == 1 else f"{count} surveys"


def _print_table(record: Record) -> None:
    import sys

    from rich.console import Console
    from rich.table import Table

    from geom.record.wear.spells import find_spells
    from geom.views.say import plain

    wide = None if sys.stdout.isatty() else 200
    console = Console(highlight=False, soft_wrap=True, markup=False, width=wide)
    count = len(record.occasions)
    console.print(f"Record: {plain(record.design.name)}: {_surveys(count)}")
    if count:
        rows = Table(box=None, padding=(0, 2, 0, 0), header_style="bold")
        for heading in ("heat", "stage", "date", "hours", "melted", "campaign"):
            number = heading in ("heat", "hours", "melted")
            side: Literal["right", "left"] = "right" if number else "left"
            rows.add_column(heading, justify=side, no_wrap=True)
        for one in record.occasions:
            rows.add_row(*_row(one))
        console.print(rows)
    spells, gaps = find_spells(record.occasions)
    told = "1 spell" if len(spells) == 1 else f"{len(spells)} spells"
    console.print(f"{told} of wear from one survey to the next with no repair between")
    for words in gaps:
        console.print(f"No wear is told: {words}")


def _row(one: Occasion) -> tuple[str, ...]:
    from geom.views.say import plain

    return (
        str(one.heat),
        one.stage,
        one.date.isoformat(),
        "" if one.hours is None else f"{one.hours:.1f}",
        "" if one.melted is None else f"{one.melted / 1000.0:.1f} t",
        plain(one.campaign),
    )


def _document(record: Record) -> str:
    """Write it as JSON; hours and kg."""
    import json

    from geom.record.store.manifest import SCHEMA, told_of
    from geom.record.wear.spells import find_spells

    spells, gaps = find_spells(record.occasions)
    told = {
        "schema": SCHEMA,
        "lining": record.design.name,
        "units": {"hours_on_blast": "h", "melted": "kg"},
        "surveys": [told_of(one) | {"file": _file(one)} for one in record.occasions],
        "spells": [
            {"start": _file(one.start), "end": _file(one.end)} for one in spells
        ],
        "gaps": list(gaps),
    }
    return json.dumps(told, indent=1, ensure_ascii=False)


def _file(one: Occasion) -> str:
    from geom.record.store.manifest import SURVEYS

    return f"{SURVEYS}/{one.name}.nc"
