"""What a drawing may hold: bounds past which a slip is likelier than a furnace.

Where no source is named the number is our own choice.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class DesignAssumptions:
    """The numbers, each below its meaning, unit and source."""

    # --- checks -----------------------------------------------------------------------
    #: Radii of a hot face lie between these, mm: from a small trial furnace to far past
    #: the widest cupola (common practice, no source); a slip of unit falls outside.
    radius_range: tuple[float, float] = (50.0, 5000.0)
    #: No lining is taller, mm (common practice, no source).
    greatest_height: float = 30_000.0
    #: No rod and no scanner reads as badly as this, mm, and the keys that say how
    #: badly.
    greatest_rod_error: float = 100.0
    #: Sides of a brick lie between these, mm (our choice, no source).
    brick_side_range: tuple[float, float] = (12.0, 1000.0)
    #: Mass of a brick over its length times width times thickness, kg/m3: insulating to
    #: chrome brick, and less where it tapers (our choice, no source); lb for kg falls
    #: out.
    brick_density_range: tuple[float, float] = (150.0, 4000.0)

    # --- drawing ----------------------------------------------------------------------
    #: Lengths (mm) and azimuths (degrees) that agree this well are of one drawing.
    same_drawing: float = 0.1

    # --- text_file --------------------------------------------------------------------
    #: Spelling as near as this is taken for a slip (0 to 1, of difflib).
    slip_likeness: float = 0.8
    #: As near as this it is suggested.
    suggested_likeness: float = 0.72


ASSUMED = DesignAssumptions()
