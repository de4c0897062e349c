"""Spells of wear: which surveys make one, and which gaps are told."""

from __future__ import annotations

import itertools
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from geom import InputError
from geom.record.store.occasion import STAGES, Occasion, Stage
from geom.record.wear.spells import Spell, SurveyGap, find_spells

DAY = date(2026, 1, 5)


def made(heat: int, stage: Stage, campaign: str = "one", **told: float) -> Occasion:
    return Occasion(heat, stage, DAY + timedelta(heat), campaign=campaign, **told)


def ends(spells: tuple[Spell, ...]) -> list[tuple[int, int]]:
    return [(one.start.heat, one.end.heat) for one in spells]


def test_from_a_repair_to_the_next_survey_before_one_is_a_spell() -> None:
    spells, gaps = find_spells(
        [
            made(0, "after repair"),
            made(1, "before repair", hours=6.0, melted=9000.0),
            made(1, "after repair"),
            made(3, "before repair"),
        ]
    )
    assert ends(spells) == [(0, 1), (1, 3)]
    assert gaps == ()
    assert [one.heats for one in spells] == [1, 2]
    assert [one.words for one in spells] == ["heat 1", "heats 2 to 3"]
    assert (spells[0].hours, spells[0].melted) == (6.0, 9000.0)
    assert spells[1].hours is None
    assert spells[0].campaign == "one"


def test_the_repair_itself_is_no_wear() -> None:
    spells, gaps = find_spells([made(4, "before repair"), made(4, "after repair")])
    assert spells == gaps == ()


def test_a_wall_left_alone_ends_one_spell_and_starts_the_next() -> None:
    spells, gaps = find_spells(
        [made(0, "not repaired"), made(2, "not repaired"), made(5, "before repair")]
    )
    assert ends(spells) == [(0, 2), (2, 5)]
    assert spells[0].end == spells[1].start
    assert gaps == ()


def test_a_repair_that_was_not_surveyed_leaves_a_gap_and_says_so() -> None:
    spells, gaps = find_spells([made(1, "before repair"), made(2, "before repair")])
    assert spells == ()
    assert gaps == (SurveyGap(1, "after repair"),)
    assert gaps[0].words == "after heat 1: its repair was not surveyed"


def test_wear_and_repair_surveyed_together_leave_a_gap_and_say_so() -> None:
    spells, gaps = find_spells([made(1, "after repair"), made(2, "after repair")])
    assert spells == ()
    assert gaps == (SurveyGap(2, "before repair"),)
    assert gaps[0].words == "heat 2: surveyed only after its repair"


def test_a_new_campaign_is_neither_spell_nor_gap() -> None:
    old, new = made(9, "after repair", "old"), made(10, "before repair", "new")
    assert find_spells([old, new]) == ((), ())
    same = made(10, "before repair", "old")
    assert ends(find_spells([old, same])[0]) == [(9, 10)]


@given(
    st.lists(
        st.tuples(st.integers(0, 30), st.sampled_from(STAGES)), max_size=12, unique=True
    ),
    st.randoms(),
)
def test_spells_are_in_order_without_overlap_however_surveys_come(told, chance) -> None:
    one_of_each = {(h, s == "after repair"): made(h, s) for h, s in told}
    surveys = list(one_of_each.values())
    spells, gaps = find_spells(surveys)
    chance.shuffle(surveys)
    assert find_spells(surveys) == (spells, gaps)
    assert all(one.heats > 0 for one in spells)
    assert all(one.start.is_as_left and one.end.is_as_worn for one in spells)
    for one, other in itertools.pairwise(spells):
        assert one.end.heat <= other.start.heat


@pytest.mark.parametrize(
    ("told", "says"),
    [
        ({"heat": -1}, "heat -1 is not between"),
        ({"heat": 100_000}, "heat 100000 is not between"),
        ({"stage": "half repaired"}, "is none of"),
        ({"hours": -1.0}, "hours -1.0 is not"),
        ({"melted": float("nan")}, "melted nan is not"),
    ],
)
def test_occasions_that_cannot_be_are_refused(told, says) -> None:
    with pytest.raises(InputError, match=says):
        Occasion(**({"heat": 3, "stage": "before repair", "date": DAY} | told))


def test_an_occasion_is_called_as_its_file_and_as_people_say() -> None:
    one = made(41, "before repair")
    assert one.name == "heat-00041-before-repair"
    assert one.words == "heat 41, before repair"
    assert (one.is_as_left, one.is_as_worn) == (False, True)
    assert one.place < made(41, "after repair").place < made(42, "before repair").place
