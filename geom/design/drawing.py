"""The drawing of one lining: profile, openings, datum bands, targets and rules."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterator
from dataclasses import dataclass, field
from functools import cached_property
from typing import Literal, get_args

import numpy as np
from numpy.typing import ArrayLike

from geom.design.assumptions import ASSUMED
from geom.design.shop import OpeningSizes, Shop
from geom.frame import Sense, turn
from geom.shown import Shown
from geom.units import Bool, Float

#: What makes a drawing; what a shop decides by (bricks, mix, rules) is no part of it.
DrawingPart = Literal[
    "name",
    "azimuth_sense",
    "azimuth_zero",
    "height_zero",
    "profile",
    "shell_radius",
    "openings",
]

#: Kinds of hole that are rebuilt each in its own way; any other words are allowed too.
HOLE_KINDS = ("tap hole", "slag hole", "door")


@dataclass(frozen=True)
class Profile(Shown):
    """The finished hot face as drawn: radius against height, straight in between.

    Attributes
    ----------
    height : array (n,), mm, never decreasing
        From the bottom up.  Two entries at one height are a step.
    radius : array (n,), mm
    """

    height: Float
    radius: Float

    @property
    def bottom(self) -> float:
        """Lowest height, mm."""
        return float(self.height[0])

    @property
    def top(self) -> float:
        """Greatest height, mm."""
        return float(self.height[-1])

    @cached_property
    def corners(self) -> Float:
        """The different heights of the profile's points, mm, rising."""
        return np.unique(self.height)

    @cached_property
    def steps(self) -> Float:
        """Heights at which the radius jumps, mm."""
        at_once = np.diff(self.height) == 0.0
        return np.unique(self.height[1:][at_once & (np.diff(self.radius) != 0.0)])

    @cached_property
    def corner_radii(self) -> tuple[Float, Float]:
        """Radii at the corners, mm, just below each and just above."""
        return (
            self.radius_at(self.corners, side="below"),
            self.radius_at(self.corners),
        )

    def radius_at(
        self, height: ArrayLike, *, side: Literal["above", "below"] = "above"
    ) -> Float:
        """Design radius at any heights.

        Parameters
        ----------
        height : array, mm
            Of any shape.
        side : {'above', 'below'}
            Which part of the wall is meant exactly at a step.

        Returns
        -------
        array, same shape, mm
            NaN outside the profile.
        """
        asked = np.asarray(height, dtype=np.float64)
        h, r = self.height, self.radius
        # Exactly at a step, the corner above is the next one, or the step's own.
        which: Literal["left", "right"] = "right" if side == "above" else "left"
        hi = np.clip(np.searchsorted(h, asked, side=which), 1, h.size - 1)
        lo = hi - 1
        span = h[hi] - h[lo]
        part = np.divide(asked - h[lo], span, out=np.ones_like(asked), where=span > 0)
        part = np.where((asked == self.bottom) & (side == "below"), 0.0, part)
        found = r[lo] + part * (r[hi] - r[lo])
        inside = (asked >= self.bottom) & (asked <= self.top)
        return np.where(inside, found, np.nan)

    def slope_at(self, height: ArrayLike) -> Float:
        """Change of radius with height, dr/dh, above each height; same shape."""
        asked = np.asarray(height, dtype=np.float64)
        hi = np.clip(
            np.searchsorted(self.height, asked, side="right"), 1, self.height.size - 1
        )
        rise = self.height[hi] - self.height[hi - 1]
        run = self.radius[hi] - self.radius[hi - 1]
        return np.divide(run, rise, out=np.zeros_like(asked), where=rise > 0)

    @property
    def mean_radius(self) -> float:
        """Mean design radius over the height, mm."""
        return float(np.trapezoid(self.radius, self.height) / (self.top - self.bottom))

    def row_that_differs(self, height: Float, radius: Float) -> int | None:
        """Where design radii, as an earlier survey holds them, are of another drawing.

        Parameters
        ----------
        height : array (m,), mm
            Rows of the survey.
        radius : array (m,), mm
            Design radius that it holds there.

        Returns
        -------
        int or None
            The row that is farthest off; None: they are of this drawing.
        """
        off = np.abs(radius - self.radius_at(height))
        off = np.where(np.isnan(off), np.inf, off)
        worst = int(np.argmax(off))
        return worst if off[worst] > ASSUMED.same_drawing else None


@dataclass(frozen=True)
class Opening:
    """A tuyere or another hole in the wall: no lining there.

    Attributes
    ----------
    kind : str
        ``"tuyere"``, ``"tap hole"``, ``"slag hole"``, ``"door"`` ...
    azimuth : float, degrees
    height : float, mm
        Of its centre.
    width : float, mm
        Along the arc of the design face.
    tall : float, mm
    lip : float, mm
        How far a tuyere's lip stands out from the profile, over its width.
    sizes : OpeningSizes
        What it is rebuilt to; no part of the drawing.
    """

    kind: str
    azimuth: float
    height: float
    width: float
    tall: float
    lip: float = 0.0
    sizes: OpeningSizes = field(default_factory=OpeningSizes)

    @property
    def sill(self) -> float:
        """Height of its lower edge, mm."""
        return self.height - 0.5 * self.tall

    @property
    def top(self) -> float:
        """Height of its upper edge, mm."""
        return self.height + 0.5 * self.tall

    def half_angle(self, radius: float) -> float:
        """Half of its width as an angle at a face of that radius, degrees."""
        return float(np.rad2deg(0.5 * self.width / radius))

    def holds(self, azimuth: Float, height: Float, radius: float) -> Bool:
        """Whether stations lie in the opening; arrays broadcast."""
        across = np.abs(turn(self.azimuth, azimuth)) <= self.half_angle(radius)
        return across & (np.abs(np.asarray(height) - self.height) <= 0.5 * self.tall)


@dataclass(frozen=True)
class DatumBand:
    """Heights between which the wall is known to be sound; mm."""

    low: float
    high: float


@dataclass(frozen=True)
class Target:
    """A mark of known place that a scanner sees: on the wall, or on the shell above.

    Attributes
    ----------
    azimuth : float, degrees
    height : float, mm
    radius : float or None, mm
        Its distance from the axis; None for the hot face as drawn.
    """

    name: str
    azimuth: float
    height: float
    radius: float | None = None


@dataclass(frozen=True)
class RepairRules:
    """What the shop decides by; mm.

    Attributes
    ----------
    brick_threshold : float
        Cut-back past which the wall is rebuilt in fire brick: 1 1/4 in is common
        practice, no source.
    tolerance : float
        How far from the drawing counts as back on it; 1/4 in is our default.
    bottom_fall : float
        Fall of the sand bottom to the tap hole, height over distance: 3/4 in to the
        foot, 1 in 16, is common practice, no source.
    """

    brick_threshold: float = 31.75
    tolerance: float = 6.35
    bottom_fall: float = 0.0625


@dataclass(frozen=True)
class RodErrors:
    """How well a rod reads; standard uncertainties in mm unless stated otherwise.

    The defaults are our own choice, no source.

    Attributes
    ----------
    step : float or None
        Reading resolution: the finest division of the rod.  The error is rectangular,
        sd = step / sqrt(12) (JCGM 100:2008, 4.3.7).  ``None``: as the sheet was
        written.
    repeatability : float
        Of setting the rod to the wall and reading it, sd.
    centring : float
        Of the rod's pivot off the axis, sd along each direction.
    set_up : {'sheet', 'height'}
        Whether the pivot stands through a whole sheet or is set anew at each height.
    azimuth_sd : float, degrees
        Of the direction a reading was taken in.
    height_sd : float
        Of the height it was taken at.
    tilt_sd : float, degrees
        Of the rod out of level.
    height_step : float or None
        Heights a rod can be set at, for proposals of where to measure next.  ``None``:
        3 in where the design is written in inches, else 75 mm.
    azimuth_step : float, degrees
        Directions it can be set in.
    """

    step: float | None = None
    repeatability: float = 1.5
    centring: float = 2.0
    set_up: Literal["sheet", "height"] = "sheet"
    azimuth_sd: float = 1.0
    height_sd: float = 3.0
    tilt_sd: float = 0.5
    height_step: float | None = None
    azimuth_step: float = 15.0


@dataclass(frozen=True)
class ScannerErrors:
    """How well a laser scanner measures; standard uncertainties.

    The defaults are from memory, of what data sheets of phase and time-of-flight
    scanners for building sites state: 1 to 2 mm and 10 ppm, noise of 1 to 3 mm on dark
    walls at short range.  No single instrument's.

    Attributes
    ----------
    range_error : float, mm
        All points of a survey too far or too near alike.
    scale_error : float, ppm
        The same in proportion to the distance.
    point_sd : float, mm
        Of a single point, where it is taken as a reading by itself.
    """

    range_error: float = 1.0
    scale_error: float = 10.0
    point_sd: float = 2.0


@dataclass(frozen=True)
class Design(Shown):
    """One lining as it is meant to be.  Lengths mm, azimuth degrees.

    Attributes
    ----------
    length_unit : str
        The unit of the design file and of texts for people.
    azimuth_zero, height_zero : str
        What they look at, in words.
    azimuth_sense : {'clockwise', 'counterclockwise'}
        Seen from above.
    shell_radius : float or None
        Inside of the steel, mm.
    least_lining : float or None
        Lining left before the steel that the shop wants at least, mm; none is assumed.
    """

    name: str
    length_unit: str
    azimuth_zero: str
    azimuth_sense: Sense
    height_zero: str
    profile: Profile
    shell_radius: float | None = None
    least_lining: float | None = None
    openings: tuple[Opening, ...] = ()
    datum_bands: tuple[DatumBand, ...] = ()
    targets: tuple[Target, ...] = ()
    repair: RepairRules = field(default_factory=RepairRules)
    rod: RodErrors = field(default_factory=RodErrors)
    scanner: ScannerErrors = field(default_factory=ScannerErrors)
    shop: Shop = field(default_factory=Shop)

    def _lines(self) -> Iterator[str]:
        profile, unit = self.profile, self.length_unit
        yield f"Design of {self.name}, written in {unit}"
        yield (
            f"heights {profile.bottom:.0f} to {profile.top:.0f} mm above "
            f"{self.height_zero}, radius {profile.radius.min():.1f} to "
            f"{profile.radius.max():.1f} mm"
        )
        yield (
            f"azimuth 0 at {self.azimuth_zero}, {self.azimuth_sense} seen from above"
        )
        yield (
            f"openings: {len(self.openings)}; datum bands: {len(self.datum_bands)}; "
            f"brick past {self.repair.brick_threshold:.1f} mm"
        )

    def differs_from(
        self,
        other: Design,
        *,
        parts: Collection[DrawingPart] = get_args(DrawingPart),
    ) -> DrawingPart | Literal[""]:
        """The first part in which another design is of another drawing.

        Parameters
        ----------
        other : Design
            Of the other drawing.
        parts : names of attributes
            What is compared.

        Returns
        -------
        str
            Name of the attribute; empty: both are one drawing.
        """
        part: DrawingPart
        for part in get_args(DrawingPart):
            if part in parts and not self._same(other, part):
                return part
        return ""

    def _same(self, other: Design, part: DrawingPart) -> bool:
        if part not in ("profile", "shell_radius", "openings"):
            return bool(getattr(self, part) == getattr(other, part))
        lengths, others = self._lengths(part), other._lengths(part)
        return lengths.shape == others.shape and bool(
            (np.abs(lengths - others) < ASSUMED.same_drawing).all()
        )

    def _lengths(self, part: DrawingPart) -> Float:
        """A part of the drawing as one array, to be compared number by number."""
        if part == "profile":
            return np.stack([self.profile.height, self.profile.radius])
        if part == "shell_radius":
            return np.array([self.shell_radius or 0.0])
        openings = sorted(
            (o.azimuth, o.height, o.width, o.tall, float(o.kind == "tuyere"))
            for o in self.openings
        )
        return np.array(openings, dtype=np.float64)

    def radius_at_opening(self, opening: Opening) -> float:
        """Design radius at an opening's centre, mm."""
        return float(self.profile.radius_at(opening.height))

    def wall_at_opening(self, opening: Opening) -> float | None:
        """Thickness of the finished wall at an opening, mm; None where not known."""
        if opening.sizes.depth is not None:
            return opening.sizes.depth
        if self.shell_radius is None:
            return None
        return self.shell_radius - self.radius_at_opening(opening)

    def radius_at_target(self, target: Target) -> float:
        """Distance of a target from the axis, mm."""
        if target.radius is not None:
            return target.radius
        return float(self.profile.radius_at(target.height))

    @property
    def tuyeres(self) -> tuple[Opening, ...]:
        """The openings that let the blast in."""
        return tuple(o for o in self.openings if o.kind == "tuyere")

    @property
    def numbered_openings(self) -> tuple[tuple[int, Opening], ...]:
        """Every opening with its number among those of its kind, from 1."""
        met: Counter[str] = Counter()
        numbered = []
        for opening in self.openings:
            met[opening.kind] += 1
            numbered.append((met[opening.kind], opening))
        return tuple(numbered)

    def holes(self, kind: str) -> tuple[Opening, ...]:
        """The openings of one kind."""
        return tuple(hole for hole in self.openings if hole.kind.lower() == kind)
