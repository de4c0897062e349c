"""``daubline record``: the surveys of one lining, heat after heat.

``record log`` surveys every row of a heat log and adds it, one after another.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from geom.cli.inputs import add_cloud_options, add_json, add_quiet
from geom.cli.occasions import add_occasion, occasion_of
from geom.errors import TerminatedError

if TYPE_CHECKING:
    from geom.design import Design
    from geom.errors import InputError
    from geom.readings import CloudReadings, RodReadings
    from geom.record.store.heat_log import LoggedSurvey
    from geom.record.store.store import Record

    Read = RodReadings | CloudReadings


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
    description = f"{help.capitalize()}. {more}".rstrip()
    parser = own.add_parser(name, help=help, description=description)
    parser.add_argument(
        "record", type=Path, metavar="RECORD", help="folder of the record"
    )
    parser.set_defaults(run=run)
    return parser


def _add_start(own: Any) -> None:
    parser = _command(own, "start", _start, help="start the record of a lining")
    parser.add_argument(
        "design", type=Path, metavar="DESIGN", help="design file; it is copied"
    )


def _add_add(own: Any) -> None:
    parser = _command(own, "add", _add, help="add a survey from its output folder")
    parser.add_argument(
        "survey", type=Path, metavar="FOLDER", help="that 'daubline survey' wrote"
    )
    add_occasion(parser, required=True)


def _add_list(own: Any) -> None:
    parser = _command(own, "list", _list, help="list the surveys, in order")
    add_json(parser)


def _add_check(own: Any) -> None:
    more = "Every file is read from its first byte to its last."
    _command(own, "check", _check, help="see whether all is as it was added", more=more)


def _add_rebuild(own: Any) -> None:
    more = "The manifest only spares reading; the surveys are not touched."
    _command(own, "rebuild", _rebuild, help="make manifest.json anew", more=more)


def _add_log(own: Any) -> None:
    parser = _command(
        own,
        "log",
        _log,
        help="survey every row of a heat log and add it",
        more="Rows whose survey is in the record are left alone, so that a log can "
        "grow, and a call that was stopped be made again.",
    )
    parser.add_argument(
        "log",
        type=Path,
        metavar="LOG",
        help="CSV: heat, date, stage, readings, and if wanted hours_on_blast, "
        "melted_t, campaign",
    )
    parser.add_argument(
        "--design", type=Path, metavar="DESIGN", help="to start the record with"
    )
    add_quiet(parser)
    add_cloud_options(parser)


def _start(options: argparse.Namespace) -> None:
    from geom.record.store.store import start_record

    start_record(options.record, options.design)
    print(f"started {options.record}")  # noqa: T201


def _add(options: argparse.Namespace) -> None:
    from geom.record.store.store import add_survey

    path = add_survey(options.record, options.survey, occasion_of(options))
    print(f"added {path}")  # noqa: T201


def _list(options: argparse.Namespace) -> None:
    from geom.record.store.store import open_record

    record = open_record(options.record)
    if options.json:
        from geom.views.tables.record import record_document

        print(record_document(record))  # noqa: T201
    else:
        _print_table(record)


def _check(options: argparse.Namespace) -> None:
    from geom.errors import InputError
    from geom.record.store.store import check_record, open_record
    from geom.views.tables.record import count_surveys

    faults = check_record(options.record)
    if faults:
        count = "1 fault" if len(faults) == 1 else f"{len(faults)} faults"
        lines = "\n  ".join((f"the record has {count}:", *faults))
        raise InputError(lines, file=options.record)
    surveys = count_surveys(len(open_record(options.record).occasions))
    print(f"{surveys}, all as they were added")  # noqa: T201


def _rebuild(options: argparse.Namespace) -> None:
    from geom.record.store.store import rebuild_manifest

    rebuild_manifest(options.record)
    _check(options)


def _print_table(record: Record) -> None:
    from rich.console import Console
    from rich.table import Table

    from geom.views.tables.record import (
        NUMBERS,
        OCCASION_HEADING,
        occasion_row,
        record_heading,
        spell_lines,
    )

    wide = None if sys.stdout.isatty() else 200
    console = Console(highlight=False, soft_wrap=True, markup=False, width=wide)
    console.print(record_heading(record))
    if record.occasions:
        table = Table(box=None, padding=(0, 2, 0, 0), header_style="bold")
        for heading in OCCASION_HEADING:
            side: Literal["right", "left"] = "right" if heading in NUMBERS else "left"
            table.add_column(heading, justify=side, no_wrap=True)
        for occasion in record.occasions:
            table.add_row(*occasion_row(occasion))
        console.print(table)
    for line in spell_lines(record):
        console.print(line)


def _log(options: argparse.Namespace) -> None:
    """Read and check all rows of a log first, then survey and add each."""
    from geom.cli.survey import progress_bar
    from geom.record.store.heat_log import read_heat_log
    from geom.record.store.store import start_record

    logged = read_heat_log(options.log)
    record, fresh = _record(options.record, options.design)
    new = _new(logged, record, quiet=options.quiet)
    with progress_bar(options.quiet) as bar:
        task = bar.add_task("reading", total=2 * len(new))

        def tick(next_up: str, advance: int = 1) -> None:
            bar.update(task, advance=advance, description=next_up)

        read = []
        for row in new:
            tick(f"reading {row.occasion.words}", 0)
            read.append(_readings(row, record.design, options))
            tick("")
        if fresh:
            start_record(options.record, options.design)
        added = _add_all(record, new, read, cluster=options.cluster, tick=tick)
    if not options.quiet:
        _say(f"{_surveys_were(added)} added to {options.record}")


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
            except InputError as fault:
                raise fault.at(file=design) from None
        return record, False
    if design is None:
        what = "there is no record there"
        raise InputError(what, file=folder, cure="Start it with --design DESIGN")
    refuse_start(folder)
    return Record(folder, load_design(design), ()), True


def _new(
    logged: Sequence[LoggedSurvey], record: Record, *, quiet: bool
) -> tuple[LoggedSurvey, ...]:
    """Rows whose surveys are not in the record, checked against those that are."""
    from geom.record.store.store import refuse_occasion

    there = {occasion.name: occasion for occasion in record.occasions}
    new = tuple(row for row in logged if row.occasion.name not in there)
    refuse_occasion(record, *(row.occasion for row in new))
    old = [row for row in logged if row.occasion.name in there]
    if old and not quiet:
        _say(f"{_surveys_were(len(old))} in the record already")
    for row in old:
        if there[row.occasion.name] != row.occasion and not quiet:
            _say(
                f"{row.file}, {row.place}: the record tells other hours, iron, date or "
                f"campaign of {row.occasion.words}; it is left as it is"
            )
    return new


def _readings(row: LoggedSurvey, design: Design, options: argparse.Namespace) -> Read:
    from geom.cli.inputs import read_readings
    from geom.errors import InputError

    try:
        return read_readings(row.readings, design, options)
    except InputError as fault:
        raise fault.at(file=row.file, place=row.place) from None


def _add_all(
    record: Record,
    new: Sequence[LoggedSurvey],
    read: Sequence[Read],
    *,
    cluster: str | None,
    tick: Callable[[str], None],
) -> int:
    """Survey and add each; how many were added."""
    from geom.errors import InputError

    added = 0
    try:
        for row, readings in zip(new, read, strict=True):
            tick(row.occasion.words)
            if not record.path(row.occasion).exists():
                _survey(record, row, readings, cluster)
                added += 1
    except InputError as fault:
        raise _halfway(fault, row, added) from fault
    except KeyboardInterrupt as stop:
        _say(f"daubline: stopped, {_surveys_were(added)} added; call again to go on")
        terminated = isinstance(stop, TerminatedError)
        raise SystemExit(143 if terminated else 130) from None
    return added


def _survey(
    record: Record, row: LoggedSurvey, readings: Read, cluster: str | None
) -> None:
    import tempfile

    from geom.compare import assess
    from geom.record.store.store import add_survey
    from geom.repair import prepare_repair
    from geom.surface import reconstruct
    from geom.views.documents import findings_document
    from geom.views.netcdf import write_netcdf

    surface = reconstruct(readings, record.design, cluster=cluster)
    findings = assess(surface, record.design, title=row.occasion.words)
    works = prepare_repair(surface, findings, record.design)
    with tempfile.TemporaryDirectory(prefix="daubline-") as name:
        folder = Path(name)
        numbers = findings_document(findings, works, record.design)
        (folder / "findings.json").write_bytes(numbers)
        write_netcdf(folder / "surface.nc", surface, findings)
        add_survey(record.folder, folder, row.occasion)


def _halfway(fault: InputError, row: LoggedSurvey, added: int) -> InputError:
    from geom.errors import InputError

    cure = f"{fault.cure.rstrip('.')}. " if fault.cure else ""
    return InputError(
        fault.what,
        file=fault.file or row.file,
        place=fault.place or row.place,
        cure=f"{cure}Before it {_surveys_were(added)} added; call again to go on",
    )


def _surveys_were(count: int) -> str:
    return "1 survey was" if count == 1 else f"{count} surveys were"


def _say(words: str) -> None:
    print(words, file=sys.stderr)  # noqa: T201
