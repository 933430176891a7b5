"""A day out in words: one row for each stay, why a place is left out, what to doubt. Never with coordinates.

`day_rows` is the plan as a table for whichever medium: `HEADINGS` over it, one row of texts for each stay.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from types import MappingProxyType
from typing import Literal

from irpreview.core.words.light_words import SIDE_WORDS
from irpreview.core.words.phrases import cap, counted, listed
from irpreview.core.words.saying import in_words
from irpreview.records import Caution, SunSide, Words
from irpreview.records.day_plan import DayPlanDoubt, DayPlanDoubtKind, LeftOut, LeftOutReason, PlannedDay, Stay

HEADINGS = ("stay", "place", "way there", "light", "in hand")
FAIR_LIGHT = 0.4
"""Mean worth of light from which a stay is worth something without being right [choice]."""
_SIDES: Mapping[SunSide, str] = MappingProxyType({**SIDE_WORDS, "unknown": "sun side not known"})


def duration_text(minutes: float) -> str:
    """A time in hours and minutes as it is said: "40 min", "1 h", "2 h 5 min", "3 days"."""
    hours, rest = divmod(round(minutes), 60)
    if hours >= 48:
        return f"{hours / 24:.0f} days"
    return " ".join(
        part for part in (f"{hours} h" if hours else "", f"{rest} min" if rest or not hours else "") if part
    )


def length_said(metres: float) -> str:
    """A straight distance as it is said: "120 m", "3.4 km", "42 km"."""
    if metres < 995.0:
        return f"{round(metres, -1):.0f} m"
    return f"{metres / 1000:.1f} km" if metres < 9950.0 else f"{metres / 1000:.0f} km"


def clock(when: datetime, first: datetime) -> str:
    """A clock time, with its day where the plan did not begin on it, and its zone where the clocks have changed."""
    text = f"{when:%H:%M}" if when.date() == first.date() else f"{when:%a %H:%M}"
    return text if when.utcoffset() == first.utcoffset() else f"{text} ({when:%Z})"


def sides_text(stay: Stay) -> str:
    """Where the sun stands over a stay."""
    said = [_SIDES[side] for side in stay.sun_sides]
    return " then ".join([said[0], *(text.removeprefix("sun ") for text in said[1:])])


def light_word(stay: Stay) -> Literal["right", "fair", "poor"]:
    """How good the light of a stay is."""
    return "right" if stay.right_light else "fair" if stay.light >= FAIR_LIGHT else "poor"


def light_text(stay: Stay, *, with_heights: bool = True) -> str:
    """The light of a stay in a line. with_heights: sun heights, which with the time tell the place."""
    low, high = sorted(round(h) for h in stay.sun_height_deg)
    height = f", {low}° high" if low == high else f", {low} to {high}° high"
    frame = ", sun in the frame" if stay.sun_in_frame else ""
    return f"{light_word(stay)}: {sides_text(stay)}{height if with_heights else ''}, {stay.hardness} light{frame}"


def way_text(stay: Stay, plan: PlannedDay) -> str:
    """The way to a stay."""
    if plan.start is None and stay is plan.stays[0]:
        return "the day starts here"
    if stay.travel_min == 0:
        return "at the same spot"
    leave = (stay.begin.astimezone(UTC) - timedelta(minutes=stay.travel_min)).astimezone(stay.begin.tzinfo)
    return f"{length_said(stay.distance_m)}, {duration_text(stay.travel_min)}: leave by {clock(leave, plan.first)}"


def in_hand_text(stay: Stay) -> str:
    """Time in hand before a stay, and how late it may begin."""
    before = f"{duration_text(stay.spare_min)} in hand" if stay.spare_min else "no time in hand"
    slip = f"may begin {duration_text(stay.may_slip_min)} later" if stay.may_slip_min else "begin on time"
    return f"{before}; {slip}"


def stay_row(stay: Stay, plan: PlannedDay, *, with_heights: bool = True) -> tuple[str, ...]:
    """One stay under `HEADINGS`."""
    span = f"{clock(stay.begin, plan.first)} to {clock(stay.end, plan.first)}"
    return span, stay.view.name, way_text(stay, plan), light_text(stay, with_heights=with_heights), in_hand_text(stay)


def day_rows(plan: PlannedDay, *, with_heights: bool = True) -> tuple[tuple[str, ...], ...]:
    """The stays in their order, each a row under `HEADINGS`. with_heights: sun heights, which tell the place."""
    return tuple(stay_row(stay, plan, with_heights=with_heights) for stay in plan.stays)


def hours_text(stay: Stay | LeftOut, plan: PlannedDay) -> str:
    """When the light is right for a view, and how long it is hard."""
    spans = [f"{clock(a, plan.first)} to {clock(b, plan.first)}" for a, b in stay.hours.right]
    right = f"right light {listed(spans)}" if spans else "no right light for this view in these hours"
    return f"{right}; hard light for {stay.hours.hard_light_h:g} h"


def day_headline(plan: PlannedDay) -> str:
    """The answer in one sentence."""
    asked, right = len(plan.stays) + len(plan.left_out), sum(stay.right_light for stay in plan.stays)
    if not plan.stays:
        return (
            f"None of the {counted(asked)} places can be had in any useful light."
            if asked > 1
            else (f"{plan.left_out[0].view.name} cannot be had in any useful light.")
        )
    if asked == 1:
        return f"{plan.stays[0].view.name} in {light_word(plan.stays[0])} light."
    text = f"{cap(counted(right))} of {counted(asked)} places in their right light"
    other = len(plan.stays) - right
    if other:
        text += f", {counted(other)} in lesser light"
    if plan.left_out:
        text += f", {counted(len(plan.left_out))} left out"
    return f"{text}; {duration_text(plan.in_hand_min)} in hand."


def sun_sentence(plan: PlannedDay) -> str:
    """When the sun is up on that day or those days."""
    midnight = plan.first.replace(hour=0, minute=0, second=0, microsecond=0, fold=0).astimezone(UTC)
    if not plan.sun_up:
        return "The sun stays down all day."
    length = sum(((b.astimezone(UTC) - a.astimezone(UTC)) for a, b in plan.sun_up), timedelta())
    if len(plan.sun_up) == 1 and plan.sun_up[0][0].astimezone(UTC) == midnight and length >= timedelta(hours=23):
        return "The sun stays up all day."
    spans = [f"{clock(_minute(a), plan.first)} to {clock(_minute(b), plan.first)}" for a, b in plan.sun_up]
    return f"Sun up {listed(spans)}."


def _minute(when: datetime) -> datetime:
    """To the nearest minute."""
    return (when.astimezone(UTC) + timedelta(seconds=30)).astimezone(when.tzinfo).replace(second=0, microsecond=0)


def back_sentence(plan: PlannedDay) -> str | None:
    """The way back to the start; None without one."""
    if plan.back_at is None:
        return None
    return f"Back at the start {clock(plan.back_at, plan.first)} ({length_said(plan.back_distance_m)})."


def left_out_sentence(one: LeftOut, plan: PlannedDay, *, with_heights: bool = True) -> str:
    """Why a place is left out. with_heights: sun heights, which with the time tell the place."""
    name, stay, last = one.view.name, duration_text(one.view.stay_min), clock(plan.last, plan.first)
    match one.reason:
        case LeftOutReason.TOO_FAR if one.travel_min == 0:
            return f"{name}: a stay of {stay} does not fit between {clock(plan.first, plan.first)} and {last}."
        case LeftOutReason.TOO_FAR:
            home = " and back" if plan.back_at_start else ""
            return (
                f"{name}: {length_said(one.distance_m)} from the start, {duration_text(one.travel_min)} one way; "
                f"that{home} and {stay} there do not fit before {last}."
            )
        case LeftOutReason.OWN_HOURS:
            hours = "" if one.view.hours is None else " to ".join(clock(t, plan.first) for t in one.view.hours)
            return f"{name}: its own hours, {hours}, leave no room for the way and {stay} there."
        case LeftOutReason.NO_SUN:
            highest = f" (highest {one.hours.highest_deg:.0f}°)" if with_heights else ""
            return f"{name}: the sun stays too low while you could be there{highest}."
        case LeftOutReason.NO_LIGHT:
            return f"{name}: the sun never lights this view well enough while you could be there."
        case LeftOutReason.NO_ROOM:
            when = "" if one.alone_begin is None else clock(one.alone_begin, plan.first)
            light = "its right light" if one.alone_right else "its best light"
            return f"{name}: no room beside the others; alone it would have {light} from {when}."


@in_words.register
def _(doubt: DayPlanDoubt) -> Words:
    names, value = listed(doubt.names), doubt.value or 0.0
    match doubt.kind:
        case DayPlanDoubtKind.STRAIGHT_WAYS:
            return Words(
                f"ways are straight distances times {value:g} for detours: a real path is often longer, and rivers, "
                "fences and climbs are not known; check each on a map",
                f"ways: straight distance times {value:g}",
            )
        case DayPlanDoubtKind.CLEAR_SKY_ONLY:
            return Words(
                "astronomy and a clear sky only: clouds, hills and trees in the way are not known",
                "clear sky assumed, no hills",
            )
        case DayPlanDoubtKind.TIDE_AND_WEATHER:
            return Words(
                "tide, sea state, wind and weather are left to you: look them up for every stay and every way",
                "look up tide and weather yourself",
            )
        case DayPlanDoubtKind.ZONE_BY_LONGITUDE:
            return Words(
                f"no time zone given: times are {names}, the clock may differ by an hour or two; give --zone",
                f"times are {names}",
            )
        case DayPlanDoubtKind.NO_START:
            return Words(
                "no start given: the way to the first place is not counted; give --start",
                "way to the first not counted",
            )
        case DayPlanDoubtKind.NO_HEADING:
            return Words(
                f"no view direction for {names}: where the sun stands to the picture is not known there",
                f"no view direction: {names}",
            )
        case DayPlanDoubtKind.SAME_VIEW:
            one, other = doubt.names
            return Words(
                f"{one} shows the same place and direction as {other}: one stay for both", f"{one}: same as {other}"
            )
        case DayPlanDoubtKind.CLIMB_LEFT_OUT:
            return Words(
                f"{value:.0f} m of climbing are not counted: on foot about {duration_text(value / 10.0)} more "
                "(Naismith's rule, an hour for 600 m)",
                f"{value:.0f} m of climbing not counted",
            )
        case DayPlanDoubtKind.CLOCK_TWICE:
            return Words(
                f"the clock shows {names} twice that day: the first is taken",
                f"{names} comes twice: the first is taken",
            )


def told_cautions(plan: PlannedDay, *, with_place: bool) -> tuple[Caution, ...]:
    """The cautions; without the place also without the times of sunrise and sunset, which tell it."""
    return plan.cautions if with_place else tuple(replace(one, sun_line=None) for one in plan.cautions)


def told_doubts(plan: PlannedDay, *, with_place: bool) -> tuple[DayPlanDoubt, ...]:
    """The doubts; without the place also without the zone that its longitude gave."""
    return tuple(one for one in plan.doubts if with_place or one.kind != DayPlanDoubtKind.ZONE_BY_LONGITUDE)
