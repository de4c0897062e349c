"""What two campaigns come to, in the one sentence that their numbers bear out."""

from __future__ import annotations

from datetime import date
from types import SimpleNamespace

import numpy as np
import pytest

from geom.quantity import Quantity
from geom.record.campaigns.compare import Contrast
from geom.record.store.occasion import Occasion
from geom.views.pages.comparisons import say_shown
from geom.views.tables.campaigns import headline, material_row
from tests.walls import tapered_design

DESIGN = tapered_design(length_unit="in")
DAY = date(2026, 1, 9)
LONG = "the campaign with the trial brick of the second delivery, resumed"


def contrast(first, second, low, high, *, ratio=None):
    """Second less first; ``ratio`` is its value, low and high end."""
    sure = Quantity(second - first, 1.0, low, high)
    told = None if ratio is None else Quantity(ratio[0], 0.1, *ratio[1:])
    return Contrast(
        Quantity.normal(first, 0.1), Quantity.normal(second, 0.1), sure, told
    )


def comparison(wear, material, *, name="autumn", shown=(0, 0, 0, 0)):
    campaigns = [
        SimpleNamespace(
            name=one,
            lining="Cupola T (invented)",
            occasions=(
                Occasion(
                    9, "before repair", date(2026, 1, 9), 6.0, 9e4, one, "short ton"
                ),
            ),
        )
        for one in ("spring", name)
    ]
    grid = SimpleNamespace(face_area=np.ones(4), opening=np.zeros(4, dtype=bool))
    return SimpleNamespace(
        design=DESIGN,
        by="tonne",
        first=campaigns[0],
        second=campaigns[1],
        material=material,
        of=lambda zone: wear if zone == "melting zone" else None,
        grid=grid,
        maps=SimpleNamespace(shown=np.array(shown), difference=np.ones(4)),
    )


LESS = contrast(0.28, 0.17, -0.13, -0.09, ratio=(0.61, 0.57, 0.65))
LITTLE = contrast(6e5, 6e5, -1e5, 1e5, ratio=(1.0, 0.9, 1.1))


def test_what_is_settled_and_what_is_not_stand_in_one_sentence():
    assert headline(comparison(LESS, LITTLE)) == (
        "Per 100 short tons: autumn wears the melting zone 39 % less than spring "
        "(95 %: 35 to 43 % less), and whether its repairs put back more or less "
        "material is not settled (best estimate 0 % more, 95 %: 10 % less to "
        "10 % more)."
    )


def test_more_than_all_is_never_less():
    """0.28 mm a tonne against -0.02, which is build-up: 109 % less is nonsense."""
    gained = contrast(0.28, -0.0252, -0.34, -0.27, ratio=(-0.09, -0.2, 0.02))
    line = headline(comparison(gained, LESS))
    # 0.3052 mm a tonne times 90.7 tonnes
    assert "autumn wears the melting zone 1 1/8 in (28 mm) less than spring" in line
    assert "109" not in line


def test_long_names_are_cut_and_do_not_fill_the_sentence():
    line = headline(comparison(LESS, LITTLE, name=LONG))
    assert "the campaign with the trial brick of th… wears" in line


def test_material_is_told_per_100_tons_as_the_shop_weighs_them():
    row = material_row(comparison(LESS, contrast(6e5, 3e5, -4e5, -2e5)))
    # 6e5 mm3 a tonne: 54.4 litres, 1.92 cubic feet per 100 short tons
    assert row.first[0] == "1.92 ft³ (54.4 L)"
    assert row.name == "put back per 100 short tons"
    assert row.percent == ("", "")


@pytest.mark.parametrize(
    ("shown", "words"),
    [
        (
            (0, 0, 0, 0),
            "Nowhere on the wall is it settled which campaign",
        ),
        (
            (-1, 0, 0, 0),
            "autumn is shown to wear less on 25 % of the wall; on",
        ),
        ((1, -1, -1, 0), "less on 50 % and more on 25 % of the wall; on the rest"),
    ],
)
def test_where_they_differ_is_one_sentence_without_noughts(shown, words):
    line = say_shown(comparison(LESS, LITTLE, shown=shown))
    assert words in line
    assert " 0 %" not in line
