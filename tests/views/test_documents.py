"""findings.json: strict JSON, whole."""

import json
from dataclasses import replace

import pytest

from geom.repair.plan.result import ChipFirst, StepMet
from geom.views.documents import findings_document


def no_constants(name):
    pytest.fail(f"{name} is not JSON")


def written(furnace, **changes):
    findings = replace(furnace.findings, **changes)
    return findings_document(findings, furnace.works, furnace.design)


def test_it_is_the_document_of_the_findings(furnace):
    content = written(furnace)
    read = json.loads(content.decode("utf-8"), parse_constant=no_constants)
    told = {**furnace.findings.to_dict(), "repair": furnace.works.to_dict()}
    for one in (read["repair"], told["repair"]):
        for part in (one, one["bottom"], *one["zones"]):
            part.pop("notes", None)  # facts there, words here
    assert read == json.loads(json.dumps(told))
    assert read["schema"] == "daubline.findings/1"


def test_a_number_that_is_not_finite_is_refused(furnace):
    surveyed = replace(furnace.findings.surveyed, area=float("nan"))
    with pytest.raises(ValueError, match="JSON compliant"):
        findings_document(
            replace(furnace.findings, surveyed=surveyed), furnace.works, furnace.design
        )


def test_any_title_survives(furnace):
    title = 'Łódź "A" \\ </script>\n\udc80'
    content = findings_document(
        replace(furnace.findings, title=title), furnace.works, furnace.design
    )
    assert json.loads(content)["title"] == title


def test_everything_of_the_repair_is_told_under_one_key(furnace):
    read = json.loads(written(furnace))
    repair = read.pop("repair")
    assert read == json.loads(json.dumps(furnace.findings.to_dict()))
    assert set(repair) == {
        "schema", "zones", "order", "daub", "account", "confidence", "notes",
        "support", "relining", "taper", "melting", "bottom",
        "drying", "openings", "settings",
    }  # fmt: skip
    assert len(repair["taper"]) == 6
    assert len(repair["bottom"]["strike"]) == 8
    assert [hold["temperature"] for hold in repair["drying"]["holds"]][-1] == 540.0
    assert repair["drying"]["thickness"] == repair["daub"]["thickness"]


def test_notes_are_written_as_people_read_them(furnace):
    plan = furnace.works.plan
    zone = replace(plan.zones[0], notes=(ChipFirst(), StepMet(914.4)))
    works = replace(furnace.works, plan=replace(plan, zones=(zone,)))
    read = json.loads(findings_document(furnace.findings, works, furnace.design))
    assert read["repair"]["zones"][0]["notes"] == [
        "Chip off first what stands proud of the drawing there.",
        "The profile steps at 36 in (914 mm): no brick stands across it.",
    ]
