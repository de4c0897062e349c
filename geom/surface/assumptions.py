"""What the surface takes for granted: every tuned number of readings and clouds.

Where no source is named the number is our own choice.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class SurfaceAssumptions:
    """The numbers, each below its meaning, unit and source."""

    # --- clouds.cells -----------------------------------------------------------------
    #: Sides of blocks by which a cell is estimated, in cells; divisors of the columns.
    block_sides: tuple[int, int, int] = (1, 3, 6)
    #: Thickness of a layer, mm; share of a cell's points and least points that make it
    #: wall; the same of a block of cells, over which dust adds up.
    layer_thickness: float = 30.0
    wall_share: float = 0.25
    wall_points: int = 3
    block_share: float = 0.5
    block_points: int = 6
    #: Points below which a cell has no layer of its own: its quartiles are then those
    #: of chance.  Our own choice.
    few_points: int = 12
    #: A point of such a cell is wall if so many points of the cells one or two off,
    #: itself counted, and that share of them lie within three spreads of points, at
    #: least 4 mm.
    support_points: int = 3
    support_share: float = 0.15
    support_halo: int = 2
    support_spread: float = 4.0
    #: A cell this much prouder than the wall around it is something in front of it, mm
    #: (2 in): build-up so proud and so narrow is rarer than a chain.  Our own choice.
    in_front: float = 50.8
    #: Cells side by side of one wall differ by no more, mostly, mm.  Our own choice.
    cells_agree: float = 20.0
    #: Share of the points that blocks at the same height have (upper quartile), below
    #: which a block has only dust.
    dust_share: float = 0.1
    #: Blocks of cells by which the wall around is estimated, rows and columns, and how
    #: many blocks around are looked at to either side.
    around_rows: int = 6
    around_columns: int = 6
    around_blocks: int = 2
    around_enough: int = 5
    #: Cells over which the middle 60 % of the wall around a cell stretch, times three:
    #: a block's points lie a third of its side from a cell of it.
    slant_cells: float = 54.0
    #: Readings that the pooled spread counts as, next to a cell's own.
    pooled_readings: float = 10.0

    # --- clouds.crowding --------------------------------------------------------------
    #: Spread of the rate at which points crowd where the wall lies further out, before
    #: it is learned, 1/mm: by e over 50 mm.  Our own choice.
    crowding_rate: float = 0.02
    #: What a correction for it is off by: a share.  From walls of lost bricks.
    crowding_form: float = 0.4
    #: Rise of the wall from cell to cell, mm, below which points of a cell scatter by
    #: their noise alone, and past which they say how the wall runs within.  Our own
    #: choices.
    flat_rise: float = 1.0
    steep_rise: float = 2.0

    # --- clouds.histogram -------------------------------------------------------------
    #: How far build-up may stand proud, and how far beyond the shell a point may lie,
    #: and still be counted; mm.
    proud_reach: float = 150.0
    beyond_shell: float = 25.0
    #: Deepest cut-back where the drawing shows no shell, mm.
    deepest_cutback: float = 300.0

    # --- clouds.kriging ---------------------------------------------------------------
    #: Reach of the residual field that is tried, mm, factors on its variance, and cells
    #: (rows and columns) over which that is one.
    kriging_reaches: tuple[float, ...] = (30.0, 60.0, 100.0, 160.0)
    kriging_factors: tuple[float, ...] = (0.5, 1.0, 2.0, 4.0)
    kriging_windows: tuple[int, ...] = (5, 9, 15, 31)
    kriging_wide_window: int = 31
    #: Cells left out to choose among them.
    kriging_left_out: int = 1000
    #: Neighbours that tell a cell, at most; fewer where cells hold this many points in
    #: all.
    kriging_neighbours: int = 24
    kriging_points: float = 40.0
    #: Window that the search begins with, and for how many cells the whole wall's
    #: variance counts in one.
    kriging_local_window: int = 15
    kriging_whole_counts: float = 15.0
    #: Least part of the whole wall's: products of few cells may be below 0 by chance.
    kriging_least_part: float = 0.1
    #: Most that the field's variance is put right by, either way.
    kriging_most_off: float = 2.0
    #: Neighbours that a residual is multiplied with, about.
    kriging_partners: float = 12.0

    # --- clouds.reconstruct -----------------------------------------------------------
    #: Points a cell below which a cloud that shows no ring is called sparse.
    sparse_points: float = 0.1
    #: A row is surveyed if this share of its wall is seen; rows between such rows are
    #: too.
    seen_of_a_row: float = 0.3
    #: Cells to either side that tell how rough the wall is at a cell.
    roughness_rows: int = 25
    roughness_columns: int = 25
    #: Roughness where too few cells are seen, mm, and for how many cells that counts.
    cloud_roughness: float = 1.0
    cloud_roughness_cells: float = 10.0
    #: Offset of the bands' radius (mm) and share of points left out that are worth a
    #: word.
    band_off: float = 2.0
    many_left_out: float = 0.25
    #: Blocks that a wall is cut into, about, and least cells that make one a reading.
    wall_blocks: int = 850
    block_cells: int = 4

    # --- clouds.register --------------------------------------------------------------
    #: Error of a cell that the laser meets at 45 degrees, mm; it grows with the
    #: tangent. Our own choice, no source.
    grazing_error: float = 0.5
    #: Angles of a beam past this are taken for this, degrees.
    steepest_beam: float = 80.0
    #: Rows and columns of cells that make a block in a band.
    band_block_rows: int = 5
    band_block_columns: int = 6
    #: The same of a patch that may be sound wall, and least cells that tell it.
    patch_rows: int = 5
    patch_columns: int = 6
    patch_cells: int = 4
    #: Turns of the shadows, degrees, and fewest blocks that a turn must leave out.
    shadow_step: int = 15
    shadow_blocks: int = 3
    #: Blocks around that have a say: Gaussian in height (mm) and azimuth (degrees).
    shadow_height: float = 60.0
    shadow_azimuth: float = 45.0
    #: What the fitted wall's own word counts for, in blocks.
    prior_blocks: float = 3.0
    #: The same for the sum over a shadow, in turns; and how many turns a full circle of
    #: them counts for, as they overlap.
    prior_turns: float = 3.0
    effective_turns: float = 8.0
    #: By how much sums over shadows vary more than the fitted wall owns to, before the
    #: scan is asked: marks of single tuyeres and spalls that nothing around them hints
    #: at.  From walls of the bench, see docs/benchmarks.md.
    shadow_surprise: float = 2.0

    # --- clouds.rings -----------------------------------------------------------------
    #: Standard deviations and reaches that are tried, mm.
    course_sizes: tuple[float, ...] = (0.0, 0.05, 0.1, 0.2, 0.4, 0.8, 1.6, 3.2)
    course_reaches: tuple[float, ...] = (30.0, 60.0, 120.0, 240.0)
    #: Rows and columns of cells around whose mean is no course.
    course_window: int = 21
    #: Least cells with points that make a row's mean.
    course_cells: int = 6

    # --- clouds.sparse ----------------------------------------------------------------
    #: Fewest points that an axis is found on.  Our own choice.
    axis_points: int = 40
    #: Points further from the drawing than this, mm, are not of the wall.
    furthest_point: float = 300.0
    #: Standard uncertainty of a set-up that is taken as stated, mm at both ends of the
    #: profile.  Our own choice, no source.
    stated_set_up_sd: float = 5.0

    # --- coverage ---------------------------------------------------------------------
    #: Times the sheet's spacing that a reading reaches: three quarters round the ring,
    #: so that a station left out is covered by the rows below and above it and a whole
    #: column left out is not; once up the wall, so that a row left out is bridged.
    reach_round: float = 0.75
    reach_up: float = 1.0
    #: Least and most reach round the ring, degrees, and up the wall, mm.
    reach_round_limits: tuple[float, float] = (15.0, 45.0)
    reach_up_limits: tuple[float, float] = (228.6, 609.6)
    #: Share of the wall whose spacing is no more than the sheet's.
    spacing_share: float = 0.75

    # --- gp.fields --------------------------------------------------------------------
    #: How fast a pattern decays beyond the heights it is stated for, mm.
    pattern_fade: float = 150.0

    # --- gp.hyperparameters -----------------------------------------------------------
    #: Readings that tell the tops of the evidence apart well enough, and readings that
    #: tell sizes and lengths well enough.
    map_points: int = 140
    evidence_points: int = 600
    #: Draws that lie deeper than drawn by more than this are brought back, in so many
    #: goes, each by at most this part.  Rebuild from seed to seed, brick walls at 12 x
    #: 10: 0.9 % without, 0.5 % with.
    deeper_by: float = 0.5
    deeper_pulls: int = 3
    deeper_least_pull: float = 0.3

    # --- gp.prior ---------------------------------------------------------------------
    #: What is expected before any reading: how far above the tuyeres' centres the ring
    #: is deepest, how deep it is (mm; none, or it would be seen where nobody read), and
    #: how far below and above that it has fallen to 1/e, each with its spread (the
    #: widths' of the logarithm).  Common practice, no source: the melting zone lies
    #: from half a foot to one and a half above the tuyeres.
    crest_above_tuyeres: float = 250.0
    crest_ride_sd: float = 120.0
    crest_depth_sd: float = 40.0
    width_below: float = 140.0
    width_above: float = 210.0
    width_spread: float = 0.5
    #: How far readings lie about the hump (mm) and about zero off it (mm), and how many
    #: readings tell something that their neighbours do not: our own choices.
    about_hump: float = 6.0
    about_zero: float = 3.0
    telling_readings: float = 30.0
    #: How much deeper the hump is on one side, mm, for finding it; and as a share of
    #: its depth, where it enters as a part of its own, with the spread of its
    #: logarithm: our own choices.
    side_depth: float = 15.0
    side_share: float = 0.25
    side_spread: float = 0.8
    #: Least distance of the heights at which liveliness is learned, mm and rows read.
    knot_spacing: float = 250.0
    knot_rows: float = 4.0
    #: Logarithm of how much livelier the wall is in the melting zone, and its spread.
    amplified: float = 1.0
    #: Reach of joints and roughness, mm: less than readings are ever apart, so it
    #: cannot be learned from them.
    grain_reach: float = 15.0

    # --- reconstruct ------------------------------------------------------------------
    #: Least readings, azimuths and heights from which sizes and lengths can be learned
    #: at all: our own floor, no source.
    least_readings: int = 8
    least_azimuths: int = 3
    least_heights: int = 2
    #: Rows further apart than this may miss a burnt ring between them, mm: at the
    #: middle of 12 in a hump of the usual widths has about half its depth.  So far to
    #: either side of where a crest is usual one may lie, mm: two spreads of `gp.prior`.
    #: Our own choice.
    widest_rows: float = 304.8
    about_crest: float = 240.0

    # --- rods.diameters ---------------------------------------------------------------
    #: Variance of a share that is as likely anywhere between -1 and 1, and the part of
    #: it that is one-sided as a whole: our own choice, no source.
    side_variance: float = 1.0 / 3.0
    one_sided_part: float = 0.85

    # --- rods.errors ------------------------------------------------------------------
    #: Spread of the logarithm of what is learned, before: a factor of 1.5 either way
    #: for repeatability, of 2 for centring, of which less is known.  Our own choice, no
    #: source.
    repeatability_spread: float = 0.4
    centring_spread: float = 0.7
    #: How far a patch lies off the wall that would be drawn through it, sd in mm, and
    #: its logarithm's spread, before it is learned: our own choice, about half a
    #: tolerance.
    offset_sd: float = 4.0
    offset_spread: float = 0.8
    #: Repaired zones that each have an unevenness of their own; of more one is learned.
    most_uneven: int = 8
    #: How uneven the face of a patch is, likewise, and over what distance, mm: about
    #: what a trowel and a straight-edge of 2 ft leave.  Our own choice.
    uneven_sd: float = 0.8
    uneven_spread: float = 0.6
    uneven_reach: float = 150.0
    #: Depth of holes in a zone that has one, likewise, and their reach: a brick's.
    hole_sd: float = 12.0
    hole_spread: float = 0.6
    hole_reach: float = 60.0

    # --- rods.fit ---------------------------------------------------------------------
    #: Choices of sizes and lengths besides the best: this many by the number of
    #: readings, within limits, for of few readings they differ more and cost less.
    #: Rebuild from seed to seed: 8 x 6 with 32, 0.4 to 0.6 %; 12 x 10 with 16, 0.1 to
    #: 1.3 %.
    choices_readings: int = 2000
    least_choices: int = 8
    most_choices: int = 32
    #: Readings past which the choices differ by less than matters, and none are drawn.
    choices_up_to: int = 900
    #: Side of the smallest cell, mm, and of the next ones in those before; readings of
    #: a usual cell that lend a cell its scatter.  Our own choices.
    cell_side: float = 15.0
    cell_growth: float = 1.1
    lent_readings: float = 4.0
    #: Where a repair ends is known from the survey before it no better than this, mm:
    #: half an inch.  Our own choice.
    repair_edge_sd: float = 12.7
    #: Readings around one of very many that tell whether it may be odd.  Our own
    #: choice.
    odd_neighbours: int = 12
    #: A reading further off than this is a slip whatever is written next to it, mm.
    gross_error: float = 50.8

    # --- rods.history -----------------------------------------------------------------
    #: What is expected before any two surveys are compared, our own choices: how far
    #: the melting zone rides up or down from heat to heat (mm), how much deeper or
    #: shallower its ring is (share), how far places differ after that (mm).
    history_shift_sd: float = 20.0
    history_scale_sd: float = 0.2
    history_residual_sd: float = 5.0
    #: How many surveys that expectation is worth.
    history_surveys: float = 4.0
    #: Smoothing of the pattern, sd in mm: what is finer is of one heat, not of the
    #: furnace.
    history_blur: float = 40.0
    #: Misfit of two rings of wear (mm) and the height over which it is much the same
    #: (mm).
    history_misfit: float = 3.0
    history_alike: float = 200.0
    #: The past is used if with it the readings are this many times as probable.
    history_strong: float = 20.0
    #: While the pattern is laid over the readings, the parts that know nothing of the
    #: past, and the one for finer moves, are held to these shares of their usual sizes,
    #: or they would take its place.
    history_ring: float = 0.3
    history_local: float = 0.6
    history_slope: float = 0.3

    # --- rods.outliers ----------------------------------------------------------------
    #: What makes a suspect: one normal reading in 370 is this far off.
    odd_sd: float = 3.0
    #: Nothing nearer than this to what was expected is set aside, mm.
    odd_least: float = 12.0
    #: What convicts it by its size alone.  Walls are less regular than normal: our own
    #: choice, no source.
    odd_far: float = 6.0
    #: Up to 2 in, a spall or a lump of slag under a single reading is real wall, mm,
    #: unless a slip by a mark of the rod explains it better.  Our own choice.
    slip_least: float = 50.8
    #: Suspects this near each other (mm) that are off alike bear each other out: a
    #: hole.
    suspects_near: float = 400.0
    #: At most this share of a sheet is set aside: past it the sheet as a whole is
    #: doubtful.
    most_set_aside: float = 0.05
    #: Densities of a slip and of a hole of any size at all, per mm: swapped digits.
    slip_density: float = 2e-5
    size_density: float = 1e-12

    # --- rods.repeats -----------------------------------------------------------------
    #: How many standard uncertainties of their difference two readings may differ by,
    #: and by how much at least before it is stated, mm.  Our own choice, no source.
    repeats_differ: float = 3.0
    repeats_least: float = 10.0
    #: Repeatability is stated, not yet learned: a factor of 1.5 either way is usual.
    #: And a worn wall's slopes round the ring and up, for what misplacing the rod does:
    #: a melting zone falls off in a hand's breadth of height, not of girth.  Our own
    #: choices, no source.
    stated_repeatability_spread: float = 1.5
    slope_round: float = 0.1
    slope_up: float = 0.25
    #: Stations that disagree, and the share of those read twice, past which it is asked
    #: whether the sheets are of one survey.
    many_disagree: int = 8
    share_disagree: float = 0.5


ASSUMED = SurfaceAssumptions()
