"""Spectra on explicit wavelength grids, and the tables that all light and matter is computed from.

A `Spectrum` carries its own grid; two of them are combined only after one is put on the other's grid, and beyond its
ends a spectrum is unknown (an error), never silently zero. Tables are read by `irpreview.io.tables`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from irpreview.errors import BadValue
from irpreview.records import Range, Spectrum

Array = NDArray[np.float64]
Mix = Mapping[str, float]
"""Materials and their shares of one patch."""


@dataclass(frozen=True, slots=True)
class SourceRecord:
    """Where a column of numbers comes from."""

    what: str
    who: str
    year: str
    licence: str
    how: str


@dataclass(frozen=True, slots=True, eq=False)
class Material:
    """Reflectance of one kind of surface. Spectra are on the grid of the tables.

    `low`, `likely`, `high`: mean spectra of members around the 5th, 50th and 95th percentile of the infrared lift.
    """

    name: str
    evidence: str
    """measured, model, formula or from memory."""
    members: int
    low: Array
    likely: Array
    high: Array
    visible: Range
    """Reflectance weighted by V(lambda), 0..1."""
    source_id: str


@dataclass(frozen=True, slots=True, eq=False)
class Tables:
    """Everything measured, modelled or assumed that the physics starts from. Compared by identity."""

    wavelength_nm: Array
    """(n,) the common grid."""
    response: Mapping[str, Array]
    """V(lambda), silicon, dyes, measured camera channels, water; (n,) each."""
    materials: Mapping[str, Material]
    extraterrestrial: Array
    """(n,) W/m2/nm."""
    daylight_height_deg: Array
    """(h,) sun heights of the daylight table."""
    daylight_aod: Array
    """(a,) aerosol optical depths at 500 nm of the daylight table."""
    direct: Array
    """(h, a, n) beam on a horizontal surface. [W/m2/nm]"""
    sky: Array
    """(h, a, n) diffuse on a horizontal surface. [W/m2/nm]"""
    sources: Mapping[str, SourceRecord]
    column_source: Mapping[str, str]
    """Column name -> key of `sources`."""


def make_spectrum(
    wavelength_nm: ArrayLike, value: ArrayLike, quantity: str, unit: str = "1", source_id: str = ""
) -> Spectrum:
    """A checked `Spectrum`: rising grid of at least two points, finite values.

    Raises BadValue if the grid does not rise, lengths differ or a value is not a number.
    """
    w = np.array(wavelength_nm, np.float64)
    v = np.array(value, np.float64)
    if w.ndim != 1 or w.shape != v.shape or w.size < 2:
        raise BadValue(
            f"a spectrum of {w.size} wavelengths and {v.size} values; give one value per wavelength, at least two"
        )
    if not np.isfinite(w).all() or not np.isfinite(v).all():
        raise BadValue(f"a {quantity} spectrum holds something that is not a number; every value must be finite")
    if (np.diff(w) <= 0).any():
        at = float(w[int(np.argmax(np.diff(w) <= 0))])
        raise BadValue(f"wavelengths do not rise after {at:g} nm; sort them and keep each once")
    w.setflags(write=False)
    v.setflags(write=False)
    return Spectrum(w, v, quantity, unit, source_id)


def resample(spectrum: Spectrum, wavelength_nm: Array, outside: float | None = None) -> Array:
    """Values of `spectrum` at `wavelength_nm` by linear interpolation, (n,).

    outside: the value beyond the ends of the spectrum; None = refuse. Raises BadValue when refused.
    """
    w = spectrum.wavelength_nm
    if outside is None and (wavelength_nm[0] < w[0] - 1e-9 or wavelength_nm[-1] > w[-1] + 1e-9):
        raise BadValue(
            f"a {spectrum.quantity} spectrum is known from {w[0]:g} to {w[-1]:g} nm, asked from "
            f"{wavelength_nm[0]:g} to {wavelength_nm[-1]:g} nm; extend the curve or ask for less"
        )
    return np.interp(wavelength_nm, w, spectrum.value, left=outside, right=outside).astype(np.float64)


def multiply(a: Spectrum, b: Spectrum, quantity: str = "product") -> Spectrum:
    """A x b on the grid of `a`; `b` must cover it."""
    value = a.value * resample(b, a.wavelength_nm)
    return make_spectrum(a.wavelength_nm, value, quantity, f"{a.unit}*{b.unit}", f"{a.source_id}*{b.source_id}")


def logistic_long_pass(
    wavelength_nm: Array, cut_on_nm: float, *, width_nm: float = 20.0, peak: float = 0.92, leak: float = 0.0
) -> Array:
    """Transmission of a long-pass filter: half of `peak` at the cut-on, 10-90 % within `width_nm` (assumed shape).

    The trade names such a filter by its cut-on; real ones differ by some nanometres and in steepness. `leak` is the
    floor in the visible.
    """
    slope = width_nm / (2.0 * np.log(9.0))
    rise = 1.0 / (1.0 + np.exp(-np.clip((wavelength_nm - cut_on_nm) / slope, -60.0, 60.0)))
    return np.asarray(leak + (peak - leak) * rise, np.float64)


def infrared_cut(wavelength_nm: Array, edge_nm: float, slope_nm: float, floor: float) -> Array:
    """Transmission of an unmodified sensor's infrared-cut: max(0.95 / (1 + exp((w - edge) / slope)), floor), (n,)."""
    fall = 0.95 / (1.0 + np.exp(np.clip((wavelength_nm - edge_nm) / slope_nm, -60.0, 60.0)))
    return np.asarray(np.maximum(fall, floor), np.float64)


def mixture_quantiles(weight: Array, low: Array, likely: Array, high: Array) -> tuple[float, float, float]:
    """5, 50, 95 % of a mixture of two-sided normal parts, each given by its own 5, 50 and 95 %."""
    z95 = 1.6448536
    below = np.maximum((likely - low) / z95, 0.01)
    above = np.maximum((high - likely) / z95, 0.01)
    x = np.linspace(float(low.min()) - 1.0, float(high.max()) + 1.0, 300)
    apart = x[:, None] - likely
    z = np.clip(apart / np.where(apart < 0, below, above), -8.0, 8.0)
    # the normal distribution function by a logistic cubic, within 0.0002 of it
    cdf = (1.0 / (1.0 + np.exp(-z * (1.5976 + 0.07056 * z * z)))) @ (weight / weight.sum())
    q05, q50, q95 = np.interp((0.05, 0.5, 0.95), cdf, x)
    return float(q05), float(q50), float(q95)
