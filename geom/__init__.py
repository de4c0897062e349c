"""daubline: how far a cupola's lining is from its drawing, and what to do about it.

What every command does has its function here; lengths are mm, azimuths degrees.

The drawing
    Design, load_design: a design file as read
    design_text: a new design file from a dozen answers, as `daubline design`
    design_faults, reading_faults: all that is wrong at once, as `daubline check`

Before and between readings
    SamplingPlan, plan_stations, write_rod_sheet: a blank rod sheet, as `daubline sheet`
    Advice, Station, next_stations, plan_next_stations:
        where to measure next, as `daubline next`
    run_desk: the page that readings are typed into, as `daubline desk`

Readings
    RodReadings, CloudReadings, load_readings: rod sheets and point clouds
    readings_from_arrays, readings_from_dataframe: what is in memory already
    PastSurvey, load_past_survey, PastPrior, learn_prior: what past surveys teach
    CircleFit, RevolutionFit, fit_circle, fit_revolution: reference circle and axis

The survey, as `daubline survey` and `view`
    RadialSurface, Grid, reconstruct: the wall as far as it is known
    Findings, Maps, Zone, assess: how far it is from the drawing
    RepairPackage, prepare_repair, write_survey: everything in a folder
    open_window, draw_window: the wall in a window
    export: a result as a table, a CAD drawing or a mesh, by the ending

The repair
    RepairPlan, plan_repair: bricks, daub and order
    DayPlan, plan_day, write_day: the day, as `daubline day`
    bricks_in_ring, single_shape_ring, two_shape_ring: rings of bricks
    strickle_bytes: a template of the drawn face, as `daubline strickle`
    SurveyBefore, load_survey_before, Recheck, recheck, write_recheck:
        is the wall back, as `daubline recheck`

Heat after heat
    Record, Occasion, start_record, open_record, add_survey:
        the record of a lining, as `daubline record`
    LoggedSurvey, read_heat_log, check_record, rebuild_manifest:
        its log, and looking after it
    Change, compare_surveys, write_change: two surveys, as `daubline change`
    Wear, study_wear, write_wear: rates and heats left, as `daubline wear`
    Comparison, compare_campaigns, write_campaigns:
        two campaigns, as `daubline campaigns`

Everywhere
    Quantity: a number with its uncertainty
    document_schema: JSON Schemas of what is written, and of a design file
    InputError, InputWarning, DaublineError:
        bad input, what was coped with, and their root

Design, readings, surface and findings follow one another: ``load_design``,
``load_readings``, ``reconstruct``, ``assess``.  In a notebook they show themselves;
``surface.plot()``, ``.plot_section(height=)``, ``.plot_profile(azimuth=)``,
``.to_xarray()``, ``.to_pyvista()`` and ``.to_trimesh()`` hand them on, and
``data.lining`` of an opened ``surface.nc`` knows zero, sense and clock.  All names are
loaded when first used, so that importing the package is instant.
"""

import lazy_loader as _lazy

from geom.shown import shown_by as _shown_by

__getattr__, __dir__, __all__ = _lazy.attach_stub(__name__, __file__)
_shown_by("geom.views.notebook")
