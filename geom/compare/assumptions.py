"""What the comparison with the drawing takes for granted.

Where no source is named the number is our own choice.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class CompareAssumptions:
    """The numbers, each below its meaning, unit and source."""

    # --- boxes ------------------------------------------------------------------------
    #: Rows of boxes at most, where a step allows it.
    box_rows: int = 20
    #: A zone is named in a box of which it holds this share; and where it holds most.
    box_share: float = 0.15

    # --- extent -----------------------------------------------------------------------
    #: A ring with a gap wider than this is not read round, degrees: a warning says so,
    #: and no diameter is given of it.
    widest_gap: float = 30.0

    # --- levels -----------------------------------------------------------------------
    #: Sections are at most so far apart, mm.
    section_spacing: float = 250.0
    #: A section is read round if what was read within so many mm of its height (half
    #: the widest usual distance of rows) leaves no gap round the wall of more than so
    #: many degrees: past a quarter turn a shift of the centre and an oval look alike.
    #: Our own choice, no source.
    ring_near: float = 150.0
    ring_gap: float = 90.0

    # --- panels -----------------------------------------------------------------------
    #: About how tall a panel is, mm: 6 in.
    panel_height: float = 152.4
    #: Share of its wall that must be surveyed for a panel to have a mean.
    panel_surveyed: float = 0.8

    # --- texture ----------------------------------------------------------------------
    #: Standard deviations of a face that are held against none, mm.
    textures: tuple[float, ...] = (0.1, 0.2, 0.4, 0.8, 1.6)
    #: Reach of a patch, mm, and what part of its nodes tell something by themselves:
    #: next ones are off together.  Our own choices, no source.
    texture_reach: float = 200.0
    texture_apart: float = 0.25
    #: Rounds of expectation and maximisation.
    texture_rounds: int = 30

    # --- volume -----------------------------------------------------------------------
    #: How uneven scanned wall is within a node, over what its cells say, where too few
    #: cells lie near the drawing to ask them: from what the node's mean alone makes to
    #: more than all of it, equally probable.
    node_unevenness: tuple[float, ...] = (0.2, 0.45, 0.7, 0.95, 1.2)

    # --- unevenness -------------------------------------------------------------------
    #: Mean cut-back of nodes up to which errors of their cells put wall on the other
    #: side of the drawing, mm, and least cells that are asked.
    near_nil: float = 2.5
    near_cells: int = 500
    #: What a mean square is off by for this use, as wall is not normal about its mean:
    #: a share.
    near_form: float = 0.1

    # --- zones ------------------------------------------------------------------------
    #: Chances that a call needs: of a core, of a body, and not to be ruled out.
    sure: float = 0.8
    likely: float = 0.5
    possible: float = 0.1
    #: Values that the variance at a place is as well known as from: four stations stand
    #: about it.  Our own choice, no source.
    zone_freedom: float = 4.0
    #: Points that a zone counts for at least, though none was read in it, and boundary
    #: over root of the area of one: that of a circle.  Our own choices, no source.
    zone_points: float = 0.5


ASSUMED = CompareAssumptions()
