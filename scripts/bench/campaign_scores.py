"""How well a record tells what is true of a campaign: one record of plain figures each.

Coverage is the share of 95 % intervals that hold the truth.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from campaign_surveys import Seen
from campaign_truth import CampaignTruth
from campaign_walls import HOURS, MELTED

from geom.compare.panels import HOURS as HOURS_ROUND
from geom.quantity import Quantity
from geom.record.changepoints.steps import Step, find_steps
from geom.record.wear.ovality import circumferential_pattern, faces_tuyere
from geom.record.wear.rates import wear_rates

Record = dict[str, Any]

EXPOSURES = {"heat": 1.0, "hour": HOURS, "tonne": HOURS * MELTED / 1000.0}
#: A step is in place if its piece wears that much more on average, mm a heat.
_IN_PLACE = 0.5


def score(seen: dict[str, Seen]) -> list[Record]:
    """Everything about one furnace: without a step, and with each kind."""
    found = []
    for name, one in seen.items():
        truth = CampaignTruth(one)
        if not name:
            found += rates(truth)
            found += survey_errors(truth)
            found += patterns(truth)
        found += steps(truth, name)
    return found


def holds(estimate: Quantity, true: float) -> bool:
    """Whether a 95 % interval holds the truth."""
    return estimate.low95 <= true <= estimate.high95


def _figures(estimate: Quantity, true: float) -> Record:
    return {
        "inside": holds(estimate, true),
        "off": estimate.value - true,
        "half": 0.5 * (estimate.high95 - estimate.low95),
        "true": true,
    }


def rates(truth: CampaignTruth) -> list[Record]:
    """Long-term and short-term rates and their trend, of every piece that is told.

    The true rate an hour or a tonne is the true rate a heat over what a heat has of
    them; the true trend is none.
    """
    rows = []
    for exposure, amount in EXPOSURES.items():
        estimate = wear_rates(truth.series, exposure)  # type: ignore[arg-type]
        truths = {"long": truth.rate / amount, "short": truth.rate / amount}
        truths["trend"] = np.zeros(truth.rate.size)
        for what, true in truths.items():
            for i, one in enumerate(getattr(estimate, what)):
                if one is not None:
                    kind = truth.regions.regions[i].kind
                    head = {"what": what, "exposure": exposure, "kind": kind}
                    rows.append(head | _figures(one, float(true[i])))
    return rows


def survey_errors(truth: CampaignTruth) -> list[Record]:
    """Errors of wear spell by spell, and what of them comes back every heat.

    The mean of n errors has the variance ``back + once / n``, where ``back`` is of what
    comes back and ``once`` is seen from how they differ.
    """
    error = truth.series.wear - truth.wear
    n = len(error)
    back = error.mean(axis=0) ** 2 - error.var(axis=0, ddof=1) / n
    stated = truth.series.variance.mean(axis=0)
    true = truth.wear.std(axis=0, ddof=1)
    return [
        {
            "what": "errors",
            "kind": one.kind,
            "stated": float(stated[i]),
            "square": float(np.mean(error[:, i] ** 2)),
            "back": float(back[i]),
            "mean": float(error[:, i].mean()),
            "scatter": float(true[i]),
        }
        for i, one in enumerate(truth.regions.regions)
        if np.isfinite(error[:, i]).all()
    ]


def patterns(truth: CampaignTruth) -> list[Record]:
    """Waves round the wall and its zones, and wear before the tuyeres: those told.

    Their true height is that of the wear that lasts, of the same rows of panels.
    """
    seen = truth.seen
    lasting = (seen.lasting + seen.spalls).reshape(-1, HOURS_ROUND)
    rows = np.isfinite(seen.states[0].cutback).reshape(-1, HOURS_ROUND).all(axis=1)
    turn = np.deg2rad(np.arange(HOURS_ROUND) * 360.0 / HOURS_ROUND)
    front = faces_tuyere(seen.furnace.design)
    found = []
    for one in circumferential_pattern(truth.series, seen.furnace.design):
        place = truth.regions.regions.index(one.zone)
        inside = truth.regions.member[place].reshape(-1, HOURS_ROUND).any(axis=1) & rows
        sides = lasting[inside].mean(axis=0)
        for harmonic in one.harmonics:
            wave = abs(2.0 * np.mean(sides * np.exp(1j * harmonic.order * turn)))
            head = {"what": "pattern", "kind": ("once", "twice")[harmonic.order - 1]}
            found.append(head | _figures(harmonic.amplitude, float(wave)))
        if one.tuyeres is not None and front is not None:
            true = float(sides[front].mean() - sides[~front].mean())
            head = {"what": "pattern", "kind": "tuyeres"}
            found.append(head | _figures(one.tuyeres, true))
    return found


def steps(truth: CampaignTruth, name: str) -> list[Record]:
    """Steps found, where one was planted and where none was."""
    found = find_steps(truth.series, seed=truth.seen.furnace.seed)
    if not name:
        return [{"what": "alarm", "found": len(found)}]
    first = truth.seen.furnace.from_heat
    wears = [truth.within(s.inside(truth.regions), truth.seen.extra) for s in found]
    here = [s for s, extra in zip(found, wears, strict=True) if extra > _IN_PLACE]
    near = [s for s in here if abs(s.first.end.heat - first) <= 1]
    exact = [s for s in here if s.first.end.heat == first]
    row: Record = {
        "what": "step",
        "name": name,
        "found": bool(found),
        "in place": bool(here),
        "within a heat": bool(near),
        "exact": bool(exact),
        "elsewhere": len(found) - len(here),
    }
    return [row, *(amount for one in exact for amount in _amounts(truth, one))]


def _amounts(truth: CampaignTruth, step: Step) -> list[Record]:
    """What a step that is dated right says of its piece's wear."""
    panels = step.inside(truth.regions)
    before = truth.within(panels, truth.seen.lasting + truth.seen.spalls)
    extra = truth.within(panels, truth.seen.extra)
    truths = (("before", before), ("after", before + extra), ("change", extra))
    return [
        {"what": part, "kind": step.region.kind} | _figures(getattr(step, part), true)
        for part, true in truths
    ]
