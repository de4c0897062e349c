"""What repairs took, by the plans that they were made to: daub, bricks and hours.

A survey before a repair holds its plan, and the day's plan of that says how long men
work on the wall.  Per heat or tonne it is all of it, over all that passed meanwhile.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

from geom.design import Crew, Design
from geom.document import VOLUME
from geom.errors import InputError
from geom.quantity import Quantity
from geom.record.campaigns.campaign import Material, mean_rate
from geom.record.store.occasion import Occasion
from geom.units import LITRE

#: Steps of a day in which men work on the wall; openings and bottom are besides.
ON_THE_WALL = ("chip", "wet", "brick", "daub", "wash")


@dataclass(frozen=True)
class Effort:
    """What planned repairs took per heat or tonne.

    Attributes
    ----------
    repairs : int
        That count; 0 where no survey holds a plan.
    daub : Quantity or None, mm3
        Wet.  None, as what follows, with fewer than two repairs, of which nothing says
        how they differ.
    bricks : Quantity or None
    hours : Quantity or None
        Of one man, on the wall.
    is_crew_stated : bool
        Whether the design file states the crew's rates, which hours go by.
    """

    repairs: int
    daub: Quantity | None = field(metadata=VOLUME)
    bricks: Quantity | None
    hours: Quantity | None
    is_crew_stated: bool


def repair_effort(
    material: Material,
    occasions: Sequence[Occasion],
    design: Design,
    *,
    plan_of: Callable[[Occasion], dict[str, Any]],
) -> Effort:
    """What the repairs of a campaign took.

    Parameters
    ----------
    material : Material
        Its repairs, and since how long ago each is.
    plan_of : callable
        The repair plan of a survey, as ``findings.json`` has it; empty where none is.
    """
    from geom.repair.plan.day import day_plan  # most of a study does without repairs

    before = {o.heat: o for o in occasions if o.stage == "before repair"}
    took, since = list[tuple[float, float, float]](), list[float]()
    for repair in material.repairs:
        try:
            day = day_plan(plan_of(before[repair.heat]), design, again=0)
        except InputError:  # no plan, or one of an older version
            continue
        steps = [step for step in day.steps if step.name in ON_THE_WALL]
        daub, bricks = (
            sum(step.amount or 0.0 for step in steps if step.name == name)
            for name in ("daub", "brick")
        )
        hours = day.men * sum(step.hours - step.waits for step in steps)
        took.append((LITRE * daub, bricks, hours))
        since.append(repair.since)
    found: list[Quantity | None] = [None, None, None]
    if len(took) > 1:
        found = [
            mean_rate([Quantity.normal(each, 0.0) for each in amounts], since)
            for amounts in zip(*took, strict=True)
        ]
    return Effort(len(took), found[0], found[1], found[2], design.shop.crew != Crew())
