"""repair-sheet.pdf, read back with pypdf."""

import io
import re
from dataclasses import replace

import pypdf
import pytest

from geom.design import Brick, Shop
from geom.quantity import Quantity
from geom.repair.plan.result import NoBrickFits, OpeningMet
from geom.units import as_fraction
from geom.views.cautions import CAUTIONS
from geom.views.charts.survey_maps import workmap_png
from geom.views.paper.repair_sheet import repair_sheet_bytes
from geom.views.tables.repair import order_rows

#: What stands in a brick of the drawing: course and letter.
LABEL = re.compile(r"\s*\d+[A-Z]{1,2}\s*$")
#: What stands at the foot of every page.
FOOT = re.compile(r" ?Clock: [^.]* page \d+ of \d+$")


@pytest.fixture(scope="module")
def workmap(furnace):
    return workmap_png.rendered(dpi=40)(furnace.surface, furnace.findings)


@pytest.fixture(scope="module")
def pages(furnace, workmap):
    """The text of each page, white space made one."""
    return pages_of(furnace, workmap)


def read(content):
    return pypdf.PdfReader(io.BytesIO(content))


def sheet_of(furnace, workmap, *, findings=None, works=None):
    return repair_sheet_bytes(
        furnace.surface,
        findings or furnace.findings,
        works or furnace.works,
        workmap=workmap,
    )


def pages_of(furnace, workmap, **changes):
    found = read(sheet_of(furnace, workmap, **changes)).pages
    return [FOOT.sub("", flat(page)) for page in found]


def flat(page):
    return re.sub(r"\s+", " ", page.extract_text()).strip()


def page_about(pages, zone):
    word = {"chip": "CHIP", "brick": "BRICK", "daub": "DAUB"}[zone.action]
    first = [k for k, page in enumerate(pages) if f"Zone {zone.id}: {word}" in page]
    assert len(first) == 1
    rest = pages[first[0] + 1 :]
    more = [k for k, page in enumerate(rest) if re.match(r"(Zone \d|Tuyeres,)", page)]
    return " ".join(pages[first[0] : first[0] + 1 + more[0]])


def test_the_front_says_where_it_is_seen_from_and_every_caution(pages, furnace):
    front = pages[0]
    assert front.startswith("Repair sheet")
    assert furnace.design.name in front
    assert "tap hole at 12 o'clock, seen from above" in front
    assert "azimuth grows clockwise seen from above" in front
    assert all(caution in front for caution in CAUTIONS)


def test_work_is_listed_in_the_order_of_the_plan(pages, furnace):
    text = " ".join(pages)
    plan = furnace.works.plan
    assert [zone.action for zone in plan.zones] == ["chip", "brick", "daub"]
    steps = [
        f"{k}. {zone.action.capitalize()} zone {zone.id}"
        for k, zone in enumerate(plan.zones, 1)
    ]
    places = [text.index(step) for step in steps]
    assert places == sorted(places)
    assert "Measure again zone 4" in text
    assert re.search(r"half past 9 to (half past 3|4 o'clock)", text)


def test_the_order_list_is_that_of_the_plan(pages, furnace):
    text = " ".join(pages)
    for line, row in zip(
        furnace.works.plan.order,
        order_rows(furnace.works.plan, furnace.design),
        strict=True,
    ):
        told = f"{row.material} {row.needed} {row.order} {row.stock} {row.buy}"
        assert told in text
        if line.unit == "bricks":
            assert f"{line.best:.0f} {line.enough:.0f} " in told
        else:
            # kg are told to three figures
            assert float(row.order.split()[0]) == pytest.approx(line.enough, rel=5e-3)
        spoiled = told.replace(row.buy, f"{line.packs + 1}")
        assert spoiled not in text
    assert "95 % sure" in text


def test_every_zone_has_its_page(pages, furnace):
    for zone in furnace.works.plan.zones:
        page = page_about(pages, zone)
        low, high = (as_fraction(h / 25.4) for h in (zone.height_from, zone.height_to))
        assert f"{low} to {high} in" in page
        assert "Done by" in page


def test_a_chip_page_says_where_to_stop(pages, furnace):
    zone = furnace.works.plan.of_action("chip")[0]
    page = page_about(pages, zone)
    radius = as_fraction(zone.chip.stop_radius / 25.4)
    assert f"STOP when the rod reads {radius} in ({zone.chip.stop_radius:.0f}" in page
    for height in (zone.height_from, zone.height_to):
        drawn = float(furnace.design.profile.radius_at(height))
        row = f"{as_fraction(height / 25.4)} in ({height:.0f} mm) "
        assert f"{row}{as_fraction(drawn / 25.4)} in ({drawn:.0f} mm)" in page


def test_a_brick_page_tells_what_goes_in_and_what_is_cut(pages, furnace):
    zone = furnace.works.plan.of_action("brick")[0]
    page, laid = page_about(pages, zone), zone.brickwork
    assert "feather edges squared by 1/2 in (13 mm) at most" in page
    litres = float(re.search(r"([\d.]+) L\) of sound lining comes out", page)[1])
    assert litres == pytest.approx(zone.cut.value / 1e6, rel=0.02)
    for one in laid.tally:
        assert f"{one.needed} × {one.name}" in page
        assert f"{one.name}: {one.whole} whole" in page


def test_a_daub_page_tells_what_is_mixed(pages, furnace):
    zone = furnace.works.plan.of_action("daub")[0]
    page, daub = page_about(pages, zone), zone.daub
    litres = daub.volume.value / 1e6
    told = float(re.search(r"In place, dry .*?\(([\d.]+) L\)", page)[1])
    assert told == pytest.approx(litres, rel=5e-3)
    mass = float(re.search(r"95 % sure: [^;]*; ([\d.]+) kg", page)[1])
    assert mass == pytest.approx(daub.mass.value, rel=5e-3)
    assert f"Batches {daub.batches}, up to 100 L each" in page
    layers = "one layer" if daub.layers == 1 else f"{daub.layers} layers"
    assert f"Layers {layers}" in page
    assert "Water" in page
    assert "Wash first" in page


def test_the_last_page_tells_of_tuyeres_bottom_and_melting(pages, furnace):
    last = pages[-1]
    for one in furnace.works.taper:
        assert re.search(rf"{one.number} [^°]*{one.azimuth:.0f}° {one.call}", last)
    for point in furnace.works.bottom.strike:
        thick = as_fraction(point.thickness / 25.4)
        assert f"{point.clock}, {point.azimuth:.0f}° {thick} in" in last
    percent = furnace.works.melting.zone.change_percent.value
    assert f"{percent:+.1f} %" in last


def test_type_is_large_enough_for_arms_length(furnace, workmap):
    sizes = {}

    def note(text, _cm, tm, _font, size):
        if text.strip():
            scale = abs(tm[3]) or 1.0
            sizes.setdefault(round(size * scale, 1), []).append(text)

    for page in read(sheet_of(furnace, workmap)).pages:
        page.extract_text(visitor_text=note)
    small = [text for size, texts in sizes.items() if size < 12 for text in texts]
    # Only the foot of the page is smaller, and what stands in a brick that is small.
    labels = {size for size, texts in sizes.items() if LABEL.match(texts[0])}
    assert min(labels, default=12) >= 9
    small = [text for text in small if not LABEL.match(text)]
    assert all(re.match(r"\s*(Cupola A|page \d|Clock:)", text) for text in small), small
    assert max(sizes) >= 20


def test_it_fits_a4_and_letter(furnace, workmap):
    for page in read(sheet_of(furnace, workmap)).pages:
        # A4 is 595 x 842 points, Letter 612 x 792.
        assert page.mediabox.width <= 595
        assert page.mediabox.height <= 792


def test_markup_in_names_stays_text(furnace, workmap):
    evil = "<b>A</b> & <para> </font> Łódź"
    findings = replace(furnace.findings, lining=evil, title=evil)
    plan = furnace.works.plan
    line = replace(plan.order[0], material="<b>brick</b> & co")
    notes = (OpeningMet(evil, 90.0),)
    zones = tuple(replace(zone, notes=notes) for zone in plan.zones)
    plan = replace(plan, order=(line,), zones=zones)
    works = replace(furnace.works, plan=plan)
    text = " ".join(pages_of(furnace, workmap, findings=findings, works=works))
    assert text.count(evil) >= 1 + len(zones)
    assert "<b>brick</b> & co" in text


def test_markup_in_the_shops_bricks_stays_text(build, workmap):
    evil = "9 in <i>straight & co"
    shop = Shop(bricks=(Brick(evil, 228.6, 114.3, 31.75, stock=7),))
    furnace = build(spacing=25.0, shop=shop)
    text = " ".join(pages_of(furnace, workmap))
    assert text.count(evil) >= 3
    assert re.search(rf"{re.escape(evil)} \d+ \d+ 7 \d+ bricks", text)


def test_many_zones_get_a_page_each(furnace, workmap):
    plan = furnace.works.plan
    zone = plan.of_action("daub")[0]
    zones = tuple(replace(zone, id=i) for i in range(1, 31))
    works = replace(furnace.works, plan=replace(plan, zones=zones))
    pages = [flat(page) for page in read(sheet_of(furnace, workmap, works=works)).pages]
    for one in zones:
        assert sum(f"Zone {one.id}: DAUB" in page for page in pages) == 1
    assert f"page {len(pages)} of {len(pages)}" in pages[-1]


def test_nothing_to_do_is_told_so_on_one_page(furnace, workmap):
    plan = replace(furnace.works.plan, zones=(), order=(), notes=())
    works = replace(furnace.works, plan=plan)
    findings = replace(furnace.findings, zones=())
    pages = pages_of(furnace, workmap, findings=findings, works=works)
    assert "No zone needs work" in pages[0]
    assert "Released by" in pages[0]
    assert len(pages) == 2


def test_a_brick_zone_that_no_brick_fits_is_told_so(furnace, workmap):
    plan = furnace.works.plan
    zone = plan.of_action("brick")[0]
    zone = replace(zone, brickwork=None, cut=None, notes=(NoBrickFits(3),))
    works = replace(furnace.works, plan=replace(plan, zones=(zone,)))
    text = " ".join(pages_of(furnace, workmap, works=works))
    assert "but no listed brick fits: daub in 3 layers" in text
    assert "Open the wall in this order" not in text


def test_millimetre_shops_see_no_inches(build, workmap):
    furnace = build("mm", "counterclockwise", spacing=25.0)
    text = " ".join(pages_of(furnace, workmap))
    assert " in (" not in text
    assert "ft³" not in text
    assert " lb" not in text
    assert "azimuth grows counterclockwise seen from above" in text


def test_a_design_without_tuyeres_and_tap_hole_gets_a_sheet(build, workmap):
    furnace = build(spacing=25.0, openings=())
    last = pages_of(furnace, workmap)[-1]
    assert "The design names no tuyere." in last
    assert "the design names no tap hole" in last


def test_numbers_of_a_settled_wall_have_no_interval_that_is_none(furnace, workmap):
    plan = furnace.works.plan
    zone = plan.of_action("daub")[0]
    sure = Quantity.normal(2e6, 0.0)
    zone = replace(zone, daub=replace(zone.daub, volume=sure))
    works = replace(furnace.works, plan=replace(plan, zones=(zone,)))
    text = " ".join(pages_of(furnace, workmap, works=works))
    assert re.search(r"In place, dry 0.071 ft³ \(2.00 L\) To mix", text)


def test_the_picture_stands_on_the_first_page_even_under_long_names(furnace, workmap):
    long = "the big cupola at the north end of the yard " * 4
    findings = replace(furnace.findings, lining=long, title=long[::-1])
    pages = read(sheet_of(furnace, workmap, findings=findings)).pages
    assert len(pages[0].images) == 1
    assert all(caution in flat(pages[0]) for caution in CAUTIONS)
    assert "Work, in this order" in pages[1].extract_text()
