"""How wear is worded: rates, what they are stated per, iron, material and patterns."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geom.design import Design
from geom.frame import clock_face
from geom.quantity import Quantity
from geom.record.assumptions import ASSUMED as RECORD
from geom.record.wear.ovality import Harmonic, Harmonics
from geom.record.wear.series import Exposure
from geom.units import CUBIC_FOOT, KG_PER, LITRE, as_fraction, from_mm
from geom.views.say import figures, metric_words

#: A rate is rounded to a fraction of an inch by no more than this part of it.
_ROUNDED_BY = 0.08


@dataclass(frozen=True)
class Per:
    """What wear is stated for: so much of it that numbers have digits people read.

    Attributes
    ----------
    words : str
        ``heat``, ``10 hours`` or ``100 short tons``.
    times : float
        So many heats, hours or tonnes.
    """

    words: str
    times: float


def per_exposure(by: Exposure, mass_unit: str = "t") -> Per:
    """A heat, ten hours on blast, or a hundred tons as the shop states its iron.

    Examples
    --------
    >>> per_exposure("tonne", "short ton")
    Per(words='100 short tons', times=90.718474)
    >>> per_exposure("tonne", "lb").words, per_exposure("hour")
    ('100,000 lb', Per(words='10 hours', times=10.0))
    """
    if by != "tonne":
        return Per("heat", 1.0) if by == "heat" else Per("10 hours", 10.0)
    light = mass_unit in ("lb", "kg")
    count = 100_000 if light else 100
    name = {"t": "tonnes"}.get(mass_unit, mass_unit if light else f"{mass_unit}s")
    return Per(f"{count:,} {name}", float(count * KG_PER[mass_unit]) / 1000.0)


def say_iron(tonnes: float, mass_unit: str) -> str:
    """An amount of iron in the unit that the shop states it in.

    Examples
    --------
    >>> say_iron(45.359237, "short ton"), say_iron(9.34, "t")
    ('50 short tons', '9.34 tonnes')
    """
    amount = tonnes * 1000.0 / float(KG_PER[mass_unit])
    words = f"{amount:,.0f}" if amount >= 10.0 else f"{amount:.3g}"
    plural = {"t": "tonnes"}.get(
        mass_unit, mass_unit + "s" * (mass_unit not in ("lb", "kg"))
    )
    return f"{words} {plural}"


def say_rate(wear: Quantity, design: Design) -> tuple[str, str]:
    """Wear and its 95 % interval, as the shop says them, mm after it.

    Inches go in eighths, finer only where eighths would be far off or the ends of the
    interval come to one; what thirty-seconds do not part is stated in mm alone, and
    what is less than a sixteenth and between them in decimals.
    """
    unit = design.length_unit
    parts = (wear.value, wear.low95, wear.high95)
    value, low, high = metric_words(parts, _digits(wear.high95 - wear.low95), "mm")
    metric = f"{low} to {high} mm"
    if unit == "mm":
        return f"{value} mm", metric
    own, low, high = _own_words(parts, unit)
    interval = f"{low} to {high} {unit} ({metric})" if low != high else metric
    return f"{own} {unit} ({value} mm)", interval


def _own_words(parts: tuple[float, float, float], unit: str) -> list[str]:
    """Value and ends in the shop's unit, without it."""
    inches = [from_mm(part, "in") for part in parts]
    if unit != "in":
        width = from_mm(parts[2] - parts[1], unit)
        return metric_words(parts, _digits(width), unit)
    finer = [
        (division, [as_fraction(part, finest=division) for part in inches])
        for division in (8, 16, 32)
    ]
    near = [
        words
        for division, words in finer
        if abs(round(inches[0] * division) / division - inches[0])
        <= _ROUNDED_BY * abs(inches[0])
        or (division == 32 and abs(inches[0]) >= 1.0 / 16.0)
    ]
    if not near:
        return metric_words(parts, _digits(inches[2] - inches[1]), "in")
    return next((words for words in near if words[1] != words[2]), near[0])


def _digits(width: float) -> int:
    """Digits after the point that tell the ends of an interval apart, at most 3."""
    if not 0.0 < width < np.inf:
        return 2
    return int(np.clip(np.ceil(-np.log10(0.5 * width)), 0, 3))


def say_percent(ratio: Quantity) -> tuple[str, str]:
    """How much more or less, and its 95 % interval.

    Examples
    --------
    >>> say_percent(Quantity(0.82, 0.06, 0.70, 0.95))
    ('18 % less', '5 to 30 % less')
    >>> say_percent(Quantity(1.04, 0.06, 0.92, 1.16))
    ('4 % more', '8 % less to 16 % more')
    """
    value, low, high = (
        round(100.0 * (part - 1.0)) for part in (ratio.value, ratio.low95, ratio.high95)
    )
    if low >= 0:
        interval = f"{low} to {high} % more"
    elif high <= 0:
        interval = f"{-high} to {-low} % less"
    else:
        interval = f"{-low} % less to {high} % more"
    return f"{abs(value)} % {'less' if value < 0 else 'more'}", interval


def say_material(volume: Quantity, design: Design) -> tuple[str, str]:
    """Volume for each heat, hour or tonne, and its 95 % interval.

    ``('0.021 ft³ (0.596 L)', '0.018 to 0.024 ft³ (0.51 to 0.68 L)')`` in inches.
    """
    parts = (volume.value, volume.low95, volume.high95)
    value, low, high = (figures(part / LITRE) for part in parts)
    if design.length_unit != "in":
        return f"{value} L", f"{low} to {high} L"
    feet, least, most = (f"{part / CUBIC_FOOT:.3g}" for part in parts)
    return f"{feet} ft³ ({value} L)", f"{least} to {most} ft³ ({low} to {high} L)"


def say_harmonics(found: Harmonics, design: Design) -> str:
    """How wear lies round one zone: to one side, oval, with the tuyeres."""
    if found.spells < RECORD.harmonic_spells:
        spells = found.spells
        return f"too few spells of wear to tell how it lies round the wall ({spells})"
    words = [_say_harmonic(harmonic, design) for harmonic in found.harmonics]
    if found.tuyeres is not None:
        more = "more" if found.tuyeres.value > 0.0 else "less"
        words.append(
            f"wears {more} in front of the tuyeres than between them, by "
            f"{_say_amplitude(found.tuyeres, design)} a heat"
        )
    return "; ".join(words) or "no side wears more than another as far as surveys tell"


def _say_harmonic(harmonic: Harmonic, design: Design) -> str:
    amplitude = _say_amplitude(harmonic.amplitude, design)
    peak, low, opposite = (
        clock_face(harmonic.azimuth + turned, design.azimuth_sense)
        for turned in (0.0, 180.0 / harmonic.order, 180.0)
    )
    if harmonic.order == 1:
        return f"wears more at {peak}: {amplitude} a heat over the mean; least at {low}"
    return (
        f"wears oval: {amplitude} a heat over the mean at {peak} and {opposite}, "
        "least across"
    )


def _say_amplitude(quantity: Quantity, design: Design) -> str:
    """A size with its 95 % interval."""
    value, low, high = quantity.value, quantity.low95, quantity.high95
    if value < 0.0:
        quantity = Quantity(-value, quantity.sd, -high, -low)
    size, interval = say_rate(quantity, design)
    return f"{size}, 95 %: {interval},"
