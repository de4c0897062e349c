"""Named targets: they fix the azimuth and the height that an axis alone leaves open.

A wall of revolution tells where its axis is, but not which way azimuth 0 looks nor
where height zero is.  Targets of known place tell both.  They do so in two steps,
because the axis can only be found once azimuth and height are nearly known:
`nominal_from_targets` lays the targets on their places as well as a turn about the
vertical and a shift can; then the axis is found on the wall; then `align_to_targets`
turns and slides the design along that axis, the axis itself staying where it is.

References
----------
Umeyama, S. (1991). Least-squares estimation of transformation parameters between two
point patterns. IEEE Transactions on Pattern Analysis and Machine Intelligence 13(4),
376-380 (here in the plane and without scale, where the turn is one arctangent; the
reflection that it guards against cannot arise, since the sense of azimuth is stated).
JCGM 100:2008, 4.2.3 (standard uncertainty of a mean).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from geom.datum.assumptions import ASSUMED
from geom.datum.pose import Pose
from geom.design import Design
from geom.design.text_file import casefolded, join_words, nearest_known
from geom.errors import InputError
from geom.frame import wrap
from geom.readings.cloud import ObservedTarget
from geom.units import Float


@dataclass(frozen=True)
class MatchedTargets:
    """Targets that the drawing knows and the scanner saw, in one order.

    Attributes
    ----------
    names : tuple of str, length n
        As the drawing writes them.
    seen : array (n, 3), mm
        In the cloud's frame.
    azimuth : array (n,), degrees
    radius, height : array (n,), mm
        As drawn.
    file : str
        The sheet, for messages.
    """

    names: tuple[str, ...]
    seen: Float
    azimuth: Float
    radius: Float
    height: Float
    file: str = ""

    @property
    def across(self) -> Float:
        """Places as drawn across the axis, toward azimuths 0 and 90, mm; (n, 2)."""
        a = np.deg2rad(self.azimuth)
        return np.asarray(self.radius[:, None] * np.stack([np.cos(a), np.sin(a)], 1))


def match_targets(seen: Sequence[ObservedTarget], design: Design) -> MatchedTargets:
    """Match targets by name; capitals and blanks around a name do not matter.

    Parameters
    ----------
    seen : sequence of ObservedTarget
        Of clouds in one frame.

    Returns
    -------
    MatchedTargets
        In the order seen.

    Raises
    ------
    InputError
        If the drawing does not know one of them, or there are fewer than two.
    """
    drawn = {casefolded(target.name): target for target in design.targets}
    file = seen[0].file if seen else ""
    _refuse_undrawn(seen, [target.name for target in design.targets], file)
    there = [drawn[casefolded(target.name)] for target in seen]
    if len({casefolded(target.name) for target in there}) < ASSUMED.least_targets:
        known = join_words(
            (f'"{target.name}"' for target in design.targets), last="and"
        )
        on_sheet = (
            join_words((f'"{t.name}"' for t in seen), last="and") if seen else "none"
        )
        what = (
            f"two targets or more are needed to fix azimuth and height; the design "
            f"file knows {known}, on the sheet: {on_sheet}"
        )
        raise InputError(what, file=file or None, cure="Add the others that were seen")
    return MatchedTargets(
        names=tuple(target.name for target in there),
        seen=np.array([[t.x, t.y, t.z] for t in seen], dtype=np.float64),
        azimuth=np.array([target.azimuth for target in there]),
        radius=np.array([design.radius_at_target(target) for target in there]),
        height=np.array([target.height for target in there]),
        file=file,
    )


def _refuse_undrawn(
    seen: Sequence[ObservedTarget], known: list[str], file: str
) -> None:
    if not known:
        what = "the design file has no target to match with"
        cure = "Add [[target]] with name, azimuth and height for each"
        raise InputError(what, file=file or None, cure=cure)
    for target in seen:
        if casefolded(target.name) not in map(casefolded, known):
            what = f'the design file knows no target "{target.name[:40]}"'
            what += nearest_known(target.name, known)
            cure = "Write the name as it is there, or add it there under [[target]]"
            place = target.place or None
            raise InputError(what, file=file or None, place=place, cure=cure)


def nominal_from_targets(matched: MatchedTargets, design: Design) -> Pose:
    """Azimuth and height of a cloud before its offset and tilt are known.

    The turn is that of the targets about their own middle, so that no offset has a say
    in it (Umeyama 1991, in the plane, without scale); a tilt of a few degrees has
    little.  Where they stand so close together across the furnace that a tilt would
    have much, it is the turn about the cloud's own z axis.

    Returns
    -------
    Pose
        Neither displaced nor tilted: both are for `geom.datum.find` to find.
    """
    level = Pose.nominal(design)
    seen = (matched.seen @ level.rotation.T)[:, :2]
    drawn = matched.across
    shifts = np.tan(np.deg2rad(ASSUMED.target_tilt)) * float(np.std(matched.height))
    middle = drawn.mean(axis=0)
    spread = float(np.sqrt(np.mean(np.sum((drawn - middle) ** 2, axis=1))))
    if spread > max(ASSUMED.target_spread, ASSUMED.target_shift_times * shifts):
        seen, drawn = seen - seen.mean(axis=0), drawn - middle
    return replace(
        level,
        azimuth_of_x=float(wrap(_turn(seen, drawn))),
        z_offset=float(np.mean(matched.seen[:, 2] - matched.height)),
    )


def align_to_targets(pose: Pose, matched: MatchedTargets) -> tuple[Pose, float, float]:
    """Turn and slide the design along an axis that is found, onto the targets.

    The axis keeps its place in the cloud.  Its offset is stated at mid-height of the
    profile, though, and that point slides along with the design: along a tilted axis
    the offset changes, and its covariance with it.

    Parameters
    ----------
    pose : Pose
        With offset and tilt as found, azimuth and height nearly so.

    Returns
    -------
    pose : Pose
        With the azimuth and the height that are best in least squares.
    misfit : float, mm
        Root mean square distance of the targets from their places.
    height_sd : float, mm
        Standard uncertainty of the height.  Estimated by how far the targets' heights
        scatter, so from two or three of them it is a rough one.

    Raises
    ------
    InputError
        If a target lies more than `target_miss` from its place.
    """
    place = (matched.seen - pose.origin) @ pose.rotation.T
    up = place[:, 2] + pose.mid_height - matched.height
    turn = _turn(place[:, :2], matched.across)
    turned = replace(
        _slid(pose, float(up.mean())),
        azimuth_of_x=float(wrap(pose.azimuth_of_x + turn)),
    )
    miss = _misses(turned, matched)
    _refuse_missing(miss, matched)
    scatter = float(np.sum((up - up.mean()) ** 2)) + ASSUMED.target_height_sd**2
    height_sd = np.sqrt(scatter / up.size / up.size)
    return turned, float(np.sqrt(np.mean(miss**2))), float(height_sd)


def _turn(seen: Float, drawn: Float) -> float:
    """Turn that lays places seen on places drawn, degrees; both (n, 2).

    It makes the sum of squared distances least: the arctangent of the summed cross and
    scalar products.
    """
    cross = np.sum(seen[:, 0] * drawn[:, 1] - seen[:, 1] * drawn[:, 0])
    along = np.sum(seen * drawn)
    return float(np.rad2deg(np.arctan2(cross, along)))


def _slid(pose: Pose, up: float) -> Pose:
    """The design slid up its own axis by so many mm, the axis staying in place."""
    along_axis = pose.rotation[2]
    x, y, z = pose.origin + up * along_axis
    tx, ty = np.deg2rad([pose.tilt_x, pose.tilt_y])
    slide = up * np.deg2rad(1.0)
    # How the offset at the new place follows the tilts: derivatives of the axis.
    moves = np.eye(4)
    moves[0, 2] = -slide * np.sin(tx) * np.sin(ty)
    moves[0, 3] = slide * np.cos(tx) * np.cos(ty)
    moves[1, 2] = -slide * np.cos(tx)
    return replace(
        pose,
        offset_x=float(x),
        offset_y=float(y),
        z_offset=float(z) - pose.mid_height,
        covariance=moves @ pose.covariance @ moves.T,
    )


def _misses(pose: Pose, matched: MatchedTargets) -> Float:
    """How far each target lies from its place, mm; (n,)."""
    meant = pose.from_wall(matched.azimuth, matched.radius, matched.height)
    return np.asarray(np.linalg.norm(matched.seen - meant, axis=1))


def _refuse_missing(miss: Float, matched: MatchedTargets) -> None:
    if miss.max() <= ASSUMED.target_miss:
        return
    order = np.argsort(-miss, kind="stable")
    each = (f'"{matched.names[k]}" {miss[k]:.0f} mm' for k in order)
    what = (
        f'the target "{matched.names[order[0]]}" misses its place by '
        f"{miss.max():.0f} mm, more than {ASSUMED.target_miss} mm (2 in); "
        f"all of them, worst first: "
        f"{join_words(each, last='and')}"
    )
    cure = (
        "Look for names that are swapped, azimuth_sense of the wrong sense, and a "
        "target that is not on the hot face as drawn and has no radius"
    )
    raise InputError(what, file=matched.file or None, cure=cure)
