"""From readings to a radial surface."""

from __future__ import annotations

import numpy as np

from geom.design import Design
from geom.errors import TooFewReadings
from geom.readings import RodReadings
from geom.surface.belief import Belief
from geom.surface.evidence import Evidence
from geom.surface.grid import make_grid
from geom.surface.learn import learn, others
from geom.surface.noise import reading_noise
from geom.surface.observed import observe
from geom.surface.prior import default_prior
from geom.surface.process import Process
from geom.surface.radial import RadialSurface

#: Least readings, azimuths and heights from which sizes and lengths can be learned at
#: all: our own floor, no source.
LEAST_READINGS = 8
LEAST_AZIMUTHS = 3
LEAST_HEIGHTS = 2

#: Choices of sizes and lengths beside the best.
CHOICES = 8


def reconstruct(
    readings: RodReadings,
    design: Design,
    *,
    spacing: float = 10.0,
    columns: int = 360,
    seed: int = 0,
) -> RadialSurface:
    """The radial surface that the readings allow.

    Parameters
    ----------
    readings : RodReadings
    design : Design
    spacing : float, mm
        Greatest distance between rows of the grid, at most 10 for the pinned files.
    columns : int
        Azimuths round the wall, at least 360 for the pinned files.
    seed : int
        Of the draws of sizes and lengths.

    Returns
    -------
    RadialSurface

    Raises
    ------
    TooFewReadings
        If there are fewer than 8 readings, 3 azimuths or 2 heights.
    """
    _refuse_too_few(readings)
    observed = observe(readings, design)
    noise = reading_noise(readings, design.rod)
    low, high = float(readings.height.min()), float(readings.height.max())
    prior = default_prior(design.profile.mean_radius, low, high)
    belief = believe(Evidence.of(observed, noise, prior), seed=seed)
    grid = make_grid(design, surveyed=(low, high), spacing=spacing, columns=columns)
    cutback = np.full(grid.shape, np.nan)
    sd = np.full(grid.shape, np.nan)
    rows = grid.surveyed
    cutback[rows], sd[rows] = belief.on_grid(grid.height[rows], grid.azimuth)
    return RadialSurface(
        design=design,
        grid=grid,
        radius=cutback + grid.design_radius[:, None],
        radius_sd=sd,
        belief=belief,
        count=len(readings),
        kinds=tuple(readings.kinds),
        warnings=_warn_of(readings, design),
    )


def believe(evidence: Evidence, *, seed: int = 0) -> Belief:
    """Learn sizes and lengths, and condition the wall on the readings."""
    best = learn(evidence)
    drawn = others(evidence, best, count=CHOICES, seed=seed)
    processes = [
        Process(*evidence.filled(logs), evidence.observed) for logs in (best, *drawn)
    ]
    return Belief(processes[0], tuple(processes[1:]))


def _refuse_too_few(readings: RodReadings) -> None:
    heights = np.unique(readings.height).size
    far = readings.azimuth[readings.is_kind("diameter")] + 180.0
    azimuths = np.unique(np.concatenate([readings.azimuth, far % 360.0])).size
    lacks = [
        f"at least {least} {word} are needed, there {'is' if got == 1 else 'are'} {got}"
        for got, least, word in (
            (len(readings), LEAST_READINGS, "readings"),
            (azimuths, LEAST_AZIMUTHS, "different azimuths"),
            (heights, LEAST_HEIGHTS, "different heights"),
        )
        if got < least
    ]
    if lacks:
        raise TooFewReadings(
            "too few readings to model the wall: " + "; ".join(lacks),
            file=_files(readings),
            cure="Read more stations, spread over the wall",
        )


def _files(readings: RodReadings) -> str | None:
    names = dict.fromkeys(place.split(", ")[0] for place in readings.place)
    return " and ".join(names) or None


def _warn_of(readings: RodReadings, design: Design) -> tuple[str, ...]:
    measured = ~readings.is_kind("cutback")
    at_step = np.isin(readings.height, design.profile.steps) & measured
    if not at_step.any():
        return ()
    return (
        f"{int(at_step.sum())} readings stand exactly at a step of the profile and "
        "were compared with the part above it.",
    )
