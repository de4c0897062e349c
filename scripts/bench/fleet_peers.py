"""What else a person could use, on the fleet's readings: settings chosen by them.

Thin plate spline (scipy), Gaussian process (scikit-learn), spline (Verde), end areas by
hand.  Each knows the bore and that the wall closes on itself.
"""

from __future__ import annotations

import warnings
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

Float = NDArray[np.float64]


class Flat:
    """The wall unrolled at a bore, with copies of the readings beyond the seam."""

    def __init__(self, radius: float, at: Float, up: Float, value: Float) -> None:
        self.radius, self.at, self.up, self.value = radius, at, up, value
        n = np.arange(at.size)
        before, after = n[at > 240.0], n[at < 120.0]
        self.index = np.concatenate([n, before, after])
        lap = np.repeat([0.0, -360.0, 360.0], [n.size, before.size, after.size])
        self.x = np.deg2rad(at[self.index] + lap) * radius

    def folds(self, count: int = 8) -> list[NDArray[np.bool_]]:
        """Held-out parts of the readings."""
        which = np.random.default_rng(1).permutation(self.at.size) % count
        return [which == k for k in range(count)]


def _choose(
    flat: Flat,
    settings: list[tuple[float, float]],
    fit: Callable[[tuple[float, float], Float, Float, Float], Callable[..., Float]],
) -> Callable[..., Float]:
    def loss(setting: tuple[float, float]) -> float:
        total = 0.0
        for out in flat.folds():
            kept = ~out[flat.index]
            index = flat.index[kept]
            model = fit(setting, flat.x[kept], flat.up[index], flat.value[index])
            guess = model(np.deg2rad(flat.at[out]) * flat.radius, flat.up[out])
            total += float(np.sum((guess - flat.value[out]) ** 2))
        return total

    best = min(settings, key=loss) if len(settings) > 1 else settings[0]
    return fit(best, flat.x, flat.up[flat.index], flat.value[flat.index])


def thin_plate(flat: Flat, at: Float, up: Float) -> Float:
    """RBFInterpolator of scipy; smoothing and stretch by cross-validation."""
    from scipy.interpolate import RBFInterpolator

    def fit(
        setting: tuple[float, float], x: Float, h: Float, y: Float
    ) -> Callable[..., Float]:
        smoothing, stretch = setting
        spline = RBFInterpolator(
            np.column_stack([x, stretch * h]) / 100.0, y, smoothing=smoothing
        )
        return lambda u, v: spline(np.column_stack([u, stretch * v]) / 100.0)

    settings = [(s, k) for k in (1.0, 2.0) for s in (0.0, 0.1, 1.0, 10.0)]
    return _choose(flat, settings, fit)(np.deg2rad(at) * flat.radius, up)


def verde_spline(flat: Flat, at: Float, up: Float) -> Float:
    """Spline of Verde; damping by cross-validation."""
    import verde

    def fit(
        setting: tuple[float, float], x: Float, h: Float, y: Float
    ) -> Callable[..., Float]:
        spline = verde.Spline(damping=setting[0]).fit((x, h), y)
        return lambda u, v: np.asarray(spline.predict((u, v)))

    settings = [(d, 1.0) for d in (1e-8, 1e-6, 1e-4, 1e-2)]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return _choose(flat, settings, fit)(np.deg2rad(at) * flat.radius, up)


def gaussian_process(
    flat: Flat, noise: float, at: Float, up: Float
) -> tuple[Float, Float]:
    """scikit-learn's, on (cos, sin, height): mean and sd."""
    from sklearn.gaussian_process import GaussianProcessRegressor
    from sklearn.gaussian_process.kernels import ConstantKernel, Matern, WhiteKernel

    def features(azimuth: Float, height: Float) -> Float:
        angle, part = np.deg2rad(azimuth), flat.radius / 100.0
        return np.column_stack(
            [part * np.cos(angle), part * np.sin(angle), height / 100.0]
        )

    stated = noise**2 / max(float(np.var(flat.value)), 0.25 * noise**2)
    kernel = ConstantKernel(1.0, (0.1, 30.0)) * Matern(
        [3.0, 3.0, 1.5], (0.3, 100.0), nu=1.5
    ) + WhiteKernel(stated, (0.5 * stated, 2.0 * stated))
    model = GaussianProcessRegressor(
        kernel, normalize_y=True, n_restarts_optimizer=1, random_state=0
    )
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        model.fit(features(flat.at, flat.up), flat.value)
        mean, sd = model.predict(features(at, up), return_std=True)
    white = float(model.kernel_.k2.noise_level) * float(np.var(flat.value))
    return mean, np.sqrt(np.maximum(sd**2 - white, 0.0025 * noise**2))


def end_areas(flat: Flat, at: Float, up: Float) -> Float:
    """By hand: the mean cut-back of each row, straight in between."""
    rows = np.unique(flat.up)
    mean = np.array([flat.value[flat.up == row].mean() for row in rows])
    return np.interp(up, rows, mean) + 0.0 * at
