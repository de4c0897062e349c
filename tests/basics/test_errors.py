"""A message says where, what and what to do."""

from __future__ import annotations

import pickle

import pytest

from geom.errors import DaublineError, InputError, MissingExtra, TooFewReadings


def test_the_sentence_has_file_place_fault_and_cure():
    fault = InputError(
        "radius -35 mm", file="rod.csv", place="row 14", cure="Look again"
    )
    assert str(fault) == "rod.csv, row 14: radius -35 mm. Look again."
    assert (fault.what, fault.file, fault.place) == (
        "radius -35 mm",
        "rod.csv",
        "row 14",
    )


@pytest.mark.parametrize(
    ("parts", "said"),
    [
        ({}, "No."),
        ({"file": "a.csv"}, "a.csv: No."),
        ({"place": "row 2"}, "row 2: No."),
        ({"cure": "Mend it."}, "No. Mend it."),
    ],
)
def test_parts_that_are_not_known_are_left_out(parts, said):
    assert str(InputError("No.", **parts)) == said


def test_a_place_is_filled_in_only_where_there_was_none():
    fault = TooFewReadings("3 readings", place="row 2")
    placed = fault.at(file="rod.csv", place="row 9")
    assert isinstance(placed, TooFewReadings)
    assert str(placed) == "rod.csv, row 2: 3 readings."


def test_the_tree_of_errors():
    assert issubclass(InputError, ValueError)
    assert issubclass(InputError, DaublineError)
    assert issubclass(MissingExtra, ImportError)
    assert not issubclass(MissingExtra, InputError)


def test_a_missing_library_is_told_with_how_to_get_it():
    assert "pip install 'daubline[x]'" in str(MissingExtra("lib", "x"))


def test_a_message_survives_a_trip_to_another_process():
    # Of an exception only its sentence and its attributes travel.
    back = pickle.loads(pickle.dumps(InputError("no", file="a.csv", cure="Mend it")))
    assert (back.file, back.cure) == ("a.csv", "Mend it")
