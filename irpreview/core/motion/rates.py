"""Rates of motion: how fast and how far each class of a picture moves, with no shutter time in it yet.

Every rate is a range (5 / 50 / 95 %); doubts in amplitude, wind and distance are independent and add as squares of
their logarithms. What a clip of the scene measured replaces the wind table. Amplitudes, tripod and walking speeds are
assumptions and are named so in `HowKnown`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from types import MappingProxyType
from typing import TYPE_CHECKING, Literal

import numpy as np

from irpreview.core.imaging.picture_geometry import (
    ASSUMED_FOCAL_35MM_MM,
    FARTHEST_M,
    Horizon,
    class_distance,
    cloud_elevation_deg,
    horizon_row,
    pixels_per_radian,
    run_heights,
)
from irpreview.core.motion.cloud_drift import ELEMENT_DEG, check_direction, cloud_drift, toward_from_image
from irpreview.core.motion.sway import (
    GRASS_PARTS,
    TREE_PARTS,
    SwayingPart,
    longest_holding_s,
    sway_extent,
    sway_halo,
    together,
)
from irpreview.core.motion.water_motion import (
    FALL_HEIGHT_M,
    RUNNING_SPEED_M_S,
    deep_water_length_m,
    deep_water_speed_m_s,
    fall_speed_m_s,
    wave_period,
)
from irpreview.core.motion.wind import CROWN_RATIO, GRASS_RATIO, LAKE_RATIO, TRIPOD_RATIO, gust_of, wind_range
from irpreview.errors import BadValue
from irpreview.records import (
    CLASS_ID,
    CLASS_NAMES,
    CloudDrift,
    Conditions,
    DistanceBy,
    DistanceEstimated,
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

Which = Literal["low", "likely", "high"]
PRINT_SHARP = 1500.0
"""Picture diagonal over the blur that still looks sharp on a print (d/1500, trade practice)."""
CRISP = 3600.0
"""The same at pixel level: 2 px of a 6000 x 4000 frame."""
LEAST_SHARE = 0.001
"""A class below this share of the picture is not spoken of."""
WALKING_M_S = Range(0.8, 1.4, 2.0)
TRIPOD_URAD_5 = Range(8.0, 25.0, 90.0)
"""Amplitude of a tripod's shake in 5 m/s at the camera, growing with the square of the wind (assumed)."""
TRIPOD_HZ = Range(5.0, 12.0, 25.0)
GEOMETRY_SIDE = 512
CLIP_DOUBT = 1.4
"""A few seconds of sway measure its rms only within this factor (simulated, 5 to 10 s)."""


_ZERO = Range(0.0, 0.0, 0.0)
_ONCE = Range(1.0, 1.0, 1.0)
_NEVER = Range(math.inf, math.inf, math.inf)


@dataclass(frozen=True, slots=True)
class PartRate:
    """One moving part in pixels of the snap: a sway about rest, a steady travel, or a travel that ends."""

    name: str
    kind: Literal["sway", "travel"]
    amplitude_px: Range = _ZERO
    frequency_hz: Range = _ONCE
    speed_px_s: Range = _ZERO
    ends_px: Range = _NEVER
    gust_gain: float = 1.0
    """What a gust makes of the amplitude."""

    def extent_px(self, shutter_s: float, which: Which) -> float:
        """Expected extent over an exposure; never falls with time. [px]"""
        if self.kind == "sway":
            return sway_extent(getattr(self.amplitude_px, which), getattr(self.frequency_hz, which), shutter_s)
        return float(min(getattr(self.speed_px_s, which) * shutter_s, getattr(self.ends_px, which)))

    def halo_px(self, shutter_s: float) -> float:
        """Extent of the faint halo: rare large swings and gusts. [px]"""
        if self.kind == "travel":
            return self.extent_px(shutter_s, "likely")
        return sway_halo(self.amplitude_px.likely * self.gust_gain, self.frequency_hz.likely, shutter_s)


@dataclass(frozen=True, slots=True)
class ClassRate:
    """How one class moves; parts add as squares unless they exclude each other."""

    name: str
    parts: tuple[PartRate, ...]
    distance_m: Range
    known: HowKnown
    flows_from_s: float | None = None
    direction_deg: float | None = None

    @property
    def measured(self) -> bool:
        """Whether a clip measured it."""
        return self.known.measured

    def extent_px(self, shutter_s: float, which: Which) -> float:
        """Extent of the blur at a shutter time [s], at one end of its range [px]."""
        return together([part.extent_px(shutter_s, which) for part in self.parts])

    def blur_px(self, shutter_s: float) -> Range:
        """Extent of the blur at a shutter time [s] [px]."""
        low, likely, high = (self.extent_px(shutter_s, which) for which in ("low", "likely", "high"))
        return Range(low, likely, high)

    def holds_until_s(self, limit_px: float) -> Range | None:
        """Longest exposure within the limit [s]; None when nothing moves."""
        if self.extent_px(3600.0, "high") <= 0.0:
            return None

        def until(which: Which) -> float:
            return longest_holding_s(lambda t: self.extent_px(t, which), limit_px)

        return Range(until("high"), until("likely"), until("low"))

    def moves(self) -> bool:
        """Whether anything of it could move within an hour."""
        return self.extent_px(3600.0, "high") > 0.0


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
    context = _Context(geometry, (height, width), conditions, wind, gust, px_per_rad, doubts)
    classes: dict[str, ClassRate] = {}
    for name, parts, ratio in (("tree", TREE_PARTS, CROWN_RATIO), ("grass", GRASS_PARTS, GRASS_RATIO)):
        if name in present:
            classes[name] = _plants(context, name, parts, ratio.likely)
    water_period = None
    if "water" in present:
        classes["water"], water_period = _water(context)
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
        classes["cloud"] = _clouds(clouds, px_per_rad)
    if "other" in present:
        classes["other"] = _people_and_boats(context, share["water"])
    if clip is not None:
        for name, measure in clip.classes.items():
            if name in classes and name in ("tree", "grass"):
                classes[name] = _from_clip(classes[name], measure.amplitude_px, measure.frequency_hz, clip, px_per_rad)
        if clip.water_period_s is not None and "water" in classes and water_period is not None:
            t = clip.water_period_s
            water_period = Range(t / 1.3, t, t * 1.3)
            classes["water"], water_period = _water(context, water_period)
        doubts.extend(clip.doubts)
    diagonal = math.hypot(height, width)
    return Rates(
        size=(height, width),
        px_per_rad=px_per_rad,
        snap_px_per_rad=snap_px_per_rad,
        hold_limit_px=diagonal / (CRISP if crisp else PRINT_SHARP),
        classes=MappingProxyType(classes),
        tripod=_tripod(context),
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


def scaled_rate(rate: ClassRate, scale: float) -> ClassRate:
    """The same movement, so many times as large in the picture."""

    def times(r: Range) -> Range:
        return Range(r.low * scale, r.likely * scale, r.high * scale)

    parts = tuple(
        replace(p, amplitude_px=times(p.amplitude_px), speed_px_s=times(p.speed_px_s), ends_px=times(p.ends_px))
        for p in rate.parts
    )
    return replace(rate, parts=parts)


class SceneGeometry:
    """What the labels say of distances, whatever the wind; each worked out once.

    Geometry is judged to a few per cent at best: a large picture is looked at every n-th pixel.
    """

    def __init__(self, scene: SceneMap, size: tuple[int, int], snap_px_per_rad: float) -> None:
        """size: (H, W) of the snap [px], snap_px_per_rad: of the snap at that size."""
        label = scene.label
        step = max(1, max(label.shape) // GEOMETRY_SIDE)
        self.small = replace(scene, label=np.ascontiguousarray(label[::step, ::step]))
        self.k = step * max(size) / max(label.shape)
        """Pixels of the snap to one that is looked at."""
        self.px_per_rad = snap_px_per_rad / self.k
        self.share = scene.share()
        self._distances: dict[str, tuple[Range, DistanceBy]] = {}

    @cached_property
    def horizon(self) -> Horizon:
        """The horizon in rows of the labels looked at."""
        return horizon_row(self.small.label)

    @cached_property
    def cloud_elevation_deg(self) -> float:
        """Mean elevation of the clouds above the horizon. [deg]"""
        return cloud_elevation_deg(self.small.label, self.px_per_rad, self.horizon)

    @cached_property
    def looks_like_falls(self) -> bool:
        """Whether the water stands up like a fall."""
        return looks_like_falls(self.small)

    @cached_property
    def others_afloat(self) -> bool:
        """Whether what is called other floats on water."""
        return _afloat(self.small, self.small.label == CLASS_ID["other"])

    def distance(self, name: str) -> tuple[Range, DistanceBy]:
        """Distance of a class [m] and how it was judged."""
        if name not in self._distances:
            self._distances[name] = class_distance(self.small.label, name, self.px_per_rad, self.horizon)
        return self._distances[name]


@dataclass(frozen=True, slots=True)
class _Context:
    geometry: SceneGeometry
    size: tuple[int, int]
    """(H, W) of the snap. [px]"""
    conditions: Conditions
    wind: Range
    gust_m_s: float
    px_per_rad: float
    doubts: list[Doubt]

    def distance(self, name: str) -> tuple[Range, DistanceBy]:
        given = self.conditions.distance_m.get(name)
        if given is not None:
            if not math.isfinite(given) or not 0.1 <= given <= 50_000.0:
                raise BadValue(f"distance {given:g} m for {name} cannot be used: 0.1 to 50000 m; give the metres to it")
            return Range(given, given, given), DistanceBy.GIVEN
        estimate, by = self.geometry.distance(name)
        self.doubts.append(DistanceEstimated(name, estimate, by))
        return estimate, by

    def by_wind(self, moving: Moving, distance: tuple[Range, DistanceBy] | None) -> HowKnown:
        """Known by the wind, and by the distance where it counts."""
        by = KnownBy.WIND_UNKNOWN if self.conditions.wind_m_s is None else KnownBy.WIND_GIVEN
        if distance is None:
            return HowKnown(by, moving, wind_m_s=self.wind)
        horizon = self.geometry.horizon.by if distance[1] is DistanceBy.LEVEL_GROUND else None
        return HowKnown(by, moving, self.wind, None, distance[0], distance[1], horizon)


def spread(likely: float, downs: tuple[float, ...], ups: tuple[float, ...]) -> Range:
    """A range about `likely` from independent ratios (>= 1) down and up, added as squares of their logarithms."""
    if likely <= 0.0:
        return Range(0.0, 0.0, 0.0)
    down = math.hypot(*(math.log(max(r, 1.0)) for r in downs))
    up = math.hypot(*(math.log(max(r, 1.0)) for r in ups))
    return Range(likely * math.exp(-down), likely, likely * math.exp(up))


def _ratio(a: float, b: float) -> float:
    return a / b if b > 0.0 else 1.0


def _plants(c: _Context, name: str, parts: tuple[SwayingPart, ...], ratio: float) -> ClassRate:
    told = c.distance(name)
    distance = told[0]
    rates = []
    for part in parts:
        a = part.amplitude_mm(c.wind.likely * ratio)
        gentle = part.amplitude_mm(c.wind.low * ratio).likely
        strong = part.amplitude_mm(c.wind.high * ratio).likely
        per_mm = c.px_per_rad / (1000.0 * distance.likely)
        amplitude = spread(
            a.likely * per_mm,
            (_ratio(a.likely, a.low), _ratio(a.likely, gentle), distance.high / distance.likely),
            (_ratio(a.high, a.likely), _ratio(strong, a.likely), distance.likely / distance.low),
        )
        gain = _ratio(part.amplitude_mm(c.gust_m_s * ratio).likely, a.likely)
        rates.append(PartRate(part.name, "sway", amplitude, part.frequency_hz, gust_gain=max(1.0, gain)))
    known = c.by_wind(Moving.GRASS if name == "grass" else Moving.PLANTS, told)
    return ClassRate(name, tuple(rates), distance, known, _flow_of_sway(tuple(rates), c), 0.0)


def _flow_of_sway(parts: tuple[PartRate, ...], c: _Context) -> float | None:
    """Foliage melts once its slowest part has swung twice and its blur is plain; else never. [s]"""
    limit = math.hypot(*c.size) / PRINT_SHARP
    if together([2.0 * p.amplitude_px.likely for p in parts]) < 3.0 * limit:
        return None
    return 2.0 / min(p.frequency_hz.likely for p in parts)


def _water(c: _Context, measured: Range | None = None) -> tuple[ClassRate, Range]:
    told = c.distance("water")
    distance = told[0]
    kind = c.conditions.water_kind
    seen_as_falls = kind == "unknown" and c.geometry.looks_like_falls
    if seen_as_falls:
        kind = "falls"
    over_water = Range(*(w * LAKE_RATIO for w in (c.wind.low, c.wind.likely, c.wind.high)))
    period = measured or wave_period(kind, over_water)
    per_m = c.px_per_rad / distance.likely
    d_down, d_up = distance.high / distance.likely, distance.likely / distance.low
    if kind in ("falls", "stream"):
        low, likely, high = (
            (fall_speed_m_s(h / 2.0) for h in (FALL_HEIGHT_M.low, FALL_HEIGHT_M.likely, FALL_HEIGHT_M.high))
            if kind == "falls"
            else (RUNNING_SPEED_M_S.low, RUNNING_SPEED_M_S.likely, RUNNING_SPEED_M_S.high)
        )
        speed = spread(likely * per_m, (likely / low, d_down), (high / likely, d_up))
        most = float(max(c.size))
        name = "falling water" if kind == "falls" else "running water"
        part = PartRate(name, "travel", speed_px_s=speed, ends_px=Range(most, most, most))
        # silk once the water has run over three hundredths of the picture's height
        flows = 0.03 * c.size[0] / speed.likely
        direction = 270.0 if kind == "falls" else 0.0
    else:
        # crests run by at their own speed until, a wave later, the next one takes their place
        speeds = [deep_water_speed_m_s(t) for t in (period.low, period.likely, period.high)]
        lengths = [deep_water_length_m(t) for t in (period.low, period.likely, period.high)]
        slant = 0.64
        speed = spread(
            slant * speeds[1] * per_m, (speeds[1] / speeds[0], d_down, 2.0), (speeds[2] / speeds[1], d_up, 1.0 / slant)
        )
        ends = spread(
            slant * lengths[1] * per_m,
            (lengths[1] / lengths[0], d_down, 2.0),
            (lengths[2] / lengths[1], d_up, 1.0 / slant),
        )
        # nothing blurs further than across the picture
        most = float(max(c.size))
        ends = Range(min(ends.low, most), min(ends.likely, most), min(ends.high, most))
        part = PartRate("waves", "travel", speed_px_s=speed, ends_px=ends)
        flows = 0.5 * period.likely
        direction = 0.0
    known = replace(
        c.by_wind(Moving.WAVES, told),
        wave_period_s=period,
        period_from_clip=measured is not None,
        water_kind=kind,
        looks_like_falls=seen_as_falls,
    )
    if kind in ("falls", "stream"):
        known = replace(
            known,
            by=KnownBy.USUAL,
            moving=Moving.FALLS if kind == "falls" else Moving.STREAM,
            wind_m_s=None,
            speed_m_s=part.speed_px_s.likely / per_m,
        )
    return ClassRate("water", (part,), distance, known, flows, direction), period


def looks_like_falls(scene: SceneMap) -> bool:
    """Water much taller than wide, reaching above the middle of the picture, reads as falling."""
    mask = scene.label == CLASS_ID["water"]
    if not mask.any():
        return False
    rows = np.flatnonzero(mask.any(axis=1))
    wide = float(np.median(mask.sum(axis=1)[rows]))
    tall = float(np.percentile(run_heights(mask), 75))
    return bool(tall > 1.6 * wide and tall > 0.2 * mask.shape[0] and rows[0] < 0.5 * mask.shape[0])


def _clouds(drift: CloudDrift, px_per_rad: float) -> ClassRate:
    speed = Range(
        *(math.radians(w) * px_per_rad for w in (drift.deg_per_s.low, drift.deg_per_s.likely, drift.deg_per_s.high))
    )
    streaks = ELEMENT_DEG.likely / drift.deg_per_s.likely if drift.deg_per_s.likely > 0.0 else None
    part = PartRate("drift", "travel", speed_px_s=speed)
    far = Range(FARTHEST_M, FARTHEST_M, FARTHEST_M)
    return ClassRate("cloud", (part,), far, drift.known, streaks, drift.image_deg)


def _people_and_boats(c: _Context, water_share: float) -> ClassRate:
    told = c.distance("other")
    distance = told[0]
    per_m = c.px_per_rad / distance.likely
    d_down, d_up = distance.high / distance.likely, distance.likely / distance.low
    if water_share > LEAST_SHARE and c.geometry.others_afloat:
        # a mast of 6 m, rolling by half a degree in a calm and a quarter degree more for each m/s, at most 8
        roll = math.radians(min(8.0, 0.5 + 0.25 * c.wind.likely))
        amplitude = spread(6.0 * math.sin(roll) * per_m, (2.5, d_down), (2.5, d_up))
        swing = spread(0.15 * (1.0 + c.wind.likely / 5.0) * per_m, (3.0, d_down), (3.0, d_up))
        parts = (
            PartRate("roll", "sway", amplitude, Range(0.15, 0.28, 0.45)),
            PartRate("drift at anchor", "sway", swing, Range(0.008, 0.015, 0.03)),
        )
        return ClassRate("other", parts, distance, c.by_wind(Moving.BOATS, told), 8.0, 0.0)
    speed = spread(
        WALKING_M_S.likely * per_m,
        (WALKING_M_S.likely / WALKING_M_S.low, d_down),
        (WALKING_M_S.high / WALKING_M_S.likely, d_up),
    )
    # half a metre of body is thinned to a tenth once it has walked five metres
    most = float(max(c.size))
    part = PartRate("people walking", "travel", speed_px_s=speed, ends_px=Range(most, most, most))
    known = replace(c.by_wind(Moving.PEOPLE, told), by=KnownBy.USUAL, wind_m_s=None)
    return ClassRate("other", (part,), distance, known, 5.0 / WALKING_M_S.likely, 0.0)


def _afloat(scene: SceneMap, mask: np.ndarray) -> bool:
    """Whether most of what lies just below these pixels is water."""
    below = np.zeros_like(mask)
    below[1:] = mask[:-1]
    edge = below & ~mask
    return bool(edge.any() and (scene.label[edge] == CLASS_ID["water"]).mean() > 0.5)


def _tripod(c: _Context) -> ClassRate:
    wind, px_per_rad = c.wind, c.px_per_rad

    def amplitude(w: float, urad: float) -> float:
        return urad * 1e-6 * (w * TRIPOD_RATIO / 5.0) ** 2 * px_per_rad

    urad = TRIPOD_URAD_5
    likely = amplitude(wind.likely, urad.likely)
    a = spread(
        likely,
        (urad.likely / urad.low, _ratio(wind.likely, wind.low) ** 2),
        (urad.high / urad.likely, _ratio(wind.high, wind.likely) ** 2),
    )
    part = PartRate("shake", "sway", a, TRIPOD_HZ)
    return ClassRate("tripod", (part,), Range(0.0, 0.0, 0.0), c.by_wind(Moving.TRIPOD, None))


def _from_clip(
    rate: ClassRate, amplitude: Range, frequency_hz: Range, clip: ClipMotion, px_per_rad: float
) -> ClassRate:
    scale = px_per_rad / clip.px_per_rad
    a = Range(amplitude.low * scale, amplitude.likely * scale, amplitude.high * scale)
    part = PartRate("measured sway", "sway", a, frequency_hz, gust_gain=CLIP_DOUBT)
    flows = 2.0 / frequency_hz.likely if rate.flows_from_s is not None or a.likely > 1.0 else None
    known = replace(rate.known, by=KnownBy.CLIP, clip_s=clip.length_s)
    return replace(rate, parts=(part,), known=known, flows_from_s=flows)
