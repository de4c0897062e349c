"""What the choice of stations takes for granted.

Where no source is named the number is our own choice.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class SamplingAssumptions:
    """The numbers, each below its meaning, unit and source."""

    # --- feasible ---------------------------------------------------------------------
    #: Distance kept from the edge of an opening and from a step of the profile, mm:
    #: there is no clean face to set a rod to.  Our own choice, no source.
    margin: float = 25.0
    #: Step of height where the design file names none and the shop does not work in
    #: inches, mm.  Our own choice, no source.
    other_height_step: float = 75.0

    # --- plan -------------------------------------------------------------------------
    #: Distance between rows from the tuyeres to this far above them, and elsewhere, mm.
    #: Our own choices, no source.
    rows_close: float = 150.0
    rows_wide: float = 300.0
    close_rows_reach: float = 600.0
    #: A corner needs no row of its own where one is as near as this, mm.
    corner_near: float = 60.0
    #: Between columns, degrees.  Our own choice, no source.
    columns_apart: float = 30.0
    #: What a row next to a corner, and one all of whose stations are in openings, is
    #: put behind others, in steps of the rod.
    corner_penalty: float = 1.5
    opening_penalty: float = 2.0

    # --- stations ---------------------------------------------------------------------
    #: A place is undecided while brick is more likely than this and less likely than
    #: its rest to one: the same as "possible" among the zones.
    undecided: float = 0.1
    #: Readings closer than this are of one station, degrees and mm.
    same_azimuth: float = 0.5
    same_height: float = 5.0
    #: A station farther than this from every reading stands on unread wall, mm; and
    #: what is nearer than the other to one that nobody could reach is out of reach too:
    #: the same crust.  Our own choices, no source.
    unread_distance: float = 350.0
    no_access_reach: float = 100.0


ASSUMED = SamplingAssumptions()
