"""What all table builders share: the wavelength grid, quantile spectra, CSV writing.

The builders run in an environment of their own (see README.md); nothing here is imported by irpreview.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

DATA = Path(__file__).resolve().parents[2] / "irpreview" / "data"
AUTHORITIES = Path(__file__).resolve().parents[1] / "authorities"
WAVELENGTH_NM = np.arange(360.0, 1101.0, 5.0)
SEED = 720


def on_grid(wavelength_nm, value):
    """Linear interpolation onto the grid; ends held. Values between two samples only, never invented peaks."""
    return np.interp(WAVELENGTH_NM, np.asarray(wavelength_nm, float), np.asarray(value, float))


def box_on_grid(wavelength_nm, value, width_nm=5.0):
    """Mean over the 5 nm around each grid point, for sources sampled finer than the grid."""
    fine = np.arange(WAVELENGTH_NM[0] - width_nm / 2, WAVELENGTH_NM[-1] + width_nm / 2 + 0.01, 0.5)
    at = np.interp(fine, wavelength_nm, value)
    out = np.empty_like(WAVELENGTH_NM)
    for i, w in enumerate(WAVELENGTH_NM):
        inside = (fine >= w - width_nm / 2) & (fine <= w + width_nm / 2)
        out[i] = at[inside].mean()
    return out


def write_csv(name, columns, digits=6):
    """A table with the wavelength first; `columns` maps name -> values on the grid."""
    path = DATA / name
    with path.open("w", encoding="utf-8", newline="\n") as file:
        file.write(",".join(["wavelength_nm", *columns]) + "\n")
        for i, w in enumerate(WAVELENGTH_NM):
            cells = [f"{values[i]:.{digits}g}" for values in columns.values()]
            file.write(",".join([f"{w:g}", *cells]) + "\n")
    return path


def tilted(spectrum, stops):
    """The same spectrum with its infrared raised by `stops` over its visible part (smooth step at 690 nm)."""
    step = 1.0 / (1.0 + np.exp(-(WAVELENGTH_NM - 690.0) / 25.0))
    return spectrum * 2.0 ** (stops * step)


def quantile_spectra(members, ratio_stops):
    """Mean spectra of the members around the 5th, 50th and 95th percentile of `ratio_stops`.

    Real members are averaged (not wavelengths sorted one by one), so that a ratio of two bands of the `low`
    spectrum is a low ratio and not a mixture of extremes.
    """
    members = np.asarray(members, float)
    order = np.argsort(ratio_stops, kind="stable")
    n = len(order)
    half = max(0, round(0.04 * n))
    out = []
    for q in (0.05, 0.50, 0.95):
        centre = round(q * (n - 1))
        window = order[max(0, centre - half) : centre + half + 1]
        out.append(members[window].mean(axis=0))
    return out
