"""The tables of the bench of brickwork."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

Record = dict[str, Any]


def plans_table(records: Sequence[Record]) -> str:
    """Cutting, share of brick, solids, stops and rechecks; all, and in groups."""
    head = (
        f"{'':28}{'walls':>6}{'zones':>6}{'bricks':>7}{'cut/lost':>9}{'worst':>7}"
        f"{'true':>7}{'worst':>7}{'brick':>7}{'past wall':>10}{'proud':>7}{'cover':>7}"
    )
    lines = [head]
    for name, some in _groups(records).items():
        zones = [zone for record in some for zone in record["zones"]]
        if not zones:
            continue
        lost = np.array([zone["lost"] for zone in zones])
        cut, true = (np.array([z[key] for z in zones]) for key in ("cut", "true_cut"))
        volume = np.array([zone["volume"] for zone in zones])
        proud = max((r["recheck"]["proud"] for r in some if "recheck" in r), default=0)
        lines.append(
            f"{name:28}{len(some):6d}{len(zones):6d}{sum(r['bricks'] for r in some):7d}"
            f"{cut.sum() / lost.sum():9.3f}{(cut / lost).max():7.3f}"
            f"{true.sum() / lost.sum():7.3f}{(true / lost).max():7.3f}"
            f"{volume.sum() / lost.sum():7.3f}"
            f"{max(z['protrusion'] for z in zones):10.1f}{proud:7.1f}"
            f"{min(z['cover'] for z in zones):7.1f}"
        )
    return "\n".join([*lines, "", *_standing(records), "", *_rechecked(records)])


def _groups(records: Sequence[Record]) -> dict[str, list[Record]]:
    groups = {"all": list(records)}
    for key in ("way", "deeper", "family", "furnace"):
        for name in dict.fromkeys(record[key] for record in records):
            groups[str(name)] = [r for r in records if r[key] == name]
    return groups


def _standing(records: Sequence[Record]) -> list[str]:
    burnt = [r for r in records if r["burnt"] >= 0.95]
    missed = [r for r in burnt if not r["stop"]]
    half = [r for r in records if r["open_share"] > 0.5]
    kept = [r["kept"] for r in records if r["kept"] is not None]
    overlaps = np.array([r["overlap"] for r in records])
    into = max((r["into_least"] for r in records if r["bricks"]), default=0.0)
    daubed = sum(r["daubed"] for r in records)
    raised = len(burnt) - len(missed)
    left_out = sum(r["recheck"]["left_out"] for r in records if "recheck" in r)
    account = [abs(z["account"]) for r in records for z in r["zones"]]
    return [
        f"bricks that reach into each other: {sum(overlaps > 0.01)} walls, by "
        f"{max(overlaps):.2f} mm at most",
        f"least lining kept: {sum(kept)} of {len(kept)} walls with brick; backs reach "
        f"into what had to stay and was there by {into:.1f} mm at most",
        f"burnt all round: {len(burnt)} walls, stop raised on {raised}"
        f"; opened past half: {len(half)}, stop on"
        f" {sum('opened' in r['stop'] for r in half)}; other stops:"
        f" {sum(bool(r['stop']) for r in records if r not in burnt and r not in half)}",
        f"zones past the brick line that are daubed: {daubed}",
        f"bricks left out for want of room: {left_out} of"
        f" {sum(r['bricks'] for r in records)}",
        f"account open by {max(account, default=0.0) * 1e-6:.6f} L at most",
        f"seconds a plan: {np.median([r['seconds'] for r in records]):.1f} median,"
        f" {max(r['seconds'] for r in records):.1f} worst",
    ]


def _rechecked(records: Sequence[Record]) -> list[str]:
    lines = []
    for name, some in _groups(records).items():
        laid = [r["recheck"] for r in some if "recheck" in r]
        if not laid:
            continue
        off = [
            (call, abs(level) <= each["tolerance"])
            for each in laid
            for call, level in zip(each["levels"], each["levels_off"], strict=True)
        ]
        zones = [
            pair
            for each in laid
            for pair in zip(each["zones"], each["zones_back"], strict=True)
        ]
        refused = sum(call == "reject" for call, back in zones if back)
        passed = sum(call == "accept" for call, back in zones if not back)
        wrong = sum(call == "reject" for call, back in off if back)
        false = sum(call == "accept" for call, back in off if not back)
        parts = []
        for what in ("zones", "levels"):
            calls = [call for each in laid for call in each[what]]
            counts = {c: calls.count(c) for c in ("accept", "cannot tell", "reject")}
            parts.append(
                f"{what}: {counts['accept']} of {len(calls)} accepted, "
                f"{counts['cannot tell']} open, {counts['reject']} rejected"
            )
        parts.append(
            f"zones back: {sum(back for _, back in zones)}, of these {refused} "
            f"rejected; of the others {passed} accepted"
        )
        parts.append(
            f"levels back: {sum(back for _, back in off)}, of these {wrong} rejected; "
            f"of the others {false} accepted"
        )
        lines.append(f"laid as printed, {name}: {'; '.join(parts)}")
    return lines


def orders_table(records: Sequence[Record]) -> str:
    """Whether what is ordered suffices, and what is left over."""
    lines = [
        f"{'':12}{'suffices':>9}{'surplus %':>10}{'best error %':>13}{'walls':>7}",
    ]
    for material in ("bricks", "sand", "fire clay"):
        rows = np.array([record["orders"][material] for record in records])
        best, enough, need, taken = rows.T
        wanted = need > 0.0
        suffices = np.mean(enough >= taken - 1e-9)
        surplus = 100.0 * (enough.sum() / taken.sum() - 1.0)
        error = 100.0 * (best[wanted].sum() / need[wanted].sum() - 1.0)
        lines.append(
            f"{material:12}{suffices:9.3f}{surplus:10.1f}{error:13.1f}{wanted.sum():7d}"
        )
    whole = [
        all(row[1] >= row[3] - 1e-9 for row in record["orders"].values())
        for record in records
    ]
    seconds = np.median([record["seconds"] for record in records])
    lines.append(f"all at once {np.mean(whole):9.3f}   {len(records)} walls")
    lines.append(f"seconds a plan with its order: {seconds:.1f} median")
    return "\n".join(lines)
