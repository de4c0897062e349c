"""A circle through points of a section: the best one, and how well it is known.

The circle that makes the sum of squared distances from it smallest; distances are taken
square to it, not along one coordinate.

References
----------
Gander, Golub and Strebel (1994), Least-squares fitting of circles and ellipses, BIT 34,
558-578: the two algebraic fits (section 2) and the geometric one (section 4).
JCGM 100:2008 (GUM), annex H.3: the covariance of fitted parameters from the scatter of
the residuals.

A cylinder or a cone through points of a wall: the best, and how well it is known.

The surface that makes the sum of squared distances from it smallest, distances taken
square to it.  No normals are asked for and no direction need be known: many directions
are tried, and the best of the fits that start from the most promising ones is kept.

References
----------
Forbes (1989), Least-squares best-fit geometric elements, NPL report DITC 140/89:
distances and parameters of cylinder and cone.
JCGM 100:2008 (GUM), annex H.3: the covariance of fitted parameters from the scatter of
the residuals.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property
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


#: Unknowns: where the axis is (2), how it leans (2), radius; of a cone the angle too.
CYLINDER_UNKNOWNS, CONE_UNKNOWNS = 5, 6

#: Directions tried beside the coordinate axes and the principal axes.
_TRIED = 40
#: Fits made from the most promising of them, on so many points at most.
_FITTED, _SAMPLE = 4, 250
#: A column of the slopes this much smaller than the others says nothing.
_SILENT = 1e-7
#: The points do not settle the surface when the standard uncertainty of an angle
#: (radians) or of the radius (a part of it) is past these, or when they lie on a plane
#: within so many residual sds: a plane cut lies on two cylinders and many cones.  Our
#: own choice, no source.
_LOOSE_ANGLE, _LOOSE_RADIUS, _THIN = np.deg2rad(5.0), 0.25, 2.0
#: A radius past this many times the size of the cloud is a plane's.
_STRAIGHT_AXIS = 1e4
#: A fit ends with a step this small: the first ones, and the best to its last digits.
_ROUGH, _FINE, _STEPS = 1e-4, 1e-13, 100
#: Sums of squares this close, as a part of themselves, do not tell.
_LEVEL = 1e-10


@dataclass(frozen=True)
class Revolved:
    """What a cylinder and a cone share: an axis, a radius and how well they are known.

    Attributes
    ----------
    point : array (3,), mm
        Where the axis passes the centroid of the points.
    direction : array (3,)
        Unit vector along the axis, its largest part positive: up, if the axis stands.
    across : array (2, 3)
        Unit vectors square to the axis and to each other that offset and lean are told
        along; close to +x and +y if the axis stands.
    radius : float, mm
        At ``point``.
    covariance : array (5, 5) or, of a cone, (6, 6), mm and radians
        Of offset (2), lean (2), radius and, of a cone, half angle: linearised, from the
        scatter of the residuals (JCGM 100, H.3).  Offset is that of ``point`` and lean
        the turn of ``direction``, each along the rows of ``across``.  NaN where there
        are no more points than unknowns.
    residual_sd : float, mm
        Standard deviation of the distances about the surface; NaN as above.
    freedom : int
        Degrees of freedom: points less unknowns.
    """

    point: Float
    direction: Float
    across: Float
    radius: float
    covariance: Float
    residual_sd: float
    freedom: int

    @property
    def offset_sd(self) -> Float:
        """Standard uncertainty of the axis at ``point``, array (2,), mm."""
        return self._sds[:2]

    @property
    def lean_sd(self) -> Float:
        """Standard uncertainty of the direction, array (2,), degrees."""
        return np.rad2deg(self._sds[2:4])

    @property
    def radius_sd(self) -> float:
        """Standard uncertainty of the radius at ``point``, mm."""
        return float(self._sds[4])

    @property
    def _sds(self) -> Float:
        return np.sqrt(np.diag(self.covariance))

    def along_and_out(self, points: ArrayLike) -> tuple[Float, Float]:
        """How far points (n, 3) lie along the axis and from it, arrays (n,), mm."""
        away = np.asarray(points, dtype=np.float64) - self.point
        along = away @ self.direction
        return along, np.linalg.norm(away - along[:, None] * self.direction, axis=1)


@dataclass(frozen=True)
class Cylinder(Revolved):
    """A cylinder fitted to points."""

    def distance(self, points: ArrayLike) -> Float:
        """How far points (n, 3) lie outside (positive) or inside, array (n,), mm."""
        return self.along_and_out(points)[1] - self.radius


@dataclass(frozen=True)
class Cone(Revolved):
    """A cone fitted to points: a frustum, whose tip is not among them.

    Attributes
    ----------
    half_angle : float, degrees
        Between axis and wall; positive where the radius grows along ``direction``.
    """

    half_angle: float

    @property
    def half_angle_sd(self) -> float:
        """Standard uncertainty of the half angle, degrees."""
        return float(np.rad2deg(self._sds[5]))

    @property
    def taper(self) -> float:
        """Growth of the radius along the axis, mm per mm."""
        return float(np.tan(np.deg2rad(self.half_angle)))

    @property
    def taper_sd(self) -> float:
        """Standard uncertainty of the taper, mm per mm."""
        return float(self._sds[5]) * (1.0 + self.taper**2)

    def distance(self, points: ArrayLike) -> Float:
        """How far points (n, 3) lie outside (positive) or inside, array (n,), mm."""
        along, out = self.along_and_out(points)
        flank = np.cos(np.deg2rad(self.half_angle))
        return np.asarray((out - self.radius - self.taper * along) * flank)


def fit_cylinder(points: ArrayLike) -> Cylinder:
    """The cylinder with the smallest sum of squared distances to points.

    Parameters
    ----------
    points : array (n, 3), mm
        Five or more.  Five are met exactly, and mostly by several cylinders.

    Returns
    -------
    Cylinder

    Raises
    ------
    InputError
        If there are too few points, or they do not settle a cylinder: all on a line, on
        a plane or at one height.
    """
    cloud = _Cloud.of(points, CYLINDER_UNKNOWNS, "cylinder")
    return Cylinder(**vars(cloud.told(cloud.best())))


def fit_cone(points: ArrayLike) -> Cone:
    """The cone with the smallest sum of squared distances to points.

    Parameters
    ----------
    points : array (n, 3), mm
        Six or more, of a frustum: all to one side of the tip.

    Returns
    -------
    Cone
        A cylinder comes out as a cone whose half angle is 0 within its uncertainty.

    Raises
    ------
    InputError
        If there are too few points, or they do not settle a cone: all on a line, on a
        plane or at one height.
    """
    cloud = _Cloud.of(points, CONE_UNKNOWNS, "cone")
    pose = cloud.best()
    return Cone(**vars(cloud.told(pose)), half_angle=float(np.rad2deg(pose.angle)))


@dataclass(frozen=True)
class _Pose:
    """A surface among points brought to centroid 0 and size 1; angle in radians."""

    point: Float
    direction: Float
    radius: float
    angle: float = 0.0

    @cached_property
    def across(self) -> Float:
        """Two unit vectors square to the direction and to each other, (2, 3)."""
        spare = np.eye(3)[0 if abs(self.direction[0]) < 0.9 else 1]
        first = spare - (spare @ self.direction) * self.direction
        (x, y, z), (p, q, r) = self.direction, first / np.linalg.norm(first)
        return np.array([[p, q, r], [y * r - z * q, z * p - x * r, x * q - y * p]])

    def moved(self, step: Float) -> _Pose:
        """Changed by a step, told at the centroid, pointing up, radius above 0."""
        point = self.point + step[:2] @ self.across
        direction = self.direction + step[2:4] @ self.across
        direction /= np.linalg.norm(direction)
        slope = float(np.tan(self.angle + sum(step[5:])))
        along = -float(point @ direction)
        radius = self.radius + float(step[4]) + along * slope
        up = float(np.sign(direction[np.argmax(np.abs(direction))]))
        angle = float(np.arctan(np.copysign(up, radius * up) * slope))
        return _Pose(point + along * direction, up * direction, abs(radius), angle)


@dataclass(frozen=True)
class _Cloud:
    """Points brought to centroid 0 and size 1, and what is to be fitted to them."""

    points: Float
    centre: Float
    size: float
    unknowns: int
    name: str

    @classmethod
    def of(cls, points: ArrayLike, unknowns: int, name: str) -> _Cloud:
        given = np.asarray(points, dtype=np.float64)
        if given.ndim != 2 or given.shape[1] != 3:
            raise InputError(
                f"Points of shape {given.shape} came; a row of x, y, z a point is asked"
            )
        if not np.isfinite(given).all():
            raise InputError("Some points are not numbers", cure="Leave them out")
        if len(given) < unknowns:
            raise InputError(
                f"{len(given)} points came; a {name} needs {unknowns} or more",
                cure="Measure more points of the wall",
            )
        centre = given.mean(axis=0)
        spread = np.linalg.svd(given - centre, compute_uv=False)
        if spread[1] <= _FLAT * spread[0]:
            raise InputError(
                f"The points lie on a line; no {name} can be fitted",
                cure="Measure more of the way around",
            )
        size = float(np.linalg.norm(given - centre, axis=1).max())
        return cls((given - centre) / size, centre, size, unknowns, name)

    def best(self) -> _Pose:
        """The best of the fits from the most promising directions."""
        few = self
        if len(self.points) > _SAMPLE:
            drawn = np.random.default_rng(0).choice(len(self.points), _SAMPLE, False)
            few = replace(self, points=self.points[drawn])
        starts = [few.start(direction) for direction in few.directions()]
        starts.sort(key=few.misfit)
        fits = [few.descend(start, within=_ROUGH) for start in starts[:_FITTED]]
        fits = sorted(filter(few.is_sound, fits), key=few.misfit)
        fits = [self.descend(fit, within=_FINE) for fit in fits[:1]]
        if not fits or not self.is_sound(fits[0]):
            raise self.unsettled()
        return fits[0]

    def directions(self) -> Float:
        """Directions to try, unit vectors (k, 3): axes, and a spiral over a half-globe.

        Turning by the golden angle while falling evenly spreads the spiral evenly.
        """
        principal = np.linalg.svd(self.points, full_matrices=False)[2]
        step = np.arange(_TRIED)
        z = (step + 0.5) / _TRIED
        turn = step * np.pi * (3.0 - np.sqrt(5.0))
        ring = np.sqrt(1.0 - z**2)
        spiral = np.stack([ring * np.cos(turn), ring * np.sin(turn), z], axis=1)
        return np.concatenate([np.eye(3), principal, spiral])

    def start(self, direction: Float) -> _Pose:
        """A first guess along a direction: the equation of the surface, made to fit.

        Square to the direction, with t along it, the points of a cone have
        p2 + q2 = 2 a p + 2 b q + c + d t + e t2: linear in five unknowns.
        """
        flat = _Pose(np.zeros(3), direction, 1.0)
        p, q = flat.across @ self.points.T
        t = self.points @ direction
        table = [2.0 * p, 2.0 * q, np.ones_like(t)]
        table += [t, t**2] if self.unknowns == CONE_UNKNOWNS else []
        known = np.linalg.lstsq(np.stack(table, axis=1), p**2 + q**2, rcond=None)[0]
        a, b, c, *of_t = known
        radius = np.sqrt(max(c + a**2 + b**2, 1e-6))
        angle = np.arctan(of_t[0] / (2.0 * radius)) if of_t else 0.0
        point = np.array([a, b]) @ flat.across
        return _Pose(point, direction, float(radius), float(angle))

    def descend(self, pose: _Pose, *, within: float) -> _Pose:
        """Down from a first guess by damped Gauss-Newton steps (Marquardt's).

        Close to the bottom, where the squares no longer tell one step from the next,
        their gradient does.
        """
        damping = 1e-3
        distance, slopes = self.distances(pose)
        for _ in range(_STEPS):
            small = np.linalg.qr(np.column_stack([slopes, distance]), mode="r")
            table, aim = np.hsplit(np.asarray(small, np.float64), [self.unknowns])
            scale = np.sqrt(damping) * np.linalg.norm(table, axis=0)
            table = np.concatenate([table, np.diag(scale)])
            aim = np.append(aim, np.zeros(self.unknowns))
            step = np.asarray(np.linalg.lstsq(table, -aim, rcond=None)[0], np.float64)
            moved = pose.moved(step)
            then = self.distances(moved)
            squares, new = float(distance @ distance), float(then[0] @ then[0])
            pull = [np.linalg.norm(s.T @ d) for d, s in ((distance, slopes), then)]
            level = new - squares <= _LEVEL * squares and pull[1] <= pull[0]
            if new < squares or level:
                pose, (distance, slopes), damping = moved, then, 0.1 * damping
            else:
                damping *= 10.0
            if np.abs(step).max() < within:
                break
        return pose

    def distances(self, pose: _Pose) -> tuple[Float, Float]:
        """Signed distances (n,) from a surface, and their slopes (n, 5) or (n, 6).

        With r from the axis and t along it, a point lies (r - R) cos a - t sin a
        outside a cone of half angle a and radius R.
        """
        away = self.points - pose.point
        t = away @ pose.direction
        p, q = pose.across @ away.T
        r = np.maximum(np.hypot(p, q), np.finfo(float).tiny)
        cos, sin = np.cos(pose.angle), np.sin(pose.angle)
        out, leaning = -cos / r, -t * cos / r - sin
        columns = [p * out, q * out, p * leaning, q * leaning, np.full_like(t, -cos)]
        if self.unknowns == CONE_UNKNOWNS:
            columns.append((pose.radius - r) * sin - t * cos)
        return (r - pose.radius) * cos - t * sin, np.stack(columns, axis=1)

    def misfit(self, pose: _Pose) -> float:
        """Sum of squared distances."""
        distance, _ = self.distances(pose)
        return float(distance @ distance)

    def is_sound(self, pose: _Pose) -> bool:
        """Whether a surface is round and the points lie to one side of its tip."""
        rim = pose.radius + self.points @ pose.direction * np.tan(pose.angle)
        return bool(pose.radius < _STRAIGHT_AXIS and rim.min() > 0.0)

    def told(self, pose: _Pose) -> Revolved:
        """The fit in mm, with its covariance."""
        distance, slopes = self.distances(pose)
        strength = np.linalg.svd(slopes, compute_uv=False)
        if strength[-1] < _SILENT * strength[0]:
            raise self.unsettled()
        freedom = len(self.points) - self.unknowns
        sd = residual_sd(distance, freedom)
        covariance = sd**2 * np.linalg.inv(slopes.T @ slopes)
        sds = np.sqrt(np.diag(covariance))
        loose = (sds[[2, 3, *range(5, self.unknowns)]] > _LOOSE_ANGLE).any()
        loose |= sds[4] > _LOOSE_RADIUS * pose.radius
        thick = np.linalg.svd(self.points, compute_uv=False)[-1]
        thin = thick / np.sqrt(len(self.points)) < max(_FLAT, _THIN * sd)
        if loose or thin:
            raise self.unsettled()
        unit = np.ones(self.unknowns)
        unit[[0, 1, 4]] = self.size
        return Revolved(
            point=self.centre + self.size * pose.point,
            direction=pose.direction,
            across=pose.across,
            radius=self.size * pose.radius,
            covariance=np.asarray(covariance * np.outer(unit, unit), np.float64),
            residual_sd=self.size * sd,
            freedom=freedom,
        )

    def unsettled(self) -> InputError:
        """The message that the points do not settle the surface."""
        return InputError(
            f"The points do not settle a {self.name}",
            cure="Measure at two heights or more, and more of the way around",
        )
