"""Slips of an inch on fresh sheets of the fleet, 12 x 10 in eighths (slips.py)."""

from __future__ import annotations

import sys
import warnings
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[2] / "scripts/bench"))

import fleet
from slips import try_sheet

FURNACE = {furnace.name: k for k, furnace in enumerate(fleet.FLEET)}


@pytest.mark.parametrize(
    ("furnace", "family"),
    [("27 in", "ring"), ("48 in, tapered well", "sound"), ("18 in", "one-sided")],
)
def test_a_rod_misread_by_an_inch_is_found_in_quiet_wall(
    furnace: str, family: str
) -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        told = try_sheet(FURNACE[furnace], family, 0)
    assert (told["found"], told["false"], told["false beside"]) == (True, 0, 0)
    assert told["named"]


def test_where_bricks_are_out_none_of_them_is_taken_for_a_slip() -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        told = [try_sheet(FURNACE["27 in"], "bricks", seed) for seed in (0, 1)]
    assert sum(r["false"] + r["false beside"] for r in told) == 0
