"""Pieces of wall: they cover it, each once, and zones are where tuyeres put them."""

from __future__ import annotations

import numpy as np
import pytest

from geom.compare.panels import HOURS, Panels, panels_of
from geom.record.regions import Kind, Regions, regions_of
from tests.walls import plain_design, tapered_design

KINDS: tuple[Kind, ...] = ("wall", "zone", "level", "side", "panel")


def regions(panels: Panels | None = None) -> tuple[Panels, Regions]:
    design = tapered_design()
    panels = panels_of(design) if panels is None else panels
    return panels, regions_of(panels, design)


@pytest.mark.parametrize("kind", KINDS)
def test_pieces_of_each_kind_cover_every_panel_once(kind) -> None:
    panels, all_of_it = regions()
    held = all_of_it.member[list(all_of_it.of_kind(kind))].sum(axis=0)
    np.testing.assert_array_equal(held, np.ones(panels.count))


def test_there_is_one_wall_a_level_a_row_a_side_an_hour() -> None:
    panels, all_of_it = regions()
    counts = {kind: len(all_of_it.of_kind(kind)) for kind in KINDS}
    assert counts == {
        "wall": 1,
        "zone": 4,
        "level": panels.rows,
        "side": HOURS,
        "panel": panels.rows * HOURS,
    }
    assert len(all_of_it.regions) == sum(counts.values())


def test_panels_stand_in_the_order_of_the_panels_themselves() -> None:
    panels, all_of_it = regions()
    places = list(all_of_it.of_kind("panel"))
    np.testing.assert_array_equal(all_of_it.member[places], np.eye(panels.count))
    for place, height in zip(places, panels.height, strict=True):
        one = all_of_it.regions[place]
        assert one.height_from < height < one.height_to


def test_zones_are_parted_by_the_tuyeres() -> None:
    """Tuyeres 381.5 to 508.5 mm; 30 in above them is 1270.5: cut at edges of rows."""
    panels, all_of_it = regions(Panels(np.linspace(0.0, 1500.0, 16)))
    zones = [all_of_it.regions[i] for i in all_of_it.of_kind("zone")]
    assert [z.name for z in zones] == ["well", "tuyere belt", "melting zone", "stack"]
    row = float(np.diff(panels.edge)[0])
    cuts = np.array([z.height_to for z in zones[:-1]])
    assert np.abs(cuts - [381.5, 508.5, 1270.5]).max() <= 0.5 * row + 1e-9
    assert {float(c) for c in cuts} <= {float(e) for e in panels.edge}
    assert zones[0].height_from == panels.edge[0]
    assert zones[-1].height_to == panels.edge[-1]


def test_rows_far_taller_than_the_tuyeres_still_have_a_belt() -> None:
    panels = Panels(np.linspace(0.0, 1500.0, 4))
    _, all_of_it = regions(panels)
    belt = [
        all_of_it.regions[i]
        for i in all_of_it.of_kind("zone")
        if all_of_it.regions[i].name == "tuyere belt"
    ]
    assert [(b.height_from, b.height_to) for b in belt] == [(0.0, 500.0)]


def test_without_tuyeres_there_are_no_zones() -> None:
    design = plain_design()
    assert regions_of(panels_of(design), design).of_kind("zone") == []


def test_the_first_side_crosses_azimuth_0() -> None:
    panels, all_of_it = regions()
    first = all_of_it.regions[all_of_it.of_kind("side")[0]]
    assert (first.azimuth_from, first.azimuth_to) == (345.0, 15.0)
    inside = all_of_it.member[all_of_it.of_kind("side")[0]] > 0
    assert set(panels.azimuth[inside]) == {0.0}
