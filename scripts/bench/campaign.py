"""Whole campaigns with known truth through the whole record.

``python scripts/bench/campaign.py --count 60 --keep FOLDER``

Every wall of every furnace (`campaign_walls`) is read with a rod, reconstructed and
reduced to panels (`campaign_surveys`); wear rates, steps and forecasts are made of them
as `daubline wear` makes them, and held against the truth (`campaign_scores`).  With
``--keep`` the surveys, which take nearly all the time, are made once.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import os
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path
from statistics import median
from typing import Any

_ONE_THREAD = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "NUMBA_NUM_THREADS")
_KINDS = ("wall", "zone", "level", "side", "panel", "once", "twice", "tuyeres")

Record = dict[str, Any]


def run(
    seed: int, *, heats: int, stations: str, keep: Path | None, only_survey: bool
) -> list[Record]:
    """One furnace, without a step and with each kind; its records."""
    from campaign_surveys import observe_all

    seen = observe_all(seed, heats, stations, keep)
    if only_survey:
        return []
    from campaign_forecasts import forecasts
    from campaign_scores import score
    from campaign_truth import CampaignTruth

    rows = score(seen)
    for name, one in seen.items():
        after = f" after a step ({name})" if name else ""
        rows += [
            row | {"what": row["what"] + after} for row in forecasts(CampaignTruth(one))
        ]
    return [{"seed": seed} | row for row in rows]


def show(records: Sequence[Record]) -> None:
    """Print what the records come to."""
    _show_errors([r for r in records if r["what"] == "errors"])
    for exposure in ("heat", "hour", "tonne"):
        some = [r for r in records if r.get("exposure") == exposure]
        print(f"\nmm {exposure}: share of 95 % intervals that hold the true rate")
        for what in ("long", "short", "trend"):
            _show_coverage(what, [r for r in some if r["what"] == what])
    print("\npattern round the wall, where it is told")
    _show_coverage("height", [r for r in records if r["what"] == "pattern"])
    alarms = [r["found"] > 0 for r in records if r["what"] == "alarm"]
    print(f"\nsteps where there is none: {_share(alarms)} of {len(alarms)} campaigns")
    _show_steps([r for r in records if r["what"] == "step"])
    for what in ("before", "after", "change"):
        _show_coverage(what, [r for r in records if r["what"] == what])
    print("\nheats until a limit is passed")
    for what in dict.fromkeys(r["what"] for r in records if "heats" in r):
        _show_forecast(what, [r for r in records if r["what"] == what])


def _show_errors(rows: Sequence[Record]) -> None:
    print("errors of wear in one heat, mm: stated and true, and what comes back")
    for kind in _KINDS:
        some = [r for r in rows if r["kind"] == kind]
        if not some:
            continue
        stated, square, back, scatter, mean = (
            _mean([r[key] for r in some])
            for key in ("stated", "square", "back", "scatter", "mean")
        )
        print(
            f"  {kind:6s} sd stated {stated**0.5:.2f}  true {square**0.5:.2f}"
            f"  comes back {back / stated:+.3f} of the stated variance,"
            f" {back / square:+.3f} of the true  mean {mean:+.3f}"
            f"  wear itself from heat to heat {scatter:.2f}"
        )


def _show_coverage(what: str, rows: Sequence[Record]) -> None:
    words = []
    for kind in _KINDS:
        some = [r for r in rows if r["kind"] == kind]
        if some:
            half = _mean([r["half"] for r in some])
            held = _share([r["inside"] for r in some])
            words.append(f"{kind} {held} ({len(some)}, +-{half:.2g})")
    print(f"  {what:7s}", "  ".join(words))


def _show_steps(rows: Sequence[Record]) -> None:
    print("a step of 3 mm a heat with two heats after it")
    for name in dict.fromkeys(r["name"] for r in rows):
        some = [r for r in rows if r["name"] == name]
        parts = ("found", "in place", "within a heat", "exact")
        words = [f"{part} {_share([r[part] for r in some])}" for part in parts]
        print(f"  {name:12s}", "  ".join(words))


def _show_forecast(what: str, rows: Sequence[Record]) -> None:
    held, early = (_share([r[key] for r in rows]) for key in ("inside", "early"))
    true, off, half = (median(r[key] for r in rows) for key in ("heats", "off", "half"))
    print(
        f"  {what:50s} inside {held} of {len(rows)}, sooner {early};"
        f" medians: true {true:.1f}  said less true {off:+.2f}  half-width {half:.2f}"
    )


def _mean(values: Sequence[float]) -> float:
    return float(sum(values)) / max(len(values), 1)


def _share(yes: Sequence[bool]) -> str:
    return f"{100.0 * _mean([float(one) for one in yes]):.1f} %" if yes else "none"


def _options(words: Sequence[str] | None) -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    add = parser.add_argument
    add("--count", type=int, default=20, help="how many furnaces")
    add("--seed", type=int, default=0, help="of the first furnace")
    add("--heats", type=int, default=10)
    add("--stations", default="12x10", help="azimuths x heights")
    add("--jobs", type=int, default=2)
    add("--keep", type=Path, help="folder to keep the surveys in, to read them again")
    add("--only-survey", action="store_true", help="make the surveys and stop")
    add("--json", type=Path, help="write every figure there")
    return parser.parse_args(words)


def main(words: Sequence[str] | None = None) -> None:
    """Run, print, and write where asked."""
    options = _options(words)
    for name in _ONE_THREAD:
        os.environ[name] = "1"
    if options.keep is not None:
        options.keep.mkdir(parents=True, exist_ok=True)
    work = partial(
        run,
        heats=options.heats,
        stations=options.stations,
        keep=options.keep,
        only_survey=options.only_survey,
    )
    seeds = range(options.seed, options.seed + options.count)
    with ProcessPoolExecutor(
        options.jobs, mp_context=multiprocessing.get_context("spawn")
    ) as pool:
        records = [row for found in pool.map(work, seeds) for row in found]
    if options.only_survey:
        return
    print(f"{options.count} furnaces, {options.heats} heats, {options.stations}")
    show(records)
    if options.json:
        options.json.write_text(json.dumps(records), encoding="utf-8")


if __name__ == "__main__":
    main()
