"""Where the rebuild volume's uncertainty comes from.

The error of a linear estimate splits exactly into what the readings did not see (the
wall between them) and what each source of reading error put in.  The rebuild volume is
made linear at the best estimate: a cell counts by the probability that it is cut back.

References
----------
JCGM 100:2008 (GUM), 5.1 (combined uncertainty) and annex H (budgets).
"""

from __future__ import annotations

import numpy as np

from geom.compare.excess import hermite_excess
from geom.compare.findings import BudgetLine
from geom.compare.nodes import Nodes
from geom.surface.belief import Belief
from geom.units import Float


def volume_budget(
    belief: Belief, nodes: Nodes, patch: Float, typical_sd: float
) -> tuple[BudgetLine, ...]:
    """Lines of the budget, greatest share first; the shares add up to 1.

    Parameters
    ----------
    belief : Belief
    nodes : Nodes
    patch : array (q,), radian mm
    typical_sd : float, mm
        Of cut-back over the surveyed wall, told beside the wall's own line.
    """
    slope = hermite_excess(nodes.mean, nodes.sd, nodes.design_radius)[0]
    weight = patch * slope / np.maximum(nodes.sd, 1e-9)
    total = nodes.sd_of_sum(weight) ** 2
    gain = belief.gain(nodes.height, nodes.azimuth, weight)
    shares = {s.name: s.variance_of(gain) for s in belief.noise.sources}
    best = belief.best.variance_of_sum(nodes.height, nodes.azimuth, weight)
    learned = max(total - best, 0.0)
    unseen = max(total - learned - sum(shares.values()), 0.0)
    whole = unseen + learned + sum(shares.values())
    spread = float(np.sqrt(learned / whole)) * typical_sd
    lines = [
        BudgetLine("wall between the readings", "A", typical_sd, "mm", unseen / whole),
        BudgetLine("sizes and lengths learned", "A", spread, "mm", learned / whole),
    ]
    lines += [
        BudgetLine(s.name, s.kind, s.sd, s.unit, shares[s.name] / whole)
        for s in belief.noise.sources
    ]
    return tuple(sorted(lines, key=lambda line: -line.share_of_volume_variance))
