"""Another light than the snap's own: a what-if on the snap's own shadows, never a forecast.

Factors of every kind of surface, the darkness of open shade, and sky and water follow the planned light. Where shadows
fall, how surfaces stand to the sun and where the clouds are stays as the snap has it, and that is said.
"""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import datetime

from irpreview.core.light.daylight import check_time, haze_aod, light_for
from irpreview.core.light.light_plan import SIDE_WORDS
from irpreview.errors import BadValue
from irpreview.records import Kit, Light, LightBy, LightKnown, Place

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


def planned_words(light: Light, snap_light: Light, snap_known: bool) -> tuple[str, ...]:
    """What has to be said beside a picture in a planned light: what it is, and how the snap's light differs."""
    said = [
        f"this is a what-if, no forecast: the snap as it would look with the sun {light.sun_height_deg:.0f} degrees "
        "high, on the snap's own shadows; weather and clouds are not predicted"
    ]
    if not snap_known:
        said.append("the light that the snap was taken in is not known, so it may differ from the planned one")
        return tuple(said)
    apart = []
    if abs(light.sun_height_deg - snap_light.sun_height_deg) >= OTHER_SUN_DEG:
        apart.append(f"the sun stood {snap_light.sun_height_deg:.0f} degrees high")
    sides = light.sun_side, snap_light.sun_side
    if "unknown" not in sides and sides[0] != sides[1]:
        apart.append(f"{SIDE_WORDS[sides[1]]} instead of {SIDE_WORDS[sides[0]]}")
    elif light.sun_bearing_deg is not None and snap_light.sun_bearing_deg is not None:
        turned = abs((light.sun_bearing_deg - snap_light.sun_bearing_deg + 180.0) % 360.0 - 180.0)
        if turned >= 30.0:
            apart.append(f"the sun stood {turned:.0f} degrees further round")
    ratio = max(light.haze_aod, 1e-3) / max(snap_light.haze_aod, 1e-3)
    if not 1 / OTHER_HAZE < ratio < OTHER_HAZE:
        apart.append("with more haze" if ratio < 1 else "with less haze")
    if apart:
        said.append(
            f"this snap's light differs from the planned one ({', '.join(apart)}): shadows will fall otherwise, "
            "so take another snap in that light before you rely on it"
        )
    return tuple(said)


def leak_words(kit: Kit, share: float) -> tuple[str, ...]:
    """The sentence on a filter that lets visible light through; share: that light over the infrared signal."""
    if share < MUCH_LEAK:
        return ()
    return (
        f"visible light that leaks through the filter of {kit.name} is {100 * share:.0f} % of the infrared on this "
        "sensor: skies come out lighter and leaves darker than behind a tight filter",
    )
