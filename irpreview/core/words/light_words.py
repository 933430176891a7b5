"""The light in words: where it comes from, when it is good, how sure that is. Never with coordinates."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import timedelta
from types import MappingProxyType

from irpreview.core.light.light_plan import QUARTER, DayPlan, LightPlan, Window
from irpreview.core.words.phrases import cap
from irpreview.core.words.saying import both, in_words
from irpreview.records import (
    FilterLeaks,
    Light,
    LightBy,
    LightDiffers,
    LightPlanDoubt,
    LightPlanDoubtKind,
    SnapLightUnknown,
    SunBelowHorizon,
    SunSide,
    WhatIf,
    Words,
)

SIDE_WORDS: Mapping[SunSide, str] = MappingProxyType(
    {
        "behind_camera": "sun behind you",
        "side": "sun at the side",
        "ahead": "into the light",
        "unknown": "view direction not given",
    }
)

LIGHT_FROM: Mapping[SunSide, str] = MappingProxyType(
    {"side": "side light", "behind_camera": "front light", "ahead": "back light"}
)
"""What the hours are good for, in the trade's words; a view without direction has none."""
BEST_HOURS_WITHIN = 0.08
"""Windows so near to the best one, of 1, count as best (a choice: less than the step from side light to flat light)."""


@in_words.register
def _(light: Light) -> Words:
    sun = f"sun {light.sun_height_deg:.0f}° high"
    short = f"Sun {light.sun_height_deg:.0f}° high"
    haze = "the snap's own" if light.known.haze is None else str(light.known.haze)
    haze = "not known" if haze == "unknown" else haze
    match light.known.by:
        case LightBy.ASSUMED:
            return Words(f"assumed: {light.sky_state.replace('_', ' ')} sky, {sun}", f"{short}, assumed")
        case LightBy.ASSUMED_NO_DAYLIGHT:
            return Words(
                f"assumed: {light.sky_state.replace('_', ' ')} sky, {sun}; at the given place and time the sun is down",
                f"{short}, assumed: the sun is down at the given time",
            )
        case LightBy.PLACE_AND_TIME:
            return Words(f"{sun}, from place and time; haze {haze}", f"{short}, from place and time")
        case LightBy.PLANNED_TIME:
            when = "" if light.known.planned_for is None else f"{light.known.planned_for:%Y-%m-%d %H:%M}, "
            return Words(f"planned: {when}{sun}; haze {haze}", f"Planned: {when}{sun}")
        case LightBy.PLANNED_HEIGHT:
            return Words(f"planned: {sun}; haze {haze}", f"Planned: {sun}")


# ---- the light of a day ----------------------------------------------------------------------------------------------


@in_words.register
def _(window: Window) -> Words:
    span = f"{window.start:%H:%M} to {window.end:%H:%M}"
    light = f"{SIDE_WORDS[window.sun_side]}, {window.lowest_deg:.0f} to {window.highest_deg:.0f}° high"
    return Words(
        f"{span}: {light}, {window.hardness} light, sun to shade {window.sunlit_to_shade:.0f} to 1",
        f"{span} {SIDE_WORDS[window.sun_side]}",
    )


@in_words.register
def _(day: DayPlan) -> Words:
    heights = [row.sun_height_deg for row in day.quarters]
    lowest, highest = min(heights), max(heights)
    if highest <= 0.0:
        return both(f"the sun stays down all day (highest {highest:.0f}°), no hard light")
    if lowest > 0.0:
        text = f"the sun stays up all day, {lowest:.0f} to {highest:.0f}° high"
    else:
        up = [row.time for row in day.quarters if row.sun_height_deg > 0.0]
        span = f"sun up about {up[0]:%H:%M} to {up[-1] + QUARTER:%H:%M}"
        if day.windows:
            return Words(f"{span}, highest {highest:.0f}°", span)
        text = f"{span}, highest {highest:.0f}°"
    return both(text if day.windows else f"{text}; no good light for this view")


def hours_of(day: DayPlan) -> tuple[str, ...]:
    """The spans of good light, neighbours joined: where the sun goes to the other side, the light stays good."""
    spans: list[tuple[Window, Window]] = []
    for window in day.windows:
        if spans and spans[-1][1].end == window.start:
            spans[-1] = (spans[-1][0], window)
        else:
            spans.append((window, window))
    return tuple(f"{first.start:%H:%M} to {last.end:%H:%M}" for first, last in spans)


def best_hours(day: DayPlan) -> tuple[str, ...]:
    """The good hours of a fine day fill it; the best are those whose sun comes from the better side."""
    return hours_of(replace(day, windows=_best_windows(day)))


def _best_windows(day: DayPlan) -> tuple[Window, ...]:
    best = max((one.score for one in day.windows), default=0.0) - BEST_HOURS_WITHIN
    return tuple(one for one in day.windows if one.score >= best)


def best_light(day: DayPlan) -> str:
    """The best hours and what they are best for, in one row: `Side light 07:15 to 12:00, 16:15 to 19:15`; empty where
    no hour is good.
    """
    hours, windows = best_hours(day)[:2], _best_windows(day)
    if not hours:
        return ""
    sides = tuple(dict.fromkeys(LIGHT_FROM[one.sun_side] for one in windows if one.sun_side in LIGHT_FROM))
    hardness = max(windows, key=lambda one: one.score).hardness
    light = " or ".join(sides) if sides else f"{hardness} light"
    return f"{cap(light.replace(' light or', ' or'))} {', '.join(hours)}"


def day_lines(plan: LightPlan | None) -> tuple[Words, ...]:
    """When the light serves best: the day, its good hours, and the best of the days after; empty without a plan."""
    if plan is None:
        return ()
    day = plan.days[0]
    said = [Words(*(f"{day.day:%-d %B %Y}: {text}." for text in in_words(day)))]
    for window in day.windows[:3]:
        long, short = in_words(window)
        said.append(Words(f"Good light {long}.", f"{short}."))
    later = [window for window in plan.best if window.start.date() != day.day]
    if later:
        long, short = in_words(later[0])
        when = f"{later[0].start:%-d %B}"
        said.append(Words(f"Best of the two weeks from then: {when}, {long}.", f"Best in two weeks: {when}, {short}."))
    return tuple(said)


def next_good_light(plan: LightPlan) -> str:
    """The next good light after a day without: `Next good light: 3 May, 08:15.`"""
    later = [window for window in plan.best if window.start.date() - plan.days[0].day >= timedelta(days=1)]
    return f"Next good light: {later[0].start:%-d %B, %H:%M}." if later else "No good light that day."


# ---- doubts ----------------------------------------------------------------------------------------------------------


@in_words.register
def _(doubt: WhatIf) -> Words:
    return Words(
        f"A what-if, no forecast: the snap with the sun {doubt.sun_height_deg:.0f}° high, on the snap's own shadows, "
        "weather and clouds.",
        "A what-if on the snap's own shadows, no forecast.",
    )


@in_words.register
def _(_doubt: SnapLightUnknown) -> Words:
    return both("The snap's own light is not known: it may differ from the planned one.")


@in_words.register
def _(doubt: LightDiffers) -> Words:
    apart = []
    if doubt.sun_height_deg is not None:
        apart.append(f"the sun stood {doubt.sun_height_deg:.0f}° high")
    if doubt.sun_sides is not None:
        then, planned = doubt.sun_sides
        apart.append(f"{SIDE_WORDS[then]} instead of {SIDE_WORDS[planned]}")
    if doubt.turned_deg is not None:
        apart.append(f"the sun stood {doubt.turned_deg:.0f}° further round")
    if doubt.haze is not None:
        apart.append(f"{doubt.haze} haze")
    return Words(
        f"The snap's light differs from the planned one ({', '.join(apart)}): shadows will fall elsewhere. Take "
        "another snap in that light before you rely on it.",
        "The snap's light differs from the planned one: shadows will fall elsewhere.",
    )


@in_words.register
def _(doubt: FilterLeaks) -> Words:
    return Words(
        f"This filter leaks visible light, {100 * doubt.share:.0f} % of the infrared on this sensor "
        f"({doubt.kit_name}): skies lighter, foliage darker.",
        "This filter leaks visible light: skies lighter, foliage darker.",
    )


@in_words.register
def _(_doubt: SunBelowHorizon) -> Words:
    return Words(
        "At the snap's place and time the sun is below the horizon: another light is assumed.",
        "The sun is down at the given time: another light is assumed.",
    )


@in_words.register
def _(doubt: LightPlanDoubt) -> Words:
    match doubt.kind:
        case LightPlanDoubtKind.ZONE_BY_LONGITUDE:
            return Words(
                f"No time zone given: times are {doubt.zone}; your clock may differ by an hour or two. Give --zone.",
                f"No time zone given: times are {doubt.zone}.",
            )
        case LightPlanDoubtKind.DAYS_LEFT_OUT:
            days = ", ".join(day.isoformat() for day in doubt.days)
            return both(f"{days} does not exist in {doubt.zone} and is left out.")
        case LightPlanDoubtKind.CLEAR_SKY_ONLY:
            return both("Astronomy and a clear sky only: weather, hills and trees are not known.")
