"""What the shop has and how it works: bricks, daub, drying, bottom.  Lengths mm.

Every default is common practice, no source, unless another is named.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

#: An inch, mm.
_INCH = 25.4


@dataclass(frozen=True)
class Brick:
    """A brick of the shop's list.

    Attributes
    ----------
    name : str
        As it is ordered.
    length, width, thickness : float, mm
        Of its large face where it tapers.
    taper : {'', 'width', 'thickness'}
        What is smaller at the hot face; empty where it is straight.
    small : float, mm
        That dimension at the hot face; 0 where it is straight.
    radial : {'length', 'width'}
        Which side of it lies along the radius.
    bore : float, mm
        Diameter of the hot face that it is curved to, of circle brick and cupola
        blocks; 0 where it is flat.
    mass : float or None, kg
    stock : int or None
        How many are on hand; ``None``: not known.
    """

    name: str
    length: float
    width: float
    thickness: float
    taper: Literal["", "width", "thickness"] = ""
    small: float = 0.0
    radial: Literal["length", "width"] = "length"
    bore: float = 0.0
    mass: float | None = None
    stock: int | None = None

    @property
    def build(self) -> float:
        """How far it reaches along the radius, mm."""
        return self.length if self.radial == "length" else self.width

    @property
    def course(self) -> float:
        """How tall a course of it is, mm: thickness, unless that is what tapers."""
        across = self.width if self.radial == "length" else self.length
        return across if self.taper == "thickness" else self.thickness

    @property
    def outer(self) -> float:
        """How far it reaches round the ring at its back, mm."""
        across = self.width if self.radial == "length" else self.length
        return self.thickness if self.taper == "thickness" else across

    @property
    def inner(self) -> float:
        """How far it reaches round the ring at the hot face, mm."""
        return self.small if self.taper else self.outer


@dataclass(frozen=True)
class Brickwork:
    """How bricks are laid (``[brickwork]``; bed, cover and squaring: ``[repair]``).

    Attributes
    ----------
    joint : float, mm
        Of clay between bricks; West (1897-1902) tells of 1/8 in carried by a dipped
        brick.
    opening : float, mm
        How far a joint may open towards the back beyond that, bricks being flat and the
        wall round.
    bed_least, bed_most : float, mm
        Daub behind the brick.  Thicker than the most, it goes on in layers first.
    cover_least, cover_most : float, mm
        Daub in front of it, at its thinnest and at its thickest.
    squaring : float, mm
        How far the feather edges of a hollow may be cut into sound lining.
    shortfall : {'daub', 'brick'}
        What makes up for bricks that run short: daub in their place, or more bricks
        ordered.
    breakage : float
        Share ordered on top; 2 to 5 % is stated in the trade (kiln lining, 5 % here).
    open_arc : float, degrees
        Of wall that is open at once for brick (``[repair]``); our own choice.
    open_height : float, mm
        The same, in height; our own choice.
    """

    joint: float = 3.0
    opening: float = 0.5 * _INCH
    bed_least: float = 0.0
    bed_most: float = 25.4
    cover_least: float = 0.5 * _INCH
    cover_most: float = 1.5 * _INCH
    squaring: float = 0.5 * _INCH
    shortfall: Literal["daub", "brick"] = "daub"
    breakage: float = 0.05
    open_arc: float = 60.0
    open_height: float = 24.0 * _INCH


@dataclass(frozen=True)
class Mix:
    """The daub and the clay wash (``[mix]``).

    Attributes
    ----------
    sand, clay : float
        Parts of dry sharp sand and fire clay.
    by : {'volume', 'mass'}
        What the parts are of.
    water_least, water_most : float
        Share of the dry mass.
    sand_density, clay_density : float, kg/m3
        Bulk, dry: sand 1600, clay 1090 (published bulk densities of dry sand and of dry
        excavated clay).
    daub_density : float, kg/m3
        Bulk, as put on.
    batch : float, litres
        What the mixer takes at once.
    pail : float, litres
        What sand, clay and water are measured in; our own choice, some 3 US gallons.
    shrinkage : float
        Share of its length that daub loses on drying; 1/2 in per foot.
    rebound : float
        Share that falls off while it is put on.
    layer_most : float, mm
        Thicker daub goes on in layers: one of 2 in slumps.
    wash : float, mm
        Thickness of the clay wash.
    bag : float, kg
        What sand and clay are bought in.
    working_life : float, h
        How long a batch may stand before it is too stiff to put on; our own choice.
    crushed : float
        Parts of crushed fire brick to one of fire clay by volume, in what is rammed
        round a tap hole.  Equal parts are printed for ganister.
    crushed_density : float, kg/m3
        Bulk, dry; from memory.
    spout_sand : float
        Parts of sand to one of fire clay by volume, in the bottom of a tap spout; our
        own choice.
    """

    sand: float = 3.0
    clay: float = 1.0
    by: Literal["volume", "mass"] = "volume"
    water_least: float = 0.08
    water_most: float = 0.12
    sand_density: float = 1600.0
    clay_density: float = 1090.0
    daub_density: float = 1900.0
    batch: float = 100.0
    pail: float = 12.0
    shrinkage: float = 1.0 / 24.0
    rebound: float = 0.10
    layer_most: float = 1.0 * _INCH
    wash: float = 1.0
    bag: float = 25.0
    working_life: float = 1.0
    crushed: float = 1.0
    crushed_density: float = 1400.0
    spout_sand: float = 5.0


@dataclass(frozen=True)
class OpeningSizes:
    """What an opening is rebuilt to (keys of ``[[tuyere]]`` and ``[[hole]]``), mm.

    ``None``: not stated; `geom.repair.plan.openings` then has a size of its own.

    Attributes
    ----------
    depth : float or None
        Thickness of the finished wall there.
    former_width, former_tall : float or None
        Of a tuyere's former.
    bore : float or None
        Diameter of the clear hole of a tap or slag hole.
    former : float or None
        Diameter of the pipe or former that it is rammed round.
    breast_width, breast_height : float or None
        Of the surround that is taken out and made anew, the hole with it.
    spout_length, spout_width, spout_lining : float or None
        Clear length and width of the spout, and the thickness of its lining; length 0:
        there is none.
    """

    depth: float | None = None
    former_width: float | None = None
    former_tall: float | None = None
    bore: float | None = None
    former: float | None = None
    breast_width: float | None = None
    breast_height: float | None = None
    spout_length: float | None = None
    spout_width: float | None = None
    spout_lining: float | None = None


@dataclass(frozen=True)
class Bottom:
    """The sand bottom, and the iron that stands on it (``[bottom]``).

    Its fall stands in ``[repair] bottom_fall``; how thick it is at the tap hole follows
    from the hole's lower edge.

    Attributes
    ----------
    least : float, mm
        Thickness over the doors that the shop wants at least: 3 to 6 in are remembered
        from foundry manuals.
    density : float, kg/m3
        Of rammed sand.
    fillet : float, mm
        Radius of the fillet at the wall; our own choice.
    iron_density : float, kg/m3
        Of liquid cast iron; from memory.
    coke_voids : float
        Share of the well that coke leaves to iron; from memory.
    """

    least: float = 4.0 * _INCH
    density: float = 1700.0
    fillet: float = 2.0 * _INCH
    iron_density: float = 6900.0
    coke_voids: float = 0.45


@dataclass(frozen=True)
class Crew:
    """Who does the work, and how fast (``[crew]``); every default is our own choice.

    Attributes
    ----------
    men : int
        At work at once.
    chip_rate : float, L/h
        Slag and iron that a man chips off.
    brick_rate : float, 1/h
        Bricks that a man sets.
    daub_rate : float, L/h
        Wet daub that a man puts on.
    wash_rate : float, m2/h
        Face that a man wets or washes.
    bottom_rate : float, kg/h
        Sand that a man brings in and rams.
    cool_hours : float, h
        From blast off until the wall may be worked at.
    ready_hours : float, h
        To pull the drop, lock out, test the air and put up the cover.
    bar_hours : float, h
        To bar down what hangs.
    clean_hours : float, h
        Of one man, to clean an opening and its spout.
    measure_hours : float, h
        To survey the wall.
    again_hours : float, h
        To measure a zone again.
    stiffen_hours : float, h
        A layer of daub before the next, and a segment of brick before the next.
    opening_hours : float, h
        Of one man, to set an opening's former and make its edges good, apart from its
        bricks and mixes.
    cool_again_hours : float, h
        After drying, until men may go in again.
    doors_hours, boards_hours : float, h
        To put up and prop the doors; to lay boards, kindling and bed.
    light_hours : float, h
        From lighting to blast at least, where drying does not ask for more.
    """

    men: int = 2
    chip_rate: float = 10.0
    brick_rate: float = 15.0
    daub_rate: float = 20.0
    wash_rate: float = 5.0
    bottom_rate: float = 250.0
    cool_hours: float = 12.0
    ready_hours: float = 1.0
    bar_hours: float = 0.5
    clean_hours: float = 0.25
    measure_hours: float = 1.0
    again_hours: float = 0.25
    stiffen_hours: float = 1.0
    opening_hours: float = 0.75
    cool_again_hours: float = 4.0
    doors_hours: float = 1.0
    boards_hours: float = 1.0
    light_hours: float = 2.0


@dataclass(frozen=True)
class Drying:
    """How daub is dried (``[drying]``): the supplier's schedule, where there is one.

    The defaults are a general refractory practice, read in a public discussion of
    dry-out among engineers (eng-tips, thread 481404): a day at room temperature, 30 to
    40 degC an hour, half an hour to the inch of thickness held at 120, 260, 370 and
    540 degC, longer while it steams.  The slower rate is taken.

    Attributes
    ----------
    supplier : str
        Whose schedule it is, in words; empty: nobody's.
    set_hours : float, h
        At room temperature, before any fire.
    rate : float, degC/h
    hold_hours : float, h
        Held at each hold point for every inch (25.4 mm) of thickness.
    hold_at : tuple of float, degC
        Hold points, rising.
    """

    supplier: str = ""
    set_hours: float = 24.0
    rate: float = 30.0
    hold_hours: float = 0.5
    hold_at: tuple[float, ...] = (120.0, 260.0, 370.0, 540.0)


@dataclass(frozen=True)
class Melting:
    """How the furnace melts (``[melting]``); ``None``: not known.

    Attributes
    ----------
    rate, blast : float or None, kg/h, m3/h
        As drawn.
    specific_rate : float or None, kg/h
        From each square centimetre of section; stands in for ``rate``.
    last_rate, last_blast : float or None, kg/h, m3/h
        That the last heat ran at.
    pressure : float or None, kPa
        Of the blast.
    bed : float or None, mm
        Height of the bed over the tuyeres.
    coke_density : float or None, kg/m3
        Of bed coke, bulk.
    coke_ratio : float or None
        Iron to charge coke, by mass.
    """

    rate: float | None = None
    blast: float | None = None
    specific_rate: float | None = None
    last_rate: float | None = None
    last_blast: float | None = None
    pressure: float | None = None
    bed: float | None = None
    coke_density: float | None = None
    coke_ratio: float | None = None


@dataclass(frozen=True)
class Shop:
    """What the shop has and how it works.

    Attributes
    ----------
    bricks : tuple of Brick
        The shop's own list; empty: the standard series is taken.
    confidence : float
        Chance that what is ordered is enough (``[repair] order_confidence``).
    """

    bricks: tuple[Brick, ...] = ()
    brickwork: Brickwork = field(default_factory=Brickwork)
    mix: Mix = field(default_factory=Mix)
    bottom: Bottom = field(default_factory=Bottom)
    crew: Crew = field(default_factory=Crew)
    drying: Drying = field(default_factory=Drying)
    melting: Melting = field(default_factory=Melting)
    confidence: float = 0.95
