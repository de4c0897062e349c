"""Wear of invented heats, panel by panel, as a record has it."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta

import numpy as np

from geom.compare.panels import HOURS, panels_of
from geom.record.regions import regions_of
from geom.record.store.occasion import Occasion
from geom.record.wear.series import Spell, WearSeries
from geom.units import Float
from tests.walls import tapered_design

DESIGN = tapered_design()
PANELS = panels_of(DESIGN)
PIECES = regions_of(PANELS, DESIGN)
ROWS = PANELS.rows
#: Rows of the melting zone, and what a heat wears of each row, mm.
MELTING = slice(3, 8)
USUAL = 2.0 + 9.0 * np.exp(-(((np.arange(ROWS) - 5.0) / 1.6) ** 2))
#: Variance that each survey states, mm2.
STATED = 0.3


def heats(
    count: int,
    *,
    seed: int = 0,
    own: float = 0.6,
    level: float = 0.5,
    shared: float = 0.06,
) -> Float:
    """Wear of heats, mm; (count, rows, sides).

    Panels scatter by ``own`` and levels by ``level`` mm, half of which neighbouring
    levels have in common; a heat wears everything more or less by the share ``shared``.
    """
    rng = np.random.default_rng(seed)
    heat = 1.0 + shared * rng.standard_normal((count, 1, 1))
    chance = rng.standard_normal((count, ROWS + 1))
    rows = level * (chance[:, :-1] + chance[:, 1:]) / np.sqrt(2.0)
    panels = own * rng.standard_normal((count, ROWS, HOURS))
    return USUAL[:, None] * heat + rows[..., None] + panels


def series_of(
    wear: Float,
    *,
    lasted: Sequence[int] | None = None,
    hours: Sequence[float] | None = None,
    melted: Sequence[float] | None = None,
    stated: float = STATED,
) -> WearSeries:
    """A record of that wear in whole spells; panels that are NaN are not told.

    Parameters
    ----------
    wear : array (n, rows, sides), mm
        Of each spell, which lasted as many heats as ``lasted`` says; one, if not told.
    """
    count = len(wear)
    lasted = lasted or [1] * count
    flat = wear.reshape(count, ROWS * HOURS)
    known = np.isfinite(flat)
    weight = known[:, None, :] * PIECES.member
    held = weight.sum(axis=2)
    total = np.einsum("nsp,np->ns", weight, np.nan_to_num(flat))
    found = held > 0.8 * PIECES.member.sum(axis=1)
    end = np.where(found, total / np.maximum(held, 1.0), np.nan)
    variance = np.where(found, stated, np.nan)
    spells: list[Spell] = []
    last = 0
    for k in range(count):
        on = date(2026, 1, 5) + timedelta(k)
        first, last = last, last + lasted[k]
        close = Occasion(
            last,
            "before repair",
            on,
            None if hours is None else hours[k],
            None if melted is None else melted[k],
        )
        spells.append(Spell(Occasion(first, "after repair", on), close))
    large = len(PIECES.of_kind("wall")) + len(PIECES.of_kind("zone"))
    none = np.zeros((count, large, HOURS, HOURS))
    return WearSeries(
        tuple(spells), PIECES, np.zeros_like(end), end, variance, variance, none
    )
