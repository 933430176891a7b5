"""Filter, sensor, diffraction and mirrors: what the kit does to light.

All spectra are arrays on the grid of the tables.
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from irpreview.core.light.spectra import Array, Tables, infrared_cut, logistic_long_pass, resample
from irpreview.errors import BadValue
from irpreview.records import Kit

Roughness = Literal["calm", "wind_rough", "foam"]
ROUGHNESS_WORDS: tuple[Roughness, ...] = ("calm", "wind_rough", "foam")

GREEN_PEAK_QE = 0.50
"""Peak quantum efficiency of the green channel of an unmodified camera (from memory)."""
FOAM_REFLECTANCE = 0.55
"""Reflectance of dense fresh foam, visible; falls by about a tenth at 850 nm (from memory)."""
WAVE_SLOPE_DEG = 11.0
"""Typical slope of a wind-roughened surface at about 5 m/s (from memory of the Cox-Munk slope law)."""


def filter_transmission(kit: Kit, tables: Tables) -> Array:
    """Transmission of the kit's filter, 0..1, (n,). An own curve wins over the cut-on; unknown ends are held flat."""
    if kit.filter_curve is not None:
        curve = kit.filter_curve
        inside = np.clip(tables.wavelength_nm, curve.wavelength_nm[0], curve.wavelength_nm[-1])
        return np.clip(resample(curve, inside), 0.0, 1.0)
    return logistic_long_pass(tables.wavelength_nm, kit.filter_cut_on_nm, leak=kit.filter_leak)


def sensor_infrared_cut(kit: Kit, tables: Tables) -> Array:
    """Transmission of what lies over the sensor, (n,): the infrared cut of an unmodified body, else clear glass."""
    if kit.sensor == "unmodified":
        return infrared_cut(
            tables.wavelength_nm, kit.infrared_cut_edge_nm, kit.infrared_cut_slope_nm, kit.infrared_cut_floor
        )
    return np.full_like(tables.wavelength_nm, 0.95)


def dye_mean(tables: Tables) -> Array:
    """Mean transmission of a red, two green and a blue pixel, (n,): what a black-and-white conversion adds up."""
    r = tables.response
    return np.asarray((r["dye_red"] + 2.0 * r["dye_green"] + r["dye_blue"]) / 4.0, np.float64)


def band_response(kit: Kit, tables: Tables) -> Array:
    """Response of kit and filter per unit of light energy, (n,): photons x silicon x dyes x infrared cut x filter."""
    return np.asarray(
        tables.wavelength_nm
        * tables.response["silicon_qe"]
        * dye_mean(tables)
        * sensor_infrared_cut(kit, tables)
        * filter_transmission(kit, tables),
        np.float64,
    )


def visible_exposure_response(tables: Tables) -> Array:
    """Response of the green channel of an ordinary camera without filter, same units as `band_response`."""
    return np.asarray(tables.wavelength_nm * GREEN_PEAK_QE * tables.response["camera_green"], np.float64)


def effective_wavelength_nm(kit: Kit, tables: Tables, light: Array) -> float:
    """Centroid of what reaches the sensor from a grey surface in `light` (n,). [nm]"""
    signal = light * band_response(kit, tables)
    return float((signal * tables.wavelength_nm).sum() / signal.sum())


def leak_share(kit: Kit, tables: Tables, light: Array) -> float:
    """Visible light (below 650 nm, or 40 nm under an earlier cut-on) that comes through, over the infrared signal."""
    signal = light * band_response(kit, tables)
    visible = tables.wavelength_nm < min(650.0, kit.filter_cut_on_nm - 40.0)
    return float(signal[visible].sum() / signal[~visible].sum())


# --- diffraction ----------------------------------------------------------------------------------------------------


def airy_diameter_um(wavelength_nm: float, f_number: float) -> float:
    """Diameter of the Airy disc to its first dark ring, 2.44 x wavelength x f-number. [um]

    Raises BadValue for a wavelength or f-number that is not positive.
    """
    if not (wavelength_nm > 0 and math.isfinite(wavelength_nm)):
        raise BadValue(f"wavelength {wavelength_nm:g} nm: must be above 0 nm; give 500 to 1100 nm")
    if not (f_number > 0 and math.isfinite(f_number)):
        raise BadValue(f"aperture f/{f_number:g}: must be above 0; give a value such as f/8")
    return 2.44 * wavelength_nm * f_number / 1000.0


# --- mirrors --------------------------------------------------------------------------------------------------------


def fresnel_reflectance(index: ArrayLike, angle_deg: ArrayLike) -> Array:
    """Share of unpolarised light mirrored by a smooth surface, by refractive index and angle from its normal.

    Fresnel equations; broadcasts. Raises BadValue for an angle outside 0..90 degrees.
    """
    n, angle = np.asarray(index, np.float64), np.asarray(angle_deg, np.float64)
    if ((angle < 0) | (angle > 90) | ~np.isfinite(angle)).any():
        bad = float(np.ravel(angle[(angle < 0) | (angle > 90) | ~np.isfinite(angle)])[0])
        raise BadValue(f"angle {bad:g} degrees from the normal: must be 0 to 90 degrees")
    cos_i = np.cos(np.radians(angle))
    cos_t = np.sqrt(1.0 - (np.sin(np.radians(angle)) / n) ** 2)
    s = ((cos_i - n * cos_t) / (cos_i + n * cos_t)) ** 2
    p = ((n * cos_i - cos_t) / (n * cos_i + cos_t)) ** 2
    return np.asarray((s + p) / 2.0, np.float64)


def roughness_of_wind(wind_m_s: float | None) -> Roughness | None:
    """How wind roughens open water: calm to Beaufort 1, wind-rough to 5, foam from 6 (10.8 m/s); None = not known.

    Sea states of the Beaufort scale (WMO, from memory). Raises BadValue for a wind below 0.
    """
    if wind_m_s is None:
        return None
    if not wind_m_s >= 0.0:
        raise BadValue(f"wind {wind_m_s:g} m/s: must be 0 m/s or more")
    if wind_m_s < 1.6:
        return "calm"
    return "wind_rough" if wind_m_s < 10.8 else "foam"


@lru_cache(maxsize=128)
def water_mirror(tables: Tables, view_from_vertical_deg: float, roughness: Roughness) -> tuple[Array, float, float]:
    """How water mirrors: (share mirrored (n,), height of the mirrored sky [degrees], share covered by foam).

    Calm water mirrors at the view angle. Wind tilts the facets that face the viewer: they mirror less, from higher up.
    """
    if roughness not in ROUGHNESS_WORDS:
        raise BadValue(f"water roughness {roughness!r}: must be one of {', '.join(ROUGHNESS_WORDS)}")
    if not 0.0 <= view_from_vertical_deg <= 90.0:
        raise BadValue(f"view angle {view_from_vertical_deg:g} degrees from the vertical: must be 0 to 90 degrees")
    tilt = 0.0 if roughness == "calm" else min(WAVE_SLOPE_DEG, view_from_vertical_deg / 2.0)
    angle = view_from_vertical_deg - tilt
    share = fresnel_reflectance(tables.response["water_index"], angle)
    share.setflags(write=False)
    return share, min(90.0, 90.0 - view_from_vertical_deg + 2.0 * tilt), 0.6 if roughness == "foam" else 0.0
