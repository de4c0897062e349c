"""Least-squares circles, cylinders and cones through points, and how well known.

The sum of squared distances is made smallest, distances taken square to the surface
(orthogonal, "Gauss" or geometric fits), by `scipy.optimize.least_squares`.  Neither
normals nor a first guess are asked for: a circle starts from the algebraic fit, a
surface of revolution from algebraic fits along many directions.

Points that do not determine the surface are refused and not fitted badly.  Of the cones
that PTB's service for Gauss software publishes, one is refused, b37: its full apex
angle is 174 degrees and its points reach 0.34 mm along the axis.  So flat and so short,
a cone may lean and its apex may move together with hardly any change of distance: axis
and apex are not separately determined, and the points lie on a plane within the limits
below.

References
----------
Gander, W., Golub, G. H. and Strebel, R. (1994). Least-squares fitting of circles and
ellipses. BIT 34, 558-578: the algebraic and the geometric fit of a circle.
Forbes, A. B. (1989). Least-squares best-fit geometric elements. NPL report DITC 140/89:
distances and parameters of cylinder and cone.
ISO 12181-1:2011: RONt, the peak-to-valley roundness deviation.
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
from geom.shown import Shown
from geom.units import Float

#: Points narrower than this part of their length lie on a line (or on a plane).
_FLAT = 1e-9
#: A radius past this many times the size of the points is a line's or a plane's.
_STRAIGHT = 1e4
#: Directions tried next to the coordinate and the principal axes, and fits made from
#: the most promising.
_DIRECTIONS, _FITS = 40, 4
#: A column of the Jacobian this much weaker than the others determines nothing.
_SILENT = 1e-7
#: Points do not determine a surface when the standard uncertainty of an angle (radians)
#: or of the radius (a part of it) is past these, or when they lie on a plane within so
#: many residual sds: a plane cut lies on two cylinders and many cones.  Our own choice.
_LOOSE_ANGLE, _LOOSE_RADIUS, _THIN = np.deg2rad(5.0), 0.25, 2.0
_TOLERANCE, _POLISHED = 1e-15, 50


@dataclass(frozen=True)
class CircleFit(Shown):
    """The least-squares circle of points.

    Attributes
    ----------
    centre : array (2,), mm
    radius : float, mm
    covariance : array (3, 3), mm2
        Of centre and radius, linearised, from the scatter of the residuals; NaN with
        three points, which leave no scatter to judge by.
    residual_sd : float, mm
        Standard deviation of the distances, of a point of weight 1; NaN as above.
    dof : int
        Degrees of freedom: points less unknowns.
    roundness : float, mm
        RONt: greatest less smallest distance from the circle.
    """

    centre: Float
    radius: float
    covariance: Float
    residual_sd: float
    dof: int
    roundness: float

    @property
    def centre_sd(self) -> Float:
        """Standard uncertainties of the centre, array (2,), mm."""
        return np.sqrt(np.diag(self.covariance)[:2])

    @property
    def radius_sd(self) -> float:
        """Standard uncertainty of the radius, mm."""
        return float(np.sqrt(self.covariance[2, 2]))

    def distance(self, points: ArrayLike) -> Float:
        """How far points (n, 2) lie outside (positive) or inside, array (n,), mm."""
        offset = np.asarray(points, dtype=np.float64) - self.centre
        return np.asarray(np.linalg.norm(offset, axis=1) - self.radius)


@dataclass(frozen=True)
class RevolutionFit(Shown):
    """The least-squares cylinder or cone of points.

    Attributes
    ----------
    point : array (3,), mm
        Where the axis passes the centroid of the points.
    direction : array (3,)
        Unit vector along the axis, its largest part positive: up, if the axis stands.
    across : array (2, 3)
        Unit vectors square to the axis and to each other, along which offset and tilt
        count; close to +x and +y if the axis stands.
    radius : float, mm
        At ``point``.
    half_angle : float, degrees
        Half apex angle, between axis and wall; positive where the radius grows along
        ``direction``; 0 of a cylinder.
    covariance : array (5, 5) or, of a cone, (6, 6), mm and radians
        Of offset (2), tilt (2), radius and half angle, linearised, from the scatter of
        the residuals.  Offset is that of ``point`` and tilt the turn of ``direction``,
        each along the rows of ``across``.  NaN without degrees of freedom.
    residual_sd : float, mm
        Standard deviation of the distances, of a point of weight 1; NaN as above.
    dof : int
        Degrees of freedom: points less unknowns.
    roundness : float, mm
        Greatest less smallest distance from the surface.
    """

    point: Float
    direction: Float
    across: Float
    radius: float
    half_angle: float
    covariance: Float
    residual_sd: float
    dof: int
    roundness: float

    @property
    def offset_sd(self) -> Float:
        """Standard uncertainty of the axis at ``point``, array (2,), mm."""
        return self._sds[:2]

    @property
    def tilt_sd(self) -> Float:
        """Standard uncertainty of the direction, array (2,), degrees."""
        return np.rad2deg(self._sds[2:4])

    @property
    def radius_sd(self) -> float:
        """Standard uncertainty of the radius at ``point``, mm."""
        return float(self._sds[4])

    @property
    def half_angle_sd(self) -> float:
        """Standard uncertainty of the half angle, degrees; 0 of a cylinder."""
        return float(np.rad2deg(self._sds[5:].sum()))

    @property
    def _sds(self) -> Float:
        return np.sqrt(np.diag(self.covariance))

    @property
    def taper(self) -> float:
        """Growth of the radius along the axis, mm per mm."""
        return float(np.tan(np.deg2rad(self.half_angle)))

    def cylindrical(self, points: ArrayLike) -> tuple[Float, Float]:
        """Points (n, 3) along the axis and across it, arrays (n,), mm."""
        offset = np.asarray(points, dtype=np.float64) - self.point
        along = offset @ self.direction
        return along, np.linalg.norm(offset - along[:, None] * self.direction, axis=1)

    def distance(self, points: ArrayLike) -> Float:
        """How far points (n, 3) lie outside (positive) or inside, array (n,), mm."""
        along, out = self.cylindrical(points)
        square = np.cos(np.deg2rad(self.half_angle))
        return np.asarray((out - self.radius - self.taper * along) * square)


def fit_circle(points: ArrayLike, *, weight: ArrayLike | None = None) -> CircleFit:
    """The circle with the smallest sum of squared distances to points.

    Parameters
    ----------
    points : array (n, 2), mm
        Of one section, three or more.
    weight : array (n,), optional
        How much each squared distance counts, 1 unless given: one over the variance of
        the point, to any scale.  A point of weight 0 is left out.

    Raises
    ------
    InputError
        If there are fewer than three points or they lie on a line.

    Examples
    --------
    >>> circle = fit_circle([[1.0, 0.0], [0.0, 1.0], [-1.0, 0.0], [0.0, -1.0]])
    >>> round(circle.radius, 12)
    1.0
    """
    data = _Points.of(points, weight, dimensions=2, unknowns=3, name="circle")
    unit, root = data.unit, data.root

    def evaluate(at: Float) -> tuple[Float, Float]:
        offset = unit - at[:2]
        out = np.maximum(np.hypot(*offset.T), np.finfo(float).tiny)
        table = np.column_stack([offset / out[:, None], np.ones_like(out)])
        return root * (out - at[2]), -root[:, None] * table

    # Algebraic: x2 + y2 = 2 a x + 2 b y + c is linear in a, b and c.
    table = np.column_stack([2.0 * unit, np.ones(len(unit))])
    square = np.sum(unit**2, axis=1)
    a, b, c = np.linalg.lstsq(root[:, None] * table, root * square, rcond=None)[0]
    start = np.array([a, b, np.sqrt(max(c + a * a + b * b, _FLAT))])
    best = _least_squares(evaluate, start)
    if not 0.0 < best[2] < _STRAIGHT:
        raise data.undetermined("lie on a line")
    distance, table = evaluate(best)
    sd, covariance = data.scatter(distance, table)
    return CircleFit(
        centre=data.centre + data.size * best[:2],
        radius=float(data.size * best[2]),
        covariance=covariance * data.size**2,
        residual_sd=data.size * sd * data.root_mean,
        dof=data.dof,
        roundness=data.size * float(np.ptp(distance / root)),
    )


def fit_revolution(
    points: ArrayLike,
    *,
    surface: Literal["cylinder", "cone"] = "cylinder",
    weight: ArrayLike | None = None,
    direction: ArrayLike | None = None,
) -> RevolutionFit:
    """The cylinder or cone with the smallest sum of squared distances to points.

    Parameters
    ----------
    points : array (n, 3), mm
        Five or more for a cylinder; six or more for a cone, all to one side of its
        apex.
    surface : {'cylinder', 'cone'}
        What is fitted.  A cylinder comes out of a cone's fit with a half angle of 0
        within its uncertainty.
    weight : array (n,), optional
        As for `fit_circle`.
    direction : array (3,), optional
        About along the axis, to start from; else many directions are tried.

    Raises
    ------
    InputError
        If there are too few points, or they do not determine the surface: all on a
        line, on a plane or at one height.

    Examples
    --------
    >>> turn = np.deg2rad(np.arange(0.0, 360.0, 30.0))
    >>> ring = np.column_stack([457 * np.cos(turn), 457 * np.sin(turn), 0 * turn])
    >>> fit = fit_revolution(np.concatenate([ring, ring + [0.0, 0.0, 229.0]]))
    >>> round(fit.radius, 9), round(float(fit.direction[2]), 9)
    (457.0, 1.0)
    """
    unknowns = 6 if surface == "cone" else 5
    data = _Points.of(points, weight, dimensions=3, unknowns=unknowns, name=surface)
    tried = _directions(data.unit) if direction is None else np.array([direction])
    starts = [_algebraic(data, along / np.linalg.norm(along)) for along in tried]
    starts.sort(key=lambda start: start.loss(data))
    fits = [start.descended(data) for start in starts[:_FITS]]
    fits = [fit for fit in fits if fit.is_sound(data)]
    if not fits:
        raise data.undetermined()
    best = min(fits, key=lambda fit: fit.loss(data)).descended(data)
    if not best.is_sound(data):
        raise data.undetermined()
    return best.result(data)


@dataclass(frozen=True)
class _Points:
    """Points brought to centroid 0 and size 1, and the roots of their weights."""

    unit: Float
    root: Float
    root_mean: float
    centre: Float
    size: float
    unknowns: int
    name: str

    @property
    def dof(self) -> int:
        return len(self.unit) - self.unknowns

    @classmethod
    def of(
        cls,
        points: ArrayLike,
        weight: ArrayLike | None,
        *,
        dimensions: int,
        unknowns: int,
        name: str,
    ) -> _Points:
        given = np.asarray(points, dtype=np.float64)
        if given.ndim != 2 or given.shape[1] != dimensions:
            axes = "x, y, z"[: 3 * dimensions - 2]
            what = (
                f"Points of shape {given.shape} came; a row of {axes} a point is asked"
            )
            raise InputError(what, cure="Give one row to every point")
        if not np.isfinite(given).all():
            raise InputError("Some points are not numbers", cure="Leave them out")
        counts = np.ones(len(given)) if weight is None else np.asarray(weight, float)
        if counts.shape != (len(given),):
            what = f"{counts.size} weights came for {len(given)} points"
            raise InputError(what, cure="Give one weight to every point")
        if not (np.isfinite(counts).all() and (counts >= 0.0).all()):
            cure = "A weight is 0 or more; 0 leaves the point out"
            raise InputError("Some weights are negative or not numbers", cure=cure)
        given, counts = given[counts > 0.0], counts[counts > 0.0]
        if len(given) < unknowns:
            what = f"{len(given)} points came; a {name} needs {unknowns} or more"
            raise InputError(what, cure="Measure more points, around and along")
        centre, mean = given.mean(axis=0), float(counts.mean())
        size = float(np.linalg.norm(given - centre, axis=1).max())
        unit = (given - centre) / (size or 1.0)
        root = np.sqrt(counts / mean)
        data = cls(unit, root, np.sqrt(mean), centre, size, unknowns, name)
        spread = np.linalg.svd(unit, compute_uv=False)
        if spread[1] <= _FLAT * spread[0]:
            raise data.undetermined("lie on a line")
        return data

    def scatter(self, residuals: Float, jacobian: Float) -> tuple[float, Float]:
        """Residual sd of mean weight, and the covariance of the unknowns."""
        dof = self.dof
        sd = float(np.sqrt(residuals @ residuals / dof)) if dof > 0 else float("nan")
        return sd, np.asarray(sd**2 * np.linalg.inv(jacobian.T @ jacobian), float)

    def undetermined(self, what: str = "do not determine it") -> InputError:
        """The refusal of points that do not determine what is to be fitted."""
        return InputError(
            f"The points {what}, as far as they tell; no {self.name} can be fitted",
            cure="Measure more of the way around, and at two heights or more",
        )


@dataclass(frozen=True)
class _Revolution:
    """A surface among points of centroid 0 and size 1; angle in radians."""

    point: Float
    direction: Float
    radius: float
    angle: float = 0.0

    @property
    def across(self) -> Float:
        """Two unit vectors square to the direction and to each other, (2, 3)."""
        spare = np.eye(3)[0 if abs(self.direction[0]) < 0.9 else 1]
        first = spare - (spare @ self.direction) * self.direction
        first /= np.linalg.norm(first)
        return np.stack([first, np.cross(self.direction, first)])

    def moved(self, step: Float) -> _Revolution:
        """Changed by offset (2), tilt (2), radius and angle; back at the centroid."""
        point = self.point + step[:2] @ self.across
        direction = self.direction + step[2:4] @ self.across
        direction /= np.linalg.norm(direction)
        slope = float(np.tan(self.angle + step[5:].sum()))
        along = -float(point @ direction)
        radius = self.radius + float(step[4]) + along * slope
        up = float(np.sign(direction[np.argmax(np.abs(direction))]))
        angle = float(np.arctan(np.copysign(up, radius * up) * slope))
        return _Revolution(
            point + along * direction, up * direction, abs(radius), angle
        )

    def evaluate(self, data: _Points, step: Float) -> tuple[Float, Float]:
        """Weighted distances (n,) and Jacobian (n, 5 or 6) where a step leads.

        With m = (a, b, 1) along the axis in this frame, n = m / |m|, w from the axis
        point to a point, t = w n along the axis and r = |w - t n| off it, a cone
        of half angle A and radius R has the distance (r - R) cos A - t sin A.
        """
        frame = np.vstack([self.across, self.direction])
        w = (data.unit - self.point) @ frame.T - [step[0], step[1], 0.0]
        m = np.array([step[2], step[3], 1.0])
        length = float(np.linalg.norm(m))
        n = m / length
        t = w @ n
        offset = w - t[:, None] * n
        r = np.maximum(np.linalg.norm(offset, axis=1), np.finfo(float).tiny)
        e = offset[:, :2] / r[:, None]  # dr/dw; its third part is not needed
        angle, radius = self.angle + step[5:].sum(), self.radius + step[4]
        cos, sin = np.cos(angle), np.sin(angle)
        table = np.empty((len(t), data.unknowns))
        table[:, 0:2] = -e * cos + n[:2] * sin
        table[:, 2:4] = -(t[:, None] * e * cos + offset[:, :2] * sin) / length
        table[:, 4] = -cos
        table[:, 5:] = ((radius - r) * sin - t * cos)[:, None]
        distance = (r - radius) * cos - t * sin
        return data.root * distance, data.root[:, None] * table

    def loss(self, data: _Points) -> float:
        """Weighted sum of squared distances."""
        distance, _ = self.evaluate(data, np.zeros(data.unknowns))
        return float(distance @ distance)

    def descended(self, data: _Points) -> _Revolution:
        """The minimum that this first guess leads to."""
        start = np.zeros(data.unknowns)
        return self.moved(_least_squares(lambda step: self.evaluate(data, step), start))

    def is_sound(self, data: _Points) -> bool:
        """Whether it is round and the points lie to one side of its apex."""
        rim = self.radius + data.unit @ self.direction * np.tan(self.angle)
        return bool(self.radius < _STRAIGHT and rim.min() > 0.0)

    def result(self, data: _Points) -> RevolutionFit:
        """The fit in mm with its covariance, if the points determine it."""
        distance, table = self.evaluate(data, np.zeros(data.unknowns))
        strength = np.linalg.svd(table, compute_uv=False)
        if strength[-1] < _SILENT * strength[0]:
            raise data.undetermined()
        sd, covariance = data.scatter(distance, table)
        sds = np.sqrt(np.diag(covariance))
        loose = (sds[[2, 3, *range(5, data.unknowns)]] > _LOOSE_ANGLE).any()
        loose |= sds[4] > _LOOSE_RADIUS * self.radius
        thick = np.linalg.svd(data.unit, compute_uv=False)[-1]
        thin = thick / np.sqrt(len(data.unit)) < max(_FLAT, _THIN * sd)
        if loose or thin:
            raise data.undetermined()
        units = np.ones(data.unknowns)
        units[[0, 1, 4]] = data.size
        return RevolutionFit(
            point=data.centre + data.size * self.point,
            direction=self.direction,
            across=self.across,
            radius=data.size * self.radius,
            half_angle=float(np.rad2deg(self.angle)),
            covariance=covariance * np.outer(units, units),
            residual_sd=data.size * sd * data.root_mean,
            dof=data.dof,
            roundness=data.size * float(np.ptp(distance / data.root)),
        )


def _directions(points: Float) -> Float:
    """Directions to try, unit vectors (k, 3): axes, and a spiral over a half-globe.

    Turning by the golden angle while falling evenly spreads the spiral evenly.
    """
    principal = np.linalg.svd(points, full_matrices=False)[2]
    step = np.arange(_DIRECTIONS)
    z = (step + 0.5) / _DIRECTIONS
    turn = step * np.pi * (3.0 - np.sqrt(5.0))
    ring = np.sqrt(1.0 - z**2)
    spiral = np.stack([ring * np.cos(turn), ring * np.sin(turn), z], axis=1)
    return np.concatenate([np.eye(3), principal, spiral])


def _algebraic(data: _Points, direction: Float) -> _Revolution:
    """A first guess along a direction: the equation of the surface, made to fit.

    Square to the direction, with t along it, the points of a cone have
    p2 + q2 = 2 a p + 2 b q + c + d t + e t2: linear in five unknowns.
    """
    across = _Revolution(np.zeros(3), direction, 1.0).across
    p, q = across @ data.unit.T
    t = data.unit @ direction
    table = [2.0 * p, 2.0 * q, np.ones_like(t)]
    table += [t, t**2] if data.unknowns == 6 else []
    known = np.linalg.lstsq(np.stack(table, axis=1), p**2 + q**2, rcond=None)[0]
    a, b, c, *of_t = known
    radius = float(np.sqrt(max(c + a**2 + b**2, 1e-6)))
    angle = float(np.arctan(of_t[0] / (2.0 * radius))) if of_t else 0.0
    return _Revolution(np.array([a, b]) @ across, direction, radius, angle)


def _least_squares(
    evaluate: Callable[[Float], tuple[Float, Float]], start: Float
) -> Float:
    """Where Levenberg and Marquardt's way down from a start ends, to the last digits.

    Close to the bottom squares no longer tell one step from the next; Gauss-Newton
    steps do, for as long as they shrink.
    """
    from scipy.optimize import least_squares

    def residuals(at: Float) -> Float:
        return evaluate(at)[0]

    def jacobian(at: Float) -> Float:
        return evaluate(at)[1]

    found = least_squares(
        residuals, start, jacobian,
        method="lm", xtol=_TOLERANCE, ftol=_TOLERANCE, gtol=_TOLERANCE,
    )  # fmt: skip
    best, last = np.asarray(found.x, dtype=np.float64), np.inf
    for _ in range(_POLISHED):
        distance, table = evaluate(best)
        step = np.linalg.lstsq(table, -distance, rcond=None)[0]
        if not (reach := float(np.abs(step).max())) < last:
            break
        best, last = best + step, reach
    return best
