"""One state-space model in the place of the record's chain, on the same campaigns.

``OMP_NUM_THREADS=1 python scripts/bench/state_space.py --count 40 --keep FOLDER``

The campaigns are those of `campaign.py`, and what both methods say is held against the
same truth: rates, steps, forecasts and the ledger's deepest face.  The model is in
`state_space_model`; here its spalls are told by their innovations, its change points by
the greatest generalised-least-squares contrast against that of permuted heats, and its
forecasts and ledger by draws.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
from campaign_forecasts import AHEAD, FUTURES
from campaign_surveys import observe_all
from campaign_truth import CampaignTruth, Onward
from state_space_model import MIDDLE, STATED, StateSpace, normal, sizes

from geom.compare.panels import ACROSS, HOURS, PARTS, UP
from geom.quantity import Quantity
from geom.record.changepoints.candidates import candidate_regions
from geom.record.changepoints.steps import Step, find_steps
from geom.record.forecast.forecast import forecast
from geom.record.wear.ledger import worn_draws
from geom.record.wear.rates import wear_rates
from geom.units import Float

Row = dict[str, Any]
#: Wear so many sd beyond the median of heats is a spall.
_SPALL = 5.5
#: Share of its depth that a spall is read at, and spalls held before any is seen, as
#: `geom.record.assumptions` has them; its depth where none was seen, mm.
_READ, _BEFORE, _DEPTH = 0.65, 0.2, 25.4
_DRAWS, _SIZES_DRAWN, _PERMUTED = 300, 20, 99
#: Spells before and after a step, at least; false alarms.
_LEAST_BEFORE, _LEAST_AFTER, _ALARMS = 3, 2, 0.05


@dataclass(frozen=True)
class Fitted:
    """A campaign's model with its sizes drawn, and everything that is read off it."""

    truth: CampaignTruth
    model: StateSpace
    theta: Float
    drawn: Float

    @classmethod
    def of(cls, truth: CampaignTruth, start: Float) -> Fitted:
        """Take out spalls, fit the sizes and draw them."""
        states = truth.seen.states
        some = np.flatnonzero(np.all([np.isfinite(s.cutback) for s in states], axis=0))
        cut = np.array([s.cutback[some] for s in states])
        table = np.array([s.covariance[np.ix_(some, some)] for s in states])
        table += 1e-6 * np.eye(some.size)
        row, side = np.divmod(some, HOURS)
        model = StateSpace(
            *(cut[:-1:2], cut[1::2], table[:-1:2], table[1::2], row, side),
            spall=np.zeros((truth.seen.heats, some.size), dtype=bool),
        )
        seen = model.filter(start)
        off = seen.wear - np.median(seen.wear, axis=0)
        out = off > _SPALL * np.sqrt(np.array([np.diag(r) for r in seen.noise]))
        padded = np.pad(out, ((1, 1), (0, 0)))
        model = replace(model, spall=out & ~padded[:-2] & ~padded[2:])
        theta, spread = model.fit(start)
        rng = np.random.default_rng(truth.seen.furnace.seed)
        return cls(truth, model, theta, normal(rng, theta, spread, _SIZES_DRAWN))

    @cached_property
    def some(self) -> Any:
        """Places of the model's panels."""
        return self.model.row * HOURS + self.model.side

    @cached_property
    def rates(self) -> Float:
        """Draws of each heat's rate; (draws, n, p)."""
        rng = np.random.default_rng(self.truth.seen.furnace.seed)
        many = _DRAWS // _SIZES_DRAWN
        drawn = [self.model.filter(theta).draws(rng, many) for theta in self.drawn]
        return np.concatenate(drawn) + self.model.missed(rng, _DRAWS)[:, None]

    def long_term(self) -> list[Quantity]:
        """Mean rate of every piece, what spalls wear with it."""
        model = self.model
        off = np.where(model.spall, model.worn - model.left - model.u, 0.0)
        weight = self.truth._weight[:, self.some]
        rate = self.rates.mean(axis=1) + off.mean()
        return [Quantity.of_samples(one) for one in weight @ rate.T]

    def deepest(self) -> Float:
        """Draws of the greatest mean cut-back that a heat left; (draws, p).

        A survey is what is expected of the wall, which strays from it as stated.
        """
        rng, found = (
            np.random.default_rng(1),
            np.full((_DRAWS, len(self.some)), -np.inf),
        )
        for level, table in zip(
            self.model.worn, self.model.worn_covariance, strict=True
        ):
            found = np.maximum(found, normal(rng, level, table, _DRAWS))
        return found

    def stepped(self) -> tuple[Step | None, Fitted]:
        """The most evident change, if permuted heats seldom show as much.

        With it the model whose rate may jump there.
        """
        truth, model = self.truth, self.model
        seen, rows = model.filter(self.theta), np.unique(model.row)
        shapes = candidate_regions(truth.regions, rows, model.u[::HOURS])
        table = np.stack(
            [shapes.on_panels(i).ravel() for i in range(len(shapes.regions))], axis=1
        )
        felt = np.linalg.solve(np.median(seen.noise, axis=0), table)
        norm = np.sqrt(np.sum(table * felt, axis=0))
        n = len(seen.wear)
        places = np.arange(_LEAST_BEFORE, n - _LEAST_AFTER + 1)[:, None]
        over = norm * np.sqrt(1.0 / places + 1.0 / (n - places))

        def height(wear: Float) -> Float:
            total = np.cumsum(wear @ felt, axis=0)
            before = total[places[:, 0] - 1]
            return np.abs((total[-1] - before) / (n - places) - before / places) / over

        wear = np.where(model.spall, np.median(seen.wear, axis=0), seen.wear)
        z = height(wear)
        at, shape = np.unravel_index(int(z.argmax()), z.shape)
        k = int(places[at, 0])
        sides = wear[:k], wear[k:]
        left = np.concatenate(
            [(s - s.mean(axis=0)) * np.sqrt(len(s) / (len(s) - 1.0)) for s in sides]
        )
        rng, as_high = np.random.default_rng(truth.seen.furnace.seed), 0
        for _ in range(_PERMUTED):
            turned = left * rng.choice([-1.0, 1.0], n)[:, None]
            as_high += int(height(turned[rng.permutation(n)]).max() >= z.max())
        chance = (as_high + 1.0) / (_PERMUTED + 1.0)
        if chance > _ALARMS:
            return None, self
        weight = felt[:, shape] / norm[shape] ** 2
        levels = [
            (float(s.mean(axis=0) @ weight), 1.0 / norm[shape] / np.sqrt(len(s)))
            for s in sides
        ]
        (low, less), (high, more) = levels
        found = Step(
            shapes.regions[shape],
            truth.series.spells[k],
            *(Quantity.normal(value, sd) for value, sd in levels),
            Quantity.normal(high - low, float(np.hypot(less, more))),
            chance,
        )
        jumped = replace(model, step=(k, table[:, shape]))
        return found, replace(self, model=jumped)

    def lives(self) -> tuple[Float, Float]:
        """Draws of heats until each part passes the threshold, with spalls and without.

        Returns
        -------
        early, even : array (draws, p, PARTS)
        """
        truth, model, p = self.truth, self.model, len(self.some)
        rng = np.random.default_rng(truth.seen.furnace.seed)
        last, (extra, extra_sd) = truth.seen.states[-1], self._parts()
        table = last.covariance[np.ix_(self.some, self.some)]
        shape = (_DRAWS, p, PARTS)
        rest = last.part_sd[self.some] ** 2 - np.diag(table)[:, None]
        depth = normal(rng, np.zeros(p), table, _DRAWS)[..., None]
        depth = last.part[self.some] + depth
        depth = depth + np.sqrt(np.maximum(rest, 0.0)) * rng.standard_normal(shape)
        pace = self.rates[:, -1, :, None]
        rate = pace + extra + extra_sd * rng.standard_normal(shape)
        share = np.clip(rate / np.maximum(pace, 0.3), 0.0, 3.0)
        deep = self._lost() - np.median(self._lost(), axis=0)
        deep = np.nan_to_num(deep, nan=-np.inf).max(axis=2)[model.spall] / _READ
        deep = deep if deep.size else np.array([_DEPTH])
        often = rng.gamma(model.spall.sum() + _BEFORE, 1.0 / model.spall.size, _DRAWS)
        size = sizes(self.theta)
        heat, drift = model.heat_covariance(size), model.prior(size)[2]
        heat = heat + STATED * model.worn_covariance.mean(axis=0)
        limit = truth.seen.furnace.design.repair.brick_threshold
        fallen = np.zeros(shape)
        early, even = (np.where(depth >= limit, 0.0, np.inf) for _ in range(2))
        for gone in range(AHEAD):
            rate = rate + normal(rng, np.zeros(p), drift, _DRAWS)[..., None]
            off = normal(rng, np.zeros(p), heat, _DRAWS)[..., None]
            falls = (rng.random((_DRAWS, p)) < often[:, None])[..., None]
            falls = falls & (rng.integers(0, PARTS, (_DRAWS, p, 1)) == np.arange(PARTS))
            jump = falls * rng.choice(deep, (_DRAWS, p, 1))
            now = depth + rate + off * share
            for found, had, has in (
                (even, depth, now),
                (early, depth + fallen, now + fallen + jump),
            ):
                passed = np.isinf(found) & (has >= limit)
                found[passed] = gone + ((limit - had[passed]) / (has - had)[passed])
            depth, fallen = now, fallen + jump
        return early, even

    def _lost(self) -> Float:
        """Wear of parts in each heat; (n, p, PARTS)."""
        part = np.array([state.part[self.some] for state in self.truth.seen.states])
        return np.asarray(part[1::2] - part[:-1:2])

    def _parts(self) -> tuple[Float, Float]:
        """What parts wear beyond their panel, shrunk to their row's, and its sd."""
        beyond = self._lost() - (self.model.worn - self.model.left)[:, :, None]
        n, rows = len(beyond), np.unique(self.model.row).size
        extra = beyond.mean(axis=0).reshape(rows, HOURS, UP, ACROSS)
        noise = np.nanmean(beyond.var(axis=0, ddof=1).reshape(rows, -1), axis=1) / n
        noise = noise[:, None, None, None]
        off = extra - np.nanmean(extra, axis=(1, 3), keepdims=True)
        between = np.nanmean(off**2, axis=(1, 2, 3), keepdims=True) - noise
        kept = np.maximum(between, 0.0) / (np.maximum(between, 0.0) + noise)
        sd = np.broadcast_to(np.sqrt(kept * noise), extra.shape)
        shrunk = extra - (1.0 - kept) * off
        return shrunk.reshape(-1, PARTS), sd.reshape(-1, PARTS)


def _figures(low: float, value: float, high: float, true: float) -> Row:
    """Of one 95 % interval; the score is Gneiting and Raftery's (2007, eq. 43)."""
    miss = max(low - true, 0.0) + max(true - high, 0.0)
    score = high - low + 40.0 * miss if high > low or miss else 0.0
    inside = bool(low <= true <= high)
    return {"inside": inside, "off": float(value - true), "score": float(score)}


def _held(quantity: Quantity, true: float) -> Row:
    return _figures(quantity.low95, quantity.value, quantity.high95, true)


def rates(truth: CampaignTruth, fitted: Fitted) -> list[Row]:
    """Long-term rates per heat of every piece that both tell."""
    chain, rows = wear_rates(truth.series, "heat").long, list[Row]()
    both = zip(
        fitted.long_term(), chain, truth.regions.regions, truth.rate, strict=True
    )
    for state, record, region, true in both:
        if record is not None:
            head = {"what": f"rate, {region.kind}"}
            rows.append(head | {"by": "state space"} | _held(state, float(true)))
            rows.append(head | {"by": "record"} | _held(record, float(true)))
    return rows


def ledgers(truth: CampaignTruth, fitted: Fitted) -> list[Row]:
    """Deepest face of each panel against the greatest true one."""
    rows, rng = list[Row](), np.random.default_rng(0)
    drawn, worn = fitted.deepest(), truth.seen.states[1::2]
    for i, panel in enumerate(fitted.some):
        level = np.array([state.cutback[panel] for state in worn])
        sd = np.array([np.sqrt(state.covariance[panel, panel]) for state in worn])
        true = float(truth.seen.true[1::2, panel].max())
        chain = worn_draws(level, sd, _DRAWS, rng).max(axis=0)
        for by, draws in (("state space", drawn[:, i]), ("record", chain)):
            found = _held(Quantity.of_samples(draws), true)
            rows.append({"what": "deepest face, panel", "by": by} | found)
    return rows


def steps(truth: CampaignTruth, ours: Step | None, name: str) -> tuple[list[Row], Any]:
    """How the steps found lie to the one planted, and what the record found."""
    seen = truth.seen
    chain = find_steps(truth.series, seed=seen.furnace.seed)
    rows = []
    for by, found in (("state space", [ours] if ours else []), ("record", chain)):
        near = [
            truth.within(step.inside(truth.regions), seen.extra) > 0.5
            and abs(step.first.end.heat - seen.furnace.from_heat) <= 1
            for step in found
        ]
        what = f"step, {name}" if name else "step where there is none"
        row = {"what": what, "by": by, "inside": bool(any(near) if name else found)}
        rows.append(row)
        for step, good in zip(found, near, strict=True):
            true = truth.within(step.inside(truth.regions), seen.extra) if good else 0.0
            if good:
                rows.append(
                    {"what": "size of step", "by": by} | _held(step.change, true)
                )
    return rows, chain


def forecasts(truth: CampaignTruth, fitted: Fitted, found: Any, name: str) -> list[Row]:
    """Heats until the wall, zones and the soonest panels pass the brick threshold."""
    seen, rates_of = truth.seen, wear_rates(truth.series, "heat")
    chain = forecast(
        *(truth.series, rates_of, seen.furnace.design, truth.occasions[-1]),
        state_of=truth.state,
        steps=found,
        seed=seen.furnace.seed,
    )
    chain = tuple(f for f in chain if f.limit == "brick threshold" and f.heats)
    place = [truth.regions.regions.index(f.region) for f in chain]
    groups = truth.regions.member[place] > 0.0
    limit = np.full(groups.shape[1], seen.furnace.design.repair.brick_threshold)
    early, even = (
        [np.minimum(lives[:, g[fitted.some]].min(axis=(1, 2)), AHEAD) for g in groups]
        for lives in fitted.lives()
    )
    after, rows = (" after a step" if name else ""), list[Row]()
    for future in range(1, FUTURES + 1):
        true = np.minimum(Onward(truth, future).heats(limit, groups), AHEAD)
        for one, soon, draws, passed in zip(chain, early, even, true, strict=True):
            what = f"forecast, {one.region.name or one.region.kind}{after}"
            # as the record's: spalls count for the lower end alone
            ends = [np.quantile(soon, 0.025), *np.quantile(draws, [0.5, 0.975])]
            q = one.heats
            told = [min(x, AHEAD) for x in (q.low95, q.value, q.high95)] if q else ends
            rows.append({"what": what, "by": "state space"} | _figures(*ends, passed))
            rows.append({"what": what, "by": "record"} | _figures(*told, passed))
    return rows


def run(seed: int, *, heats: int, stations: str, keep: Path | None) -> list[Row]:
    """Both methods on one furnace, without a step and with each kind."""
    rows, start = list[Row](), MIDDLE
    for name, seen in observe_all(seed, heats, stations, keep).items():
        truth = CampaignTruth(seen)
        fitted = Fitted.of(truth, start)
        start = fitted.theta
        if not name:
            rows += rates(truth, fitted) + ledgers(truth, fitted)
        ours, fitted = fitted.stepped()
        told, found = steps(truth, ours, name)
        rows += told + forecasts(truth, fitted, found, name)
    return [{"seed": seed} | row for row in rows]


def show(rows: Sequence[Row]) -> None:
    """Share inside, root mean square error and mean interval score, side by side."""
    print(f"{'':34s} {'state space':>30s} {'record':>30s}")
    for what in dict.fromkeys(row["what"] for row in rows):
        words = []
        for by in ("state space", "record"):
            some = [row for row in rows if (row["what"], row["by"]) == (what, by)]
            if not some:
                words.append(f"{'none':>30s}")
                continue
            inside = (
                f"{100.0 * np.mean([r['inside'] for r in some]):.1f} % of {len(some)}"
            )
            if "off" in some[0]:
                off = np.sqrt(np.mean([r["off"] ** 2 for r in some]))
                score = np.mean([r["score"] for r in some])
                inside += f" {off:6.2f} {score:6.2f}"
            words.append(f"{inside:>30s}")
        print(f"{what:34s}", *words)


def main(words: Sequence[str] | None = None) -> None:
    """Run and print."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    add = parser.add_argument
    add("--count", type=int, default=40, help="how many furnaces")
    add("--seed", type=int, default=0, help="of the first furnace")
    add("--heats", type=int, default=10)
    add("--stations", default="12x10", help="azimuths x heights")
    add("--keep", type=Path, help="folder of surveys, as campaign.py keeps them")
    add("--json", type=Path, help="write every figure there, furnace by furnace")
    options = parser.parse_args(words)
    rows = list[Row]()
    for seed in range(options.seed, options.seed + options.count):
        rows += run(
            *(seed,), heats=options.heats, stations=options.stations, keep=options.keep
        )
        if options.json:
            options.json.write_text(json.dumps(rows), encoding="utf-8")
    print(f"{options.count} furnaces, {options.heats} heats, {options.stations}:")
    print("share inside, root mean square error, mean interval score")
    show(rows)


if __name__ == "__main__":
    main()
