"""What is said of the openings, row by row."""

from __future__ import annotations

from dataclasses import replace

import pytest

from geom.design import Opening
from geom.quantity import Quantity
from geom.repair.audit.taper import Measure, Remedy, TuyereAudit
from geom.repair.plan.openings import opening_works
from geom.units import CUBIC_FOOT
from geom.views.tables.openings import (
    opening_rows,
    say_wet,
    taper_advice,
    taper_lines,
    tuyere_rows,
)
from tests.walls import plain_design

IN = 25.4


def furnace(unit: str = "in"):
    tuyeres = [Opening("tuyere", a, 26 * IN, 5 * IN, 3.5 * IN) for a in (30.0, 90.0)]
    lipped = Opening("tuyere", 165.0, 26 * IN, 5 * IN, 3.5 * IN, lip=0.375 * IN)
    tap = Opening("tap hole", 0.0, 6 * IN, 3 * IN, 3 * IN)
    slag = Opening("slag hole", 180.0, 17 * IN, 2.5 * IN, 2.5 * IN)
    return plain_design(
        length_unit=unit,
        openings=(*tuyeres, lipped, tap, slag),
        shell_radius=450.0 + 9 * IN,
    )


def test_openings_that_are_alike_stand_in_one_row() -> None:
    design = furnace()
    rows = opening_rows(opening_works(design), design)
    assert [row.what for row in rows] == [
        "2 tuyeres", "Tuyere", "Tap hole", "Tap spout", "Slag hole", "Slag spout"
    ]  # fmt: skip
    assert rows[0].where == "1 and 3 o'clock, middle 26 in up"
    assert rows[1].where == "half past 5, middle 26 in up"
    assert "former 5 × 3 1/2 in" in rows[0].how_much
    assert "lip" not in rows[0].how_much
    assert "lip 3/8 in out" in rows[1].how_much


def test_a_row_has_the_numbers_of_its_work() -> None:
    design = furnace()
    works = opening_works(design)
    tap = works[3]
    rows = {row.what: row.how_much for row in opening_rows(works, design)}
    for words in ("Breast 12 × 7 1/2 in, 9 in deep", "4 × 9 in straight",
                  "former 3 in round", "wash"):  # fmt: skip
        assert words in rows["Tap hole"]
    assert f"crushed-brick mix {say_wet(tap.crushed_mix, design)}" in rows["Tap hole"]
    assert "daub" not in rows["Tap hole"]  # what there is of it is of the spout
    assert f"sand mix {say_wet(tap.sand_mix, design)}, rammed" in rows["Tap spout"]
    assert f"daub {say_wet(tap.daub, design)}, smoothed" in rows["Tap spout"]
    assert "counted with the hole" in rows["Slag spout"]


def test_amounts_are_in_the_unit_of_the_shop_alone() -> None:
    inches = furnace()
    part = opening_works(inches)[3].crushed_mix
    feet = float(say_wet(part, inches).split()[0])
    assert feet == pytest.approx(part.mixed.value / CUBIC_FOOT, rel=5e-3)
    pounds = float(say_wet(part, inches).split("(")[1].split()[0])
    assert pounds == pytest.approx(part.mixed.value * 1900e-9 / 0.45359237, rel=5e-3)
    for unit, foreign in (("in", (" mm", " L", " kg")), ("mm", (" in,", "ft", "lb"))):
        design = furnace(unit)
        told = " ".join(
            f"{row.where} {row.how_much}"
            for row in opening_rows(opening_works(design), design)
        ).replace("9 in straight", "")
        assert not [word for word in foreign if word in told]


def test_no_openings_no_rows_and_two_tap_holes_have_two_spouts() -> None:
    design = furnace()
    assert opening_rows((), design) == []
    tap = design.openings[3]
    two = replace(design, openings=(tap, replace(tap, azimuth=180.0)))
    rows = opening_rows(opening_works(two), two)
    assert [row.what for row in rows] == ["2 tap holes", "2 tap spouts"]
    assert "each" in rows[1].how_much


def audit(number: int, *remedies: Remedy, flush: bool = False, found: float = 0.1):
    """A tuyere whose wall above leans by 0.05 as drawn."""
    sure = Quantity.normal(found, 0.01)
    lean = Measure(0.05, sure, sure)
    return TuyereAudit(
        number, 60.0 * number, 445.0, "runs in", 0.05, 0.5, lean, None, lean, 152.4,
        flush=flush, remedies=remedies,
    )  # fmt: skip


CHIP, LIP = Remedy("chip sill", 12.7), Remedy("daub lip", 9.525)


def test_a_flush_drawing_gets_one_line_and_no_verdicts() -> None:
    design = furnace()
    audits = [audit(k, flush=True) for k in range(1, 7)]
    lines = taper_lines(audits, design)
    assert len(lines) == 1
    assert lines[0].startswith("As drawn the wall is flush at all tuyeres")
    # 1.1056 x 1/4 in is 0.28 in: 3/8 in of those on a rule
    assert "a lip drawn 3/8 in out" in lines[0]
    assert "runs in" not in lines[0]
    assert "7.0" not in lines[0]
    metric = replace(design, length_unit="mm")
    assert "a lip drawn 10 mm out" in taper_advice(audits, metric)
    assert taper_advice([audit(1)], design) == ""
    assert "flush at tuyere 2:" in taper_advice(
        [audit(1), audit(2, flush=True)], design
    )


def test_remedies_are_in_words_and_eighths_and_those_alike_together() -> None:
    design = furnace()
    audits = [audit(1, CHIP, LIP), audit(2), audit(3, CHIP, LIP), audit(4, LIP)]
    assert taper_lines(audits, design) == [
        "Tuyeres 1 and 3: chip sill 1/2 in; daub lip out 3/8 in.",
        "Tuyere 4: daub lip out 3/8 in.",
    ]
    row = tuyere_rows(audits[:1], design)[0]
    assert row.gathers == "slag on the sill 1/2 in; lip back 3/8 in"
    assert row.remedy == "chip sill 1/2 in; daub lip out 3/8 in"
    hollow = audit(5, Remedy("fill hollow", 19.05))
    assert taper_lines([hollow], design) == [
        "Tuyere 5: fill the hollow above the lip, 3/4 in deep."
    ]


def test_the_slope_is_told_by_how_far_the_wall_leans() -> None:
    design = furnace()
    (wide,) = tuyere_rows([audit(1, found=0.1)], design)
    # 0.05 and 0.1 of 6 in
    assert wide.slope == (
        "drawn, and once repaired, wider upwards, 1/4 in in 6 in; "
        "found wider upwards, 5/8 in in 6 in"
    )
    (over,) = tuyere_rows([audit(1, found=-0.1)], design)
    assert over.slope.endswith("found hangs over, 5/8 in in 6 in")
    (plumb,) = tuyere_rows([audit(1, found=0.001)], design)
    assert plumb.slope.endswith("found plumb")


def test_a_tuyere_that_was_not_surveyed_is_named() -> None:
    design = furnace()
    one = replace(audit(2), call="not surveyed", slope=None)
    assert taper_lines([one], design) == ["Tuyere 2: not surveyed."]
    (row,) = tuyere_rows([one], design)
    assert (row.slope, row.gathers, row.remedy) == ("not surveyed", "", "")
