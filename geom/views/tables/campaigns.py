"""What two campaigns say beside each other, in sentences and rows; text only."""

from __future__ import annotations

from dataclasses import dataclass

from geom.quantity import Quantity
from geom.record.campaigns.campaign import CampaignWear
from geom.record.campaigns.compare import Comparison, Contrast
from geom.stats.intervals import Rank
from geom.views.say import (
    figures,
    plain,
    say_material,
    say_percent,
    say_piece,
    say_wear,
    say_wear_interval,
)

#: The zone that a headline is about, where the drawing has it.
_HOTTEST = "melting zone"
_WHOLE = "whole wall"
#: What a campaign is divided by, in words for many.
MANY = {"tonne": "tonnes of iron", "hour": "hours on blast", "heat": "heats"}


@dataclass(frozen=True)
class Row:
    """One amount of both campaigns; each with its interval, empty where not told."""

    name: str
    first: tuple[str, str]
    second: tuple[str, str]
    change: tuple[str, str]
    percent: tuple[str, str]
    settled: bool


@dataclass(frozen=True)
class Place:
    """One line of a ranking."""

    place: str
    name: str
    change: tuple[str, str]
    settled: bool


def called(told: Comparison) -> tuple[str, str]:
    """What the campaigns are called: with the furnace too where they share a name."""
    first, second = told.first, told.second
    names = [plain(one.name, most=40) or "without a name" for one in (first, second)]
    if first.lining != second.lining or names[0] == names[1]:
        linings = [plain(one.lining, most=40) for one in (first, second)]
        names = [f"{n} of {where}" for n, where in zip(names, linings, strict=True)]
    if names[0] == names[1]:
        names = [f"{names[0]} ({word})" for word in ("first", "second")]
    return names[0], names[1]


def headline(told: Comparison) -> list[str]:
    """What a reviewer takes away: the hottest zone, the whole wall, the material."""
    said = [_wear_sentence(told, name) for name in (_HOTTEST, _WHOLE)]
    return [words for words in (*said, _material_sentence(told)) if words]


def _wear_sentence(told: Comparison, zone: str) -> str:
    found = told.of(zone)
    if found is None:
        return ""
    first, second = called(told)
    what, per = f"the {zone}", f"per {told.by}"
    if found.ratio is not None:
        value, interval = say_percent(found.ratio)
        if settled(found):
            return (
                f"Campaign {second} wears {what} {value} {per} than campaign {first} "
                f"(95 %: {interval})."
            )
        return (
            f"Whether campaign {second} wears {what} more or less {per} than campaign "
            f"{first} is not settled: best estimate {value}, 95 %: {interval}."
        )
    if found.difference is None:
        return f"Wear of {what} is not told of both campaigns."
    unit = told.design.length_unit
    apart = found.difference
    size = say_wear(abs(apart.value), unit)
    more = "less" if apart.value < 0.0 else "more"
    sure = "" if settled(found) else "; that is not settled"
    return (
        f"Campaign {second} wears {what} {size} {more} {per} than campaign {first} "
        f"(second less first, 95 %: {say_wear_interval(apart, unit)}){sure}."
    )


def _material_sentence(told: Comparison) -> str:
    found = told.material
    if found.ratio is None:
        return ""
    value, interval = say_percent(found.ratio)
    second = called(told)[1]
    if settled(found):
        return (
            f"Repairs of campaign {second} put back {value} material per {told.by} "
            f"(95 %: {interval})."
        )
    return (
        f"Whether repairs of campaign {second} put back more or less material per "
        f"{told.by} is not settled: best estimate {value}, 95 %: {interval}."
    )


def settled(found: Contrast) -> bool:
    """Whether it is sure which campaign has more."""
    apart = found.difference
    return apart is not None and not apart.low95 <= 0.0 <= apart.high95


def zone_rows(told: Comparison) -> list[Row]:
    """The whole wall and its zones."""
    rows = []
    for kind in ("wall", "zone"):
        for i in told.pieces.of_kind(kind):
            name = say_piece(told.pieces.pieces[i], told.design)
            rows.append(_row(told, name, told.wear[i]))
    return rows


def _row(told: Comparison, name: str, found: Contrast) -> Row:
    unit = told.design.length_unit

    def said(one: Quantity | None) -> tuple[str, str]:
        if one is None:
            return "not told", ""
        return say_wear(one.value, unit), say_wear_interval(one, unit)

    percent = ("", "") if found.ratio is None else say_percent(found.ratio)
    return Row(
        name,
        said(found.first),
        said(found.second),
        said(found.difference),
        percent,
        settled(found),
    )


def material_row(told: Comparison) -> Row:
    """Material put back."""
    found, design = told.material, told.design

    def said(one: Quantity | None) -> tuple[str, str]:
        return ("not told", "") if one is None else say_material(one, design)

    percent = ("", "") if found.ratio is None else say_percent(found.ratio)
    return Row(
        f"put back per {told.by}",
        said(found.first),
        said(found.second),
        said(found.difference),
        percent,
        settled(found),
    )


def place_rows(told: Comparison, ranks: tuple[Rank, ...]) -> list[Place]:
    """A ranking, most more first."""
    unit, rows = told.design.length_unit, []
    for rank in ranks:
        apart = told.wear[rank.item].difference
        if apart is None:
            continue
        place = str(rank.first) if rank.settled else f"{rank.first} to {rank.last}"
        name = say_piece(told.pieces.pieces[rank.item], told.design)
        change = say_wear(apart.value, unit), say_wear_interval(apart, unit)
        rows.append(Place(place, name, change, rank.settled))
    return rows


def ranking_words(ranks: tuple[Rank, ...], what: str) -> str:
    """How far a ranking is settled."""
    if not ranks:
        return f"No {what} is told of both campaigns."
    sure = sum(rank.settled for rank in ranks)
    if sure == 0:
        return f"No {what} has a settled place: read ranges, not the order."
    if sure == len(ranks):
        return f"Every {what} has a settled place."
    return (
        f"{sure} of {len(ranks)} {what}s have a settled place; of the others read the "
        "range, not the order."
    )


def about_rows(told: Comparison) -> list[tuple[str, str, str]]:
    """What is known of each campaign: name, first, second."""
    names = (
        "Furnace",
        "Heats",
        "Surveyed",
        "Spells of wear counted",
        f"{MANY[told.by].capitalize()} in them",
        "Repairs measured",
    )
    return list(zip(names, _about(told.first), _about(told.second), strict=True))


def _about(one: CampaignWear) -> tuple[str, ...]:
    return (
        plain(one.lining, most=60),
        _heats(one),
        _dates(one),
        str(len(one.spells)),
        figures(one.exposure),
        str(len(one.material.repairs)),
    )


def _heats(one: CampaignWear) -> str:
    first, last = one.spells[0].start.heat + 1, one.spells[-1].end.heat
    return f"{first} to {last}"


def _dates(one: CampaignWear) -> str:
    return f"{one.occasions[0].date} to {one.occasions[-1].date}"
