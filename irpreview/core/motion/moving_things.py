"""The rate of each thing that moves: plants, water, clouds, people and boats, the tripod.

Every rate is a range (5 / 50 / 95 %); doubts in amplitude, wind and distance are independent and add as squares of
their logarithms. Amplitudes, tripod and walking speeds are assumptions and are named so in `HowKnown`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from irpreview.core.imaging.picture_geometry import FARTHEST_M
from irpreview.core.motion.class_rates import ClassRate, PartRate, spread
from irpreview.core.motion.cloud_drift import ELEMENT_DEG
from irpreview.core.motion.scene_geometry import SceneGeometry
from irpreview.core.motion.sway import SwayingPart, together
from irpreview.core.motion.water_motion import (
    FALL_HEIGHT_M,
    RUNNING_SPEED_M_S,
    deep_water_length_m,
    deep_water_speed_m_s,
    fall_speed_m_s,
    wave_period,
)
from irpreview.core.motion.wind import LAKE_RATIO, TRIPOD_RATIO
from irpreview.errors import BadValue
from irpreview.records import (
    CloudDrift,
    Conditions,
    DistanceBy,
    DistanceEstimated,
    Doubt,
    HowKnown,
    KnownBy,
    Moving,
    Range,
)

if TYPE_CHECKING:
    from irpreview.core.motion.clip_motion import ClipMotion

PRINT_SHARP = 1500.0
"""Picture diagonal over the blur that still looks sharp on a print (d/1500, trade practice)."""
LEAST_SHARE = 0.001
"""A class below this share of the picture is not spoken of."""
WALKING_M_S = Range(0.8, 1.4, 2.0)
TRIPOD_URAD_5 = Range(8.0, 25.0, 90.0)
"""Amplitude of a tripod's shake in 5 m/s at the camera, growing with the square of the wind (assumed)."""
TRIPOD_HZ = Range(5.0, 12.0, 25.0)
CLIP_DOUBT = 1.4
"""A few seconds of sway measure its rms only within this factor (simulated, 5 to 10 s)."""


@dataclass(frozen=True, slots=True)
class Context:
    """What each rate is made of: the scene's geometry, the wind, the lens; doubts gather in it."""

    geometry: SceneGeometry
    size: tuple[int, int]
    """(H, W) of the snap. [px]"""
    conditions: Conditions
    wind: Range
    gust_m_s: float
    px_per_rad: float
    doubts: list[Doubt]

    def distance(self, name: str) -> tuple[Range, DistanceBy]:
        """Distance of a class [m], as given or estimated, and how it is known. Raises BadValue."""
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


def _ratio(a: float, b: float) -> float:
    return a / b if b > 0.0 else 1.0


def plants_rate(c: Context, name: str, parts: tuple[SwayingPart, ...], ratio: float) -> ClassRate:
    """Foliage or grass swaying. ratio: wind at the plants over the wind at 10 m."""
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


def _flow_of_sway(parts: tuple[PartRate, ...], c: Context) -> float | None:
    """Foliage melts once its slowest part has swung twice and its blur is plain; else never. [s]"""
    limit = math.hypot(*c.size) / PRINT_SHARP
    if together([2.0 * p.amplitude_px.likely for p in parts]) < 3.0 * limit:
        return None
    return 2.0 / min(p.frequency_hz.likely for p in parts)


def water_rate(c: Context, measured: Range | None = None) -> tuple[ClassRate, Range]:
    """(Water running by, its period of waves [s]). measured: a clip's period [s]."""
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


def clouds_rate(drift: CloudDrift, px_per_rad: float) -> ClassRate:
    """Clouds drifting across the picture."""
    speed = Range(
        *(math.radians(w) * px_per_rad for w in (drift.deg_per_s.low, drift.deg_per_s.likely, drift.deg_per_s.high))
    )
    streaks = ELEMENT_DEG.likely / drift.deg_per_s.likely if drift.deg_per_s.likely > 0.0 else None
    part = PartRate("drift", "travel", speed_px_s=speed)
    far = Range(FARTHEST_M, FARTHEST_M, FARTHEST_M)
    return ClassRate("cloud", (part,), far, drift.known, streaks, drift.image_deg)


def people_and_boats_rate(c: Context, water_share: float) -> ClassRate:
    """What is neither land nor sky: boats rolling where it floats on water, else people walking."""
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


def tripod_rate(c: Context) -> ClassRate:
    """The camera shaken by the wind."""
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


def measured_by_clip(
    rate: ClassRate, amplitude: Range, frequency_hz: Range, clip: ClipMotion, px_per_rad: float
) -> ClassRate:
    """The rate with what a clip measured in place of the wind table. amplitude: in pixels of the clip."""
    scale = px_per_rad / clip.px_per_rad
    a = Range(amplitude.low * scale, amplitude.likely * scale, amplitude.high * scale)
    part = PartRate("measured sway", "sway", a, frequency_hz, gust_gain=CLIP_DOUBT)
    flows = 2.0 / frequency_hz.likely if rate.flows_from_s is not None or a.likely > 1.0 else None
    known = replace(rate.known, by=KnownBy.CLIP, clip_s=clip.length_s)
    return replace(rate, parts=(part,), known=known, flows_from_s=flows)
