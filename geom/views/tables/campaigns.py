"""What two campaigns say side by side, in sentences and rows; text only."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from geom.design import Design
from geom.quantity import Quantity
from geom.record.assumptions import ASSUMED as RECORD
from geom.record.campaigns.campaign import CampaignWear, UncountedRepair
from geom.record.campaigns.compare import Comparison, Contrast
from geom.record.store.occasion import mass_unit
from geom.record.wear.series import Exposure
from geom.stats.comparisons import Rank
from geom.views.say import figures, plain, say_region, say_spell, say_survey_gap
from geom.views.say_rates import (
    Per,
    per_exposure,
    say_iron,
    say_material,
    say_percent,
    say_rate,
)

#: The zone that a headline is about, where the drawing has it.
_HOTTEST = "melting zone"
_WHOLE = "whole wall"
#: What a campaign is divided by, in words for many; iron in the shop's own unit.
_MANY = {"tonne": "Iron", "hour": "Hours on blast", "heat": "Heats"}


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


def headline(comparison: Comparison) -> str:
    """What a reviewer takes home, in one sentence: wear, then what repairs took."""
    first, second = campaign_names(comparison)
    per = per_of(comparison)
    zone = next(
        (name for name in (_HOTTEST, _WHOLE) if comparison.of(name) is not None), ""
    )
    wear = comparison.of(zone)
    if wear is None or wear.difference is None:
        return f"Wear of the {zone or _WHOLE} is not told of both campaigns."
    change = _change_words(wear, lambda q: say_rate(q, comparison.design), per)
    material = _change_words(
        comparison.material, lambda q: say_material(q, comparison.design), per
    )
    worn = _clause(change, f"{second} wears the {zone}", f"than {first}", wear)
    put = _clause(material, "its repairs put back", "material", comparison.material)
    joined = f"{worn}, and {put}" if material else worn
    return f"Per {per.words}: {joined}."


def _clause(change: tuple[str, str], who: str, what: str, contrast: Contrast) -> str:
    value, interval = change
    if is_significant(contrast):
        return f"{who} {value} {what} (95 %: {interval})"
    return (
        f"whether {who} more or less {what} is not settled (best estimate {value}, "
        f"95 %: {interval})"
    )


def _change_words(
    contrast: Contrast, in_words: Callable[[Quantity], tuple[str, str]], per: Per
) -> tuple[str, str]:
    """How much more or less the second has; in percent where the first is sure.

    No part of less than all can be lost: a ratio that reaches below 0 is not said.
    Empty where not known of both.
    """
    if (ratio := shown_ratio(contrast)) is not None:
        return say_percent(ratio)
    if contrast.difference is None:
        return "", ""
    change = contrast.difference.times(per.times)
    less = change.value < 0.0
    if less:
        change = Quantity(-change.value, change.sd, -change.high95, -change.low95)
    value, interval = in_words(change)
    return f"{value} {'less' if less else 'more'}", interval


def shown_ratio(contrast: Contrast) -> Quantity | None:
    """The ratio, where it says how much of the first is left: above 0 throughout."""
    ratio = contrast.ratio
    return None if ratio is None or ratio.low95 < 0.0 else ratio


def per_of(comparison: Comparison) -> Per:
    """What wear and material are stated for."""
    occasions = (*comparison.first.occasions, *comparison.second.occasions)
    return per_exposure(comparison.by, mass_unit(occasions))


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
            "Per iron melted: what iron, coke, flux and blast it was melted "
            "with is not in the record"
        )
    return cautions


def campaign_cautions(campaign: CampaignWear, by: Exposure) -> list[str]:
    """What has to be known of one campaign."""
    count = len(campaign.spells)
    few = "one spell" if count == 1 else f"{count} spells"
    hardly = [f"only {few} of wear: how heats differ is hardly known"]
    return [
        *(hardly if count < RECORD.series_spells else []),
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
    regions = comparison.regions
    return [
        _row(
            say_region(regions.regions[i], comparison.design),
            comparison.wear[i],
            comparison,
        )
        for kind in ("wall", "zone")
        for i in regions.of_kind(kind)
    ]


def material_row(comparison: Comparison) -> ContrastRow:
    """Material put back."""
    name = f"put back per {per_of(comparison).words}"
    return _row(name, comparison.material, comparison, say_material)


def _row(
    name: str,
    contrast: Contrast,
    comparison: Comparison,
    in_words: Callable[[Quantity, Design], tuple[str, str]] = say_rate,
) -> ContrastRow:
    per, design = per_of(comparison), comparison.design
    first, second, change = (
        ("not told", "") if each is None else in_words(each.times(per.times), design)
        for each in (contrast.first, contrast.second, contrast.difference)
    )
    ratio = shown_ratio(contrast)
    percent = ("", "") if ratio is None else say_percent(ratio)
    return ContrastRow(name, first, second, change, percent, is_significant(contrast))


def rank_rows(comparison: Comparison, ranks: tuple[Rank, ...]) -> list[RankRow]:
    """A ranking, most more first."""
    design, per, rows = comparison.design, per_of(comparison), []
    for rank in ranks:
        difference = comparison.wear[rank.item].difference
        if difference is None:
            continue
        place = str(rank.first) if rank.settled else f"{rank.first} to {rank.last}"
        name = say_region(comparison.regions.regions[rank.item], design)
        rows.append(
            RankRow(
                place, name, say_rate(difference.times(per.times), design), rank.settled
            )
        )
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
        f"{_MANY[comparison.by]} in them",
        "Repairs measured",
    )
    return list(
        zip(
            names,
            _about(comparison.first, comparison.by),
            _about(comparison.second, comparison.by),
            strict=True,
        )
    )


def _about(campaign: CampaignWear, by: Exposure) -> tuple[str, ...]:
    spells, occasions = campaign.spells, campaign.occasions
    amount = figures(campaign.exposure)
    if by == "tonne":
        amount = say_iron(campaign.exposure, mass_unit(occasions))
    return (
        plain(campaign.lining, most=60),
        f"{spells[0].first_heat} to {spells[-1].last_heat}",
        f"{occasions[0].date} to {occasions[-1].date}",
        str(len(spells)),
        amount,
        str(len(campaign.material.repairs)),
    )
