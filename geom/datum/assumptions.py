"""What finding the datum takes for granted.

Where no source is named the number is our own choice.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class DatumAssumptions:
    """The numbers, each below its meaning, unit and source."""

    # --- band_axis --------------------------------------------------------------------
    #: Chance that an axis within its uncertainty is called out.
    band_significance: float = 1e-3
    #: Fewest blocks that an axis is fitted to.
    band_blocks: int = 30
    #: Least roughness, mm: blocks of a perfect band are not infinitely good.
    band_roughness: float = 0.05

    # --- find -------------------------------------------------------------------------
    #: Furthest a cloud is looked for from its nominal place, mm and degrees.
    search_distance: float = 400.0
    search_tilt: float = 6.0
    #: How well a surveyor knows a cloud's height zero, sd in mm.  Our own choice, no
    #: source.
    height_zero_sd: float = 2.0
    #: Nothing below this many points fixes an axis.
    pose_points: int = 200
    #: Clouds of fewer points may be meant as single readings.
    few_points: int = 3000
    #: How far off its drawing a band's radius may be, sd in mm, and the tilts, degrees.
    #: Our own choices, no source.
    band_radius_sd: float = 2.0
    tilt_sd: float = 3.0
    #: Widths of the weights, mm, one step each.
    search_widths: tuple[float, ...] = (40.0, 25.0, 15.0, 10.0, 8.0, 8.0, 8.0)
    #: Patches whose points are taken to err alike, degrees and mm.
    patch_turn: float = 5.0
    patch_height: float = 50.0
    #: Refinement: roughness of a sound wall from block to block, mm, at least; rounds
    #: of reweighting; blocks from which a pose can be found.
    sound_roughness: float = 0.05
    refinements: int = 8
    pose_blocks: int = 30
    #: Least widths of the one-sided weight, outwards and inwards, mm.
    outward_width: float = 4.0
    inward_width: float = 12.0

    # --- form_errors ------------------------------------------------------------------
    #: Reaches of form errors that are tried, mm: from a block of cells to a quarter of
    #: a large furnace; and their parts of the variance.
    form_reaches: tuple[float, ...] = (60.0, 150.0, 400.0, 1000.0)
    form_parts: tuple[float, ...] = (0.05, 0.15, 0.3, 0.5, 0.7, 0.9)
    #: Slabs and most sectors of a worn wall, mm and number; least points that tell one,
    #: and least sectors that tell a slab.
    slab_height: float = 150.0
    slab_sectors: int = 24
    sector_points: int = 5
    least_sectors: int = 8
    #: Share of a slab's sectors that lie nearer the drawing than it is taken to be worn
    #: by: a few missing bricks are no wear to one side.
    worn_sectors: float = 0.7
    #: Standard uncertainty of an axis found on worn wall, over what its least worn
    #: quarter of slabs is worn by.  From worn walls of the fleet (docs/benchmarks.md).
    worn_axis_sd: float = 0.7
    #: The same where too little of the wall is seen round to tell, mm.  Our own choice.
    no_band_sd: float = 3.0
    #: Times the uncertainty of a pose found on worn wall that the search for sound wall
    #: starts from.  Our own choice.
    loosened: float = 3.0
    #: Patches of wall within so many mm of each other are off alike, and count as one.
    #: From walls of the fleet; our own choice.
    patches_alike: float = 250.0
    #: Form errors of sound wall from patch to patch that are tried, mm.
    form_sds: tuple[float, ...] = (0.15, 0.3, 0.6, 1.2, 2.4)
    #: That a worn face has anyhow, mm; and what all sound wall may be off its radius
    #: by.
    worn_face: float = 0.1
    sound_radius_sd: float = 2.0

    # --- targets ----------------------------------------------------------------------
    #: Furthest that a target may lie from its place, mm (2 in): our own choice, no
    #: source.
    target_miss: float = 50.8
    #: Fewest targets that fix azimuth and height.
    least_targets: int = 2
    #: A tilt that the first step must bear, degrees, and how far targets must be spread
    #: across the furnace to tell a turn of their own, mm and times what that tilt
    #: shifts.
    target_tilt: float = 3.0
    target_spread: float = 50.0
    target_shift_times: float = 2.0
    #: How far off a target's height is taken to be before it is seen, sd in mm; it
    #: counts as one target more.  Our own choice, no source.
    target_height_sd: float = 2.0


ASSUMED = DatumAssumptions()
