"""Two surveys compared: what is said is what was done to the wall."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from functools import cache

import numpy as np
import pytest

from geom.design import Design, Profile
from geom.errors import InputError
from geom.record.change.compare import compare_walls, resample_wall
from geom.record.change.result import Change
from geom.record.store.occasion import Occasion
from geom.record.store.survey_file import RecordedWall
from geom.surface import make_grid
from geom.units import Float
from geom.views.say import say_change
from geom.views.tables.change import change_warnings
from tests.record.two_walls import Field, burnt, patched, recorded_wall
from tests.reprs import long_reprs
from tests.walls import plain_design, tapered_design

LATER = "2026-02-05T06:30:00+00:00"


@cache
def usual() -> Change:
    return changed(patched, plain_design())


def changed(
    to: Field = patched, design: Design | None = None, **told: object
) -> Change:
    if to is patched and design is None and not told:
        return usual()
    start = recorded_wall(design=design)
    end = recorded_wall(to, design=design, created=LATER, **told)  # type: ignore[arg-type]
    return compare_walls(start, end)


def truly(to: Field, design: Design) -> tuple[float, float]:
    """Volumes lost and put back since the wall was as drawn, mm3, on a finer grid."""
    grid = make_grid(design, surveyed=(0.0, 1500.0), spacing=2.0, columns=1440)
    drawn = grid.design_radius[:, None]
    now = drawn + to(grid.height[:, None], grid.azimuth)
    section = (now**2 - drawn**2) / 2.0 * grid.patch
    return float(np.maximum(section, 0).sum()), float(np.maximum(-section, 0).sum())


def test_a_change_prints_in_a_few_lines() -> None:
    assert long_reprs(usual()) == {}
    assert "mm3" in repr(usual())


@pytest.mark.parametrize("design", [plain_design(), tapered_design()])
def test_what_was_lost_and_put_back_is_found(design: Design) -> None:
    found = changed(design=design, sd=1e-3, common=1e-4)
    lost, restored = truly(patched, design)
    # the first survey errs by half a millimetre, so both are expected a little greater
    first = compare_walls(
        recorded_wall(design=design, sd=1e-3, common=1e-4),
        recorded_wall(patched, design=design, sd=1e-3, common=1e-4, created=LATER),
    )
    assert first.volume.lost.value == pytest.approx(lost, rel=2e-3)
    assert first.volume.restored.value == pytest.approx(restored, rel=2e-3)
    assert found.volume.lost.value > 1.01 * lost


def test_where_it_is_greatest_and_how_much() -> None:
    found = changed()
    loss, gain = found.greatest_loss, found.greatest_gain
    assert loss is not None
    assert gain is not None
    assert (loss.azimuth, gain.azimuth) == (60.0, 250.0)
    assert loss.height == pytest.approx(700.0, abs=6.0)
    assert gain.height == pytest.approx(1150.0, abs=6.0)
    assert loss.change.value == pytest.approx(18.0, rel=2e-3)
    assert loss.change.sd == pytest.approx(np.sqrt(2.0) * np.hypot(0.5, 0.2))
    assert found.detection == pytest.approx(1.96 * loss.change.sd, rel=1e-4)
    assert found.maps.shown[:, 60].max() == 1
    assert found.maps.shown[:, 250].min() == -1
    # what is shown is sure for all of the wall too
    assert found.volume.restored.low95 > 0.0
    assert found.volume.lost.low95 > found.volume.net.low95


def test_levels_and_sides_add_up_to_the_wall() -> None:
    found = changed()
    for kind in ("level", "side"):
        regions = found.of_kind(kind)  # type: ignore[arg-type]
        for name in ("lost", "restored", "net"):
            whole = getattr(found.volume, name).value
            parts = [getattr(one.volume, name).value for one in regions]
            assert sum(parts) == pytest.approx(whole, rel=1e-9)
        assert sum(p.area for p in regions) == pytest.approx(found.areas.compared)
    most = max(found.of_kind("side"), key=lambda one: one.volume.lost.value)
    assert (most.region.azimuth_from, most.region.azimuth_to) == (45.0, 75.0)
    most = max(found.of_kind("level"), key=lambda one: one.volume.lost.value)
    assert most.region.height_from <= 700.0 <= most.region.height_to


def test_what_all_places_err_in_together_does_not_average_out() -> None:
    found = changed(common=0.8)
    wall = found.of_kind("wall")[0]
    # the panels' own errors all but vanish over the wall: the common ones stay
    assert wall.mean.sd == pytest.approx(np.hypot(0.2, 0.8), rel=0.02)


def test_zones_go_by_their_names() -> None:
    design = tapered_design()
    found = changed(design=design)
    names = [one.region.name for one in found.of_kind("zone")]
    assert names == ["well", "tuyere belt", "melting zone", "stack"]


def test_openings_have_no_change_and_no_volume() -> None:
    design = tapered_design()
    found = changed(lambda height, azimuth: 5.0 + 0.0 * (height + azimuth), design)
    grid = found.grid
    assert np.isnan(found.maps.change[grid.opening]).all()
    assert found.areas.compared == pytest.approx(float(grid.face_area.sum()))
    assert (found.maps.shown[grid.opening] == 0).all()


def test_only_wall_surveyed_both_times_is_compared() -> None:
    found = compare_walls(
        recorded_wall(between=(0.0, 900.0)),
        recorded_wall(burnt, between=(300.0, 1500.0), created=LATER),
    )
    assert found.grid.surveyed_heights == pytest.approx((300.0, 900.0), abs=10.0)
    (words,) = change_warnings(found, plain_design())
    assert "only one survey reached" in words
    assert {one.region.height_from for one in found.of_kind("level")} == {
        300.0,
        450.0,
        600.0,
        750.0,
    }


def test_a_panel_that_is_not_known_errs_with_its_neighbour() -> None:
    whole = compare_walls(recorded_wall(), recorded_wall(burnt, created=LATER))
    part = compare_walls(
        recorded_wall(covered=(0.0, 1200.0)), recorded_wall(burnt, created=LATER)
    )
    one, other = (c.of_kind("level")[-1].mean.sd for c in (part, whole))
    assert one == pytest.approx(other, rel=1e-9)  # it was told as well as that one
    assert part.volume.net.sd > whole.volume.net.sd  # and what both err in adds up
    unseen = recorded_wall(covered=(0.0, 0.0))
    with pytest.raises(InputError, match="too little of the wall"):
        compare_walls(unseen, recorded_wall(burnt, created=LATER))


def test_the_other_way_round_is_the_other_way_round() -> None:
    start, end = recorded_wall(), recorded_wall(patched, created=LATER)
    one, other = changed(), compare_walls(end, start)
    assert other.volume.lost.value == pytest.approx(one.volume.restored.value)
    np.testing.assert_array_equal(one.maps.shown, -other.maps.shown)
    np.testing.assert_allclose(one.maps.change, -other.maps.change)


def test_a_survey_on_rows_of_its_own_is_laid_on_those_of_the_record() -> None:
    wall = on_rows_of_its_own(patched, (120.0, 1413.0))
    laid, grid = resample_wall(wall)
    known = np.isfinite(laid.cutback).all(axis=1)
    assert 120.0 <= grid.height[known][0] < 130.0
    assert 1403.0 < grid.height[known][-1] <= 1413.0
    exact = patched(grid.height[known][:, None], grid.azimuth)
    assert np.abs(laid.cutback[known] - exact).max() < 0.03  # straight over 10 mm
    found = compare_walls(recorded_wall(between=(120.0, 1413.0)), replace_created(wall))
    assert found.greatest_loss is not None
    assert found.greatest_loss.change.value == pytest.approx(18.0, abs=0.03)


def test_nothing_is_drawn_across_a_step_of_the_profile() -> None:
    def jump(height: Float, azimuth: Float) -> Float:
        return np.where(height < 600.0, 0.0, 20.0) + 0.0 * azimuth

    wall = on_rows_of_its_own(jump, (107.0, 1413.0), tapered_design())
    laid, _ = resample_wall(wall)
    seen = np.unique(laid.cutback[np.isfinite(laid.cutback)])
    np.testing.assert_allclose(seen, [0.0, 20.0], atol=1e-9)


def on_rows_of_its_own(
    cutback: Field, between: tuple[float, float], design: Design | None = None
) -> RecordedWall:
    """As read from an output folder: rows end where the readings did."""
    design = plain_design() if design is None else design
    grid = make_grid(design, surveyed=between)
    wall = recorded_wall(cutback, design=design, between=between)
    seen = grid.surveyed
    field = cutback(grid.height[:, None], grid.azimuth)
    return replace(
        wall,
        height=grid.height,
        design_radius=grid.design_radius,
        cutback=np.where(seen, field, np.nan),
        cutback_sd=np.where(seen, np.full(grid.shape, 0.5), np.nan),
        wall=grid.wall,
        row_height=grid.row_height,
    )


def replace_created(wall: RecordedWall) -> RecordedWall:
    return replace(wall, created=LATER)


def test_titles_and_occasions_say_which_survey() -> None:
    made = [
        Occasion(heat, stage, date(2026, 1, heat), campaign="one")
        for heat, stage in ((3, "after repair"), (4, "before repair"))
    ]
    start = recorded_wall(occasion=made[0])
    end = recorded_wall(burnt, occasion=made[1], created=LATER)
    found = compare_walls(start, end)
    assert say_change(found) == "From heat 3, after repair to heat 4, before repair"
    assert found.to_dict()["from"]["occasion"] == "heat 3, after repair"
    assert change_warnings(found, plain_design()) == []
    (words,) = change_warnings(compare_walls(end, start), plain_design())
    assert "the later survey" in words
    other = replace(end, occasion=replace(made[1], campaign="two"))
    relined = compare_walls(start, other, title="mine")
    assert "lined anew" in change_warnings(relined, plain_design())[0]
    assert say_change(relined) == "mine"
    assert say_change(changed()) == "a survey: two surveys"


def test_two_of_the_same_and_two_that_have_nothing_in_common_are_refused() -> None:
    wall = recorded_wall(burnt)
    with pytest.raises(InputError, match="the same survey"):
        compare_walls(wall, recorded_wall(burnt))
    low, high = (
        recorded_wall(between=(0.0, 500.0)),
        recorded_wall(between=(700.0, 1500.0), created=LATER),
    )
    with pytest.raises(InputError, match="no wall in common"):
        compare_walls(low, high)
    wider = Profile(np.array([0.0, 1500.0]), np.array([450.0, 452.0]))
    for design in (plain_design(name="another"), plain_design(profile=wider)):
        with pytest.raises(InputError, match="different linings or drawings"):
            compare_walls(wall, recorded_wall(design=design, created=LATER))
    few = replace(wall, azimuth=wall.azimuth[::2], created=LATER)
    with pytest.raises(InputError, match="180 azimuths"):
        compare_walls(wall, few)


def test_the_document_has_every_number_in_its_unit() -> None:
    found = changed()
    document = found.to_dict()
    assert document["schema"] == "daubline.change/1"
    lost = document["volume"]["lost"]
    assert lost["value"] == pytest.approx(found.volume.lost.value * 1e-9)
    assert set(lost) == {"value", "sd", "low95", "high95"}
    assert document["area"]["compared"] == pytest.approx(0.9 * np.pi * 1.5)
    assert document["area"]["shown_lost"] <= document["area"]["beyond_lost"]
    assert len(document["levels"]) == 10
    assert len(document["sides"]) == 12
    assert document["sides"][0]["azimuth_from"] == 345.0
    assert document["greatest_gain"]["change"]["value"] < 0.0
