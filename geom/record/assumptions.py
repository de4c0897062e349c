"""Tuned numbers of the record: what wear rates, change points and forecasts assume.

Most are our own choice, made on whole campaigns of invented walls (scripts/bench: ten
heats, surveys of 48 or 120 stations, truth known); none is measured on a furnace.  The
bench figure, where there is one, stands next to the number.  Each module names the
numbers that it uses; those of a published method stand in its own head.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class RecordAssumptions:
    """Numbers that are chosen; units in brackets, shares without unit.

    Attributes
    ----------
    systematic_share
        Correlation of the errors of any two surveys of a worn wall, where a piece wears
        as its kind does on average.  Bench: of the variance that surveys of the worn
        wall state, 0.18 to 0.23 repeated every heat in sides.
    panel_systematic_share
        The same in panels.  Bench: 0.13 to 0.24.
    as_observed
        Chance that a panel's mean is taken for an observation, and not for an estimate
        that is drawn towards its wall already, where the greatest of heats is drawn.
        Bench: that alone held it in 86 %, its rest alone in 88, both in 97.
    ring_systematic_share
        The same in what goes all round, at least.  Bench: 0.03 to 0.04 with 120
        stations, 0.13 to 0.25 with 48, which miss more of what lasts.
    poor_survey
        Stated variance over the square of the wear at which what goes all round has
        ``systematic_share``; it grows in proportion up to there.
    slow_wear, fast_wear
        The share goes with the rate, because what is missed every heat is part of what
        wears every heat: from here to there, as a part of the kind's mean rate.
    harmonic_systematic_share
        Share of the stated variance of a harmonic that repeats every heat though its
        attenuation is undone.  Bench: intervals without it held the truth 84 to 97
        times in 100.  In front of tuyeres, which are as narrow as what stations show,
        ``systematic_share`` serves.
    least_stated_share
        However little wear scatters, intervals allow for this part of the variance that
        surveys state.  Bench: errors of wear had a third to four fifths of it.
    short_spells [spells]
        That the short-term rate is taken over: few enough to follow a change, enough
        that one heat does not decide.
    table_spells [spells]
        That the scatter of the whole table counts for in the search of a change point;
        many, since it only ranks.
    step_spells [spells]
        That it counts for in the interval of a step; few, since what all of the wall
        shares is known from no more spells.
    row_spells [spells]
        That the common shape of the rows' scatter counts for, in each harmonic.
    heat_share
        Held before any heat is seen: heats differ by this share of the wear ...
    heat_share_spells [heats]
        ... and how many heats that is worth.
    clear_rate [standard uncertainties]
        From zero that a mean rate must be for ratios to it: of sides to the wall, of
        the governing rate to the mean.
    clear_wear [standard uncertainties]
        That the wear of a part must be from zero to show how it strays.
    common_error_share
        Share of what a part errs by beyond its panel's mean that all parts of the panel
        have in common: errors reach about as far as a panel does.
    missed_share
        What is missed every heat, at most, of what the fastest level wears.  Bench:
        0.05 to 0.1 of it repeated in the mean of a panel, and parts miss more.
    spall_limit [robust standard deviations]
        That a part must be off to be a spall.  Bench: 67 panels were found to have lost
        one where 33 spalls, each over one to two panels, had fallen out.
    spall_read
        Share of its depth that a spall is read at.  Bench: of 38 found, in the mean
        14.0 of 21.4 mm.
    spalls_before
        Events held before any is seen.  Bench: with none, walls read at 48 stations
        passed sooner in 15 of 100 cases; with a half, every short record called a stop.
    spall_depth [mm]
        Where none was seen: an inch, common practice.
    """

    systematic_share: float = 0.2
    panel_systematic_share: float = 0.15
    as_observed: float = 0.5
    ring_systematic_share: float = 0.05
    poor_survey: float = 0.06
    slow_wear: float = 0.3
    fast_wear: float = 4.0
    harmonic_systematic_share: float = 0.05
    least_stated_share: float = 0.35
    short_spells: int = 3
    table_spells: float = 20.0
    step_spells: float = 5.0
    row_spells: float = 5.0
    heat_share: float = 0.2
    heat_share_spells: float = 2.0
    clear_rate: float = 3.0
    clear_wear: float = 5.0
    common_error_share: float = 0.5
    missed_share: float = 0.2
    spall_limit: float = 5.5
    spall_read: float = 0.65
    spalls_before: float = 0.2
    spall_depth: float = 25.4

    # --- change.compare ---------------------------------------------------------------
    #: Share of the compared wall that one survey alone may reach without a word.
    alone_share: float = 0.01

    # --- change.volumes ---------------------------------------------------------------
    #: Reach of what a place errs by beyond the mean of its panel, mm: our own choice,
    #: about that of the wear between stations.
    panel_reach: float = 100.0

    # --- changepoints.candidates ------------------------------------------------------
    #: Share of a zone's rows that must be surveyed.
    zone_covered: float = 0.8

    # --- changepoints.covariance ------------------------------------------------------
    #: Rows this far apart correlate only by what all of the wall shares.
    rows_far: int = 3
    #: Least sd of a panel's wear, mm: what is rounded off a rod.
    least_panel_sd: float = 0.05

    # --- changepoints.scan ------------------------------------------------------------
    #: Spells before and after a step, at least.
    spells_before_step: int = 3
    spells_after_step: int = 2
    #: Spells up to which a side of the record has to bear a step out without any one of
    #: them, and how far: the ratio that chance exceeds once in 20.
    few_spells_a_side: int = 4
    borne_out: float = 1.7

    # --- changepoints.steps -----------------------------------------------------------
    #: Share of its panels that a candidate must have in a spell.
    panels_covered: float = 0.8
    #: Steps reported of one record, at most.
    most_steps: int = 4
    #: Rows of panels that must be surveyed.
    least_rows: int = 3

    # --- changepoints.table -----------------------------------------------------------
    #: Share of its panels that a row, and a spell, must have to be counted.
    row_share: float = 0.8
    #: Share of the spells that must have a row.
    spell_share: float = 2.0 / 3.0

    # --- forecast.first_passage -------------------------------------------------------
    #: Share of the thinnest lining drawn that is to be left where the shop states
    #: nothing: an assumption, to be stated with every figure that rests on it.
    lining_left: float = 0.5

    # --- forecast.forecast ------------------------------------------------------------
    #: The wall is surveyed again within this part of the life that is left.
    survey_again: float = 0.5
    #: Heats ahead within which the wall is to be stopped and inspected.
    stop_within: float = 1.0

    # --- forecast.smoothing -----------------------------------------------------------
    #: Levels about a level that its line goes through: Gaussian, in levels.
    levels_about: float = 1.5
    #: Parts of the wall's mean wear that a side has, at least and at most.
    least_side: float = 0.25
    greatest_side: float = 4.0

    # --- forecast.subpanels -----------------------------------------------------------
    #: Spells that a part must have for its usual wear.
    part_spells: int = 3
    #: How hard a spell can have been, at least and at most, of a usual one.
    spell_severity: tuple[float, float] = (0.5, 2.0)
    #: Least share of the variance of a part's wear that is not the panel's own.
    least_own_share: float = 0.05

    # --- forecast.trajectories --------------------------------------------------------
    #: By how much parts can wear more than they did on average, as panels do.
    part_speed: tuple[float, float] = (0.5, 2.0)
    #: Fewest surveys after a repair that a drift is estimated from.
    drift_repairs: int = 4

    # --- forecast.variance_components -------------------------------------------------
    #: Levels next to a level count this much.
    next_level: float = 0.5

    # --- regions ----------------------------------------------------------------------
    #: How far the melting zone reaches above the tuyeres, mm: 30 in.  Common practice,
    #: no source.
    melting_height: float = 762.0

    # --- wear.ledger ------------------------------------------------------------------
    #: A patch is counted where more was more likely than not put in than this, mm: 1/8
    #: in, what a trowel leaves.  Our own choice, no source.
    least_patch: float = 3.175

    # --- wear.maps --------------------------------------------------------------------
    #: As many spells as what is to be expected of the scatter counts for.
    map_prior_spells: float = 4.0
    #: Spells that a trend needs.
    map_trend_spells: int = 3

    # --- wear.ovality -----------------------------------------------------------------
    #: Chance that any harmonic is reported of a record that has none.
    false_harmonics: float = 0.05
    #: Fewest spells that a harmonic is reported from.
    harmonic_spells: int = 4

    # --- wear.rates -------------------------------------------------------------------
    #: A trend takes this many spells: a line through two has nothing to be judged by.
    trend_spells: int = 3

    # --- wear.series ------------------------------------------------------------------
    #: With fewer spells than this little is known of how they differ.
    series_spells: int = 3
    #: Share of a piece's wall that both surveys must cover.
    piece_covered: float = 0.8
    #: By how much wear must get steadier for hours or tonnes to be taken.
    steadier: float = 0.9

    # --- changepoints.candidates ------------------------------------------------------
    #: Rows of a band and sides of a span, at most.
    band_rows: int = 3
    span_sides: int = 6

    # --- changepoints.covariance ------------------------------------------------------
    #: Correlation of neighbouring rows, at most; share of a row's variance that is its
    #: own, at least.
    most_correlation: float = 0.9
    least_own_part: float = 0.2

    # --- forecast.trajectories --------------------------------------------------------
    #: How a heat's scatter of a part stands to that of its panel, at most; rates of
    #: less than so many mm a heat give no ratio.
    drift_ratio: float = 6.0
    slow_part: float = 0.1


ASSUMED = RecordAssumptions()
