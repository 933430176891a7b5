"""Cloud drift: height of the base, speed aloft, and the angular speed and direction seen in the picture.

Sources: base 125 m per kelvin of dew-point spread (AMS Glossary); layer heights, WMO cloud atlas; angular speed of a
flat layer, geometry; drift against ground wind, assumptions fitted to old theodolite tables. Timing a cloud across a
fist at arm's length (ten degrees, common practice) needs neither height nor speed and is preferred.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from irpreview.errors import BadValue
from irpreview.records import CloudDrift, CloudHeightBy, Conditions, HowKnown, KnownBy, Moving, Range

FIST_DEG = 10.0
LOWEST_ELEVATION_DEG = 5.0
"""Below it the flat layer no longer holds (curved Earth). [deg]"""
LOW_CLOUD_TOP_M = 2000.0
HIGH_CLOUD_BASE_M = 6000.0
ELEMENT_DEG = Range(2.0, 5.0, 15.0)
"""Width of one cloud or gap: cumulus 5-20, altocumulus 1-5 degrees (WMO atlas; cumulus assumed)."""


def cloud_base_m(temperature_c: float, dew_point_c: float) -> float:
    """Base of convective cloud in well-mixed air, 125 (T - Td). [m]"""
    if dew_point_c > temperature_c:
        raise BadValue(
            f"dew point {dew_point_c:g} degC is above the temperature {temperature_c:g} degC: it is at most as high; "
            "check the two"
        )
    return 125.0 * (temperature_c - dew_point_c)


def angular_speed_deg_s(speed_m_s: float, height_m: float, elevation_deg: float, angle_deg: float) -> float:
    """Apparent speed of a cloud in a flat layer: (v / h) sin e sqrt(1 - cos^2 psi cos^2 e). [deg/s]

    `angle_deg` (psi): between drift and line of sight on the ground, 0 = straight towards or away.
    """
    e, psi = math.radians(elevation_deg), math.radians(angle_deg)
    return math.degrees(
        speed_m_s / height_m * math.sin(e) * math.sqrt(max(0.0, 1.0 - (math.cos(psi) * math.cos(e)) ** 2))
    )


def image_direction_deg(toward_deg: float, heading_deg: float, elevation_deg: float) -> float:
    """Direction of drift in the picture, 0 = right, 90 = up, at this elevation above the middle of the horizon. [deg]

    A layer at height h seen at (x, y) moves by dx/dt = (y / h)(Vx - x Vz / f), dy/dt = -(y / h) y Vz / f.
    """
    psi = math.radians(toward_deg - heading_deg)
    away, right = math.cos(psi), math.sin(psi)
    return math.degrees(math.atan2(-away * math.tan(math.radians(elevation_deg)), right)) % 360.0


def toward_from_image(image_deg: float, heading_deg: float, elevation_deg: float) -> float:
    """Bearing towards which a cloud layer drifts, from its direction in the picture; inverse of the above. [deg]"""
    a = math.radians(image_deg)
    away = -math.sin(a) / math.tan(math.radians(elevation_deg))
    return (heading_deg + math.degrees(math.atan2(math.cos(a), away))) % 360.0


@dataclass(frozen=True, slots=True)
class CloudLayer:
    """Height and speed of a layer, and what they come from."""

    height_m: Range
    speed_m_s: Range
    height_by: CloudHeightBy
    layer: Literal["low", "middle", "high"]


def cloud_layer(conditions: Conditions, wind: Range) -> CloudLayer:
    """The cloud layer as far as the day tells. Its speed never falls with ground wind."""
    height, by = None, CloudHeightBy.ASSUMED_LOW
    if conditions.cloud_height_m is not None:
        h = conditions.cloud_height_m
        if not 50.0 <= h <= 20000.0:
            raise BadValue(f"cloud height {h:g} m cannot be used: 50 to 20000 m above the camera; check the unit")
        height, by = Range(0.85 * h, h, 1.15 * h), CloudHeightBy.GIVEN
    elif conditions.temperature_c is not None and conditions.dew_point_c is not None:
        h = max(100.0, cloud_base_m(conditions.temperature_c, conditions.dew_point_c))
        height, by = Range(0.75 * h, h, 1.4 * h), CloudHeightBy.DEW_POINT
    if height is not None and height.likely > HIGH_CLOUD_BASE_M:
        return CloudLayer(height, Range(15.0, 30.0, 60.0), by, "high")
    if height is not None and height.likely > LOW_CLOUD_TOP_M:
        return CloudLayer(height, Range(8.0, 16.0, 30.0), by, "middle")
    height = height or Range(600.0, 1100.0, 3500.0)
    speed = Range(max(1.5, 1.2 * wind.low), max(3.0, 1.6 * wind.likely), max(8.0, 2.5 * wind.high))
    return CloudLayer(height, speed, by, "low")


def cloud_drift(
    conditions: Conditions,
    wind: Range,
    elevation_deg: float,
    heading_deg: float | None = None,
    latitude_deg: float | None = None,
) -> CloudDrift:
    """Drift of the clouds in view, from a timed fist if there is one, else from height and speed. [deg/s]"""
    elevation = max(elevation_deg, LOWEST_ELEVATION_DEG)
    toward = image = None
    if conditions.wind_from_deg is not None:
        # the wind veers with height north of the equator and backs south of it, by some 15 degrees
        turn = -15.0 if latitude_deg is not None and latitude_deg < 0.0 else 15.0
        toward = (conditions.wind_from_deg + 180.0 + turn) % 360.0
        if heading_deg is not None:
            image = image_direction_deg(toward, heading_deg, elevation)
    if conditions.cloud_fist_s is not None:
        t = conditions.cloud_fist_s
        if not 1.0 <= t <= 36000.0:
            raise BadValue(f"a cloud crossing a fist in {t:g} s cannot be used: 1 to 36000 s; time it again")
        omega = FIST_DEG / t
        error = math.hypot(0.15, 1.0 / t)
        drift = Range(omega / (1.0 + 1.65 * error), omega, omega * (1.0 + 1.65 * error))
        return CloudDrift(drift, toward, image, HowKnown(KnownBy.FIST, Moving.CLOUDS, fist_s=t))
    layer = cloud_layer(conditions, wind)
    height, speed = layer.height_m, layer.speed_m_s
    if toward is not None and heading_deg is not None:
        psi = abs((toward - heading_deg + 180.0) % 360.0 - 180.0)
        across = [angular_speed_deg_s(1.0, 1.0, elevation, p) for p in (psi - 20.0, psi, psi + 20.0)]
        low_g, likely_g, high_g = min(across), across[1], max(across)
    else:
        # direction to the view unknown: radial is the slowest, crosswise the fastest, rms over all in between
        low_g, high_g = (angular_speed_deg_s(1.0, 1.0, elevation, p) for p in (0.0, 90.0))
        likely_g = math.sqrt((low_g**2 + high_g**2) / 2.0)
    likely = speed.likely / height.likely * likely_g
    # independent doubts in speed, height and direction add as squares of their logarithms
    down = _log_sum(speed.likely / speed.low, height.high / height.likely, likely_g / low_g)
    up = _log_sum(speed.high / speed.likely, height.likely / height.low, high_g / likely_g)
    known = HowKnown(
        KnownBy.WIND_UNKNOWN if conditions.wind_m_s is None else KnownBy.WIND_GIVEN,
        Moving.CLOUDS,
        wind_m_s=wind,
        cloud_height_m=height.likely,
        cloud_height_by=layer.height_by,
        cloud_speed_m_s=speed.likely,
        cloud_layer=layer.layer,
    )
    return CloudDrift(Range(likely / down, likely, likely * up), toward, image, known)


def _log_sum(*ratios: float) -> float:
    return math.exp(math.hypot(*(math.log(max(r, 1.0)) for r in ratios)))


def check_direction(wind_from_deg: float | None) -> None:
    """BadValue unless a bearing of 0 to 360 degrees, or None."""
    if wind_from_deg is not None and not (math.isfinite(wind_from_deg) and 0.0 <= wind_from_deg <= 360.0):
        raise BadValue(f"wind direction {wind_from_deg:g} degrees: 0 to 360, where it blows from, true north 0")
