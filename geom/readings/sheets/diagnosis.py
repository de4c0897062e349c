"""What numbers of a sheet seem to be instead of what their column says.

Why numbers do not fit the drawing: the one slip of unit or quantity that explains them
best.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geom.design import Profile
from geom.readings.rod import RodKind
from geom.units import MM_PER, UNIT_NAMES, Bool, Float

_USUAL_RATIO = 1.05  # of the design radius: a wall in use is somewhat worn
_MAX_FACTOR = 1.3  # times or parts of that: how near a slip undone must bring them
_MAX_CUTBACK_RATIO = 0.35  # of the design radius: what is less is no radius of a wall
_MIN_SPAN, _TINY_SPAN = 0.25, 0.05  # of the profile's height


@dataclass(frozen=True)
class Diagnosis:
    """What numbers seem to be instead of what their column says.

    Attributes
    ----------
    plural, singular : str
        What the numbers, or one of them, look like: ``"diameters"``, ``"a diameter"``.
    column : str
        What the column would have to be named.
    """

    plural: str
    singular: str
    column: str


_OTHER_KIND = {
    "radius": lambda u: (0.5, Diagnosis("diameters", "a diameter", f"diameter_{u}")),
    "diameter": lambda u: (2.0, Diagnosis("radii", "a radius", f"radius_{u}")),
}


def diagnose(ratio: Float, kind: RodKind, unit: str) -> Diagnosis | None:
    """Find the slip that explains readings far from the drawing.

    Parameters
    ----------
    ratio : array (n,)
        Readings as parts of the design radius: of the radius, of twice the radius for
        diameters; a cut-back as a part of the radius too.
    kind : {'radius', 'diameter', 'cutback'}
        As the column is named.
    unit : str
        As the column is named.

    Returns
    -------
    Diagnosis or None
        None if no single slip brings them near the drawing.
    """
    if kind == "cutback":
        return _diagnose_cutbacks(ratio, unit)
    median = float(np.median(ratio))
    slips = [_OTHER_KIND[kind](unit), *_other_units(kind, unit)]
    off = [
        abs(np.log(median * factor / _USUAL_RATIO)) if median > 0 else np.inf
        for factor, _ in slips
    ]
    best = int(np.argmin(off))
    if off[best] < np.log(_MAX_FACTOR):
        return slips[best][1]
    if median < _MAX_CUTBACK_RATIO:
        return Diagnosis("cut-backs", "a cut-back", f"cutback_{unit}")
    return None


def _other_units(kind: RodKind, unit: str) -> list[tuple[float, Diagnosis]]:
    """Give each other unit with the factor it would put on the readings."""
    return [
        (
            float(mm / MM_PER[unit]),
            Diagnosis(UNIT_NAMES[u], f"in {UNIT_NAMES[u]}", f"{kind}_{u}"),
        )
        for u, mm in MM_PER.items()
        if u != unit
    ]


def _diagnose_cutbacks(ratio: Float, unit: str) -> Diagnosis | None:
    low, high = float(np.min(ratio)), float(np.max(ratio))
    if low > 1.0 / 1.6 and high < 1.6:
        return Diagnosis("radii", "a radius", f"radius_{unit}")
    if ratio.size == 1:
        return None
    smaller = [
        (factor, slip)
        for factor, slip in _other_units("cutback", unit)
        if factor < 1.0 and max(-low, high) * factor < 1.0 / 1.6
    ]
    return max(smaller, key=lambda pair: pair[0])[1] if smaller else None


def diagnose_height_unit(
    height: Float, outside: Bool, unit: str, profile: Profile
) -> str | None:
    """Find the unit that heights seem to be in, if not the one that is stated.

    Parameters
    ----------
    height : array (n,), mm
        As the column's name has it.
    outside : bool array (n,)
        Which of them lie outside the profile.
    unit : str
        The one that is stated.
    profile : Profile
        As drawn.

    Returns
    -------
    str or None
        A unit that puts all heights into the profile, when most lie outside, or when
        they crowd into a twentieth of it and the other unit spreads them out.
    """
    tall = profile.top - profile.bottom
    crowded = np.unique(height).size >= 3 and np.ptp(height) <= _TINY_SPAN * tall
    most_outside = float(np.mean(outside)) > 0.5
    best = None
    for other, mm in sorted(MM_PER.items(), key=lambda pair: pair[1]):
        factor = float(mm / MM_PER[unit])
        moved = height * factor
        fits = np.min(moved) >= profile.bottom and np.max(moved) <= profile.top
        spread = factor > 20.0 and np.ptp(moved) >= _MIN_SPAN * tall
        if other != unit and fits and (most_outside or (crowded and spread)):
            best = other
    return best
