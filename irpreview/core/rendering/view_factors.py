"""Sky and water by where they stand in the view: how far each darkens, direction by direction.

The sky's factor follows the angle from the sun, the height above the horizon, haze and filter; that of water the view
angle, its roughness and what stands above it. Both are smooth, so they are worked out on a coarse grid over the picture
and enlarged: a gradient without bands, whose parts meet the other classes by their probabilities alone.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from irpreview.core.imaging.picture_geometry import ASSUMED_FOCAL_35MM_MM, horizon_row, pixels_per_radian
from irpreview.core.light.daylight import angle_from_sun_deg, clear_light, sky_radiance, usable_height_deg
from irpreview.core.light.optics import Roughness
from irpreview.core.light.spectra import Array, Tables
from irpreview.core.light.surfaces import HAZE_DOUBT, SKY_BEARINGS_DEG, sky_darkening_stops, sky_factor_by_height
from irpreview.core.light.water_surface import MIRRORED, water_signal_by_view
from irpreview.errors import BadValue
from irpreview.records import FloatArray, Kit, Light, Photo, Range, SceneMap

GRID_LONG_SIDE = 32
LOWEST_SKY_DEG = 1.0
"""Sky is taken to be at least this high: what lies below is behind the land."""
PAIRS_SHOW = 0.25
"""How much of the sky's own gradient the research pairs show: 0.26 to 0.31 pooled over 25 to 30 of them for a lens of
26 to 60 mm, median 0.2 (2026-11-25; measured again in tests/reference/test_view_factors.py). Lifted blacks and an
unknown tone curve take the rest, so the network learned this part only and physics has to add the other. Taken for
water as well, where it cannot be measured."""
SKY_MODEL_HALF_STOPS = 0.2
"""Doubt of the sky's model in one direction, beside haze: horizon row, more than one scattering [assumption]"""
WATER_WAY_HALF_STOPS = 0.6
"""Doubt of water seen in one way: sediment, waves, haze; as in `water_surface.water_factor` [assumption]"""
_ROUGH_LOOKS_UP_DEG = 22.0
_MIRROR_OF: Mapping[str, tuple[int, ...]] = {"sky": (0,), "cloud": (1,), "tree": (3, 4), "structure": (5, 6, 7, 8)}
"""Indices of the classes that stand for each kind of thing mirrored."""
_MOST_CHANGE_STOPS = 1.5


@dataclass(frozen=True, slots=True)
class View:
    """Where the camera looked: a level-held pinhole camera, as far as one picture tells."""

    width_px: int
    height_px: int
    px_per_rad: float
    horizon_row: float
    """From the top [px]"""
    heading_deg: float | None

    def directions(self) -> tuple[Array, Array]:
        """(bearing from the middle of the view, height above the horizon) of a grid over the picture, (g, k) each.
        [degrees]
        """
        scale = GRID_LONG_SIDE / max(self.width_px, self.height_px)
        rows, columns = max(4, round(self.height_px * scale)), max(4, round(self.width_px * scale))
        y = (np.arange(rows) + 0.5) / rows * self.height_px
        x = ((np.arange(columns) + 0.5) / columns - 0.5) * self.width_px
        middle = 0.5 * self.height_px
        pitch = math.atan2(self.horizon_row - middle, self.px_per_rad)
        up, ahead = middle - y[:, None], np.full((1, columns), self.px_per_rad)
        level = ahead * math.cos(pitch) - up * math.sin(pitch)
        rise = ahead * math.sin(pitch) + up * math.cos(pitch)
        side = np.broadcast_to(x, level.shape)
        bearing = np.degrees(np.arctan2(side, level))
        return bearing, np.degrees(np.arctan2(rise, np.hypot(level, side)))


@dataclass(frozen=True, slots=True)
class ViewFactors:
    """Sky and water of one frame, and how they depart from their middle; maps of a coarse grid over it. [stops]"""

    sky_factor: Range
    """In the middle of the frame's sky; its width is what is not known in one direction."""
    water_factor: Range
    sky: FloatArray
    """Added to the factor of clear sky, (g, k)."""
    water: FloatArray
    reference_sky: FloatArray
    """What the network's tone already holds of such departures, because the research pairs show it."""
    reference_water: FloatArray


def view_of(photo: Photo, scene: SceneMap) -> View:
    """Where the camera looked: focal length from the file, else that of a phone; horizon from the classes."""
    focal = photo.shot.focal_35mm_mm or ASSUMED_FOCAL_35MM_MM
    height, width = scene.label.shape  # the scene may be that of a smaller copy
    try:
        px_per_rad = pixels_per_radian(width, height, focal)
    except BadValue:  # a file may claim anything
        px_per_rad = pixels_per_radian(width, height, ASSUMED_FOCAL_35MM_MM)
    step = max(1, round(max(width, height) / 512))
    row = horizon_row(scene.label[::step, ::step]).row.likely * step
    return View(width, height, px_per_rad, row, photo.heading_deg)


def light_is_known(light: Light) -> bool:
    """Whether the sun of this light stands somewhere: from place and time, or planned; and above the horizon."""
    return (light.planned or light.sun_bearing_deg is not None) and light.sun_height_deg > 0.0


def view_factors(
    view: View,
    scene: SceneMap,
    kit: Kit,
    reference: Kit,
    light: Light,
    snap_light: Light,
    tables: Tables,
    reference_value: Mapping[str, Range],
    roughness: Roughness | None = None,
) -> ViewFactors:
    """Sky and water of a picture, direction by direction, for a kit and a light that is known.

    reference: the kit of the research pairs; snap_light: the light that the snap was taken in (equal to `light` unless
    that is planned); reference_value: that kit's factors per class in it, from which the reference maps depart.
    Raises BadValue when there is no daylight.
    """
    bearing, height = view.directions()
    above = np.maximum(height, LOWEST_SKY_DEG)
    sky = _sky(kit, light, tables, view.heading_deg, bearing, above)
    shows = PAIRS_SHOW if light_is_known(snap_light) else 0.0
    reference_sky = _sky(reference, snap_light, tables, view.heading_deg, bearing, above)

    mirrored = {kind: _mirrored(scene.probability, view, height, kind) for kind in (0.0, _ROUGH_LOOKS_UP_DEG)}
    water, apart = _water(kit, light, tables, height, mirrored, roughness)
    reference_water, _ = _water(reference, snap_light, tables, height, mirrored, roughness)

    sky_half = math.hypot(SKY_MODEL_HALF_STOPS, _haze_half(kit, light, tables, view.heading_deg, bearing, above))
    middle_sky, middle_water = _middle(sky, scene, 0), _middle(water, scene, 2)
    water_half = math.hypot(WATER_WAY_HALF_STOPS, apart)
    return ViewFactors(
        sky_factor=Range(middle_sky - sky_half, middle_sky, middle_sky + sky_half),
        water_factor=Range(middle_water - water_half, middle_water, middle_water + water_half),
        sky=(sky - middle_sky).astype(np.float32),
        water=(water - middle_water).astype(np.float32),
        reference_sky=(shows * (reference_sky - reference_value["clear_sky"].likely)).astype(np.float32),
        reference_water=(shows * (reference_water - reference_value["water"].likely)).astype(np.float32),
    )


def enlarged(grid: FloatArray, height: int, width: int) -> FloatArray:
    """A coarse map at (height, width), without steps."""
    return np.asarray(cv2.resize(grid, (width, height), interpolation=cv2.INTER_CUBIC), np.float32)


def _middle(value: Array, scene: SceneMap, index: int) -> float:
    """Value in the middle of where a class lies, of the whole grid where it is nowhere."""
    weight = cv2.resize(scene.probability[index], value.shape[::-1], interpolation=cv2.INTER_AREA).astype(np.float64)
    weight = np.where(weight > 0.5, weight, 0.0)
    if weight.sum() < 1e-6:
        weight = np.ones_like(value)
    order = np.argsort(value, axis=None)
    total = np.cumsum(weight.ravel()[order])
    return float(value.ravel()[order[int(np.searchsorted(total, 0.5 * total[-1]))]])


# --- sky ------------------------------------------------------------------------------------------------------------


def _sun_apart(light: Light, heading_deg: float | None, bearing: Array, height: Array) -> Array | None:
    """Angle from the sun over the grid, None where the bearing of sun or view is not known. [degrees]"""
    if light.sun_bearing_deg is None or heading_deg is None:
        return None
    from_sun = heading_deg + bearing - light.sun_bearing_deg
    return angle_from_sun_deg(usable_height_deg(light), from_sun, height)


def _sky(
    kit: Kit, light: Light, tables: Tables, heading_deg: float | None, bearing: Array, height: Array
) -> NDArray[np.float64]:
    """Factor of clear sky over the grid. [stops]"""
    apart = _sun_apart(light, heading_deg, bearing, height)
    if apart is None or light.sky_state == "overcast":
        return sky_factor_by_height(kit, light, tables, height)
    share = 0.5 if light.sky_state == "thin_cloud" else 1.0
    return share * sky_darkening_stops(kit, light, apart, height, tables)


def _haze_half(
    kit: Kit, light: Light, tables: Tables, heading_deg: float | None, bearing: Array, height: Array
) -> float:
    """Half the range that haze leaves open in one direction; where bearings are unknown, that too. [stops]"""
    if light.sky_state == "overcast":
        return 0.2
    some = (slice(None, None, 6), slice(None, None, 6))
    ends = [
        _sky(
            kit,
            replace(light, haze_aod=light.haze_aod * f, direct=None, sky=None),
            tables,
            heading_deg,
            bearing[some],
            height[some],
        )
        for f in (1 / HAZE_DOUBT, HAZE_DOUBT)
    ]
    half = float(np.median(np.abs(ends[1] - ends[0])) / 2.0)
    if light.sun_bearing_deg is None or heading_deg is None:
        around = np.array(SKY_BEARINGS_DEG[light.sun_side])
        angle = angle_from_sun_deg(usable_height_deg(light), around, np.full(around.shape, 20.0))
        drop = sky_darkening_stops(kit, light, angle, np.full(around.shape, 20.0), tables)
        half = math.hypot(half, float(drop.max() - drop.min()) / 2.0)
    return half


# --- water ----------------------------------------------------------------------------------------------------------


def _mirrored(probability: FloatArray, view: View, height: Array, looks_up_deg: float) -> Array:
    """What stands where water mirrors, as shares of `MIRRORED`, (4, g, k), summing to 1.

    A far bank is mirrored at the height above the horizon at which the water lies below it. Smoothed by what is not
    known of the horizon, so that no outline of the bank shows where the mirror is off.
    """
    rows, columns = height.shape
    small = np.stack([cv2.resize(p, (columns, rows), interpolation=cv2.INTER_AREA) for p in probability])
    kinds = np.stack([small[list(_MIRROR_OF[kind])].sum(0) for kind in MIRRORED]) + np.float32(1e-4)
    row = view.horizon_row / view.height_px * rows - 0.5
    up = math.tan(math.radians(looks_up_deg)) * view.px_per_rad / view.height_px * rows
    y = np.arange(rows)[:, None] * np.ones((1, columns))
    y = np.clip(2.0 * row - y - up, 0.0, max(row, 0.0)).astype(np.float32)
    x = np.broadcast_to(np.arange(columns, dtype=np.float32), y.shape).copy()
    sigma = 0.03 * GRID_LONG_SIDE * (1.0 if looks_up_deg == 0.0 else 2.0)
    out = []
    for kind in kinds:
        seen = cv2.remap(kind.astype(np.float32), x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        out.append(cv2.GaussianBlur(seen, (0, 0), sigma, borderType=cv2.BORDER_REPLICATE))
    shares = np.array(out, np.float64)
    return np.asarray(shares / shares.sum(0), np.float64)


def _water(
    kit: Kit,
    light: Light,
    tables: Tables,
    height: Array,
    mirrored: Mapping[float, Array],
    roughness: Roughness | None,
) -> tuple[Array, float]:
    """(factor of water over the grid, half of what calm and rough differ by where the roughness is unknown). [stops]"""
    view_deg = np.clip(90.0 + height, 0.0, 89.5)
    kinds: tuple[Roughness, ...] = ("calm", "wind_rough") if roughness is None else (roughness,)
    stops = []
    for kind in kinds:
        share = mirrored[0.0 if kind == "calm" else _ROUGH_LOOKS_UP_DEG]
        visible, band = water_signal_by_view(kit, light, tables, view_deg, kind)
        stops.append(np.log2((share * band).sum(0) / (share * visible).sum(0)))
    apart = float(np.median(np.abs(stops[0] - stops[-1]))) / 2.0
    return np.asarray(np.mean(stops, axis=0), np.float64), apart


# --- a planned light ------------------------------------------------------------------------------------------------


def brightness_change(
    view: View, scene: SceneMap, light: Light, snap_light: Light, tables: Tables
) -> tuple[FloatArray, FloatArray]:
    """How much brighter clear sky, and water that mirrors it, get to the eye in a planned light, (g, k) each. [stops]

    Against a white surface that faces the sun: how surfaces stand to the sun is that of the snap and is left alone.
    Haze and the angle from the sun are what changes it; bounded, since the model is rough close to the sun.
    """
    bearing, height = view.directions()
    seen = np.maximum(np.abs(height), LOWEST_SKY_DEG)  # water shows what stands as high above as it lies below
    after, before = (_sky_visible(view, here, bearing, seen, tables) for here in (light, snap_light))
    change = np.clip(after - before, -_MOST_CHANGE_STOPS, _MOST_CHANGE_STOPS)
    clear = _mirrored(scene.probability, view, height, 0.0)[MIRRORED.index("sky")]
    return change.astype(np.float32), (change * clear).astype(np.float32)


@lru_cache(maxsize=64)
def _white_facing_sun(tables: Tables, sun_deg: float, aod: float) -> float:
    direct, sky = clear_light(tables, sun_deg, aod)
    facing = (direct / math.sin(math.radians(sun_deg)) + sky) / np.pi
    return float(facing @ tables.response["v_lambda"])


def _sky_visible(view: View, light: Light, bearing: Array, height: Array, tables: Tables) -> Array:
    if light.sky_state == "overcast":
        return np.zeros(height.shape)
    sun = usable_height_deg(light)
    white = _white_facing_sun(tables, round(sun, 1), round(light.haze_aod, 3))
    v = tables.response["v_lambda"]
    apart = _sun_apart(light, view.heading_deg, bearing, height)
    if apart is not None:
        seen = sky_radiance(tables, sun, light.haze_aod, apart, height) @ v
        return np.asarray(np.log2(seen / white), np.float64)
    nodes = np.array([1.0, 2.0, 4.0, 7.0, 11.0, 16.0, 23.0, 32.0, 45.0, 60.0, 75.0, 90.0])
    around = np.array(SKY_BEARINGS_DEG[light.sun_side])[:, None]
    grid = np.broadcast_to(nodes, (around.size, nodes.size))
    seen = sky_radiance(tables, sun, light.haze_aod, angle_from_sun_deg(sun, around, grid), grid) @ v
    return np.asarray(np.interp(height, nodes, np.median(np.log2(seen / white), axis=0)), np.float64)
