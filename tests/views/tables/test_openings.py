"""What is said of the openings, row by row."""

from __future__ import annotations

from dataclasses import replace

import pytest

from geom.design import Opening
from geom.repair.plan.openings import opening_works
from geom.units import CUBIC_FOOT
from geom.views.tables.openings import opening_rows, say_wet
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
