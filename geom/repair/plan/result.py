"""A repair plan: every zone with what is done there, the order list, the account.

What a mason has to know next to the numbers of a plan, as facts.

`geom.views.tables.repair` words them.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any, Literal

from geom.compare.extent import Extent
from geom.compare.findings import Action
from geom.document import AREA, FIRST, OMITTED, VOLUME, fields_document
from geom.quantity import Quantity
from geom.repair.masonry.layup import LayUp
from geom.repair.plan.chipping import Chipping
from geom.repair.plan.daub import Daub
from geom.repair.plan.openings import OpeningWork
from geom.repair.plan.order import OrderLine
from geom.shown import Shown
from geom.units import LITRE, Float, Int


@dataclass(frozen=True)
class NoBrickFits:
    """A brick zone that is daubed: in so many ``layers``, since no brick fits it."""

    layers: int


@dataclass(frozen=True)
class LayerLimit:
    """Daub that is thicker than one layer may be; ``layer_most`` in mm."""

    layer_most: float


@dataclass(frozen=True)
class OpeningMet:
    """An opening that the zone reaches; ``azimuth`` in degrees."""

    kind: str
    azimuth: float


@dataclass(frozen=True)
class StepMet:
    """A step of the profile within the zone; ``height`` in mm."""

    height: float


@dataclass(frozen=True)
class BackFill:
    """Daub that goes in behind the brick first; ``thickness`` in mm at most."""

    thickness: float


@dataclass(frozen=True)
class ChipFirst:
    """Something stands proud of the drawing where brick is to go."""


ZoneNote = NoBrickFits | LayerLimit | OpeningMet | StepMet | BackFill | ChipFirst


@dataclass(frozen=True)
class NotPlanned:
    """A zone of the findings that the plan leaves.

    Attributes
    ----------
    reason : str
        Why: it is not settled, or other brickwork takes it up.
    volume : float, mm3
        Expected, that is gone there.
    """

    zone: int
    reason: Literal["measure again", "taken up"]
    volume: float = field(metadata=VOLUME)


SCHEMA = "daubline.repair/1"


@dataclass(frozen=True, kw_only=True)
class ZonePlan(Extent):
    """What is done in one zone.  Lengths mm, areas mm2, volumes mm3, degrees.

    The extent is that of the work: of a brick zone, with what its bricks take.

    Attributes
    ----------
    id : int
        As in the findings.
    deepest : float
        Cut-back of the best surface where it is greatest; 0 at least.
    rebuild, buildup : float
        Expected volumes gone, and standing proud, in what is the zone's own.
    chip : Chipping or None
        Of a chip zone, and of a brick zone on which something stands proud.
    cut : Quantity or None
        Sound lining cut out for the brickwork.
    share : array (m, k)
        Of each cell, that is the zone's own.
    """

    id: int = field(metadata=FIRST)
    action: Action = field(metadata=FIRST)
    area: float = field(metadata=AREA)
    deepest: float
    rebuild: float = field(metadata=VOLUME)
    buildup: float = field(metadata=VOLUME)
    chip: Chipping | None
    brickwork: LayUp | None
    cut: Quantity | None = field(metadata=VOLUME)
    daub: Daub | None
    notes: tuple[ZoneNote, ...]
    share: Float = field(repr=False, compare=False, metadata=OMITTED)

    @property
    def work(self) -> Action:
        """What is done: daub where brick is called for and none fits."""
        if self.action == "brick" and self.brickwork is None:
            return "daub"
        return self.action

    @property
    def settled(self) -> bool:
        """Whether it is known what goes in."""
        return self.chip is not None or self.daub is not None


@dataclass(frozen=True)
class Account:
    """Where every volume goes, mm3; `geom.repair.plan.plan` says what each is.

    Attributes
    ----------
    rebuild, buildup : float
        Of the whole surveyed wall, expected.
    left, proud : float
        Of these, what the plan leaves as it is.
    chip : float
        Taken off: all of ``buildup`` but ``proud``.
    cut : float
        Sound lining cut out.
    before : float
        Brickwork before the drawn face.
    bricks, joints, daub : float
        Put in.
    """

    rebuild: float
    buildup: float
    left: float
    proud: float
    chip: float
    cut: float
    before: float
    bricks: float
    joints: float
    daub: float

    @property
    def put_in(self) -> float:
        """All that goes in, mm3."""
        return self.bricks + self.joints + self.daub


@dataclass(frozen=True)
class RepairPlan(Shown):
    """What to do about a wall.

    Attributes
    ----------
    zones : tuple of ZonePlan
        In order of work: chip, top down; brick, then daub, bottom up.
    daub : Daub
        Of all zones together.
    openings : tuple of OpeningWork
        Every opening of the drawing, in the order of the design file; no part of the
        zones, their daub or the account.
    confidence : float
        Chance that what is ordered is enough.
    notes : tuple of NotPlanned
        Zones that the plan leaves.
    owner : int array (m, k)
        Zone that holds most of each cell, 0 where none does.
    """

    lining: str
    title: str
    zones: tuple[ZonePlan, ...]
    daub: Daub
    openings: tuple[OpeningWork, ...]
    order: tuple[OrderLine, ...]
    confidence: float
    account: Account = field(metadata=VOLUME)
    notes: tuple[NotPlanned, ...]
    owner: Int = field(repr=False, compare=False, metadata=OMITTED)

    def _lines(self) -> Iterator[str]:
        account = self.account
        yield f"RepairPlan of {self.title}: {self.lining}; {len(self.zones)} zones"
        yield (
            f"put in {account.put_in / LITRE:.1f} L: bricks "
            f"{account.bricks / LITRE:.1f} L, joints {account.joints / LITRE:.1f} L, "
            f"daub {account.daub / LITRE:.1f} L"
        )
        off, out = account.chip / LITRE, account.cut / LITRE
        yield f"chip off {off:.1f} L, cut out {out:.1f} L of sound lining"
        lines = [f"{one.material} {one.packs}" for one in self.order if one.packs]
        yield f"to buy, in packs: {', '.join(lines) or 'nothing'}"

    def of_action(self, action: Action) -> tuple[ZonePlan, ...]:
        """The zones with one thing to do."""
        return tuple(zone for zone in self.zones if zone.action == action)

    def to_dict(self) -> dict[str, Any]:
        """Lengths mm, areas m2, volumes m3, masses kg, water litres."""
        return {"schema": SCHEMA, **fields_document(self)}
