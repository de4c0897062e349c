"""Rod readings: what was read, where, and how well; nothing inferred.

Bands of wall known to be sound, given to the model as if they had been read.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Literal

import numpy as np

from geom.design import DatumBand, Design
from geom.errors import InputError
from geom.readings.assumptions import ASSUMED
from geom.shown import Shown
from geom.units import Float, Int

RodKind = Literal["radius", "diameter", "cutback"]
#: Most rod readings of one survey.
MOST_READINGS = 20_000
#: Fields of `RodReadings` with an entry for each reading.
_NUMBERS, _TEXTS = (
    ("azimuth", "height", "value", "sd", "step"),
    ("kind", "place", "note"),
)


@dataclass(frozen=True)
class Unreachable:
    """Stations that nobody could reach, u of them.

    Attributes
    ----------
    azimuth : array (u,), degrees in [0, 360)
    height : array (u,), mm above the design's height zero
    """

    azimuth: Float
    height: Float


NONE_UNREACHABLE = Unreachable(np.zeros(0), np.zeros(0))


@dataclass(frozen=True)
class RodReadings(Shown):
    """Readings of one survey, in the order written down.

    Attributes
    ----------
    kind : tuple of str, length n
        ``"radius"``, ``"diameter"`` (rod across the axis: the sum of the radii at
        azimuth and azimuth + 180) or ``"cutback"``.
    azimuth : array (n,), degrees in [0, 360)
    height : array (n,), mm above the design's height zero
    value : array (n,), mm
    sd : array (n,), mm
        Standard uncertainty where the sheet states it, else NaN.
    step : array (n,), mm
        Finest division the sheet is written in (1/8 in gives 3.175).
    place : tuple of str, length n
        File and row (and column) of each, for messages.
    note : tuple of str, length n
    no_access : Unreachable
        Stations that nobody could reach; they are no readings.
    in_openings : tuple of str
        Where readings are written that were left out: their stations are of a grid
        that runs over openings.
    common : mapping of str to array (n, c), mm
        Errors that readings share besides their own, by the name of their source: what
        one standard uncertainty of each of c does to every reading.
    """

    kind: tuple[RodKind, ...]
    azimuth: Float
    height: Float
    value: Float
    sd: Float
    step: Float
    place: tuple[str, ...]
    note: tuple[str, ...]
    no_access: Unreachable = field(default_factory=lambda: NONE_UNREACHABLE)
    in_openings: tuple[str, ...] = ()
    common: Mapping[str, Float] = field(default_factory=dict)

    def _lines(self) -> Iterator[str]:
        yield f"RodReadings: {len(self)} ({', '.join(self.kinds) or 'none'})"
        if len(self):
            yield (
                f"heights {self.height.min():.0f} to {self.height.max():.0f} mm, "
                f"values {self.value.min():.1f} to {self.value.max():.1f} mm"
            )
            stated = int(np.isfinite(self.sd).sum())
            yield f"{stated} with an sd of their own; read to {self.step.min():.3g} mm"
        if shut := self.no_access.azimuth.size:
            yield f"{shut} stations without access"

    def __len__(self) -> int:
        return len(self.kind)

    @property
    def rod(self) -> RodReadings:
        """The rod readings of the survey: these; as of `CloudReadings`."""
        return self

    @property
    def kinds(self) -> list[str]:
        """As ``findings.json`` names them, each once."""
        return [f"rod {kind}" for kind in dict.fromkeys(self.kind)]

    @property
    def stations(self) -> tuple[Float, Float]:
        """Azimuth (degrees) and height (mm) of every place touched; two arrays (q,).

        A diameter touches two; its far ends come after all readings.
        """
        across = self.is_kind("diameter")
        azimuth = np.append(self.azimuth, (self.azimuth[across] + 180.0) % 360.0)
        return azimuth, np.append(self.height, self.height[across])

    def is_kind(self, kind: RodKind) -> np.ndarray:
        """Which readings are of a kind; bool array (n,)."""
        return np.array([k == kind for k in self.kind], dtype=bool)

    def canonical_order(self) -> Int:
        """An order that the rows of a sheet have no part in; int array (n,).

        By height, value, azimuth, kind and sd, lengths to a nanometre, so that neither
        a turn of azimuth zero nor a change of unit alters it but among readings alike.
        """
        kinds = np.array(self.kind)
        keys = (self.sd, kinds, self.azimuth, self.value, self.height)
        rounded = (key if key.dtype.kind == "U" else np.round(key, 6) for key in keys)
        return np.lexsort(tuple(rounded)).astype(np.int64)

    def take(self, rows: Int) -> RodReadings:
        """Some of the readings, in the order of ``rows``; int array."""
        parts: dict[str, Any] = {
            **{name: getattr(self, name)[rows] for name in _NUMBERS},
            **{name: tuple(getattr(self, name)[k] for k in rows) for name in _TEXTS},
        }
        common = {name: table[rows] for name, table in self.common.items()}
        return replace(self, **parts, common=common)

    def joined(self, other: RodReadings) -> RodReadings:
        """These and others as one survey."""
        from scipy.linalg import block_diag

        both: dict[str, Any] = {
            **{
                name: np.append(getattr(self, name), getattr(other, name))
                for name in _NUMBERS
            },
            **{name: getattr(self, name) + getattr(other, name) for name in _TEXTS},
        }
        no_access = Unreachable(
            np.append(self.no_access.azimuth, other.no_access.azimuth),
            np.append(self.no_access.height, other.no_access.height),
        )
        # what the readings of one survey share is not what those of the other do
        common = {
            name: block_diag(self._common(name), other._common(name))
            for name in {**self.common, **other.common}
        }
        return RodReadings(
            **both,
            no_access=no_access,
            in_openings=self.in_openings + other.in_openings,
            common=common,
        )

    def _common(self, name: str) -> Float:
        return self.common.get(name, np.zeros((len(self), 0)))


def refuse_too_many(count: int, file: str | None) -> None:
    """Refuse more readings than a survey by rod may have.

    Raises
    ------
    InputError
        If there are more than `MOST_READINGS`.
    """
    if count > MOST_READINGS:
        raise InputError(
            f"there are more than {MOST_READINGS:,} rod readings",
            file=file,
            cure="Survey with fewer; points of a scan are a cloud: save them as "
            "x, y, z in a .xyz, .ply or .las file",
        )


_AZIMUTHS = 12
_CUTBACK: tuple[RodKind, ...] = ("cutback",)
_ROW = 150.0


def pseudo_readings(design: Design, readings: RodReadings) -> RodReadings:
    """Stand-ins for readings of the datum bands that the readings do not belie.

    Each says that cut-back is 0 with a standard uncertainty of `sound_band_sd`.
    """
    bands = [b for b in design.datum_bands if not is_unreliable(b, design, readings)]
    heights = [
        np.linspace(b.low, b.high, 1 + max(1, int(np.ceil((b.high - b.low) / _ROW))))
        for b in bands
    ]
    height = np.repeat(np.concatenate([*heights, np.zeros(0)]), _AZIMUTHS)
    around = np.arange(_AZIMUTHS) * 360.0 / _AZIMUTHS
    n = height.size
    return RodReadings(
        kind=_CUTBACK * n,
        azimuth=np.tile(around, n // _AZIMUTHS),
        height=height,
        value=np.zeros(n),
        sd=np.full(n, ASSUMED.sound_band_sd),
        step=np.zeros(n),
        place=("datum band",) * n,
        note=("",) * n,
    )


def is_unreliable(band: DatumBand, design: Design, readings: RodReadings) -> bool:
    """Whether readings in a band say that its wall is not on the drawing.

    The median is taken so that a rod off the axis, which reads as much long on one side
    as short on the other, does not make a band doubtful.
    """
    inside = (readings.height >= band.low) & (readings.height <= band.high)
    off = cutback_of_each(readings, design)[inside]
    return bool(off.size >= 3 and abs(float(np.median(off))) > ASSUMED.unreliable_band)


def cutback_of_each(readings: RodReadings, design: Design) -> Float:
    """Cut-back as each reading tells it by itself, mm; a diameter the mean of two."""
    design_radius = design.profile.radius_at(readings.height)
    across = readings.is_kind("diameter")
    radius = readings.is_kind("radius")
    return np.select(
        [across, radius],
        [0.5 * readings.value - design_radius, readings.value - design_radius],
        readings.value,
    )
