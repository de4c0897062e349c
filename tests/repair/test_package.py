"""All that is worked out for a repair, in one thing."""

from __future__ import annotations

import json
from functools import cache

import geom
from geom.compare import Findings
from geom.design import Design
from geom.repair import RepairPackage, prepare_repair
from geom.surface import RadialSurface
from tests.walls import tapered_design, worn_readings


@cache
def surveyed() -> tuple[RadialSurface, Findings, Design]:
    design = tapered_design()
    readings = worn_readings(design, azimuths=9, heights=7)
    surface = geom.reconstruct(readings, design, spacing=25.0, columns=120)
    return surface, geom.assess(surface, design), design


@cache
def worked() -> RepairPackage:
    return prepare_repair(*surveyed())


def test_it_is_json_and_the_same_again() -> None:
    one, other = worked().to_dict(), prepare_repair(*surveyed()).to_dict()
    text = json.dumps(one, allow_nan=False)
    assert text == json.dumps(other, allow_nan=False)
    assert json.loads(text) == one
    assert {"zones", "order", "daub", "account", "taper", "melting", "bottom"} <= {*one}
    assert "lining" not in one


def test_a_design_without_a_tap_hole_has_no_bottom() -> None:
    works = worked()
    assert works.bottom is None
    assert works.to_dict()["bottom"] is None
    assert [one.number for one in works.taper] == [1, 2, 3]


def test_its_plan_is_the_one_that_the_face_makes() -> None:
    plan = geom.plan_repair(*surveyed())
    assert isinstance(plan, geom.RepairPlan)
    told, whole = plan.to_dict(), worked().to_dict()
    assert {key: whole[key] for key in ("zones", "order", "account")} == {
        key: told[key] for key in ("zones", "order", "account")
    }
    other = geom.plan_repair(*surveyed(), seed=1)
    assert other.to_dict()["order"] != told["order"]
