"""What a change between two surveys comes to, in sentences and rows.

Text throughout, the shop's unit first.  A change is worded as lost or put back only
where its 95 % interval lies to one side of nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from geom.compare.extent import read_round
from geom.design import Design
from geom.frame import clock_face
from geom.quantity import Quantity
from geom.record.change.result import Change, ChangePeak, RegionChange, SurveyLabel
from geom.record.regions import Region, middle
from geom.units import say_both, say_length
from geom.views.say import (
    plain,
    say_area,
    say_change,
    say_clock,
    say_from,
    say_heights,
    say_mark,
    say_span,
    say_time,
    say_volume,
    say_volume_interval,
    say_volume_within,
    upfirst,
)

#: Changes are worded to this part of an inch.
FINEST = 16
#: On one line.
_SURE = "95\u00a0%"


def say_answer(change: Change, design: Design) -> tuple[str, str]:
    """What a reviewer asks first: on balance, and where most of it is.

    ``Wall was lost, on balance: 0.589 ft³ (16.7 L), 95 %: 0.303 to 0.874 ft³.`` and
    ``The greatest change shown is wall lost, at half past 7, ...``
    """
    return say_balance(change, design), _say_greatest(change, design)


def say_balance(change: Change, design: Design) -> str:
    """Net volume with its interval, and which way, where that is stated."""
    net = change.volume.net
    size, side = net_volume(change)
    if direction(net) == "cannot tell":
        return (
            "On balance these surveys cannot tell whether wall was lost or put back: "
            f"{side}, as far as they do, {volume_words(size, design)}."
        )
    verb = "lost" if net.value > 0.0 else "put back"
    return f"Wall was {verb}, on balance: {volume_words(size, design)}."


def net_volume(change: Change) -> tuple[Quantity, str]:
    """Net volume, counted so that its value is no less than nothing, and its name."""
    net = change.volume.net
    return (net, "lost") if net.value >= 0.0 else (-net, "put back")


def _say_greatest(change: Change, design: Design) -> str:
    """The greatest change that is shown, whichever way."""
    spots = [
        (abs(spot.change.value), words, spot)
        for spot, words in (
            (change.greatest_loss, "wall lost"),
            (change.greatest_gain, "wall put back"),
        )
        if spot is not None
    ]
    if not spots:
        return "At no one place is a change shown."
    _, words, spot = max(spots, key=lambda spot: spot[0])
    return f"The greatest change shown is {words}, at {say_spot(spot, design)}."


def sentences(change: Change, design: Design) -> list[str]:
    """What happened, in plain words, after the answer."""
    zones = sorted(change.of_kind("zone"), key=lambda zone: -zone.mean.value)
    changed = [zone for zone in zones if direction(zone.mean) != "cannot tell"]
    return [
        say_sum(change, design),
        *_shown(change, design),
        *(_on_average(each, design) for each in (*change.of_kind("wall"), *changed)),
        say_detection(change, design),
    ]


def say_sum(change: Change, design: Design) -> str:
    """What the balance is made of.

    ``Lost in all: 23.1 L, 95 %: 20.5 to 25.8 L. Put back in all: 3.20 L, ...``
    """
    volume = change.volume
    return (
        f"Lost in all: {volume_words(volume.lost, design)}. "
        f"Put back in all: {volume_words(volume.restored, design)}."
    )


def volume_words(volume: Quantity, design: Design) -> str:
    """A volume and its interval, in the shop's unit first."""
    return (
        f"{say_volume(volume.value, design)}, {_SURE}: "
        f"{say_volume_interval(volume, design)}"
    )


def _shown(change: Change, design: Design) -> list[str]:
    """What is shown place by place, and where most of it."""
    areas, whole = change.areas, change.volume
    return [
        _side(change.greatest_loss, areas.shown_lost, change.shown_lost, "lost", design)
        or "No loss is shown at any one place; what may be lost all over is at most "
        f"{say_volume(whole.lost.high95, design)}.",
        _side(
            change.greatest_gain,
            areas.shown_restored,
            change.shown_restored,
            "put back",
            design,
        )
        or "No wall is shown to have been put back at any one place; what may be, all "
        f"over, is at most {say_volume(whole.restored.high95, design)}.",
    ]


def _side(
    spot: ChangePeak | None, area: float, volume: Quantity, word: str, design: Design
) -> str:
    """What is shown of one side; empty where nothing is."""
    if spot is None:
        return ""
    return (
        f"Shown place by place: {word} over {say_area(area, design)}, there "
        f"{volume_words(volume, design)}; most at {say_spot(spot, design)}."
    )


def say_spot(spot: ChangePeak, design: Design) -> str:
    """Where a change is greatest, and how much it is there."""
    clock = clock_face(spot.azimuth, design.azimuth_sense)
    change = spot.change if spot.change.value > 0.0 else -spot.change
    return (
        f"{clock}, {say_from(spot.height, design)}: "
        f"{say_both(change.value, design.length_unit, finest=FINEST)}, {_SURE}: "
        f"{say_ends(change, design)}"
    )


def say_detection(change: Change, design: Design) -> str:
    """From what on a change is stated."""
    least = say_both(change.detection, design.length_unit, finest=FINEST)
    return (
        f"At any one place these surveys tell a change from about {least} on; over a "
        "level, a side or a zone together they tell much smaller changes."
    )


def _on_average(region: RegionChange, design: Design) -> str:
    mean, word = region.mean, "lost"
    if mean.value < 0.0:
        mean, word = -mean, "put back"
    size = f"{say_mean(mean.value, design)} {word} on average"
    ends = say_mean_ends(mean, design)
    return f"{upfirst(region.region.name)}: {size}, {_SURE}: {ends}."


def say_ends(length: Quantity, design: Design) -> str:
    """A 95 % interval in the shop's unit."""
    unit = design.length_unit
    if unit == "mm":
        return f"{_tenths(length.low95)} to {_tenths(length.high95)} mm"
    high = say_length(length.high95, unit, finest=FINEST)
    return f"{say_mark(length.low95, unit, finest=FINEST)} to {high}"


def say_mean_ends(mean: Quantity, design: Design) -> str:
    """A 95 % interval as finely as it decides what is stated: also to 0.1 mm."""
    ends = say_ends(mean, design)
    if design.length_unit == "mm":
        return ends
    return f"{ends} ({_tenths(mean.low95)} to {_tenths(mean.high95)} mm)"


def say_mean(mm: float, design: Design) -> str:
    """A mean in the shop's unit and to 0.1 mm."""
    unit, tenths = design.length_unit, f"{_tenths(mm)} mm"
    if unit == "mm":
        return tenths
    return f"{say_length(mm, unit, finest=FINEST)} ({tenths})"


def _tenths(mm: float) -> str:
    return f"{round(mm, 1) + 0.0:.1f}"


def direction(change: Quantity) -> str:
    """Which way a change goes, by the side on which its 95 % interval lies."""
    if change.low95 > 0.0:
        return "lost"
    return "put back" if change.high95 < 0.0 else "cannot tell"


def change_warnings(change: Change, design: Design) -> list[str]:
    """What has to be known of the two surveys."""
    warnings = []
    if change.is_reversed:
        warnings.append(
            f"FROM ({change.start.name}) is the later survey: what is called lost here "
            "was put back, and the other way round"
        )
    if change.is_relined:
        warnings.append("The wall was lined anew between the surveys")
    if change.left_out:
        grid = change.grid
        low, high = (
            say_both(height, design.length_unit) for height in grid.surveyed_heights
        )
        round_ = read_round(grid)[grid.surveyed_rows].all()
        warnings.append(
            f"Wall that only one survey reached is left out: compared from {low} to "
            f"{high}{'' if round_ else ', not all round'}"
        )
    return warnings


def survey_line(survey: SurveyLabel) -> str:
    """Which survey, and when it was worked out."""
    title, name = plain(survey.title, most=80), plain(survey.name, most=80)
    named = name if name == title else f"{name} ({title})"
    return f"{named}, worked out {say_time(survey.created)}"


@dataclass(frozen=True)
class ChangeRow:
    """One region of wall; text throughout."""

    name: str
    small: str
    call: str
    mean: str
    mean_interval: str
    lost: str
    lost_interval: str
    restored: str
    restored_interval: str


def facts(change: Change, design: Design) -> list[tuple[str, str, str]]:
    """Name, value, and interval or remark."""
    volume, unit = change.volume, design.length_unit
    net, side = net_volume(change)
    rows = [
        (
            name,
            say_volume(part.value, design),
            f"95 %: {say_volume_interval(part, design)}",
        )
        for name, part in (
            (f"{upfirst(side)} on balance", net),
            ("Lost in all", volume.lost),
            ("Put back in all", volume.restored),
        )
    ]
    for name, spot in (
        ("Greatest loss shown", change.greatest_loss),
        ("Most put back, shown", change.greatest_gain),
    ):
        if spot is not None:
            size = say_both(abs(spot.change.value), unit, finest=FINEST)
            clock = clock_face(spot.azimuth, design.azimuth_sense)
            rows.append((name, size, f"{clock}, {say_from(spot.height, design)}"))
    low, high = change.grid.surveyed_heights
    least = say_both(change.detection, unit, finest=FINEST)
    return [
        *rows,
        ("Told from", least, "at any one place, 95 % sure"),
        (
            "Compared wall",
            say_area(change.areas.compared, design),
            f"from {say_heights(low, high, design)}",
        ),
    ]


def piece_rows(regions: tuple[RegionChange, ...], design: Design) -> list[ChangeRow]:
    """Pieces of wall as rows of a table; levels and zones with the highest first."""
    if regions and regions[0].region.kind != "side":
        regions = regions[::-1]
    return [_row(each, design) for each in regions]


def _row(change: RegionChange, design: Design) -> ChangeRow:
    name, small = _where(change.region, design)
    lost, restored = change.volume.lost, change.volume.restored
    mean = say_mean(change.mean.value, design)
    return ChangeRow(
        name=name,
        small=small,
        call=direction(change.mean),
        mean=mean if mean.startswith(("-", "0")) else f"+{mean}",
        mean_interval=say_mean_ends(change.mean, design),
        lost=say_volume(lost.value, design),
        lost_interval=say_volume_interval(lost, design),
        restored=say_volume(restored.value, design),
        restored_interval=say_volume_interval(restored, design),
    )


def _where(region: Region, design: Design) -> tuple[str, str]:
    heights = say_span(region.height_from, region.height_to, design)
    if region.name:
        return upfirst(region.name), heights
    if region.kind == "side":
        hour = clock_face(middle(region), design.azimuth_sense)
        return hour, upfirst(say_clock(region, design))
    low, high = region.height_from, region.height_to
    return heights, f"{low:.0f} to {high:.0f} mm"


def _went(volume: Quantity, spot: ChangePeak | None, design: Design) -> str:
    """What went to one side; as doubt alone where it is not shown and may be none."""
    if spot is None and volume.low95 <= 0.0:
        return f"none shown, at most {say_volume(volume.high95, design)}"
    return say_volume_within(volume, design)


def terminal_rows(change: Change, design: Design, out: Path) -> list[tuple[str, str]]:
    """The summary in the terminal: name and words of each line."""
    net, side = net_volume(change)
    rows = [
        ("Change", plain(say_change(change))),
        ("From", survey_line(change.start)),
        ("To", survey_line(change.end)),
        (f"{side.capitalize()} on balance", say_volume_within(net, design)),
        ("Lost", _went(change.volume.lost, change.greatest_loss, design)),
        ("Put back", _went(change.volume.restored, change.greatest_gain, design)),
    ]
    for name, spot in (
        ("Greatest loss", change.greatest_loss),
        ("Most put back", change.greatest_gain),
    ):
        rows.append((name, "none shown" if spot is None else say_spot(spot, design)))
    least = say_both(change.detection, design.length_unit, finest=FINEST)
    rows.append(("Told from", f"{least} at any one place, 95 % sure"))
    rows += [
        ("Warning", plain(words, most=600)) for words in change_warnings(change, design)
    ]
    return [*rows, ("Files", f"{out}: start with change.html")]
