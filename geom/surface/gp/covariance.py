r"""Prior covariance of cut-back between places, for given hyperparameters.

Cut-back is a sum of independent components.  With h the heights and a the azimuths of
two places, component c adds

    sd_c**2  A_c(h) A_c(h')  k_height(|h - h'| / l_h)  k_azimuth(chord(a, a') / l_a)
             * sum_p P_cp(a, h) P_cp(a', h')

where A is the amplitude over height (1 for a component that is not scaled by it), k are
correlations (`geom.surface.gp.kernels`) and P the patterns of the component, if it has
any.  Where a place was repaired, components of the wall as it was add nothing, and only
those of the repair do.  But for patterns that go round the wall, every component is a
product of a function of the two heights and one of the two azimuths: both are worked
out on the few distinct heights and azimuths that readings stand at.

References
----------
Rasmussen and Williams (2006), section 4.2.4 (sums and products of kernels, and the
vertical rescaling ``A(x) k(x, x') A(x')``).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from geom.surface.gp.kernels import (
    PairDistances,
    Points2D,
    azimuth_correlation,
    height_correlation,
    height_distance,
    patterns_at,
    ring_pattern_product,
)
from geom.surface.gp.prior import Component, LogNormal, Prior
from geom.units import Float


@dataclass(frozen=True)
class FilledComponent:
    """A component with its hyperparameters, mm; infinite where it has none."""

    component: Component
    sd: float
    length_scale_azimuth: float
    length_scale_height: float

    def by_height(self, apart: Float, scale: Float | float) -> tuple[Float, Float]:
        """All of its covariance that goes by height, mm2, and the slope of that.

        Parameters
        ----------
        apart : array, mm
            Distances between heights.
        scale : array of the same shape or 1
            Amplitudes, and patterns that are the same all round.

        Returns
        -------
        two arrays of the same shape
            The second by the logarithm of ``length_scale_height``.
        """
        whole = self.sd**2 * scale
        value, slope = height_correlation(
            self.component, self.length_scale_height, apart
        )
        return whole * value, whole * slope


@dataclass(frozen=True)
class _Term:
    """What one component adds between the readings, but for its patterns.

    Attributes
    ----------
    by_height, height_slope : array (d,), mm2
        Of distinct pairs of heights, and its slope by log ``length_scale_height``.
    by_azimuth, azimuth_slope : array (g,)
        Correlation round the ring, over the gaps in azimuth, and its slope by log
        ``length_scale_azimuth``.
    """

    component: Component
    by_height: Float
    height_slope: Float
    by_azimuth: Float
    azimuth_slope: Float

    @property
    def rings(self) -> list[Float]:
        """What goes by azimuth, and its slope where that is asked for."""
        around = self.component.length_scale_azimuth
        if around is not None and around.learned:
            return [self.by_azimuth, self.azimuth_slope]
        return [self.by_azimuth]


@dataclass(frozen=True)
class Covariance:
    """A prior with its hyperparameters filled in.

    Attributes
    ----------
    theta : array (p,)
        Logarithms of standard deviations and length scales in the prior's order, then
        the log amplitudes at its knots.
    """

    prior: Prior
    theta: Float

    @cached_property
    def components(self) -> tuple[FilledComponent, ...]:
        """All components, filled in."""
        values = iter(np.exp(self.theta))

        def fill(hyperprior: LogNormal | None) -> float:
            if hyperprior is None:
                return np.inf
            return float(next(values)) if hyperprior.learned else hyperprior.median

        # In the order of `Component.hyperpriors`, which theta follows.
        return tuple(
            FilledComponent(
                component,
                fill(component.sd),
                fill(component.length_scale_azimuth),
                fill(component.length_scale_height),
            )
            for component in self.prior.components
        )

    def sd_of(self, name: str) -> float:
        """Standard deviation of the component of a name, mm; 0 if there is none."""
        named = (f.sd for f in self.components if f.component.name == name)
        return next(named, 0.0)

    def without(self, name: str) -> Covariance:
        """The same without the components of a name."""
        theta, kept, at = list(self.theta), [], 0
        for component in self.prior.components:
            learned = len(component.hyperpriors)
            if component.name == name:
                del theta[at : at + learned]
            else:
                kept.append(component)
                at += learned
        prior = replace(self.prior, components=tuple(kept))
        return Covariance(prior, np.array(theta))

    @property
    def as_it_was(self) -> Covariance:
        """That of the wall before any repair."""
        if self.prior.unrepaired is None:
            return self
        # theta in the order of `Component.hyperpriors`, part by part
        parts = self.prior.components
        kept = [not part.repaired for part in parts for _ in part.hyperpriors]
        held = np.append(kept, np.ones(self.prior.amplitudes, dtype=bool))
        worn = tuple(part for part in parts if not part.repaired)
        prior = replace(self.prior, components=worn, unrepaired=None)
        return Covariance(prior, self.theta[held])

    def amplitude(self, height: Float) -> Float:
        """How much more the wall varies at heights than on the whole; (n,) to (n,)."""
        return self.prior.amplitude(height, self._log_amplitudes)[0]

    @property
    def _log_amplitudes(self) -> Float:
        return self.theta[self.theta.size - self.prior.amplitudes :]

    def amplitude_product(self, left: Float, right: Float) -> Float:
        """Amplitude at heights times that at others; (len(left), len(right))."""
        return np.outer(self.amplitude(left), self.amplitude(right))

    def around(
        self, filled: FilledComponent, left: Float, right: Float
    ) -> tuple[Float, Float]:
        """Correlation round the ring, and its slope by log ``length_scale_azimuth``."""
        scale, radius = filled.length_scale_azimuth, self.prior.radius
        return azimuth_correlation(filled.component, scale, radius, left, right)

    def between(self, left: Points2D, right: Points2D) -> Float:
        """Covariance matrix, mm2; shape (len(left), len(right))."""
        return self.with_gradient(PairDistances(left, right))[0]

    def with_gradient(
        self, distances: PairDistances
    ) -> tuple[Float, Callable[[Float], Float]]:
        """Covariance, and how a function of it changes with theta.

        Returns
        -------
        covariance : array (left, right), mm2
        gradient : callable
            From the derivatives of a function by each entry of the covariance, an array
            (left, right), to its derivatives by theta, an array (p,).
        """
        (up, slopes_left), (down, slopes_right) = (
            self.prior.amplitude_of(shares, self._log_amplitudes)
            for shares in distances.amplitude_shares(self.prior)
        )
        amplitudes = distances.heights.outer(up, down)
        terms = [self._term(f, distances, amplitudes) for f in self.components]
        worn, new = (
            [term for term in terms if term.component.repaired is repaired]
            for repaired in (False, True)
        )
        total = _sum_of(worn, distances)
        if (region := self.prior.unrepaired) is not None:
            total = total * distances.unrepaired(region) + _sum_of(new, distances)

        def gradient(by_entry: Float) -> Float:
            by_pair = distances.collapse(by_entry)
            by_theta, by_amplitude = self._gradient(terms, distances, by_pair)
            # Amplitude enters once for the left height and once for the right.
            by_left, by_right = distances.heights.sums(by_amplitude)
            by_knot = slopes_left.T @ by_left + slopes_right.T @ by_right
            return np.append(by_theta, by_knot)

        return distances.table(total), gradient

    def _term(
        self, filled: FilledComponent, distances: PairDistances, amplitudes: Float
    ) -> _Term:
        component = filled.component
        scale = distances.ring_patterns(component)
        if component.scaled_by_height:
            scale = scale * amplitudes
        by_height = filled.by_height(distances.heights.apart, scale)
        around = distances.azimuths.correlation(
            component, filled.length_scale_azimuth, self.prior.radius
        )
        return _Term(component, *by_height, *around)

    def _gradient(
        self, terms: list[_Term], distances: PairDistances, by_pair: Float
    ) -> tuple[list[float], Float]:
        """By sizes and lengths, and by the logs of each two heights' amplitudes (d,).

        Chain rule: sums over all pairs of ``by_pair`` times each derivative.

        As every term is a product of a table by height and one by azimuth, the sums
        over pairs of the same two heights are taken first, (p,) to (d,);
        what is left are inner products of tables (d,).
        """
        pulls = {True: by_pair, False: by_pair}
        if (region := self.prior.unrepaired) is not None:
            pulls[False] = by_pair * distances.unrepaired(region)
        by_theta: list[float] = []
        by_amplitude = np.zeros(distances.heights.size)
        for term, (along, turned) in zip(
            terms, _summed_by_height(terms, distances, pulls), strict=True
        ):
            component = term.component
            around, height = (
                component.length_scale_azimuth,
                component.length_scale_height,
            )
            own = along * term.by_height
            if component.sd.learned:
                by_theta.append(2.0 * float(own.sum()))
            if around is not None and around.learned and not component.axisymmetric:
                by_theta.append(float(np.vdot(turned, term.by_height)))
            if height is not None and height.learned:
                by_theta.append(float(np.vdot(along, term.height_slope)))
            if component.scaled_by_height:
                by_amplitude += own
        return by_theta, by_amplitude

    def variance(self, height: Float, azimuth: Float) -> Float:
        """Prior variance of cut-back on a grid, mm2; (len(height), len(azimuth))."""
        squared = self.amplitude(height)[:, None] ** 2
        total = np.zeros((height.size, azimuth.size))
        region = self.prior.unrepaired
        as_it_was = 1.0 if region is None else region.on_grid(height, azimuth)
        for filled in self.components:
            component = filled.component
            own = filled.sd**2 * (squared if component.scaled_by_height else 1.0)
            if component.parity:
                here = azimuth[:1]
                own = own * self.around(filled, here, here)[0]
            fields = [p.on_grid(height, azimuth) ** 2 for p in component.patterns]
            own = own * (np.sum(fields, axis=0) if fields else 1.0)
            total += own if component.repaired else own * as_it_was
        return total


def _sum_of(terms: list[_Term], distances: PairDistances) -> Float:
    """What terms add between places, pair by pair; (p,), mm2."""
    products = distances.products
    plain = [term for term in terms if not term.component.patterned]
    # those that are the same all round are one
    alike = [term.by_height for term in plain if term.component.axisymmetric]
    others = [term for term in plain if not term.component.axisymmetric]
    up = [term.by_height for term in others]
    around = [term.by_azimuth for term in others]
    if alike:
        up.append(np.sum(alike, axis=0))
        around.append(np.ones(distances.azimuths.gap.size))
    if up:
        total = products.expand(up, around)
    else:
        total = np.zeros(distances.heights.spread.size)
    for term in terms:
        if term.component.patterned:
            alone = products.expand([term.by_height], [term.by_azimuth])
            total += alone * distances.patterns(term.component)
    return total


def _summed_by_height(
    terms: list[_Term], distances: PairDistances, pulls: dict[bool, Float]
) -> Iterator[tuple[Float, Float]]:
    """Of each term: slopes times what goes by azimuth, summed over alike heights.

    Parameters
    ----------
    pulls : dict
        Slopes by each pair (p,), of repaired wall and of the other.

    Yields
    ------
    along, turned : array (d,)
        With the correlation round the ring, and with its slope.
    """
    products = distances.products
    always = np.ones(distances.azimuths.gap.size)
    flat = np.zeros(distances.heights.size)
    sums: dict[bool, Iterator[Float]] = {}
    for repaired, pull in pulls.items():
        rings = [
            ring
            for t in terms
            if t.component.repaired is repaired
            and not (t.component.patterned or t.component.axisymmetric)
            for ring in t.rings
        ]
        sums[repaired] = products.collapse(pull, [always, *rings])
    all_round = {repaired: next(rows) for repaired, rows in sums.items()}
    for term in terms:
        component = term.component
        if component.axisymmetric and not component.patterned:
            yield all_round[component.repaired], flat
            continue
        rows = sums[component.repaired]
        if component.patterned:
            pull = pulls[component.repaired] * distances.patterns(component)
            rows = products.collapse(pull, term.rings)
        along = next(rows)
        yield along, next(rows) if len(term.rings) > 1 else flat


class GridCrossCovariance:
    """Covariance of places with the nodes of a grid, row by row.

    What goes by azimuth is the same in every row and is worked out once.  In a row
    every component without patterns that go round is a column by height times a row by
    azimuth, so that all of them are one small matrix product for each place.

    Parameters
    ----------
    places : Points2D, length n
    azimuth : array (k,), degrees
        Of the grid's columns.
    """

    def __init__(
        self, covariance: Covariance, places: Points2D, azimuth: Float
    ) -> None:
        self._covariance, self._places, self._azimuth = covariance, places, azimuth
        self._height, self._at = np.unique(places.height, return_inverse=True)
        distinct, back = np.unique(places.azimuth, return_inverse=True)
        every = covariance.components
        self._axisymmetric = [f for f in every if f.component.axisymmetric]
        self._patterned = [f for f in every if f.component.patterned]
        self._plain = [
            f
            for f in every
            if not f.component.axisymmetric and not f.component.patterned
        ]
        rings = [covariance.around(f, distinct, azimuth)[0] for f in self._plain]
        # (distinct azimuths, 1 + plain components, k): the first is that of the
        # components that are the same all round.
        always = np.ones((distinct.size, azimuth.size))
        self._distinct, self._back = np.stack([always, *rings], axis=1), back
        self._patterned_rings = [
            covariance.around(f, distinct, azimuth)[0][back] for f in self._patterned
        ]
        self._region = covariance.prior.unrepaired
        self._as_it_was = np.ones(len(places))
        if self._region is not None:
            self._as_it_was = self._region.at(places.azimuth, places.height)

    @cached_property
    def _rings(self) -> Float:
        """Of all places, with the columns; (n, 1 + plain components, k)."""
        return self._distinct[self._back]

    def weighted_sum(self, weight: Float, height: Float) -> Float:
        """Weighted sum over the places of their covariance with rows, mm2.

        Parameters
        ----------
        weight : array (n,)
        height : array (m,), mm

        Returns
        -------
        array (m, k)
        """
        from scipy.sparse import csr_array

        amplitudes = self._amplitudes(height)
        every, weight = weight, weight * self._as_it_was
        as_it_was = self._as_it_was_on(height)
        # Places of one height are summed over first, (u, a) @ (a, c * k) with distinct
        # azimuths a; then height u and component c together, (m, u * c) @ (u * c, k).
        many = len(self._distinct)
        rings = csr_array(
            (weight, (self._at, self._back)), shape=(self._height.size, many)
        ) @ self._distinct.reshape(many, -1)
        table = self._by_height(height, amplitudes)
        flat = np.moveaxis(table, 1, 0).reshape(height.size, -1)
        total = flat @ rings.reshape(flat.shape[1], -1) * as_it_was
        for filled, ring in zip(self._patterned, self._patterned_rings, strict=True):
            new = filled.component.repaired
            own, held = (every, 1.0) if new else (weight, as_it_was)
            up: Float | None = None
            for pattern in filled.component.patterns:
                there = own * pattern.at(self._places.azimuth, self._places.height)
                some = np.flatnonzero(there)
                if not some.size:
                    continue
                field = pattern.on_grid(height, self._azimuth)
                if not field.any():
                    continue
                if up is None:
                    up = self._one_by_height(filled, height, amplitudes)[self._at]
                # (m, n) @ (n, k) sums over places; the pattern at the node is outside.
                summed = (up[some] * there[some, None]).T @ ring[some]
                total += summed * field * held
        return np.asarray(total)

    def rows(self, height: Float) -> Float:
        """Covariance with every node of rows, mm2.

        Parameters
        ----------
        height : array (m,), mm

        Returns
        -------
        array (n, m, k)
        """
        amplitudes = self._amplitudes(height)
        # For each of n places (m, c) @ (c, k): components are summed over.
        up = self._by_height(height, amplitudes)[self._at]
        total = np.asarray(np.matmul(up, self._rings))
        held = self._as_it_was[:, None, None] * self._as_it_was_on(height)
        if self._region is not None:
            total *= held
        for filled, ring in zip(self._patterned, self._patterned_rings, strict=True):
            patterns = filled.component.patterns
            if filled.component.repaired:
                self._add_zones(total, filled, ring, height, amplitudes)
                continue
            field = np.stack([p.on_grid(height, self._azimuth) for p in patterns])
            # (patterns, n) with (patterns, m, k) summed over patterns: (n, m, k).
            there = patterns_at(filled.component, self._places)
            block = np.tensordot(there, field, (0, 0))
            up = self._one_by_height(filled, height, amplitudes)[self._at]
            block *= up[:, :, None]
            block *= ring[:, None, :]
            total += block * held
        return total

    def _add_zones(
        self,
        total: Float,
        filled: FilledComponent,
        ring: Float,
        height: Float,
        amplitudes: Float,
    ) -> None:
        """Add what repaired zones have of their own: each within itself alone."""
        up: Float | None = None
        for pattern in filled.component.patterns:
            there = pattern.at(self._places.azimuth, self._places.height)
            some = np.flatnonzero(there)
            if not some.size:
                continue
            field = pattern.on_grid(height, self._azimuth)
            rows = np.flatnonzero(field.any(axis=1))
            if not rows.size:
                continue
            columns = np.flatnonzero(field.any(axis=0))
            if up is None:
                up = self._one_by_height(filled, height, amplitudes)[self._at]
            block = there[some, None, None] * field[np.ix_(rows, columns)]
            block *= up[np.ix_(some, rows)][:, :, None]
            block *= ring[np.ix_(some, columns)][:, None, :]
            total[np.ix_(some, rows, columns)] += block

    def _as_it_was_on(self, height: Float) -> Float:
        """1 at nodes of the wall as it was, 0 in a repair; (m, k), or (1, 1)."""
        if self._region is None:
            return np.ones((1, 1))
        return self._region.on_grid(height, self._azimuth)

    def _by_height(self, height: Float, amplitudes: Float) -> Float:
        """Components by height: those the same all round together, then each plain one.

        Returns
        -------
        array (u, m, 1 + plain components), mm2
            Of the places' distinct heights.
        """
        alike = np.zeros_like(amplitudes)
        for filled in self._axisymmetric:
            alike += self._one_by_height(filled, height, amplitudes)
        each = [self._one_by_height(f, height, amplitudes) for f in self._plain]
        return np.stack([alike, *each], axis=2)

    def _one_by_height(
        self, filled: FilledComponent, height: Float, amplitudes: Float
    ) -> Float:
        """One component, distinct heights of the places to rows; (u, m), mm2."""
        scale = ring_pattern_product(filled.component, self._height, height)
        if filled.component.scaled_by_height:
            scale = scale * amplitudes
        apart = height_distance(self._height, height)
        return filled.by_height(apart, scale)[0]

    def _amplitudes(self, height: Float) -> Float:
        return self._covariance.amplitude_product(self._height, height)
