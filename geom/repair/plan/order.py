"""The order list: what is needed most likely, and what is enough.

How deep the wall is gone is only known so far, and so is where brick ends and daub
begins.  So zones are called and bricks placed again, by the same rule, on walls drawn
from the joint posterior; what they take is how well the demand is known.  Each is
counted on a coarse net and put right by what the plan itself takes over what that net
gives.

What is ordered is enough where the patch can be made with it.  Where the shop lets daub
stand in for bricks that run short, as many bricks are ordered as are expected, or as
the plan lays if that is more, and daub for the rest: its quantile, with what is missing
of brick in it.  Where it does not, brick and daub each suffice with half the risk.
Quantiles are those of the gamma of the mean and standard deviation that the drawn walls
have; where some of them need none of a material, of the others.  Never less than the
plan itself needs.

Which brick a zone gets may turn on little, so bricks are asked by volume, all together,
and each brick of the plan is ordered in proportion.  Where the plan lays none but might
have to, the brick that the drawn walls take most of is ordered.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from geom.compare.nodes import Nodes
from geom.design import Brick, Mix, Shop
from geom.quantity import Quantity
from geom.repair.assumptions import ASSUMED
from geom.repair.masonry.bricks import brick_volume
from geom.repair.masonry.layup import place_bricks
from geom.repair.masonry.pieces import BrickPiece
from geom.repair.plan.daub import crushed_mix, daub_for, sand_mix
from geom.repair.plan.partition import ZoneShare
from geom.repair.wall import Wall, section
from geom.stats.strata import of_each_stratum
from geom.surface import RadialSurface
from geom.surface.grid import BRICK_FACE, components, drop_small, interpolate_smoothly
from geom.units import M3, Bool, Float

#: Walls that are drawn at a time.
_AT_ONCE = 8


@dataclass(frozen=True)
class Demand:
    """What a wall takes.

    Attributes
    ----------
    bricks : dict of str to float
        By name, with what is cut out and what breaks.
    brick : float, mm3
        Of all of them.
    daub : float, mm3
        In place and dry.
    joints : float, mm3
        Clay between bricks.
    face : float, mm2
        That is washed.
    crushed, sandy : float, mm3
        Of the crushed-brick mix and of the sand mix, in place and dry.
    bottom : float, mm3
        Of the sand bottom, rammed.
    """

    bricks: dict[str, float]
    brick: float
    daub: float
    joints: float
    face: float
    crushed: float = 0.0
    sandy: float = 0.0
    bottom: float = 0.0

    def plus(self, more: Demand) -> Demand:
        """With what something that takes no brick takes besides."""
        return replace(
            self,
            daub=self.daub + more.daub,
            face=self.face + more.face,
            crushed=self.crushed + more.crushed,
            sandy=self.sandy + more.sandy,
            bottom=self.bottom + more.bottom,
        )


def demand_of(wall: Wall, shares: Sequence[ZoneShare]) -> Demand:
    """Sum over the zones of a plan."""
    bricks: dict[str, float] = {}
    brick = joints = 0.0
    for layup in (zone.layup for zone in shares if zone.layup is not None):
        for count in layup.tally:
            bricks[count.name] = bricks.get(count.name, 0.0) + count.needed
            brick += count.needed * count.each
        joints += layup.joints
    washed = [zone for zone in shares if zone.filled]
    return Demand(
        bricks=bricks,
        brick=brick,
        daub=sum(zone.daub(wall) for zone in shares),
        joints=joints,
        face=sum(float(np.sum(zone.share * wall.grid.face_area)) for zone in washed),
    )


@dataclass(frozen=True)
class Packing:
    """How a quick count compares with the plan, by which others are put right.

    Attributes
    ----------
    pieces : tuple of BrickPiece
        What is counted: pieces of the bricks that the plan lays, or of all.
    brick : float
        Brick ordered, cut waste and breakage in it, over the brick that the quick
        count lays.
    laid, joints, cut : float
        Brick in place, clay in joints, and sound lining cut, over the same.
    """

    pieces: tuple[BrickPiece, ...]
    brick: float
    laid: float
    joints: float
    cut: float

    @classmethod
    def of(
        cls, wall: Wall, shares: Sequence[ZoneShare], pieces: Sequence[BrickPiece]
    ) -> Packing:
        """That of a plan; a usual one where it lays no brick."""
        layups = [zone.layup for zone in shares if zone.layup is not None]
        marks = [zone.marked for zone in shares if zone.action == "brick"]
        names = {count.name for layup in layups for count in layup.tally}
        some = tuple(piece for piece in pieces if not names or piece.name in names)
        quick = _volume(_quick_bricks(wall, marks, some)) if layups else 0.0
        if quick <= 0.0:
            return cls(some, *ASSUMED.usual_packing)
        return cls(
            pieces=some,
            brick=demand_of(wall, shares).brick / quick,
            laid=sum(layup.volume for layup in layups) / quick,
            joints=sum(layup.joints for layup in layups) / quick,
            cut=sum(layup.cut for layup in layups) / quick,
        )


def quick_demand(wall: Wall, packing: Packing) -> Demand:
    """What a wall that is known takes, counted on a coarse net and put right by a plan.

    Parameters
    ----------
    wall : Wall
        Of no uncertainty.
    """
    bricked, daubed = known_zones(wall)
    filled = (bricked | daubed).astype(np.float64)
    gone = section(wall.grid.design_radius[:, None], np.maximum(wall.cutback, 0.0))
    placed = _quick_bricks(wall, components(bricked), packing.pieces)
    quick = _volume(placed)
    each: dict[str, float] = {}
    for piece in placed:
        each[piece.name] = each.get(piece.name, 0.0) + piece.part
    net = packing.laid + packing.joints - packing.cut
    return Demand(
        bricks=each,
        brick=packing.brick * quick,
        daub=max(wall.summed(filled, gone) - net * quick, 0.0),
        joints=packing.joints * quick,
        face=float(np.sum(filled * wall.grid.face_area)),
    )


def known_zones(wall: Wall) -> tuple[Bool, Bool]:
    """Where brick and where daub is called for on a wall that is known; (m, k) each.

    What `geom.compare.zones.call_actions` comes to without uncertainty.
    """
    grid, rules = wall.grid, wall.design.repair
    cutback = np.where(grid.surveyed & ~grid.opening, wall.cutback, 0.0)
    bricked = drop_small(cutback > rules.brick_threshold, grid.face_area, BRICK_FACE)
    worn = (cutback > rules.tolerance) & ~bricked
    return bricked, drop_small(worn, grid.face_area, BRICK_FACE)


def _quick_bricks(
    wall: Wall, marks: Iterable[Bool], pieces: Sequence[BrickPiece]
) -> list[BrickPiece]:
    """Pieces laid in some zones, placed on a coarse net."""
    free = wall.grid.surveyed.astype(np.float64)
    return [
        brick.piece
        for mask in marks
        for brick in place_bricks(wall, mask, free, pieces, net=ASSUMED.coarse_net)
    ]


def _volume(pieces: Sequence[BrickPiece]) -> float:
    return sum(piece.volume for piece in pieces)


def posterior_walls(
    surface: RadialSurface, nodes: Nodes, errors: Float
) -> Iterator[Wall]:
    """Walls that the readings allow, each as likely as any other.

    Parameters
    ----------
    errors : array (q, count), mm
        Drawn jointly at the nodes; the wall is smooth in between.
    """
    grid, rows = surface.grid, surface.grid.surveyed_rows
    drawn = errors.T.reshape(-1, nodes.height.size, nodes.azimuth.size)
    for start in range(0, len(drawn), _AT_ONCE):
        fine = interpolate_smoothly(
            drawn[start : start + _AT_ONCE],
            nodes.height,
            grid.height[rows],
            grid.azimuth - nodes.azimuth[0],
        )
        for error in fine:
            cutback = surface.cutback.copy()
            cutback[rows] += error
            yield Wall(grid, cutback, np.zeros(grid.shape), surface.design)


def chosen_errors(wall: Wall, nodes: Nodes, count: int, *, seed: int) -> Float:
    """Of many draws few that stand for them, (q, count), mm.

    One of each stratum by what is gone past the brick threshold, and past the
    tolerance, at the nodes: what a wall takes follows these, and counting bricks on it
    is what costs.
    """
    every = np.arange(nodes.mean.size)
    errors = nodes.draws(every, ASSUMED.walls_a_stratum * count, seed=seed)
    cutback = np.maximum(nodes.mean[:, None] + errors, 0.0)
    gone = section(nodes.design_radius[:, None], cutback)
    gone *= nodes.gather(wall.grid.patch)[:, None]
    rules = wall.design.repair
    bricked, filled = (
        np.sum(gone, axis=0, where=cutback > least)
        for least in (rules.brick_threshold, rules.tolerance)
    )
    rng = np.random.default_rng([seed, count])
    return errors[:, of_each_stratum(bricked, filled, count, rng=rng)]


@dataclass(frozen=True)
class OrderLine:
    """One material.

    Attributes
    ----------
    unit : {'bricks', 'kg'}
    best : float
        Expected need, breakage and losses in it.
    sd : float
        Standard uncertainty of the need.
    enough : float
        What suffices, all materials together with the shop's confidence; never less
        than the plan itself takes.
    stock : int or None
        On hand; None: not known.
    pack : float
        What it is bought in: one brick, or a bag of so many kg.
    packs : int
        To buy.
    """

    material: str
    unit: str
    best: float
    sd: float
    enough: float
    stock: int | None
    pack: float
    packs: int


def order_list(
    plan: Demand,
    demands: Sequence[Demand],
    bricks: Sequence[Brick],
    shop: Shop,
    *,
    besides: Mapping[str, int] | None = None,
) -> tuple[OrderLine, ...]:
    """What to order.

    Parameters
    ----------
    plan : Demand
        Of the plan itself.
    demands : sequence of Demand
        Of walls that the readings allow.
    bricks : sequence of Brick
        All that are listed.
    besides : mapping of str to int, optional
        Bricks by name that openings take, breakage in them.

    Returns
    -------
    tuple of OrderLine
        Bricks, sand, fire clay, crushed fire brick, bottom sand; what is not needed is
        left out.
    """
    mix, chance = shop.mix, np.array([demand.brick for demand in demands])
    sides = sum(volume > 0.0 for volume in (plan.crushed, plan.bottom))
    aside = 1.0 - ASSUMED.side_risk * (1.0 - shop.confidence)
    confidence = 1.0 - (1.0 - ASSUMED.side_risk * sides) * (1.0 - shop.confidence)
    brick, likely = max(plan.brick, float(np.mean(chance))), demands
    if shop.brickwork.shortfall == "daub":
        likely = [made_up(demand, brick) for demand in demands]
    else:
        confidence = together(confidence)
        brick = sufficient(chance, plan.brick, confidence)
    lines = _with_more(
        _brick_lines(plan, demands, bricks, brick), besides or {}, bricks
    )
    materials: tuple[tuple[str, Callable[[Demand], float], float], ...] = (
        ("sand", lambda demand: sand_of(demand, mix), confidence),
        ("fire clay", lambda demand: clay_of(demand, mix), confidence),
        ("crushed fire brick", lambda demand: crushed_of(demand, mix), aside),
        ("bottom sand", lambda demand: demand.bottom * shop.bottom.density * M3, aside),
    )
    for name, kilograms, within in materials:
        drawn, filled = (
            np.array([kilograms(demand) for demand in some])
            for some in (demands, likely)
        )
        most = sufficient(filled, kilograms(plan), within)
        packs = int(np.ceil(most / mix.bag - 1e-9))
        best, sd = float(np.mean(drawn)), float(np.std(drawn))
        lines.append(OrderLine(name, "kg", best, sd, most, None, mix.bag, packs))
    return tuple(line for line in lines if line.enough > 0.0)


def _with_more(
    lines: Sequence[OrderLine], besides: Mapping[str, int], bricks: Sequence[Brick]
) -> list[OrderLine]:
    """Bricks as ordered for the wall, and those for openings."""
    stocks = {brick.name: brick.stock for brick in bricks}
    found = {line.material: line for line in lines}
    for name, count in besides.items():
        stock = stocks[name]
        line = found.get(name) or OrderLine(
            name, "bricks", 0.0, 0.0, 0.0, stock, 1.0, 0
        )
        enough = line.enough + count
        packs = max(int(enough) - (stock or 0), 0)
        found[name] = replace(line, best=line.best + count, enough=enough, packs=packs)
    return list(found.values())


def made_up(demand: Demand, brick: float) -> Demand:
    """What a wall takes where only so much brick is there: daub for what is missing.

    Examples
    --------
    >>> made_up(Demand({}, 5e6, 1e6, 0.0, 0.0), 3e6).daub
    3000000.0
    """
    return replace(demand, daub=demand.daub + max(demand.brick - brick, 0.0))


def _brick_lines(
    plan: Demand, demands: Sequence[Demand], bricks: Sequence[Brick], most: float
) -> list[OrderLine]:
    """Each brick of the plan in proportion, ``most`` of them together, mm3."""
    chance = np.array([demand.brick for demand in demands])
    named = {brick.name: brick for brick in bricks}
    if plan.brick > 0.0:
        basis, whole = dict(plan.bricks), plan.brick
    else:
        basis, whole = _most_used(demands, named), 0.0
    lines = []
    for name, count in basis.items():
        solid = brick_volume(named[name])
        each = count / whole if whole > 0.0 else 1.0 / solid
        needed = int(np.ceil(each * most - 1e-9))
        stock = named[name].stock
        lines.append(
            OrderLine(
                material=name,
                unit="bricks",
                best=float(np.round(each * float(np.mean(chance)))),
                sd=each * float(np.std(chance)),
                enough=float(needed),
                stock=stock,
                pack=1.0,
                packs=max(needed - (stock or 0), 0),
            )
        )
    return lines


def _most_used(
    demands: Sequence[Demand], named: Mapping[str, Brick]
) -> dict[str, float]:
    """The brick that the drawn walls take most of, by volume; empty if none do."""
    total: dict[str, float] = {}
    for demand in demands:
        for name, count in demand.bricks.items():
            total[name] = total.get(name, 0.0) + count
    if not total:
        return {}
    name = max(total, key=lambda name: total[name] * brick_volume(named[name]))
    return {name: total[name]}


def together(confidence: float) -> float:
    """The chance that each of two materials has to suffice with, for both to.

    Sand and clay go into one daub and run short together; brick is the other.  By
    Bonferroni's inequality, however the two hang together.

    Examples
    --------
    >>> together(0.95)
    0.975
    """
    return 0.5 * (1.0 + confidence)


def sufficient(
    draws: Float, best: float, confidence: float, *, count_sd: float = ASSUMED.count_sd
) -> float:
    """What suffices with some confidence, and never less than the best estimate.

    Parameters
    ----------
    draws : array (n,)
        What drawn walls take.
    count_sd : float
        What each of them is off by besides, as a share of it.

    Examples
    --------
    >>> sufficient(np.array([0.0, 0.0, 0.0, 0.0]), 0.0, 0.95)
    0.0
    >>> sufficient(np.array([7.0, 7.0]), 7.0, 0.95, count_sd=0.0)
    7.0
    """
    from scipy.special import gammaincinv

    positive = draws[draws > 0.0]
    none = 1.0 - positive.size / max(draws.size, 1)
    if positive.size == 0 or none >= confidence:
        return float(best)
    mean = float(positive.mean())
    sd = float(np.hypot(positive.std(), count_sd * mean))
    if sd <= 0.0:
        return max(float(best), mean)
    within = (confidence - none) / (1.0 - none)
    return max(float(best), float(gammaincinv((mean / sd) ** 2, within) * sd**2 / mean))


def sand_of(demand: Demand, mix: Mix) -> float:
    """Dry sand, kg: in the daub and in the sand mix."""
    return _dry(demand.daub, mix)[0] + _dry(demand.sandy, sand_mix(mix))[0]


def clay_of(demand: Demand, mix: Mix) -> float:
    """Dry fire clay, kg: in the daub, in other mixes, in the joints and for the wash.

    Joints and wash are taken as full of clay at its bulk density, which is more than a
    thin slip holds.
    """
    thin = demand.joints + demand.face * mix.wash
    mixed = sum(
        _dry(volume, one)[1]
        for volume, one in (
            (demand.daub, mix),
            (demand.crushed, crushed_mix(mix)),
            (demand.sandy, sand_mix(mix)),
        )
    )
    return mixed + thin * mix.clay_density * M3


def crushed_of(demand: Demand, mix: Mix) -> float:
    """Crushed fire brick, kg."""
    return _dry(demand.crushed, crushed_mix(mix))[0]


def _dry(volume: float, mix: Mix) -> tuple[float, float]:
    daub = daub_for(Quantity.normal(volume, 0.0), mix, thickness=0.0, face=0.0)
    return daub.sand.value, daub.clay.value
