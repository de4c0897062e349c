"""The scale of wear: the colours of cut-back, with ends of their own.

One step of the scale is the brick threshold halved as often as the wear leaves room
for.  So two records of one furnace differ in their scale only by halves, and every
picture says what its ends are.
"""

from __future__ import annotations

import numpy as np

from geom.units import Float
from geom.views.colours import Rgb, cutback_rgb

#: Share of the wall that may lie past the end of the scale.
_PAST = 0.01
#: The threshold is halved so often, or doubled so often, at most.
_HALVES, _DOUBLES = 10, 4

#: Ends of the grey scale of uncertainty: none, and much.
_LIGHT, _DARK = 250.0, 40.0


def wear_step(wear: Float, threshold: float) -> float:
    """Step of the scale, mm: build-up ends at minus one, lost lining at two.

    Parameters
    ----------
    wear : array, any shape, mm per heat, hour or tonne
        NaN where not told.
    threshold : float, mm
        The furnace's brick threshold.

    Examples
    --------
    >>> wear_step(np.array([3.0, 7.0]), 32.0)
    4.0
    """
    known = np.abs(wear[np.isfinite(wear)])
    if not (known > 0.0).any():
        return float(threshold)
    most = float(np.quantile(known, 1.0 - _PAST))
    halves = np.floor(np.log2(2.0 * threshold / max(most, 1e-9)))
    return float(threshold * 0.5 ** np.clip(halves, -_DOUBLES, _HALVES))


def wear_rgb(wear: Float, step: float) -> Rgb:
    """Colour of wear, as sRGB; shape of ``wear`` + (3,)."""
    return cutback_rgb(wear, step)


def doubt_rgb(sd: Float, most: float) -> Rgb:
    """Grey of a standard uncertainty from 0, nearly white, to ``most``, nearly black.

    Parameters
    ----------
    sd : array, mm per heat, hour or tonne
        NaN is told as not surveyed.
    most : float
    """
    part = np.clip(np.nan_to_num(sd) / most, 0.0, 1.0)[..., None]
    grey = np.broadcast_to(_LIGHT + part * (_DARK - _LIGHT), (*sd.shape, 3))
    blank = cutback_rgb(np.full(sd.shape, np.nan), most)
    return np.where(np.isnan(sd)[..., None], blank, np.rint(grey)).astype(np.uint8)
