"""The wall fitted to its readings: errors, slips, sizes and lengths, belief."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geom.design import Design
from geom.readings import RodReadings
from geom.surface.gp.hyperparameters import Evidence, learn, others
from geom.surface.gp.kernels import Places
from geom.surface.gp.observations import Observed, observe
from geom.surface.gp.posterior import Belief, Process
from geom.surface.gp.prior import Prior
from geom.surface.radial import Rejected
from geom.surface.rods.datum_bands import sound_wall
from geom.surface.rods.errors import Slopes, rod_noise
from geom.surface.rods.outliers import Slip, convicted, suspects
from geom.units import Bool, Float, say_both

#: Choices of sizes and lengths beside the best.
CHOICES = 8
#: Readings past which the choices differ by less than matters, and none are drawn.
TELLING = 900

#: Step of the differences that tell the wall's slope at a reading, mm.
_STEP = 5.0


@dataclass(frozen=True)
class Fit:
    """What the readings say, and which of them were left out."""

    belief: Belief
    rejected: tuple[Rejected, ...]


def fit_wall(
    readings: RodReadings,
    design: Design,
    prior: Prior,
    *,
    seed: int = 0,
    may_slip: Bool | None = None,
    choices: int = CHOICES,
) -> Fit:
    """Fit the wall to its readings.

    Parameters
    ----------
    readings : RodReadings
    design : Design
        Its datum bands are taken as sound wall unless the readings belie them.
    prior : Prior
    seed : int
        Of the draws of sizes and lengths.
    may_slip : bool array (n,), optional
        Which readings may be slips of the pen; default all.
    choices : int, even
        Choices of sizes and lengths beside the best.
    """
    stand_ins = sound_wall(design, readings)
    sheet = readings.joined(stand_ins)
    sound = np.arange(len(sheet)) >= len(readings)
    observed = observe(sheet, design)
    evidence = Evidence.of(observed, rod_noise(sheet, design, sound=sound), prior)
    best = learn(evidence)
    slips = _slips(evidence, best, _may_slip(may_slip, sound))
    kept = np.ones(len(sheet), dtype=bool)
    kept[[slip.row for slip in slips]] = False
    if slips:
        evidence = evidence.taken(kept)
        best = learn(evidence)
    if np.isnan(sheet.sd).any():
        process = Process(*evidence.filled(best), evidence.observed)
        slopes = slopes_of(process, observed.places, sheet, design)
        noise = rod_noise(sheet, design, sound=sound, slopes=slopes).taken(kept)
        evidence = Evidence.of(evidence.observed, noise, prior)
        best = learn(evidence, start=best)
    rejected = tuple(_rejected(slip, sheet, observed, design) for slip in slips)
    return Fit(believe(evidence, best, seed=seed, choices=choices), rejected)


def _may_slip(named: Bool | None, sound: Bool) -> Bool:
    if named is None:
        return ~sound
    return np.append(named, np.zeros(sound.size - named.size, dtype=bool))


def _slips(evidence: Evidence, best: Float, may_be: Bool) -> list[Slip]:
    """The readings to leave out."""
    if not may_be.any():
        return []
    whole = Process(*evidence.filled(best), evidence.observed)
    odd = suspects(whole, may_be)
    if not odd.any():
        return []
    calm = evidence.taken(~odd)
    rest = Process(*calm.filled(learn(calm, start=best)), calm.observed)
    return convicted(whole, rest, odd)


def believe(
    evidence: Evidence, best: Float, *, seed: int = 0, choices: int = CHOICES
) -> Belief:
    """The wall with the most probable sizes and lengths, and with others as likely."""
    few = len(evidence.observed) <= TELLING
    drawn = others(evidence, best, count=choices if few else 0, seed=seed)
    processes = [
        Process(*evidence.filled(logs), evidence.observed) for logs in (best, *drawn)
    ]
    return Belief(processes[0], tuple(processes[1:]))


def slopes_of(
    process: Process, places: Places, sheet: RodReadings, design: Design
) -> Slopes:
    """How what is read changes with azimuth and height, from the wall as first fitted.

    Cut-back is read against the drawing at its own place, a radius is not: there the
    taper of the drawing counts too.  Of a diameter both ends count.
    """
    turn = np.rad2deg(_STEP / design.profile.mean_radius)
    around = process.change(places, Places(places.azimuth + turn, places.height)) / turn
    up = process.change(places, Places(places.azimuth, places.height + _STEP)) / _STEP
    taper = design.profile.slope_at(places.height)
    n = len(sheet)
    far = sheet.is_kind("diameter")
    total_up = up[:n] + np.where(sheet.is_kind("cutback"), 0.0, taper[:n])
    total_up[far] += up[n:] + taper[n:]
    total_around = around[:n].copy()
    total_around[far] += around[n:]
    return Slopes(total_around, total_up)


def _rejected(
    slip: Slip, sheet: RodReadings, observed: Observed, design: Design
) -> Rejected:
    value = float(sheet.value[slip.row])
    expected = value - float(observed.value[slip.row]) + slip.expected
    unit = design.length_unit
    read, meant, give = (
        say_both(mm, unit, finest=16) for mm in (value, expected, 2.0 * slip.sd)
    )
    kind = sheet.kind[slip.row]
    why = (
        f"{kind} reads {read}; from the others {meant} is expected, give or take {give}"
    )
    return Rejected(sheet.place[slip.row], value, expected, why)
