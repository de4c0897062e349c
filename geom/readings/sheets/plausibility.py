"""Whether a sheet can be of this lining; what cannot is refused, never corrected.

A reading that could be true stays, however odd: a single misread inside the shell is
for the fit to find.

Why numbers do not fit the drawing: the slip that explains them best.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geom.design import Design, Opening, Profile
from geom.readings.rod import RodKind
from geom.readings.sheets.sheet import Sheet
from geom.units import MM_PER, Bool, Float, from_mm

#: How a unit is said in a sentence.
SAID = {"in": "inches", "mm": "millimetres", "cm": "centimetres", "m": "metres"}

_USUAL = 1.05  # of the design radius: a wall in use is somewhat worn
_NEAR = 1.3  # times or parts of that: how near a slip undone must bring them
_CUTBACKS = 0.35  # of the design radius: what is less is no radius of a wall
_LEAST_SPAN, _TINY_SPAN = 0.25, 0.05  # of the profile's height


@dataclass(frozen=True)
class Diagnosis:
    """A slip.

    Attributes
    ----------
    many, one : str
        What the numbers, or one of them, look like: ``"diameters"``, ``"a diameter"``.
    name : str
        What the column would have to be named.
    """

    many: str
    one: str
    name: str


_OTHER_KIND = {
    "radius": lambda u: (0.5, Diagnosis("diameters", "a diameter", f"diameter_{u}")),
    "diameter": lambda u: (2.0, Diagnosis("radii", "a radius", f"radius_{u}")),
}


def diagnose(share: Float, kind: RodKind, unit: str) -> Diagnosis | None:
    """Find the slip that explains readings far from the drawing.

    Parameters
    ----------
    share : array (n,)
        Readings as parts of the design radius: of the radius, of twice the radius for
        diameters; a cut-back as a part of the radius too.
    kind : {'radius', 'diameter', 'cutback'}
    unit : str
        As the column is named.

    Returns
    -------
    Cause or None
        None if no single slip brings them near the drawing.
    """
    if kind == "cutback":
        return _cause_of_cutbacks(share, unit)
    median = float(np.median(share))
    slips = [_OTHER_KIND[kind](unit), *_other_units(kind, unit)]
    off = [
        abs(np.log(median * factor / _USUAL)) if median > 0 else np.inf
        for factor, _ in slips
    ]
    best = int(np.argmin(off))
    if off[best] < np.log(_NEAR):
        return slips[best][1]
    if median < _CUTBACKS:
        return Diagnosis("cut-backs", "a cut-back", f"cutback_{unit}")
    return None


def _other_units(kind: RodKind, unit: str) -> list[tuple[float, Diagnosis]]:
    """Give each other unit with the factor it would put on the readings."""
    return [
        (float(mm / MM_PER[unit]), Diagnosis(SAID[u], f"in {SAID[u]}", f"{kind}_{u}"))
        for u, mm in MM_PER.items()
        if u != unit
    ]


def _cause_of_cutbacks(share: Float, unit: str) -> Diagnosis | None:
    low, high = float(np.min(share)), float(np.max(share))
    if low > 1.0 / 1.6 and high < 1.6:
        return Diagnosis("radii", "a radius", f"radius_{unit}")
    if share.size == 1:
        return None
    smaller = [
        (factor, cause)
        for factor, cause in _other_units("cutback", unit)
        if factor < 1.0 and max(-low, high) * factor < 1.0 / 1.6
    ]
    return max(smaller, key=lambda slip: slip[0])[1] if smaller else None


def diagnose_height_unit(
    height: Float, outside: Bool, unit: str, profile: Profile
) -> str | None:
    """Find the unit that heights seem to be in, if not in the one they are said to be.

    Parameters
    ----------
    height : array (n,), mm
        As the column's name has it.
    outside : bool array (n,)
        Which of them lie outside the profile.
    unit : str
    profile : Profile

    Returns
    -------
    str or None
        A unit that puts all heights into the profile, when most lie outside, or when
        they crowd into a twentieth of it and the other unit spreads them out.
    """
    tall = profile.top - profile.bottom
    crowded = np.unique(height).size >= 3 and np.ptp(height) <= _TINY_SPAN * tall
    most_outside = float(np.mean(outside)) > 0.5
    found = None
    for other, mm in sorted(MM_PER.items(), key=lambda pair: pair[1]):
        factor = float(mm / MM_PER[unit])
        moved = height * factor
        fits = np.min(moved) >= profile.bottom and np.max(moved) <= profile.top
        spread = factor > 20.0 and np.ptp(moved) >= _LEAST_SPAN * tall
        if other != unit and fits and (most_outside or (crowded and spread)):
            found = other
    return found


#: Readings of a wall whose shell is not known lie in these parts of the design radius.
LEAST, MOST = 0.5, 1.6
#: The median of a sheet outside these parts asks for a cause that explains it.
MEDIAN_LEAST, MEDIAN_MOST = 0.7, 1.6
#: Without a shell, a cut-back is no more than this part of the design radius.
MOST_CUTBACK = 0.6
#: Where so many of the cut-backs are past that, the sheet is asked for a cause.
SOME = 0.2
#: A reading with a standard uncertainty from here on tells nothing, mm.
WORST_SD = 100.0

_ROUNDING = 1e-6  # mm; what changing units may add to a length


def refuse_implausible(sheet: Sheet, design: Design) -> None:
    """Refuse a sheet that cannot be of this lining, with the likely cause.

    Parameters
    ----------
    sheet : Sheet
    design : Design

    Raises
    ------
    InputError
        For heights outside the profile, radii that are not positive, past the shell or
        far from the drawing, the wrong unit or quantity, an sd that is none, and
        readings inside an opening.
    """
    _refuse_heights(sheet, design)
    _refuse_whole(sheet, design)
    _refuse_values(sheet, design)
    _refuse_sd(sheet)
    _refuse_openings(sheet, design)


def design_radius(sheet: Sheet, design: Design) -> Float:
    """Give the design radius at each reading; mm, shape (n,)."""
    profile = design.profile
    return profile.radius_at(np.clip(sheet.height, profile.bottom, profile.top))


def share_of_design(sheet: Sheet, design: Design) -> Float:
    """Give each reading as a part of what the drawing has there; shape (n,).

    A radius as a part of the design radius, a diameter of twice the design radius, a
    cut-back of the design radius.
    """
    drawn = design_radius(sheet, design)
    return sheet.value / (2.0 * drawn if sheet.kind == "diameter" else drawn)


def _refuse_heights(sheet: Sheet, design: Design) -> None:
    profile, height = design.profile, sheet.height
    outside = (height < profile.bottom - _ROUNDING) | (height > profile.top + _ROUNDING)
    between = f"{_said(profile.bottom, sheet.height_unit)} to "
    between += _said(profile.top, sheet.height_unit)
    if unit := diagnose_height_unit(height, outside, sheet.height_unit, profile):
        what = (
            f"the heights look like {unit}, not {sheet.height_unit}: their median is "
            f"{_said(float(np.median(height)), sheet.height_unit)}, the profile "
            f"reaches from {between}"
        )
        cure = f"Name the column height_{unit}, or check length_unit in the design file"
        raise sheet.refuse(what, cure=cure)
    for i in np.flatnonzero(outside):
        said = _said(float(height[i]), sheet.height_unit)
        what = f"height {said} is outside the profile ({between})"
        cure = f"Heights count from: {design.height_zero}. {_again(sheet)}"
        raise sheet.refuse(what, at=int(i), index=sheet.height_index, cure=cure)


def _refuse_sd(sheet: Sheet) -> None:
    sd = sheet.sd
    for i in np.flatnonzero(~np.isnan(sd) & ~((sd > 0.0) & (sd < WORST_SD))):
        what = f"sd {sd[i]:g} mm is not in 0 < sd < {WORST_SD:g} mm"
        cure = "Write the standard uncertainty of the reading, or leave the cell blank"
        raise sheet.refuse(what, at=int(i), index=sheet.sd_index, cure=cure)


def _refuse_openings(sheet: Sheet, design: Design) -> None:
    for opening in design.openings:
        for i in np.flatnonzero(_inside(sheet, design, opening)):
            height = _said(opening.height, sheet.height_unit)
            what = (
                f"this reading lies in the {opening.kind} at azimuth "
                f"{opening.azimuth:g} and height {height}, where there is no wall"
            )
            cure = "Leave it out, or check its azimuth and height"
            raise sheet.refuse(what, at=int(i), cure=cure)


def _inside(sheet: Sheet, design: Design, opening: Opening) -> Bool:
    radius = design.radius_at_opening(opening)
    inside = opening.holds(sheet.azimuth, sheet.height, radius)
    if sheet.kind == "diameter":
        inside |= opening.holds(sheet.azimuth + 180.0, sheet.height, radius)
    return inside


def _refuse_whole(sheet: Sheet, design: Design) -> None:
    """Refuse a sheet whose readings, as a whole, are of another unit or quantity."""
    share = share_of_design(sheet, design)
    median = float(np.median(share))
    if sheet.kind == "cutback":
        suspect = float(np.mean(_too_far(sheet, design))) >= SOME
    else:
        suspect = not MEDIAN_LEAST <= median <= MEDIAN_MOST
    if suspect and (cause := diagnose(share, sheet.kind, sheet.unit)) is not None:
        drawn = "diameter" if sheet.kind == "diameter" else "radius"
        what = (
            f"the readings look like {cause.many}: under {sheet.name} their median is "
            f"{median:.2g} times the design {drawn}"
        )
        cure = f"Name it {cause.name}, or check the radii and length_unit there"
        raise sheet.refuse(what, cure=cure)


def _refuse_values(sheet: Sheet, design: Design) -> None:
    share = share_of_design(sheet, design)
    for i in np.flatnonzero(_too_far(sheet, design)):
        cause = diagnose(share[i : i + 1], sheet.kind, sheet.unit)
        ask = f"Is this {cause.one}? Then name it {cause.name}. " if cause else ""
        if cause is None and not 0.25 < abs(share[i]) < 4.0:
            ask = "Is a digit or the decimal mark wrong? "
        what = _too_far_said(sheet, design, int(i))
        raise sheet.refuse(what, at=int(i), cure=ask + _again(sheet))


def _too_far(sheet: Sheet, design: Design) -> Bool:
    """Tell which readings cannot be of this wall; bool array (n,)."""
    radius = _radius(sheet, design)
    least, most = _limits(sheet, design)
    return (radius <= 0.0) | (radius < least - _ROUNDING) | (radius > most + _ROUNDING)


def _limits(sheet: Sheet, design: Design) -> tuple[Float, Float]:
    """Least and greatest radius the wall can have at each reading; mm, (n,) each."""
    drawn = design_radius(sheet, design)
    least, most = LEAST * drawn, MOST * drawn
    if sheet.kind == "cutback":
        least, most = (1.0 - MOST_CUTBACK) * drawn, (1.0 + MOST_CUTBACK) * drawn
    if design.shell_radius is not None:
        most = np.full_like(drawn, design.shell_radius)
        least = np.zeros_like(drawn) if sheet.kind == "cutback" else least
    return least, most


def _radius(sheet: Sheet, design: Design) -> Float:
    """Radius that each reading says; mm, shape (n,)."""
    if sheet.kind == "cutback":
        return design_radius(sheet, design) + sheet.value
    return sheet.value / (1.0 if sheet.kind == "radius" else 2.0)


def _too_far_said(sheet: Sheet, design: Design, i: int) -> str:
    radius = float(_radius(sheet, design)[i])
    least, most = (float(limit[i]) for limit in _limits(sheet, design))
    drawn = _said(float(design_radius(sheet, design)[i]), sheet.unit)
    said = f"{sheet.kind} {_said(float(sheet.value[i]), sheet.unit)}"
    if sheet.kind != "radius":
        said += f" makes a radius of {_said(radius, sheet.unit)}, which"
    if radius <= 0.0:
        return f"{said} is not greater than 0"
    if radius > most and design.shell_radius is not None:
        shell = _said(design.shell_radius, sheet.unit)
        return f"{said} is past the shell ({shell}; the design radius is {drawn})"
    between = f"{_said(least, sheet.unit)} to {_said(most, sheet.unit)}"
    return f"{said} is not in {between}; the design radius there is {drawn}"


def _again(sheet: Sheet) -> str:
    what = "cell blank" if sheet.wide else "row out"
    return f"Check it against the paper sheet, or leave the {what}"


def _said(mm: float, unit: str) -> str:
    return f"{from_mm(mm, unit):.5g} {unit}"
