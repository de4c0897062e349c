"""What a number with its uncertainty is: one thing that travels whole."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from geom.units import Float

#: Half-width of a 95 % interval of a normal variable, in standard deviations.
K95 = 1.959963984540054
_NAMES = ("value", "sd", "low95", "high95")


def student_k95(dof: ArrayLike) -> Float:
    """Half-width of a 95 % interval of Student's t, in standard deviations.

    Parameters
    ----------
    dof : array, any shape
        Degrees of freedom; NaN where there are none.

    Returns
    -------
    array, same shape

    References
    ----------
    JCGM 100:2008 (GUM), table G.2.

    Examples
    --------
    >>> student_k95([1, 10]).round(2).tolist()
    [12.71, 2.23]
    """
    from scipy.special import stdtrit

    return np.asarray(stdtrit(np.asarray(dof, dtype=np.float64), 0.975))


@dataclass(frozen=True)
class Quantity:
    """A best estimate with its standard uncertainty and 95 % interval.

    Attributes
    ----------
    value, sd, low95, high95 : float
        All in the same unit, which the place that holds the quantity states.

    References
    ----------
    JCGM 100:2008 (GUM), 2.2.3 and 2.3.5: standard and expanded uncertainty.
    """

    value: float
    sd: float
    low95: float
    high95: float

    @classmethod
    def normal(cls, value: float, sd: float) -> Quantity:
        """Of a normal variable.

        Examples
        --------
        >>> Quantity.normal(10.0, 1.0).high95
        11.959963984540053
        """
        value, sd = float(value), float(sd)
        return cls(value, sd, value - K95 * sd, value + K95 * sd)

    @classmethod
    def student(cls, value: float, sd: float, dof: float) -> Quantity:
        """Of a value whose sd is itself an estimate with few degrees of freedom.

        Parameters
        ----------
        dof : float
            Degrees of freedom of ``sd``; the interval is NaN where there are none.

        References
        ----------
        JCGM 100:2008, G.3: the t-distribution.

        Examples
        --------
        >>> round(Quantity.student(0.0, 1.0, 4).high95, 3)
        2.776
        """
        reach = sd * float(student_k95(dof))
        return cls(float(value), float(sd), float(value - reach), float(value + reach))

    @classmethod
    def of_samples(cls, samples: Float, *, value: float | None = None) -> Quantity:
        """Of equally likely draws: their mean (or ``value``), sd and central 95 %.

        When a better estimate of the mean is known in closed form, give it as
        ``value``: the interval is shifted with it.
        """
        centre = float(np.mean(samples))
        value = centre if value is None else float(value)
        low, high = np.quantile(samples, [0.025, 0.975]) + (value - centre)
        sd = float(np.std(samples, ddof=1))
        return cls(value, sd, float(low), float(high))

    def __str__(self) -> str:
        return format(self)

    def __format__(self, unit: str) -> str:
        """As people read it, as finely as two figures of its sd; ``unit`` may be given.

        Examples
        --------
        >>> volume = Quantity(55.4321, 2.134, 51.18, 59.71)
        >>> print(volume)
        55.4 +- 2.1 (51.2 to 59.7)
        >>> f"{volume:L}"
        '55.4 L +- 2.1 (51.2 to 59.7)'
        """
        digits = 6
        if 0.0 < self.sd < np.inf:
            digits = max(0, 1 - int(np.floor(np.log10(self.sd))))
        value, sd, low, high = (f"{part + 0.0:.{digits}f}" for part in self._parts())
        if not self.sd:
            value, sd, low, high = (f"{part:.6g}" for part in self._parts())
        unit = f" {unit}" if unit else ""
        return f"{value}{unit} +- {sd} ({low} to {high})"

    def _repr_pretty_(self, printer: Any, _cycle: bool) -> None:
        """In a notebook, as it prints."""
        printer.text(str(self))

    def __add__(self, known: float) -> Quantity:
        """With a number added; of two quantities nothing says how they depend.

        Examples
        --------
        >>> 1.0 + Quantity(2.0, 1.0, 0.5, 5.0) - 2.0
        Quantity(value=1.0, sd=1.0, low95=-0.5, high95=4.0)
        """
        if isinstance(known, Quantity):
            raise TypeError(
                "the sum of two quantities needs to know how their errors depend: "
                "where they do not, use plus_independent"
            )
        return self.plus(known) if _is_number(known) else NotImplemented

    __radd__ = __add__

    def __sub__(self, known: float) -> Quantity:
        return self + (-known)

    def __rsub__(self, known: float) -> Quantity:
        return -self + known

    def __mul__(self, factor: float) -> Quantity:
        """Scaled by a number of either sign.

        Examples
        --------
        >>> -2 * Quantity(2.0, 1.0, 0.5, 5.0) / 4
        Quantity(value=-1.0, sd=0.5, low95=-2.5, high95=-0.25)
        """
        if not _is_number(factor):
            return NotImplemented
        return self.times(factor) if factor >= 0.0 else (-self).times(-factor)

    __rmul__ = __mul__

    def __truediv__(self, divisor: float) -> Quantity:
        return self * (1.0 / divisor) if _is_number(divisor) else NotImplemented

    def plus_independent(self, other: Quantity) -> Quantity:
        """With another quantity added whose error has nothing to do with this one's.

        The arms of the intervals are added in quadrature, as in `by_factor`.

        Examples
        --------
        >>> Quantity(2.0, 3.0, -4.0, 8.0).plus_independent(Quantity(1, 4, -7, 9))
        Quantity(value=3.0, sd=5.0, low95=-7.0, high95=13.0)
        """
        value = self.value + other.value
        return Quantity(
            value,
            float(np.hypot(self.sd, other.sd)),
            value - float(np.hypot(self.value - self.low95, other.value - other.low95)),
            value
            + float(np.hypot(self.high95 - self.value, other.high95 - other.value)),
        )

    def __neg__(self) -> Quantity:
        """With the sign turned.

        Examples
        --------
        >>> -Quantity(2.0, 1.0, 0.5, 5.0)
        Quantity(value=-2.0, sd=1.0, low95=-5.0, high95=-0.5)
        """
        return Quantity(-self.value, self.sd, -self.high95, -self.low95)

    def times(self, factor: float) -> Quantity:
        """Scaled by a positive constant: a change of unit."""
        return Quantity(*(factor * part for part in self._parts()))

    def plus(self, known: float) -> Quantity:
        """With a number added that is known.

        Examples
        --------
        >>> Quantity(2.0, 1.0, 0.5, 5.0).plus(1.0)
        Quantity(value=3.0, sd=1.0, low95=1.5, high95=6.0)
        """
        value, sd, low, high = self._parts()
        return Quantity(value + known, sd, low + known, high + known)

    def by_factor(self, log_sd: float) -> Quantity:
        """Times an independent factor about 1 whose logarithm has a standard deviation.

        The arms of the interval are added in quadrature, each with its own.

        References
        ----------
        Barlow, R. (2003). Asymmetric errors. PHYSTAT2003, WEMT002, section 2 (arms in
        quadrature; from memory).

        Examples
        --------
        >>> wide = Quantity.normal(10.0, 1.0).by_factor(0.5)
        >>> round(wide.sd, 2), round(wide.low95, 1), round(wide.high95, 1)
        (5.1, 3.5, 26.8)
        """
        value, sd, low, high = self._parts()
        ends = np.exp(np.array([-K95, K95]) * log_sd) * value
        low, high = (
            value - float(np.hypot(value - low, value - ends.min())),
            value + float(np.hypot(high - value, ends.max() - value)),
        )
        return Quantity(value, float(np.hypot(sd, value * log_sd)), low, high)

    def through(self, rising: Callable[[float], float], slope: float) -> Quantity:
        """Carried through a rising function whose slope at the value is given."""
        value, _, low, high = self._parts()
        return Quantity(rising(value), abs(slope) * self.sd, rising(low), rising(high))

    def not_below(self, floor: float) -> Quantity:
        """With its interval cut off at a physical bound."""
        value, sd, low, high = self._parts()
        return Quantity(max(value, floor), sd, max(low, floor), max(high, floor))

    @classmethod
    def from_dict(cls, data: Mapping[str, float]) -> Quantity:
        """Read back what `to_dict` gave."""
        return cls(*(float(data[name]) for name in _NAMES))

    def to_dict(self) -> dict[str, float]:
        """As it is written in ``findings.json``."""
        return {n: float(part) for n, part in zip(_NAMES, self._parts(), strict=True)}

    def _parts(self) -> tuple[float, float, float, float]:
        return self.value, self.sd, self.low95, self.high95


def _is_number(value: object) -> bool:
    return isinstance(value, int | float | np.number)
