"""From readings to a radial surface."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from geom.design import Design
from geom.errors import TooFewReadings
from geom.parallel import on_one_thread
from geom.readings import CloudReadings, RodReadings
from geom.readings.rod import is_unreliable, refuse_too_many
from geom.readings.surveys import SurveyBefore
from geom.surface.assumptions import ASSUMED
from geom.surface.coverage import (
    on_surveyed,
    rows_apart,
    surveyed_by,
)
from geom.surface.gp.prior import Prior, default_prior, find_melting_zone
from geom.surface.grid import make_grid
from geom.surface.radial import (
    AtStep,
    DoubtedBand,
    PastBesideCloud,
    PastSurveys,
    RadialSurface,
    Rejected,
    SurfaceDiagnostic,
    in_openings,
)
from geom.surface.rods.diameters import with_unseen_half
from geom.surface.rods.errors import with_repaired_zones
from geom.surface.rods.fit import MOST_READINGS, fit_wall
from geom.surface.rods.history import PastPrior, prior_with_history
from geom.surface.rods.repeats import contradicting_repeats


@on_one_thread
def reconstruct(
    readings: RodReadings | CloudReadings,
    design: Design,
    *,
    past: PastPrior | None = None,
    repaired: SurveyBefore | None = None,
    spacing: float = 10.0,
    columns: int = 360,
    seed: int = 0,
    tick: Callable[[str], None] | None = None,
    cluster: str | None = None,
) -> RadialSurface:
    """The radial surface that the readings allow.

    Parameters
    ----------
    past : PastPrior, optional
        What earlier surveys of the same furnace taught, from `learn_prior`.
    repaired : SurveyBefore, optional
        The survey before a repair that these readings are to check: the wall may step
        at the edges of its zones.  A cloud sees them by itself.
    spacing : float, mm
        Greatest distance between rows of the grid, at most 10 for the pinned files.
    columns : int
        Azimuths round the wall, at least 360 for the pinned files.
    seed : int
        Of the draws of sizes and lengths.
    tick : callable, optional
        Told what comes next, for long work.
    cluster : str, optional
        Address of a Dask scheduler whose workers sort the points of clouds, or
        ``"local"`` for workers on this machine; the surface is the very same.

    Returns
    -------
    RadialSurface

    Raises
    ------
    TooFewReadings
        If there are fewer than 8 rod readings, 3 azimuths or 2 heights, or a cloud
        shows no ring of the wall.
    InputError
        If no axis can be found for a cloud, or there are more than 20,000 rod readings.
    """
    if isinstance(readings, RodReadings):
        return _of_rods(readings, design, past, repaired, spacing, columns, seed)
    if readings.sparse:
        return _of_single_points(
            readings, design, past, repaired, spacing, columns, seed
        )
    from geom.surface.clouds.binning import cloud_binner
    from geom.surface.clouds.reconstruct import reconstruct_clouds

    with cloud_binner(cluster) as binner:
        surface = reconstruct_clouds(
            readings,
            design,
            spacing=spacing,
            columns=columns,
            seed=seed,
            tick=tick or (lambda _: None),
            binner=binner,
        )
    if past is None:
        return surface
    return replace(surface, diagnostics=(*surface.diagnostics, PastBesideCloud()))


def _of_single_points(  # noqa: PLR0917
    readings: CloudReadings,
    design: Design,
    past: PastPrior | None,
    repaired: SurveyBefore | None,
    spacing: float,
    columns: int,
    seed: int,
) -> RadialSurface:
    from geom.surface.clouds.sparse import single_readings

    sheet, found, diagnostics = single_readings(readings, design)
    surface = _of_rods(sheet, design, past, repaired, spacing, columns, seed)
    return replace(
        surface,
        kinds=("single points", *readings.rod.kinds),
        diagnostics=(*diagnostics, *surface.diagnostics),
        poses=tuple(frame.pose for frame in found),
    )


def _of_rods(  # noqa: PLR0917
    readings: RodReadings,
    design: Design,
    past: PastPrior | None,
    repaired: SurveyBefore | None,
    spacing: float,
    columns: int,
    seed: int,
) -> RadialSurface:
    refuse_too_many(len(readings), _files(readings))
    _refuse_too_few(readings)
    # From here on the order of the rows in the sheet has no part in anything.
    order, kinds = readings.canonical_order(), tuple(readings.kinds)
    number = dict(zip(readings.place, range(len(readings)), strict=True))
    whole = readings.take(order)
    agreed, rejected = contradicting_repeats(whole, design)
    readings = whole.take(np.flatnonzero(agreed))
    if rejected:
        _refuse_too_few(readings)
    low, high = float(readings.height.min()), float(readings.height.max())
    prior = expected_prior(readings, design)
    used = False
    if past is not None:
        prior, used = prior_with_history(prior, past, readings, design)
    if repaired is not None:
        prior = with_repaired_zones(prior, repaired)
    prior = with_unseen_half(prior, readings, design)
    fit = fit_wall(readings, design, prior, seed=seed)
    rejected = tuple(sorted(rejected + fit.rejected, key=lambda r: number[r.place]))
    grid = make_grid(design, surveyed=(low, high), spacing=spacing, columns=columns)
    grid = replace(grid, surveyed=grid.surveyed & surveyed_by(grid, *readings.stations))
    cutback, sd = on_surveyed(fit.posterior, grid)
    return RadialSurface(
        design=design,
        grid=grid,
        radius=cutback + grid.design_radius[:, None],
        radius_sd=sd,
        posterior=fit.posterior,
        count=len(whole),
        kinds=kinds,
        rejected=rejected,
        diagnostics=_diagnostics(readings, design, rejected, past, used=used),
    )


def expected_prior(readings: RodReadings, design: Design) -> Prior:
    """What is expected of the wall that the readings are of, before they are fitted."""
    low, high = float(readings.height.min()), float(readings.height.max())
    row = float(np.median(np.diff(np.unique(readings.height))))
    every = -(-len(readings) // MOST_READINGS)
    zone = find_melting_zone(
        readings.take(np.arange(0, len(readings), every)), design, one_sided=True
    )
    return default_prior(
        design.profile.mean_radius, low, high, row=row, zone=zone, one_sided=True
    )


def _refuse_too_few(readings: RodReadings) -> None:
    heights = np.unique(readings.height).size
    far = readings.azimuth[readings.is_kind("diameter")] + 180.0
    azimuths = np.unique(np.concatenate([readings.azimuth, far % 360.0])).size
    lacks = [
        f"at least {least} {word} are needed, there {'is' if got == 1 else 'are'} {got}"
        for got, least, word in (
            (len(readings), ASSUMED.least_readings, "readings"),
            (azimuths, ASSUMED.least_azimuths, "different azimuths"),
            (heights, ASSUMED.least_heights, "different heights"),
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


def _diagnostics(
    readings: RodReadings,
    design: Design,
    rejected: tuple[Rejected, ...],
    past: PastPrior | None,
    *,
    used: bool,
) -> tuple[SurfaceDiagnostic, ...]:
    measured = ~readings.is_kind("cutback")
    at_step = int((np.isin(readings.height, design.profile.steps) & measured).sum())
    doubted = [b for b in design.datum_bands if is_unreliable(b, design, readings)]
    return (
        *rejected,
        *([AtStep(at_step)] if at_step else []),
        *in_openings(readings.in_openings),
        *map(DoubtedBand, doubted),
        *rows_apart(readings.height, design)[:1],
        *([] if past is None else [PastSurveys(past.count, used)]),
    )
