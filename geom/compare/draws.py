"""Walls as likely as any other: joint draws in which sound wall may be sound.

A zero-mean normal process lets worn wall stand proud of its drawing as readily as it
lets it lie back, and never lets wall be exactly as drawn; sums of positive parts and
maxima inherit both.  The draws here are those of the process, taken further by three
rules that leave the average of every patch where the readings put it:

sound or worn
    Averages of cut-back over patches of three widths are held against nil: the Bayes
    factor of exactly nil against the process is the posterior density at nil over the
    prior density there (Dickey 1971), 1 where nothing was read.  Two groups, sound
    wall and worn (Efron 2008), share the patches of a height; how much is sound is
    learned from the heights nearby by expectation and maximisation, patches counting by
    what was learned of them.  A place is sound only so far as all three widths
    let it be.
one sign a patch
    What the readings know is the average over a patch; wear here and build-up there
    within one is mostly the draw's own ringing between readings.  Each patch of a draw
    keeps its average and loses its lesser sign, taken from the other where the wall is
    least known.  Places that the readings say are proud stay as drawn, and so does wall
    that a laser saw.
two ends of a rod
    Where only the sum of two places half a turn apart is known, as from diameters, the
    rules go by that sum: both are sound or neither is, for worn wall on one side and
    build-up of the same size across from it would be a coincidence, and neither end has
    more than the whole of the sum.
rough by an unknown amount
    Readings apart do not tell how rough the face is between them: from nothing to what
    the process makes of it, the same over a whole draw; nor the texture of a face that
    looks sound or evenly worn, which it has unless the whole wall is as drawn.
as uncertain as its sizes
    How much the wall varies is itself known from what was read; integrated over, that
    makes a process of Student's t out of a normal one (O'Hagan 1991; Rasmussen and
    Williams 2006, section 9.9): all of a draw is off by more, or less, at once.

References
----------
Dickey, J. M. (1971). The weighted likelihood ratio, linear hypotheses on normal
location parameters. Annals of Mathematical Statistics 42(1), 204-223 (from memory).
Efron, B. (2008). Microarrays, empirical Bayes and the two-groups model. Statistical
Science 23(1), 1-22.
JCGM 101:2008, 7 (propagation of distributions by draws).
O'Hagan, A. (1991). Bayes-Hermite quadrature. Journal of Statistical Planning and
Inference 29(3), 245-260 (a process whose variance is integrated over; from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from geom.compare.nodes import Float32, Nodes, PatchKernel
from geom.compare.texture import without_texture
from geom.surface import RadialSurface
from geom.surface.gp.conditional import net_points
from geom.surface.gp.kernels import Points2D
from geom.units import Bool, Float, Int

#: Nodes whose draws are gone through at once.
_AT_ONCE = 32


@dataclass(frozen=True)
class DrawRules:
    """What the rules rest on; chosen on the fleet (docs/benchmarks.md), no source.

    Attributes
    ----------
    draws : int
        Ends of 95 % intervals to some 0.06 standard uncertainties.
    widths : tuple of float, mm
        Standard deviations of the kernels over which cut-back is averaged.
    nearby : float, mm
        Heights that share in how much wall is sound, the same.
    least_wear : float, mm
        Root mean square of worn patches, at least, where no prior is given.
    sound, weight : float
        Share of sound wall that is expected before it is read, and for how many rows of
        patches that counts.
    rounds : int
        Of expectation and maximisation.
    proud : float
        Standard deviations below nil from which the readings say a place is proud.
    odds : float
        Of a patch to be proud to its being worn, before it is read.
    apart : float
        Of two places half a turn apart only the sum is known where the variance of
        their difference is so many times that of the sum.
    one_sided : float
        How many times the process's own such a difference is, at most.
    rough : float, mm
        That a face stands off its average on either side, at most.
    film : float, mm
        A volume of less than this over all the wall that counts is none.
    texture : float, mm
        Of a face, standard deviation, at most.
    freedom : float
        Values that the process's variance is as well known as from.
    """

    draws: int = 800
    widths: tuple[float, float, float] = (70.0, 200.0, 500.0)
    nearby: float = 250.0
    least_wear: float = 1.5
    sound: float = 0.1
    weight: float = 0.3
    rounds: int = 60
    proud: float = 1.5
    odds: float = 0.2
    apart: float = 4.0
    one_sided: float = 3.0
    rough: float = 2.0
    film: float = 0.02
    texture: float = 1.2
    freedom: float = 8.0


RULES = DrawRules()


@dataclass(frozen=True, eq=False)
class WallDraws:
    """Draws of the wall at the nodes.

    Attributes
    ----------
    plain : array (q, n), mm
        Of the process itself.
    cutback : array (q, n), mm
        By the rules above.
    sound : array (q,)
        Probability that the wall there is as drawn.
    texture : array (n,), mm
        Standard deviation of the face about ``cutback`` that readings cannot tell.
    """

    nodes: Nodes
    plain: Float32
    cutback: Float32
    sound: Float
    texture: Float

    @cached_property
    def _uneven(self) -> Float32:
        """Of the face about ``cutback``, mm; (q, n), one value for all of a node."""
        rows, columns = self.nodes.height.size, self.nodes.azimuth.size
        half = -(-columns // 2)
        count = self.texture.size
        rng = np.random.default_rng([count, 5])
        one = rng.standard_normal((rows, half, 1, count), dtype=np.float32)
        both = np.concatenate([one, -one], axis=2).reshape(rows, 2 * half, count)
        field = both[:, :columns] * self.texture.astype(np.float32)
        return np.asarray(field.reshape(rows * columns, count))

    def excess(
        self,
        patch: Float,
        closed: float,
        *,
        inward: bool = False,
        mean: Float | None = None,
    ) -> Float:
        """Volumes beyond the drawing over some wall, one a draw.

        Parameters
        ----------
        patch : array (q,), radian mm
            Wall that counts at each node.
        closed : float, mm3
            The same of the process, in closed form on the fine grid: its ratio to what
            the process's own draws give corrects for the width of the net.
        inward : bool
            Build-up in place of cut-back.
        mean : array (q,), mm, optional
            Best estimate of the wall that counts at each node, where that is a part of
            it: a node that the edge of a zone cuts stands for the cells within.

        Returns
        -------
        array (n,), mm3
        """
        wall = np.flatnonzero(patch > 0.0)
        sign = -1.0 if inward else 1.0
        volume, coarse = np.zeros(self.texture.size), 0.0
        for start in range(0, wall.size, _AT_ONCE):  # few enough to stay in the cache
            some = wall[start : start + _AT_ONCE]
            mine, plain = (
                np.maximum(sign * part, 0.0) for part in self._sections_at(some, mean)
            )
            volume += patch[some] @ mine
            coarse += float(np.mean(patch[some] @ plain))
        film = RULES.film * float(patch[wall] @ self.nodes.design_radius[wall])
        scale = closed / coarse if coarse > 0.0 else 1.0
        return np.asarray(np.where(volume < film, 0.0, volume) * scale)

    def _sections_at(self, some: Int, mean: Float | None) -> tuple[Float32, Float32]:
        """Section areas of some nodes beyond the drawing, signed; two (s, n).

        In mm2 per radian.  Draws move to another mean, if any; sound wall stays so.
        """
        nodes = self.nodes
        radius = nodes.design_radius[some, None].astype(np.float32)
        mine, plain = self.cutback[some], self.plain[some]
        if mean is not None:
            shift = (mean - nodes.mean)[some, None].astype(np.float32)
            mine, plain = np.where(mine == 0.0, mine, mine + shift), plain + shift
        mine = mine + self._uneven[some]
        return mine * (radius + 0.5 * mine), plain * (radius + 0.5 * plain)

    def greatest(
        self,
        field: Float,
        offset: Float | None = None,
        *,
        sign: float = 1.0,
        sd: Float | None = None,
    ) -> Float:
        """Greatest value of a field over some wall, one a draw.

        Parameters
        ----------
        field : array (m, k), mm
            Best estimate on the fine grid; -inf where it does not count.
        offset : array (q,), mm, optional
            The part of it at the nodes that is not cut-back, such as the drawn radius.
        sign : {1, -1}
            -1 where the field is build-up.
        sd : array (m, k), mm, optional
            Standard uncertainty of the cells of wall that a laser saw: such a cell is
            less sure than its node, which is the mean of many.

        Returns
        -------
        array (n,), mm
            A node stands for the greatest of its cells and moves with its own draw.
        """
        nodes = self.nodes
        base = np.zeros(nodes.mean.size) if offset is None else offset
        peak = np.full(nodes.mean.size, -np.inf)
        held = nodes.owner >= 0
        np.maximum.at(peak, nodes.owner[held], field[held])
        some = np.flatnonzero(np.isfinite(peak))
        above = peak[some] - sign * nodes.mean[some] - base[some]
        greatest = np.full(self.cutback.shape[1], -np.inf)
        for start in range(0, some.size, _AT_ONCE):  # few enough to stay in the cache
            rows = slice(start, start + _AT_ONCE)
            moved = sign * self.cutback[some[rows]]
            value = np.where(moved == 0.0, 0.0, moved + above[rows, None])
            value += base[some[rows], None]
            np.maximum(greatest, value.max(axis=0), out=greatest)
        if nodes.seen is None or sd is None:
            return greatest
        # of the cell that looks greatest, once: not of the greatest of many such errors
        top = int(np.argmax(np.where(nodes.owner >= 0, field, -np.inf)))
        node = nodes.owner.flat[top]
        own = max(float(sd.flat[top] ** 2 - nodes.sd[node] ** 2), 0.0)
        rng = np.random.default_rng([greatest.size, 4])
        error = np.sqrt(own) * rng.standard_normal(greatest.size)
        return np.where(greatest == 0.0, 0.0, greatest + error)


def prior_of(surface: RadialSurface, nodes: Nodes) -> Float:
    """Prior covariance of cut-back between nodes, the first round the ring for all.

    Returns
    -------
    array (rows, rows, columns), mm2
        Between a node of the first column and every node; the prior is the same all
        round (past surveys, which are not, are taken as they are at the first, and a
        repair as if nothing had been done).
    """
    height, azimuth = nodes.height, nodes.azimuth
    covariance = surface.posterior.fitted.best.covariance.as_it_was
    first = Points2D(np.full(height.size, azimuth[0]), height)
    table = covariance.between(first, net_points(height, azimuth))
    return np.asarray(table.reshape(height.size, height.size, azimuth.size))


def draw_walls(nodes: Nodes, prior: Float | None = None, *, seed: int = 0) -> WallDraws:
    """Draw walls that the readings allow.

    Parameters
    ----------
    prior : array (rows, rows, columns), mm2, optional
        From `prior_of`.  Without it what worn patches vary by is taken from the patches
        themselves, which serves where all wall was read alike.
    """
    from scipy.special import ndtri

    count = RULES.draws
    deviation = nodes.draws(np.arange(nodes.mean.size), count, seed=seed)
    sizes = np.random.default_rng([seed, 4])
    deviation *= np.sqrt(RULES.freedom / sizes.chisquare(RULES.freedom, count))
    # the mean is known exactly: draws are centred on it
    deviation -= deviation.mean(axis=1, keepdims=True)
    plain = np.add(nodes.mean[:, None], deviation, order="C", dtype=np.float64)
    plain = plain.astype(np.float32)
    del deviation
    # axes from here on: row of nodes, column of nodes, draw
    field = plain.reshape(nodes.height.size, nodes.azimuth.size, count)
    rng = np.random.default_rng([seed, 1])
    kernels = [PatchKernel.of(nodes, width) for width in RULES.widths]
    patch = kernels[1]
    paired = _only_sums_known(patch(field))
    sound = np.minimum.reduce(
        [_sound_patches(nodes, field, paired, kernel, prior) for kernel in kernels]
    )
    if nodes.seen is not None:
        sound = without_texture(nodes, sound, patch)
    shared = _shared_out(field, patch, paired, np.random.default_rng([seed, 3]))
    worn = _one_signed(shared, patch, paired)
    rough = rng.random(count, dtype=np.float32) ** 2
    worn += rough * np.clip(field - worn, -RULES.rough, RULES.rough)
    if nodes.seen is not None:
        # what stands proud where a laser saw the wall does so
        worn = np.where(nodes.seen.reshape(*field.shape[:2], 1), field, worn)
    # the sounder the whole wall, the more it is sound or not as one
    rank = _correlated(field.shape, patch, rng, paired, common=float(sound.mean()) ** 2)
    worn[rank < np.asarray(ndtri(sound))[:, :, None]] = 0.0
    texture = np.zeros(count)
    if nodes.seen is None:
        # a wall that is all as drawn has none
        drawn = sizes.random(count) < sound.mean()
        texture = np.where(drawn, 0.0, RULES.texture * sizes.random(count))
    return WallDraws(nodes, plain, worn.reshape(plain.shape), sound.ravel(), texture)


def _across(field: Float32) -> Float32:
    """What is half a turn on; (rows, columns, ...), same shape."""
    return np.roll(field, field.shape[1] // 2, axis=1)


def _only_sums_known(average: Float32) -> Bool:
    """Patches of which, with those half a turn on, only the sum is known.

    Parameters
    ----------
    average : array (rows, columns, n), mm
        Draws of the patches' averages.

    Returns
    -------
    bool array (rows, columns)
        The same half a turn on.
    """
    if average.shape[1] % 2:
        return np.zeros(average.shape[:2], dtype=bool)
    far = _across(average)
    total, apart = (average + far).var(axis=2), (average - far).var(axis=2)
    return np.asarray(apart > RULES.apart * total)


def _shared_out(
    field: Float32, patch: PatchKernel, paired: Bool, rng: np.random.Generator
) -> Float32:
    """Draws in which neither of two paired patches has more than the sum of both.

    Half of the difference of two ends is cut off at half of their sum: the one is then
    as drawn, and all of it is on the other.  How one-sided the wall is as a whole is
    not known either: one multiple of what the process has a draw, from none.

    Returns
    -------
    array (rows, columns, n), mm
    """
    if not paired.any():
        return field
    far = _across(field)
    even, odd = 0.5 * (field + far), 0.5 * (field - far)
    average = patch(even)[paired]
    settled = _seldom_proud(average[:, None, :].copy())[:, 0, :]
    here = even[paired] + settled - average
    mean = odd.mean(axis=2, keepdims=True)
    scale = RULES.one_sided * rng.random(odd.shape[2])
    odd = mean + scale * (odd - mean)
    moved = field.copy()
    # what is cut off lies wholly on one side
    moved[paired] = here + np.clip(odd[paired], -np.abs(here), np.abs(here))
    return moved


def _sound_patches(
    nodes: Nodes, field: Float32, paired: Bool, kernel: PatchKernel, prior: Float | None
) -> Float:
    """Probability that patches under a kernel are sound; (rows, columns)."""
    average = kernel(field)
    if paired.any():
        mean = 0.5 * (average + _across(average))
        average = np.where(paired[:, :, None], mean, average)
    if prior is None:
        return _sound(nodes, average, None)
    # of the mean of two ends, and of one place
    half = prior.shape[2] // 2
    both = kernel.variance(0.5 * (prior + np.roll(prior, half, axis=2)))
    before = np.where(paired, both[:, None], kernel.variance(prior)[:, None])
    return _sound(nodes, average, before)


def _sound(nodes: Nodes, average: Float32, prior: Float | None) -> Float:
    """Probability that patches are sound; (rows, columns).

    Parameters
    ----------
    average : array (rows, columns, n), mm
        Draws of the patches' averages.
    prior : array (rows, columns), mm2, or None
        Their variance before anything was read.
    """
    mean = average.mean(axis=2, dtype=np.float64)
    variance = np.maximum(average.var(axis=2, dtype=np.float64), 1e-6)
    if prior is None:
        prior = np.maximum(np.mean(mean**2, axis=1), RULES.least_wear**2)
        before = variance + prior[:, None]
    else:
        before = np.maximum(variance, prior)
    # normal density at nil after the readings over that before them
    factor = 0.5 * (np.log(before / variance) - mean**2 / variance)
    informed = 1.0 - variance / before
    apart = (nodes.height[:, None] - nodes.height[None, :]) / RULES.nearby
    near = np.exp(-0.5 * apart**2)
    share = np.full(mean.shape[0], 0.5)
    chance: Float = np.zeros_like(mean)
    for _ in range(RULES.rounds):
        odds = np.log(share / (1.0 - share))[:, None] + factor
        chance = np.asarray(1.0 / (1.0 + np.exp(-np.clip(odds, -50.0, 50.0))))
        sound = near @ (informed * chance).mean(axis=1) + RULES.weight * RULES.sound
        share = sound / (near @ informed.mean(axis=1) + RULES.weight)
        share = np.clip(share, 1e-4, 1.0 - 1e-4)
    return chance


def _one_signed(field: Float32, patch: PatchKernel, settled: Bool) -> Float32:
    """Draws in which each patch is worn or proud, not both; (rows, columns, n).

    Parameters
    ----------
    field : array (rows, columns, n), mm
    settled : bool array (rows, columns)
        Patches whose sign has been drawn.
    """
    mean = field.mean(axis=2, keepdims=True)
    sd = np.maximum(field.std(axis=2, keepdims=True), 1e-6)
    proud = mean < -RULES.proud * sd
    rest = np.where(proud, np.float32(0.0), field)
    weight = np.maximum(patch((~proud).astype(np.float32)), 1e-3)
    given = np.asarray(patch(rest) / weight, dtype=np.float32)
    net = _seldom_proud(given.copy())
    net = np.where(settled[:, :, None], given, net)
    sign = np.where(net < 0.0, np.float32(-1.0), np.float32(1.0))
    kept = np.maximum(sign * rest, 0.0)
    surplus = np.maximum(patch(kept) / weight - np.abs(net), 0.0)
    unsure = kept * sd
    taken = unsure * (surplus / np.maximum(patch(unsure) / weight, 1e-9))
    return np.where(proud, field, sign * np.maximum(kept - taken, 0.0))


def _seldom_proud(net: Float32) -> Float32:
    """Averages of patches with the odds of being proud put in; same shape.

    Each average keeps its rank among the draws; the distribution it is read from is the
    normal one with its part below nil weighed by the odds.
    """
    from scipy.special import ndtr, ndtri

    mean, sd = net.mean(axis=2), np.maximum(net.std(axis=2), 1e-6)
    # where nothing is near nil, nothing changes
    near = mean < 4.0 * sd
    mean, sd = mean[near][:, None], sd[near][:, None]
    below = ndtr(-mean / sd)
    proud = RULES.odds * below / (RULES.odds * below + 1.0 - below + 1e-30)
    rank = ndtr((net[near] - mean) / sd)
    moved = np.where(
        rank < proud,
        rank / np.maximum(proud, 1e-12) * below,
        below + (rank - proud) / np.maximum(1.0 - proud, 1e-12) * (1.0 - below),
    )
    net[near] = mean + sd * ndtri(np.clip(moved, 1e-7, 1.0 - 1e-7))
    return net


def _correlated(
    shape: tuple[int, ...],
    patch: PatchKernel,
    rng: np.random.Generator,
    paired: Bool,
    *,
    common: float,
) -> Float32:
    """Standard normal fields that hang together as patches do; (rows, columns, n).

    Parameters
    ----------
    shape : (rows, columns, n)
    paired : bool array (rows, columns)
        Where it is the same half a turn on.
    common : float
        Share of the variance that the whole wall shares.
    """
    field = patch(rng.standard_normal(shape, dtype=np.float32))
    if paired.any():
        field = np.where(paired[:, :, None], field + _across(field), field)
    field /= np.maximum(field.std(axis=2, keepdims=True), 1e-9)
    whole = rng.standard_normal(shape[2], dtype=np.float32)
    local, shared = np.float32(np.sqrt(1.0 - common)), np.float32(np.sqrt(common))
    return local * field + shared * whole
