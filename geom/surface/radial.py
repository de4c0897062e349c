"""The wall as far as it is known."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from geom.design import Design
from geom.surface.grid import Grid
from geom.units import Bool, Float

if TYPE_CHECKING:
    import xarray as xr

    from geom.datum import Pose
    from geom.surface.belief import Belief
    from geom.surface.scanned import ScannedWall


@dataclass(frozen=True)
class Rejected:
    """A reading left out of the fit, and why; never silently."""

    place: str
    value: float
    expected: float
    why: str


@dataclass(frozen=True)
class RadialSurface:
    """A radial surface with its uncertainty.

    Attributes
    ----------
    design : Design
    grid : Grid
    radius, radius_sd : array (height, azimuth), mm
        Best estimate and standard uncertainty of the hot face; NaN where not surveyed.
    belief : Belief or ScannedWall
        The joint posterior behind them: covariances and samples.
    count : int
        Readings that came in.
    kinds : tuple of str
    rejected : tuple of Rejected
        Rod readings left out.
    warnings : tuple of str
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
    belief: Belief | ScannedWall
    count: int
    kinds: tuple[str, ...]
    rejected: tuple[Rejected, ...] = ()
    warnings: tuple[str, ...] = ()
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
        places = self.belief.places
        return places.azimuth, places.height

    def to_xarray(self) -> xr.Dataset:
        """The surface as a CF-style dataset.

        Returns
        -------
        Dataset, dims (height, azimuth)
            ``radius``, ``radius_sd``, ``cutback``, ``cutback_sd`` (mm),
            ``design_radius`` (mm, over height), ``opening`` and ``surveyed`` (0/1).
        """
        from geom.surface.dataset import surface_dataset

        return surface_dataset(self)
