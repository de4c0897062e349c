import numpy as np
import pytest
from accuracy import METHODS, Task, _Between, main, run
from tables import best_peers, summarise, tabulate

RUN = ("--linings", "2", "--grids", "8x6", "--methods", "end areas,griddata linear")


def record(method, rmse, **more):
    plain = {"answered": 1.0, "overlap": 0.5, "bias": 0.0, "volume_plain": -2.0}
    return {
        "family": "even", "seed": 1, "grid": "8x6", "method": method, "seconds": 1.0,
        "rmse": rmse,
    } | plain | more  # fmt: skip


def test_a_summary_averages_and_takes_volume_errors_without_sign():
    two = [record("Verde", 2.0), record("Verde", 4.0, volume_plain=6.0)]
    found = summarise(two)
    assert (found["rmse"], found["volume"], found["count"]) == (3.0, 4.0, 2)
    assert found["volume_plain_bias"] == 2.0
    assert found["rmse_se"] == pytest.approx(1.0)
    assert found["coverage"] is None


def test_a_failure_is_counted_and_not_averaged():
    found = summarise([record("Verde", 2.0), {"failed": "ValueError: no"}])
    assert (found["failed"], found["count"], found["rmse"]) == (1, 2, 2.0)


def test_a_peer_has_the_better_of_its_volumes_and_daubline_the_one_it_states():
    peer = summarise([record("PyKrige", 1.0, volume_stated=5.0)])
    ours = summarise([record("daubline", 1.0, volume_stated=5.0)])
    assert (peer["volume"], ours["volume"]) == (2.0, 5.0)


def test_the_best_peer_is_found_for_each_figure():
    records = [
        record("Verde", 4.0, overlap=0.9),
        record("PyKrige", 5.0, overlap=0.6),
        record("daubline", 2.0, overlap=0.45, volume_stated=1.0),
    ]
    duel = best_peers(tabulate(records, ("Verde", "PyKrige", "daubline")))
    found = {d["figure"]: d for d in duel if d["family"] == "all"}
    assert found["rmse"]["peer"] == "Verde"
    assert found["rmse"]["ratio"] == pytest.approx(0.5)
    assert found["rmse"]["better"] is True
    assert found["overlap"]["ratio"] == pytest.approx(0.5)
    assert found["overlap"]["better"] is False
    assert found["volume"]["ratio"] == pytest.approx(0.5)


def test_grid_values_are_interpolated_across_the_seam_and_past_missing_nodes():
    height, azimuth = np.array([0.0, 10.0, 20.0]), np.arange(0.0, 360.0, 90.0)
    values = height[:, None] + np.array([0.0, 1.0, 2.0, 1.0])
    at = _Between(height, azimuth, np.array([5.0, 12.0]), np.array([315.0, 45.0]))
    assert at(values) == pytest.approx([5.5, 12.5])
    values[0, 0] = np.nan
    # three nodes left of equal weight: (1 + 10 + 11) / 3
    assert at(values)[0] == pytest.approx(22.0 / 3.0)
    assert np.isnan(at(np.full((3, 4), np.nan))).all()


def test_a_run_scores_every_method_on_the_same_wall():
    found = run(Task("even", 3, "8x6", ("end areas", "griddata linear")))
    assert [r["method"] for r in found] == ["end areas", "griddata linear"]
    again = run(Task("even", 3, "8x6", ("griddata linear",)))
    assert again[0]["rmse"] == found[1]["rmse"]
    assert all("failed" not in r for r in found)


def test_daubline_itself_is_asked_through_its_front_door():
    found = run(Task("even", 3, "8x6", ("daubline", "end areas")))[0]
    assert "failed" not in found
    assert found["answered"] > 0.98
    assert 0.0 < found["rmse"] < 30.0
    assert found["volume_half_width"] > 0.0
    assert "daubline" in METHODS


def test_an_unknown_method_is_refused(capsys):
    with pytest.raises(SystemExit):
        main([*RUN[:-1], "crystal ball"])
    assert "crystal ball" in capsys.readouterr().err
