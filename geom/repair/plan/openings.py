"""What each opening is rebuilt with: brick, daub, crushed-brick mix, sand mix, wash.

Every opening of the drawing is a small job of its own, by its sizes alone:

tap hole, slag hole
    The breast, a block about the hole as deep as the wall, has been taken out.  It is
    filled with fire brick up to a share of its volume, whole bricks, a round former is
    set, and the rest is rammed: a mix of crushed fire brick at the tap hole, which has
    to stand more, daub at the slag hole.
spouts
    Bottom and sides as long as the spout: daub, and the bottom of the tap spout in a
    sandier mix.
tuyeres, doors and all else
    A coat of daub through the wall, all about the clear opening; a tuyere's lip where
    one is drawn, a wedge that runs out upwards.

How much is gone in an opening nobody surveys.  So a coat is taken to be anything from
none to twice its thickness, and the sides of a breast to be cut anywhere within half an
inch.  Sizes that the design file leaves open are our own choice, no source
(`geom.repair.assumptions`).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from geom.design import Brick, Design, Mix, Opening
from geom.document import AREA, FIRST, VOLUME
from geom.quantity import Quantity
from geom.repair.assumptions import ASSUMED
from geom.repair.masonry.bricks import brick_volume, bricks_of
from geom.repair.plan.daub import crushed_mix, daub_for, sand_mix
from geom.repair.plan.order import Demand

_LEAST_VOLUME = 1.0  # mm3


@dataclass(frozen=True)
class Mixture:
    """What is mixed of sand, or crushed fire brick, and fire clay for one opening.

    Attributes
    ----------
    volume : Quantity, mm3
        In place and dry.
    mixed : Quantity, mm3
        Wet, with what falls off.
    aggregate : Quantity, kg
        Dry sand; of the crushed-brick mix, crushed fire brick.
    clay : Quantity, kg
        Dry.
    water_least, water_most : float, litres
    """

    volume: Quantity = field(metadata=VOLUME)
    mixed: Quantity = field(metadata=VOLUME)
    aggregate: Quantity
    clay: Quantity
    water_least: float
    water_most: float

    @classmethod
    def filling(cls, volume: Quantity, mix: Mix) -> Mixture | None:
        """What fills a space by one mix; None where there is none to fill."""
        if volume.value < _LEAST_VOLUME:
            return None
        daub = daub_for(volume, mix, thickness=0.0, face=0.0)
        return cls(
            volume=volume,
            mixed=daub.mixed,
            aggregate=daub.sand,
            clay=daub.clay,
            water_least=daub.water_least,
            water_most=daub.water_most,
        )


@dataclass(frozen=True)
class Spout:
    """A spout that is lined anew; mm.

    Attributes
    ----------
    length, width : float
        Clear, as the iron or slag runs.
    side : float
        Height of its sides: half the width.
    lining : float
        Thickness of bottom and sides.
    """

    length: float
    width: float
    side: float
    lining: float

    @property
    def bottom(self) -> float:
        """Volume of the bottom, under the sides too, mm3."""
        return self.length * (self.width + 2.0 * self.lining) * self.lining

    @property
    def sides(self) -> float:
        """Volume of both sides, mm3."""
        return 2.0 * self.length * self.side * self.lining

    @property
    def face(self) -> float:
        """Face that is washed, mm2."""
        return self.length * (self.width + 2.0 * self.side)


@dataclass(frozen=True)
class Former:
    """What daub or mix is put on round; mm.

    Attributes
    ----------
    width, tall : float
        Both are the diameter of a round one.
    shape : {'round', 'box'}
    """

    width: float
    tall: float
    shape: Literal["round", "box"]

    @property
    def section(self) -> float:
        """Area of its section, mm2."""
        box = self.width * self.tall
        return box * np.pi / 4.0 if self.shape == "round" else box


@dataclass(frozen=True, kw_only=True)
class OpeningWork:
    """One opening and what it is rebuilt with.  Lengths mm, azimuth degrees.

    Attributes
    ----------
    number : int
        Among those of its kind, in the order of the design file, from 1.
    azimuth, height : float
        Of its centre.
    width, tall : float
        Of the clear opening.
    depth : float
        Thickness of the finished wall there.
    depth_from : {'design file', 'drawing', 'default'}
        Where that is from: stated, shell less hot face, or neither being known.
    lip : float
        How far a tuyere's lip stands out.
    former : Former or None
        None where nothing has to be formed.
    breast_width, breast_height : float or None
        Of what is filled round the hole.
    brick : str
        Name of the brick it is filled with; empty where it is not.
    bricks : int
        Whole ones, without breakage.
    wash_area : float, mm2
        Face that is washed with clay.
    wash : float, mm3
        Of clay wash.
    """

    number: int = field(metadata=FIRST)
    kind: str = field(metadata=FIRST)
    azimuth: float
    height: float
    width: float
    tall: float
    depth: float
    depth_from: Literal["design file", "drawing", "default"]
    lip: float
    former: Former | None
    breast_width: float | None = None
    breast_height: float | None = None
    brick: str = ""
    bricks: int = 0
    daub: Mixture | None = None
    crushed_mix: Mixture | None = None
    sand_mix: Mixture | None = None
    wash_area: float = field(metadata=AREA)
    wash: float = field(metadata=VOLUME)
    spout: Spout | None = None


def opening_works(design: Design) -> tuple[OpeningWork, ...]:
    """What every opening is rebuilt with, in the order of the design file."""
    return tuple(
        (_holed if opening.kind in ASSUMED.breast_margin else _coated)(
            opening, number, design
        )
        for number, opening in design.numbered_openings
    )


def _depth_of(
    opening: Opening, design: Design
) -> tuple[float, Literal["design file", "drawing", "default"]]:
    if opening.sizes.depth is not None:
        return opening.sizes.depth, "design file"
    if (wall := design.wall_at_opening(opening)) is not None:
        return wall, "drawing"
    return ASSUMED.wall_at_opening, "default"


def _coated(opening: Opening, number: int, design: Design) -> OpeningWork:
    """A tuyere, a door: daub about the clear opening, and the lip."""
    depth, depth_from = _depth_of(opening, design)
    mix, sizes = design.shop.mix, opening.sizes
    former = Former(
        sizes.former_width or opening.width, sizes.former_tall or opening.tall, "box"
    )
    throat = 2.0 * (former.width + former.tall) * depth
    coat = throat * ASSUMED.opening_coat
    lip = 0.5 * opening.width * opening.lip * ASSUMED.lip_run_out * opening.lip
    # evenly anything from none to twice the coat: half width over sqrt(3), 95 % of it
    daub = Quantity(lip + coat, coat / 3.0**0.5, lip + 0.05 * coat, lip + 1.95 * coat)
    return OpeningWork(
        number=number,
        kind=opening.kind,
        azimuth=opening.azimuth,
        height=opening.height,
        width=opening.width,
        tall=opening.tall,
        depth=depth,
        depth_from=depth_from,
        lip=opening.lip,
        former=former if opening.kind == "tuyere" else None,
        daub=Mixture.filling(daub, mix),
        wash_area=throat,
        wash=throat * mix.wash,
    )


def _holed(opening: Opening, number: int, design: Design) -> OpeningWork:
    """A tap or slag hole: its breast round a former, and its spout."""
    depth, depth_from = _depth_of(opening, design)
    mix, sizes = design.shop.mix, opening.sizes
    bore = sizes.bore or min(opening.width, opening.tall)
    diameter = sizes.former or bore
    former = Former(diameter, diameter, "round")
    sides, above = ASSUMED.breast_margin[opening.kind]
    wide = sizes.breast_width or opening.width + 2.0 * sides
    high = sizes.breast_height or opening.tall + above
    space = (wide * high - former.section) * depth
    side = ASSUMED.breast_slack / 3.0**0.5
    sd = float(np.hypot(wide, high)) * side * depth
    brick, count = breast_bricks(space, bricks_of(design))
    rammed = space - (count * brick_volume(brick) if brick is not None else 0.0)
    rest = Quantity.normal(rammed, sd).not_below(0.0)
    spout = _spout(opening)
    sand = daub = Quantity.normal(0.0, 0.0)
    if spout is not None:
        sand = Quantity.normal(spout.bottom, 0.0)
        daub = Quantity.normal(spout.sides, 0.0)
    tap = opening.kind == "tap hole"
    if not tap:
        daub = rest.plus(daub.value + sand.value)
    face = wide * high - former.section + (spout.face if spout is not None else 0.0)
    return OpeningWork(
        number=number,
        kind=opening.kind,
        azimuth=opening.azimuth,
        height=opening.height,
        width=opening.width,
        tall=opening.tall,
        depth=depth,
        depth_from=depth_from,
        lip=0.0,
        former=former,
        breast_width=wide,
        breast_height=high,
        brick="" if brick is None or count == 0 else brick.name,
        bricks=count,
        daub=Mixture.filling(daub, mix),
        crushed_mix=Mixture.filling(rest, crushed_mix(mix)) if tap else None,
        sand_mix=Mixture.filling(sand, sand_mix(mix)) if tap else None,
        wash_area=face,
        wash=face * mix.wash,
        spout=spout,
    )


def breast_bricks(space: float, bricks: Sequence[Brick]) -> tuple[Brick | None, int]:
    """The brick that a breast is filled with, and how many whole ones.

    Parameters
    ----------
    space : float, mm3
        Of the breast, less the former.
    bricks : sequence of Brick
        All that are listed: the first straight one is taken.

    Examples
    --------
    >>> straight = Brick("straight", 200.0, 100.0, 50.0)
    >>> breast_bricks(5.2e6, [straight])[1]
    3
    """
    brick = next((brick for brick in bricks if not brick.taper), None)
    if brick is None:
        return None, 0
    return brick, int(ASSUMED.breast_brick * space / brick_volume(brick) + 1e-9)


def _spout(opening: Opening) -> Spout | None:
    length, width, lining = ASSUMED.spouts[opening.kind]
    sizes = opening.sizes
    if sizes.spout_length is not None:
        length = sizes.spout_length
    width = sizes.spout_width or width
    if length == 0.0:
        return None
    return Spout(length, width, 0.5 * width, sizes.spout_lining or lining)


def bricks_for(works: Sequence[OpeningWork], *, breakage: float) -> dict[str, int]:
    """Whole bricks of each name that the openings take, with what breaks."""
    laid: dict[str, int] = {}
    for work in works:
        if work.bricks:
            laid[work.brick] = laid.get(work.brick, 0) + work.bricks
    return {
        name: int(np.ceil(count * (1.0 + breakage) - 1e-9))
        for name, count in laid.items()
    }


def opening_demands(
    works: Sequence[OpeningWork], bottom: Quantity | None, count: int, *, seed: int
) -> Iterator[Demand]:
    """What openings and sand bottom take: the best estimate, then draws of it.

    Parameters
    ----------
    works : sequence of OpeningWork
        Openings of one kind are worn alike: one error goes through all of them.
    bottom : Quantity or None, mm3
    count, seed : int
        Of the draws.
    """
    rng = np.random.default_rng([seed, 1])
    kinds = sorted({work.kind for work in works})
    errors = rng.uniform(-(3.0**0.5), 3.0**0.5, (count, len(kinds)))
    beds = rng.standard_normal(count)
    face = sum(work.wash_area for work in works)

    def taken(error: Mapping[str, float], bed: float) -> Demand:
        daub, crushed, sandy = (
            sum(
                max(part.volume.value + error[work.kind] * part.volume.sd, 0.0)
                for work in works
                if (part := getattr(work, name)) is not None
            )
            for name in ("daub", "crushed_mix", "sand_mix")
        )
        sand = 0.0 if bottom is None else max(bottom.value + bed * bottom.sd, 0.0)
        return Demand({}, 0.0, daub, 0.0, face, crushed, sandy, sand)

    yield taken(dict.fromkeys(kinds, 0.0), 0.0)
    for row, bed in zip(errors, beds, strict=True):
        yield taken(dict(zip(kinds, row.tolist(), strict=True)), float(bed))
