"""The patch ledger: what is daub and what is original lining, panel by panel.

Daub stands where the wall was once burnt back further than it stands now.  So the face
of the original lining in a panel is the greatest cut-back that any heat of the campaign
left there: repairs put material before it and never behind it.  What stands before it
now is patch, what stands behind it, to the shell, is original.

A greatest of noisy numbers is too great.  So what the heats really left is first
inferred: cut-backs W of a panel scatter from heat to heat about a level m by t, a
survey sees each with its own error s, nothing is known of m, and t may be anything
alike.  The posterior of all W is drawn, t by t as probable as the surveys make it, and
the greatest of each draw is taken.

References
----------
Gelman et al. (2013), Bayesian Data Analysis, 3rd ed., section 5.4: the hierarchical
normal model, its marginal posterior of t (5.21), conditional means (5.17), and why t is
taken as evenly spread (section 5.7; from memory).
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from geom.compare.panels import Panels, PanelState
from geom.design import Design
from geom.frame import wrap
from geom.quantity import Quantity
from geom.record.assumptions import ASSUMED
from geom.record.forecast.first_passage import least_lining_of
from geom.record.store.occasion import Occasion
from geom.units import Float

#: Scatter of what heats leave, from heat to heat, that is tried, mm: evenly, as the
#: greatest is then held in 92 to 98 of 100 at scatters of 0 to 12 mm (1500 drawn cases
#: of ten heats each), 84 to 97 where it is spread evenly in its logarithm.
SCATTERS = tuple(np.linspace(0.0, 20.0, 21))
#: Draws: the ends of a 95 % interval are then known to a tenth of its half-width.
DRAWS = 600


@dataclass(frozen=True)
class PanelLedger:
    """What one panel is made of now; lengths in mm, means over the panel.

    Attributes
    ----------
    panel : int
        Its number in `Panels`.
    height, azimuth : float, mm and degrees
        Of its middle.
    patched : int
        Repairs that put material on it.
    bricked : int
        Of these, such as the survey before called brick for it.
    deepest : Quantity
        Cut-back of the face of the original lining: the greatest that a heat left.
    patch : Quantity
        What stands before that face now.
    original : Quantity or None
        Original lining left behind it, to the shell; None where no shell is drawn.
    lost : Quantity
        Original lining lost per heat since the first half of the campaign.
    heats_left : float or None
        Heats that the original lining lasts at that rate, to the least lining: no fewer
        with a chance of 0.95; None where that is beyond ten times the heats seen.
    """

    panel: int
    height: float
    azimuth: float
    patched: int
    bricked: int
    deepest: Quantity
    patch: Quantity
    original: Quantity | None
    lost: Quantity
    heats_left: float | None


def patch_ledger(
    occasions: Sequence[Occasion],
    design: Design,
    panels: Panels,
    *,
    state_of: Callable[[Occasion], PanelState],
    zones_of: Callable[[Occasion], Sequence[dict[str, Any]]],
    seed: int = 0,
) -> tuple[PanelLedger, ...]:
    """The ledger of a campaign, one line for each panel that was read each time.

    Parameters
    ----------
    occasions : sequence of Occasion
        Of one campaign, in order.
    state_of : callable
        The panels of a survey.
    zones_of : callable
        Its zones, as ``findings.json`` has them.
    """
    states = {occasion: state_of(occasion) for occasion in occasions}
    worn = [occasion for occasion in occasions if occasion.is_as_worn]
    if not worn:
        return ()
    repairs = [
        (before, after)
        for before, after in itertools.pairwise(occasions)
        if before.heat == after.heat and not after.is_as_worn
    ]
    bricked = [_called_brick(zones_of(before), panels) for before, _ in repairs]
    heat = np.array([occasion.heat for occasion in worn], dtype=np.float64)
    first, last = occasions[0], occasions[-1]
    least = least_lining_of(design)
    rng = np.random.default_rng(seed)
    found = []
    for panel in range(panels.count):
        level = np.array([states[o].cutback[panel] for o in worn])
        sd = np.array([_sd(states[o], panel) for o in worn])
        now, now_sd = states[last].cutback[panel], _sd(states[last], panel)
        new = states[first].cutback[panel] if not first.is_as_worn else 0.0
        if not np.isfinite([*level, *sd, now, now_sd, new]).all():
            continue
        depth = np.maximum(worn_draws(level, sd, DRAWS, rng), max(float(new), 0.0))
        deepest = np.maximum.accumulate(depth, axis=0)
        face = depth[-1] if last.is_as_worn else rng.normal(now, now_sd, DRAWS)
        put_in = [  # nothing where it was not read
            (states[o].cutback[panel] - states[after].cutback[panel], brick[panel])
            for (o, after), brick in zip(repairs, bricked, strict=True)
        ]
        height = float(panels.height[panel])
        original = None
        lost, spare = _lost(deepest, heat), None
        if design.shell_radius is not None:
            radius = float(design.profile.radius_at(np.array([height]))[0])
            left = design.shell_radius - radius - deepest[-1]
            original = Quantity.of_samples(left)
            spare = left - (least or 0.0)
        found.append(
            PanelLedger(
                panel=panel,
                height=height,
                azimuth=float(panels.azimuth[panel]),
                patched=sum(bool(fill > ASSUMED.least_patch) for fill, _ in put_in),
                bricked=sum(
                    bool(brick) for fill, brick in put_in if fill > ASSUMED.least_patch
                ),
                deepest=Quantity.of_samples(deepest[-1]),
                patch=Quantity.of_samples(np.maximum(deepest[-1] - face, 0.0)),
                original=original,
                lost=Quantity.of_samples(lost),
                heats_left=_lasts(spare, lost, heat[-1] - float(first.heat)),
            )
        )
    return tuple(found)


def worn_draws(level: Float, sd: Float, count: int, rng: np.random.Generator) -> Float:
    """Draws of what heats really left, given what surveys saw of it.

    What a survey states of a panel is an estimate, drawn towards the rest of its wall
    by as much as nobody knows from outside.  So half of the draws take it for an
    observation with an error of its own, and pull it to the other heats as far as
    these agree; half take it as drawn already, and add what is stated, some of it
    alike in all heats.  On the walls of the bench (docs/benchmarks.md) the first alone
    held the greatest in 86 %, the second alone in 88, both in 97.

    Parameters
    ----------
    level, sd : array (n,), mm
        What each survey saw, and its standard uncertainty.

    Returns
    -------
    array (n, count), mm
    """
    variance = np.maximum(sd, 1e-3) ** 2
    if level.size == 1:
        return np.asarray(rng.normal(level[0], np.sqrt(variance[0]), (1, count)))
    scatter = np.asarray(SCATTERS) ** 2
    weight = 1.0 / (variance + scatter[:, None])
    whole = weight.sum(axis=1)
    mean = (weight @ level) / whole
    off = np.sum(weight * (level - mean[:, None]) ** 2, axis=1)
    log = 0.5 * np.sum(np.log(weight), axis=1) - 0.5 * np.log(whole) - 0.5 * off
    chance = np.exp(log - log.max())
    pick = rng.choice(scatter.size, count, p=chance / chance.sum())
    centre = rng.normal(mean[pick], 1.0 / np.sqrt(whole[pick]))
    # pull of a survey on its own heat, (n, count)
    pull = scatter[pick] / (scatter[pick] + variance[:, None])
    spread = np.sqrt(pull * variance[:, None])
    seen = rng.normal(pull * level[:, None] + (1.0 - pull) * centre, spread)
    alike = ASSUMED.panel_systematic_share
    off = np.sqrt(alike) * rng.standard_normal(count)
    off = off + np.sqrt(1.0 - alike) * rng.standard_normal((level.size, count))
    stated = level[:, None] + np.sqrt(variance)[:, None] * off
    observed = rng.random(count) < ASSUMED.as_observed
    return np.asarray(np.where(observed, seen, stated))


def _sd(state: PanelState, panel: int) -> float:
    """Standard uncertainty of a panel's mean; from its parts where it is not kept."""
    own = float(state.covariance[panel, panel]) if state.covariance.size else 0.0
    if own > 0.0:
        return float(np.sqrt(own))
    parts = state.part_sd[panel]
    known = parts[np.isfinite(parts)]
    return float(np.sqrt(np.mean(known**2))) if known.size else np.nan


def _called_brick(zones: Sequence[dict[str, Any]], panels: Panels) -> Float:
    """Which panels have their middle in a zone that was called brick; (p,)."""
    inside = np.zeros(panels.count, dtype=bool)
    for zone in zones:
        if zone["action"] != "brick":
            continue
        onward = wrap(zone["azimuth_to"] - zone["azimuth_from"])
        turned = wrap(panels.azimuth - zone["azimuth_from"])
        high = panels.height <= zone["height_to"]
        inside |= (turned <= onward) & high & (panels.height >= zone["height_from"])
    return np.asarray(inside)


def _lost(deepest: Float, heat: Float) -> Float:
    """Original lining lost per heat since the first half of the heats; draws."""
    middle = (heat.size - 1) // 2
    heats = heat[-1] - heat[middle]
    return np.asarray((deepest[-1] - deepest[middle]) / max(heats, 1.0))


def _lasts(spare: Float | None, lost: Float, seen: float) -> float | None:
    """Heats until the least lining, of which no fewer with a chance of 0.95."""
    if spare is None:
        return None
    heats = np.maximum(spare, 0.0) / np.maximum(lost, 1e-9)
    sure = float(np.quantile(heats, 0.05))
    return sure if sure <= 10.0 * max(seen, 1.0) else None
