"""Surveys of whole campaigns, panel by panel, kept beside the truth.

Each wall of `campaign_walls` is read with a rod (`linings.read`), reconstructed and
reduced to its panels as `geom.assess` does.  That takes a second a survey, so it is
kept in a folder, one file a furnace, and read again by whoever tunes what follows.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
from campaign_walls import (
    Furnace,
    Wall,
    mean_spalls,
    steps_to_plant,
    walls_at,
)
from furnaces import TOP
from linings import Cells, cut_into_cells, read

from geom.compare.nodes import make_nodes
from geom.compare.panels import Panels, PanelState, panels_of, survey_panels
from geom.design import Design
from geom.surface import reconstruct
from geom.units import Float, Int

#: Reading error, mm; the sheet states it.
NOISE = 2.0
#: Heats that a planted step has been there for at the end.
AFTER_STEP = 2


@dataclass(frozen=True)
class Seen:
    """One campaign: what its surveys say and what is true.

    Attributes
    ----------
    furnace : Furnace
        With the step planted, if any.
    states : tuple of PanelState, 2 n + 1
        In the order of `campaign_walls.walls_at`.
    true : array (2 n + 1, p), mm
        Mean cut-back of each panel's wall, texture and all.
    deepest : array (2 n + 1, p), mm
        Greatest cut-back of the panel, texture left out.
    lasting, spalls : array (p,), mm a heat
        Mean wear of a heat of `campaign_walls.HOURS` over the panel: by the pattern
        that lasts, and by spots falling out.  Before the step.
    extra : array (p,), mm a heat
        Mean wear that the step adds.
    hours, melted : array (n,), h and kg
    """

    furnace: Furnace
    states: tuple[PanelState, ...]
    true: Float
    deepest: Float
    lasting: Float
    spalls: Float
    extra: Float
    hours: Float
    melted: Float

    @property
    def heats(self) -> int:
        """How many heats, n."""
        return self.hours.size


@dataclass(frozen=True)
class Tiles:
    """Cells of the truth and the panel that each lies in."""

    cells: Cells
    panels: Panels
    owner: Int

    def mean(self, field: Float) -> Float:
        """Mean over each panel's wall; (n,) to (p,)."""
        weight = self.cells.weight * self.cells.design_radius
        count = self.panels.count
        total = np.bincount(self.owner, weight * field, count)
        return np.asarray(total / np.bincount(self.owner, weight, count))

    def greatest(self, field: Float) -> Float:
        """Greatest value on each panel's wall; (n,) to (p,)."""
        most = np.full(self.panels.count, -np.inf)
        clear = self.cells.clear
        np.maximum.at(most, self.owner[clear], field[clear])
        return most


def tiles_of(design: Design) -> Tiles:
    """The truth's cells: 2 1/2 degrees by 0.6 in, whole ones in every panel."""
    cells = cut_into_cells(design, 0.0, TOP, turn_step=2.5, height_step=15.24)
    panels = panels_of(design)
    rows, columns = cells.shape
    height = cells.height.reshape(rows, columns)[:, 0]
    owner = panels.owner(height, cells.azimuth[:columns])
    return Tiles(cells, panels, owner.ravel())


def survey(furnace: Furnace, heats: int, place: int, stations: str) -> PanelState:
    """One wall of a campaign, read, reconstructed and reduced to panels."""
    azimuths, heights = (int(part) for part in stations.split("x"))

    def every(azimuth: Float, height: Float) -> list[Float]:
        return walls_at(furnace, heats, azimuth, height)

    wall = Wall(furnace.design, every, place)
    chance = 1000 * furnace.seed + place
    readings = read(wall, azimuths, heights, noise=NOISE, seed=chance)  # type: ignore[arg-type]
    surface = reconstruct(readings, furnace.design)
    return survey_panels(surface, make_nodes(surface))


def observe(
    furnace: Furnace, heats: int, stations: str, before: Seen | None = None
) -> Seen:
    """Survey a whole campaign.

    Parameters
    ----------
    furnace : Furnace
    heats : int
    stations : str
        As ``"12x10"``: azimuths x heights.
    before : Seen, optional
        The same campaign without its step: surveys from before it are not made again.
    """
    tiles = tiles_of(furnace.design)
    a, h = tiles.cells.azimuth, tiles.cells.height
    kept = 2 * furnace.from_heat - 1 if before is not None else 0
    states = before.states[:kept] if before is not None else ()
    states += tuple(
        survey(furnace, heats, place, stations) for place in range(kept, 2 * heats + 1)
    )
    burnt = [furnace.heat(number) for number in range(1, heats + 1)]
    step = furnace.step
    by_height = _mean_spalls()[np.searchsorted(_heights(), h)]
    return Seen(
        furnace=furnace,
        states=states,
        true=np.stack([tiles.mean(w) for w in walls_at(furnace, heats, a, h)]),
        deepest=np.stack(
            [tiles.greatest(w) for w in walls_at(furnace, heats, a, h, texture=False)]
        ),
        lasting=(
            tiles.mean(furnace.lasting(a, h)) if before is None else before.lasting
        ),
        spalls=tiles.mean(by_height),
        extra=tiles.mean(np.zeros(a.size) if step is None else step(a, h)),
        hours=np.array([one.hours for one in burnt]),
        melted=np.array([one.melted for one in burnt]),
    )


def stepped(seed: int, heats: int) -> dict[str, Furnace]:
    """The same furnace with each kind of step, there for the last heats."""
    first = heats - AFTER_STEP + 1
    return {s.name: Furnace(seed, s, first) for s in steps_to_plant(seed)}


def observe_all(
    seed: int, heats: int, stations: str, folder: Path | None
) -> dict[str, Seen]:
    """One furnace without a step (``""``) and with each kind; kept in a folder."""
    file = None if folder is None else folder / f"{stations}-{heats}-{seed:05d}.npz"
    if file is not None and file.exists():
        return load(file, seed, heats)
    plain = observe(Furnace(seed), heats, stations)
    seen = {"": plain}
    for name, furnace in stepped(seed, heats).items():
        seen[name] = observe(furnace, heats, stations, plain)
    if file is not None:
        save(file, seen)
    return seen


_STATE = ("cutback", "covariance", "deepest", "deepest_sd")
_STATE += ("part", "part_sd", "area", "read")
_TRUE = ("true", "deepest", "lasting", "spalls", "extra", "hours", "melted")


def save(file: Path, seen: dict[str, Seen]) -> None:
    """Keep every campaign of a furnace; panels never told are left out."""
    known = np.flatnonzero(np.isfinite(seen[""].states[0].cutback))
    kept = {"told": known}
    for name, one in seen.items():
        kept |= {f"{name}/true/{key}": getattr(one, key) for key in _TRUE}
        first = 2 * one.furnace.from_heat - 1 if name else 0
        for key in _STATE:
            some = np.stack([getattr(state, key) for state in one.states[first:]])
            cut = some[:, known]
            cut = cut[:, :, known] if key == "covariance" else cut
            kept[f"{name}/{key}"] = cut.astype(np.float32)
    draft = file.with_suffix(".draft.npz")
    np.savez_compressed(draft, **kept)
    draft.rename(file)


def load(file: Path, seed: int, heats: int) -> dict[str, Seen]:
    """Read what `save` kept."""
    furnaces = {"": Furnace(seed), **stepped(seed, heats)}
    panels = panels_of(furnaces[""].design)
    seen: dict[str, Seen] = {}
    with np.load(file) as kept:
        known = kept["told"]
        for name, furnace in furnaces.items():
            true = {key: kept[f"{name}/true/{key}"] for key in _TRUE}
            cut = {key: kept[f"{name}/{key}"].astype(np.float64) for key in _STATE}
            states = tuple(
                _whole(panels, known, {key: some[i] for key, some in cut.items()})
                for i in range(len(cut["cutback"]))
            )
            if name:
                states = seen[""].states[: 2 * furnace.from_heat - 1] + states
            seen[name] = Seen(furnace, states, **true)
    return seen


def _whole(panels: Panels, known: Int, cut: dict[str, Float]) -> PanelState:
    def spread(key: str, empty: float) -> Float:
        full = np.full((panels.count, *cut[key].shape[1:]), empty)
        full[known] = cut[key]
        return full

    covariance = np.zeros((panels.count, panels.count))
    covariance[np.ix_(known, known)] = cut["covariance"]
    return PanelState(
        panels=panels,
        cutback=spread("cutback", np.nan),
        covariance=covariance,
        deepest=spread("deepest", np.nan),
        deepest_sd=spread("deepest_sd", np.nan),
        part=spread("part", np.nan),
        part_sd=spread("part_sd", np.nan),
        area=spread("area", 0.0),
        read=spread("read", 0.0),
    )


@cache
def _heights() -> Float:
    return np.asarray((np.arange(100) + 0.5) * TOP / 100)


@cache
def _mean_spalls() -> Float:
    return mean_spalls(_heights())
