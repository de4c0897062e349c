"""Level of detection as published, and as another library has it.

D. Lague, N. Brodu, J. Leroux, "Accurate 3D comparison of complex topography with
terrestrial laser scanner: application to the Rangitikei canyon (N-Z)", ISPRS Journal of
Photogrammetry and Remote Sensing 82 (2013) 10-26: LoD95 = 1.96 (sqrt(s1^2 / n1 +
s2^2 / n2) + reg).  The equation is as coded in py4dgeo (lib/distances.cpp and
fallback.py, mean_stddev_distance); registration stands inside the 1.96 and is added,
not put under the root.  Worked value: s1 = s2 = 2 mm, n1 = n2 = 10, reg = 1 mm: 1.96 x
(0.8944 + 1) = 3.713 mm.  Lengths in mm.

The wall is a piece of cylinder of radius 450 mm, of which two clouds of 60,000 points
with an error of 2 mm are made, the second 8 mm farther out.  In the slow test it is a
whole wall, worn unevenly, that goes the whole road of a survey, twice.
"""

from __future__ import annotations

import logging
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import py4dgeo
import pytest

from geom.compare import assess
from geom.design import DatumBand, ScannerErrors
from geom.frame import to_cartesian, turn
from geom.readings import load_readings
from geom.record.change.compare import compare_walls
from geom.record.store.survey_file import RecordedWall
from geom.stats.comparisons import level_of_detection
from geom.surface import reconstruct
from geom.units import Float
from tests.walls import plain_design

RADIUS, SHIFT, NOISE, REGISTRATION = 450.0, 8.0, 2.0, 1.0
POINTS = 60_000
#: Lower and upper end of the whole wall's datum band, mm.
BAND = (1200.0, 1480.0)
#: Radius of the cylinders that M3C2 looks along.
REACH = 25.0
#: Where: azimuth in degrees, height in mm.
PLACES = np.array([(a, z) for a in (-12.0, 0.0, 12.0) for z in (80.0, 200.0, 320.0)])


def stated_level_of_detection(
    spread: float,
    count: int,
    other_spread: float,
    other_count: int,
    registration: float,
) -> float:
    """Level of detection at 95 % between two sets of points, as published, mm.

    Of a standard deviation and a number of points each; the registration's standard
    uncertainty is the same for all points, so it is added and not put under the root.
    """
    of_means = spread**2 / count + other_spread**2 / other_count
    return float(1.96 * (np.sqrt(of_means) + registration))


def cloud(radius: float, seed: int) -> Float:
    """Azimuth, radius and height of points of a wall; (POINTS, 3)."""
    chance = np.random.default_rng(seed)
    return np.stack(
        [
            chance.uniform(-20.0, 20.0, POINTS),
            radius + chance.normal(0.0, NOISE, POINTS),
            chance.uniform(0.0, 400.0, POINTS),
        ],
        axis=1,
    )


CLOUDS = (cloud(RADIUS, 1), cloud(RADIUS + SHIFT, 2))


def placed(points: Float) -> Float:
    """In the cartesian frame, mm."""
    return to_cartesian(*points.T, "counterclockwise")


@pytest.fixture(scope="module", autouse=True)
def _quiet(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Its log goes to a folder of the test, and its file is closed after."""
    log = tmp_path_factory.mktemp("log") / "py4dgeo.log"
    py4dgeo.set_py4dgeo_logfile(str(log))
    yield
    logger = logging.getLogger("py4dgeo")
    for handler in logger.handlers[:]:
        handler.close()
        logger.removeHandler(handler)
    Path(log).unlink(missing_ok=True)


@pytest.fixture(scope="module")
def theirs() -> tuple[Float, Float]:
    """Distances and levels of detection of M3C2, mm."""
    return m3c2(CLOUDS, PLACES, REGISTRATION)


def m3c2(
    clouds: tuple[Float, ...], places: Float, registration: float
) -> tuple[Float, Float]:
    axis = np.stack([places[:, 0], np.full(len(places), RADIUS), places[:, 1]], axis=1)
    outward = axis.copy()
    outward[:, 1:] = (1.0, 0.0)
    run = py4dgeo.M3C2(
        epochs=tuple(py4dgeo.Epoch(placed(points)) for points in clouds),
        corepoints=placed(axis),
        corepoint_normals=placed(outward),
        cyl_radius=REACH,
        max_distance=60.0,
        registration_error=registration,
    )
    distance, doubt = run.run()
    return distance, doubt["lodetection"]


def beside_axis(points: Float, azimuth: float, height: float) -> Float:
    """How far out the points are that lie in the cylinder M3C2 looks along."""
    place = placed(points)
    outward = to_cartesian(azimuth, 1.0, 0.0, "counterclockwise")
    along = place @ outward
    off = place - along[:, None] * outward - np.array([0.0, 0.0, height])
    return along[np.sum(off**2, axis=1) <= REACH**2]


def in_cell(points: Float, azimuth: float, height: float) -> Float:
    """Radii of the points in a cell of the unrolled wall, as large as the cylinder."""
    half = 0.5 * np.sqrt(np.pi) * REACH
    away = np.deg2rad(turn(azimuth, points[:, 0])) * RADIUS
    inside = (np.abs(away) < half) & (np.abs(points[:, 2] - height) < half)
    return points[inside, 1]


def level_of(some: tuple[Float, Float], registration: float) -> float:
    first, last = some
    return float(
        stated_level_of_detection(
            first.std(ddof=1), first.size, last.std(ddof=1), last.size, registration
        )
    )


def test_the_worked_value() -> None:
    told = float(stated_level_of_detection(2.0, 10, 2.0, 10, 1.0))
    assert told == pytest.approx(3.713, abs=5e-4)
    under_the_root = 1.96 * np.sqrt(2.0**2 / 10 + 2.0**2 / 10 + 1.0**2)
    assert under_the_root == pytest.approx(2.630, abs=5e-4)


def test_the_level_of_one_number_is_that_published() -> None:
    # one point a survey, nothing in common: the published formula is that of ours
    both = float(level_of_detection(np.array(np.hypot(3.0, 4.0))))
    assert both == pytest.approx(stated_level_of_detection(3.0, 1, 4.0, 1, 0.0), 1e-4)


def test_of_the_same_points_the_levels_are_the_same(
    theirs: tuple[Float, Float],
) -> None:
    for place, distance, level in zip(PLACES, *theirs, strict=True):
        first, last = (beside_axis(points, *place) for points in CLOUDS)
        assert last.mean() - first.mean() == pytest.approx(distance, abs=1e-6)
        assert level_of((first, last), REGISTRATION) == pytest.approx(level, abs=1e-6)
        assert level_of((first, last), 0.5) < level - 0.9


def test_change_of_a_cell_is_the_distance_along_the_radius(
    theirs: tuple[Float, Float],
) -> None:
    for place, distance, level in zip(PLACES, *theirs, strict=True):
        first, last = (in_cell(points, *place) for points in CLOUDS)
        change = last.mean() - first.mean()
        # both are means of some 400 points of 2 mm, most of them the same: three
        # standard uncertainties of one of them
        doubt = 3.0 * NOISE * np.sqrt(1.0 / first.size + 1.0 / last.size)
        assert change == pytest.approx(distance, abs=doubt)
        assert change == pytest.approx(SHIFT, abs=doubt)
        # the number of points goes by chance, and their spread: 3 %
        assert level_of((first, last), REGISTRATION) == pytest.approx(level, rel=0.03)
        assert distance > level  # so large a change is told


def wear_at(wear: float, azimuth: Float, height: Float) -> Float:
    """How far a wall is gone that is burnt deeper on one side; none above 1150 mm."""
    side = 1.0 + 0.5 * np.cos(np.deg2rad(azimuth - 60.0))
    hump = np.exp(-(((height - 600.0) / 300.0) ** 2))
    return np.asarray(wear * hump * side * (height < 1150.0))


def whole_wall(wear: float, seed: int) -> Float:
    """Azimuth, radius and height of points of a whole wall; datum band not worn."""
    chance = np.random.default_rng(seed)
    azimuth = chance.uniform(0.0, 360.0, 120_000)
    height = chance.uniform(5.0, 1495.0, azimuth.size)
    worn = wear_at(wear, azimuth, height)
    radius = RADIUS + worn + chance.normal(0.0, NOISE, azimuth.size)
    return np.stack([azimuth, radius, height], axis=1)


def registration_of_change(cloud: Float, other: Float, height: Float) -> Float:
    """Standard uncertainty of a change by the two axes found on the band, mm.

    Of a straight axis by least squares.  Of n points round a ring an offset along x or
    y has the variance 2 s^2 / n.  At a height it is that of a straight line: more by
    (distance from the middle of the points / their standard deviation)^2.
    """
    variance = np.zeros(height.shape)
    for z in (cloud[:, 2], other[:, 2]):
        band = z[(z > BAND[0]) & (z < BAND[1])]
        far = (height - band.mean()) / band.std()
        variance += 2.0 * NOISE**2 / band.size * (1.0 + far**2)
    return np.sqrt(variance)


def surveyed(points: Float, path: Path) -> RecordedWall:
    """A cloud gone the whole road, of a scanner without errors of range and scale."""
    design = plain_design(
        azimuth_sense="counterclockwise",
        datum_bands=(DatumBand(*BAND),),
        scanner=ScannerErrors(range_error=0.0, scale_error=0.0, point_sd=NOISE),
    )
    np.save(path, placed(points))
    readings = load_readings([path], design, cloud_unit="mm", scanner=(0.0, 0.0, 700.0))
    surface = reconstruct(readings, design)
    panels = assess(surface, design).panels
    assert panels is not None
    return RecordedWall(
        title=path.stem,
        created=path.stem,
        occasion=None,
        design=design,
        height=surface.grid.height,
        azimuth=surface.grid.azimuth,
        design_radius=surface.grid.design_radius,
        cutback=surface.cutback,
        cutback_sd=surface.radius_sd,
        wall=surface.grid.wall,
        row_height=surface.grid.row_height,
        panels=panels,
        findings={},
    )


@pytest.mark.slow
def test_the_whole_road_tells_the_change_that_m3c2_tells(tmp_path: Path) -> None:
    """Both know the same errors: noise of the points, and registration.

    The design's scanner has no error of range and scale.  By default it has 1 mm, which
    all points of a survey share; the published level has no term for it, so ours would
    be some 2.8 mm.  The pose is found on a band far above and is known the less, the
    lower the place.  Ours includes it, so the published level is given as registration
    what a least-squares axis on the band's points has, by a formula of its own.
    """
    clouds = whole_wall(0.0, 1), whole_wall(14.0, 2)
    start, end = (
        surveyed(points, tmp_path / f"{name}.npy")
        for points, name in zip(clouds, ("first", "last"), strict=True)
    )
    change = compare_walls(start, end)
    places = np.array(
        [(a, z) for a in range(0, 360, 30) for z in range(200, 1001, 100)], dtype=float
    )
    distance, level = m3c2(clouds, places, 0.0)
    row = np.abs(change.grid.height[:, None] - places[:, 1]).argmin(axis=0)
    column = places[:, 0].astype(int)
    ours = change.maps.change[row, column]
    told = level_of_detection(change.maps.change_sd)[row, column]
    # each holds the truth 95 times in 100, and they see the same points
    both = np.hypot(told, level)
    assert np.mean(np.abs(ours - distance) < both) > 0.9
    assert np.abs(ours - distance).max() < 2.0 * both.max()
    assert np.mean(np.abs(ours + distance) < both) < 0.1  # the other way round
    registration = registration_of_change(*clouds, places[:, 1])
    stated = level + 1.96 * registration
    # ours weighs more points where the wall is smooth, and adds under the root
    assert np.median(told) < 1.3 * np.median(stated)
    off = np.abs(ours - wear_at(14.0, *places.T))
    assert np.mean(off < told) > 0.9
    assert np.sqrt(np.mean(off**2)) < 1.1 * np.sqrt(
        np.mean((distance - wear_at(14.0, *places.T)) ** 2)
    )
