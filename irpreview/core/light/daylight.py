"""Daylight: where the sun stands, what it and the sky send, and how the sky darkens in the band.

Clear skies come from SPECTRL2 (Bird & Riordan 1984): baked on a grid for any sun height and haze, or run by pvlib for a
given place and time where that is asked for. Below 10 degrees of sun height that model leaves its comfortable range.
Overcast is a stated approximation.
"""

from __future__ import annotations

import importlib
import importlib.machinery
import importlib.util
import sys
from collections.abc import Sequence
from datetime import datetime
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from irpreview.core.light.spectra import Array, Tables, make_spectrum, resample
from irpreview.errors import BadValue
from irpreview.records import Light, LightBy, LightKnown, Place, SkyState, Spectrum, SunSide

HAZE_AOD = {"clear": 0.05, "normal": 0.1, "hazy": 0.3, "unknown": 0.1}
"""Aerosol optical depth at 500 nm for a word (assumption: clean air, ordinary summer day, visible haze)."""
NO_LIGHT_BELOW_DEG = -6.0
"""End of civil twilight: below it there is no daylight to plan with."""
LOWEST_TABLE_DEG = 1.0
LUMENS_PER_WATT = 683.0
CLOUD_PASSES = 0.25
"""Share of the clear global light that an overcast passes (assumption: 0.1-0.4 in the literature, from memory)."""

AEROSOL_ALBEDO, AEROSOL_FORWARD, ANGSTROM = 0.945, 0.65, 1.14
"""Single-scattering albedo, asymmetry and wavelength exponent of the haze (rural aerosol as in SPECTRL2)."""


_NODES_UM = np.geomspace(0.36, 1.1, 30)
_GAUSS = np.polynomial.legendre.leggauss(8)


# --- the sun --------------------------------------------------------------------------------------------------------


def check_place(place: Place) -> None:
    """Raises BadValue for a latitude, longitude or altitude that does not exist."""
    for value, name, low, high, unit in (
        (place.latitude_deg, "latitude", -90.0, 90.0, "degrees"),
        (place.longitude_deg, "longitude", -180.0, 180.0, "degrees"),
        (place.altitude_m, "altitude", -450.0, 9000.0, "m"),
    ):
        if not low <= value <= high:
            raise BadValue(f"{name} {value:g} {unit}: must be {low:g} to {high:g} {unit}; check the sign and the order")


def check_time(when: datetime) -> None:
    """Raises BadValue for a time without a zone."""
    if when.tzinfo is None or when.utcoffset() is None:
        raise BadValue(f"time {when.isoformat()} has no zone, so the sun cannot be placed; add one, such as +02:00")


def sun_positions(place: Place, times: Sequence[datetime]) -> tuple[Array, Array]:
    """Apparent height above the horizon and bearing (degrees true) of the sun, (t,) each.

    NREL SPA (Reda & Andreas 2004) as in pvlib, with refraction; about 0.001 degree. Raises BadValue.
    """
    check_place(place)
    for when in times:
        check_time(when)
    if not times:
        return np.zeros(0), np.zeros(0)
    answer = _spa().solar_position(
        np.array([when.timestamp() for when in times]),
        place.latitude_deg,
        place.longitude_deg,
        place.altitude_m,
        pressure_hpa(place.altitude_m),
        12.0,
        np.array([_delta_t_s(when.year, when.month) for when in times]),
        0.5667,
        1,
    )
    return np.asarray(answer[2], np.float64), np.asarray(answer[4], np.float64) % 360.0


@lru_cache(maxsize=128)
def _delta_t_s(year: int, month: int) -> float:
    """Earth's clock behind the even one, the same all month. [s]"""
    return float(_spa().calculate_deltat(year, month))


def pressure_hpa(altitude_m: float) -> float:
    """Air pressure of the standard atmosphere at an altitude. [hPa]"""
    return float(((44331.514 - altitude_m) / 11880.516) ** (1.0 / 0.1902632))


@lru_cache(maxsize=1)
def _spa() -> Any:
    """Pvlib's SPA. That module needs numpy alone, but importing the package around it costs more than a second of
    pandas and scipy, which a snap with a place and time would pay; so the module is loaded by itself.
    """
    if "pvlib" not in sys.modules:
        package = importlib.util.find_spec("pvlib")
        for folder in (package.submodule_search_locations or ()) if package else ():
            found = importlib.machinery.PathFinder.find_spec("spa", [folder])
            if found is not None and found.loader is not None:
                module = importlib.util.module_from_spec(found)
                found.loader.exec_module(module)
                return module
    return importlib.import_module("pvlib.spa")


def sun_position(place: Place, when: datetime) -> tuple[float, float]:
    """(height above the horizon, bearing) of the sun. [degrees, degrees true] Raises BadValue."""
    height, bearing = sun_positions(place, [when])
    return float(height[0]), float(bearing[0])


def sun_side(sun_bearing_deg: float | None, heading_deg: float | None) -> SunSide:
    """Where the sun stands to the view: within 45 degrees of it `ahead`, beyond 135 `behind_camera`, else `side`."""
    if sun_bearing_deg is None or heading_deg is None:
        return "unknown"
    apart = abs((sun_bearing_deg - heading_deg + 180.0) % 360.0 - 180.0)
    if apart < 45.0:
        return "ahead"
    return "behind_camera" if apart > 135.0 else "side"


def haze_aod(haze: str | float) -> float:
    """Aerosol optical depth at 500 nm from a word or a number. Raises BadValue."""
    if isinstance(haze, str):
        if haze not in HAZE_AOD:
            raise BadValue(f"haze {haze!r}: must be one of {', '.join(HAZE_AOD)} or an optical depth 0 to 1")
        return HAZE_AOD[haze]
    if not 0.0 <= haze <= 1.0:
        raise BadValue(f"haze {haze:g} (aerosol optical depth at 500 nm): must be 0 to 1; 0.1 is an ordinary day")
    return float(haze)


def light_for(
    place: Place,
    when: datetime,
    heading_deg: float | None = None,
    haze: str | float = "unknown",
    sky_state: SkyState = "clear",
    *,
    planned: bool = False,
    exact: bool = False,
) -> Light:
    """The light at a place and time.

    Its spectra are taken from the baked clear sky for its height and haze when they are needed (`light_spectra`).
    exact: run SPECTRL2 for this very altitude and day and keep its spectra in the `Light`; differs by some hundredths
    of a stop and loads pvlib. A sun below the horizon gives a `Light` with its (negative) height; whoever needs light
    from it refuses when it stands below -6 degrees. Raises BadValue for a place, time, heading, haze or sky that makes
    no sense.
    """
    aod = haze_aod(haze)
    if heading_deg is not None and not np.isfinite(heading_deg):
        raise BadValue(f"heading {heading_deg:g} degrees: must be a number; give degrees true, 0 = north, 90 = east")
    if sky_state not in ("clear", "thin_cloud", "broken", "overcast", "unknown"):
        raise BadValue(f"sky {sky_state!r}: must be clear, thin_cloud, broken, overcast or unknown")
    height, bearing = sun_position(place, when)
    direct: Spectrum | None = None
    sky: Spectrum | None = None
    if exact and height >= LOWEST_TABLE_DEG:
        w, beam, diffuse = _spectrl2(
            round(height, 2), round(aod, 3), round(place.altitude_m, -1), when.timetuple().tm_yday
        )
        beam, diffuse = under_sky(beam, diffuse, sky_state)
        direct = make_spectrum(w, beam, "direct irradiance on a horizontal surface", "W/m2/nm", "daylight")
        sky = make_spectrum(w, diffuse, "diffuse irradiance on a horizontal surface", "W/m2/nm", "daylight")
    return Light(
        sun_height_deg=height,
        sun_bearing_deg=bearing,
        sun_side=sun_side(bearing, heading_deg),
        direct=direct,
        sky=sky,
        haze_aod=aod,
        sky_state=sky_state,
        planned=planned,
        known=LightKnown(LightBy.PLACE_AND_TIME, haze),
    )


@lru_cache(maxsize=64)
def _spectrl2(height_deg: float, aod: float, altitude_m: float, day: int) -> tuple[Array, Array, Array]:
    """(wavelength, direct, diffuse) on a horizontal surface, 300-1200 nm, by pvlib."""
    # a second of pandas and scipy, which only a haze off the grid needs
    from pvlib.atmosphere import get_relative_airmass  # noqa: PLC0415
    from pvlib.spectrum import spectrl2  # noqa: PLC0415

    zenith = 90.0 - height_deg
    airmass = float(get_relative_airmass(zenith, model="kasten1966"))
    s = spectrl2(zenith, zenith, 0.0, 0.2, 100.0 * pressure_hpa(altitude_m), airmass, 1.5, 0.33, aod, dayofyear=day)
    w = np.asarray(s["wavelength"], np.float64)
    keep = w <= 1200.0
    return w[keep], np.ravel(s["poa_direct"])[keep], np.ravel(s["poa_sky_diffuse"])[keep]


def under_sky(direct: Array, sky: Array, sky_state: SkyState) -> tuple[Array, Array]:
    """Clear-sky (direct, sky) changed for cloud [approximation]

    Thin cloud takes half of the beam and gives most of it back from the sky, without colour. Overcast passes a quarter
    of the clear global light, all of it from the sky, without colour.
    """
    if sky_state == "overcast":
        return np.zeros_like(direct), CLOUD_PASSES * (direct + sky)
    if sky_state == "thin_cloud":
        return 0.5 * direct, sky + 0.35 * direct
    return direct, sky


# --- light on the grid of the tables --------------------------------------------------------------------------------


def usable_height_deg(light: Light) -> float:
    """Sun height to compute with, at least 1 degree. Raises BadValue when there is no daylight."""
    height = light.sun_height_deg
    if not -90.0 <= height <= 90.0:
        raise BadValue(f"sun height {height:g} degrees: must be -90 to 90 degrees")
    if height < NO_LIGHT_BELOW_DEG:
        raise BadValue(
            f"the sun is {-height:.1f} degrees below the horizon: no daylight below -6 degrees; "
            "choose a time between dawn and dusk"
        )
    return max(height, LOWEST_TABLE_DEG)


def light_spectra(light: Light, tables: Tables) -> tuple[Array, Array]:
    """(direct, sky) on a horizontal surface, (n,) each, on the grid of the tables. [W/m2/nm]

    The light's own spectra where it has them, else the baked clear sky for its height and haze under its sky state.
    Twilight keeps the shape of the lowest sky and loses the beam. Raises BadValue when there is no daylight.
    """
    height = usable_height_deg(light)
    if light.direct is not None and light.sky is not None:
        w = tables.wavelength_nm
        return resample(light.direct, w, 0.0), resample(light.sky, w, 0.0)
    direct, sky = clear_light(tables, round(height, 2), round(light.haze_aod, 3))
    if light.sun_height_deg <= 0.0:
        # civil twilight: skylight only; its illuminance falls to a two-hundredth at -6 degrees (from memory)
        return np.zeros_like(direct), sky * 2.0 ** (1.3 * light.sun_height_deg)
    return under_sky(direct, sky, light.sky_state)


@lru_cache(maxsize=256)
def clear_light(tables: Tables, height_deg: float, aod: float) -> tuple[Array, Array]:
    """Baked clear (direct, sky), (n,) each: log-linear between sun heights, even between haze steps."""
    x = np.log(tables.daylight_height_deg)
    h, hf = _place_on(x, float(np.log(max(height_deg, tables.daylight_height_deg[0]))))
    a, af = _place_on(tables.daylight_aod, aod)
    # the beam falls off as exp(-haze), the diffuse light rises about evenly with it
    beam = np.log(np.maximum(tables.direct[h : h + 2, a : a + 2], 1e-12))
    diffuse = tables.sky[h : h + 2, a : a + 2]
    rows = (
        beam[:, 0] * (1 - af) + beam[:, 1] * af,
        np.log(np.maximum(diffuse[:, 0] * (1 - af) + diffuse[:, 1] * af, 1e-12)),
    )
    out = [np.exp(row[0] * (1 - hf) + row[1] * hf) for row in rows]
    for value in out:
        value.setflags(write=False)
    return out[0], out[1]


def _place_on(grid: Array, value: float) -> tuple[int, float]:
    """Left neighbour and share towards the right one; ends are held."""
    value = min(max(value, float(grid[0])), float(grid[-1]))
    i = min(int(np.searchsorted(grid, value, side="right")) - 1, grid.size - 2)
    return i, float((value - grid[i]) / (grid[i + 1] - grid[i]))


def illuminance_lx(light: Light, tables: Tables) -> float:
    """Illuminance on a horizontal surface, 683 x V(lambda)-weighted irradiance. [lx]"""
    direct, sky = light_spectra(light, tables)
    step = float(tables.wavelength_nm[1] - tables.wavelength_nm[0])
    return float(LUMENS_PER_WATT * ((direct + sky) * tables.response["v_lambda"]).sum() * step)


# --- the blue sky ---------------------------------------------------------------------------------------------------


def sky_radiance(
    tables: Tables, sun_height_deg: float, aod: float, angle_from_sun_deg: ArrayLike, height_deg: ArrayLike
) -> Array:
    """Radiance of the clear sky in given directions, (..., n). [W/m2/sr/nm]

    Single scattering by air (Rayleigh) and haze (Henyey-Greenstein, g 0.65), rescaled per wavelength so that its
    hemisphere integral is the diffuse light of SPECTRL2; mixed with an even sky where haze times air mass is large and
    single scattering would fail (assumed share). angle_from_sun_deg and height_deg broadcast.
    """
    if np.ndim(angle_from_sun_deg) == 0 and np.ndim(height_deg) == 0:
        return _sky_radiance_at(
            tables,
            round(sun_height_deg, 1),
            round(aod, 3),
            round(float(np.asarray(angle_from_sun_deg)), 1),
            round(float(np.asarray(height_deg)), 1),
        )
    return _sky_radiance(tables, sun_height_deg, aod, angle_from_sun_deg, height_deg)


@lru_cache(maxsize=256)
def _sky_radiance_at(tables: Tables, sun_height_deg: float, aod: float, angle_deg: float, height_deg: float) -> Array:
    return _sky_radiance(tables, sun_height_deg, aod, angle_deg, height_deg)


def _sky_radiance(
    tables: Tables, sun_height_deg: float, aod: float, angle_from_sun_deg: ArrayLike, height_deg: ArrayLike
) -> Array:
    angle, height = np.broadcast_arrays(np.asarray(angle_from_sun_deg, np.float64), np.asarray(height_deg, np.float64))
    sun = round(max(sun_height_deg, LOWEST_TABLE_DEG), 1)
    rescale, mean, even = _sky_scale(tables, sun, round(aod, 3))
    single = _single_scattering(sun, aod, np.cos(np.radians(angle)), np.sin(np.radians(height)))
    return np.asarray((1.0 - even) * (single @ _from_nodes(tables)) * rescale + even * mean, np.float64)


@lru_cache(maxsize=2)
def _from_nodes(tables: Tables) -> Array:
    """(k, n) weights that carry values at `_NODES_UM` to the grid of the tables, straight lines in between."""
    um = tables.wavelength_nm / 1000.0
    return np.array([np.interp(um, _NODES_UM, row) for row in np.eye(_NODES_UM.size)])


def _single_scattering(sun_deg: float, aod: float, cos_angle: Array, sin_height: Array) -> Array:
    """Shape of the sky's radiance over directions at `_NODES_UM`, (..., k), for sunlight of 1 outside the air.

    It is smooth over wavelength, so some nodes carry it within 0.3 %; what is not smooth (sunlight, absorption bands)
    comes back with the rescaling to SPECTRL2's diffuse light.
    """
    um = _NODES_UM
    air = 0.008569 * um**-4 * (1.0 + 0.0113 * um**-2 + 0.00013 * um**-4)
    haze = aod * (um / 0.5) ** -ANGSTROM
    depth = air + haze
    c, g = cos_angle[..., None], AEROSOL_FORWARD
    by_air = 0.75 * (1.0 + c * c)
    by_haze = AEROSOL_ALBEDO * (1.0 - g * g) / (1.0 + g * g - 2.0 * g * c) ** 1.5
    mu0 = float(np.sin(np.radians(sun_deg)))
    mu = np.maximum(sin_height, 0.01)[..., None]
    mu = np.where(np.abs(mu - mu0) < 1e-4, mu0 + 1e-4, mu)
    path = mu0 / (mu0 - mu) * (np.exp(-depth / mu0) - np.exp(-depth / mu))
    return np.asarray((by_air * (air / depth) + by_haze * (haze / depth)) * path / (4.0 * np.pi), np.float64)


@lru_cache(maxsize=64)
def _sky_scale(tables: Tables, sun_deg: float, aod: float) -> tuple[Array, Array, float]:
    """(rescale per wavelength, mean radiance, share of an even sky) for one sun height and haze."""
    mu, dmu = (_GAUSS[0] + 1.0) / 2.0, _GAUSS[1] / 2.0
    azimuth = (np.arange(12) + 0.5) / 12.0 * np.pi
    mu0 = np.sin(np.radians(sun_deg))
    cos_angle = mu[:, None] * mu0 + np.sqrt(1 - mu[:, None] ** 2) * np.sqrt(1 - mu0**2) * np.cos(azimuth)
    shape = _single_scattering(sun_deg, aod, cos_angle, np.broadcast_to(mu[:, None], cos_angle.shape))
    flux = np.einsum("i,ijn->n", dmu * mu, shape) * (2.0 * np.pi / azimuth.size)
    _, diffuse = clear_light(tables, sun_deg, aod)
    airmass = 1.0 / (mu0 + 0.50572 * (sun_deg + 6.07995) ** -1.6364)
    even = 1.0 - float(np.exp(-max(0.0, aod * airmass - 0.15)))
    return diffuse / (flux @ _from_nodes(tables)), diffuse / np.pi, even


def angle_from_sun_deg(
    sun_height_deg: float, bearing_from_sun_deg: ArrayLike, height_deg: ArrayLike
) -> NDArray[np.float64]:
    """Angle between the sun and a direction given by its bearing from the sun and its height. [degrees]"""
    s, h = np.radians(sun_height_deg), np.radians(np.asarray(height_deg, np.float64))
    b = np.radians(np.asarray(bearing_from_sun_deg, np.float64))
    cosine = np.sin(s) * np.sin(h) + np.cos(s) * np.cos(h) * np.cos(b)
    return np.asarray(np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0))), np.float64)
