"""Where the rebuild volume's uncertainty comes from.

The rebuild volume is made linear at the best estimate: a cell counts by the probability
that it is cut back.

References
----------
JCGM 100:2008 (GUM), 5.1 (combined uncertainty) and annex H (budgets).
"""

from __future__ import annotations

import numpy as np

from geom.compare.excess import hermite_excess
from geom.compare.findings import BudgetLine
from geom.compare.nodes import Nodes
from geom.surface import Belief, ScannedWall
from geom.units import Float


def volume_budget(
    belief: Belief | ScannedWall, nodes: Nodes, patch: Float, typical_sd: float
) -> tuple[BudgetLine, ...]:
    """Lines of the budget, greatest share first; the shares add up to 1.

    Parameters
    ----------
    belief : Belief or ScannedWall
    nodes : Nodes
    patch : array (q,), radian mm
    typical_sd : float, mm
        Of cut-back over the surveyed wall, told beside the wall's own line.
    """
    slope = hermite_excess(nodes.mean, nodes.sd, nodes.design_radius)[0]
    weight = patch * slope / np.maximum(nodes.sd, 1e-9)
    shares = belief.sources_of_sum(nodes.height, nodes.azimuth, weight, typical_sd)
    whole = sum(share.variance for share in shares)
    lines = [
        BudgetLine(s.source, s.kind, s.sd, s.unit, s.variance / whole) for s in shares
    ]
    return tuple(sorted(lines, key=lambda line: -line.share_of_volume_variance))
