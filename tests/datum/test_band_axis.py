"""The axis of each datum band by itself, against the pose."""

from __future__ import annotations

import numpy as np
import pytest

from geom.datum import BandBlocks, FoundPose, refine_pose
from geom.datum.assumptions import ASSUMED
from geom.datum.band_axis import BandAxis, band_axes
from geom.design import DatumBand
from geom.units import Float
from tests.datum.bands import BAND, some_pose, tall_design

LOW = DatumBand(200.0, 430.0)
DESIGN = tall_design(datum_bands=(LOW, BAND))
#: Standard uncertainties of the pose: mm, mm, degrees, degrees.
SD = np.array([0.2, 0.2, 0.02, 0.02])
NOISE = 0.3


def places(lit: float = 360.0) -> tuple[Float, Float]:
    """Azimuths and heights of blocks of both bands, (600,) if all is lit."""
    up = np.concatenate(
        [band.low + np.arange(23.0, 230.0, 46.0) for band in (LOW, BAND)]
    )
    height, azimuth = np.meshgrid(up, np.arange(3.0, lit, 6.0), indexing="ij")
    return azimuth.ravel(), height.ravel()


def axes(
    seed: int, cutback: Float | float = 0.0, *, lit: float = 360.0
) -> tuple[BandAxis, ...]:
    """What is found where bands are off their drawing by so much, mm."""
    _, true = some_pose(seed, DESIGN)
    rng = np.random.default_rng(seed)
    azimuth, height = places(lit)
    off = cutback + rng.normal(0.0, NOISE, azimuth.size)
    points = true.from_wall(azimuth, DESIGN.profile.radius_at(height) + off, height)
    found = true.at(true.parameters + rng.normal(0.0, SD), np.diag(SD**2))
    return band_axes(points, np.full(azimuth.size, NOISE**2), found, DESIGN)


def displaced(by: float, band: DatumBand) -> Float:
    """Cut-back of a band that stands so far toward azimuth 70, mm."""
    azimuth, height = places()
    inside = (height > band.low) & (height < band.high)
    return np.where(inside, by * np.cos(np.deg2rad(azimuth - 70.0)), 0.0)


@pytest.mark.parametrize("lit", [360.0, 200.0])
def test_sound_bands_agree_with_the_pose(lit: float) -> None:
    found = [axis for seed in range(20) for axis in axes(seed, lit=lit)]
    assert len(found) == 40
    assert not any(axis.disagrees for axis in found)
    # Chances spread over all of 0 to 1, as they should where there is no disagreement.
    p_values = np.array([axis.p_value for axis in found])
    assert 0.3 < p_values.mean() < 0.7
    assert p_values.min() < 0.2
    assert p_values.max() > 0.8


@pytest.mark.parametrize("band", [LOW, BAND])
def test_a_band_off_the_axis_is_called_out_alone(
    band: DatumBand,
) -> None:
    for seed in range(5):
        for axis in axes(seed, displaced(2.0, band)):
            assert axis.disagrees == (axis.band == band)
            if axis.disagrees:
                assert axis.offset == pytest.approx(2.0, abs=1.5)
    few = [axis for seed in range(5) for axis in axes(seed, displaced(0.1, band))]
    assert not any(axis.disagrees for axis in few)


def test_a_leaning_band_is_called_out() -> None:
    azimuth, height = places()
    lean = np.tan(np.deg2rad(0.5)) * (height - 2215.0) * np.sin(np.deg2rad(azimuth))
    low, high = axes(3, np.where(height > BAND.low, lean, 0.0))
    assert high.tilt == pytest.approx(0.5, abs=0.1)
    assert (low.disagrees, high.disagrees) == (False, True)


def test_a_crust_on_some_of_a_band_is_no_displacement() -> None:
    azimuth, _ = places()
    for seed in range(5):
        crusted = axes(seed, np.where(azimuth < 40.0, -8.0, 0.0))
        assert not any(axis.disagrees for axis in crusted)


def test_a_band_that_is_wide_or_oval_is_on_its_axis_still() -> None:
    azimuth, _ = places()
    oval = 3.0 + 2.0 * np.cos(2.0 * np.deg2rad(azimuth))
    for axis in axes(1, oval):
        assert not axis.disagrees
        assert axis.roundness == pytest.approx(4.0 + 5.0 * NOISE, abs=3.0 * NOISE)
    assert max(axis.roundness for axis in axes(1)) < 8.0 * NOISE


def test_what_determines_no_axis_is_not_judged() -> None:
    assert axes(0, lit=10.0) == ()
    _, true = some_pose(0, DESIGN)
    azimuth = np.arange(3.0, 360.0, 6.0)
    ring = true.from_wall(azimuth, np.full(60, 445.0), np.full(60, 2200.0))
    assert band_axes(ring, np.ones(60), true, DESIGN) == ()


def test_a_refined_pose_comes_with_the_axes_of_its_bands() -> None:
    _, true = some_pose(7, DESIGN)
    azimuth, height = places()
    noise = np.random.default_rng(7).normal(0.0, NOISE, azimuth.size)
    found = FoundPose(true, on_bands=True, n_points=1000, radius_bias=0.0)
    for off, expected in ((0.0, set()), (displaced(6.0, LOW), {LOW})):
        blocks = BandBlocks(azimuth, height, off + noise, np.full(noise.size, 0.09))
        better = refine_pose(found, DESIGN, blocks)
        assert [axis.band for axis in better.band_axes] == [LOW, BAND]
        assert expected <= {a.band for a in better.band_axes if a.disagrees}
        assert bool(expected) == any(a.disagrees for a in better.band_axes)


def test_chances_are_those_of_chi_square_with_four_degrees_of_freedom() -> None:
    """Table: 18.467 at one in a thousand (Pearson and Hartley 1966, table 8)."""
    from geom.datum.band_axis import _chi_square_tail

    at = np.sqrt(18.467) * np.eye(4)[0]
    assert _chi_square_tail(at, np.eye(4)) == pytest.approx(
        ASSUMED.band_significance, rel=1e-3
    )
