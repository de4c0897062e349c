"""A repaired wall: what was filled is new, and need not join on to what was not.

A process that is smooth all over the wall draws a patch and the wall next to it as one
slope: a patch left short pulls the good wall about it out, and is pulled in by it.
Where the zones of the repair are known, each has an offset of its own, independent of
the others and of the wall next to it, and all share one, as one hand filled them; the
sizes of both are learned from the readings.  Inside its zone, and outside of all, the
wall is as smooth as ever.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from geom.readings.surveys import SurveyBefore
from geom.surface.gp.fields import Pattern
from geom.surface.gp.prior import Component, LogNormal, Prior

#: How far a patch lies off the wall that would be drawn through it, sd in mm, and its
#: logarithm's spread, before it is learned: our own choice, about half a tolerance.
OFFSET_SD, OFFSET_SPREAD = 4.0, 0.8
#: Rows of the net that the zones are given on, mm apart at most.
_ROW = 5.0


def with_repaired_zones(prior: Prior, before: SurveyBefore) -> Prior:
    """The same with offsets for the zones of the survey before the repair.

    Parameters
    ----------
    prior : Prior
    before : SurveyBefore
        One without zones changes nothing.
    """
    patterns = zone_patterns(before)
    if not patterns:
        return prior
    every = Pattern(patterns[0].height, np.sum([p.field for p in patterns], axis=0))
    size = LogNormal(OFFSET_SD, OFFSET_SPREAD)
    offsets = (
        Component(name, size, patterns=some, scaled_by_height=False)
        for name, some in (
            ("each repaired zone", patterns),
            ("all repaired zones", (every,)),
        )
    )
    return replace(prior, components=(*prior.components, *offsets))


def zone_patterns(before: SurveyBefore) -> tuple[Pattern, ...]:
    """Every zone as a pattern: 1 in it, 0 elsewhere."""
    height, zone = before.survey.height, before.zone
    low, high = float(height[0]), float(height[-1])
    net = np.linspace(low, high, 2 + int((high - low) / _ROW))
    row = np.rint(np.interp(net, height, np.arange(height.size))).astype(np.int64)
    inside = (zone[row] == number for number in np.unique(zone[zone > 0]))
    # beyond the rows surveyed before nothing is known to have been repaired
    edge = np.zeros((1, zone.shape[1]))
    step = net[1] - net[0]
    padded = np.concatenate([[low - step], net, [high + step]])
    return tuple(
        Pattern(padded, np.concatenate([edge, mask.astype(np.float64), edge]))
        for mask in inside
    )
