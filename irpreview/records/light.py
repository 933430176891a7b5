"""The light on the scene and what the photographer knows of the day."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from enum import StrEnum
from types import MappingProxyType
from typing import Literal

from irpreview.records.common import Doubt, Spectrum

SunSide = Literal["behind_camera", "side", "ahead", "unknown"]
SkyState = Literal["clear", "thin_cloud", "broken", "overcast", "unknown"]
Hardness = Literal["hard", "soft", "flat"]
WaterKind = Literal["unknown", "pond", "lake", "sea", "stream", "falls"]


@dataclass(frozen=True, slots=True)
class Conditions:
    """What the photographer knows of the day; None = unknown, never zero."""

    wind_m_s: float | None = None
    gust_m_s: float | None = None
    wind_from_deg: float | None = None
    sky_state: SkyState = "unknown"
    haze: Literal["clear", "normal", "hazy", "unknown"] = "unknown"
    temperature_c: float | None = None
    dew_point_c: float | None = None
    cloud_height_m: float | None = None
    cloud_fist_s: float | None = None
    """Seconds that a cloud takes to cross a fist at arm's length."""
    distance_m: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))
    """Distance per class name, where given."""
    focal_35mm_mm: float | None = None
    water_kind: WaterKind = "unknown"


class LightBy(StrEnum):
    """How the sun's height came to be known."""

    ASSUMED = "assumed"
    """Neither place nor time."""
    ASSUMED_NO_DAYLIGHT = "assumed_no_daylight"
    """Place and time are known, but the sun is down then."""
    PLACE_AND_TIME = "place_and_time"
    PLANNED_TIME = "planned_time"
    PLANNED_HEIGHT = "planned_height"


@dataclass(frozen=True, slots=True)
class LightKnown:
    """How the sun and the haze of a light are known."""

    by: LightBy = LightBy.ASSUMED
    haze: str | float | None = None
    """As it was given, a word or an optical depth; None = the snap's own."""
    planned_for: datetime | None = None


@dataclass(frozen=True, slots=True)
class Light:
    """The light on the scene. Heights and bearings in degrees; spectra in W/m2/nm."""

    sun_height_deg: float = 45.0
    sun_bearing_deg: float | None = None
    sun_side: SunSide = "unknown"
    direct: Spectrum | None = None
    """Direct beam on a horizontal surface."""
    sky: Spectrum | None = None
    """Diffuse on a horizontal surface."""
    haze_aod: float = 0.1
    """Aerosol optical depth at 500 nm."""
    sky_state: SkyState = "clear"
    planned: bool = False
    """True: another light than the snap's, a what-if on the snap's own shadows."""
    known: LightKnown = field(default_factory=lambda: LightKnown())
    """How the sun's height is known."""


# ---- doubts ----------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class WhatIf(Doubt):
    """The picture is shown in another light than the snap's own, on the snap's own shadows."""

    sun_height_deg: float


@dataclass(frozen=True, slots=True)
class SnapLightUnknown(Doubt):
    """The light that the snap was taken in is not known, so it may differ from the planned one."""


@dataclass(frozen=True, slots=True)
class LightDiffers(Doubt):
    """How the light of the snap differs from the planned one; None = in this it does not."""

    sun_height_deg: float | None = None
    """Where the sun stood."""
    sun_sides: tuple[SunSide, SunSide] | None = None
    """(the snap's, the planned one's)."""
    turned_deg: float | None = None
    """How much further round the sun stood."""
    haze: Literal["more", "less"] | None = None
    """Of the snap."""


@dataclass(frozen=True, slots=True)
class FilterLeaks(Doubt):
    """Visible light gets through the filter: its share of the infrared signal."""

    kit_name: str
    share: float


@dataclass(frozen=True, slots=True)
class SunBelowHorizon(Doubt):
    """The snap's place and time have no daylight, so another light is assumed."""


class LightPlanDoubtKind(StrEnum):
    """What a plan of the light cannot know."""

    ZONE_BY_LONGITUDE = "zone_by_longitude"
    DAYS_LEFT_OUT = "days_left_out"
    """The clocks of the zone skipped them."""
    CLEAR_SKY_ONLY = "clear_sky_only"


@dataclass(frozen=True, slots=True)
class LightPlanDoubt(Doubt):
    """What a plan of the light does not know."""

    kind: LightPlanDoubtKind
    zone: str = ""
    days: tuple[date, ...] = ()
