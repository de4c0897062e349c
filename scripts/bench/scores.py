"""How good an answer is: every figure of the benchmark, each one hand-checkable."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from linings import Cells
from scipy.special import ndtr

from geom.quantity import K95
from geom.units import Bool, Float

#: Bins of the reliability of a stated probability.
BINS = 10


@dataclass(frozen=True)
class Answer:
    """What a method says about the wall, at the middles of the cells asked for.

    Attributes
    ----------
    mean : array (n,), mm
        Cut-back.
    sd : array (n,) or None, mm
        Its standard uncertainty, where the method states one.
    p_brick : array (n,) or None
        Probability that the cut-back exceeds the brick threshold, where the method
        states one itself; else it is taken from mean and sd as a normal variable.
    volume : float or None, mm3
        The method's own rebuild volume; None: it has none but its surface's.
    volume_low, volume_high : float or None, mm3
        Its own 95 % interval.
    volume_range : (low, high) or None, mm
        Heights that its own volume is for, where they are not those of the cells.
    """

    mean: Float
    sd: Float | None = None
    p_brick: Float | None = None
    volume: float | None = None
    volume_low: float | None = None
    volume_high: float | None = None
    volume_range: tuple[float, float] | None = None


def rmse(estimate: Float, true: Float) -> float:
    """Root of the mean squared difference."""
    return float(np.sqrt(np.mean((estimate - true) ** 2)))


def overlap(estimate: Bool, true: Bool) -> float:
    """Intersection over union of two masks; 1 when both are empty."""
    either = int(np.sum(estimate | true))
    return float(np.sum(estimate & true) / either) if either else 1.0


def coverage(mean: Float, sd: Float, true: Float) -> float:
    """Share of true values inside ``mean +- 1.96 sd``."""
    return float(np.mean(np.abs(true - mean) <= K95 * sd))


def interval_score(mean: Float, sd: Float, true: Float) -> float:
    """Mean interval score of the 95 % intervals, in the values' unit; small is good.

    Width plus 2/0.05 times the miss (Gneiting and Raftery, JASA 102 (2007), eq. 43):
    wide intervals and missed ones both cost.
    """
    half = K95 * sd
    miss = np.maximum(np.abs(true - mean) - half, 0.0)
    return float(np.mean(2.0 * half + 40.0 * miss))


def probability_over(threshold: float, mean: Float, sd: Float) -> Float:
    """Probability that normal variables exceed a threshold."""
    return ndtr((mean - threshold) / np.maximum(sd, 1e-9))


def reliability_bins(stated: Float, happened: Bool) -> Float:
    """Sums that the calibration error is made of; they add up over linings.

    Returns
    -------
    array (3, BINS)
        Count, sum of stated probability and number that happened, in equal bins of
        the stated probability.
    """
    which = np.minimum((stated * BINS).astype(int), BINS - 1)
    return np.array(
        [
            np.bincount(which, minlength=BINS),
            np.bincount(which, weights=stated, minlength=BINS),
            np.bincount(which, weights=happened.astype(float), minlength=BINS),
        ],
        dtype=np.float64,
    )


def calibration_error(bins: Float) -> float:
    """Expected calibration error: mean over points of |stated - happened| by bin."""
    count, stated, happened = bins
    return float(np.sum(np.abs(stated - happened)) / np.sum(count))


def expected_volume(cells: Cells, mean: Float, sd: Float) -> float:
    """Expectation of the rebuild volume when each cut-back is a normal variable, mm3.

    ``E[max(X,0)] = m P + s f`` and ``E[max(X,0)^2] = (m^2 + s^2) P + m s f``, with P
    and f the normal distribution and density at m/s.
    """
    s = np.maximum(sd, 1e-9)
    over = ndtr(mean / s)
    dense = np.exp(-0.5 * (mean / s) ** 2) / np.sqrt(2.0 * np.pi)
    first = mean * over + s * dense
    second = (mean**2 + s**2) * over + mean * s * dense
    return float(np.sum(cells.weight * (cells.design_radius * first + 0.5 * second)))


def score(
    answer: Answer, cells: Cells, true: Float, true_volume: float, threshold: float
) -> dict[str, object]:
    """Every figure of one answer about one lining.

    Parameters
    ----------
    answer : Answer
    cells : Cells
        What was asked; points in openings are not scored.
    true : array (n,), mm
        True cut-back at the cells' middles.
    true_volume : float, mm3
        Over the heights that the answer's volume is for.
    threshold : float, mm
        Brick where the cut-back exceeds it.

    Returns
    -------
    dict
        Numbers and, under ``bins``, the sums of the calibration error.  None where
        the method states nothing.
    """
    known = cells.clear & np.isfinite(answer.mean)
    mean, worn = answer.mean[known], true[known]
    brick = worn > threshold
    found: dict[str, object] = {
        "answered": float(known.sum() / cells.clear.sum()),
        "rmse": rmse(mean, worn),
        "bias": float(np.mean(mean - worn)),
        **_volume_scores(answer, cells, true_volume),
    }
    p_brick = None if answer.p_brick is None else answer.p_brick[known]
    if answer.sd is not None:
        sd = answer.sd[known]
        found["coverage"] = coverage(mean, sd, worn)
        found["half_width"] = float(np.mean(K95 * sd))
        found["interval_score"] = interval_score(mean, sd, worn)
        if p_brick is None:
            p_brick = probability_over(threshold, mean, sd)
    called = mean > threshold if answer.p_brick is None else p_brick >= 0.5
    found["overlap"] = overlap(called, brick)
    if p_brick is not None:
        found["brier"] = float(np.mean((p_brick - brick) ** 2))
        found["bins"] = reliability_bins(p_brick, brick).tolist()
    return found


def _volume_scores(
    answer: Answer, cells: Cells, true_volume: float
) -> dict[str, object]:
    """Percent of the true volume, plain (mean plugged in) and as stated."""

    def percent(volume: float) -> float:
        return 100.0 * (volume / true_volume - 1.0)

    known = np.where(np.isfinite(answer.mean), answer.mean, 0.0)
    found: dict[str, object] = {"volume_plain": percent(cells.volume(known))}
    stated = answer.volume
    if stated is None and answer.sd is not None:
        stated = expected_volume(cells, known, np.nan_to_num(answer.sd))
    if stated is not None:
        found["volume_stated"] = percent(stated)
    if answer.volume_low is not None and answer.volume_high is not None:
        inside = answer.volume_low <= true_volume <= answer.volume_high
        found["volume_covered"] = bool(inside)
        found["volume_half_width"] = (
            50.0 * (answer.volume_high - answer.volume_low) / true_volume
        )
    return found
