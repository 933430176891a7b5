"""A day out as JSON holds it.

Without its place neither coordinates nor what leads straight back to them: heights and bearings of the sun, what
follows from the height to the figure, the times of sunrise and sunset and the hours of right and hard light are null.
Steps would not do: two heights a stay, at minutes that are told, cross at one place.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Literal

from irpreview.answers.base import Answer, Whole
from irpreview.core.words import in_words, long_words
from irpreview.core.words.day_plan_words import (
    day_headline,
    left_out_sentence,
    light_word,
    stay_row,
    sun_sentence,
    told_cautions,
)
from irpreview.core.words.phrases import cap
from irpreview.records import CautionKind, Place, SunSide
from irpreview.records.day_plan import DayPlanDoubtKind, LeftOut, LeftOutReason, PlannedDay, Stay, ViewHours, Viewpoint
from irpreview.records.light import Hardness


class SpotAnswer(Answer):
    """A place in degrees; only where it was asked for."""

    latitude_deg: float
    longitude_deg: float


class SpanAnswer(Answer):
    """From when to when, with the offset from UTC."""

    start: str
    end: str


class ViewHoursAnswer(Answer):
    """The light of a view between the first and the last hour asked for."""

    right_light: list[SpanAnswer] | None
    hard_light_h: float | None
    highest_sun_deg: float | None


class StayAnswer(Answer):
    """One stay, and the way there."""

    name: str
    snaps: list[str]
    place: SpotAnswer | None
    heading_deg: float | None
    distance_m: int
    travel_min: int
    arrive: str
    begin: str
    end: str
    spare_min: int
    """Between arriving and beginning."""
    may_slip_min: int
    """How much later it may begin, the other stays unmoved and its light no worse."""
    right_light: bool
    light_word: Literal["right", "fair", "poor"]
    light: float | None
    """Mean worth of the light, 0 to 1."""
    sun_height_deg: tuple[float, float] | None
    """At the begin and at the end."""
    sun_bearing_deg: tuple[float, float] | None
    sun_sides: list[SunSide]
    hardness: Hardness
    sunlit_to_shade: float | None
    sun_in_frame: bool | None
    hours: ViewHoursAnswer
    span: str
    """From when to when, as it is said."""
    details: str
    """Way, light and time in hand, in sentences."""
    says: str


class LeftOutAnswer(Answer):
    """A place that is left out, and why."""

    name: str
    snaps: list[str]
    place: SpotAnswer | None
    reason: LeftOutReason
    distance_m: int
    travel_min: int
    alone_begin: str | None
    alone_right: bool
    hours: ViewHoursAnswer
    says: str


class CautionAnswer(Answer):
    """What to take care of."""

    kind: CautionKind
    says: str


class DoubtAnswer(Answer):
    """Why to doubt the plan."""

    kind: DayPlanDoubtKind
    says: str


class DayPlanAnswer(Whole):
    """`irpreview day-plan --json`."""

    kind: Literal["day_plan"] = "day_plan"
    date: str
    first: str
    last: str
    zone: str
    start: SpotAnswer | None
    start_given: bool
    back_at_start: bool
    speed_km_h: float
    detour: float
    kit: str
    says: str
    in_right_light: int
    stays: list[StayAnswer]
    left_out: list[LeftOutAnswer]
    back_at: str | None
    back_distance_m: int
    in_hand_min: int
    sun_up: list[SpanAnswer] | None
    sun_says: str | None
    cautions: list[CautionAnswer]
    doubts: list[DoubtAnswer]
    files: dict[str, str]


def _spot(place: Place | None, with_place: bool) -> SpotAnswer | None:
    if place is None or not with_place:
        return None
    return SpotAnswer(latitude_deg=place.latitude_deg, longitude_deg=place.longitude_deg)


def _span(span: tuple[datetime, datetime]) -> SpanAnswer:
    return SpanAnswer(start=_time(span[0]), end=_time(span[1]))


def _time(when: datetime) -> str:
    return when.isoformat(timespec="seconds")


def _hours(hours: ViewHours, with_place: bool) -> ViewHoursAnswer:
    return ViewHoursAnswer(
        right_light=[_span(span) for span in hours.right] if with_place else None,
        hard_light_h=hours.hard_light_h if with_place else None,
        highest_sun_deg=hours.highest_deg if with_place else None,
    )


def _snaps(view: Viewpoint) -> list[str]:
    return list(view.snaps)


def _stay(stay: Stay, plan: PlannedDay, with_place: bool) -> StayAnswer:
    span, name, *rest = stay_row(stay, plan, with_heights=with_place)
    return StayAnswer(
        name=name,
        snaps=_snaps(stay.view),
        place=_spot(stay.view.place, with_place),
        heading_deg=stay.view.heading_deg,
        distance_m=round(stay.distance_m),
        travel_min=stay.travel_min,
        arrive=_time(stay.arrive),
        begin=_time(stay.begin),
        end=_time(stay.end),
        spare_min=stay.spare_min,
        may_slip_min=stay.may_slip_min,
        right_light=stay.right_light,
        light_word=light_word(stay),
        light=stay.light if with_place else None,
        sun_height_deg=stay.sun_height_deg if with_place else None,
        sun_bearing_deg=stay.sun_bearing_deg if with_place else None,
        sun_sides=list(stay.sun_sides),
        hardness=stay.hardness,
        sunlit_to_shade=stay.sunlit_to_shade if with_place else None,
        sun_in_frame=stay.sun_in_frame,
        hours=_hours(stay.hours, with_place),
        span=span,
        details=f"{'. '.join(cap(text) for text in rest)}.",
        says=f"{span}, {name}. {'. '.join(cap(text) for text in rest)}.",
    )


def _left_out(one: LeftOut, plan: PlannedDay, with_place: bool) -> LeftOutAnswer:
    return LeftOutAnswer(
        name=one.view.name,
        snaps=_snaps(one.view),
        place=_spot(one.view.place, with_place),
        reason=one.reason,
        distance_m=round(one.distance_m),
        travel_min=one.travel_min,
        alone_begin=None if one.alone_begin is None else _time(one.alone_begin),
        alone_right=one.alone_right,
        hours=_hours(one.hours, with_place),
        says=left_out_sentence(one, plan, with_heights=with_place),
    )


def day_plan_answer(plan: PlannedDay, kit: str, files: Mapping[str, str], *, with_place: bool) -> DayPlanAnswer:
    """A day's plan; with_place: with the coordinates."""
    cautions = told_cautions(plan, with_place=with_place)
    return DayPlanAnswer(
        date=f"{plan.first:%Y-%m-%d}",
        first=_time(plan.first),
        last=_time(plan.last),
        zone=plan.zone_words,
        start=_spot(plan.start, with_place),
        start_given=plan.start is not None,
        back_at_start=plan.back_at_start,
        speed_km_h=round(plan.travelling.speed_km_h, 3),
        detour=plan.travelling.detour,
        kit=kit,
        says=day_headline(plan),
        in_right_light=sum(stay.right_light for stay in plan.stays),
        stays=[_stay(stay, plan, with_place) for stay in plan.stays],
        left_out=[_left_out(one, plan, with_place) for one in plan.left_out],
        back_at=None if plan.back_at is None else _time(plan.back_at),
        back_distance_m=round(plan.back_distance_m),
        in_hand_min=plan.in_hand_min,
        sun_up=[_span(span) for span in plan.sun_up] if with_place else None,
        sun_says=sun_sentence(plan) if with_place else None,
        cautions=[CautionAnswer(kind=c.kind, says=long_words((c,))[0]) for c in cautions],
        doubts=[DoubtAnswer(kind=d.kind, says=in_words(d).long) for d in plan.doubts],
        files=dict(files),
    )
