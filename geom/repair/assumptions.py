"""What the repair takes for granted: every tuned number with its unit and source.

Where no source is named the number is our own choice.
"""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(frozen=True)
class RepairAssumptions:
    """The numbers, each below its meaning, unit and source."""

    # --- masonry ----------------------------------------------------------------------
    #: Builds and courses as near as this make one ring, mm.
    same_build: float = 1.0
    #: Joints may be off by this much even where less is asked for, mm: 1/16 in.
    joint_slack: float = 1.5875
    #: Rings whose joints are off by less than this, hot face and back together, are as
    #: good as each other, mm: 1/16 in.
    ring_tie: float = 1.5875
    #: Standard uncertainties of its depth that a hollow is taken shallower by.
    held_back: float = 1.0
    #: Rows and columns of the net that bricks are placed on, mm: for a plan, and for
    #: walls that are only counted; wall about a zone that it holds too.
    fine_net: tuple[float, float] = (5.0, 2.5)
    coarse_net: tuple[float, float] = (12.0, 10.0)
    search_margin: float = 60.0
    #: Depth of what may not be touched, mm.
    blocked: float = -1e5
    #: What a piece has to be worth, as volume, and a cut one on top, mm3; brick that a
    #: volume of sound lining cut out for it weighs.
    piece_toll: float = 4e4
    cut_toll: float = 6e4
    cut_weight: float = 1.5
    #: Share of the brick in a zone that is given up for one shape less.
    shape_toll: float = 0.05
    #: What a piece is worth of which none is in stock.
    no_stock: float = 0.8
    #: Joints of a course lie at least so far from those below, as a share of a piece.
    stagger: float = 0.25
    #: Bricks curved to a bore stand on radii that are no further off than this share.
    same_bore: float = 0.05
    #: Skins of brick, one behind the other, at most.
    skins: int = 3
    #: Foot heights of one run of the search: faces differ by no more than this share.
    same_face: float = 0.015
    #: Brick set round more than this share of the wall at one height: the stack above
    #: needs support.
    least_standing: float = 0.5
    #: A ring past the brick line round this share of it is burnt all round.
    burnt_ring: float = 0.75
    #: Gaps between bricks that count as open wall, degrees: joints and their wedges.
    same_opening: float = 3.0

    # --- plan -------------------------------------------------------------------------
    #: `geom.repair.plan.order.Packing` where a plan lays no brick: about what plans of
    #: worn walls come to (our own bench).
    usual_packing: tuple[float, ...] = (1.2, 1.1, 0.06, 0.06)
    #: What a count is off by that no drawn wall shows, as a share of it: roughness
    #: between the nodes that walls are drawn at, pieces that fall otherwise; seen on
    #: our own bench.
    count_sd: float = 0.03
    #: Walls counted for the order list, one of each stratum, and walls drawn to a
    #: stratum: mean and sd of a demand are known as well as from 40 drawn walls, the sd
    #: to some 11 % (our own bench).
    plan_draws: int = 24
    walls_a_stratum: int = 10
    #: A furnace that has cooled, degC: where drying begins.
    room_temperature: float = 20.0

    # --- openings ---------------------------------------------------------------------
    #: Wall at an opening where neither shell nor depth is given, mm: 9 in.
    wall_at_opening: float = 228.6
    #: Daub about the clear opening of a tuyere or door, mm: 1/2 in.
    opening_coat: float = 12.7
    #: Height over which a lip runs out into the wall above, times how far it stands
    #: out.
    lip_run_out: float = 3.0
    #: What a breast is larger than its hole, mm: to either side, and in height.  Half a
    #: brick next to and above a tap hole, 1 1/2 in all about a slag hole.
    breast_margin: dict[str, tuple[float, float]] = field(
        default_factory=lambda: {"tap hole": (114.3, 114.3), "slag hole": (38.1, 76.2)}
    )
    #: Share of a breast that is fire brick; its sides are cut within this, evenly, mm.
    breast_brick: float = 0.6
    breast_slack: float = 12.7
    #: Clear length, clear width and lining of a spout, mm: 24 x 6 x 1 1/2, 18 x 5 x 1
    #: in.
    spouts: dict[str, tuple[float, float, float]] = field(
        default_factory=lambda: {
            "tap hole": (609.6, 152.4, 38.1),
            "slag hole": (457.2, 127.0, 25.4),
        }
    )
    #: Share of the risk that an order runs short that each side material (crushed
    #: brick, bottom sand) is given.
    side_risk: float = 0.05

    # --- audit ------------------------------------------------------------------------
    #: Wall above a tuyere whose slope is stated, and the least that tells one, mm.
    slope_reach: float = 150.0
    least_slope_reach: float = 50.0
    #: Wall next to an opening's edges whose cut-back is that of lip and sill, mm.
    lip: float = 20.0
    #: Probability from which an opening sheds; up to the rest to one it runs in.
    sure_to_shed: float = 0.9
    #: Draws for the share of a tuyere's width that stands in front.
    lip_draws: int = 4000
    #: Rows this near to the worst ring are of the melting zone, mm.
    melting_reach: float = 150.0
    #: Iron from each square millimetre of section, kg/h: 10 lb/in2 h, common practice,
    #: from memory; orientation only.
    common_rule: float = 10.0 * 0.45359237 / 25.4**2
    #: Bed over the tuyeres, mm, of a blast of one oz/in2, Pa, by its square root, and
    #: of no blast: 10.5 in and 6 in (a handbook rule of American foundrymen, from
    #: memory).
    bed_rise: float = 10.5 * 25.4
    bed_least: float = 6.0 * 25.4
    ounce: float = 6894.757293168 / 16.0
    #: Points round the wall to strike a sand bottom to.
    strike_points: int = 8
    #: Azimuths that the section at the tap hole is summed over.
    section_azimuths: int = 120

    # --- acceptance -------------------------------------------------------------------
    #: Accept from this chance on; reject from its rest to one down.  ISO 14253-1:2017
    #: takes 95 % too (from memory).
    sure: float = 0.95
    #: Share of a face that has to be measured, and to lie within tolerance.
    face_share: float = 0.9
    #: Draws of a face: they give a chance of 0.95 to 0.003.
    face_draws: int = 4000
    #: A place further than this from every reading is not measured, mm.  Twelve
    #: readings round, every 12 in of height, reach all of a cupola of 3 ft.
    reading_reach: float = 200.0
    #: More readings than this nobody takes in one place: what stays open then stays so.
    most_readings: int = 24
    #: A zone of now is a place of its own if more than this of it lay in no zone
    #: before.
    new_share: float = 0.5
    #: Wall about an opening that is judged with it, and how near to its edge a reading
    #: has to stand to tell of it, mm: 2 and 4 in.
    opening_rim: float = 50.8
    opening_reach: float = 101.6


ASSUMED = RepairAssumptions()
