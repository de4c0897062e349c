"""Wear of an invented campaign and what is forecast of it, for the views to tell."""

import math
from datetime import date, timedelta

import numpy as np

from geom.compare.panels import HOURS, panels_of
from geom.quantity import Quantity
from geom.record.forecast.forecast import Forecast
from geom.record.regions import regions_of
from geom.record.store.occasion import Occasion
from geom.record.wear.series import WearSeries, find_spells

HEATS = 14


def make_series(design, *, heats=HEATS, step_at=9):
    """Wear of an invented campaign: a hot melting zone that burns harder in the end."""
    chance = np.random.default_rng(5)
    regions = regions_of(panels_of(design), design)
    occasions = [Occasion(0, "after repair", date(2026, 1, 5), campaign="2026")]
    for heat in range(1, heats + 1):
        day = date(2026, 1, 5) + timedelta(days=heat)
        told = (6.0, 20_000.0, "2026")
        occasions.append(Occasion(heat, "before repair", day, *told, "short ton"))
        occasions.append(Occasion(heat, "after repair", day, campaign="2026"))
    spells, gaps = find_spells(occasions)
    height = np.array([0.5 * (p.height_from + p.height_to) for p in regions.regions])
    usual = 0.5 + 9.0 * np.exp(-(((height - 760.0) / 250.0) ** 2))
    later = np.arange(heats)[:, None] >= step_at
    wear = usual * np.where(later, 1.5, 1.0)
    wear = wear + chance.normal(0.0, 0.6, wear.shape)
    variance = np.full(wear.shape, 0.1)
    start = np.zeros(wear.shape)
    large = len(regions.of_kind("wall")) + len(regions.of_kind("zone"))
    sides = np.zeros((heats, large, HOURS, HOURS))
    series = WearSeries(spells, regions, start, wear, variance, variance, sides)
    return series, tuple(occasions), gaps


def place(regions, name):
    return next(i for i, one in enumerate(regions.regions) if one.name == name)


def make_forecasts(regions):
    sides = [regions.regions[i] for i in regions.of_kind("panel")]
    hot = regions.regions[place(regions, "melting zone")]

    def one(region, room, heats, *, stop=False, limit="brick threshold"):
        told = (Quantity.normal(v, 0.5) for v in (31.75 - room, room, 9.0))
        at, room_left, rate = told
        return Forecast(
            region=region,
            limit=limit,
            heats=heats,
            at=at,
            room=room_left,
            rate=rate,
            governing="long-term",
            since=0,
            stop=stop,
        )

    return (
        one(hot, 3.2, Quantity(0.4, 0.1, 0.1, 0.7)),
        one(hot, 6.4, Quantity(0.8, 0.1, 0.5, 1.1), stop=True, limit="least lining"),
        one(sides[20], 20.0, Quantity(5.0, 1.0, 3.0, 8.0)),
        one(sides[21], 20.0, Quantity(40.0, 9.0, 25.0, math.inf)),
        one(sides[22], 20.0, None, limit="least lining"),
    )
