"""Forecasts of a simulated campaign held against what its furnace then does."""

from __future__ import annotations

from typing import Any

import numpy as np
from campaign_truth import CampaignTruth, Onward

from geom.quantity import Quantity
from geom.record.changepoints.steps import find_steps
from geom.record.forecast.forecast import forecast
from geom.record.wear.rates import wear_rates

#: How many futures each forecast is held against.
FUTURES = 5
#: Heats looked ahead.
AHEAD = 60


def forecasts(truth: CampaignTruth) -> list[dict[str, Any]]:
    """Heats until the brick threshold if the wall is left alone from the last survey.

    Of walls that last longer than `AHEAD` it is only asked whether the forecast allows
    that.
    """
    seen = truth.seen
    estimate = forecast(
        truth.series,
        wear_rates(truth.series, "heat"),
        seen.furnace.design,
        truth.occasions[-1],
        state_of=truth.state,
        steps=find_steps(truth.series, seed=seen.furnace.seed),
        seed=seen.furnace.seed,
    )
    brick = [(one, one.heats) for one in estimate if one.limit == "brick threshold"]
    place = {region: i for i, region in enumerate(truth.regions.regions)}
    groups = truth.regions.member[[place[one.region] for one, _ in brick]] > 0.0
    limit = np.full(groups.shape[1], seen.furnace.design.repair.brick_threshold)
    rows = []
    for future in range(1, FUTURES + 1):
        true = Onward(truth, future).heats(limit, groups, most=AHEAD)
        for (one, heats), passed in zip(brick, true.tolist(), strict=True):
            if heats is not None:
                name = one.region.name or one.region.kind
                rows.append({"what": f"forecast, {name}"} | _figures(heats, passed))
    return rows


def _figures(estimate: Quantity, true: float) -> dict[str, Any]:
    low, value, high = (
        min(x, AHEAD) for x in (estimate.low95, estimate.value, estimate.high95)
    )
    passed = min(true, AHEAD)
    return {
        "heats": passed,
        "inside": low <= passed <= high,
        "early": passed < low,
        "off": value - passed,
        "half": 0.5 * (high - low),
    }
