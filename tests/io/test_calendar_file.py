"""The calendar file, read back: RFC 5545 through the icalendar library, and some of its rules by hand."""

import re
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta, timezone
from zoneinfo import ZoneInfo

import pytest
from icalendar import Calendar

from irpreview.core.planning.day_plan import plan_day
from irpreview.core.planning.day_request import span_of
from irpreview.io.calendar_file import calendar_of
from irpreview.io.tables import load_tables
from irpreview.records import Kit, Place
from irpreview.records.day_plan import Viewpoint

NOW = datetime(2026, 6, 1, 12, 30, 15, 500, tzinfo=UTC)
NAME = 'Wall, north; a \\ "long" name – über dem Moor, das in keine Zeile von fünfundsiebzig Bytes passt'


def made(zone=None, day="2026-06-20", first=8 * 60, last=22 * 60, only=slice(None)):
    zone = zone or ZoneInfo("Europe/Lisbon")
    span, _ = span_of(date.fromisoformat(day), first, last, zone)
    views = [
        Viewpoint(NAME, Place(40.012345, -8.054321), 10.0, snaps=("wall.jpg",), sha256="ab" * 32),
        Viewpoint("pool", Place(40.02, -8.06), 200.0, stay_min=35),
        Viewpoint("late", Place(40.021, -8.061), 90.0, stay_min=300),
    ]
    return plan_day(views[only], *span, str(zone), Kit(), load_tables(), start=Place(40.0, -8.05))


PLAN = made()
EVENING = made(first=16 * 60 + 30, last=22 * 60 + 30, only=slice(2, 3))


def events(data: bytes):
    return Calendar.from_ical(data).walk("VEVENT")


def test_read_back_it_holds_the_stays_with_their_times_and_zone() -> None:
    data = calendar_of(PLAN, NOW)
    calendar = Calendar.from_ical(data)
    assert calendar["version"] == "2.0"
    assert "irpreview" in str(calendar["prodid"])
    found = events(data)
    assert len(found) == len(PLAN.stays) == 3
    for event, stay in zip(found, PLAN.stays, strict=True):
        assert event["summary"] == stay.view.name
        assert event.start == stay.begin
        assert event.end == stay.end
        assert event["dtstart"].params["tzid"] == "Europe/Lisbon"
        assert event["dtstamp"].dt == NOW.replace(microsecond=0)
        assert event["description"].startswith(f"Light {'right' if stay.right_light else ''}")
    assert [zone.tz_name for zone in calendar.timezones] == ["Europe/Lisbon"]


def test_the_zones_rules_in_the_file_give_the_same_instants() -> None:
    """Who knows no zone names reads the offset from VTIMEZONE: summer time of the European Union, +01:00 in June."""
    (zone,) = Calendar.from_ical(calendar_of(PLAN, NOW)).timezones
    stay = PLAN.stays[0]
    rule = zone.to_tz(lookup_tzid=False)
    assert stay.begin.replace(tzinfo=rule).utcoffset() == timedelta(hours=1) == stay.begin.utcoffset()
    assert datetime(2026, 12, 20, 12, tzinfo=rule).utcoffset() == timedelta(0)


def test_lines_are_as_long_as_the_standard_allows_and_end_as_it_says() -> None:
    """RFC 5545, 3.1: CRLF, at most 75 octets, text in UTF-8."""
    data = calendar_of(PLAN, NOW, alarm_min=10)
    assert data.endswith(b"END:VCALENDAR\r\n")
    assert b"\n" not in data.replace(b"\r\n", b"")
    assert max(len(line) for line in data.split(b"\r\n")) <= 75
    data.decode("utf-8")


def test_a_bare_offset_is_written_in_utc() -> None:
    data = calendar_of(made(timezone(timedelta(hours=1))), NOW)
    assert b"TZID" not in data
    assert all(re.fullmatch(rb"DTSTART:\d{8}T\d{6}Z", line) for line in data.split(b"\r\n") if b"DTSTART" in line)
    assert events(data)[0].start == made(timezone(timedelta(hours=1))).stays[0].begin


def test_a_stay_keeps_its_identity_when_planned_anew_and_has_one_of_its_own() -> None:
    first, again = events(calendar_of(PLAN, NOW)), events(calendar_of(PLAN, NOW + timedelta(hours=2)))
    assert [e["uid"] for e in first] == [e["uid"] for e in again]
    assert len({e["uid"] for e in first}) == len(first)
    assert all(b["sequence"] > a["sequence"] for a, b in zip(first, again, strict=True))
    other = events(calendar_of(made(day="2026-06-21"), NOW))
    assert {e["uid"] for e in first}.isdisjoint({e["uid"] for e in other})


def numbers_in(data: bytes) -> str:
    return data.replace(b"\r\n ", b"").decode()


def test_without_the_switch_nothing_tells_the_place() -> None:
    """No coordinates, no height of the sun, no time of sunset: with the date each of them would."""
    text = numbers_in(calendar_of(EVENING, NOW, alarm_min=5))
    for event in events(calendar_of(EVENING, NOW)):
        assert "geo" not in event
        assert "location" not in event
    assert not re.search(r"\d\.\d{3,}", text)
    assert "°" not in text
    assert "after sunset:" in text
    sunset = EVENING.sun_up[0][1]
    assert f"{sunset:%H:%M}" in numbers_in(calendar_of(EVENING, NOW, with_place=True))
    assert f"{sunset:%H:%M}" not in text
    assert f"{sunset + timedelta(minutes=1):%H:%M}" not in text


def test_with_the_switch_the_place_is_there() -> None:
    event = events(calendar_of(PLAN, NOW, with_place=True))[0]
    place = PLAN.stays[0].view.place
    assert (event["geo"].latitude, event["geo"].longitude) == pytest.approx(
        (place.latitude_deg, place.longitude_deg), abs=1e-5
    )
    assert event["location"] == f"{place.latitude_deg:.5f}, {place.longitude_deg:.5f}"
    assert "°" in event["description"]


def test_coordinates_do_not_hide_in_the_identity() -> None:
    """The same names elsewhere give the same identities."""

    def moved(stay):
        return replace(stay, view=replace(stay.view, place=Place(50.0, 8.0)))

    elsewhere = replace(PLAN, stays=tuple(moved(stay) for stay in PLAN.stays))
    here, there = events(calendar_of(PLAN, NOW)), events(calendar_of(elsewhere, NOW))
    assert [e["uid"] for e in here] == [e["uid"] for e in there]
    assert calendar_of(PLAN, NOW) == calendar_of(elsewhere, NOW)


def test_the_alarm_rings_before_it_is_time_to_set_off() -> None:
    for event, stay in zip(events(calendar_of(PLAN, NOW, alarm_min=15)), PLAN.stays, strict=True):
        (alarm,) = event.walk("VALARM")
        assert alarm["trigger"].dt == -timedelta(minutes=15 + stay.travel_min)
    assert not Calendar.from_ical(calendar_of(PLAN, NOW)).walk("VALARM")
