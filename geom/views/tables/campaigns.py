"""What two campaigns say side by side, in sentences and rows; text only."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from geom.design import Design
from geom.quantity import Quantity
from geom.record.campaigns.campaign import CampaignWear, UncountedRepair
from geom.record.campaigns.compare import Comparison, Contrast
from geom.record.wear.series import FEW_SPELLS, Exposure
from geom.stats.comparisons import Rank
from geom.views.say import (
    figures,
    plain,
    say_material,
    say_percent,
    say_rate,
    say_region,
    say_spell,
    say_survey_gap,
    say_wear,
    say_wear_interval,
)

#: The zone that a headline is about, where the drawing has it.
_HOTTEST = "melting zone"
_WHOLE = "whole wall"
#: What a campaign is divided by, in words for many.
MANY = {"tonne": "tonnes of iron", "hour": "hours on blast", "heat": "heats"}


@dataclass(frozen=True)
class ContrastRow:
    """One amount of both campaigns; each with its interval, empty where unknown."""

    name: str
    first: tuple[str, str]
    second: tuple[str, str]
    change: tuple[str, str]
    percent: tuple[str, str]
    significant: bool


@dataclass(frozen=True)
class RankRow:
    """One line of a ranking; its place is a range where that is not settled."""

    place: str
    name: str
    change: tuple[str, str]
    significant: bool


def campaign_names(comparison: Comparison) -> tuple[str, str]:
    """What the campaigns are called: with the furnace too where they share a name."""
    first, second = comparison.first, comparison.second
    campaigns = (first, second)
    names = [plain(each.name, most=40) or "without a name" for each in campaigns]
    if first.lining != second.lining or names[0] == names[1]:
        linings = [plain(each.lining, most=40) for each in campaigns]
        names = [f"{n} of {where}" for n, where in zip(names, linings, strict=True)]
    if names[0] == names[1]:
        names = [f"{names[0]} ({word})" for word in ("first", "second")]
    return names[0], names[1]


def headline(comparison: Comparison) -> list[str]:
    """What a reviewer takes home: the hottest zone, the whole wall, the material."""
    sentences = [_wear_sentence(comparison, name) for name in (_HOTTEST, _WHOLE)]
    return [each for each in (*sentences, _material_sentence(comparison)) if each]


def _wear_sentence(comparison: Comparison, zone: str) -> str:
    contrast = comparison.of(zone)
    if contrast is None:
        return ""
    first, second = campaign_names(comparison)
    what, per = f"the {zone}", f"per {comparison.by}"
    if contrast.ratio is not None:
        value, interval = say_percent(contrast.ratio)
        if is_significant(contrast):
            return (
                f"Campaign {second} wears {what} {value} {per} than campaign {first} "
                f"(95 %: {interval})."
            )
        return (
            f"Whether campaign {second} wears {what} more or less {per} than campaign "
            f"{first} is not settled: best estimate {value}, 95 %: {interval}."
        )
    if contrast.difference is None:
        return f"Wear of {what} is not told of both campaigns."
    unit = comparison.design.length_unit
    difference = contrast.difference
    size = say_wear(abs(difference.value), unit)
    more = "less" if difference.value < 0.0 else "more"
    sure = "" if is_significant(contrast) else "; that is not settled"
    return (
        f"Campaign {second} wears {what} {size} {more} {per} than campaign {first} "
        f"(second less first, 95 %: {say_wear_interval(difference, unit)}){sure}."
    )


def _material_sentence(comparison: Comparison) -> str:
    contrast = comparison.material
    if contrast.ratio is None:
        return ""
    value, interval = say_percent(contrast.ratio)
    second = campaign_names(comparison)[1]
    if is_significant(contrast):
        return (
            f"Repairs of campaign {second} put back {value} material per "
            f"{comparison.by} (95 %: {interval})."
        )
    return (
        f"Whether repairs of campaign {second} put back more or less material per "
        f"{comparison.by} is not settled: best estimate {value}, 95 %: {interval}."
    )


def is_significant(contrast: Contrast) -> bool:
    """Whether it is sure which campaign has more."""
    difference = contrast.difference
    return difference is not None and not difference.low95 <= 0.0 <= difference.high95


def comparison_cautions(comparison: Comparison) -> list[str]:
    """What has to be known of both campaigns."""
    first, second = comparison.first, comparison.second
    cautions = []
    if first.lining != second.lining:
        cautions.append(
            "The two records are of different furnaces: what sets them apart besides "
            "the campaign is not told here"
        )
    for campaign in (first, second):
        cautions += [
            f"Campaign {campaign.name}: {words}"
            for words in campaign_cautions(campaign, comparison.by)
        ]
    if comparison.by == "tonne":
        cautions.append(
            "Per tonne of iron melted: what iron, coke, flux and blast it was melted "
            "with is not in the record"
        )
    return cautions


def campaign_cautions(campaign: CampaignWear, by: Exposure) -> list[str]:
    """What has to be known of one campaign."""
    count = len(campaign.spells)
    few = "one spell" if count == 1 else f"{count} spells"
    hardly = [f"only {few} of wear: how heats differ is hardly known"]
    return [
        *(hardly if count < FEW_SPELLS else []),
        *(f"not counted: {say_survey_gap(gap)}" for gap in campaign.gaps),
        *(
            f"not counted: {say_spell(spell)}, its {by}s are not told"
            for spell in campaign.unstated
        ),
        *(
            f"material not counted: {say_uncounted(repair, by)}"
            for repair in campaign.material.left_out
        ),
    ]


def say_uncounted(repair: UncountedRepair, by: Exposure) -> str:
    """Why a repair does not count."""
    if repair.unknown == "since":
        return f"heat {repair.heat}: {by}s since the repair before are not told"
    return f"heat {repair.heat}: its repair was not surveyed {repair.unknown}"


def zone_rows(comparison: Comparison) -> list[ContrastRow]:
    """The whole wall and its zones."""
    design, regions = comparison.design, comparison.regions
    return [
        _row(say_region(regions.regions[i], design), comparison.wear[i], design)
        for kind in ("wall", "zone")
        for i in regions.of_kind(kind)
    ]


def material_row(comparison: Comparison) -> ContrastRow:
    """Material put back."""
    name = f"put back per {comparison.by}"
    return _row(name, comparison.material, comparison.design, say_material)


def _row(
    name: str,
    contrast: Contrast,
    design: Design,
    in_words: Callable[[Quantity, Design], tuple[str, str]] = say_rate,
) -> ContrastRow:
    first, second, change = (
        ("not told", "") if each is None else in_words(each, design)
        for each in (contrast.first, contrast.second, contrast.difference)
    )
    percent = ("", "") if contrast.ratio is None else say_percent(contrast.ratio)
    return ContrastRow(name, first, second, change, percent, is_significant(contrast))


def rank_rows(comparison: Comparison, ranks: tuple[Rank, ...]) -> list[RankRow]:
    """A ranking, most more first."""
    design, rows = comparison.design, []
    for rank in ranks:
        difference = comparison.wear[rank.item].difference
        if difference is None:
            continue
        place = str(rank.first) if rank.settled else f"{rank.first} to {rank.last}"
        name = say_region(comparison.regions.regions[rank.item], design)
        rows.append(RankRow(place, name, say_rate(difference, design), rank.settled))
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


def about_rows(comparison: Comparison) -> list[tuple[str, str, str]]:
    """What is known of each campaign: name, first, second."""
    names = (
        "Furnace",
        "Heats",
        "Surveyed",
        "Spells of wear counted",
        f"{MANY[comparison.by].capitalize()} in them",
        "Repairs measured",
    )
    return list(
        zip(names, _about(comparison.first), _about(comparison.second), strict=True)
    )


def _about(campaign: CampaignWear) -> tuple[str, ...]:
    spells, occasions = campaign.spells, campaign.occasions
    return (
        plain(campaign.lining, most=60),
        f"{spells[0].first_heat} to {spells[-1].last_heat}",
        f"{occasions[0].date} to {occasions[-1].date}",
        str(len(spells)),
        figures(campaign.exposure),
        str(len(campaign.material.repairs)),
    )
