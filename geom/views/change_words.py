"""How a change between two surveys is said, in sentences."""

from __future__ import annotations

from geom.design import Design
from geom.frame import clock_face
from geom.quantity import Quantity
from geom.record.changed import Change, PieceChange, Spot, Told
from geom.units import LITRE, say_both, say_length
from geom.views.words import (
    plain,
    say_area,
    say_from,
    say_time,
)

#: Changes are told to this part of an inch.
FINEST = 16
#: On one line.
_SURE = "95\u00a0%"
_DOUBT = "what the doubt of both surveys leaves open"


def sentences(change: Change, design: Design) -> list[str]:
    """What happened, in plain words, the sum first."""
    zones = sorted(change.of_kind("zone"), key=lambda one: -one.mean.value)
    told = [zone for zone in zones if told_by(zone.mean) != "cannot tell"]
    return [
        say_sum(change),
        *_shown(change, design),
        *(_on_average(one, design) for one in (*change.of_kind("wall"), *told)),
        say_detection(change, design),
    ]


def say_sum(change: Change) -> str:
    """Lost, put back and net in litres.

    Examples
    --------
    ``Lost 23.1 litres (95 %: 20.5 to 25.8), put back 3.2 (2.1 to 4.5): 19.9 lost on
    balance (16.8 to 23.0).``
    """
    volume = change.volume
    net, more = volume.net, "lost"
    if net.value < 0.0:
        net, more = _turned(net), "put back"
    return (
        f"Lost {_litres(volume.lost, unit=' litres', first=f'{_SURE}: ')}, put back "
        f"{_litres(volume.restored)}: {_value(net)} {more} on balance "
        f"({_ends(net)})."
    )


def _litres(volume: Quantity, *, unit: str = "", first: str = "") -> str:
    return f"{_value(volume)}{unit} ({first}{_ends(volume)})"


def _value(volume: Quantity) -> str:
    return _litre(volume, volume.value)


def _ends(volume: Quantity) -> str:
    return f"{_litre(volume, volume.low95)} to {_litre(volume, volume.high95)}"


def _litre(volume: Quantity, part: float) -> str:
    """A part of a volume in litres, as finely as all of it."""
    places = 1 if max(-volume.low95, volume.high95) >= LITRE else 3
    return f"{round(part / LITRE, places) + 0.0:.{places}f}"


def _shown(change: Change, design: Design) -> list[str]:
    """What is shown place by place, and where most of it."""
    areas, whole = change.areas, change.volume
    return [
        _side(change.greatest_loss, areas.shown_lost, change.shown_lost, "lost", design)
        or f"No loss is shown at any one place: the {_value(whole.lost)} litres are "
        f"{_DOUBT}.",
        _side(
            change.greatest_gain,
            areas.shown_restored,
            change.shown_restored,
            "put back",
            design,
        )
        or "No wall is shown to have been put back at any one place: the "
        f"{_value(whole.restored)} litres are {_DOUBT}.",
    ]


def _side(
    spot: Spot | None, area: float, volume: Quantity, word: str, design: Design
) -> str:
    """What is shown of one side; empty where nothing is."""
    if spot is None:
        return ""
    return (
        f"Shown place by place: {word} over {say_area(area, design)}, there "
        f"{_value(volume)} litres ({_ends(volume)}); most at {say_spot(spot, design)}."
    )


def say_spot(spot: Spot, design: Design) -> str:
    """Where a change is greatest, and how much it is there."""
    clock = clock_face(spot.azimuth, design.azimuth_sense)
    change = spot.change if spot.change.value > 0.0 else _turned(spot.change)
    return (
        f"{clock}, {say_from(spot.height, design)}: "
        f"{say_both(change.value, design.length_unit, finest=FINEST)}, {_SURE}: "
        f"{say_ends(change, design)}"
    )


def say_detection(change: Change, design: Design) -> str:
    """From what on a change is told."""
    least = say_both(change.detection, design.length_unit, finest=FINEST)
    return (
        f"At any one place these surveys tell a change from about {least} on; over a "
        "level, a side or a zone together they tell much less."
    )


def _on_average(piece: PieceChange, design: Design) -> str:
    mean, word = piece.mean, "lost"
    if mean.value < 0.0:
        mean, word = _turned(mean), "put back"
    said = f"{say_mean(mean.value, design)} {word} on average"
    ends = say_ends(mean, design)
    return f"{capital(piece.piece.name)}: {said} ({_SURE}: {ends})."


def say_ends(length: Quantity, design: Design) -> str:
    """A 95 % interval in the shop's unit."""
    unit = design.length_unit
    if unit == "mm":
        return f"{_tenths(length.low95)} to {_tenths(length.high95)} mm"
    low, high = (
        say_length(end, unit, finest=FINEST) for end in (length.low95, length.high95)
    )
    return f"{low.removesuffix(f' {unit}')} to {high}"


def say_mean(mm: float, design: Design) -> str:
    """A mean in the shop's unit and to 0.1 mm."""
    unit, tenths = design.length_unit, f"{_tenths(mm)} mm"
    if unit == "mm":
        return tenths
    return f"{say_length(mm, unit, finest=FINEST)} ({tenths})"


def _tenths(mm: float) -> str:
    return f"{round(mm, 1) + 0.0:.1f}"


def _turned(quantity: Quantity) -> Quantity:
    return Quantity(-quantity.value, quantity.sd, -quantity.high95, -quantity.low95)


def told_by(mean: Quantity) -> str:
    """What is told of a piece by its mean: its 95 % interval lies to one side."""
    if mean.low95 > 0.0:
        return "lost"
    return "put back" if mean.high95 < 0.0 else "cannot tell"


def survey_line(told: Told) -> str:
    """Which survey, and when it was worked out."""
    title, name = plain(told.title, most=80), plain(told.name, most=80)
    named = name if name == title else f"{name} ({title})"
    return f"{named}, worked out {say_time(told.created)}"


def capital(words: str) -> str:
    """With a capital first letter."""
    return words[:1].upper() + words[1:]
