"""certificate.pdf, read back with pypdf; one page whatever it has to say."""

from __future__ import annotations

import io
import re
from dataclasses import replace

import pypdf
import pytest

from geom.design import Drying, Shop
from geom.quantity import Quantity
from geom.repair.acceptance.material import MaterialBalance
from geom.repair.acceptance.result import (
    CheckPoint,
    FaceCheck,
    LevelCheck,
    MaterialTotals,
    Recheck,
    ZoneCheck,
)
from geom.repair.audit.taper import Measure, Remedy, TuyereAudit
from geom.repair.plan.daub import drying_schedule
from geom.views.cautions import TO_LIGHT
from geom.views.paper.certificate import certificate_bytes

PLACE = CheckPoint(90.0, 1016.0, Quantity.normal(9.0, 2.0), 0.02)
LITRES = 1e6


def level(height: float, decision: str = "accept", **changes) -> LevelCheck:
    told = {
        "height": height,
        "side": "",
        "design_diameter": 914.4,
        "area_diameter": Quantity.normal(916.0, 2.0),
        "measured": 1.0,
        "deviation": Quantity.normal(0.8, 1.0),
        "chance": {"accept": 0.999, "reject": 0.001, "cannot tell": 0.5}[decision],
        "decision": decision,
        "measure_at": PLACE if decision == "cannot tell" else None,
    }
    return LevelCheck(**(told | changes))


def zone(number: int, decision: str = "accept", **changes) -> ZoneCheck:
    face = FaceCheck(
        measured=1.0,
        deviation=Quantity.normal({"reject": 14.0}.get(decision, 0.4), 1.2),
        deviation_chance=0.9,
        face_share=Quantity.normal(0.97, 0.01),
        chance={"accept": 0.97, "reject": 0.0, "cannot tell": 0.5}[decision],
        decision=decision,  # type: ignore[arg-type]
        worst=PLACE,
        measure_at=PLACE if decision == "cannot tell" else None,
    )
    told = {"action": "daub", "found_now": False, "face": face}
    return ZoneCheck(
        id=number,
        azimuth_from=60.0,
        azimuth_to=120.0,
        height_from=900.0,
        height_to=1100.0,
        area=2e5,
        **(told | changes),
    )


def volume(litres: float, sd: float) -> Quantity:
    return Quantity.normal(litres * LITRES, sd * LITRES)


def made(**changes) -> Recheck:
    moved = MaterialBalance(4e6, volume(40.0, 2.0), volume(41.0, 2.0), volume(1.0, 0.2))
    told = {
        "lining": "Cupola A (invented)",
        "title": "Heat 212, repaired",
        "created": "2026-01-06T06:30:00+00:00",
        "version": "0.1.0",
        "before_title": "Heat 212, after drop",
        "before_created": "2026-01-05T06:30:00+00:00",
        "tolerance": 6.35,
        "verdict": "back on its drawing",
        "levels": tuple(level(254.0 * k) for k in range(1, 9)),
        "zones": (zone(1), zone(2)),
        "material": MaterialTotals(moved, volume(39.0, 2.0), None, moved),
        "left_out": (),
        "taper": (),
        "drying": None,
        "diagnostics": (),
    }
    return Recheck(**(told | changes))


@pytest.fixture(scope="module")
def design(furnace):
    return furnace.design


def pages(recheck, design):
    return pypdf.PdfReader(io.BytesIO(certificate_bytes(recheck, design))).pages


def text_of(recheck, design) -> str:
    (page,) = pages(recheck, design)
    return re.sub(r"\s+", " ", page.extract_text())


def test_a_wall_that_is_back_is_called_so_in_big_words(design):
    text = text_of(made(), design)
    assert "BACK ON ITS DRAWING" in text
    assert "NOT BACK" not in text
    assert "Cupola A (invented)" in text
    assert "2026-01-06 06:30 UTC" in text
    assert "2026-01-05 06:30 UTC" in text
    assert "1/4 in (6 mm)" in text
    assert "tap hole at 12 o'clock" in text


def test_what_is_not_back_is_named_with_its_worst_place(design):
    text = text_of(made(verdict="not back", zones=(zone(1), zone(2, "reject"))), design)
    assert "NOT BACK ON ITS DRAWING" in text
    assert "zone 2 (daub), worst at 3 o'clock, height 40 in" in text
    assert re.search(r"2 daub \+9/16 < 1 % NOT BACK", text)
    assert re.search(r"1 daub 0 97 % back", text)


def test_what_cannot_be_told_says_where_to_measure(design):
    recheck = made(
        verdict="cannot tell",
        zones=(zone(1, "cannot tell"),),
        left_out=("some/where/rod.csv, row 14",),
    )
    text = text_of(recheck, design)
    assert "CANNOT TELL YET" in text
    assert "Measure at: rod.csv, row 14 (left out); 3 o'clock, height 40 in" in text


def test_what_was_hardly_read_is_told_so_and_no_number_given(design):
    few = level(508.0, "cannot tell", measured=0.31)
    text = text_of(made(verdict="cannot tell", levels=(few,)), design)
    assert re.search(r"20 31 % read cannot tell", text)


def test_material_stands_beside_what_was_called_for_or_planned(design):
    assert "Called for: 1.38 ft³ (39.0 L)" in text_of(made(), design)
    recheck = made()
    planned = replace(recheck.material, planned=38.0 * LITRES)
    text = text_of(replace(recheck, material=planned), design)
    assert "Put in over the zones: 1.45 ft³ (41.0 L)" in text
    assert "Planned: 1.34 ft³ (38.0 L)" in text


def test_what_gathers_slag_is_told_beside_the_verdict(design):
    flush = Measure(0.0, Quantity.normal(0.0, 2.0), Quantity.normal(0.0, 5.0))
    one = TuyereAudit(1, 30.0, 444.5, "sheds", 0.95, 0.99, flush, None, None, 150.0)
    text = text_of(made(taper=(one,)), design)
    assert "Tuyeres: nothing gathers slag, as far as was read." in text
    assert "(Not part of the verdict.)" in text
    slag, lip = Remedy("chip sill", 9.525), Remedy("daub lip", 6.35)
    other = replace(one, number=2, call="runs in", remedies=(slag, lip))
    text = text_of(made(taper=(one, other)), design)
    assert "Tuyere 2: chip sill 3/8 in." in text
    assert "daub lip" not in text  # a lip is judged with its opening, once
    drawn = replace(one, flush=True)
    assert "the wall is flush at all tuyeres" in text_of(made(taper=(drawn,)), design)


def test_every_caution_and_the_deferral_are_on_it(design):
    text = text_of(made(), design)
    for caution in TO_LIGHT:
        assert caution in text


def test_lines_to_sign_are_blank(design):
    text = text_of(made(), design)
    assert re.search(r"Measured by _{20,} Date _{10,}", text)
    assert re.search(r"Accepted by _{20,} Date _{10,}", text)


DAUB = {"thickness": 50.8, "layers": 2, "water_least": 20.0, "water_most": 30.0}


def test_it_is_not_released_before_drying_is_signed(design):
    text = text_of(made(drying=drying_schedule(DAUB, Shop())), design)
    assert "NOT RELEASED until drying is signed" in text
    assert "by the supplier's schedule, or: set 24 h, held 1 h each at 250, 500" in text
    assert "700, 1000 °F" in text
    assert re.search(r"Dried, by _{20,} Date _{10,}", text)
    bare = text_of(made(verdict="not back"), design)
    assert "NOT RELEASED until drying is signed: by the supplier's schedule;" in bare
    theirs = Shop(drying=Drying(supplier="sheet 12"))
    told = text_of(made(drying=drying_schedule(DAUB, theirs)), design)
    assert "signed: by sheet 12: set 24 h" in told
    many = Shop(drying=Drying(hold_at=tuple(range(100, 700, 50))))
    told = text_of(made(drying=drying_schedule(DAUB, many)), design)
    assert "each at 12 points from 210 to 1200 °F" in told


def crowded() -> Recheck:
    """As much as can be said at once."""
    long = "the big cupola at the north end of the yard " * 4
    decisions = ("reject", "cannot tell", "accept")
    return made(
        lining=long,
        title=long[::-1],
        before_title=long.upper(),
        verdict="not back",
        levels=tuple(level(88.9 * k, decisions[k % 3]) for k in range(40)),
        zones=tuple(zone(k, decisions[k % 3]) for k in range(1, 41)),
        drying=drying_schedule(DAUB, Shop(drying=Drying(supplier=long))),
        left_out=("a-very-long-name-of-a-sheet-" * 4 + ", row 9",) * 3,
        taper=tuple(
            TuyereAudit(
                k, 30.0, 444.5, call, 0.5, 0.5, Measure(0.0, None, NONE), None, None, 0
            )
            for k, call in enumerate(("sheds", "runs in", "doubtful") * 5)
        ),
    )


NONE = Quantity.normal(0.0, 1.0)


def test_it_is_one_page_however_much_there_is_to_say(design):
    text = text_of(crowded(), design)
    assert re.search(r"\d+ more", text)
    for caution in TO_LIGHT:
        assert caution in text
    assert "Accepted by" in text


def test_rows_that_are_not_back_come_before_those_that_are(design):
    levels = tuple(
        level(254.0 * k, "reject" if k == 39 else "accept") for k in range(1, 41)
    )
    text = text_of(made(verdict="not back", levels=levels), design)
    assert re.search(r"390 \+1/16 < 1 % NOT BACK", text)


@pytest.mark.parametrize("recheck", [made(), crowded()], ids=["usual", "crowded"])
def test_type_is_large_and_fits_a4_and_letter(design, recheck):
    sizes = set()

    def note(text, _cm, tm, _font, size):
        if text.strip():
            sizes.add(round(size * (abs(tm[3]) or 1.0), 1))

    (page,) = pages(recheck, design)
    page.extract_text(visitor_text=note)
    assert min(sizes) >= 12.0
    assert max(sizes) >= 24.0
    assert page.mediabox.width <= 595
    assert page.mediabox.height <= 792


def test_markup_in_names_stays_text(design):
    evil = "<b>A</b> & </font> Łódź"
    assert evil in text_of(made(lining=evil, title=evil), design)


def test_same_input_same_bytes(design):
    assert certificate_bytes(made(), design) == certificate_bytes(made(), design)


def test_millimetre_shops_see_no_inches(build):
    design = build("mm", "counterclockwise", spacing=25.0).design
    text = text_of(made(verdict="not back", zones=(zone(2, "reject"),)), design)
    assert "ft³" not in text
    assert " in (" not in text
    assert "off, mm" in text
    assert re.search(r"2 daub \+14 < 1 % NOT BACK", text)
