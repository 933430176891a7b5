"""The sun left out, or so coarse, that what is handed on without its place does not tell the place.

The sun's height at a known time puts a place on a circle around the point under the sun, and one degree of height is
one degree on the ground. In steps of five degrees the circle becomes a band five degrees wide; whatever is worked out
from the step is the same all over the band. But bands cross: eight snaps of one day, each with its own step, leave less
than two degrees. So the steps are for single figures; what is handed on as a whole leaves the sun of the place out.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

from irpreview.core.light.daylight import sun_side
from irpreview.records import Light, LightBy, LightKnown

STEP_DEG = 5.0
BEARING_STEP_DEG = 30.0
LOW_SUN_DEG = 4.0
"""Stands for every sun below the first whole step."""
STEP_OF_TIME = timedelta(minutes=30)
"""The sun goes a step of its height in 20 minutes at the fastest."""


def tells_place(light: Light) -> bool:
    """Whether the height of the sun was worked out from a place, so that with the day it leads back to it."""
    return light.known.by in (LightBy.PLACE_AND_TIME, LightBy.PLANNED_TIME)


def coarse_height_deg(height_deg: float) -> float:
    """Height of the sun in steps. [degrees] Below the horizon it stays there, without a number of its own."""
    if height_deg <= 0.0:
        return -3.0
    step = STEP_DEG * round(height_deg / STEP_DEG)
    return step if step > STEP_DEG else LOW_SUN_DEG


def coarse_light(light: Light, heading_deg: float | None) -> Light:
    """The same light by a sun in steps of height and bearing; as it is where no place went into it."""
    if not tells_place(light):
        return light
    bearing = light.sun_bearing_deg
    if bearing is not None:
        from_view = heading_deg or 0.0
        bearing = (from_view + BEARING_STEP_DEG * round((bearing - from_view) / BEARING_STEP_DEG)) % 360.0
    return replace(
        light,
        sun_height_deg=coarse_height_deg(light.sun_height_deg),
        sun_bearing_deg=bearing,
        sun_side=light.sun_side if bearing is None else sun_side(bearing, heading_deg),
        direct=None,
        sky=None,
    )


def without_its_place(light: Light, heading_deg: float | None) -> Light:
    """The light to hand on without its place. The snap's own is one and the same for every place: the sun as high as
    where no place is known. Of a light planned by place and hour the height is the wish itself: it stays, in steps.
    """
    if light.known.by is LightBy.PLANNED_TIME:
        return coarse_light(light, heading_deg)
    if light.known.by not in (LightBy.PLACE_AND_TIME, LightBy.ASSUMED_NO_DAYLIGHT):
        return light
    return replace(
        light,
        sun_height_deg=Light().sun_height_deg,
        sun_bearing_deg=None,
        sun_side="unknown",
        direct=None,
        sky=None,
        known=LightKnown(LightBy.PLACE_AND_TIME, light.known.haze),
    )


def same_sun(one: Light, other: Light) -> bool:
    """Whether the sun of both stands at one point, or is left out alike."""
    return (one.sun_height_deg, one.sun_bearing_deg, one.known.by) == (
        other.sun_height_deg,
        other.sun_bearing_deg,
        other.known.by,
    )


def coarse_time(when: datetime) -> datetime:
    """The time on the half hour before it."""
    step = int(STEP_OF_TIME.total_seconds() // 60)
    return when.replace(minute=when.minute // step * step, second=0, microsecond=0)
