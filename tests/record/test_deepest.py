"""The deepest cut-back heat after heat is what every survey said it was."""

import pytest

from geom.record.store.survey_file import open_hdf5, read_findings
from geom.record.study import deepest_found
from tests.record.small_record import start, worn_record


def test_it_is_the_figure_of_every_survey_that_a_heat_left(tmp_path):
    start(tmp_path / "cupola")
    record = worn_record(tmp_path / "cupola", 4, repaired=True, seed=2)
    depths = deepest_found(record, record.occasions)
    assert [one.heat for one in depths] == [1, 2, 3, 4]
    for depth in depths:
        occasion = next(
            o for o in record.occasions if o.heat == depth.heat and o.is_as_worn
        )
        with open_hdf5(record.path(occasion)) as file:
            words = read_findings(file)["deepest"]["cutback"]
            deepest = file["cutback"][()]
        assert depth.cutback.to_dict() == words
        assert depth.cutback.value == pytest.approx(deepest[deepest > -1e9].max())
