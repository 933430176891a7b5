"""Rates of motion: how fast and how far each class of a picture moves, with no shutter time in it yet.

What a clip of the scene measured replaces the wind table; the rate of each thing is in `moving_things.py`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import TYPE_CHECKING

from irpreview.core.imaging.picture_geometry import ASSUMED_FOCAL_35MM_MM, pixels_per_radian
from irpreview.core.motion.class_rates import ClassRate, scaled_rate
from irpreview.core.motion.cloud_drift import check_direction, cloud_drift, toward_from_image
from irpreview.core.motion.moving_things import (
    LEAST_SHARE,
    PRINT_SHARP,
    Context,
    clouds_rate,
    measured_by_clip,
    people_and_boats_rate,
    plants_rate,
    tripod_rate,
    water_rate,
)
from irpreview.core.motion.scene_geometry import SceneGeometry
from irpreview.core.motion.sway import GRASS_PARTS, TREE_PARTS
from irpreview.core.motion.wind import CROWN_RATIO, GRASS_RATIO, gust_of, wind_range
from irpreview.records import (
    CLASS_NAMES,
    CloudDrift,
    Conditions,
    Doubt,
    FocalAssumed,
    HorizonBy,
    HowKnown,
    KnownBy,
    Moving,
    Photo,
    Range,
    SceneMap,
    WindUnknown,
)

if TYPE_CHECKING:
    from irpreview.core.motion.clip_motion import ClipMotion

CRISP = 3600.0
"""The same at pixel level: 2 px of a 6000 x 4000 frame."""


@dataclass(frozen=True, slots=True)
class Rates:
    """Everything that moves in one picture, before any shutter time."""

    size: tuple[int, int]
    """(H, W) of the snap. [px]"""
    px_per_rad: float
    """Of the lens that will take the picture."""
    snap_px_per_rad: float
    """Of the snap itself; what is shown in the snap's own framing."""
    hold_limit_px: float
    classes: Mapping[str, ClassRate]
    tripod: ClassRate
    clouds: CloudDrift | None
    water_period_s: Range | None
    wind_m_s: Range
    wind_known: bool
    gust_m_s: float
    doubts: tuple[Doubt, ...] = ()
    horizon_by: HorizonBy = HorizonBy.MIDDLE


def rates_of_motion(
    scene: SceneMap,
    conditions: Conditions | None = None,
    photo: Photo | None = None,
    *,
    clip: ClipMotion | None = None,
    crisp: bool = False,
    size: tuple[int, int] | None = None,
    geometry: SceneGeometry | None = None,
) -> Rates:
    """What moves in this picture, and how fast, from the wind and the picture's geometry or from a clip.

    scene: labels (h, w) of the whole picture. size: (H, W) [px] of the snap that blur is said in, where the labels are
    smaller; None = theirs. geometry: of this scene, where the caller tries several winds. kit: its focal lengths are
    not used, the lens is `conditions.focal_35mm_mm`
    or else the snap's own. crisp: hold to 2 px of a 24 MP frame instead of a sharp print. Raises BadValue for wind,
    direction, focal length or distance outside their ranges.
    """
    conditions = conditions or Conditions()
    check_direction(conditions.wind_from_deg)
    height, width = size or scene.label.shape
    doubts: list[Doubt] = []
    snap_focal = photo.shot.focal_35mm_mm if photo is not None else None
    focal = conditions.focal_35mm_mm or snap_focal
    if focal is None:
        focal = ASSUMED_FOCAL_35MM_MM
        doubts.append(FocalAssumed(focal))
    px_per_rad = pixels_per_radian(width, height, focal)
    snap_px_per_rad = pixels_per_radian(width, height, snap_focal or focal)
    wind = wind_range(conditions)
    if conditions.wind_m_s is None:
        doubts.append(WindUnknown(wind))
    gust = gust_of(conditions, wind.likely)
    if conditions.gust_m_s is not None:
        wind = Range(wind.low, wind.likely, max(wind.high, gust))
    geometry = geometry or SceneGeometry(scene, (height, width), snap_px_per_rad)
    horizon, share = geometry.horizon, geometry.share
    present = [name for name in CLASS_NAMES if share[name] >= LEAST_SHARE]
    context = Context(geometry, (height, width), conditions, wind, gust, px_per_rad, doubts)
    classes: dict[str, ClassRate] = {}
    for name, parts, ratio in (("tree", TREE_PARTS, CROWN_RATIO), ("grass", GRASS_PARTS, GRASS_RATIO)):
        if name in present:
            classes[name] = plants_rate(context, name, parts, ratio.likely)
    water_period = None
    if "water" in present:
        classes["water"], water_period = water_rate(context)
    clouds = None
    if "cloud" in present:
        elevation = geometry.cloud_elevation_deg
        heading = photo.heading_deg if photo is not None else None
        latitude = photo.place.latitude_deg if photo is not None and photo.place is not None else None
        clouds = cloud_drift(conditions, wind, elevation, heading, latitude)
        if clip is not None and clip.cloud_deg_per_s is not None:
            measured = clip.cloud_image_deg
            toward = clouds.toward_deg
            if heading is not None and measured is not None:
                toward = toward_from_image(measured, heading, elevation)
            clouds = CloudDrift(
                clip.cloud_deg_per_s, toward, measured, HowKnown(KnownBy.CLIP, Moving.CLOUDS, clip_s=clip.length_s)
            )
        classes["cloud"] = clouds_rate(clouds, px_per_rad)
    if "other" in present:
        classes["other"] = people_and_boats_rate(context, share["water"])
    if clip is not None:
        for name, measure in clip.classes.items():
            if name in classes and name in ("tree", "grass"):
                classes[name] = measured_by_clip(
                    classes[name], measure.amplitude_px, measure.frequency_hz, clip, px_per_rad
                )
        if clip.water_period_s is not None and "water" in classes and water_period is not None:
            t = clip.water_period_s
            water_period = Range(t / 1.3, t, t * 1.3)
            classes["water"], water_period = water_rate(context, water_period)
        doubts.extend(clip.doubts)
    diagonal = math.hypot(height, width)
    return Rates(
        size=(height, width),
        px_per_rad=px_per_rad,
        snap_px_per_rad=snap_px_per_rad,
        hold_limit_px=diagonal / (CRISP if crisp else PRINT_SHARP),
        classes=MappingProxyType(classes),
        tripod=tripod_rate(context),
        clouds=clouds,
        water_period_s=water_period,
        wind_m_s=wind,
        wind_known=conditions.wind_m_s is not None,
        gust_m_s=gust,
        doubts=tuple(doubts),
        horizon_by=horizon.by,
    )


def in_snap_framing(rates: Rates) -> Rates:
    """The same movement as it shows at the snap's own focal length, for redrawing the snap."""
    scale = rates.snap_px_per_rad / rates.px_per_rad
    if abs(scale - 1.0) < 1e-9:
        return rates
    classes = {name: scaled_rate(rate, scale) for name, rate in rates.classes.items()}
    return replace(
        rates,
        px_per_rad=rates.snap_px_per_rad,
        classes=MappingProxyType(classes),
        tripod=scaled_rate(rates.tripod, scale),
    )
