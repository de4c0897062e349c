"""What makes a reading plausible.

Where no source is named the number is our own choice.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class ReadingsAssumptions:
    """The numbers, each below its meaning, unit and source."""

    # --- rod --------------------------------------------------------------------------
    #: How sound a datum band is: standard deviation of its face about the drawing, mm.
    #: Our own choice, no source.
    sound_band_sd: float = 2.0
    #: A band whose readings lie further off than this (median, mm) is not believed
    #: sound.
    unreliable_band: float = 6.0

    # --- sheets.plausibility ----------------------------------------------------------
    #: Readings of a wall whose shell is not known lie in these parts of the design
    #: radius.
    least_radius_share: float = 0.5
    greatest_radius_share: float = 1.6
    #: The median of a sheet outside these parts asks for a diagnosis that explains it.
    least_median_share: float = 0.7
    greatest_median_share: float = 1.6
    #: No rod is as fine as the first; from the second on a reading tells nothing, mm.
    finest_sd: float = 1e-3
    coarsest_sd: float = 100.0
    #: Without a shell, a cut-back is no more than this part of the design radius.
    greatest_cutback_share: float = 0.6
    #: Where so many of the cut-backs are past that, the sheet is diagnosed.
    impossible_share: float = 0.2
    #: So many different azimuths, all whole numbers from 1 to 12, are hours.
    least_hours: int = 3
    #: So many other readings at its height and at its azimuth make a place one of a
    #: grid.
    least_alike: int = 2
    #: of the design radius: a wall in use is somewhat worn
    usual_ratio: float = 1.05
    #: times or parts of that: how near a slip undone must bring them
    unit_factor: float = 1.3
    #: of the design radius: what is less is no radius of a wall
    radius_of_bore: float = 0.35
    #: of the profile's height
    height_span: float = 0.25
    tiny_span: float = 0.05

    # --- sheets.sheet -----------------------------------------------------------------
    #: Divisions of the inch on a shop rule: the finest, and those too coarse to tell.
    finest_division: int = 64
    coarsest_division: int = 4
    #: that decimals are whole divisions without being meant so
    division_chance: float = 1e-3


ASSUMED = ReadingsAssumptions()
