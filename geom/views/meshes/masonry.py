"""masonry.glb: every brick of the plan in its place, in the wall as it was measured.

A brick is the box or wedge of its eight corners; one that is curved to a bore, the
piece of a ring, is made of boxes side by side without the sides between them.  Whole
bricks and cut ones differ in colour; the wall is that of lining.glb.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from geom.frame import Sense, to_cartesian
from geom.repair.masonry.placed import PlacedBrick
from geom.repair.plan.result import RepairPlan
from geom.surface.radial import RadialSurface
from geom.units import Float, Int
from geom.views.charts.colours import to_linear
from geom.views.meshes.formats import Part, scene_bytes, wall_part
from geom.views.meshes.mesh import WallMesh

#: The six faces of a brick by its corners, each wound outward where azimuth grows
#: counterclockwise: face, back, lower, upper, and the two ends.
_SIDES = np.array(
    [
        (0, 3, 2, 1),
        (4, 5, 6, 7),
        (0, 1, 5, 4),
        (3, 7, 6, 2),
        (0, 4, 7, 3),
        (1, 2, 6, 5),
    ]
)
#: sRGB of whole bricks and of cut ones.
WHOLE, CUT = (0xB5, 0x53, 0x2E), (0xE3, 0xB2, 0x6A)


def brick_boxes(bricks: Sequence[PlacedBrick], sense: Sense) -> tuple[Float, Int]:
    """Bricks as closed boxes, four vertices to a side so that edges stay sharp.

    Parameters
    ----------
    sense : {'clockwise', 'counterclockwise'}

    Returns
    -------
    vertices : array (4 s, 3), mm
        In the design's frame, z up; of s sides, six of a flat brick.
    faces : int array (2 s, 3)
        Wound so that their normals point out of the brick.
    """
    if not bricks:
        return np.empty((0, 3)), np.empty((0, 3), dtype=np.int64)
    parts = [brick.blocks() for brick in bricks]
    corners = np.concatenate(parts)
    points = to_cartesian(corners[..., 1], corners[..., 2], corners[..., 0], sense)
    # ends stand only where a brick begins and where it ends
    kept = np.ones((len(corners), len(_SIDES)), dtype=bool)
    ends = np.cumsum([len(part) for part in parts])
    kept[:, 4:] = False
    kept[np.concatenate([[0], ends[:-1]]), 4] = True
    kept[ends - 1, 5] = True
    vertices = points[:, _SIDES][kept].reshape(-1, 3)
    quads = np.arange(len(vertices)).reshape(-1, 4)
    faces = np.concatenate([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]])
    if sense == "clockwise":
        faces = faces[:, ::-1]
    return vertices, faces


def masonry_bytes(
    mesh: WallMesh, surface: RadialSurface, plan: RepairPlan, *, title: str
) -> bytes:
    """The brickwork of a plan and the wall it stands in, as binary glTF.

    Returns
    -------
    bytes
        As `glb_bytes` of lining.glb; a part for the wall, and for each zone one of
        whole bricks and one of cut ones.
    """
    parts = [wall_part(mesh, surface)]
    sense = surface.design.azimuth_sense
    for zone in plan.zones:
        if zone.brickwork is None:
            continue
        for whole, name, colour in ((True, "whole", WHOLE), (False, "cut", CUT)):
            bricks = [b for b in zone.brickwork.bricks if b.piece.whole is whole]
            if bricks:
                vertices, faces = brick_boxes(bricks, sense)
                parts.append(
                    Part(
                        f"zone {zone.id}, {name}",
                        vertices,
                        faces,
                        _rgba(colour, len(vertices)),
                    )
                )
    return scene_bytes(parts, title=title, lining=surface.design.name)


def _rgba(srgb: tuple[int, int, int], count: int) -> Any:
    light = np.rint(255.0 * to_linear(np.array([srgb], dtype=np.uint8)))
    return np.repeat(np.append(light, [[255.0]], axis=1), count, axis=0)
