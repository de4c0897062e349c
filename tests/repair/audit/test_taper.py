"""Lip, sill and the call on them, against closed forms and seeded draws."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm

from geom.design import Design, Opening, Profile, RepairRules
from geom.document import as_document
from geom.repair.audit.taper import (
    TuyereAudit,
    call_of,
    chance_within_tolerance,
    lip_to_shed,
    taper_audit,
    within_tolerance,
)
from geom.surface import GPPosterior, reconstruct
from geom.surface.clouds.kriging import by_themselves
from geom.surface.clouds.posterior import (
    POSE_PARAMETERS,
    CloudPosterior,
    PointErrors,
    SystematicErrors,
)
from geom.units import Float
from tests.repair.known_wall import KnownWall, known_surface, no_kernel
from tests.walls import (
    no_points,
    plain_design,
    rod_readings,
    stations,
    tapered_design,
)

#: Edges of the tuyeres of `tapered_design`, mm.
LOW, HIGH = 400.0, 490.0
#: Its wall runs in by 20 mm over 600 mm, up to a step there.
TAPER = -20.0 / 600.0


def lipped_design(lip: float = 25.0, **changes: object) -> Design:
    """A straight wall that stands out by a lip above its tuyeres."""
    profile = Profile(
        np.array([0.0, 445.0, 445.0, 1500.0]),
        np.array([450.0, 450.0, 450.0 - lip, 450.0 - lip]),
    )
    return tapered_design(**({"profile": profile} | changes))


def about(above: float, below: float):
    """Cut-back that is one number above the tuyeres and another below."""

    def cutback(azimuth: Float, height: Float) -> Float:
        return np.where(height > 445.0, above, below)

    return cutback


def either_side(sd: float):
    """Errors alike above, alike below, and strange to each other."""

    def covariance(a: Float, h: Float, a2: Float, h2: Float) -> Float:
        return sd**2 * ((h > 445.0) == (h2 > 445.0))

    return covariance


def shared_by_all(a: Float, h: Float, a2: Float, h2: Float) -> Float:
    """One error of 6 mm for the whole wall."""
    return np.full(np.broadcast_shapes(h.shape, h2.shape), 36.0)


def that_may_lean(a: Float, h: Float, a2: Float, h2: Float) -> Float:
    """A wall that leans about 700 mm by 0.05, give or take."""
    return 0.05**2 * (h - 700.0) * (h2 - 700.0)


def leaning_back(azimuth: Float, height: Float) -> Float:
    """Cut-back that grows by 0.12 mm in each mm of height."""
    return 0.12 * height


def test_as_drawn_it_is_the_drawing() -> None:
    design = tapered_design()
    for audit in taper_audit(known_surface(design, KnownWall(about(0, 0))), design):
        assert audit.overhang.drawn == pytest.approx(-TAPER * 90.0, rel=1e-12)
        assert audit.overhang.found.value == pytest.approx(3.0, rel=1e-9)
        assert audit.slope.drawn == pytest.approx(TAPER, rel=1e-9)
        assert audit.reach == pytest.approx(600.0 - HIGH)  # the step ends it


def test_what_was_found_is_drawn_plus_what_burnt_back() -> None:
    design = tapered_design()
    surface = known_surface(design, KnownWall(about(11.0, 4.0)))
    (audit, *_) = taper_audit(surface, design)
    assert audit.overhang.found.value == pytest.approx(3.0 + 4.0 - 11.0, rel=1e-9)
    pose_errors = known_surface(design, KnownWall(leaning_back))
    (audit, *_) = taper_audit(pose_errors, design)
    assert audit.slope.found.value == pytest.approx(TAPER + 0.12, rel=1e-9)
    # lip and sill lie 90 mm apart and are seen over 20 mm each
    assert audit.overhang.found.value == pytest.approx(3.0 - 0.12 * 110.0, abs=0.6)


def test_a_drawn_lip_sheds_and_is_hardly_in_doubt() -> None:
    design = lipped_design()
    surface = known_surface(design, KnownWall(about(2.0, 2.0), either_side(4.0)))
    for audit in taper_audit(surface, design):
        assert audit.call == "sheds"
        assert audit.chance > 0.9999
        assert audit.in_front.value == pytest.approx(1.0, abs=1e-3)
        assert audit.chance_repaired == 1.0


def test_a_wall_burnt_away_above_runs_in() -> None:
    design = lipped_design()
    surface = known_surface(design, KnownWall(about(40.0, 2.0), either_side(4.0)))
    for audit in taper_audit(surface, design):
        assert audit.call == "runs in"
        assert audit.overhang.found.value == pytest.approx(25.0 - 38.0, rel=1e-9)
        assert audit.chance_repaired == 1.0  # the drawing would cure it


def test_a_wall_burnt_back_evenly_sheds_as_it_did() -> None:
    design = lipped_design()
    surface = known_surface(design, KnownWall(about(40.0, 40.0), either_side(4.0)))
    assert {a.call for a in taper_audit(surface, design)} == {"sheds"}


def test_slag_grown_on_the_sill_catches_what_would_fall_clear() -> None:
    design = lipped_design()
    on_sill = known_surface(design, KnownWall(about(0.0, -40.0), either_side(4.0)))
    assert {a.call for a in taper_audit(on_sill, design)} == {"runs in"}
    on_lip = known_surface(design, KnownWall(about(-40.0, 0.0), either_side(4.0)))
    assert {a.call for a in taper_audit(on_lip, design)} == {"sheds"}


@pytest.mark.parametrize("above", [20.0, 24.0, 28.0])
def test_noise_in_between_leaves_it_doubtful_by_its_own_chance(above: float) -> None:
    design = lipped_design()
    surface = known_surface(design, KnownWall(about(above, 0.0), either_side(6.0)))
    (audit, *_) = taper_audit(surface, design)
    sd = 6.0 * np.sqrt(2.0)
    assert audit.overhang.found.sd == pytest.approx(sd, rel=1e-9)
    assert audit.chance == pytest.approx(norm.cdf((25.0 - above) / sd), rel=1e-9)
    assert audit.call == "doubtful"


def test_errors_that_lip_and_sill_share_do_not_count() -> None:
    design = lipped_design()
    shared = KnownWall(about(20.0, 0.0), shared_by_all)
    (audit, *_) = taper_audit(known_surface(design, shared), design)
    assert audit.overhang.found.sd == pytest.approx(0.0, abs=1e-5)
    assert audit.call == "sheds"


def test_sd_of_a_slope_is_that_of_a_wall_that_may_lean() -> None:
    design = lipped_design()
    leans = KnownWall(about(0, 0), that_may_lean)
    (audit, *_) = taper_audit(known_surface(design, leans), design)
    assert audit.reach == 150.0
    assert audit.slope.found.sd == pytest.approx(0.05, rel=1e-9)


def test_half_a_lip_burnt_away_is_half_the_width() -> None:
    design = lipped_design()
    half = KnownWall(lambda a, h: np.where((h > 445) & (a > 120.0) & (a < 180), 60, 0))
    audits = taper_audit(known_surface(design, half, columns=1440), design)
    shares = [audit.in_front.value for audit in audits]
    assert shares == pytest.approx([1.0, 0.5, 1.0], abs=0.01)


def test_share_of_the_width_has_the_uncertainty_of_all_columns_together() -> None:
    design = lipped_design()
    surface = known_surface(design, KnownWall(about(25.0, 0.0), either_side(5.0)))
    (audit, *_) = taper_audit(surface, design)
    # all columns go together: all in front or none, evenly
    assert audit.in_front.value == pytest.approx(0.5, abs=0.03)
    assert audit.in_front.sd == pytest.approx(0.5, abs=0.01)
    assert (audit.in_front.low95, audit.in_front.high95) == (0.0, 1.0)


def test_outside_the_surveyed_heights_nothing_is_said() -> None:
    design = lipped_design()
    wall = KnownWall(about(0.0, 0.0))
    for surveyed in ((420.0, 1400.0), (100.0, 480.0)):
        surface = known_surface(design, wall, surveyed=surveyed)
        for audit in taper_audit(surface, design):
            assert audit.call == "not surveyed"
            assert audit.chance is None
            assert audit.overhang.found is None
            assert audit.overhang.drawn == pytest.approx(25.0)
    short = known_surface(design, wall, surveyed=(100.0, HIGH + 30.0))
    for audit in taper_audit(short, design):
        assert audit.call == "sheds"
        assert audit.reach == pytest.approx(30.0)
        assert audit.slope is None  # under 50 mm of wall tells no slope


def test_another_opening_above_is_no_wall() -> None:
    upper = Opening("door", 0.0, 560.0, 250.0, 60.0)
    design = lipped_design()
    design = replace(design, openings=(*design.openings, upper))
    hole = KnownWall(
        lambda a, h: np.where((h > 540) & (h < 580) & ((a < 20) | (a > 340)), 99, 0.0)
    )
    (audit, *_) = taper_audit(known_surface(design, hole), design)
    assert audit.slope.found.value == pytest.approx(0.0, abs=1e-9)
    without = lipped_design()
    (spoiled, *_) = taper_audit(known_surface(without, hole), without)
    assert abs(spoiled.slope.found.value) > 0.01


def test_no_tuyeres_no_audit_and_what_is_told_can_be_written() -> None:
    bare = plain_design()
    assert taper_audit(known_surface(bare, KnownWall(about(0, 0))), bare) == ()
    design = lipped_design()
    surface = known_surface(design, KnownWall(about(9, 2), either_side(4.0)))
    told = as_document(taper_audit(surface, design))
    again = json.loads(json.dumps(told))
    assert [one["number"] for one in again] == [1, 2, 3]
    assert again[0]["overhang"]["found"]["value"] == pytest.approx(18.0)


def test_limits_of_the_call() -> None:
    calls = [call_of(p) for p in (1.0, 0.9, 0.899, 0.101, 0.1, 0.0)]
    assert calls == ["sheds", "sheds", "doubtful", "doubtful", "runs in", "runs in"]


def test_after_repair_lip_and_sill_lie_anywhere_within_tolerance() -> None:
    rng = np.random.default_rng(3)
    lip, sill = rng.uniform(-6.0, 6.0, (2, 400_000))
    drawn = 3.0 + sill - lip
    told = within_tolerance(3.0, 6.0)
    # 400 000 draws: sd to 0.1 %, a share to 0.0008
    assert told.sd == pytest.approx(drawn.std(), rel=0.004)
    held = np.mean((drawn > told.low95) & (drawn < told.high95))
    assert held == pytest.approx(0.95, abs=0.002)
    assert chance_within_tolerance(3.0, 6.0) == pytest.approx(
        np.mean(drawn > 0.0), abs=0.003
    )
    assert chance_within_tolerance(-3.0, 6.0) == pytest.approx(
        1.0 - chance_within_tolerance(3.0, 6.0)
    )
    flush = lipped_design(0.0, repair=RepairRules(tolerance=6.0))
    surface = known_surface(flush, KnownWall(about(0, 0), either_side(1.0)))
    assert {a.chance_repaired for a in taper_audit(surface, flush)} == {0.5}


# --- what gathers slag, and its remedy ------------------------------------------------


def remedied(design: Design, cutback, kernel=no_kernel) -> TuyereAudit:
    """The first tuyere of a wall."""
    return taper_audit(known_surface(design, KnownWall(cutback, kernel)), design)[0]


def jobs_of(audit: TuyereAudit) -> dict[str, float]:
    return {each.work: each.by for each in audit.remedies}


def hollowed(azimuth: Float, height: Float) -> Float:
    """20 mm more gone between 40 and 100 mm above the opening."""
    return np.where((height > HIGH + 40.0) & (height < HIGH + 100.0), 20.0, 0.0)


def test_a_wall_on_its_drawing_needs_nothing() -> None:
    audit = remedied(lipped_design(), about(0.0, 0.0))
    assert audit.remedies == ()
    assert audit.sill_proud.value == audit.lip_back.value == 0.0
    assert audit.hollow.value == pytest.approx(0.0, abs=1e-9)


def test_slag_on_the_sill_is_chipped_by_as_much_as_it_stands_proud() -> None:
    audit = remedied(lipped_design(), about(0.0, -12.7), either_side(2.0))
    assert jobs_of(audit) == {"chip sill": pytest.approx(12.7)}
    assert audit.sill_proud.sd == pytest.approx(2.0)
    within = remedied(lipped_design(), about(0.0, -6.0))
    assert within.remedies == ()


def test_a_lip_burnt_back_is_daubed_out_by_as_much() -> None:
    # burnt back as far all the way up: no hollow
    audit = remedied(lipped_design(), about(9.5, 0.0), either_side(3.0))
    assert jobs_of(audit) == {"daub lip": pytest.approx(9.5)}
    assert audit.lip_back.sd == pytest.approx(3.0)
    assert audit.hollow.value == pytest.approx(0.0, abs=1e-9)


def test_a_hollow_above_the_lip_is_told_by_its_depth_and_place() -> None:
    audit = remedied(lipped_design(), hollowed)
    assert jobs_of(audit) == {"fill hollow": pytest.approx(20.0)}
    assert HIGH + 40.0 < audit.hollow_height < HIGH + 100.0
    # a wall that leans away evenly, however far, holds no slag
    leans = remedied(lipped_design(), leaning_back)
    assert leans.hollow.value == pytest.approx(0.0, abs=1e-9)


def test_doubt_of_a_hollow_is_that_of_row_less_line() -> None:
    def by_height(a: Float, h: Float, a2: Float, h2: Float) -> Float:
        return 16.0 * (np.abs(h - h2) < 1e-6)

    audit = remedied(lipped_design(), hollowed, by_height)
    # each row by itself, sd 4: own row, two rows each in lip and upper strip
    share = (audit.hollow_height - (HIGH + 10.0)) / (HIGH + 140.0 - (HIGH + 10.0))
    spread = 1.0 + ((1.0 - share) ** 2 + share**2) / 2.0
    assert audit.hollow.sd == pytest.approx(4.0 * np.sqrt(spread), rel=0.02)


def lip_of(out: float, *, over: float = 3.0):
    """A lip that stands out of the profile and runs out upwards."""

    def cutback(azimuth: Float, height: Float) -> Float:
        wedge = np.maximum(out - (height - HIGH) / over, 0.0)
        return np.where(height > HIGH, -wedge, 0.0)

    return cutback


def with_lips(out: float, **changes: object) -> Design:
    design = lipped_design(0.0, **changes)
    holes = tuple(replace(hole, lip=out) for hole in design.openings)
    return replace(design, openings=holes)


def test_a_lip_drawn_for_a_tuyere_is_of_the_drawing_and_not_of_the_wall() -> None:
    design = with_lips(12.0)
    absent = remedied(design, about(0.0, 0.0))
    assert absent.overhang.drawn == pytest.approx(12.0)
    assert absent.overhang.found.value == pytest.approx(0.0, abs=1e-9)
    assert jobs_of(absent) == {"daub lip": pytest.approx(12.0)}
    there = remedied(design, lip_of(12.0))
    assert there.remedies == ()
    assert there.lip_back.value == pytest.approx(0.0, abs=0.3)
    # found over rows of the 20 mm above: a lip that runs out is less there, by a third
    # of 5 to 15 mm
    assert 12.0 - 15.0 / 3.0 < there.overhang.found.value < 12.0 - 5.0 / 3.0
    assert there.hollow.value == pytest.approx(0.0, abs=0.6)
    half = remedied(design, lip_of(5.0))
    assert [each.work for each in half.remedies] == ["daub lip"]


def test_a_small_lip_that_is_gone_is_told_though_within_tolerance() -> None:
    audit = remedied(with_lips(5.0), about(0.0, 0.0))
    assert jobs_of(audit) == {"daub lip": pytest.approx(5.0)}


def test_flush_is_what_leaves_it_to_chance_once_repaired() -> None:
    rules = RepairRules(tolerance=6.0)
    needed = lip_to_shed(6.0)
    for lip, flush in ((0.0, True), (needed - 0.01, True), (needed + 0.01, False)):
        audit = remedied(with_lips(lip, repair=rules), about(0.0, 0.0))
        assert audit.flush is flush
        assert chance_within_tolerance(lip, 6.0) == audit.chance_repaired
    assert chance_within_tolerance(needed, 6.0) == pytest.approx(0.9, rel=1e-12)
    assert not remedied(lipped_design(), about(0.0, 0.0)).flush


def test_what_was_not_surveyed_has_no_remedy() -> None:
    design = lipped_design(0.0)
    wall = KnownWall(about(40.0, -40.0))
    for audit in taper_audit(known_surface(design, wall, surveyed=(100, 480)), design):
        assert (audit.remedies, audit.sill_proud, audit.hollow) == ((), None, None)
        assert audit.flush


# --- calibration ---------------------------------------------------------------------


def smooth(a: Float, h: Float, a2: Float, h2: Float) -> Float:
    """A wall of 8 mm, 80 mm up and some 40 degrees round."""
    chord = 2.0 * np.sin(np.deg2rad(a - a2) / 2.0)
    return 64.0 * np.exp(-0.5 * ((h - h2) / 80.0) ** 2 - 0.5 * (chord / 0.7) ** 2)


class ReadWall:
    """That wall given noisy readings: textbook conditioning, written here anew."""

    def __init__(self, azimuth: Float, height: Float, noise: float) -> None:
        self.a, self.h = azimuth, height
        table = smooth(azimuth[:, None], height[:, None], azimuth, height)
        self.inverse = np.linalg.inv(table + noise**2 * np.eye(azimuth.size))
        self.value = np.zeros(azimuth.size)
        self.kept: dict[bytes, tuple[Float, Float]] = {}

    def joint(self, height: Float, azimuth: Float) -> tuple[Float, Float]:
        key = height.tobytes() + azimuth.tobytes()
        if key not in self.kept:
            a, h = np.tile(azimuth, height.size), np.repeat(height, azimuth.size)
            cross = smooth(self.a[:, None], self.h[:, None], a, h)
            gain = cross.T @ self.inverse
            alone = smooth(a[:, None], h[:, None], a, h)
            self.kept[key] = gain, alone - gain @ cross
        gain, covariance = self.kept[key]
        return gain @ self.value, covariance


def test_chances_come_true_as_often_as_they_say() -> None:
    design = lipped_design(4.0)
    a, h = stations(12, 9, 100.0, 1400.0)
    wall, noise = ReadWall(a, h, 3.0), 3.0
    half = design.tuyeres[0].half_angle(425.0)
    across = np.linspace(-half, half, 9)
    bands = np.concatenate([HIGH + np.arange(2, 20, 4.0), LOW - np.arange(2, 20, 4.0)])
    there = [
        (tuyere.azimuth + np.tile(across, 10), np.repeat(bands, 9))
        for tuyere in design.tuyeres
    ]
    every_a = np.concatenate([a, *(one for one, _ in there)])
    every_h = np.concatenate([h, *(one for _, one in there)])
    strength, axes = np.linalg.eigh(
        smooth(every_a[:, None], every_h[:, None], every_a, every_h)
    )
    root = axes * np.sqrt(np.maximum(strength, 0.0))
    rng = np.random.default_rng(11)
    surface = known_surface(design, wall)
    said, sds, values, true = [], [], [], []
    for _ in range(200):
        field = root @ rng.standard_normal(every_a.size)
        wall.value = field[: a.size] + rng.normal(0.0, noise, a.size)
        about_each = field[a.size :].reshape(3, 2, -1).mean(axis=2)
        true.extend(4.0 + about_each[:, 1] - about_each[:, 0])
        for audit in taper_audit(surface, design):
            said.append(audit.chance)
            values.append(audit.overhang.found.value)
            sds.append(audit.overhang.found.sd)
    said, sds, values, true = map(np.array, (said, sds, values, true))
    assert np.mean((said > 0.1) & (said < 0.9)) > 0.3  # a fair share in doubt
    assert worst_bin(said, true > 0.0) < 3.5
    # 600 intervals: a share of 95 % is good to 0.9 %
    assert np.mean(np.abs(values - true) < 1.96 * sds) == pytest.approx(0.95, abs=0.03)
    too_sure = norm.cdf(values / (0.5 * sds))
    assert worst_bin(too_sure, true > 0.0) > 3.5


def worst_bin(said: Float, came: Float) -> float:
    """Greatest departure of what came from what was said, in standard deviations."""
    bins = np.minimum((said * 5).astype(int), 4)
    off = [
        abs(np.sum(came[bins == k] - said[bins == k]))
        / np.sqrt(np.sum(said[bins == k] * (1.0 - said[bins == k])) + 1.0)
        for k in range(5)
    ]
    return float(max(off))


# --- real posteriors -----------------------------------------------------------------


def spoiled_lip(azimuth: Float, height: Float) -> Float:
    """Burnt back above the second tuyere alone, a little all over."""
    turned = np.mod(azimuth - 120.0 + 180.0, 360.0) - 180.0
    above = np.exp(-0.5 * ((height - 540.0) / 60.0) ** 2)
    return 3.0 + 70.0 * above * np.exp(-0.5 * (turned / 30.0) ** 2)


def audited(turned: float):
    """Audit of a furnace that stands turned by so many degrees."""
    design = lipped_design()
    openings = tuple(
        replace(hole, azimuth=(hole.azimuth + turned) % 360.0)
        for hole in design.openings
    )
    design = replace(design, openings=openings)
    a, h = stations(12, 14, 100.0, 1000.0)
    noise = np.random.default_rng(5).normal(0.0, 1.5, a.size)
    radius = design.profile.radius_at(h) + spoiled_lip(a, h) + noise
    readings = rod_readings((a + turned) % 360.0, h, radius, sd=1.5)
    return taper_audit(reconstruct(readings, design), design)


def test_a_turned_furnace_is_told_the_same() -> None:
    plain, turned = audited(0.0), audited(37.4)
    assert [audit.call for audit in plain] == ["sheds", "runs in", "sheds"]
    assert [audit.call for audit in turned] == [audit.call for audit in plain]
    for one, other in zip(plain, turned, strict=True):
        found = other.overhang.found
        # the learned sizes are found anew; a tenth of the sd is what that may move
        assert one.overhang.found.value == pytest.approx(
            found.value, abs=max(0.1 * found.sd, 0.3)
        )
        assert other.in_front.value == pytest.approx(one.in_front.value, abs=0.05)


def scanned(design: Design, turned: float = 0.0) -> tuple[CloudPosterior, object]:
    """A wall seen all over: right at one tuyere's lip and sill, nonsense elsewhere."""
    surface = known_surface(design, KnownWall(about(0, 0)))
    grid = surface.grid
    lip = (grid.height > HIGH) & (grid.height < HIGH + 20.0)
    sill = (grid.height < LOW) & (grid.height > LOW - 20.0)
    away = np.mod(grid.azimuth - turned + 180.0, 360.0) - 180.0
    near = np.abs(away) <= 9.0
    mean = np.full(grid.shape, 1000.0)
    mean[np.ix_(lip, near)] = 12.0
    mean[np.ix_(sill, near)] = 2.0
    wall = CloudPosterior(
        fitted=GPPosterior(best=None),  # asked only where the wall is hidden
        grid=grid,
        mean=mean,
        sd=np.ones(grid.shape),
        occluded=np.zeros(grid.shape, dtype=bool),
        sd_inflation=np.ones(grid.shape),
        grazing_variance=np.zeros(grid.shape),
        roughness_variance=np.zeros(grid.shape),
        local=by_themselves(np.ones(grid.shape), np.full(grid.shape, 9.0)),
        ring_covariance=np.zeros((grid.height.size, grid.height.size)),
        cell_points=no_points(grid.shape),
        points=PointErrors(np.full(grid.shape, 4.0), np.full(grid.shape, -1)),
        systematic=SystematicErrors(
            POSE_PARAMETERS, np.zeros((5, *grid.shape)), np.zeros((5, 5))
        ),
    )
    return wall, replace(surface, posterior=wall)


@pytest.mark.parametrize("number", [0, 1])  # the first lies across azimuth 0
def test_a_scanned_wall_is_asked_cell_by_cell(number: int) -> None:
    design = lipped_design()
    azimuth = design.tuyeres[number].azimuth
    _, surface = scanned(design, azimuth)
    audit = taper_audit(surface, design)[number]
    assert audit.overhang.found.value == pytest.approx(25.0 + 2.0 - 12.0, rel=1e-9)
    # some 17 columns and 2 rows a side, 2 mm each by itself
    assert 0.25 < audit.overhang.found.sd < 0.6
