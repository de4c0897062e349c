"""The wall as far as it is known, and what has to be known before it is trusted."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from geom.design import DatumBand, Design
from geom.readings.rod import RodKind
from geom.shown import Shown, views
from geom.surface.grid import Grid
from geom.surface.rods.errors import BANDS
from geom.units import Bool, Float

if TYPE_CHECKING:
    import pyvista as pv
    import trimesh
    import xarray as xr
    from matplotlib.figure import Figure

    from geom.datum import Pose
    from geom.surface.gp.posterior import Posterior


@dataclass(frozen=True)
class Contradicted:
    """Most other readings of the station say otherwise.

    Attributes
    ----------
    others : tuple of (str, float)
        Where each of them is written, and what it amounts to as a reading of this one's
        kind, mm.
    """

    others: tuple[tuple[str, float], ...]


@dataclass(frozen=True)
class Outlying:
    """The readings around it foretell another.

    Attributes
    ----------
    sd : float, mm
        Of the reading that they foretell.
    """

    sd: float


@dataclass(frozen=True)
class Rejected:
    """A reading left out of the fit, and why; never silently.

    Attributes
    ----------
    place : str
        Where it is written.
    kind : {'radius', 'diameter', 'cutback'}
    value, expected : float, mm
    """

    place: str
    kind: RodKind
    value: float
    expected: float
    reason: Contradicted | Outlying


@dataclass(frozen=True)
class AtStep:
    """Readings exactly at a step of the profile, compared with the part above it."""

    count: int


@dataclass(frozen=True)
class DoubtedBand:
    """A datum band that reads off its drawing and was not taken as sound."""

    band: DatumBand


@dataclass(frozen=True)
class InOpenings:
    """Readings left out because their stations lie in openings: where written."""

    places: tuple[str, ...]


def in_openings(places: tuple[str, ...]) -> tuple[InOpenings, ...]:
    """What has to be known of readings left out in openings; nothing of none."""
    return (InOpenings(places),) if places else ()


@dataclass(frozen=True)
class RowsApart:
    """Rows of the melting zone so far apart that a burnt ring may lie between; mm."""

    low: float
    high: float


@dataclass(frozen=True)
class PastSurveys:
    """Past surveys at hand, and whether the readings let them be used."""

    count: int
    used: bool


@dataclass(frozen=True)
class PastBesideCloud:
    """Past surveys are not used with a point cloud."""


@dataclass(frozen=True)
class NoDatumBand:
    """The axis of a cloud was found on the whole wall: no datum band is drawn.

    Attributes
    ----------
    sd : float, mm
        Standard uncertainty of its offset.
    """

    sd: float


@dataclass(frozen=True)
class PoseAsStated:
    """A cloud of too few points to find the axis on, taken to stand as stated.

    Attributes
    ----------
    sd : float, mm
        Standard uncertainty of that, at both ends of the profile.
    """

    cloud: str
    sd: float


@dataclass(frozen=True)
class BandsOff:
    """The datum bands read wider or narrower than drawn by this much, mm."""

    bias: float


@dataclass(frozen=True)
class BandAxisOff:
    """A datum band whose own axis is off the one that the cloud was laid on.

    Attributes
    ----------
    offset : float, mm
    tilt : float, degrees
    """

    band: DatumBand
    offset: float
    tilt: float


@dataclass(frozen=True)
class InFront:
    """Cells where something stood in front of the wall, or only dust was seen.

    Attributes
    ----------
    distance : float, mm
        From which on it counts as in front.
    """

    cells: int
    distance: float


@dataclass(frozen=True)
class ManyLeftOut:
    """Many laser points were not taken for wall: their share, 0 to 1."""

    share: float


#: What has to be known of a surface before it is trusted.
SurfaceDiagnostic = (
    Rejected
    | AtStep
    | InOpenings
    | DoubtedBand
    | RowsApart
    | PastSurveys
    | PastBesideCloud
    | NoDatumBand
    | PoseAsStated
    | BandsOff
    | BandAxisOff
    | InFront
    | ManyLeftOut
)


@dataclass(frozen=True)
class RadialSurface(Shown):
    """A radial surface with its uncertainty.

    Attributes
    ----------
    radius, radius_sd : array (height, azimuth), mm
        Best estimate and standard uncertainty of the hot face; NaN where not surveyed.
    posterior : Posterior
        The joint posterior behind them: covariances and samples.
    count : int
        Readings that came in.
    rejected : tuple of Rejected
        Rod readings left out.
    seen : bool array (height, azimuth) or None
        Cells that a laser showed; None where rod readings are all there is.
    points_left_out : int
        Laser points that were not taken for wall.
    poses : tuple of Pose
        Of the clouds' frames.
    """

    design: Design
    grid: Grid
    radius: Float
    radius_sd: Float
    posterior: Posterior
    count: int
    kinds: tuple[str, ...]
    rejected: tuple[Rejected, ...] = ()
    diagnostics: tuple[SurfaceDiagnostic, ...] = ()
    seen: Bool | None = None
    points_left_out: int = 0
    poses: tuple[Pose, ...] = ()

    def _lines(self) -> Iterator[str]:
        rows, columns = self.grid.shape
        low, high = self.grid.surveyed_heights
        yield (
            f"RadialSurface of {self.design.name}: {rows} heights x {columns} azimuths"
        )
        yield (
            f"{self.count} readings ({', '.join(self.kinds)}), "
            f"{len(self.rejected) + self.points_left_out} left out"
        )
        yield (
            f"surveyed from {low:.0f} to {high:.0f} mm, "
            f"{100.0 * np.isfinite(self.radius).mean():.0f} % of all wall"
        )
        ends = [
            f"{np.nanmin(field):.1f} to {np.nanmax(field):.1f} mm"
            for field in (self.radius, self.cutback, self.radius_sd)
        ]
        yield f"radius {ends[0]}, cut-back {ends[1]}, sd {ends[2]}"
        yield (
            f"azimuth 0 at {self.design.azimuth_zero}, {self.design.azimuth_sense} "
            f"seen from above; heights above {self.design.height_zero}"
        )

    @property
    def height(self) -> Float:
        """Row centres, mm; shape (m,)."""
        return self.grid.height

    @property
    def azimuth(self) -> Float:
        """Column centres, degrees; shape (k,)."""
        return self.grid.azimuth

    @property
    def cutback(self) -> Float:
        """Measured minus design radius, mm; shape (m, k)."""
        return self.radius - self.grid.design_radius[:, None]

    @property
    def fitted_to(self) -> int:
        """How many readings, or blocks of laser points, it is fitted to."""
        return self.count if self.seen is None else self.stations[0].size

    @property
    def stations(self) -> tuple[Float, Float]:
        """Azimuths and heights that it is fitted to, degrees and mm.

        Where rod readings were taken, both ends of a diameter, and where blocks of
        laser points lie.
        """
        places = self.posterior.places
        return places.azimuth, places.height

    @property
    def read_at(self) -> tuple[Float, Float]:
        """Azimuths and heights at which the wall was read, degrees and mm; (n,) each.

        Both ends of a diameter count, readings left out of the fit do not, nor do the
        pseudo-readings of datum bands; with a cloud, only what the laser showed does.
        """
        azimuth, height, _ = self._read
        return azimuth, height

    @property
    def readings_in_cells(self) -> Float:
        """How many readings stand in each cell, (m, k); half of one at either end."""
        azimuth, height, weight = self._read
        rows, columns = self.grid.shape
        row = np.searchsorted(self.grid.edge, height, side="right") - 1
        column = np.rint(azimuth * columns / 360.0).astype(np.int64) % columns
        count = np.zeros((rows, columns))
        np.add.at(count, (np.clip(row, 0, rows - 1), column), weight)
        return count

    @property
    def _read(self) -> tuple[Float, Float, Float]:
        """Azimuths, heights and weights of readings; half at ends of a diameter."""
        if self.seen is not None:
            grid = self.grid
            shown = self.seen & grid.surveyed & ~grid.opening
            row, column = np.nonzero(shown)
            return grid.azimuth[column], grid.height[row], np.ones(row.size)
        best = self.posterior.fitted.best
        observed = best.observed
        # Places: those of the readings, then of pseudo-readings, then the far ends of
        # diameters.
        weight = np.full(len(observed.places), 0.5)
        weight[: len(observed)] = np.where(observed.across, 0.5, 1.0)
        kept = np.ones(len(observed.places), dtype=bool)
        for source in best.noise.sources:
            if source.name == BANDS:
                kept[: len(observed)] = source.own <= 0.0
        places = observed.places
        return places.azimuth[kept], places.height[kept], weight[kept]

    def to_xarray(self) -> xr.Dataset:
        """The surface as a CF-style dataset, its frame in the attributes.

        Returns
        -------
        Dataset, dims (height, azimuth)
            ``radius``, ``radius_sd``, ``design_radius``, ``cutback``, ``cutback_sd``
            (mm), ``p_brick`` (0 to 1), ``action`` (flags), ``opening`` and
            ``surveyed`` (0/1).
        """
        return views().to_xarray(self)

    def to_pyvista(self) -> pv.PolyData:
        """The surveyed wall as a mesh in mm, as ``lining.vtp`` holds it."""
        return views().to_pyvista(self)

    def to_trimesh(self) -> trimesh.Trimesh:
        """The surveyed wall as a coloured mesh in mm, as ``lining.ply`` holds it."""
        return views().to_trimesh(self)

    def plot(self) -> Figure:
        """The unrolled wall by cut-back, seen from inside."""
        return views().plot(self)

    def plot_section(self, *, height: float) -> Figure:
        """A level section, seen from above.

        Parameters
        ----------
        height : float, mm
            On surveyed wall; the nearest row is drawn.
        """
        return views().plot_section(self, height)

    def plot_profile(self, *, azimuth: float) -> Figure:
        """An upright section, radius stretched against height.

        Parameters
        ----------
        azimuth : float, degrees
        """
        return views().plot_profile(self, azimuth)
