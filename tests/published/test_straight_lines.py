"""Straight lines against published ones.

Natrella (1963), Experimental Statistics, NBS Handbook 91, section 5-4.1: a line of 16
points; values as carried in sandialabs/suncal, test/test_curvefit.py, variances of the
fit at 1200 (10.53) and of a prediction at 750 (91.45) among them.

NIST StRD, Norris (calibration of ozone monitors), 36 points, certified values; data and
values as in scipy, scipy/stats/tests/data/nist_linregress/Norris.dat.

ISO/TS 28037:2010, pages 13 and 14: lines with equal and unequal uncertainty, read
backwards; values as carried in MSLNZ/GTC, test_fitting.py.
"""

from __future__ import annotations

import numpy as np
import pytest

from geom.stats.regression import fit_lines
from geom.units import Float

NATRELLA_X = np.array([30.0, *np.arange(100.0, 1501.0, 100.0)])
NATRELLA_Y = np.array(
    [
        *(4642, 4612, 4565, 4513, 4476, 4433, 4389, 4347),
        *(4303, 4251, 4201, 4140, 4100, 4073, 4024, 3999),
    ],
    dtype=float,
)

# fmt: off
NORRIS_X = np.array([
    0.2, 337.4, 118.2, 884.6, 10.1, 226.5, 666.3, 996.3, 448.6, 777.0, 558.2, 0.4,
    0.6, 775.5, 666.9, 338.0, 447.5, 11.6, 556.0, 228.1, 995.8, 887.6, 120.2, 0.3,
    0.3, 556.8, 339.1, 887.2, 999.0, 779.0, 11.1, 118.3, 229.2, 669.1, 448.9, 0.5,
])
NORRIS_Y = np.array([
    0.1, 338.8, 118.1, 888.0, 9.2, 228.1, 668.5, 998.5, 449.1, 778.9, 559.2, 0.3,
    0.1, 778.1, 668.8, 339.3, 448.9, 10.8, 557.7, 228.3, 998.0, 888.8, 119.6, 0.3,
    0.6, 557.6, 339.3, 888.0, 998.5, 778.9, 10.2, 117.6, 228.9, 668.4, 449.2, 0.2,
])
# fmt: on

ISO_X = np.arange(1.0, 7.0)
ISO_13 = np.array([3.3, 5.6, 7.1, 9.3, 10.7, 12.1])
ISO_14 = np.array([3.2, 4.3, 7.6, 8.6, 11.7, 12.8])
ISO_14_SD = np.array([0.5, 0.5, 0.5, 1.0, 1.0, 1.0])


class Line:
    """What print states of a line, from `StraightLine`; one series.

    Where ``variance`` is left out, uncertainties come from the residuals.
    """

    def __init__(self, x: Float, y: Float, variance: Float | None = None) -> None:
        own = 1.0 if variance is None else variance[:, None]
        line = fit_lines(x, y[:, None], own)
        self.slope = float(line.slope[0])
        self.level, self.middle = float(line.level[0]), float(line.middle[0])
        self.chi_square = float(line.chi_square[0])
        self.square = self.chi_square / float(line.dof[0])
        unit = self.square if variance is None else 1.0
        self.level_variance = unit * float(line.level_variance[0])
        self.slope_variance = unit * float(line.slope_variance[0])

    @property
    def intercept(self) -> float:
        return self.level - self.slope * self.middle

    def variance_at(self, x: float) -> float:
        return self.level_variance + (x - self.middle) ** 2 * self.slope_variance

    @property
    def sds(self) -> list[float]:
        return np.sqrt([self.variance_at(0.0), self.slope_variance]).tolist()

    def reaches(self, y: float, variance: float) -> tuple[float, float]:
        """Where the line reaches a value, and its sd; ISO/TS 28037:2010, 11.1."""
        x = self.middle + (y - self.level) / self.slope
        return x, np.sqrt(self.variance_at(x) + variance) / abs(self.slope)


def test_natrella_the_line_and_its_scale() -> None:
    line = Line(NATRELLA_X, NATRELLA_Y)
    assert line.slope == pytest.approx(-0.44985482, rel=1e-7)
    assert line.intercept == pytest.approx(4654.9846, rel=1e-7)
    assert line.slope_variance == pytest.approx(2.5649045e-5, rel=1e-6)
    assert line.variance_at(0.0) == pytest.approx(19.879452, rel=1e-6)
    assert np.sqrt(line.square) == pytest.approx(9.277617, rel=1e-6)


def test_natrella_variance_of_a_fit_and_of_a_prediction() -> None:
    line = Line(NATRELLA_X, NATRELLA_Y)
    assert line.variance_at(1200.0) == pytest.approx(10.53, abs=5e-3)
    assert line.square + line.variance_at(750.0) == pytest.approx(91.45, abs=5e-3)
    # the two are not the same thing
    assert line.variance_at(750.0) < 0.1 * (line.square + line.variance_at(750.0))


def test_natrella_spoiled_by_one_digit_is_another_line() -> None:
    y = NATRELLA_Y.copy()
    y[3] += 10.0
    line = Line(NATRELLA_X, y)
    assert line.intercept != pytest.approx(4654.9846, rel=1e-5)
    assert np.sqrt(line.square) != pytest.approx(9.277617, rel=1e-3)


def test_norris_certified_values() -> None:
    line = Line(NORRIS_X, NORRIS_Y)
    assert NORRIS_X.size == 36
    assert line.intercept == pytest.approx(-0.262323073774029, rel=1e-9)
    assert line.slope == pytest.approx(1.00211681802045, rel=1e-12)
    assert line.sds == pytest.approx(
        [0.232818234301152, 0.429796848199937e-3], rel=1e-9
    )
    assert np.sqrt(line.square) == pytest.approx(0.884796396144373, rel=1e-9)
    assert line.chi_square == pytest.approx(26.6173985294224, rel=1e-9)


def test_norris_with_two_points_exchanged_misses_them() -> None:
    y = NORRIS_Y.copy()
    y[[0, 11]] = y[[11, 0]]
    line = Line(NORRIS_X, y)
    assert line.intercept != pytest.approx(-0.262323073774029, rel=1e-5)
    assert np.sqrt(line.square) != pytest.approx(0.884796396144373, rel=1e-5)


def test_iso_28037_equal_uncertainty_and_its_inverse() -> None:
    line = Line(ISO_X, ISO_13, variance=np.full(6, 0.25))
    assert line.intercept == pytest.approx(1.866667, abs=5e-7)
    assert line.slope == pytest.approx(1.757143, abs=5e-7)
    assert line.sds == pytest.approx([0.4654747, 0.1195229], abs=5e-8)
    assert -line.middle * line.slope_variance == pytest.approx(-0.050, abs=5e-4)
    x, sd = line.reaches(10.5, 0.25)
    assert x == pytest.approx(4.913, abs=5e-4)
    assert sd == pytest.approx(0.322, abs=5e-4)
    # without the covariance of intercept and slope the inverse is a good deal too sure
    sure = np.sqrt(line.sds[0] ** 2 + 0.25 + (x * line.sds[1]) ** 2) / 1.757143
    assert sd != pytest.approx(sure, rel=0.2)


def test_iso_28037_unequal_uncertainty_and_its_inverse() -> None:
    line = Line(ISO_X, ISO_14, variance=ISO_14_SD**2)
    assert line.intercept == pytest.approx(0.8852, abs=5e-5)
    assert line.slope == pytest.approx(2.0570, abs=5e-5)
    assert line.chi_square == pytest.approx(4.131, abs=5e-4)
    x, sd = line.reaches(10.5, 1.0)
    assert x == pytest.approx(4.674, abs=5e-4)
    assert sd == pytest.approx(0.533, abs=5e-4)


def test_iso_28037_with_all_points_alike_is_another_line() -> None:
    line = Line(ISO_X, ISO_14, variance=np.ones(6))
    assert line.intercept != pytest.approx(0.8852, abs=0.02)
    assert line.slope != pytest.approx(2.0570, abs=0.01)
