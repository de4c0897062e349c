"""What repairs took, per tonne, hour or heat."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from geom.quantity import Quantity
from geom.record.campaigns.campaign import material_used
from geom.record.store.occasion import Occasion
from geom.views.tables.campaigns import say_uncounted

LITRE = 1e6


def at(heat, stage, hours=None, melted=None):
    return Occasion(heat, stage, date(2026, 1, 1), hours, melted, "A")


def campaign(heats, *, melted=20_000.0, hours=5.0):
    found = [at(0, "after repair")]
    for heat in range(1, heats + 1):
        found += [at(heat, "before repair", hours, melted), at(heat, "after repair")]
    return found


def table(volumes):
    """Rebuild volume of an occasion in litres, with an sd of 1."""
    return lambda one: Quantity.normal(volumes[one.name] * LITRE, LITRE)


def test_all_that_was_put_in_over_all_tonnes():
    occasions = campaign(2)
    litres = dict(
        zip((o.name for o in occasions), (1.0, 41.0, 1.0, 41.0, 1.0), strict=True)
    )
    made = material_used(occasions, table(litres), "tonne")
    # Twice 40 litres for twice 20 tonnes; four surveys of 1 litre each.
    assert made.rate.value == pytest.approx(2.0 * LITRE)
    assert made.rate.sd == pytest.approx(np.sqrt(4.0) / 40.0 * LITRE)
    assert [repair.since for repair in made.repairs] == [20.0, 20.0]
    by_hour = material_used(occasions, table(litres), "hour").rate
    by_heat = material_used(occasions, table(litres), "heat").rate
    assert by_hour.value == pytest.approx(8.0 * LITRE)
    assert by_heat.value == pytest.approx(40.0 * LITRE)


def test_a_heat_without_repair_counts_for_the_next():
    occasions = [
        at(0, "after repair"),
        at(1, "not repaired", 4.0, 10_000.0),
        at(3, "before repair", 6.0, 30_000.0),
        at(3, "after repair"),
    ]
    litres = dict.fromkeys((o.name for o in occasions), 0.0)
    litres["heat-00003-before-repair"] = 20.0
    for by, since in (("tonne", 40.0), ("hour", 10.0), ("heat", 3.0)):
        (repair,) = material_used(occasions, table(litres), by).repairs
        assert repair.since == pytest.approx(since)
        assert repair.heat == 3


def test_repairs_that_differ_widen_the_interval():
    occasions = campaign(5)
    litres = {o.name: 0.0 for o in occasions}
    amounts = (20.0, 60.0, 30.0, 50.0, 40.0)
    for heat, amount in enumerate(amounts, start=1):
        litres[f"heat-{heat:05d}-before-repair"] = amount
    rate = material_used(occasions, table(litres), "heat").rate
    # Equal exposures: the standard error of a mean, and Student's 4 degrees.
    error = np.std(amounts, ddof=1) / np.sqrt(5.0)
    assert rate.value == pytest.approx(40.0 * LITRE)
    assert rate.sd == pytest.approx(error * LITRE)
    assert rate.high95 == pytest.approx((40.0 + 2.776 * error) * LITRE, rel=1e-4)
    # The surveys alone would say far less.
    assert rate.sd > 5.0 * np.sqrt(2.0 * 5.0) / 5.0 * LITRE / 1.5


def test_repairs_not_measured_or_not_known_are_left_out_in_words():
    occasions = [
        at(0, "after repair"),
        at(1, "before repair", 5.0, 20_000.0),
        at(2, "after repair"),
        at(3, "before repair", 5.0, None),
        at(3, "after repair"),
    ]
    made = material_used(occasions, table({o.name: 9.0 for o in occasions}), "tonne")
    assert made.rate is None
    assert [say_uncounted(repair, "tonne") for repair in made.left_out] == [
        "heat 1: its repair was not surveyed after",
        "heat 2: its repair was not surveyed before",
        "heat 3: tonnes since the repair before are not told",
    ]
    by_heat = material_used(occasions, table({o.name: 9.0 for o in occasions}), "heat")
    assert [repair.since for repair in by_heat.repairs] == [1.0]


def test_the_end_of_a_campaign_is_no_repair():
    occasions = campaign(2)[:-1]
    made = material_used(occasions, table({o.name: 9.0 for o in occasions}), "tonne")
    assert [repair.heat for repair in made.repairs] == [1]
    assert made.left_out == ()


def test_no_survey_no_material():
    assert material_used([], table({}), "heat").rate is None
