"""The benchmark's tables: figures by grid, family and method, and who is best."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from linings import FAMILIES
from scores import calibration_error

OURS = "daubline"

Record = dict[str, Any]


def grid_order(grid: str) -> int:
    """Grids are told from coarse to fine."""
    return int(grid.split("x", maxsplit=1)[0])


#: Figures averaged as they are.
_MEANS = (
    "answered", "rmse", "bias", "overlap", "coverage", "half_width", "interval_score",
    "brier", "volume_covered", "volume_half_width",
)  # fmt: skip


def summarise(records: Sequence[Record]) -> Record:
    """The figures of one method over linings; None where it states nothing."""
    sound = [r for r in records if "failed" not in r]
    summary: Record = {"count": len(records), "failed": len(records) - len(sound)}
    for name in _MEANS:
        summary[name] = _mean([r[name] for r in sound if name in r])
    for name in ("volume_plain", "volume_stated"):
        summary[name] = _mean([abs(r[name]) for r in sound if name in r])
        summary[f"{name}_bias"] = _mean([r[name] for r in sound if name in r])
    summary["volume"] = _volume_figure(summary, sound)
    for name in ("rmse", "coverage", "overlap"):
        values = [r[name] for r in sound if name in r]
        summary[f"{name}_se"] = _standard_error(values)
    bins = [np.asarray(r["bins"]) for r in sound if "bins" in r]
    summary["calibration"] = calibration_error(np.sum(bins, axis=0)) if bins else None
    summary["bins"] = np.sum(bins, axis=0).tolist() if bins else None
    summary["seconds"] = (
        float(np.median([r["seconds"] for r in sound])) if sound else None
    )
    return summary


def _volume_figure(summary: Record, sound: Sequence[Record]) -> float | None:
    """Daubline by the volume it states; a peer by the better of its two ways."""
    ways = [
        summary[n] for n in ("volume_plain", "volume_stated") if summary[n] is not None
    ]
    if sound and sound[0]["method"] == OURS:
        return summary["volume_stated"]
    return min(ways) if ways else None


def _mean(values: Sequence[float]) -> float | None:
    return float(np.mean(values)) if values else None


def _standard_error(values: Sequence[float]) -> float | None:
    if len(values) < 2:
        return None
    return float(np.std(values, ddof=1) / np.sqrt(len(values)))


def tabulate(records: Sequence[Record], methods: Sequence[str]) -> list[Record]:
    """A summary for each grid, family (and all of them) and method."""
    found = []
    grids = list(dict.fromkeys(r["grid"] for r in records))
    families = [f for f in FAMILIES if any(r["family"] == f for r in records)]
    for grid in sorted(grids, key=grid_order):
        for family in ("all", *families):
            for method in methods:
                mine = [
                    r
                    for r in records
                    if (r["grid"], r["method"]) == (grid, method)
                    and family in ("all", r["family"])
                ]
                found.append(
                    {"grid": grid, "family": family, "method": method} | summarise(mine)
                )
    return found


@dataclass(frozen=True)
class Figure:
    """One column: its key, heading, format, and how far a value is from perfect."""

    key: str
    heading: str
    form: str
    loss: Callable[[float], float] | None = float


FIGURES = (
    Figure("rmse", "surface\nrmse mm", "{:.2f}"),
    Figure("volume", "volume\nerror %", "{:.2f}"),
    Figure("volume_plain", "plain\n%", "{:.2f}", None),
    Figure("volume_stated", "stated\n%", "{:.2f}", None),
    Figure("overlap", "brick\noverlap", "{:.3f}", lambda x: -x),
    Figure("calibration", "p_brick\ncal. error", "{:.4f}"),
    Figure("brier", "p_brick\nBrier", "{:.4f}"),
    Figure("coverage", "95 %\npoints", "{:.3f}", lambda x: abs(x - 0.95)),
    Figure("half_width", "half\nwidth mm", "{:.1f}", None),
    Figure("interval_score", "interval\nscore mm", "{:.1f}"),
    Figure("volume_covered", "95 %\nvolume", "{:.3f}", lambda x: abs(x - 0.95)),
    Figure("volume_half_width", "half\nwidth %", "{:.1f}", None),
    Figure("seconds", "s per\nlining", "{:.2f}"),
    Figure("answered", "share\nanswered", "{:.3f}", None),
    Figure("failed", "failed", "{:d}", None),
)


def best_peers(table: Sequence[Record]) -> list[Record]:
    """Daubline against the best peer, figure by figure.

    ``ratio`` is daubline's value over the best peer's; for coverages, the distance
    from 0.95 of the one over that of the other.  Time is compared with the peers that
    state an uncertainty.
    """
    found = []
    for row in (r for r in table if r["method"] == OURS):
        place = {"grid": row["grid"], "family": row["family"]}
        rivals = [
            r
            for r in table
            if r["method"] != OURS and all(r[k] == v for k, v in place.items())
        ]
        for figure in FIGURES:
            against = _against(figure, row, rivals)
            if against is not None:
                found.append(place | {"figure": figure.key} | against)
    return found


def _against(figure: Figure, row: Record, rivals: Sequence[Record]) -> Record | None:
    having = [r for r in rivals if r[figure.key] is not None]
    if figure.key == "seconds":
        having = [r for r in having if r["coverage"] is not None]
    if figure.loss is None or row[figure.key] is None or not having:
        return None
    best = min(having, key=lambda r: figure.loss(r[figure.key]))
    ours, theirs = figure.loss(row[figure.key]), figure.loss(best[figure.key])
    return {
        "daubline": row[figure.key],
        "best": best[figure.key],
        "peer": best["method"],
        "ratio": ours / theirs if theirs else None,
        "better": bool(ours < theirs),
    }


def show(table: Sequence[Record], duel: Sequence[Record]) -> None:
    """Print the tables for people."""
    from rich.console import Console

    wide = Console().width
    console = Console(width=max(wide, 190))
    grids = dict.fromkeys(r["grid"] for r in table)
    for grid in grids:
        rows = [r for r in table if r["grid"] == grid and r["family"] == "all"]
        console.print(_figure_table(f"{grid}, all families, mean", rows))
    for key in ("rmse", "volume", "overlap", "coverage", "calibration"):
        figure = next(f for f in FIGURES if f.key == key)
        console.print(_family_table(figure, table))
    if duel:
        console.print(_duel_table(duel))


def _figure_table(title: str, rows: Sequence[Record]) -> Any:
    from rich.table import Table

    table = Table(title=title)
    table.add_column("method")
    for figure in FIGURES:
        table.add_column(figure.heading, justify="right")
    for row in rows:
        cells = (_said(figure, row[figure.key]) for figure in FIGURES)
        table.add_row(row["method"], *cells)
    return table


def _family_table(figure: Figure, rows: Sequence[Record]) -> Any:
    from rich.table import Table

    table = Table(title=figure.heading.replace("\n", " ") + ", by grid and family")
    table.add_column("grid")
    table.add_column("family")
    methods = list(dict.fromkeys(r["method"] for r in rows))
    for method in methods:
        table.add_column(method, justify="right")
    for place in dict.fromkeys((r["grid"], r["family"]) for r in rows):
        here = {r["method"]: r for r in rows if (r["grid"], r["family"]) == place}
        cells = (_said(figure, here[m][figure.key]) for m in methods)
        table.add_row(*place, *cells)
    return table


def _duel_table(duel: Sequence[Record]) -> Any:
    from rich.table import Table

    table = Table(title="daubline against the best peer, all families")
    for heading in ("grid", "figure", "daubline", "best peer", "which", "ratio", ""):
        table.add_column(heading)
    for row in (d for d in duel if d["family"] == "all"):
        figure = next(f for f in FIGURES if f.key == row["figure"])
        table.add_row(
            row["grid"],
            figure.heading.replace("\n", " "),
            _said(figure, row["daubline"]),
            _said(figure, row["best"]),
            row["peer"],
            "" if row["ratio"] is None else f"{row['ratio']:.2f}",
            "better" if row["better"] else "",
        )
    return table


def _said(figure: Figure, value: float | None) -> str:
    return "" if value is None else figure.form.format(value)
