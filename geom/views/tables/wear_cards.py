"""What a page of wear leads with, and the patch ledger, in a few words each."""

from __future__ import annotations

import math
from dataclasses import dataclass

from geom.design import Design
from geom.record.assumptions import ASSUMED as RECORD
from geom.record.store.occasion import mass_unit
from geom.record.study import Wear
from geom.record.wear.ledger import PanelLedger
from geom.views.say import (
    count_of,
    figures,
    say_interval,
    say_region,
    say_spell,
    upfirst,
)
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
    answer, remark = no_step_words(wear)
    return Card(question, answer, (remark,))


def no_step_words(wear: Wear) -> tuple[str, str]:
    """What is said where no step is told: none was found, or none could be."""
    needed = RECORD.spells_before_step + RECORD.spells_after_step
    if len(wear.spells) < needed:
        return (
            "Too early to tell",
            f"a step needs {needed} spells of wear to be seen; there "
            f"{'is' if len(wear.spells) == 1 else 'are'} {len(wear.spells)}",
        )
    return (
        "No step was found",
        "a small one, or one in the last heats, may be there all the same",
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


#: Lines of the ledger that a page shows.
LEDGER_LINES = 8


@dataclass(frozen=True)
class LedgerRow:
    """A place of the wall and what stands there, in words.

    Attributes
    ----------
    gone, left : tuple of str
        Original lining lost and left, and their intervals; the latter empty where no
        shell is drawn.
    """

    where: str
    patched: str
    gone: tuple[str, str]
    patch: tuple[str, str]
    left: tuple[str, str]
    reline: str


def ledger_rows(wear: Wear, design: Design) -> list[LedgerRow]:
    """The places where the original lining lasts least, then where it went furthest."""

    def rank(line: PanelLedger) -> tuple[float, float]:
        left = math.inf if line.heats_left is None else line.heats_left
        return left, -line.deepest.value

    unit = design.length_unit
    panels = wear.regions.of_kind("panel")
    rows = []
    for line in sorted(wear.ledger, key=rank)[:LEDGER_LINES]:
        times = "never" if line.patched == 0 else count_of(line.patched, "time")
        brick = f", {line.bricked} in brick" if line.bricked else ""
        if line.heats_left is None:
            reline = "not in sight"
        elif line.heats_left < 1.0:
            reline = "now"
        else:
            reline = f"{math.floor(line.heats_left)} heats or more"
        rows.append(
            LedgerRow(
                where=say_region(wear.regions.regions[panels[line.panel]], design),
                patched=times + brick,
                gone=say_interval(line.deepest, unit),
                patch=say_interval(line.patch, unit),
                left=say_interval(line.original, unit) if line.original else ("", ""),
                reline=reline,
            )
        )
    return rows


def ledger_words(wear: Wear, design: Design) -> str:
    """What the ledger comes to, in one sentence."""
    if not wear.ledger:
        return ""
    worst = max(wear.ledger, key=lambda line: line.deepest.value)
    panels = wear.regions.of_kind("panel")
    where = say_region(wear.regions.regions[panels[worst.panel]], design)
    value, interval = say_interval(worst.deepest, design.length_unit)
    words = f"Most original lining is gone at {where}: {value}; 95 %: {interval}."
    if worst.original is None:
        return words
    value, interval = say_interval(worst.original, design.length_unit)
    return f"{words} Left of it: {value}; 95 %: {interval}."


def effort_words(wear: Wear, design: Design) -> str:
    """Daub, bricks and hours that repairs took by their plans, in one line."""
    effort = wear.effort
    per = per_exposure(wear.material_by, mass_unit(wear.occasions))
    if effort.daub is None or effort.bricks is None or effort.hours is None:
        return (
            f"Daub, bricks and hours per {per.words} are not told: it takes two "
            "measured repairs whose surveys hold their plan."
        )
    daub, within = say_material(effort.daub.times(per.times), design)
    counted = []
    hours = "hours of one man on the wall"
    for amount, unit in ((effort.bricks, "bricks"), (effort.hours, hours)):
        value, low, high = (
            figures(per.times * part)
            for part in (amount.value, amount.low95, amount.high95)
        )
        ends = f", 95 %: {low} to {high}" if amount.sd > 0.0 else ""
        counted.append(f"{value if amount.high95 > 0.0 else 'no'} {unit}{ends}")
    rates = (
        "the crew's rates in the design file"
        if effort.is_crew_stated
        else "rates of our own choice, as the design file states no [crew]"
    )
    return (
        f"Repairs took, by the plans of {effort.repairs} of them, per {per.words}: "
        f"{daub} of wet daub, 95 %: {within}; {counted[0]}; {counted[1]}. Hours go by "
        f"{rates}."
    )
