"""Water: a mirror by view angle and wind, what comes out of it, and foam.

Seen from the shore water shows what stands above it, so its tone follows the sky, the clouds and the far bank.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike

from irpreview.core.light.daylight import angle_from_sun_deg as sun_angle
from irpreview.core.light.daylight import clear_light, light_spectra, sky_radiance, usable_height_deg
from irpreview.core.light.optics import FOAM_REFLECTANCE, Roughness, band_response, water_mirror
from irpreview.core.light.spectra import Array, Mix, Tables, mixture_quantiles
from irpreview.errors import BadValue
from irpreview.records import Kit, Light, Range, SkyState, SunSide

MIRRORED = ("sky", "cloud", "tree", "structure")
_MIRRORED_MIX: Mapping[str, Mix] = MappingProxyType(
    {
        "cloud": {"cloud": 1.0},
        "tree": {"broadleaf": 0.6, "conifer_stand": 0.3, "bark": 0.1},
        "structure": {"concrete": 0.4, "limestone": 0.3, "paint": 0.3},
    }
)


def water_radiance(
    kit: Kit,
    light: Light,
    tables: Tables,
    *,
    roughness: Roughness = "calm",
    view_from_vertical_deg: float = 75.0,
    mirrored: str = "sky",
    turbid: bool = False,
) -> tuple[float, float]:
    """(visible, band) luminance of water against matt white in the same light, linear.

    Mirror (Fresnel at the view angle) of what stands above it, plus what comes out of the water, plus foam.
    Raises BadValue for a word, an angle or a light that makes no sense.
    """
    radiance, white = _water_spectrum(light, tables, roughness, view_from_vertical_deg, mirrored, turbid)
    v, b = tables.response["v_lambda"], band_response(kit, tables)
    return float((radiance @ v) / (white @ v)), float((radiance @ b) / (white @ b))


def _water_spectrum(
    light: Light, tables: Tables, roughness: Roughness, view_from_vertical_deg: float, mirrored: str, turbid: bool
) -> tuple[Array, Array]:
    """(radiance of the water, radiance of matt white in the same light), (n,) each."""
    if mirrored not in MIRRORED:
        raise BadValue(f"mirrored {mirrored!r}: must be one of {', '.join(MIRRORED)}")
    share, sky_height, foam = water_mirror(tables, view_from_vertical_deg, roughness)
    direct, sky = light_spectra(light, tables)
    white = (direct + sky) / np.pi
    if mirrored == "sky" and light.sky_state != "overcast":
        sun = usable_height_deg(light)
        bearing = {"ahead": 40.0, "side": 90.0, "behind_camera": 140.0, "unknown": 90.0}[light.sun_side]
        angle = sun_angle(sun, bearing, sky_height)
        above = sky_radiance(tables, sun, light.haze_aod, angle, sky_height)
        if light.sun_height_deg <= 0.0:  # twilight: the shape of the lowest sky, dimmed like its light
            above = above * (sky.sum() / clear_light(tables, round(sun, 2), round(light.haze_aod, 3))[1].sum())
        if light.sky_state == "thin_cloud":
            above = 0.5 * above + 0.5 * sky / np.pi
    elif mirrored == "sky":
        above = sky / np.pi
    else:
        above = white * sum(s * tables.materials[m].likely for m, s in _MIRRORED_MIX[mirrored].items())
    leaving = tables.materials["water_turbid" if turbid else "water_clear"].likely
    radiance = share * above + (1.0 - share) * leaving * white
    grey = FOAM_REFLECTANCE * (1.0 - 0.1 * np.clip((tables.wavelength_nm - 650.0) / 200.0, 0.0, 2.0))
    radiance = (1.0 - foam) * radiance + foam * grey * white
    return radiance, white


def water_factor(
    kit: Kit,
    light: Light,
    tables: Tables,
    *,
    roughness: Roughness = "calm",
    view_from_vertical_deg: float = 75.0,
    mirrored: str = "sky",
    turbid: bool = False,
) -> Range:
    """Factor of water seen in one way. [stops] The spread is haze, sediment and waves within that way (assumed)."""
    visible, band = water_radiance(
        kit, light, tables, roughness=roughness, view_from_vertical_deg=view_from_vertical_deg, mirrored=mirrored,
        turbid=turbid,
    )  # fmt: skip
    likely = float(np.log2(band / visible))
    spread = 0.25 if light.sky_state == "overcast" or roughness == "foam" else 0.6
    return Range(likely - spread, likely, likely + spread)


_VIEW_NODES_DEG = np.array([0.0, 30.0, 45.0, 60.0, 70.0, 76.0, 81.0, 85.0, 88.0, 89.5])


def water_signal_by_view(
    kit: Kit, light: Light, tables: Tables, view_from_vertical_deg: ArrayLike, roughness: Roughness
) -> tuple[Array, Array]:
    """(visible, band) luminance of clear water against white by view angle, for each of `MIRRORED`: (4, ...) each.

    Mixtures of what is mirrored are mixed in these, not in stops. Raises BadValue without daylight.
    """
    view = np.asarray(view_from_vertical_deg, np.float64)
    if light.direct is None or light.sky is None:
        seen, white = _view_table(
            tables, round(light.sun_height_deg, 1), round(light.haze_aod, 3), light.sky_state, light.sun_side, roughness
        )
    else:
        seen, white = _view_spectra(light, tables, roughness)
    response = np.array([tables.response["v_lambda"], band_response(kit, tables)]).T
    at_nodes = np.log2((seen @ response) / (white @ response))  # (4, nodes, 2)
    out = [np.stack([np.exp2(np.interp(view, _VIEW_NODES_DEG, row[:, k])) for row in at_nodes]) for k in (0, 1)]
    return out[0], out[1]


@lru_cache(maxsize=64)
def _view_table(
    tables: Tables, sun_deg: float, aod: float, sky_state: SkyState, side: SunSide, roughness: Roughness
) -> tuple[Array, Array]:
    light = Light(sun_height_deg=sun_deg, haze_aod=aod, sky_state=sky_state, sun_side=side)
    return _view_spectra(light, tables, roughness)


def _view_spectra(light: Light, tables: Tables, roughness: Roughness) -> tuple[Array, Array]:
    """(radiance (4, nodes, n), white (n,))."""
    seen = [
        [_water_spectrum(light, tables, roughness, float(view), mirrored, False) for view in _VIEW_NODES_DEG]
        for mirrored in MIRRORED
    ]
    return np.array([[radiance for radiance, _ in row] for row in seen]), seen[0][0][1]


# How often water in a landscape is seen in which way: (weight, view, roughness, mirrored, turbid) [assumption]. From
# eye height on the shore the view is glancing: 81 degrees from the vertical at 10 m, 88 at 50 m.
_WATER_WAYS: tuple[tuple[float, float, Roughness, str, bool], ...] = (
    (0.14, 86.0, "calm", "sky", False),
    (0.16, 80.0, "calm", "sky", False),
    (0.08, 70.0, "calm", "sky", False),
    (0.08, 84.0, "wind_rough", "sky", False),
    (0.17, 78.0, "wind_rough", "sky", False),
    (0.12, 78.0, "wind_rough", "sky", True),
    (0.10, 82.0, "calm", "cloud", False),
    (0.07, 80.0, "calm", "structure", False),
    (0.05, 80.0, "calm", "tree", False),
    (0.03, 75.0, "foam", "sky", False),
)
_WATER_WEIGHT = np.array([way[0] for way in _WATER_WAYS])


def _water_ways(response: Array, light: Light, tables: Tables) -> Array:
    """Signal of water against white under one response, over the ways water is seen, (ways,)."""
    if light.direct is None or light.sky is None:
        radiance, white = _water_table(
            tables, round(light.sun_height_deg, 1), round(light.haze_aod, 3), light.sky_state, light.sun_side
        )
    else:
        radiance, white = _water_spectra(light, tables)
    return np.asarray((radiance @ response) / (white @ response), np.float64)


@lru_cache(maxsize=64)
def _water_table(tables: Tables, sun_deg: float, aod: float, sky_state: SkyState, side: SunSide) -> tuple[Array, Array]:
    light = Light(sun_height_deg=sun_deg, haze_aod=aod, sky_state=sky_state, sun_side=side)
    return _water_spectra(light, tables)


def _water_spectra(light: Light, tables: Tables) -> tuple[Array, Array]:
    """(radiance (ways, n), white (n,))."""
    seen = [
        _water_spectrum(light, tables, roughness, view, mirrored, turbid)
        for _, view, roughness, mirrored, turbid in _WATER_WAYS
    ]
    return np.array([radiance for radiance, _ in seen]), seen[0][1]


def water_class_factor(kit: Kit, light: Light, tables: Tables, roughness: Roughness | None) -> Range:
    """Factor of water seen in all the ways of a landscape, or in those of one roughness. [stops]"""
    visible = _water_ways(tables.response["v_lambda"], light, tables)
    stops = np.log2(_water_ways(band_response(kit, tables), light, tables) / visible)
    seen = np.array([roughness is None or way[2] == roughness for way in _WATER_WAYS])
    stops = stops[seen]
    return Range(*mixture_quantiles(_WATER_WEIGHT[seen], stops - 0.4, stops, stops + 0.4))


def water_visible(light: Light, tables: Tables) -> Range:
    """Luminance of water against horizontal matt white in the same light, over all ways it is seen."""
    stops = np.log2(_water_ways(tables.response["v_lambda"], light, tables))
    return Range(*(float(2.0**q) for q in mixture_quantiles(_WATER_WEIGHT, stops - 0.6, stops, stops + 0.6)))
