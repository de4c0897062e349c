"""The deepest cut-back heat after heat is what every survey said it was."""

import pytest

from geom.record.store.survey_file import open_hdf5, read_findings
from geom.record.study import deepest_found
from tests.record.small_record import start, worn_record


def test_it_is_the_figure_of_every_survey_as_a_heat_or_a_repair_left_it(tmp_path):
    start(tmp_path / "cupola")
    record = worn_record(tmp_path / "cupola", 4, repaired=True, seed=2)
    depths = deepest_found(record, record.occasions)
    assert [(one.heat, one.is_as_worn) for one in depths] == [
        (occasion.heat, occasion.is_as_worn) for occasion in record.occasions
    ]
    assert {one.is_as_worn for one in depths} == {True, False}
    for depth, occasion in zip(depths, record.occasions, strict=True):
        with open_hdf5(record.path(occasion)) as file:
            words = read_findings(file)["deepest"]["cutback"]
            deepest = file["cutback"][()]
        assert depth.cutback.to_dict() == words
        assert depth.cutback.value == pytest.approx(deepest[deepest > -1e9].max())
