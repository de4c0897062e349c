"""Where a cloud's frame lies against the furnace's own axis.

A point p of the design frame appears in the cloud (in mm) at

    c = M (Z p - k) + k + o + z0,

with Z a turn about the axis (the azimuth that the cloud's x axis points at), k the
point of the axis at mid-height of the profile, M the rotation by ``tilt_x`` about x,
then by ``tilt_y`` about y, o the offset and z0 the cloud's height of height zero.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from geom.design import Design
from geom.shown import Shown
from geom.units import Float


@dataclass(frozen=True)
class Pose(Shown):
    """A cloud's frame against the design's.

    Attributes
    ----------
    offset_x, offset_y : float, mm
        Of the axis at mid-height, along the cloud's axes.
    tilt_x, tilt_y : float, degrees
        Rotations about the cloud's x and y.
    covariance : array (4, 4)
        Of offset_x, offset_y (mm), tilt_x, tilt_y (degrees).
    azimuth_of_x : float, degrees
        Design azimuth that the cloud's +x points at.
    z_offset : float, mm
        Cloud z of height zero.
    mid_height : float, mm
        Of the profile.
    clockwise : bool
        Whether azimuth grows clockwise seen from above.
    """

    offset_x: float
    offset_y: float
    tilt_x: float
    tilt_y: float
    azimuth_of_x: float
    z_offset: float
    mid_height: float
    clockwise: bool
    covariance: Float = field(default_factory=lambda: np.zeros((4, 4)))

    @classmethod
    def nominal(
        cls, design: Design, *, azimuth_of_x: float = 0.0, z_offset: float = 0.0
    ) -> Pose:
        """Neither displaced nor tilted.

        Parameters
        ----------
        azimuth_of_x : float, degrees
        z_offset : float, mm
        """
        profile = design.profile
        return cls(
            offset_x=0.0,
            offset_y=0.0,
            tilt_x=0.0,
            tilt_y=0.0,
            azimuth_of_x=azimuth_of_x,
            z_offset=z_offset,
            mid_height=0.5 * (profile.bottom + profile.top),
            clockwise=design.azimuth_sense == "clockwise",
        )

    @property
    def parameters(self) -> Float:
        """Offsets (mm) and tilts (degrees); shape (4,)."""
        return np.array([self.offset_x, self.offset_y, self.tilt_x, self.tilt_y])

    @property
    def sd(self) -> Float:
        """Standard uncertainties of the parameters; shape (4,)."""
        return np.sqrt(np.diag(self.covariance))

    def at(self, parameters: Float, covariance: Float | None = None) -> Pose:
        """The same frame at other offsets and tilts."""
        x, y, tilt_x, tilt_y = (float(value) for value in parameters)
        known = self.covariance if covariance is None else covariance
        return replace(
            self,
            offset_x=x,
            offset_y=y,
            tilt_x=tilt_x,
            tilt_y=tilt_y,
            covariance=known,
        )

    @property
    def rotation(self) -> Float:
        """From the cloud's axes to azimuth's: x to azimuth 0, y to azimuth 90; (3, 3).

        Its last two rows are not right-handed where azimuth grows clockwise.
        """
        tx, ty = np.deg2rad([self.tilt_x, self.tilt_y])
        about_x = np.array(
            [[1.0, 0.0, 0.0], [0, np.cos(tx), -np.sin(tx)], [0, np.sin(tx), np.cos(tx)]]
        )
        about_y = np.array(
            [[np.cos(ty), 0.0, np.sin(ty)], [0, 1, 0], [-np.sin(ty), 0, np.cos(ty)]]
        )
        return np.asarray(self._to_azimuth @ (about_y @ about_x).T)

    @property
    def _to_azimuth(self) -> Float:
        """From axes along the cloud's x to those along azimuths 0 and 90."""
        hand = -1.0 if self.clockwise else 1.0
        a = np.deg2rad(self.azimuth_of_x)
        return np.array(
            [
                [np.cos(a), -hand * np.sin(a), 0.0],
                [np.sin(a), hand * np.cos(a), 0.0],
                [0.0, 0.0, 1.0],
            ]
        )

    @property
    def origin(self) -> Float:
        """The axis at mid-height, in the cloud's frame, mm; shape (3,)."""
        up = self.mid_height + self.z_offset
        return np.array([self.offset_x, self.offset_y, up])

    def to_wall(self, points: Float) -> tuple[Float, Float, Float]:
        """Where points of the cloud lie on the wall.

        Parameters
        ----------
        points : array (n, 3), mm

        Returns
        -------
        azimuth (degrees), radius (mm), height (mm) : arrays (n,)
        """
        x, y, z = self.rotation @ (np.asarray(points) - self.origin).T
        azimuth = np.rad2deg(np.arctan2(y, x))
        azimuth += 360.0 * (azimuth < 0.0)
        return azimuth, np.hypot(x, y), z + self.mid_height

    def from_wall(self, azimuth: Float, radius: Float, height: Float) -> Float:
        """Where places on the wall appear in the cloud, mm; arrays (n,) to (n, 3)."""
        a = np.deg2rad(azimuth)
        up = np.broadcast_to(np.asarray(height) - self.mid_height, np.shape(a))
        at = np.stack([radius * np.cos(a), radius * np.sin(a), up], axis=-1)
        return np.asarray(at @ self.rotation + self.origin)

    def jacobian(
        self, azimuth: Float, height: Float, slope: Float, radius: Float
    ) -> Float:
        """How cut-back as given follows the true pose, to first order.

        Parameters
        ----------
        azimuth, height : array, degrees and mm
        slope : array
            Of the design radius with height.
        radius : array, mm
            Design radius; all of one shape.

        Returns
        -------
        array, that shape + (4,)
            Change of cut-back per mm of offset and per degree of tilt, where the true
            pose is that much further than this one.
        """
        a = np.deg2rad(azimuth)
        toward = np.stack([np.cos(a), np.sin(a)])
        out_x, out_y = np.tensordot(self._to_azimuth[:2, :2].T, toward, axes=1)
        up = height - self.mid_height
        degree = np.deg2rad(1.0)
        lever = degree * (up + slope * radius)
        return np.stack([out_x, out_y, -lever * out_y, lever * out_x], axis=-1)
