"""change.html: what changed between two surveys, in one file that needs no other."""

from __future__ import annotations

from geom.design import Design
from geom.record.change.result import Change
from geom.views.cautions import CAUTIONS
from geom.views.pages.page import page_bytes
from geom.views.say import (
    plain,
    say_time,
)
from geom.views.tables.change import (
    change_warnings,
    facts,
    piece_rows,
    say_answer,
    sentences,
    survey_line,
)


def change_page(change: Change, design: Design, pictures: dict[str, bytes]) -> bytes:
    """The page as UTF-8 HTML.

    Parameters
    ----------
    change : Change
    design : Design
    pictures : dict of PNG bytes
        ``change``, ``first``, ``last``, ``scale`` and ``levels``.

    Returns
    -------
    bytes
        No script and no address of anything outside; every text is escaped.
    """
    tables = [
        (heading, first, piece_rows(regions, design))
        for heading, first, regions in (
            ("Zones", "Zone", change.of_kind("zone")),
            ("Levels", "Height", change.of_kind("level")),
            ("Sides", "Side", change.of_kind("side")),
        )
    ]
    return page_bytes(
        "change.html.jinja",
        design,
        pictures,
        title=plain(change.title),
        lining=plain(change.lining),
        start=survey_line(change.start),
        end=survey_line(change.end),
        created=say_time(change.created),
        version=plain(change.version),
        answer=say_answer(change, design),
        sentences=sentences(change, design),
        warnings=[plain(words, most=600) for words in change_warnings(change, design)],
        facts=facts(change, design),
        tables=[table for table in tables if table[2]],
        cautions=CAUTIONS,
    )
