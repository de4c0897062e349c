"""What a survey found: every number of it, in one frozen thing."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any, ClassVar, Literal

import numpy as np
from numpy.typing import NDArray

from geom.compare.extent import Extent, Gap
from geom.compare.panels import PanelState
from geom.document import AREA, FIRST, OMITTED, VOLUME, fields_document
from geom.quantity import Quantity
from geom.shown import Shown
from geom.surface.radial import RadialSurface, SurfaceDiagnostic
from geom.units import LITRE, Bool, Float, Int

Action = Literal["leave", "daub", "brick", "chip", "measure again"]

#: Actions in the order of their code in gridded results; code -1 is "no call":
#: not surveyed, or an opening.
ACTIONS: tuple[Action, ...] = ("leave", "daub", "brick", "chip", "measure again")
NO_CALL = -1

SCHEMA = "daubline.findings/1"
#: Units of the document.
UNITS = {"length": "mm", "area": "m2", "volume": "m3", "mass": "kg", "angle": "deg"}


#: What has to be known of a survey: that of its surface, and gaps that are wide.
Diagnostic = SurfaceDiagnostic | Gap


@dataclass(frozen=True)
class ReadingsSummary:
    """How many readings came, how many were left out, and of which kinds."""

    count: int
    rejected: int
    kinds: tuple[str, ...]


@dataclass(frozen=True)
class Surveyed(Shown):
    """Which wall readings tell of.

    Attributes
    ----------
    height_from, height_to : float, mm
        The lowest and the highest of it.
    area : float, mm2
        Openings left out.
    share : float
        Of the wall between those heights, 0 to 1.
    gaps : tuple of Extent
        Wall between them that no reading tells of, piece by piece.
    """

    _units: ClassVar[str] = "mm, mm2"

    height_from: float
    height_to: float
    area: float = field(metadata=AREA)
    share: float = 1.0
    gaps: tuple[Extent, ...] = ()


@dataclass(frozen=True)
class Volume(Shown):
    """Material to put in, standing proud, and their difference; mm3."""

    _units: ClassVar[str] = "mm3"

    rebuild: Quantity
    buildup: Quantity
    net: Quantity


@dataclass(frozen=True)
class Deepest(Shown):
    """The deepest point of the wall, wherever it is.

    Attributes
    ----------
    cutback : Quantity, mm
        Distribution of the greatest cut-back.
    azimuth : float, degrees
    height : float, mm
        Where the best surface is deepest.
    remaining_lining : Quantity or None, mm
        Distribution of the least lining left to the shell; its ``low95`` is what to
        plan on.  None where the design names no shell.
    """

    cutback: Quantity
    azimuth: float
    height: float
    remaining_lining: Quantity | None


@dataclass(frozen=True)
class Level(Shown):
    """One horizontal section.

    Attributes
    ----------
    height : float, mm
    side : {'', 'below', 'above'}
        Which part is meant at a step of the profile.
    design_diameter : float, mm
    area_diameter : Quantity, mm
        Of the circle of the section's area.
    area_change_percent : Quantity
        Of the section's area against the design's.
    centre_offset_x, centre_offset_y : Quantity or None, mm
        Centre of the section's least-squares reference circle, in the design's frame;
        None where the section was not read round.
    out_of_roundness : Quantity or None, mm
        Peak-to-valley deviation from that circle (RONt, ISO 12181-1).
    """

    _units: ClassVar[str] = "mm, %"

    height: float
    side: str
    design_diameter: float
    area_diameter: Quantity
    area_change_percent: Quantity
    centre_offset_x: Quantity | None = None
    centre_offset_y: Quantity | None = None
    out_of_roundness: Quantity | None = None


@dataclass(frozen=True, kw_only=True)
class Zone(Extent):
    """A connected piece of wall with one thing to do; mm, mm2, mm3, degrees.

    ``volume`` is what has to be put in, or for ``chip`` what has to come off.
    """

    id: int = field(metadata=FIRST)
    action: Action = field(metadata=FIRST)
    area: float = field(metadata=AREA)
    volume: Quantity = field(metadata=VOLUME)
    cutback_max: Quantity
    cutback_mean: Quantity


@dataclass(frozen=True)
class BudgetLine:
    """One source of the rebuild volume's uncertainty.

    Attributes
    ----------
    kind : {'A', 'B'}
        JCGM 100:2008, 2.3.2 and 2.3.3: from statistics of the readings, or otherwise.
    sd : float
        Standard uncertainty of the source itself, in ``unit``.
    share_of_volume_variance : float
        All lines add up to 1.
    """

    source: str
    kind: Literal["A", "B"]
    sd: float
    unit: str
    share_of_volume_variance: float


@dataclass(frozen=True)
class DatumPose:
    """Where a cloud's axis was found against the design's; mm and degrees."""

    offset_x: float
    offset_y: float
    tilt_x: float
    tilt_y: float
    sd_offset: float
    sd_tilt: float


@dataclass(frozen=True)
class Maps(Shown):
    """Gridded results, shape (height, azimuth), on the surface's grid.

    Attributes
    ----------
    cutback, cutback_sd : array, mm
        NaN where not surveyed.
    p_brick : array, 0 to 1
        Probability that cut-back exceeds the brick threshold; NaN where not surveyed.
    action : int8 array
        Index into `ACTIONS`, or `NO_CALL`.
    zone : int array
        Zone id, 0 where none.
    """

    cutback: Float
    cutback_sd: Float
    p_brick: Float
    action: NDArray[np.int8]
    zone: Int
    surveyed: Bool


@dataclass(frozen=True)
class Findings(Shown):
    """Everything one survey found.  Lengths mm, areas mm2, volumes mm3, angles degrees.

    `to_dict` gives the pinned ``daubline.findings/1`` document in m2 and m3.  Its
    warnings are the diagnostics in words, where `geom.assess` made it, and ``surface``
    is what it was made from.
    """

    lining: str
    title: str
    created: str
    version: str
    readings: ReadingsSummary
    surveyed: Surveyed
    datum: DatumPose | None
    volume: Volume = field(metadata=VOLUME)
    deepest: Deepest
    levels: tuple[Level, ...]
    zones: tuple[Zone, ...]
    budget: tuple[BudgetLine, ...]
    maps: Maps = field(metadata=OMITTED)
    diagnostics: tuple[Diagnostic, ...] = field(default=(), metadata=OMITTED)
    warnings: tuple[str, ...] = ()
    panels: PanelState | None = field(default=None, metadata=OMITTED)
    surface: RadialSurface | None = field(default=None, compare=False, metadata=OMITTED)

    def _lines(self) -> Iterator[str]:
        litres = {
            name: format(getattr(self.volume, name).times(1.0 / LITRE), "L")
            for name in ("rebuild", "buildup")
        }
        deepest, counts = self.deepest, Counter(zone.action for zone in self.zones)
        zones = ", ".join(f"{counts[name]} {name}" for name in ACTIONS if counts[name])
        yield f"Findings of {self.title}: {self.lining}"
        yield f"rebuild {litres['rebuild']}, build-up {litres['buildup']}"
        yield (
            f"deepest {deepest.cutback:mm} at {deepest.azimuth:.0f} degrees, "
            f"{deepest.height:.0f} mm up"
        )
        yield f"zones: {zones or 'none'}; levels: {len(self.levels)}"
        count = self.readings.count
        yield f"readings: {count}; things to mind: {len(self.diagnostics)}"

    def of_action(self, action: Action) -> tuple[Zone, ...]:
        """The zones with one thing to do."""
        return tuple(zone for zone in self.zones if zone.action == action)

    def to_dict(self) -> dict[str, Any]:
        """The document ``findings.json`` holds."""
        document = fields_document(self)
        head = ("lining", "title", "created", "version")
        return {
            "schema": SCHEMA,
            **{name: document.pop(name) for name in head},
            "units": dict(UNITS),
            **document,
        }
