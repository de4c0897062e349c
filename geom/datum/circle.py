"""A circle through points of a section: the best one, and how well it is known.

The circle that makes the sum of squared distances from it smallest; distances are taken
square to it, not along one coordinate.

References
----------
Gander, Golub and Strebel (1994), Least-squares fitting of circles and ellipses, BIT 34,
558-578: the two algebraic fits (section 2) and the geometric one (section 4).
JCGM 100:2008 (GUM), annex H.3: the covariance of fitted parameters from the scatter of
the residuals.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from geom.errors import InputError
from geom.quantity import Quantity
from geom.units import Float

#: Unknowns of a circle: its centre and its radius.
UNKNOWNS = 3

#: Across their length, points narrower than this part of it lie on a line.
_FLAT = 1e-9
#: A radius past this many times the spread of the points is a line's, not a circle's.
_STRAIGHT = 1e5
_EXACT, _POLISHED = 1e-15, 50


@dataclass(frozen=True)
class Circle:
    """A circle fitted to points.

    Attributes
    ----------
    x, y : float, mm
        Its centre.
    radius : float, mm
    covariance : array (3, 3), mm2
        Of ``x``, ``y`` and ``radius``, linearised, from the scatter of the residuals
        (JCGM 100, H.3); NaN with three points, which leave no scatter to judge by.
    residual_sd : float, mm
        Standard deviation of the distances about the circle, of a point of weight 1;
        NaN with three points.
    freedom : int
        Degrees of freedom: points less unknowns.
    """

    x: float
    y: float
    radius: float
    covariance: Float
    residual_sd: float
    freedom: int

    @property
    def centre_sd(self) -> Float:
        """Standard uncertainties of ``x`` and ``y``, array (2,), mm."""
        return np.sqrt(np.diag(self.covariance)[:2])

    @property
    def radius_sd(self) -> float:
        """Standard uncertainty of the radius, mm."""
        return float(np.sqrt(self.covariance[2, 2]))

    def distance(self, x: ArrayLike, y: ArrayLike) -> Float:
        """How far points lie outside (positive) or inside the circle, mm."""
        from_x = np.asarray(x, dtype=np.float64) - self.x
        return np.hypot(from_x, np.asarray(y, dtype=np.float64) - self.y) - self.radius


def fit_circle(
    x: ArrayLike, y: ArrayLike, *, weight: ArrayLike | None = None
) -> Circle:
    """The circle with the smallest sum of squared distances to points.

    Parameters
    ----------
    x, y : array (n,), mm
        Points of one section, three or more.
    weight : array (n,), optional
        How much each squared distance counts, 1 unless given: one over the variance of
        the point, to any scale.  A point of weight 0 is left out.

    Returns
    -------
    Circle

    Raises
    ------
    InputError
        If there are fewer than three points or they lie on a line.

    Examples
    --------
    >>> round(fit_circle([1.0, 0.0, -1.0, 0.0], [0.0, 1.0, 0.0, -1.0]).radius, 12)
    1.0
    """
    from scipy.optimize import least_squares

    across, up = _points(x, y)
    counts = _weights(weight, across.size)
    across, up, counts = (part[counts > 0.0] for part in (across, up, counts))
    _must_be_round(across, up)
    middle = np.array([across.mean(), up.mean()])
    size = float(np.hypot(across - middle[0], up - middle[1]).max())
    root = np.sqrt(counts / counts.mean())
    p, q = (across - middle[0]) / size, (up - middle[1]) / size

    def distances(at: Float) -> Float:
        return np.asarray(root * (np.hypot(p - at[0], q - at[1]) - at[2]))

    def slopes(at: Float) -> Float:
        from_x, from_y = p - at[0], q - at[1]
        out = np.maximum(np.hypot(from_x, from_y), np.finfo(float).tiny)
        table = np.stack([from_x / out, from_y / out, np.ones_like(out)], axis=1)
        return np.asarray(-root[:, None] * table)

    start = np.array(algebraic_circle(p, q, weight=counts))
    found = least_squares(
        distances, start, slopes, method="lm", xtol=_EXACT, ftol=_EXACT, gtol=_EXACT
    ).x
    if not 0.0 < found[2] < _STRAIGHT:
        raise _on_a_line()
    found = _polished(found, distances, slopes)
    table = slopes(found)
    freedom = across.size - UNKNOWNS
    sd = residual_sd(distances(found) * size, freedom)
    return Circle(
        x=float(middle[0] + size * found[0]),
        y=float(middle[1] + size * found[1]),
        radius=float(size * found[2]),
        covariance=np.asarray(sd**2 * np.linalg.inv(table.T @ table), np.float64),
        residual_sd=sd * float(np.sqrt(counts.mean())),
        freedom=freedom,
    )


def algebraic_circle(
    x: ArrayLike,
    y: ArrayLike,
    *,
    norm: Literal["linear", "unit"] = "linear",
    weight: ArrayLike | None = None,
) -> tuple[float, float, float]:
    """A circle that makes its equation, not the distances, fit best: a first guess.

    Parameters
    ----------
    x, y : array (n,), mm
    norm : {'linear', 'unit'}
        ``"linear"`` holds the factor of x2 + y2 in the equation at 1; ``"unit"`` holds
        the sum of the squares of all its four factors at 1 (Gander, Golub and Strebel,
        section 2) and so depends on where the origin is.
    weight : array (n,), optional

    Returns
    -------
    (x, y, radius), mm

    Raises
    ------
    InputError
        If there are fewer than three points or they lie on a line.
    """
    across, up = _points(x, y)
    root = np.sqrt(_weights(weight, across.size))
    _must_be_round(across[root > 0.0], up[root > 0.0])
    if norm == "unit":
        ones = np.ones_like(across)
        table = np.stack([across**2 + up**2, across, up, ones], axis=1)
        short = np.linalg.qr(root[:, None] * table, mode="r")
        a, b, c, d = np.linalg.svd(short)[2][-1]
        if abs(a) < np.finfo(float).tiny:
            raise _on_a_line()
        centre = -0.5 * np.array([b, c]) / a
        square = float(centre @ centre) - d / a
    else:
        middle = np.array([across.mean(), up.mean()])
        p, q = across - middle[0], up - middle[1]
        size = float(np.hypot(p, q).max())
        table = np.stack([2.0 * p, 2.0 * q, np.full_like(p, size)], axis=1)
        aim = root * (p**2 + q**2)
        a, b, c = np.linalg.lstsq(root[:, None] * table, aim, rcond=None)[0]
        centre = middle + np.array([a, b])
        square = a * a + b * b + c * size
    if square <= 0.0:
        raise _on_a_line()
    return float(centre[0]), float(centre[1]), float(np.sqrt(square))


def residual_sd(distances: Float, freedom: int) -> float:
    """Standard deviation of what a fit leaves over; NaN where it leaves nothing.

    Parameters
    ----------
    distances : array (n,), mm
    freedom : int
        Points less unknowns.
    """
    if freedom <= 0:
        return float("nan")
    return float(np.sqrt(distances @ distances / freedom))


def told(value: float, sd: float, freedom: int) -> Quantity:
    """A fitted number with its 95 % interval, by Student's t: the fewer, the wider.

    Parameters
    ----------
    value, sd : float
        Both in one unit.
    freedom : int
        Degrees of freedom of the fit.

    References
    ----------
    JCGM 100:2008 (GUM), annex G.3.

    Examples
    --------
    >>> round(told(457.0, 1.0, 10).high95, 3)
    459.228
    """
    from scipy.special import stdtrit

    reach = float(stdtrit(freedom, 0.975)) * sd if freedom > 0 else float("nan")
    return Quantity(value, sd, value - reach, value + reach)


def _polished(
    at: Float, distances: Callable[[Float], Float], slopes: Callable[[Float], Float]
) -> Float:
    """Unknowns to the last digits, by Gauss-Newton steps for as long as they shrink."""
    last = np.inf
    for _ in range(_POLISHED):
        step = np.linalg.lstsq(slopes(at), -distances(at), rcond=None)[0]
        if not (reach := float(np.abs(step).max())) < last:
            break
        at, last = at + step, reach
    return at


def _points(x: ArrayLike, y: ArrayLike) -> tuple[Float, Float]:
    """Both coordinates as flat arrays of one length, checked."""
    across = np.asarray(x, dtype=np.float64).ravel()
    up = np.asarray(y, dtype=np.float64).ravel()
    if across.size != up.size:
        raise InputError(
            f"{across.size} x and {up.size} y came", cure="Give one y to every x"
        )
    if not (np.isfinite(across).all() and np.isfinite(up).all()):
        raise InputError(
            "Some points of the section are not numbers", cure="Leave them out"
        )
    return across, up


def _weights(weight: ArrayLike | None, count: int) -> Float:
    if weight is None:
        return np.ones(count)
    counts = np.asarray(weight, dtype=np.float64).ravel()
    if counts.size != count:
        raise InputError(
            f"{counts.size} weights came for {count} points",
            cure="Give one weight to every point",
        )
    if not (np.isfinite(counts).all() and (counts >= 0.0).all()):
        raise InputError(
            "Some weights are negative or not numbers",
            cure="A weight is 0 or more; 0 leaves the point out",
        )
    return counts


def _must_be_round(across: Float, up: Float) -> None:
    if across.size < UNKNOWNS:
        raise InputError(
            f"{across.size} points came; a circle needs {UNKNOWNS} or more",
            cure="Measure more points around the section",
        )
    away = np.stack([across - across.mean(), up - up.mean()])
    long, wide = np.linalg.svd(away, compute_uv=False)
    if wide <= _FLAT * long:
        raise _on_a_line()


def _on_a_line() -> InputError:
    return InputError(
        "The points lie on a line, as far as they tell; no circle can be fitted",
        cure="Measure more of the way around",
    )
