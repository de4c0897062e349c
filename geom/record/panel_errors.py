"""How the errors of one survey hang together, for every panel that is compared."""

from __future__ import annotations

import numpy as np

from geom.errors import InputError
from geom.frame import turn
from geom.record.survey_file import RecordedWall
from geom.units import Bool, Float


def panel_errors(wall: RecordedWall, both: Bool) -> Float:
    """How one survey's panel means err together.

    A panel of which too little was surveyed to be told errs with the nearest that was,
    more or less by as much as its own cells are known worse or better.

    Parameters
    ----------
    wall : RecordedWall
    both : bool array (m, k)
        Cells that are compared.

    Returns
    -------
    array (p, p), mm2

    Raises
    ------
    InputError
        If no panel is told.
    """
    state, panels = wall.panels, wall.panels.panels
    told = np.flatnonzero(np.isfinite(state.cutback))
    if told.size == 0:
        raise InputError(
            f"too little of the wall was surveyed in {wall.title!r} to compare it",
            cure="Name a survey that covers more of the height",
        )
    owner = panels.owner(wall.height, wall.azimuth)
    known = np.isfinite(wall.cutback_sd)
    count = np.maximum(np.bincount(owner[known], minlength=panels.count), 1)
    square = np.bincount(owner[known], wall.cutback_sd[known] ** 2, panels.count)
    size = np.sqrt(square / count)
    needed = np.unique(owner[both])
    lender = np.arange(panels.count)
    across = turn(panels.azimuth[needed, None], panels.azimuth[told])
    across = np.deg2rad(across) * wall.design.profile.mean_radius
    apart = np.hypot(panels.height[needed, None] - panels.height[told], across)
    lender[needed] = told[np.argmin(apart, axis=1)]
    factor = np.divide(
        size, size[lender], out=np.ones(panels.count), where=size[lender] > 0.0
    )
    lent = state.covariance[np.ix_(lender, lender)]
    return np.asarray(factor[:, None] * lent * factor[None, :])
