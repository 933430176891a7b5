"""What kinds of surface look like in the band: class factors, sky, water, shade.

A factor is log2(band signal / visible luminance) against a matt white surface in the same light, in stops: 0 for white
and grey, above 0 for what glows in infrared. A scene class is a mixture of sub-kinds, each a mixture of materials;
its Range is the 5, 50 and 95 % point of that mixture, widened by what is not known of the kit.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import lru_cache
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike

from irpreview.core.light.daylight import angle_from_sun_deg as sun_angle
from irpreview.core.light.daylight import clear_light, light_spectra, sky_radiance, usable_height_deg
from irpreview.core.light.optics import Roughness, band_response
from irpreview.core.light.spectra import Array, Mix, Tables, mixture_quantiles
from irpreview.core.light.water_surface import water_class_factor, water_visible
from irpreview.records import CLASS_NAMES, Kit, Light, Range, SunSide

# Each class: (how often, mixture of materials seen together in one patch). Shares are assumptions. Foliage is
# never pure leaf: wood, litter and dark gaps lie between, which keeps the lift near the 2.4-2.9 stops of real pixels
# seen by satellite instead of the 3.1-3.4 of a dense model canopy.
CLASS_MIX: Mapping[str, tuple[tuple[float, Mix], ...]] = MappingProxyType(
    {
        "cloud": ((1.0, {"cloud": 1.0}),),  # its factor: `_cloud_factor`
        "tree": (
            (0.48, {"broadleaf": 0.85, "bark": 0.15}),
            (0.22, {"conifer_stand": 0.95, "bark": 0.05}),
            (0.12, {"conifer_needles": 0.9, "bark": 0.1}),
            (0.12, {"autumn_leaves": 0.85, "bark": 0.15}),
            (0.06, {"bark": 0.6, "litter": 0.25, "conifer_stand": 0.15}),
        ),
        "grass": (
            (0.60, {"grass_fresh": 0.9, "soil": 0.1}),
            (0.24, {"grass_half_dry": 0.9, "soil": 0.1}),
            (0.11, {"grass_golden": 1.0}),
            (0.05, {"litter": 0.7, "grass_fresh": 0.3}),
        ),
        "structure": (
            (0.16, {"concrete": 1.0}),
            (0.22, {"paint": 1.0}),
            (0.10, {"limestone": 1.0}),
            (0.12, {"granite": 0.6, "sandstone": 0.4}),
            (0.15, {"brick": 1.0}),
            (0.07, {"red_tile": 1.0}),
            (0.06, {"roof_shingle": 1.0}),
            (0.03, {"metal": 1.0}),
            (0.06, {"weathered_wood": 1.0}),
            (0.03, {"slate": 1.0}),
        ),
        "ground": (
            (0.44, {"soil": 0.9, "litter": 0.1}),
            (0.08, {"gravel": 1.0}),
            (0.10, {"sand": 1.0}),
            (0.10, {"asphalt": 1.0}),
            (0.06, {"granite": 1.0}),
            (0.04, {"limestone": 1.0}),
            (0.05, {"basalt": 1.0}),
            (0.05, {"sandstone": 1.0}),
            (0.08, {"litter": 0.7, "grass_half_dry": 0.3}),
        ),
        "other": (
            (0.45, {"paint": 1.0}),
            (0.15, {"metal": 1.0}),
            (0.15, {"weathered_wood": 1.0}),
            (0.15, {"litter": 0.5, "paint": 0.5}),
            (0.10, {"asphalt": 1.0}),
        ),
        "snow": ((0.7, {"snow": 1.0}), (0.3, {"snow_wet": 1.0})),
    }
)

# The part of the sky that fills a landscape frame: heights above the horizon, and bearings from the sun by its side.
SKY_HEIGHTS_DEG = (8.0, 15.0, 25.0, 35.0, 50.0)
SKY_BEARINGS_DEG = MappingProxyType(
    {
        "ahead": (20.0, 45.0),
        "side": (65.0, 90.0, 115.0),
        "behind_camera": (135.0, 160.0),
        "unknown": (50.0, 75.0, 100.0, 125.0, 150.0),  # seldom into the sun
    }
)
GREEN_GROUND_GLOW_STOPS = 0.06
"""What green ground lifts the sky's darkening: a quarter of the +0.24 stop of grass all round."""
UNEVEN_LIGHT_STOPS = 0.1
"""What slopes and surroundings of another colour do to a patch in the sun (half of the 5-95 % range, assumption)."""
CLOUD_COVER: tuple[tuple[float, float], ...] = ((0.60, 1.0), (0.25, 0.6), (0.15, 0.25))
"""How often a patch that one calls cloud is thick, and how much of it is cloud before blue sky [assumption]"""
HAZE_DOUBT = 1.8
"""Haze is known within this factor (5-95 %) [assumption]"""


# --- numbers that everything below uses -----------------------------------------------------------------------------


@lru_cache(maxsize=1)
def _matrix(tables: Tables) -> tuple[tuple[str, ...], Array]:
    """(material names, spectra (3, m, n): low, likely, high)."""
    names = tuple(tables.materials)
    spectra = np.array([[getattr(tables.materials[m], word) for m in names] for word in ("low", "likely", "high")])
    return names, spectra


def _weights(kit: Kit, light: Light, tables: Tables) -> tuple[Array, Array]:
    """Normalised visible and band weights of white in this light, (n,) each."""
    direct, sky = light_spectra(light, tables)
    total = direct + sky
    visible = total * tables.response["v_lambda"]
    band = total * band_response(kit, tables)
    return visible / visible.sum(), band / band.sum()


def _doubtful_kits(kit: Kit) -> tuple[Kit, ...]:
    """The kit, and the kit with what is not known of it moved to both ends."""
    if kit.filter_curve is not None:
        moved = [replace(kit)]
    else:
        moved = [replace(kit, filter_cut_on_nm=kit.filter_cut_on_nm + d) for d in (-5.0, 5.0)]
    if kit.sensor == "unmodified":
        moved = [
            replace(m, infrared_cut_floor=min(0.9, kit.infrared_cut_floor * f))
            for m, f in zip((moved[0], moved[-1]), (1 / 3.0, 3.0), strict=True)
        ]
    return (kit, *moved)


def _widened(value: tuple[float, float, float], extra: float, offset: float = 0.0) -> Range:
    """Half-widths and `extra` added in quadrature."""
    low, likely, high = value
    return Range(
        likely + offset - float(np.hypot(likely - low, extra)),
        likely + offset,
        likely + offset + float(np.hypot(high - likely, extra)),
    )


# --- factors --------------------------------------------------------------------------------------------------------


def sub_kind_factors(kit: Kit, light: Light, tables: Tables) -> Mapping[str, Range]:
    """Factor of every material of the tables in this kit and light, pure, without doubt of the kit. [stops]

    Raises BadValue when there is no daylight.
    """
    names, spectra = _matrix(tables)
    visible, band = _weights(kit, light, tables)
    stops = np.sort(np.log2((spectra @ band) / (spectra @ visible)), axis=0)
    return MappingProxyType(
        {m: Range(float(stops[0, i]), float(stops[1, i]), float(stops[2, i])) for i, m in enumerate(names)}
    )


def class_factors(
    kit: Kit, light: Light, tables: Tables, *, water_roughness: Roughness | None = None
) -> Mapping[str, Range]:
    """Factor of each of the nine classes, with the kit's own corrections added. [stops]

    clear_sky is against white in full sun of the same light; water is a mixture of views, mirrors and turbidity, of
    the given roughness where it is known (`optics.roughness_of_wind`).
    Raises BadValue when there is no daylight (sun more than 6 degrees below the horizon).
    """
    names, spectra = _matrix(tables)
    direct, sky = light_spectra(light, tables)
    total = direct + sky
    visible = total * tables.response["v_lambda"]
    visible /= visible.sum()
    kits = _doubtful_kits(kit)
    bands = np.array([total * band_response(k, tables) for k in kits])
    bands /= bands.sum(axis=1, keepdims=True)
    seen = spectra @ visible  # (3, m)
    caught = spectra @ bands.T  # (3, m, kits)
    index = {m: i for i, m in enumerate(names)}
    out: dict[str, Range] = {}
    for class_name, parts in CLASS_MIX.items():
        weight = np.array([share for share, _ in parts])
        blend = np.zeros((len(parts), len(names)))
        for row, (_, mix) in enumerate(parts):
            for material, share in mix.items():
                blend[row, index[material]] = share
        stops = np.log2((blend @ caught) / (seen @ blend.T)[..., None])  # (3, parts, kits)
        ordered = np.sort(stops[..., 0], axis=0)
        moved = np.abs(stops[1, :, 1:] - stops[1, :, :1]).max(axis=1) @ weight if len(kits) > 1 else 0.0
        out[class_name] = _widened(mixture_quantiles(weight, *ordered), float(np.hypot(moved, UNEVEN_LIGHT_STOPS)))
    out["clear_sky"] = sky_factor(kit, light, tables)
    out["cloud"] = _cloud_factor(light, tables, out["clear_sky"])
    out["water"] = water_class_factor(kit, light, tables, water_roughness)
    return MappingProxyType({name: out[name] + kit.class_correction_stops.get(name, 0.0) for name in CLASS_NAMES})


def class_visible_reflectance(tables: Tables, light: Light | None = None) -> Mapping[str, Range]:
    """Luminance of each class against a horizontal matt white surface in the same light. [0..1 and above]

    Surfaces come from the tables; sky and water from the light (default: clear, sun 45 degrees high).
    """
    light = light or Light()
    out: dict[str, Range] = {}
    for class_name, parts in CLASS_MIX.items():
        weight = np.array([share for share, _ in parts])
        values = []
        for word in ("low", "likely", "high"):
            values.append(
                [
                    np.log2(sum(s * getattr(tables.materials[m].visible, word) for m, s in mix.items()))
                    for _, mix in parts
                ]
            )
        low, likely, high = (np.array(v) for v in values)
        q = mixture_quantiles(weight, low, likely, high)
        out[class_name] = Range(*(float(2.0**v) for v in q))
    out["clear_sky"] = _sky_visible(light, tables)
    out["water"] = water_visible(light, tables)
    return MappingProxyType({name: out[name] for name in CLASS_NAMES})


# --- sky ------------------------------------------------------------------------------------------------------------


def sky_against_white_stops(
    kit: Kit, light: Light, angle_from_sun_deg: ArrayLike, height_deg: ArrayLike, tables: Tables
) -> tuple[Array, Array]:
    """(visible, band) radiance of clear sky in a direction against sunlit matt white, broadcast. [stops]

    Raises BadValue when there is no daylight.
    """
    sun = usable_height_deg(light)
    radiance = sky_radiance(tables, sun, light.haze_aod, angle_from_sun_deg, height_deg)
    direct, sky = clear_light(tables, round(sun, 2), round(light.haze_aod, 3))
    white = (direct + sky) / np.pi
    out = []
    for response in (tables.response["v_lambda"], band_response(kit, tables)):
        out.append(np.asarray(np.log2((radiance @ response) / (white @ response)), np.float64))
    return out[0], out[1]


def sky_darkening_stops(
    kit: Kit, light: Light, angle_from_sun_deg: ArrayLike, height_deg: ArrayLike, tables: Tables
) -> Array:
    """How many stops clear sky drops below sunlit ground from the visible to the band, negative = darker; broadcasts.

    About -1.35 for 720 nm, 20 degrees up, the sun at the side, an ordinary day. Raises BadValue without daylight.
    """
    visible, band = sky_against_white_stops(kit, light, angle_from_sun_deg, height_deg, tables)
    return np.minimum(band - visible + GREEN_GROUND_GLOW_STOPS, 0.3)


@lru_cache(maxsize=8)
def _sky_directions(sun_deg: float, side: SunSide) -> tuple[Array, Array]:
    """(angle from the sun, height) of the directions that stand for the sky in the frame."""
    bearing, height = np.meshgrid(SKY_BEARINGS_DEG[side], SKY_HEIGHTS_DEG)
    return sun_angle(sun_deg, bearing.ravel(), height.ravel()), height.ravel()


@lru_cache(maxsize=64)
def _frame_sky(tables: Tables, sun_deg: float, aod: float, side: SunSide, twilight: bool) -> tuple[Array, Array]:
    """(radiance (k, n) of the directions that stand for the sky in the frame, that of white in the sun (n,)).

    twilight: white is lit by the sky alone.
    """
    angle, height = _sky_directions(round(sun_deg, 1), side)
    direct, sky = clear_light(tables, sun_deg, aod)
    return sky_radiance(tables, sun_deg, aod, angle, height), (sky if twilight else direct + sky) / np.pi


def sky_factor(kit: Kit, light: Light, tables: Tables) -> Range:
    """Factor of the clear sky in the frame: spread over directions and over what is not known of the haze. [stops]

    Under an overcast there is no blue: about 0. Raises BadValue without daylight.
    """
    if light.sky_state == "overcast":
        return Range(-0.4, -0.1, 0.1)
    sun = round(usable_height_deg(light), 1)
    responses = np.array([tables.response["v_lambda"], band_response(kit, tables)]).T
    drops = []
    for aod in (light.haze_aod / HAZE_DOUBT, light.haze_aod, light.haze_aod * HAZE_DOUBT):
        radiance, white = _frame_sky(tables, sun, round(aod, 3), light.sun_side, light.sun_height_deg <= 0.0)
        stops = np.log2((radiance @ responses) / (white @ responses))
        drops.append(np.minimum(stops[:, 1] - stops[:, 0] + GREEN_GROUND_GLOW_STOPS, 0.3))
    likely = float(np.median(drops[1]))
    low, high = (float(q) for q in np.quantile(np.concatenate(drops), (0.05, 0.95)))
    low, high = min(low, likely) - 0.1, max(high, likely) + 0.15
    if light.sky_state == "thin_cloud":  # half of what the veil lets through is white
        return Range(low, 0.5 * likely, max(high, 0.0))
    return Range(low, likely, high)


def sky_factor_by_height(kit: Kit, light: Light, tables: Tables, height_deg: ArrayLike) -> Array:
    """Likely factor of clear sky at heights above the horizon, any shape. [stops]

    Median over the bearings of the light's sun side: least near the horizon, about -1.2 at 20 degrees. Under an
    overcast -0.1 everywhere. Raises BadValue without daylight.
    """
    height = np.asarray(height_deg, np.float64)
    if light.sky_state == "overcast":
        return np.full(height.shape, -0.1)
    nodes = np.array([1.0, 2.0, 4.0, 7.0, 11.0, 16.0, 23.0, 32.0, 45.0, 60.0, 75.0, 90.0])
    bearing = np.array(SKY_BEARINGS_DEG[light.sun_side])[:, None]
    sun = usable_height_deg(light)
    grid = np.broadcast_to(nodes, (bearing.size, nodes.size))
    drop = sky_darkening_stops(kit, light, sun_angle(sun, bearing, grid), grid, tables)
    at_nodes = np.median(drop, axis=0) * (0.5 if light.sky_state == "thin_cloud" else 1.0)
    return np.interp(height, nodes, at_nodes)


def _cloud_factor(light: Light, tables: Tables, clear_sky: Range) -> Range:
    """Factor of cloud: white where it is thick, with some of the blue behind it where it is thin. [stops]"""
    weight, cover = (np.array(v) for v in zip(*CLOUD_COVER, strict=True))
    if light.sky_state == "overcast":
        cover = np.ones_like(cover)
    white = cover * tables.materials["cloud"].visible.likely
    blue = (1.0 - cover) * _sky_visible(light, tables).likely
    stops = np.log2((white + blue * 2.0**clear_sky.likely) / (white + blue))
    return Range(*mixture_quantiles(weight, stops - 0.15, stops, stops + 0.12))


def _sky_visible(light: Light, tables: Tables) -> Range:
    if light.sky_state == "overcast":  # an even grey sky lights white with pi times its radiance
        return Range(0.6, 1.0, 1.6)
    sun = round(usable_height_deg(light), 1)
    radiance, white = _frame_sky(tables, sun, round(light.haze_aod, 3), light.sun_side, light.sun_height_deg <= 0.0)
    v = tables.response["v_lambda"]
    stops = np.log2((radiance @ v) / (white @ v)) + 0.15  # light scattered more than once
    low, likely, high = np.quantile(stops, (0.05, 0.5, 0.95))
    return Range(float(2.0 ** (low - 0.4)), float(2.0**likely), float(2.0 ** (high + 0.4)))


# --- shade ----------------------------------------------------------------------------------------------------------


def open_shade_stops(kit: Kit, light: Light, tables: Tables) -> Range:
    """What grey in open shade (lit by the sky alone) loses from the visible to the band, negative = darker. [stops]

    About -1.2 on a clear day; 0 under an overcast. The spread is haze and green surroundings.
    Raises BadValue when there is no daylight.
    """
    if light.sky_state == "overcast" or light.sun_height_deg <= 0.0:
        return Range(-0.1, 0.0, 0.2)
    response = band_response(kit, tables)
    v = tables.response["v_lambda"]

    def drop(here: Light) -> float:
        direct, sky = light_spectra(here, tables)
        total = direct + sky
        return float(np.log2((sky @ response) / (total @ response)) - np.log2((sky @ v) / (total @ v)))

    likely = drop(light)
    ends = [
        drop(replace(light, haze_aod=light.haze_aod * f, direct=None, sky=None)) for f in (1 / HAZE_DOUBT, HAZE_DOUBT)
    ]
    return Range(min(likely, *ends) - 0.1, likely, max(likely, *ends) + 4.0 * GREEN_GROUND_GLOW_STOPS)


def hard_light(kit: Kit, light: Light, tables: Tables) -> float:
    """How hard the light is in the band: share of the beam on a surface that faces the sun, 0 (soft) .. 1 (hard).

    About 0.93 at 720 nm under a clear sky where the eye has 0.87. Raises BadValue when there is no daylight.
    """
    direct, sky = light_spectra(light, tables)
    response = band_response(kit, tables)
    beam = float(direct @ response) / float(np.sin(np.radians(usable_height_deg(light))))
    return beam / (beam + float(sky @ response))
