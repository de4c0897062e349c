"""repair-sheet.pdf, read back with pypdf."""

import io
import re
from dataclasses import replace

import pypdf
import pytest

from geom.views.cautions import CAUTIONS
from geom.views.sheet import sheet_bytes
from geom.views.workmap import workmap_png


@pytest.fixture(scope="module")
def workmap(furnace):
    return workmap_png(furnace.surface, furnace.findings, dpi=40)


def read(content):
    return pypdf.PdfReader(io.BytesIO(content))


def text_of(content):
    whole = "\n".join(page.extract_text() for page in read(content).pages)
    return re.sub(r"\s+", " ", whole)


def test_it_tells_what_to_do_where_in_plain_words(furnace, workmap):
    text = text_of(sheet_bytes(furnace.surface, furnace.findings, workmap=workmap))
    places = [text.index(word) for word in ("BRICK", "DAUB", "CHIP", "MEASURE AGAIN")]
    assert places == sorted(places)
    assert "tap hole at 12 o'clock, seen from above" in text
    assert re.search(r"Zone 2: from half past 9 to (half past 3|4 o'clock)", text)
    assert re.search(
        r"Height [\d /]+ to [\d /]+ in \(\d+ to \d+ mm\) above bottom", text
    )
    assert "azimuth grows clockwise seen from above" in text


def test_every_caution_is_on_it(furnace, workmap):
    text = text_of(sheet_bytes(furnace.surface, furnace.findings, workmap=workmap))
    for caution in CAUTIONS:
        assert caution in text


def test_type_is_large_enough_for_arms_length(furnace, workmap):
    sizes = {}

    def note(text, _cm, tm, _font, size):
        if text.strip():
            scale = abs(tm[3]) or 1.0
            sizes.setdefault(round(size * scale, 1), []).append(text)

    content = sheet_bytes(furnace.surface, furnace.findings, workmap=workmap)
    for page in read(content).pages:
        page.extract_text(visitor_text=note)
    small = [text for size, texts in sizes.items() if size < 12 for text in texts]
    # Only the foot of the page is smaller.
    assert all(re.match(r"\s*(Cupola A|page \d|Clock:)", text) for text in small), small
    assert max(sizes) >= 20


def test_it_fits_a4_and_letter(furnace, workmap):
    content = sheet_bytes(furnace.surface, furnace.findings, workmap=workmap)
    for page in read(content).pages:
        # A4 is 595 x 842 points, Letter 612 x 792.
        assert page.mediabox.width <= 595
        assert page.mediabox.height <= 792


def test_markup_in_names_stays_text(furnace, workmap):
    evil = "<b>A</b> & <para> </font> Łódź"
    findings = replace(furnace.findings, lining=evil, title=evil)
    text = text_of(sheet_bytes(furnace.surface, findings, workmap=workmap))
    assert evil in text


def test_many_zones_run_over_many_pages(furnace, workmap):
    zone = furnace.findings.of_action("daub")[0]
    zones = tuple(replace(zone, id=i) for i in range(1, 41))
    findings = replace(furnace.findings, zones=zones)
    content = sheet_bytes(furnace.surface, findings, workmap=workmap)
    text = text_of(content)
    assert all(f"Zone {i}:" in text for i in range(1, 41))
    assert len(read(content).pages) > 5


def test_nothing_to_do_is_told_so(furnace, workmap):
    findings = replace(furnace.findings, zones=())
    text = text_of(sheet_bytes(furnace.surface, findings, workmap=workmap))
    assert "No zone needs work" in text


def test_millimetre_shops_see_no_inches(build, workmap):
    furnace = build("mm", "counterclockwise", spacing=25.0)
    text = text_of(sheet_bytes(furnace.surface, furnace.findings, workmap=workmap))
    assert " in (" not in text
    assert "ft³" not in text
    assert "azimuth grows counterclockwise seen from above" in text


def test_the_picture_stands_on_the_first_page_even_under_long_names(furnace, workmap):
    long = "the big cupola at the north end of the yard " * 4
    findings = replace(furnace.findings, lining=long, title=long[::-1])
    pages = read(sheet_bytes(furnace.surface, findings, workmap=workmap)).pages
    assert len(pages[0].images) == 1
    assert "BRICK" in pages[1].extract_text()
