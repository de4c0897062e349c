"""Where the viewer goes when a zone is asked for."""

from __future__ import annotations

from geom.views.pages.viewer_data import zone_places
from tests.repair.surveyed import hollow, planned, together
from tests.walls import plain_design


def test_a_zone_is_shown_where_it_is_deepest_and_a_lump_where_it_stands_proudest():
    wall = together(hollow(90.0, 400.0, 45.0), hollow(250.0, 650.0, -40.0))
    design = plain_design()
    _, surface, findings = planned(design, wall)
    places = zone_places(findings, design)
    assert {zone.action for zone in findings.zones} >= {"chip", "brick"}
    middles = {"brick": (90.0, 400.0), "chip": (250.0, 650.0)}
    for zone in findings.zones:
        if zone.action in middles:
            place = places[str(zone.id)]
            azimuth, height = middles[zone.action]
            assert abs(surface.azimuth[place["column"]] - azimuth) <= 3.0
            assert (
                abs(surface.height[place["row"]] - height)
                <= surface.grid.row_height.max()
            )
