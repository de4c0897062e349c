"""Wall that no reading tells of: nothing is counted, called or named there."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from geom.compare import Findings, assess
from geom.compare.assumptions import ASSUMED
from geom.compare.extent import wide_gaps
from geom.compare.findings import NO_CALL
from geom.readings import RodReadings
from geom.repair.plan.plan import plan_repair
from geom.sampling.stations import next_stations
from geom.surface import RadialSurface, reconstruct
from tests.walls import plain_design, worn_readings

READ_TO = 180.0


def of_half_the_ring() -> RodReadings:
    """A worn wall read on one half of the ring alone."""
    whole = worn_readings(plain_design(), azimuths=12, heights=8)
    kept = np.flatnonzero(whole.azimuth <= READ_TO)
    return replace(
        whole,
        **{
            name: getattr(whole, name)[kept]
            for name in ("azimuth", "height", "value", "sd", "step")
        },
        **{
            name: tuple(getattr(whole, name)[k] for k in kept)
            for name in ("kind", "place", "note")
        },
    )


@pytest.fixture(scope="module")
def half() -> tuple[RadialSurface, Findings]:
    design = plain_design()
    surface = reconstruct(of_half_the_ring(), design)
    return surface, assess(surface, design)


def unread(surface: RadialSurface) -> np.ndarray:
    """Columns a whole spacing and more from every reading."""
    return (surface.azimuth > READ_TO + 30.0) & (surface.azimuth < 330.0)


def test_nothing_is_known_counted_or_called_where_no_reading_tells(half) -> None:
    surface, findings = half
    away = unread(surface)
    assert away.sum() > 100
    assert not surface.grid.surveyed[:, away].any()
    assert np.isnan(surface.radius[:, away]).all()
    assert (surface.grid.patch[:, away] == 0.0).all()
    maps = findings.maps
    assert (maps.action[:, away] == NO_CALL).all()
    assert (maps.zone[:, away] == 0).all()
    assert not away[round(findings.deepest.azimuth)]
    assert (surface.to_xarray()["surveyed"].values[:, away] == 0).all()


def test_the_document_tells_share_and_gaps_and_the_warning_the_gap(half) -> None:
    _, findings = half
    told = findings.to_dict()["surveyed"]
    (gap,) = told["gaps"]
    assert set(gap) == {"azimuth_from", "azimuth_to", "height_from", "height_to"}
    assert READ_TO < gap["azimuth_from"] < gap["azimuth_to"] < 360.0
    turn = gap["azimuth_to"] - gap["azimuth_from"]
    assert told["share"] == pytest.approx(1.0 - turn / 360.0, abs=0.02)
    assert findings.diagnostics == findings.surveyed.gaps


def test_a_ring_not_read_round_has_no_diameter(half) -> None:
    assert half[1].levels == ()


def test_volume_is_that_of_the_read_wall_alone(half) -> None:
    _, findings = half
    design = plain_design()
    whole = assess(
        reconstruct(worn_readings(design, azimuths=12, heights=8), design), design
    )
    assert whole.surveyed.share == 1.0
    assert whole.surveyed.gaps == ()
    share = findings.surveyed.area / whole.surveyed.area
    assert share == pytest.approx(findings.surveyed.share, abs=1e-6)
    assert findings.volume.rebuild.high95 < 0.9 * whole.volume.rebuild.value


def test_nothing_is_ordered_for_unread_wall(half) -> None:
    surface, findings = half
    plan = plan_repair(surface, findings, plain_design(), draws=3)
    away = unread(surface)
    assert all((zone.share[:, away] == 0.0).all() for zone in plan.zones)
    volume = findings.surveyed.area  # every sum is a number
    assert np.isfinite([volume, plan.account.rebuild, plan.account.left]).all()


def test_the_next_station_stands_in_unread_wall(half) -> None:
    surface, _ = half
    first, *_ = next_stations(surface, of_half_the_ring(), count=2).stations
    assert unread(surface)[round(first.azimuth)]


def test_a_narrow_gap_is_no_warning(half) -> None:
    (gap,) = half[1].surveyed.gaps
    narrow = replace(gap, widest=ASSUMED.widest_gap)
    wide = replace(gap, widest=31.0)
    assert wide_gaps((narrow, wide)) == (wide,)
