"""How far a planted step stands out, to one who knows where and when it is.

``python scripts/bench/campaign_bound.py FOLDER --stations 12x10``

How wear scatters from heat to heat is told from all furnaces in a folder that
`campaign.py --keep` filled.  With that the step that surveys show, the difference of a
record with it and the same without, is so many standard uncertainties high: no linear
way of telling it, by generalised least squares or otherwise, does better (Gauss and
Markov).  Beside it stands how often so high a step would exceed what the greatest of
all shapes and places exceeds by luck once in twenty records, were they independent
(Bonferroni).
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from campaign_surveys import AFTER_STEP, Seen, load
from campaign_truth import CampaignTruth
from scipy.special import ndtr, ndtri

from geom.record.assumptions import ASSUMED
from geom.record.changepoints.candidates import candidate_regions
from geom.record.changepoints.table import (
    BASIS,
    MULTIPLICITY,
    ORDER,
    WearTable,
    wear_table,
)
from geom.units import Float


def scatter(records: Sequence[WearTable]) -> Float:
    """How rows hang together in each wave, told from many records; (waves, r, r)."""
    wear = np.stack([one.wear for one in records]) @ BASIS
    off = wear - wear.mean(axis=1, keepdims=True)
    square = np.einsum("fnrw,fnsw->wrs", off, off, optimize=True)
    square /= len(off) * (off.shape[1] - 1.0)
    like = np.zeros((MULTIPLICITY.size, *square.shape[1:]))
    np.add.at(like, ORDER, square)
    return np.asarray((like / MULTIPLICITY[:, None, None])[ORDER])


def height(without: WearTable, record: WearTable, known: Float) -> float:
    """How high the step of a record is, in standard uncertainties."""
    n = len(record.wear)
    step = (record.wear - without.wear)[-AFTER_STEP:].mean(axis=0) @ BASIS
    felt = np.linalg.solve(known, step.T[..., None])[..., 0].T
    share = 1.0 / AFTER_STEP + 1.0 / (n - AFTER_STEP)
    return float(np.sqrt(np.sum(step * felt) / share))


def searched(one: Seen, record: WearTable) -> int:
    """Shapes and places that are searched in a record."""
    regions = CampaignTruth(one).regions
    shapes = len(candidate_regions(regions, record.rows, record.row_mean).regions)
    return shapes * (
        len(record.wear) - ASSUMED.spells_before_step - ASSUMED.spells_after_step + 1
    )


def main(words: Sequence[str] | None = None) -> None:
    """Print heights and chances."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("--stations", default="12x10", help="azimuths x heights")
    parser.add_argument("--heats", type=int, default=10)
    options = parser.parse_args(words)
    named = f"{options.stations}-{options.heats}-?????.npz"
    files = sorted(options.folder.glob(named))
    if not files:
        parser.error(f"no furnace {named} in {options.folder}")
    furnaces = [load(file, int(file.stem[-5:]), options.heats) for file in files]
    records = [
        {name: wear_table(CampaignTruth(one).series) for name, one in furnace.items()}
        for furnace in furnaces
    ]
    known = scatter([record[""] for record in records])
    tries = searched(furnaces[0][""], records[0][""])
    limit = float(-ndtri(0.5 * 0.05 / tries))
    print(
        f"{len(files)} furnaces, {options.stations}; {limit:.1f} is luck's in {tries}"
    )
    for name in list(records[0])[1:]:
        high = np.array([height(one[""], one[name], known) for one in records])
        found = float(np.mean(ndtr(high - limit)))
        print(f"  {name:12s} {np.median(high):.1f} high, past it {100 * found:.0f} %")


if __name__ == "__main__":
    main()
