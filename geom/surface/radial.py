"""The wall as far as it is known.

The surface as a labelled dataset for other programs.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from geom.design import DatumBand, Design
from geom.readings.rod import RodKind
from geom.surface.grid import Grid
from geom.surface.rods.errors import BANDS
from geom.units import Bool, Float

if TYPE_CHECKING:
    import xarray as xr

    from geom.datum import Pose
    from geom.surface.gp.posterior import Posterior


def surface_dataset(surface: RadialSurface) -> xr.Dataset:
    """CF-style dataset with dims (height, azimuth); lengths in mm."""
    import xarray as xr

    grid, dims = surface.grid, ("height", "azimuth")
    drawn = np.broadcast_to(grid.design_radius[:, None], grid.shape)
    mm = {"units": "mm"}
    return xr.Dataset(
        {
            "radius": (dims, surface.radius, mm | _long_name("radius of the hot face")),
            "radius_sd": (
                dims,
                surface.radius_sd,
                mm | _long_name("standard uncertainty of radius"),
            ),
            "design_radius": (
                dims,
                drawn.copy(),
                mm | _long_name("radius as designed"),
            ),
            "cutback": (
                dims,
                surface.cutback,
                mm | _long_name("radius minus design radius, positive into the wall"),
            ),
            "cutback_sd": (
                dims,
                surface.radius_sd.copy(),
                mm | _long_name("standard uncertainty of cutback"),
            ),
            "surveyed": (
                dims,
                grid.surveyed.astype(np.int8),
                _flag("not surveyed surveyed"),
            ),
            **_seen_variable(surface),
            "opening": (dims, grid.opening.astype(np.int8), _flag("wall opening")),
        },
        coords=_coordinates(grid),
        attrs={"Conventions": "CF-1.11"},
    )


def _seen_variable(surface: RadialSurface) -> dict[str, object]:
    """Where a laser saw the wall, if there was one."""
    if surface.seen is None:
        return {}
    words = _flag("not_seen seen_by_laser")
    return {"seen": (("height", "azimuth"), surface.seen.astype(np.int8), words)}


def _coordinates(grid: Grid) -> dict[str, tuple[str, object, dict[str, str]]]:
    up = {"units": "mm", "positive": "up", "axis": "Z"} | _long_name(
        "height above zero"
    )
    turn = {"units": "degree"} | _long_name("azimuth from zero in the design's sense")
    return {
        "height": ("height", grid.height.copy(), up),
        "azimuth": ("azimuth", grid.azimuth.copy(), turn),
    }


def _long_name(words: str) -> dict[str, str]:
    return {"long_name": words}


def _flag(words: str) -> dict[str, object]:
    meanings = words.replace("not surveyed", "not_surveyed")
    return {
        "long_name": words.rsplit(" ", maxsplit=1)[-1],
        "flag_values": np.array([0, 1], dtype=np.int8),
        "flag_meanings": meanings,
    }


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
    """Past surveys are not used beside a point cloud."""


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
class RadialSurface:
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
        """The surface as a CF-style dataset.

        Returns
        -------
        Dataset, dims (height, azimuth)
            ``radius``, ``radius_sd``, ``cutback``, ``cutback_sd`` (mm),
            ``design_radius`` (mm, over height), ``opening`` and ``surveyed`` (0/1).
        """
        return surface_dataset(self)
