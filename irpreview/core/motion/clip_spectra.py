"""Frequencies in short series by least squares with sines: reads two or three cycles without the bias of a window."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from irpreview.records import FloatArray

MOST_SERIES = 64


def _groups(series: FloatArray) -> NDArray[np.float64]:
    """At most 64 series (n, m): neighbours averaged would cancel what is out of step, so evenly picked instead."""
    flat: NDArray[np.float64] = series.reshape(len(series), -1).astype(np.float64)
    if flat.shape[1] > MOST_SERIES:
        flat = flat[:, np.linspace(0, flat.shape[1] - 1, MOST_SERIES).astype(int)]
    return flat


def sine_power(series: FloatArray, fps: float, frequencies_hz: FloatArray) -> FloatArray:
    """Variance that a sine of each frequency explains beside a straight line, mean over series. (len(f),)."""
    y = _groups(series)
    n = len(y)
    t = np.arange(n) / fps
    line = np.stack([np.ones(n), t - t.mean()], axis=1)
    q, _ = np.linalg.qr(line)
    y = y - q @ (q.T @ y)
    power = np.zeros(len(frequencies_hz))
    for i, f in enumerate(frequencies_hz):
        wave = np.stack([np.cos(2.0 * math.pi * f * t), np.sin(2.0 * math.pi * f * t)], axis=1)
        wave -= q @ (q.T @ wave)
        base, r = np.linalg.qr(wave)
        if abs(r[1, 1]) < 1e-9 * max(abs(r[0, 0]), 1e-12):
            base = base[:, :1]
        power[i] = ((base.T @ y) ** 2).sum()
    return np.asarray(power / max(y.size, 1), np.float32)


def peak_frequency(series: FloatArray, fps: float) -> float:
    """Strongest frequency of series (n, ...) sampled at fps. [Hz]"""
    n = len(series)
    length = n / fps
    if n < 4:
        return 0.5 * fps
    lowest, highest = 0.7 / length, 0.5 * fps
    count = int(np.clip(4.0 * length * highest, 16, 600))
    grid = np.linspace(lowest, max(highest, lowest * 1.01), count).astype(np.float32)
    power = sine_power(series, fps, grid)
    k = int(np.argmax(power))
    if 0 < k < count - 1:
        a, b, c = (float(power[j]) for j in (k - 1, k, k + 1))
        bend = a - 2.0 * b + c
        offset = 0.5 * (a - c) / bend if abs(bend) > 1e-30 else 0.0
        return float(grid[k] + np.clip(offset, -0.5, 0.5) * (grid[1] - grid[0]))
    return float(grid[k])


def upper_share(series: FloatArray, fps: float) -> float:
    """Share of the variance above 0.6 of the highest frequency that frames can carry; white noise gives 0.4."""
    y = _groups(series)
    if len(y) < 8:
        return 0.0
    spectrum = (np.abs(np.fft.rfft(y - y.mean(axis=0), axis=0)) ** 2).sum(axis=1)[1:]
    frequency = np.fft.rfftfreq(len(y), 1.0 / fps)[1:]
    total = float(spectrum.sum())
    return float(spectrum[frequency > 0.3 * fps].sum() / total) if total > 0.0 else 0.0
