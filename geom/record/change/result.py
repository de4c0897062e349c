"""What changed between two surveys of one wall: every number, in one frozen thing."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from geom.document import as_document
from geom.quantity import Quantity
from geom.record.change.volumes import VolumeChange
from geom.record.regions import Kind, Region
from geom.record.store.occasion import Occasion
from geom.shown import Shown
from geom.stats.assumptions import ASSUMED as STATS
from geom.surface import Grid
from geom.units import M2, M3, Bool, Float

SCHEMA = "daubline.change/1"


@dataclass(frozen=True)
class SurveyLabel:
    """Which survey: its title, when it was worked out, and its heat where known."""

    title: str
    created: str
    occasion: Occasion | None

    @property
    def name(self) -> str:
        """What people call it."""
        return self.title if self.occasion is None else self.occasion.words

    def to_dict(self) -> dict[str, Any]:
        """As in ``change.json``."""
        words = None if self.occasion is None else self.occasion.words
        return {"title": self.title, "created": self.created, "occasion": words}


@dataclass(frozen=True)
class RegionChange:
    """One region of wall between the surveys.

    Attributes
    ----------
    area : float, mm2
        Of it that was compared.
    mean : Quantity, mm
        Mean change, positive where lost.
    volume : VolumeChange, mm3
    """

    region: Region
    area: float
    mean: Quantity
    volume: VolumeChange

    def to_dict(self) -> dict[str, Any]:
        """As in ``change.json``, m2 and m3."""
        region = self.region.to_dict()
        del region["kind"]
        if not self.region.name:
            del region["name"]
        return {
            **region,
            "area": self.area * M2,
            "mean_change": self.mean.to_dict(),
            "volume": as_document(self.volume, scale=M3),
        }


@dataclass(frozen=True)
class ChangePeak:
    """Where a shown change is greatest; mm and degrees.

    ``change`` is that of this place, as both surveys know it.
    """

    change: Quantity
    azimuth: float
    height: float


@dataclass(frozen=True)
class Areas:
    """Wall by what can be known of it, mm2.

    Attributes
    ----------
    compared : float
        Surveyed both times, openings left out.
    beyond_lost, beyond_restored : float
        Where change is beyond its own level of detection, each cell by itself.
    shown_lost, shown_restored : float
        Where it is shown, all cells looked at together.
    """

    compared: float
    beyond_lost: float
    beyond_restored: float
    shown_lost: float
    shown_restored: float


@dataclass(frozen=True)
class ChangeMaps(Shown):
    """Gridded results over (m, k) cells.

    Attributes
    ----------
    start, end : array, mm
        Cut-back of each survey; NaN where it did not survey, or an opening.
    change, change_sd : array, mm
        Radius last less radius first; NaN where not compared or an opening.
    significant, shown : int8 array
        1 lost, -1 restored, 0 neither or not compared.
    """

    start: Float
    end: Float
    change: Float
    change_sd: Float
    significant: NDArray[np.int8]
    shown: NDArray[np.int8]

    @property
    def compared(self) -> Bool:
        """Cells surveyed both times."""
        return np.isfinite(self.change)


@dataclass(frozen=True)
class Change(Shown):
    """Everything two surveys tell.  Lengths mm, areas mm2, volumes mm3, degrees.

    Attributes
    ----------
    start, end : SurveyLabel
        The surveys.
    detection : float
        Level of detection at 95 %, the median over the compared wall.
    volume : VolumeChange
        Over all compared wall.
    shown_lost, shown_restored : Quantity
        Of these, where the change is shown.
    regions : tuple of RegionChange
        Whole wall, zones, levels and sides; those with compared wall.
    greatest_loss, greatest_gain : ChangePeak or None
        None where no such change is shown.
    left_out : bool
        Whether there is wall that only one survey reached.
    grid : Grid
        Rows compared are its surveyed ones.
    """

    _units: ClassVar[str] = "mm, mm2, mm3, degrees"

    lining: str
    title: str | None
    created: str
    version: str
    start: SurveyLabel
    end: SurveyLabel
    detection: float
    areas: Areas
    volume: VolumeChange
    shown_lost: Quantity
    shown_restored: Quantity
    regions: tuple[RegionChange, ...]
    greatest_loss: ChangePeak | None
    greatest_gain: ChangePeak | None
    left_out: bool
    grid: Grid
    maps: ChangeMaps

    @property
    def is_reversed(self) -> bool:
        """Whether the first survey is the later one."""
        start, end = self.start.occasion, self.end.occasion
        return start is not None and end is not None and start.place > end.place

    @property
    def is_relined(self) -> bool:
        """Whether the wall was lined anew between the surveys."""
        start, end = self.start.occasion, self.end.occasion
        return start is not None and end is not None and start.campaign != end.campaign

    def of_kind(self, kind: Kind) -> tuple[RegionChange, ...]:
        """The regions of one kind."""
        return tuple(change for change in self.regions if change.region.kind == kind)

    def to_dict(self) -> dict[str, Any]:
        """The document ``change.json`` holds."""
        return {
            "schema": SCHEMA,
            "lining": self.lining,
            "title": self.title,
            "created": self.created,
            "version": self.version,
            "units": {"length": "mm", "area": "m2", "volume": "m3", "angle": "deg"},
            "from": as_document(self.start),
            "to": as_document(self.end),
            "level_of_detection": {
                "confidence": 0.95,
                "typical": self.detection,
                "false_discovery_rate": STATS.false_discovery_rate,
            },
            "area": as_document(self.areas, scale=M2),
            "volume": {
                **as_document(self.volume, scale=M3),
                "shown_lost": as_document(self.shown_lost, scale=M3),
                "shown_restored": as_document(self.shown_restored, scale=M3),
            },
            "mean_change": as_document(self.of_kind("wall")[0].mean),
            "greatest_loss": as_document(self.greatest_loss),
            "greatest_gain": as_document(self.greatest_gain),
            "zones": as_document(self.of_kind("zone")),
            "levels": as_document(self.of_kind("level")),
            "sides": as_document(self.of_kind("side")),
        }
