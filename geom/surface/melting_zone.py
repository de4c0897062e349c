"""Where the wall melts back: the ring of wear above the tuyeres, found in the readings.

The blast burns fiercest some way above the tuyeres, so the wear of a cupola is a ring
of one hump over height, often steeper below than above.  Where it lies, how deep it is
and how fast it fades are fitted to all readings at once; what the readings leave open
of that is handed on.  Without it a process that knows nothing of humps draws the wall
between two rows of readings flatter than it is, and is as unsure of the quiet stack as
of the burnt ring.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geom.design import Design
from geom.readings import RodReadings
from geom.surface.pattern import Pattern
from geom.surface.sound_wall import cutback_read
from geom.units import Float

#: What is expected before any reading: how far above the tuyeres' centres the ring is
#: deepest, how deep it is (mm; none, or it would be seen where nobody read), and how
#: far below and above that it has fallen to 1/e, each with its spread (the widths' of
#: the logarithm).  Common practice, no source: the melting zone lies from half a foot
#: to one and a half above the tuyeres.
ABOVE_TUYERES, _RIDES = 250.0, 120.0
_DEEPER = 40.0
WIDTH_BELOW, WIDTH_ABOVE, _WIDER = 140.0, 210.0, 0.5

#: How far readings lie about the hump (mm) and about zero away from it (mm), and how
#: many readings tell something that their neighbours do not: our own choices.
_ABOUT, _BASE, _TELLING = 6.0, 3.0, 30.0
_STEP = 5.0


@dataclass(frozen=True)
class MeltingZone:
    """A hump of wear over height, the same all round.

    Attributes
    ----------
    centre : float, mm
        Height where it is deepest.
    below, above : float, mm
        Distance at which it has fallen to 1/e, downwards and upwards.
    depth : float, mm
    centre_sd : float, mm
    below_sd, above_sd : float
        Of the logarithms of the distances.
    """

    centre: float
    below: float
    above: float
    depth: float
    centre_sd: float
    below_sd: float
    above_sd: float

    def share(self, height: Float) -> Float:
        """Wear at heights as a share of the deepest, 0 to 1; same shape."""
        return hump(height, self.centre, self.below, self.above)

    def hump(self, low: float, high: float) -> Pattern:
        """The share as a pattern between two heights."""
        net = _net(low, high)
        return Pattern(net, self.share(net)[:, None])

    def changes(self, low: float, high: float) -> tuple[Pattern, ...]:
        """What one sd of centre, and of each distance, does to the wear, mm."""
        net = _net(low, high)
        off = net - self.centre
        wide = np.where(off < 0.0, self.below, self.above)
        falling = 2.0 * self.depth * self.share(net) * off / wide**2
        ways = (
            falling * self.centre_sd,
            np.where(off < 0.0, falling * off * self.below_sd, 0.0),
            np.where(off < 0.0, 0.0, falling * off * self.above_sd),
        )
        return tuple(Pattern(net, way[:, None]) for way in ways)


def hump(height: Float, centre: float, below: float, above: float) -> Float:
    """One at the centre, a normal curve of its own width to either side."""
    off = height - centre
    return np.asarray(np.exp(-((off / np.where(off < 0.0, below, above)) ** 2)))


def find_melting_zone(readings: RodReadings, design: Design) -> MeltingZone:
    """The hump that the readings show, held to what is usual where they say little.

    Parameters
    ----------
    readings : RodReadings
    design : Design
        Its tuyeres tell where to look; without any, all heights are as likely.

    Returns
    -------
    MeltingZone
        Least squares in which far-off readings count by their distance, not its
        square, so that a slip or a hole does not bend the hump.  The standard
        deviations are those of the linearised fit (JCGM 100:2008, H.3).
    """
    from scipy.optimize import least_squares

    height, cutback = readings.height, cutback_read(readings, design)
    usual, spread = _expected(design, float(height.min()), float(height.max()))
    count = min(1.0, _TELLING / height.size)

    def misfit(told: Float) -> Float:
        depth, centre, below, above, base = told
        wear = base + depth * hump(height, centre, np.exp(below), np.exp(above))
        off = (cutback - wear) / _ABOUT
        robust = np.sign(off) * np.sqrt(2.0 * count * (np.sqrt(1.0 + off**2) - 1.0))
        return np.append(robust, (told - usual) / spread)

    starts = [usual + spread * np.array([1, up, 0, 0, 0]) for up in (-0.8, 0.0, 1.0)]
    found = [least_squares(misfit, start) for start in starts]
    best = min(found, key=lambda fit: float(fit.cost))
    depth, centre, below, above, _ = best.x
    slopes = np.asarray(best.jac, dtype=np.float64)
    sd = np.sqrt(np.diag(np.linalg.inv(slopes.T @ slopes)))
    return MeltingZone(
        centre=float(centre),
        below=float(np.exp(below)),
        above=float(np.exp(above)),
        depth=max(float(depth), _ABOUT),
        centre_sd=float(sd[1]),
        below_sd=float(sd[2]),
        above_sd=float(sd[3]),
    )


def _expected(design: Design, low: float, high: float) -> tuple[Float, Float]:
    """Depth, centre, log widths and base before any reading, and their spreads."""
    centre, rides = 0.5 * (low + high), 0.5 * (high - low)
    if design.tuyeres:
        centre = float(np.mean([t.height for t in design.tuyeres])) + ABOVE_TUYERES
        rides = _RIDES
    usual = [0.0, centre, np.log(WIDTH_BELOW), np.log(WIDTH_ABOVE), 0.0]
    return np.array(usual), np.array([_DEEPER, rides, _WIDER, _WIDER, _BASE])


def _net(low: float, high: float) -> Float:
    return np.linspace(low, high, 2 + int((high - low) / _STEP))
