"""The light in words: where it comes from and how sure it is. Never with coordinates."""

from __future__ import annotations

from irpreview.core.words.saying import in_words
from irpreview.records import Light, LightBy, Words


@in_words.register
def _(light: Light) -> Words:
    sun = f"sun {light.sun_height_deg:.0f} degrees high"
    short = f"Sun {light.sun_height_deg:.0f}° high"
    haze = "the snap's own" if light.known.haze is None else str(light.known.haze)
    match light.known.by:
        case LightBy.ASSUMED:
            return Words(f"assumed: {light.sky_state.replace('_', ' ')} sky, {sun}", f"{short}, assumed")
        case LightBy.ASSUMED_NO_DAYLIGHT:
            return Words(
                f"assumed: {light.sky_state.replace('_', ' ')} sky, {sun}; at the given place and time the sun is down",
                f"{short}, assumed: the sun is down at the given time",
            )
        case LightBy.PLACE_AND_TIME:
            return Words(
                f"{sun}, from place and time; haze {'not known' if haze == 'unknown' else haze}",
                f"{short}, by place and time",
            )
        case LightBy.PLANNED_TIME:
            when = "" if light.known.planned_for is None else f"{light.known.planned_for:%Y-%m-%d %H:%M}, "
            return Words(f"planned: {when}{sun}; haze {haze}", f"Planned: {when}{sun}")
        case LightBy.PLANNED_HEIGHT:
            return Words(f"planned: {sun}; haze {haze}", f"Planned: {sun}")
