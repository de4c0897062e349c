"""``daubline record``: the surveys of one lining, heat after heat.

``record log`` surveys every row of a heat log, several at once, and adds them in their
order.  Everything that could stop a survey from being added is checked before the long
work.
"""

from __future__ import annotations

import argparse
import json
import shlex
import sys
import time
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from geom.cli import inputs
from geom.cli.occasion import (
    add_occasion,
    occasion_of,
    occasion_options,
    retype_occasion,
)
from geom.errors import InputError, TerminatedError, errors_at

if TYPE_CHECKING:
    from geom.design import Design
    from geom.parallel import ProcessMap, TaskMap
    from geom.readings import CloudReadings, RodReadings
    from geom.record.store.heat_log import LoggedSurvey
    from geom.record.store.occasion import Occasion
    from geom.record.store.store import Record

    Read = RodReadings | CloudReadings

#: Surveys of a log from which processes of their own pay, and seconds between lines.
_MANY, _EVERY = 4, 10.0


def add_record(commands: Any) -> None:
    """Add ``daubline record`` and its own commands."""
    group = commands.add_parser(
        "record",
        allow_abbrev=False,
        help="keep the surveys of a lining, heat after heat",
        description="A record is a folder with every survey of one lining. Surveys "
        "are added to it, never changed.",
    )
    own = group.add_subparsers(
        title="commands", dest="of_record", metavar="COMMAND", required=True
    )
    start = _command(own, "start", _start, help="start the record of a lining")
    inputs.add_design(start, "design file; it is copied")
    add = _command(own, "add", _add, help="add a survey from its output folder")
    add.add_argument(
        "survey", type=Path, metavar="DIR", help="that 'daubline survey' wrote"
    )
    add_occasion(add, required=True)
    inputs.add_json(_command(own, "list", _list, help="list the surveys, in order"))
    _command(
        own,
        "check",
        _check,
        help="see whether all is as it was added",
        more="Every file is read from its first byte to its last.",
    )
    _command(
        own,
        "rebuild",
        _rebuild,
        help="make manifest.json anew",
        more="The manifest only spares reading; the surveys are not touched.",
    )
    _add_log(own)


def _command(
    own: Any,
    name: str,
    run: Callable[[argparse.Namespace], None],
    *,
    help: str,
    more: str = "",
) -> argparse.ArgumentParser:
    """A command about one record."""
    description = f"{help.capitalize()}. {more}".rstrip()
    parser = inputs.add_command(own, name, run, help=help, description=description)
    parser.add_argument(
        "record", type=Path, metavar="RECORD", help="folder of the record"
    )
    return parser


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
    inputs.add_quiet(parser)
    inputs.add_cloud_options(parser)


def _start(options: argparse.Namespace) -> None:
    from geom.record.store.store import start_record

    start_record(options.record, options.design)
    print(f"started {options.record}")


def _add(options: argparse.Namespace) -> None:
    from geom.record.store.store import add_survey

    path = add_survey(options.record, options.survey, occasion_of(options))
    print(f"added {path}")


def _list(options: argparse.Namespace) -> None:
    from geom.record.store.store import open_record

    record = open_record(options.record)
    if options.json:
        from geom.views.documents import record_document

        inputs.print_document(record_document(record))
    else:
        _print_record(record)


def _check(options: argparse.Namespace) -> None:
    from geom.record.store.store import check_record, open_record
    from geom.views.say import count_of

    faults = check_record(options.record)
    if faults:
        count = count_of(len(faults), "fault")
        lines = "\n  ".join((f"the record has {count}:", *faults))
        raise InputError(lines, file=options.record)
    surveys = count_of(len(open_record(options.record).occasions), "survey")
    print(f"{surveys}, all as they were added")


def _rebuild(options: argparse.Namespace) -> None:
    from geom.record.store.store import rebuild_manifest

    rebuild_manifest(options.record)
    _check(options)


def _print_record(record: Record) -> None:
    from geom.views.tables.wear import (
        NUMBERS,
        OCCASION_HEADING,
        occasion_row,
        record_heading,
        spell_lines,
    )

    inputs.print_lines([record_heading(record)])
    if record.occasions:
        rows = [occasion_row(occasion) for occasion in record.occasions]
        inputs.print_table(OCCASION_HEADING, rows, numbers=NUMBERS)
    inputs.print_lines(spell_lines(record))


def _log(options: argparse.Namespace) -> None:
    """Read and check all rows of a log first, then survey and add each."""
    from geom.parallel import begun_processes, processors

    many = options.cluster is None and _rows_left(options) >= _MANY
    if many and processors() > 1:  # they get ready while the rows are read
        with begun_processes(processors(), get_ready) as begun:
            _survey_log(options, begun)
    else:
        _survey_log(options, None)


def _rows_left(options: argparse.Namespace) -> int:
    """About how many surveys there are to be made: lines of the log less files."""
    with suppress(OSError):
        lines = options.log.read_bytes().splitlines()
        rows = sum(not line.startswith(b"#") for line in lines) - 1
        return rows - sum(1 for _ in options.record.rglob("*.nc"))
    return 0


def _survey_log(options: argparse.Namespace, begun: ProcessMap | None) -> None:
    from geom.record.store.heat_log import read_heat_log
    from geom.record.store.store import start_record

    logged = read_heat_log(options.log)
    record, fresh = record_to_add_to(options.record, options.design)
    new = _new(logged, record, quiet=options.quiet)
    with inputs.progress_bar(options.quiet, remaining=True) as bar:
        task = bar.add_task("reading", total=len(new))
        read = []
        for row in new:
            with errors_at(file=row.file, place=row.place):
                read.append(inputs.read_readings(row.readings, record.design, options))
        if fresh:
            start_record(options.record, options.design)
        pace = _Pace(len(new), quiet=options.quiet or bar.console.is_terminal)

        def tick(done: int, next_up: str) -> None:
            bar.update(task, completed=done, description=next_up)
            pace.tell(done)

        task_map = _task_map(read, options.cluster, begun)
        added = _add_all(
            record, new, read, cluster=options.cluster, task_map=task_map, tick=tick
        )
    if not options.quiet:
        _say(f"{_surveys_were(added)} added to {options.record}")


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


class _Pace:
    """A line now and then of how far it is, where no bar is seen."""

    def __init__(self, total: int, *, quiet: bool) -> None:
        self.total, self.quiet = total, quiet
        self.start = self.last = time.monotonic()

    def tell(self, done: int) -> None:
        """So many are done."""
        now = time.monotonic()
        if self.quiet or not 0 < done < self.total or now - self.last < _EVERY:
            return
        self.last = now
        left = (now - self.start) * (self.total - done) / done
        _say(f"{done} of {self.total} surveyed, about {left:.0f} s left")


@dataclass(frozen=True)
class LoggedTask:
    """One survey of a log, for whichever process has time.

    Attributes
    ----------
    name, place : str
        Where it is written in the log.
    """

    design: Design
    readings: Read
    occasion: Occasion
    cluster: str | None
    name: str
    place: str


def get_ready() -> None:
    """Import what it takes to survey a row."""
    import h5py  # type: ignore[import-untyped]  # noqa: F401
    from scipy import interpolate, ndimage, optimize, spatial  # noqa: F401

    from geom import compare, repair, surface  # noqa: F401
    from geom.record.store import grid, survey_file  # noqa: F401
    from geom.views import documents, netcdf  # noqa: F401


def survey_row(task: LoggedTask) -> bytes:
    """Survey one row of a log, and give its file of the record."""
    from geom.compare import assess
    from geom.record.store.grid import record_grid
    from geom.record.store.survey_file import on_record_grid, survey_content
    from geom.repair import prepare_repair
    from geom.surface import reconstruct
    from geom.views.documents import findings_document
    from geom.views.netcdf import survey_variables

    design = task.design
    surface = reconstruct(task.readings, design, cluster=task.cluster)
    findings = assess(surface, design, title=task.occasion.words)
    works = prepare_repair(surface, findings, design)
    numbers = json.loads(findings_document(findings, works, design))
    wall = survey_variables(surface, findings)
    kept = on_record_grid(wall, numbers, record_grid(design), design)
    return survey_content(kept, task.occasion)


def _add_all(
    record: Record,
    new: Sequence[LoggedSurvey],
    read: Sequence[Read],
    *,
    cluster: str | None,
    task_map: TaskMap,
    tick: Callable[[int, str], None],
) -> int:
    """Survey all, some at once, and add each in order; how many were added."""
    from geom.record.store import store

    added = 0
    try:
        tasks = [
            LoggedTask(
                record.design, readings, row.occasion, cluster, row.file, row.place
            )
            for row, readings in zip(new, read, strict=True)
        ]
        tick(0, new[0].occasion.words if new else "")
        for content in task_map.map(survey_row, tasks):
            occasion = new[added].occasion
            now = record.as_it_is_now()
            store.refuse_occasion(now, occasion)
            store.keep_survey(now, content, occasion)
            added += 1
            tick(added, new[min(added, len(new) - 1)].occasion.words)
    except InputError as fault:
        more = f"Before it {_surveys_were(added)} added; call again to go on"
        row = new[added]
        raise inputs.more_cure(fault, more).at(
            file=row.file, place=row.place
        ) from fault
    except KeyboardInterrupt as stop:
        _say(f"daubline: stopped, {_surveys_were(added)} added; call again to go on")
        terminated = isinstance(stop, TerminatedError)
        raise SystemExit(143 if terminated else 130) from None
    return added


def _task_map(
    read: Sequence[Read], cluster: str | None, begun: ProcessMap | None
) -> TaskMap:
    """All processors for many surveys of rods; points have them each by itself."""
    from geom.parallel import ProcessMap, SerialMap, processors
    from geom.readings import RodReadings

    count = min(processors(), len(read))
    rods = all(isinstance(readings, RodReadings) for readings in read)
    if cluster is None and len(read) >= _MANY and rods and count > 1:
        return begun or ProcessMap(count)
    if begun is not None:
        begun.end()
    return SerialMap()


def _surveys_were(count: int) -> str:
    return "1 survey was" if count == 1 else f"{count} surveys were"


def _say(words: str) -> None:
    print(words, file=sys.stderr)


def refuse_incomplete_occasion(options: argparse.Namespace) -> None:
    """Refuse a record without an occasion, and an occasion without a record.

    Raises
    ------
    InputError
        Before any file is read.
    """
    if options.record is not None:
        occasion_of(options)
        _refuse_inside(options.record, options.out)
    elif options_given := occasion_options(options):
        what = f"{options_given[0]} is for --record, which is not given"
        raise InputError(what, cure="Name the record with --record, or leave it out")


def refuse_before_work(options: argparse.Namespace) -> None:
    """Refuse, before the long work, what could not be added after it.

    Raises
    ------
    InputError
        If the record is of another drawing, has that occasion, contradicts it, or
        cannot be started.
    """
    from geom.record.store.store import refuse_occasion

    record, _ = record_to_add_to(options.record, options.design)
    refuse_occasion(record, occasion_of(options))


def record_to_add_to(folder: Path, design: Path | None) -> tuple[Record, bool]:
    """The record, and whether it has still to be started.

    Raises
    ------
    InputError
        If nothing can be written there, it is of another drawing than ``design``, or
        there is neither a record nor a ``design`` to start it with.
    """
    from geom.design import load_design
    from geom.record.store.manifest import LINING
    from geom.record.store.store import (
        Record,
        open_record,
        refuse_other_design,
        refuse_start,
        refuse_unwritable,
    )

    if (folder / LINING).is_file():
        record = open_record(folder)
        refuse_unwritable(folder)
        if design is not None:
            with errors_at(file=design):
                refuse_other_design(record.design, load_design(design))
        return record, False
    if design is None:
        what = "there is no record there"
        raise InputError(what, file=folder, cure="Start it with --design DESIGN")
    refuse_start(folder)
    return Record(folder, load_design(design), ()), True


def add_to_record(options: argparse.Namespace) -> Path:
    """Add the survey in ``--out``; the record is started if there is none.

    Returns
    -------
    Path
        Its file.

    Raises
    ------
    InputError
        If it cannot be added; it says how to do so later.
    """
    from geom.record.store.store import add_survey

    try:
        _start_if_new(options.record, options.design)
        return add_survey(options.record, options.out, occasion_of(options))
    except InputError as fault:
        places = str(options.record), str(options.out)
        words = shlex.join(["daubline", "record", "add", *places])
        more = (
            f"The survey itself is in {options.out}; once that is mended, add it with: "
            f"{words} {retype_occasion(options)}"
        )
        raise inputs.more_cure(fault, more) from fault


def _start_if_new(record: Path, design: Path) -> None:
    """Start the record if there is none; another may do so at the same time."""
    from geom.record.store.manifest import LINING
    from geom.record.store.store import start_record

    try:
        if not (record / LINING).is_file():
            start_record(record, design)
    except InputError:
        if not (record / LINING).is_file():
            raise


def _refuse_inside(record: Path, out: Path) -> None:
    record, folder = record.resolve(), out.resolve()
    if record == folder or record in folder.parents or folder in record.parents:
        raise InputError(
            "is --record, or lies in it, or the record would lie in it",
            file=out,
            cure="Keep output folders and records next to each other",
        )
