"""The four questions that a page of wear leads with, each answered in a few words."""

from __future__ import annotations

from dataclasses import dataclass

from geom.design import Design
from geom.record.store.occasion import mass_unit
from geom.record.study import Wear
from geom.views.say import count_of, say_region, say_spell, upfirst
from geom.views.say_rates import per_exposure, say_material, say_rate
from geom.views.tables.wear import LIMITS, hottest_zone, longest_words, rate_words


@dataclass(frozen=True)
class Card:
    """One question that the page leads with, and its answer in a few words.

    Attributes
    ----------
    answer : str
        The number that answers it.
    remarks : tuple of str
        How sure that is, and what goes with it.
    """

    question: str
    answer: str
    remarks: tuple[str, ...]


def wear_cards(wear: Wear, design: Design) -> list[Card]:
    """The four questions that a page of wear leads with."""
    return [
        _where_card(wear, design),
        _worse_card(wear, design),
        _longest_card(wear),
        _cost_card(wear, design),
    ]


def _where_card(wear: Wear, design: Design) -> Card:
    hottest = hottest_zone(wear.regions)
    name = upfirst(say_region(wear.regions.regions[hottest], design))
    value, interval = rate_words(wear.rates["heat"].long[hottest], design)
    remarks = [f"95 %: {interval}"] if interval else []
    if "tonne" in wear.rates:
        iron = per_exposure("tonne", mass_unit(wear.occasions))
        of_iron, within = rate_words(wear.rates["tonne"].long[hottest], design, iron)
        remarks.append(f"per {iron.words}: {of_iron}; 95 %: {within}")
    return Card("What wears, and where", f"{name}: {value} a heat", tuple(remarks))


def _worse_card(wear: Wear, design: Design) -> Card:
    question = "Is it getting worse?"
    if wear.steps:
        step = wear.steps[0]
        change = "more" if step.change.value > 0.0 else "less"
        others = len(wear.steps) - 1
        return Card(
            question,
            f"{'Yes' if change == 'more' else 'No'}: {change} since "
            f"{say_spell(step.first)}",
            (
                f"{say_rate(step.after, design)[0]} a heat, before "
                f"{say_rate(step.before, design)[0]}, "
                f"{say_region(step.region, design)}",
                *([f"and {count_of(others, 'more step')}, below"] if others else []),
            ),
        )
    return Card(
        question,
        "No step was found",
        ("a small one, or one in the last heats, may be there all the same",),
    )


def _longest_card(wear: Wear) -> Card:
    question = "How long may the next heat be?"
    if not wear.longest:
        return Card(question, "cannot be told", ())
    unit = mass_unit(wear.occasions)
    lines = [(*longest_words(each, unit), LIMITS[each.limit]) for each in wear.longest]
    (value, interval, limit), *others = lines
    repaired = "as repaired" if wear.occasions[-1].is_as_left else "before its repair"
    return Card(
        question,
        f"About {value}",
        (
            f"{limit}; {interval}",
            *(f"{words} {until}; {ends}" for words, ends, until in others),
            f"from the wall {repaired} after heat {wear.occasions[-1].heat}",
        ),
    )


def _cost_card(wear: Wear, design: Design) -> Card:
    question, material = "What does it cost?", wear.material
    if material.rate is None:
        return Card(question, "No repair was measured before and after", ())
    per = per_exposure(wear.material_by, mass_unit(wear.occasions))
    value, interval = say_material(material.rate.times(per.times), design)
    return Card(
        question,
        f"{value} put back per {per.words}",
        (f"95 %: {interval}", f"{count_of(len(material.repairs), 'repair')} measured"),
    )
