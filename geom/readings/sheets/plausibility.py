"""Whether a sheet can be of this lining; what cannot is refused, never corrected.

A reading that could be true stays, however odd: a single misread inside the shell is
for the fit to find.  Why numbers do not fit the drawing is the one slip of unit or
quantity that explains them best.  The limits are our own choice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from geom.design import Design, Opening, Profile
from geom.errors import InputError, Report, raise_fault
from geom.readings.assumptions import ASSUMED
from geom.readings.rod import RodKind
from geom.readings.sheets.sheet import Sheet
from geom.readings.sheets.table import SheetRow
from geom.units import MM_PER, UNIT_NAMES, Bool, Float, from_mm

_ROUNDING = 1e-6  # mm; what changing units may add to a length


def refuse_implausible(
    sheet: Sheet, design: Design, *, report: Report = raise_fault
) -> None:
    """Refuse a sheet that cannot be of this lining, with the likely cause.

    Raises
    ------
    InputError
        For hours typed as degrees, heights outside the profile, radii that are not
        positive, past the shell or far from the drawing, the wrong unit or quantity, an
        sd that is none, and readings inside an opening.
    """
    for fault in _faults(sheet, design):
        report(fault)


def _faults(sheet: Sheet, design: Design) -> Iterator[InputError]:
    """All that is wrong; nothing that follows from what is wrong already."""
    hours = list(_hours_faults(sheet))
    yield from hours
    if hours:
        return
    yield from _heights_faults(sheet, design)
    whole = list(_whole_faults(sheet, design))
    yield from whole
    if not whole:
        yield from _values_faults(sheet, design)
    yield from _sd_faults(sheet)
    yield from _openings_faults(sheet, design)


def leave_out_openings(
    sheet: Sheet, design: Design
) -> tuple[Sheet, list[tuple[str, SheetRow, int]]]:
    """Leave out stations of a regular grid that fall into openings: there is no wall.

    Any other reading in an opening is a slip of place, and stays to be refused.

    Returns
    -------
    Sheet
        Without them.
    list of (words, row, column)
        What was left out, and where it stands.
    """
    inside = np.array([_inside(sheet, design, hole) for hole in design.openings])
    if not inside.size:
        return sheet, []
    gone = np.flatnonzero(inside.any(axis=0) & _on_grid(sheet)).tolist()
    left_out = [
        (
            "this station lies in the "
            f"{design.openings[int(np.argmax(inside[:, i]))].kind}, where there is no "
            "wall: its reading is left out",
            sheet.readings[i].row,
            sheet.readings[i].index,
        )
        for i in gone
    ]
    kept = tuple(r for i, r in enumerate(sheet.readings) if i not in set(gone))
    return (replace(sheet, readings=kept) if kept else sheet), left_out


def _on_grid(sheet: Sheet) -> Bool:
    """Which readings stand at heights and azimuths of others, in rows and columns."""
    if sheet.wide:
        return np.ones(len(sheet.readings), dtype=bool)
    alike = [
        counts[which] > ASSUMED.least_alike
        for values in (sheet.azimuth, sheet.height)
        for _, which, counts in [
            np.unique(np.round(values, 6), return_inverse=True, return_counts=True)
        ]
    ]
    return alike[0] & alike[1]


def design_radius(sheet: Sheet, design: Design) -> Float:
    """Give the design radius at each reading; mm, shape (n,)."""
    profile = design.profile
    return profile.radius_at(np.clip(sheet.height, profile.bottom, profile.top))


def ratio_to_design(sheet: Sheet, design: Design) -> Float:
    """Give each reading as a part of what the drawing has there; shape (n,).

    A radius as a part of the design radius, a diameter of twice the design radius, a
    cut-back of the design radius.
    """
    designed = design_radius(sheet, design)
    return sheet.value / (2.0 * designed if sheet.kind == "diameter" else designed)


def _hours_faults(sheet: Sheet) -> Iterator[InputError]:
    """Refuse azimuths that go from 1 to 12 by whole numbers: hours of the clock."""
    values = np.unique(sheet.azimuth)
    hours = (values >= 1.0) & (values <= 12.0) & (values == np.round(values))
    if values.size < ASSUMED.least_hours or not hours.all():
        return
    what = (
        f"hours? All azimuths are whole numbers from {values[0]:.0f} to "
        f"{values[-1]:.0f}: as degrees that is {values[-1] - values[0]:.0f}° of the "
        "ring"
    )
    so = "write the heads as 3 o'clock" if sheet.wide else "name the column clock"
    cure = (
        f"If they are hours, {so}; if not, write degrees from 0 to 360 (30 to an hour)"
    )
    yield sheet.error(what, cure=cure)


def _heights_faults(sheet: Sheet, design: Design) -> Iterator[InputError]:
    profile, height = design.profile, sheet.height
    outside = (height < profile.bottom - _ROUNDING) | (height > profile.top + _ROUNDING)
    between = f"{_length(profile.bottom, sheet.height_unit)} to "
    between += _length(profile.top, sheet.height_unit)
    if unit := diagnose_height_unit(height, outside, sheet.height_unit, profile):
        what = (
            f"the heights look like {unit}, not {sheet.height_unit}: their median is "
            f"{_length(float(np.median(height)), sheet.height_unit)}, the profile "
            f"reaches from {between}"
        )
        cure = f"Name the column height_{unit}, or check length_unit in the design file"
        yield sheet.error(what, cure=cure)
        return
    for i in np.flatnonzero(outside):
        written = _length(float(height[i]), sheet.height_unit)
        what = f"height {written} is outside the profile ({between})"
        cure = f"Heights count from: {design.height_zero}. {_check_again(sheet)}"
        yield sheet.error(what, at=int(i), index=sheet.height_index, cure=cure)


def _sd_faults(sheet: Sheet) -> Iterator[InputError]:
    sd, least, most = sheet.sd, ASSUMED.finest_sd, ASSUMED.coarsest_sd
    for i in np.flatnonzero(~np.isnan(sd) & ~((sd >= least) & (sd < most))):
        what = f"sd {sd[i]:g} mm is not in {least:g} <= sd < {most:g} mm"
        cure = "Write the standard uncertainty of the reading, or leave the cell blank"
        yield sheet.error(what, at=int(i), index=sheet.sd_index, cure=cure)


def _openings_faults(sheet: Sheet, design: Design) -> Iterator[InputError]:
    for opening in design.openings:
        for i in np.flatnonzero(_inside(sheet, design, opening)):
            height = _length(opening.height, sheet.height_unit)
            what = (
                f"this reading lies in the {opening.kind} at azimuth "
                f"{opening.azimuth:g} and height {height}, where there is no wall"
            )
            cure = "Leave it out, or check its azimuth and height"
            yield sheet.error(what, at=int(i), cure=cure)


def _inside(sheet: Sheet, design: Design, opening: Opening) -> Bool:
    radius = design.radius_at_opening(opening)
    inside = opening.holds(sheet.azimuth, sheet.height, radius)
    if sheet.kind == "diameter":
        inside |= opening.holds(sheet.azimuth + 180.0, sheet.height, radius)
    return inside


def _whole_faults(sheet: Sheet, design: Design) -> Iterator[InputError]:
    """Refuse a sheet whose readings, as a whole, are of another unit or quantity."""
    ratio = ratio_to_design(sheet, design)
    median = float(np.median(ratio))
    if sheet.kind == "cutback":
        suspect = float(np.mean(_impossible(sheet, design))) >= ASSUMED.impossible_share
    else:
        suspect = (
            not ASSUMED.least_median_share <= median <= ASSUMED.greatest_median_share
        )
    if suspect and (diagnosis := diagnose(ratio, sheet.kind, sheet.unit)) is not None:
        drawn = "diameter" if sheet.kind == "diameter" else "radius"
        what = (
            f"the readings look like {diagnosis.plural}: under {sheet.column} their "
            f"median is {median:.2g} times the design {drawn}"
        )
        cure = f"Name it {diagnosis.column}, or check the radii and length_unit there"
        yield sheet.error(what, cure=cure)


def _values_faults(sheet: Sheet, design: Design) -> Iterator[InputError]:
    ratio = ratio_to_design(sheet, design)
    for i in np.flatnonzero(_impossible(sheet, design)):
        diagnosis = diagnose(ratio[i : i + 1], sheet.kind, sheet.unit)
        ask = (
            f"Is this {diagnosis.singular}? Then name it {diagnosis.column}. "
            if diagnosis
            else ""
        )
        if diagnosis is None and not 0.25 < abs(ratio[i]) < 4.0:
            ask = "Is a digit or the decimal mark wrong? "
        what = _describe(sheet, design, int(i))
        yield sheet.error(what, at=int(i), cure=ask + _check_again(sheet))


def _impossible(sheet: Sheet, design: Design) -> Bool:
    """Tell which readings cannot be of this wall; bool array (n,)."""
    radius = _radius(sheet, design)
    least, most = _limits(sheet, design)
    return (radius <= 0.0) | (radius < least - _ROUNDING) | (radius > most + _ROUNDING)


def _limits(sheet: Sheet, design: Design) -> tuple[Float, Float]:
    """Least and greatest radius the wall can have at each reading; mm, (n,) each."""
    designed = design_radius(sheet, design)
    least, most = (
        ASSUMED.least_radius_share * designed,
        ASSUMED.greatest_radius_share * designed,
    )
    if sheet.kind == "cutback":
        least, most = (
            (1.0 - ASSUMED.greatest_cutback_share) * designed,
            (1.0 + ASSUMED.greatest_cutback_share) * designed,
        )
    if design.shell_radius is not None:
        most = np.full_like(designed, design.shell_radius)
        least = np.zeros_like(designed) if sheet.kind == "cutback" else least
    return least, most


def _radius(sheet: Sheet, design: Design) -> Float:
    """Radius that each reading says; mm, shape (n,)."""
    if sheet.kind == "cutback":
        return design_radius(sheet, design) + sheet.value
    return sheet.value / (1.0 if sheet.kind == "radius" else 2.0)


def _describe(sheet: Sheet, design: Design, i: int) -> str:
    radius = float(_radius(sheet, design)[i])
    least, most = (float(limit[i]) for limit in _limits(sheet, design))
    designed = _length(float(design_radius(sheet, design)[i]), sheet.unit)
    found = f"{sheet.kind} {_length(float(sheet.value[i]), sheet.unit)}"
    if sheet.kind != "radius":
        found += f" makes a radius of {_length(radius, sheet.unit)}, which"
    if radius <= 0.0:
        return f"{found} is not greater than 0"
    if radius > most and design.shell_radius is not None:
        shell = _length(design.shell_radius, sheet.unit)
        return f"{found} is past the shell ({shell}; the design radius is {designed})"
    between = f"{_length(least, sheet.unit)} to {_length(most, sheet.unit)}"
    return f"{found} is not in {between}; the design radius there is {designed}"


def _check_again(sheet: Sheet) -> str:
    what = "cell blank" if sheet.wide else "row out"
    return f"Check it against the paper sheet, or leave the {what}"


def _length(mm: float, unit: str) -> str:
    return f"{from_mm(mm, unit):.5g} {unit}"


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
        abs(np.log(median * factor / ASSUMED.usual_ratio)) if median > 0 else np.inf
        for factor, _ in slips
    ]
    best = int(np.argmin(off))
    if off[best] < np.log(ASSUMED.unit_factor):
        return slips[best][1]
    if median < ASSUMED.radius_of_bore:
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
    crowded = np.unique(height).size >= 3 and np.ptp(height) <= ASSUMED.tiny_span * tall
    most_outside = float(np.mean(outside)) > 0.5
    best = None
    for other, mm in sorted(MM_PER.items(), key=lambda pair: pair[1]):
        factor = float(mm / MM_PER[unit])
        moved = height * factor
        fits = np.min(moved) >= profile.bottom and np.max(moved) <= profile.top
        spread = factor > 20.0 and np.ptp(moved) >= ASSUMED.height_span * tall
        if other != unit and fits and (most_outside or (crowded and spread)):
            best = other
    return best
