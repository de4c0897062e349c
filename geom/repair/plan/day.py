"""The day of a repair: every step from cooling to kindling, how long, and when.

Steps stand in the order of the trade.  Amounts are those of the repair plan as
``findings.json`` holds it, rates those of the shop's crew.  Steps follow one another;
men share each.  Daub goes on layer by layer, each stiff before the next; what is mixed
at once is no more than the mixer holds and than the crew puts on within the daub's
working life.  Brick is set segment by segment, each set before the next is opened.

Daub is dried as far as the first hold point before the doors are closed, while the wall
is open and steams freely.  It then cools again so that men can ram the bottom, and the
other hold points are passed at light-up, before the blast (our own choice, no source).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, ClassVar, Literal

import numpy as np

from geom.design import Crew, Design
from geom.document import VOLUME, fields_document
from geom.errors import InputError
from geom.readings.surveys import FINDINGS, load_survey_before
from geom.repair.plan.daub import DryingSchedule, drying_schedule
from geom.shown import Shown
from geom.units import LITRE, M3, SQUARE_METRE

StepName = Literal[
    "cool", "lock out", "bar down", "chip", "clean openings", "measure",
    "measure again", "order", "wet", "brick", "daub", "wash", "prove", "openings",
    "dry", "cool again", "doors", "bottom", "boards", "kindling",
]  # fmt: skip

SCHEMA = "daubline.day/1"
#: What openings are made good with.
_MIXES = ("daub", "crushed_mix", "sand_mix")
#: Times are rounded to five minutes, so many to the hour.
_AN_HOUR = 12
#: No daub is in more layers: 200 of an inch are past any wall.
_MOST_LAYERS = 200
_CURE = "Give the output folder of a 'daubline survey' of this lining"


@dataclass(frozen=True)
class DayStep:
    """One step of the day.

    Attributes
    ----------
    amount : float or None
        What there is to do, in ``unit``; None where it is not counted.
    unit : {'', 'L', 'm2', 'kg', 'bricks', 'openings', 'zones'}
    start, end : float, h
        After the blast is shut off.
    waits : float, h
        Of that time, that nobody can work: something sets, stiffens, dries or cools.
    """

    name: StepName
    amount: float | None
    unit: str
    start: float
    end: float
    waits: float

    @property
    def hours(self) -> float:
        """How long it takes."""
        return self.end - self.start


@dataclass(frozen=True)
class DaubBatch:
    """What is mixed at once.

    Attributes
    ----------
    number, layer : int
        From 1 on.
    volume : float, mm3
    mixed : float, h
        When, after the blast is shut off.
    used : float, h
        When the last of it is on the wall.
    """

    number: int
    layer: int
    volume: float = field(metadata=VOLUME)
    mixed: float
    used: float


@dataclass(frozen=True)
class DayPlan(Shown):
    """The day of a repair.

    Attributes
    ----------
    lining, title : str
        Title of the survey that the work is of.
    working_life : float, h
        Of the daub.
    steps : tuple of DayStep
        In order; those that there is nothing to do for are left out.
    hours : float
        In all.
    waits : float, h
        Of these, that nobody can work.
    stop : bool
        The stack above needs support, or may: no lining is opened before that is
        decided.
    """

    _units: ClassVar[str] = "h, mm3"

    lining: str
    title: str
    men: int
    working_life: float
    steps: tuple[DayStep, ...]
    batches: tuple[DaubBatch, ...]
    drying: DryingSchedule | None
    hours: float
    waits: float
    stop: bool

    def _lines(self) -> Iterator[str]:
        yield f"DayPlan of {self.title}: {self.lining}; {self.men} men"
        yield f"{self.hours:.1f} h in all, {self.waits:.1f} h of it waiting"
        yield f"{len(self.steps)} steps, {len(self.batches)} batches of daub"
        if self.stop:
            yield "stop: the stack above needs support, or may"

    def to_dict(self) -> dict[str, Any]:
        """Hours, volumes m3, litres, m2 and kg."""
        return {"schema": SCHEMA, **fields_document(self)}


@dataclass(frozen=True)
class _Work:
    """What a repair plan asks for."""

    chip: float
    again: int
    face: float
    bricks: int
    segments: int
    layers: tuple[float, ...]
    sand: float
    stop: bool
    opening_bricks: int
    opening_mix: float


def plan_day(folder: Path | str, design: Design) -> DayPlan:
    """Lay out the day of the repair that a survey calls for.

    Parameters
    ----------
    folder : path
        Written by ``daubline survey``.
    design : Design
        Of that survey: lining, drawing and azimuths must be the same.

    Returns
    -------
    DayPlan

    Raises
    ------
    InputError
        As `load_survey_before`, or if the folder holds no repair plan.
    """
    found = load_survey_before(folder, design)
    again = sum(zone.action == "measure again" for zone in found.zones)
    try:
        return day_plan(found.repair, design, again=again, title=found.title)
    except InputError as fault:
        raise fault.at(file=Path(folder) / FINDINGS) from None


def day_plan(
    repair: Mapping[str, Any], design: Design, *, again: int, title: str = ""
) -> DayPlan:
    """Lay out the day of a repair.

    Parameters
    ----------
    repair : mapping
        The plan as ``findings.json`` holds it under ``repair``.
    design : Design
        Whose crew, mix and drying it goes by, and whose openings.
    again : int
        Zones that have to be measured again.
    title : str
        Of the survey.

    Returns
    -------
    DayPlan

    Raises
    ------
    InputError
        If there is no plan, or it is not as it was written.
    """
    if not repair:
        raise InputError("has no repair plan in it", cure=_CURE)
    try:
        work = _work(repair, again)
        drying = drying_schedule(repair["daub"], design.shop)
    except (KeyError, TypeError, ValueError, OverflowError, AttributeError) as fault:
        if isinstance(fault, InputError):
            raise
        place, what = "repair", "is not as it was written"
        raise InputError(what, place=place, cure=_CURE) from fault
    batches = _batches(work.layers, design)
    steps = tuple(_timed(_steps(work, batches, drying, design)))
    start = next((step.start for step in steps if step.name == "daub"), 0.0)
    return DayPlan(
        lining=design.name,
        title=title,
        men=design.shop.crew.men,
        working_life=design.shop.mix.working_life,
        steps=steps,
        batches=tuple(
            DaubBatch(k, one.layer, one.volume, start + one.mixed, start + one.used)
            for k, one in enumerate(batches, 1)
        ),
        drying=drying,
        hours=steps[-1].end,
        waits=sum(step.waits for step in steps),
        stop=work.stop,
    )


def _work(repair: Mapping[str, Any], again: int) -> _Work:
    zones, support, bottom = repair["zones"], repair["support"], repair["bottom"]
    daubs = [zone["daub"] for zone in zones if zone["daub"] is not None]
    chips = [zone["chip"] for zone in zones if zone["chip"] is not None]
    segments, openings = support["segments"], repair.get("openings", [])
    return _Work(
        chip=sum(_finite(chip["volume"]["value"]) for chip in chips) / M3,
        again=again,
        face=_finite(repair["daub"]["wash_area"]) * SQUARE_METRE,
        bricks=sum(int(segment["bricks"]) for segment in segments),
        segments=len(segments),
        layers=_layer_volumes(
            [(_finite(d["mixed"]["value"]) / M3, int(d["layers"])) for d in daubs]
        ),
        sand=0.0 if bottom is None else _finite(bottom["mass"]["value"]),
        stop=bool(support["stops"]),
        opening_bricks=sum(int(each["bricks"]) for each in openings),
        opening_mix=sum(
            _finite(each[name]["mixed"]["value"]) / M3
            for each in openings
            for name in _MIXES
            if each[name] is not None
        ),
    )


def _finite(value: object) -> float:
    found = float(value)  # type: ignore[arg-type]
    if not (np.isfinite(found) and found >= 0.0):
        raise ValueError(f"{value!r} is no amount")
    return found


def _layer_volumes(zones: list[tuple[float, int]]) -> tuple[float, ...]:
    """Wet daub of every layer, mm3: each zone shares its own out over its layers.

    Examples
    --------
    >>> _layer_volumes([(30.0, 3), (8.0, 1)])
    (18.0, 10.0, 10.0)
    """
    if any(not 1 <= layers <= _MOST_LAYERS for _, layers in zones):
        raise ValueError("daub is in no such number of layers")
    most = max((layers for _, layers in zones), default=0)
    return tuple(
        sum(volume / layers for volume, layers in zones if k < layers)
        for k in range(most)
    )


def _batches(layers: tuple[float, ...], design: Design) -> list[DaubBatch]:
    """Batches from the start of daubing on, hours."""
    crew, mix = design.shop.crew, design.shop.mix
    rate = crew.men * crew.daub_rate * LITRE  # mm3/h
    largest = min(mix.batch * LITRE, rate * mix.working_life)
    batches: list[DaubBatch] = []
    hour = 0.0
    for layer, volume in enumerate(layers, 1):
        if layer > 1:
            hour += crew.stiffen_hours
        count = int(np.ceil(volume / largest - 1e-9))
        for _ in range(count):
            used = hour + volume / count / rate
            batches.append(DaubBatch(0, layer, volume / count, hour, used))
            hour = used
    return batches


#: What there is of a step, its unit, its hours, and how many of these nobody works.
_Step = tuple[StepName, float | None, str, float, float]


def _steps(
    work: _Work,
    batches: list[DaubBatch],
    drying: DryingSchedule | None,
    design: Design,
) -> Iterator[_Step]:
    crew, openings = design.shop.crew, len(design.openings)
    by = _man_hours(crew)
    square_metres, chip = work.face / SQUARE_METRE, work.chip / LITRE
    yield "cool", None, "", crew.cool_hours, crew.cool_hours
    yield "lock out", None, "", crew.ready_hours, 0.0
    yield "bar down", None, "", crew.bar_hours, 0.0
    if chip:
        yield "chip", chip, "L", by(chip, crew.chip_rate), 0.0
    if openings:
        hours = openings * crew.clean_hours / crew.men
        yield "clean openings", openings, "openings", hours, 0.0
    yield "measure", None, "", crew.measure_hours, 0.0
    if work.again:
        yield "measure again", work.again, "zones", work.again * crew.again_hours, 0.0
    if batches or work.bricks:
        yield "order", None, "", 0.0, 0.0
        yield "wet", square_metres, "m2", by(square_metres, crew.wash_rate), 0.0
    if work.bricks:
        waits = (work.segments - 1) * crew.stiffen_hours
        hours = by(work.bricks, crew.brick_rate) + waits
        yield "brick", work.bricks, "bricks", hours, waits
    if batches:
        waits = (batches[-1].layer - 1) * crew.stiffen_hours
        litres = sum(batch.volume for batch in batches) / LITRE
        yield "daub", litres, "L", batches[-1].used, waits
        yield "wash", square_metres, "m2", by(square_metres, crew.wash_rate), 0.0
        yield "prove", None, "", crew.measure_hours, 0.0
    if openings:
        hours = openings * crew.opening_hours / crew.men
        hours += by(work.opening_bricks, crew.brick_rate)
        hours += by(work.opening_mix / LITRE, crew.daub_rate)
        yield "openings", openings, "openings", hours, 0.0
    yield from _closing(work.sand, drying, crew)


def _closing(sand: float, drying: DryingSchedule | None, crew: Crew) -> Iterator[_Step]:
    """From drying on."""
    light = crew.light_hours
    if drying is not None:
        first = drying.holds[0].passed
        light = max(light, drying.hours - first)
        yield "dry", None, "", first, first
        yield "cool again", None, "", crew.cool_again_hours, crew.cool_again_hours
    yield "doors", None, "", crew.doors_hours, 0.0
    if sand:
        hours = _man_hours(crew)(sand, crew.bottom_rate)
        yield "bottom", sand, "kg", hours, 0.0
    yield "boards", None, "", crew.boards_hours, 0.0
    yield "kindling", None, "", light, light


def _man_hours(crew: Crew) -> Callable[[float, float], float]:
    """How long the men take over an amount, at a rate of one man in an hour."""
    return lambda amount, rate: amount / (rate * crew.men)


def _timed(steps: Iterator[_Step]) -> Iterator[DayStep]:
    """One after the other, each rounded up to what is printed."""
    past = 0
    for name, amount, unit, hours, waits in steps:
        until = past + int(np.ceil(hours * _AN_HOUR - 1e-9))
        yield DayStep(name, amount, unit, past / _AN_HOUR, until / _AN_HOUR, waits)
        past = until
