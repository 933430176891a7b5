"""Another light than the snap's own: a what-if on the snap's own shadows, never a forecast.

Factors of every kind of surface, the darkness of open shade, and sky and water follow the planned light. Where shadows
fall, how surfaces stand to the sun and where the clouds are stays as the snap has it, and that is said.
"""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import datetime

from irpreview.core.light.daylight import check_time, haze_aod, light_for
from irpreview.errors import BadValue
from irpreview.records import (
    Doubt,
    FilterLeaks,
    Kit,
    Light,
    LightBy,
    LightDiffers,
    LightKnown,
    Place,
    SnapLightUnknown,
    WhatIf,
)

LOWEST_PLANNED_DEG = 1.0
OTHER_SUN_DEG = 10.0
"""A sun this much higher or lower throws other shadows [choice]."""
OTHER_HAZE = 1.5
"""Ratio of hazes that shows in the sky [choice]."""
MUCH_LEAK = 0.1
"""Visible light over the infrared signal from which it shows in the picture [choice]."""


def check_asked(sun_height_deg: float | None, time: str | None, place: Place | None, haze: str | None) -> None:
    """Refuse, by the names of the options, what says a planned light twice or only in part. Raises BadValue."""
    if sun_height_deg is not None and time is not None:
        raise BadValue("--planned-sun and --planned-time say the same thing twice; give one of them")
    if place is not None and time is None:
        raise BadValue("--planned-place goes with --planned-time; give the time as well")
    if haze is not None and sun_height_deg is None and time is None:
        raise BadValue("--planned-haze goes with --planned-sun or --planned-time; give one of them as well")


def planned_light(
    snap_light: Light,
    *,
    sun_height_deg: float | None = None,
    when: datetime | None = None,
    place: Place | None = None,
    heading_deg: float | None = None,
    haze: str | float | None = None,
) -> Light:
    """A light to plan with: the sun at a height, or at a place and time; what is not given stays the snap's.

    Raises BadValue when neither is given, or both, or the place of a time is unknown, or the sun is below 1 degree.
    """
    if (sun_height_deg is None) == (when is None):
        raise BadValue("a planned light needs a sun height or a time, not both; give one of them")
    aod = snap_light.haze_aod if haze is None else haze_aod(haze)
    if when is not None:
        check_time(when)
        if place is None:
            raise BadValue("a planned time needs a place to tell the sun by, and the photo has none; give it as well")
        light = light_for(place, when, heading_deg, aod, snap_light.sky_state, planned=True)
        if light.sun_height_deg < LOWEST_PLANNED_DEG:
            raise BadValue(
                f"sun height at {when:%Y-%m-%d %H:%M} {light.sun_height_deg:.0f} degrees: a planned light needs "
                f"{LOWEST_PLANNED_DEG:g} degree or more; choose a time between sunrise and sunset"
            )
        return replace(light, known=LightKnown(LightBy.PLANNED_TIME, haze, when))
    assert sun_height_deg is not None
    if not (math.isfinite(sun_height_deg) and LOWEST_PLANNED_DEG <= sun_height_deg <= 90.0):
        raise BadValue(
            f"planned sun height {sun_height_deg:g} degrees: must be {LOWEST_PLANNED_DEG:g} to 90 above the horizon"
        )
    return replace(
        snap_light,
        sun_height_deg=sun_height_deg,
        haze_aod=aod,
        direct=None,
        sky=None,
        planned=True,
        known=LightKnown(LightBy.PLANNED_HEIGHT, haze),
    )


def planned_doubts(light: Light, snap_light: Light, snap_known: bool) -> tuple[Doubt, ...]:
    """What has to be said beside a picture in a planned light: what it is, and how the snap's light differs."""
    what_if = WhatIf(light.sun_height_deg)
    if not snap_known:
        return (what_if, SnapLightUnknown())
    apart = LightDiffers()
    if abs(light.sun_height_deg - snap_light.sun_height_deg) >= OTHER_SUN_DEG:
        apart = replace(apart, sun_height_deg=snap_light.sun_height_deg)
    sides = snap_light.sun_side, light.sun_side
    if "unknown" not in sides and sides[0] != sides[1]:
        apart = replace(apart, sun_sides=sides)
    elif light.sun_bearing_deg is not None and snap_light.sun_bearing_deg is not None:
        turned = abs((light.sun_bearing_deg - snap_light.sun_bearing_deg + 180.0) % 360.0 - 180.0)
        if turned >= 30.0:
            apart = replace(apart, turned_deg=turned)
    ratio = max(light.haze_aod, 1e-3) / max(snap_light.haze_aod, 1e-3)
    if not 1 / OTHER_HAZE < ratio < OTHER_HAZE:
        apart = replace(apart, haze="more" if ratio < 1 else "less")
    return (what_if,) if apart == LightDiffers() else (what_if, apart)


def leak_doubts(kit: Kit, share: float) -> tuple[Doubt, ...]:
    """A filter that lets much visible light through; share: that light over the infrared signal."""
    return () if share < MUCH_LEAK else (FilterLeaks(kit.name, share),)
