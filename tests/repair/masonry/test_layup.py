"""Bricks laid in hollows: solids held against each other, the drawing and the wall."""

from __future__ import annotations

import itertools
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from scipy.optimize import linprog

from geom.design import Brick, Brickwork, Design, Profile, Shop
from geom.frame import to_cartesian
from geom.repair.masonry.bricks import curved_brick, standard_bricks
from geom.repair.masonry.layup import LayUp, lay_up
from geom.repair.masonry.pieces import pieces_of
from geom.repair.masonry.placed import PlacedBrick
from geom.repair.wall import Wall
from geom.surface import make_grid
from geom.units import Float
from tests.repair.known_wall import Field
from tests.repair.surveyed import SPLIT, box, hollow
from tests.walls import plain_design, tapered_design

NINE = Shop(bricks=standard_bricks("in"))
#: Well, bosh and stack, with knots that bricks stand across; bore of 27 in and wider.
BOSH = Profile(
    np.array([0.0, 420.0, 560.0, 760.0, 1500.0]),
    np.array([460.0, 460.0, 430.0, 470.0, 485.0]),
)
SMALL = Profile(np.array([0.0, 1500.0]), np.array([342.9, 342.9]))
WIDE = Profile(np.array([0.0, 1500.0]), np.array([1371.6, 1371.6]))


def broad(azimuth: Float, height: Float) -> Float:
    """A hollow for a dozen splits."""
    around = np.abs((azimuth - 60.0 + 180.0) % 360.0 - 180.0) / 48.0
    return 58.0 * np.exp(-((around**2 + ((height - 560.0) / 300.0) ** 2) ** 1.5))


def deep(azimuth: Float, height: Float) -> Float:
    """A hollow for bricks of every depth, and a second skin."""
    around = np.abs((azimuth - 90.0 + 180.0) % 360.0 - 180.0) / 25.0
    return 170.0 * np.exp(-((around**2 + ((height - 540.0) / 220.0) ** 2) ** 2))


def all_round(azimuth: Float, height: Float) -> Float:
    """A ring burnt back, for bricks in stacks: they meet where it was cut open."""
    bell = 1.0 / np.cosh((height - 640.0) / 210.0) ** 2
    return 66.0 * bell * (1.0 + 0.12 * np.cos(np.deg2rad(azimuth - 122.0)))


CASES: dict[str, tuple[Design, Field]] = {
    "straight": (plain_design(shop=NINE), broad),
    "bosh": (plain_design(profile=BOSH, shop=NINE), broad),
    "tuyeres and step": (tapered_design(shop=NINE), broad),
    "small": (plain_design(profile=SMALL, shell_radius=457.2, shop=NINE), broad),
    "all round": (
        plain_design(profile=SMALL, shell_radius=457.2, shop=NINE),
        all_round,
    ),
    "deep": (plain_design(shell_radius=785.0, shop=NINE), deep),
    "wide and deep": (
        plain_design(profile=WIDE, shell_radius=1700.0, shop=NINE),
        deep,
    ),
}


def wall_of(design: Design, field: Field, *, sd: float = 0.0) -> Wall:
    grid = make_grid(design, surveyed=(200.0, 900.0))
    azimuth, height = np.meshgrid(grid.azimuth, grid.height)
    gone = np.where(grid.surveyed, field(azimuth, height), np.nan)
    return Wall(grid, gone, np.where(grid.surveyed, sd, np.nan), design)


def laid_in(design: Design, field: Field, *, sd: float = 0.0) -> LayUp | None:
    wall = wall_of(design, field, sd=sd)
    with np.errstate(invalid="ignore"):
        mask = (wall.cutback > 31.75) & (wall.grid.wall >= 1.0)
    return lay_up(wall, mask, np.ones(mask.shape), pieces_of(design.shop.bricks))


@cache
def laid(name: str) -> LayUp:
    made = laid_in(*CASES[name])
    assert made is not None
    assert len(made.bricks) > 2
    return made


def solid(brick: PlacedBrick) -> tuple[Float, Float]:
    """Half spaces of a brick, from the hull of its corners: n x <= d."""
    import trimesh

    height, azimuth, radius = brick.corners().T
    points = to_cartesian(azimuth, radius, height, "counterclockwise")
    hull = trimesh.convex.convex_hull(points)
    assert hull.volume == pytest.approx(brick.piece.volume, rel=1e-9)
    normal = hull.face_normals
    return normal, np.einsum("ij,ij->i", normal, hull.triangles[:, 0])


def within_both(one: tuple[Float, Float], other: tuple[Float, Float]) -> float:
    """Radius of the largest ball in both, mm; less than 0 where they are apart."""
    normal = np.concatenate([one[0], other[0]])
    reach = np.concatenate([one[1], other[1]])
    ball = np.column_stack([normal, np.ones(reach.size)])
    bounds = [(None, None)] * 3 + [(-500.0, None)]
    found = linprog([0, 0, 0, -1], A_ub=ball, b_ub=reach, bounds=bounds)
    return float(found.x[3])


def points_of(brick: PlacedBrick, into: float) -> Float:
    """Points all over its face (0) or its back (1); height, azimuth, radius."""
    side, up = (
        part.ravel() for part in np.meshgrid(np.linspace(-0.5, 0.5, 15), _EVENLY)
    )
    piece = brick.piece
    along = piece.front + into * (piece.back - piece.front)
    return brick.points(
        side * along, up * piece.up, np.full(up.size, into * piece.into)
    )


_EVENLY = np.linspace(0.0, 1.0, 15)


@pytest.mark.parametrize("name", CASES)
def test_no_two_bricks_stand_in_each_other(name: str) -> None:
    bricks = laid(name).bricks
    solids = [solid(brick) for brick in bricks]
    middle = [points_of(brick, 0.0).mean(axis=0) for brick in bricks]
    for one, other in itertools.combinations(range(len(bricks)), 2):
        if abs(middle[one][0] - middle[other][0]) > 260.0:
            continue  # no brick is taller
        # a ball of less than nothing fits into both: half a joint apart at least
        assert within_both(solids[one], solids[other]) < -0.4 * 3.0
    assert within_both(solids[0], solids[0]) > 5.0


@pytest.mark.parametrize("name", CASES)
def test_no_brick_stands_nearer_to_the_drawn_face_than_the_cover(name: str) -> None:
    design, nearest = CASES[name][0], []
    for brick in laid(name).bricks:
        height, _, radius = points_of(brick, 0.0).T
        sides = (design.profile.radius_at(height, side=s) for s in ("above", "below"))
        drawn = np.max([*sides], axis=0)
        nearest.append(float(np.min(radius - drawn)))
        assert nearest[-1] >= brick.cover - 0.3  # a knot lies between two points
    assert min(nearest) == pytest.approx(12.7, abs=0.05)


@pytest.mark.parametrize("name", CASES)
def test_no_brick_reaches_through_the_squared_hollow(name: str) -> None:
    design, field = CASES[name]
    most = -np.inf
    for brick in laid(name).bricks:
        height, azimuth, radius = points_of(brick, 1.0).T
        gone = design.profile.radius_at(height) + field(azimuth % 360.0, height)
        most = max(most, float(np.max(radius - gone)))
    # what is straight between nodes of the net is off by a little
    assert most <= design.shop.brickwork.squaring + 0.6
    assert most > 0.0


def test_a_deep_hollow_takes_thicker_bricks_and_a_second_skin() -> None:
    bricks = laid("deep").bricks
    assert {brick.skin for brick in bricks} >= {1, 2}
    assert max(brick.piece.into for brick in bricks) > 100.0
    assert laid("deep").volume > 0.35 * rebuilt("deep")


def rebuilt(name: str) -> float:
    wall = wall_of(*CASES[name])
    with np.errstate(invalid="ignore"):
        mask = wall.cutback > 31.75
    return wall.summed(mask.astype(float), wall.gone)


@pytest.mark.parametrize("name", ["straight", "bosh", "small"])
def test_little_sound_lining_is_cut_and_a_good_part_is_brick(name: str) -> None:
    layup = laid(name)
    assert 0.0 < layup.cut < 0.05 * rebuilt(name)
    assert layup.volume > 0.3 * rebuilt(name)


def test_joints_of_neighbours_open_no_further_than_the_shop_says() -> None:
    for name in CASES:
        for brick in laid(name).bricks:
            corner = float(np.min(brick.corners()[:4, 2]))
            assert abs(brick.piece.opening(corner)) <= 12.7 + 1e-9


def test_one_standard_uncertainty_of_the_depth_is_held_back() -> None:
    # a split of 30 mm behind 12.7 of cover, squared by 12.7, and round its corners:
    # a split needs 30 mm and its back's sagitta, 3.1 mm of 110 on a radius of 493
    design = plain_design(shop=Shop(bricks=(SPLIT,)))
    need = 30.0 + float(np.hypot(492.7, 55.0)) - 492.7
    for sd in (0.0, 2.0, 4.0):
        fits, not_so = (
            laid_in(design, box(90.0, 20.0, 300.0, 600.0, need + sd + more), sd=sd)
            for more in (0.2, -0.2)
        )
        assert fits is not None
        assert not_so is None


def test_nothing_is_laid_over_an_opening_or_where_nothing_was_read() -> None:
    design = CASES["tuyeres and step"][0]
    field = lambda a, h: 60.0 + 0.0 * (a + h)  # noqa: E731
    made = laid_in(design, field)
    assert made is not None
    for brick in made.bricks:
        height, azimuth, _ = points_of(brick, 0.0).T
        for hole in design.openings:
            radius = design.radius_at_opening(hole)
            assert not hole.holds(azimuth, height, radius).any()
        assert height.min() >= 200.0 - 1e-6
        assert height.max() <= 900.0 + 1e-6


def test_joints_do_not_run_on_from_course_to_course() -> None:
    field = box(90.0, 60.0, 250.0, 850.0, 50.0)
    made = laid_in(plain_design(shop=NINE), field)
    assert made is not None
    courses = made.courses()
    assert len(courses) >= 2
    for below, above in itertools.pairwise(courses):
        if above.height_from - below.height_to > 15.0:
            continue
        for joint in joints_of(below.bricks):
            for other in joints_of(above.bricks):
                assert abs(joint - other) * np.pi / 180.0 * 460.0 > 15.0


def joints_of(bricks: tuple[PlacedBrick, ...]) -> list[float]:
    ends = [(b.azimuth - b.half_angle, b.azimuth + b.half_angle) for b in bricks]
    pairs = itertools.pairwise(sorted(ends))
    return [0.5 * (one[1] + two[0]) for one, two in pairs if two[0] - one[1] < 1.0]


def test_a_list_without_splits_lays_nothing_in_a_shallow_hollow() -> None:
    straights = tuple(b for b in standard_bricks("in") if "split" not in b.name)
    design = plain_design(shop=Shop(bricks=straights))
    assert laid_in(design, hollow(90.0, 500.0, 50.0)) is None


def test_a_brick_curved_to_a_bore_stands_in_that_bore_alone() -> None:
    # 150 mm deep, of which 24 turn a bore of 900 mm: backs 157.1 less a joint
    circle = Brick("circle", 150.0, 154.0, 64.0, "width", 115.0, bore=925.0)
    for bore, stands in ((925.0, True), (1400.0, False)):
        shop = Shop(bricks=(replace(circle, bore=bore),))
        made = laid_in(plain_design(shop=shop, shell_radius=785.0), deep)
        assert (made is not None) == stands


def test_a_curved_brick_is_laid_where_a_flat_one_of_its_size_finds_no_room() -> None:
    """A ring gone by 123 mm: the corners of a flat back would reach 11 mm further."""
    curved = curved_brick(450.0, 114.0, 64.0, most=230.0, joint=3.0, name="circle")
    made = []
    for brick in (curved, replace(curved, bore=0.0)):
        design = plain_design(shop=Shop(bricks=(brick,)), shell_radius=785.0)
        made.append(laid_in(design, lambda azimuth, _: 123.0 + 0.0 * azimuth))
    laid, flat = made
    assert flat is None
    assert laid is not None
    work = Brickwork()
    along, up = (a.ravel() for a in np.meshgrid(np.linspace(-0.5, 0.5, 9), [0.0, 1.0]))
    for brick in laid.bricks:
        piece = brick.piece
        ends = [
            brick.points(long * along, up * piece.up, np.full(along.shape, into))[:, 2]
            for long, into in ((piece.front, 0.0), (piece.back, piece.into))
        ]
        assert ends[0].min() - 450.0 >= work.cover_least - 1e-6
        assert ends[1].max() - 450.0 <= 123.0 + work.squaring + 1e-6
    # 16 turn the bore, ten courses and their joints fit into 700 mm
    assert len(laid.bricks) >= 0.85 * 16 * 10


def test_pieces_follow_the_cover_that_the_shop_asks() -> None:
    field = hollow(90.0, 550.0, 60.0)
    shares = []
    for cover in (0.0, 6.35, 12.7, 19.0):
        work = Brickwork(cover_least=cover)
        shop = Shop(bricks=NINE.bricks, brickwork=work)
        made = laid_in(plain_design(shop=shop), field)
        shares.append(0.0 if made is None else made.volume)
        if made is not None:
            assert made.bricks[0].cover == cover
    assert shares == sorted(shares, reverse=True)
    assert shares[0] > shares[-1]
