"""What a recheck found: every level and zone with its decision, and the material."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any, ClassVar, Literal

from geom.compare.extent import Extent
from geom.compare.findings import Diagnostic
from geom.document import AREA, FIRST, MERGED, VOLUME, as_document
from geom.quantity import Quantity
from geom.repair.acceptance.conformity import Decision
from geom.repair.acceptance.material import MaterialBalance
from geom.repair.assumptions import ASSUMED
from geom.repair.audit.taper import TuyereAudit
from geom.repair.plan.daub import DryingSchedule
from geom.shown import Shown

SCHEMA = "daubline.recheck/1"

Verdict = Literal["back on its drawing", "not back", "cannot tell"]


@dataclass(frozen=True)
class CheckPoint:
    """A place on the wall; degrees and mm.

    Attributes
    ----------
    deviation : Quantity or None
        Cut-back there; None where it was not surveyed.
    chance : float or None
        That it is within tolerance.
    """

    azimuth: float
    height: float
    deviation: Quantity | None
    chance: float | None


@dataclass(frozen=True)
class LevelCheck:
    """One horizontal section judged.

    Attributes
    ----------
    height : float, mm
    side : {'', 'below', 'above'}
        Which part is meant at a step of the profile.
    design_diameter : float, mm
    area_diameter : Quantity, mm
    measured : float, 0 to 1
        Share of its ring that was measured.
    deviation : Quantity, mm
        Of the radius of the circle of the section's area.
    chance : float
        That it is within tolerance.
    decision : {'accept', 'reject', 'cannot tell'}
    measure_at : CheckPoint or None
        Where to read once more, where it cannot be decided.
    """

    height: float
    side: str
    design_diameter: float
    area_diameter: Quantity
    measured: float
    deviation: Quantity
    chance: float
    decision: Decision
    measure_at: CheckPoint | None


@dataclass(frozen=True)
class FaceCheck:
    """A piece of face judged.

    Attributes
    ----------
    measured : float, 0 to 1
        Share of it with a reading near enough.
    deviation : Quantity or None, mm
        Mean over what was measured, cut-back positive; None where nothing was.
    deviation_chance : float or None
        That this mean is within tolerance.
    face_share : Quantity or None, 0 to 1
        Of what was measured, within tolerance.
    chance : float or None
        That the mean and enough of what was measured are.
    decision : {'accept', 'reject', 'cannot tell'}
        On the whole piece.
    worst : CheckPoint or None
        Where it least conforms.
    measure_at : CheckPoint or None
        Where to read once more, where it cannot be decided.
    readings : int or None
        About how many readings more, spread over it and as good as these, would decide
        it; None where it is decided, where too little was measured, or where
        `MOST_READINGS` would not.
    """

    measured: float
    deviation: Quantity | None
    deviation_chance: float | None
    face_share: Quantity | None
    chance: float | None
    decision: Decision
    worst: CheckPoint | None
    measure_at: CheckPoint | None
    readings: int | None = None


@dataclass(frozen=True, kw_only=True)
class ZoneCheck(Extent):
    """One zone judged.  Lengths mm, areas mm2, volumes mm3, angles degrees.

    Attributes
    ----------
    id : int
        That of the survey before; of a place found only now, the next numbers.
    action : str
        What was to be done; of a place found only now, what is to be done.
    found_now : bool
        The survey before did not call it.
    moved : MaterialBalance or None
        Material put in and taken off; None where nothing of it was measured, or where
        the survey before did not call it.
    called_for : Quantity or None
        What the survey before called to be put in, or taken off.
    """

    id: int = field(metadata=FIRST)
    action: str = field(metadata=FIRST)
    found_now: bool = field(metadata=FIRST)
    area: float = field(metadata=AREA)
    moved: MaterialBalance | None = None
    called_for: Quantity | None = field(default=None, metadata=VOLUME)
    face: FaceCheck = field(metadata=MERGED)

    @property
    def decision(self) -> Decision:
        """On the whole zone."""
        return self.face.decision

    @property
    def measure_at(self) -> CheckPoint | None:
        """Where to read once more, where it cannot be decided."""
        return self.face.measure_at


@dataclass(frozen=True)
class EdgeCheck:
    """Wall at the edge of an opening, judged from readings near it alone.

    Attributes
    ----------
    readings : int
        That stand near enough.
    measured : float, 0 to 1
        Share of it that they tell of.
    deviation : Quantity or None, mm
        Mean, from the drawing and the lip drawn, cut-back positive.
    chance : float or None
        That it is within tolerance.
    decision : {'accept', 'reject', 'measure'}
        To be measured where readings near it do not decide it.
    """

    readings: int
    measured: float
    deviation: Quantity | None
    chance: float | None
    decision: Literal["accept", "reject", "measure"]


@dataclass(frozen=True)
class OpeningCheck:
    """One opening after the repair.

    Attributes
    ----------
    number : int
        Among those of its kind, in the order of the design file, from 1.
    azimuth : float, degrees
    height : float, mm
        Of its centre.
    size : EdgeCheck
        The wall all about it: where it is back, the opening is no larger than drawn.
    lip : EdgeCheck or None
        The wall next above a tuyere.
    """

    number: int
    kind: str
    azimuth: float
    height: float
    size: EdgeCheck
    lip: EdgeCheck | None


@dataclass(frozen=True)
class MaterialTotals:
    """What was moved in all.

    Attributes
    ----------
    zones : Moved or None
        Over the zones of the survey before; None where there are none to tell of.
    called_for : Quantity or None, mm3
        What the survey before called to be put into those of them that were to be
        daubed or bricked.
    planned : float or None, mm3
        What the repair plan meant to fill, in all zones that it plans.
    wall : Moved
        Over all wall that both surveys cover.
    """

    zones: MaterialBalance | None
    called_for: Quantity | None = field(metadata=VOLUME)
    planned: float | None = field(metadata=VOLUME)
    wall: MaterialBalance


@dataclass(frozen=True)
class Recheck(Shown):
    """Everything a recheck found.

    Attributes
    ----------
    before_title, before_created : str
        Of the survey before the repair.
    tolerance : float, mm
    verdict : {'back on its drawing', 'not back', 'cannot tell'}
    zones : tuple of ZoneCheck
        Those of the survey before, then places found only now.
    left_out : tuple of str
        Where readings are written that were left out of the fit.
    taper : tuple of TuyereAudit
        Given next to the verdict, which it does not enter.
    drying : DryingSchedule or None
        Of the daub that the plan before put on; None where it tells of none.  Nothing
        is released before drying is signed for, on paper, by those who saw to it.
    openings : tuple of OpeningCheck
        In the order of the design file; next to the verdict, which they do not enter.
    """

    _units: ClassVar[str] = "mm, mm2, mm3, degrees"

    lining: str
    title: str
    created: str
    version: str
    before_title: str
    before_created: str
    tolerance: float
    verdict: Verdict
    levels: tuple[LevelCheck, ...]
    zones: tuple[ZoneCheck, ...]
    material: MaterialTotals
    left_out: tuple[str, ...]
    taper: tuple[TuyereAudit, ...]
    drying: DryingSchedule | None
    diagnostics: tuple[Diagnostic, ...]
    openings: tuple[OpeningCheck, ...] = ()

    def _lines(self) -> Iterator[str]:
        yield f"Recheck: {self.verdict}; {self.title}"
        for name, checks in (("zones", self.zones), ("levels", self.levels)):
            counts = Counter(one.decision for one in checks)
            tally = ", ".join(f"{counts[key]} {key}" for key in sorted(counts))
            yield f"{name}: {tally or 'none'}; within {self.tolerance:g} mm"
        yield f"places to measure again: {len([*self.open_points()])}"
        left_out, before = len(self.left_out), self.before_title
        yield f"readings left out: {left_out}; survey before: {before}"

    def open_points(self) -> Iterator[tuple[str, CheckPoint]]:
        """What cannot be decided yet, and where to read for it; zones first."""
        for zone in self.zones:
            if zone.measure_at is not None:
                yield f"zone {zone.id}", zone.measure_at
        for level in self.levels:
            if level.measure_at is not None:
                yield "level", level.measure_at

    def to_dict(self) -> dict[str, Any]:
        """The document ``recheck.json`` holds."""
        return {
            "schema": SCHEMA,
            "lining": self.lining,
            "title": self.title,
            "created": self.created,
            "version": self.version,
            "units": {
                "length": "mm",
                "area": "m2",
                "volume": "m3",
                "angle": "deg",
            },
            "before": {"title": self.before_title, "created": self.before_created},
            "rule": {
                "tolerance": self.tolerance,
                "accept_from": ASSUMED.sure,
                "reject_to": round(1.0 - ASSUMED.sure, 12),
                "face_share": ASSUMED.face_share,
                "reach": ASSUMED.reading_reach,
            },
            "verdict": self.verdict,
            "levels": as_document(self.levels),
            "zones": as_document(self.zones),
            "openings": as_document(self.openings),
            "measure_at": [
                {"for": what} | as_document(place) for what, place in self.open_points()
            ],
            "material": as_document(self.material),
            "left_out": list(self.left_out),
            "taper": as_document(self.taper),
            "released": False,
            "drying": as_document(self.drying),
        }
