"""A day out as a calendar file (iCalendar, RFC 5545): one event for each stay.

Times carry the zone they are in, with its rules in the file; those of a bare offset are written in UTC. Without
`with_place` neither coordinates nor heights of the sun nor the times of sunrise and sunset are in the file, since they
tell the place; the places' names are, as they were given.
"""

from __future__ import annotations

import hashlib
import uuid
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from icalendar import Alarm, Calendar, Event

from irpreview.core.words import long_words
from irpreview.core.words.day_plan_words import (
    day_headline,
    duration_text,
    in_hand_text,
    light_text,
    told_cautions,
    told_doubts,
)
from irpreview.core.words.phrases import cap
from irpreview.records.day_plan import PlannedDay, Stay

PRODUCT = "-//irpreview//day plan//EN"
_EVENTS = uuid.UUID("6f0f0d8e-3b0a-5d43-9a37-2f6f5a1f7c11")
_SEQUENCE_FROM = datetime(2020, 1, 1, tzinfo=UTC)


def calendar_of(
    plan: PlannedDay, made_at: datetime, *, with_place: bool = False, alarm_min: int | None = None
) -> bytes:
    """The calendar file. made_at: now, aware. alarm_min: minutes before it is time to set off; None = no alarms.

    Planned anew for the same date, a stay keeps its identity (from date, name and the snap's content, never from
    coordinates) with a higher sequence number, so that a calendar moves it and has it no second time.
    """
    calendar = Calendar()
    calendar.add("prodid", PRODUCT)
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    for number, stay in enumerate(plan.stays):
        calendar.add_component(_event(plan, number, stay, made_at, with_place, alarm_min))
    calendar.add_missing_timezones(
        first_date=plan.first.date() - timedelta(days=400), last_date=plan.last.date() + timedelta(days=400)
    )
    return bytes(calendar.to_ical())


def _event(
    plan: PlannedDay, number: int, stay: Stay, made_at: datetime, with_place: bool, alarm_min: int | None
) -> Event:
    event = Event()
    key = "\n".join((f"{plan.first:%Y-%m-%d}", stay.view.name, stay.view.sha256))
    event.add("uid", f"{uuid.uuid5(_EVENTS, hashlib.sha256(key.encode()).hexdigest())}@irpreview")
    event.add("dtstamp", made_at.astimezone(UTC).replace(microsecond=0))
    event.add("sequence", int((made_at.astimezone(UTC) - _SEQUENCE_FROM).total_seconds()) // 60)
    event.add("summary", stay.view.name)
    event.add("dtstart", _in_zone(stay.begin))
    event.add("dtend", _in_zone(stay.end))
    event.add("description", "\n".join(_lines(plan, number, stay, with_place)))
    if with_place:
        place = stay.view.place
        event.add("location", f"{place.latitude_deg:.5f}, {place.longitude_deg:.5f}")
        event.add("geo", (round(place.latitude_deg, 5), round(place.longitude_deg, 5)))
    if alarm_min is not None:
        alarm = Alarm()
        alarm.add("action", "DISPLAY")
        alarm.add("description", f"Set off for {stay.view.name}" if stay.travel_min else stay.view.name)
        alarm.add("trigger", -timedelta(minutes=alarm_min + stay.travel_min))
        event.add_component(alarm)
    return event


def _in_zone(when: datetime) -> datetime:
    """A moment as the file may hold it: zones by name keep it, offsets and UTC become UTC."""
    return when if isinstance(when.tzinfo, ZoneInfo) and when.tzinfo.key != "UTC" else when.astimezone(UTC)


def _lines(plan: PlannedDay, number: int, stay: Stay, with_place: bool) -> list[str]:
    text = light_text(stay, with_heights=with_place)
    lines = [f"Light {text}."]
    if stay.travel_min:
        lines.append(f"Way {duration_text(stay.travel_min)}, straight distance times {plan.travelling.detour:g}.")
    lines.append(f"{cap(in_hand_text(stay))}.")
    if number == 0:
        lines.append(day_headline(plan))
    if stay.view.snaps:
        lines.append(f"Snap: {', '.join(stay.view.snaps)}.")
    lines += long_words(told_cautions(plan, with_place=with_place))
    doubts = told_doubts(plan, with_place=with_place)
    return [*lines, *(f"Doubt: {text}." for text in long_words(doubts if number == 0 else ()))]
