"""Quarter hours, zones, polar days, dates that do not exist, sun sides, and what counts as good light."""

import itertools
import math
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from irpreview.core.light.light_plan import (
    hard_light_at,
    longer_stops_at,
    parse_date,
    parse_moment,
    parse_place,
    parse_zone,
    plan_light,
    quarters_of,
)
from irpreview.core.words import in_words, long_words
from irpreview.errors import BadValue
from irpreview.io.tables import load_tables
from irpreview.records import CautionKind, Kit, Place

TABLES = load_tables()
KIT = Kit()
VALLEY = Place(47.1, 11.4)
OSLO = ZoneInfo("Europe/Oslo")
ZONES = (
    "Europe/Oslo",
    "America/New_York",
    "Pacific/Auckland",
    "America/Havana",
    "America/Sao_Paulo",
    "Australia/Lord_Howe",
)


@pytest.mark.parametrize(("day", "count"), [("2026-03-29", 92), ("2026-06-21", 96), ("2026-10-25", 100)])
def test_a_day_has_as_many_quarters_as_its_clock_says(day: str, count: int) -> None:
    quarters = quarters_of(parse_date(day), OSLO)
    assert len(quarters) == count
    steps = {b.astimezone(UTC) - a.astimezone(UTC) for a, b in itertools.pairwise(quarters)}
    assert steps == {timedelta(minutes=15)}
    assert {q.date() for q in quarters} == {parse_date(day)}
    assert quarters[0].replace(tzinfo=None) == datetime.fromisoformat(day)


def test_a_day_whose_midnight_was_skipped_starts_at_the_first_instant_after() -> None:
    zone = ZoneInfo("America/Sao_Paulo")  # 2018-11-04 began at 01:00
    quarters = quarters_of(date(2018, 11, 4), zone)
    assert quarters[0].strftime("%H:%M") == "01:00"
    assert len(quarters) == 92


def test_the_day_that_the_date_line_swallowed_is_refused_alone_and_left_out_of_many() -> None:
    apia = Place(-13.8, -171.8)
    with pytest.raises(BadValue, match="2011-12-30 does not exist in Pacific/Apia"):
        plan_light(apia, date(2011, 12, 30), "Pacific/Apia", KIT, TABLES)
    plan = plan_light(apia, date(2011, 12, 29), "Pacific/Apia", KIT, TABLES, days=3)
    assert [d.day.isoformat() for d in plan.days] == ["2011-12-29", "2011-12-31"]
    assert any("2011-12-30" in doubt for doubt in long_words(plan.doubts))


@settings(max_examples=30, deadline=None)
@given(
    st.sampled_from(
        [
            "Europe/Oslo",
            "America/New_York",
            "Pacific/Auckland",
            "America/Havana",
            "America/Sao_Paulo",
            "Australia/Lord_Howe",
        ]
    ),
    st.dates(date(1990, 1, 1), date(2040, 12, 31)),
)
def test_days_follow_on_each_other_without_gap_or_overlap(name: str, day: date) -> None:
    zone = ZoneInfo(name)
    today, tomorrow = quarters_of(day, zone), quarters_of(day + timedelta(days=1), zone)
    assert today[-1].astimezone(UTC) + timedelta(minutes=15) == tomorrow[0].astimezone(UTC)


def test_midnight_sun_and_polar_night_are_said() -> None:
    north = Place(78.2, 15.6)
    summer = plan_light(north, date(2026, 6, 21), "Europe/Oslo", KIT, TABLES, heading_deg=90)
    winter = plan_light(north, date(2026, 12, 21), "Europe/Oslo", KIT, TABLES, heading_deg=90)
    assert "stays up all day" in in_words(summer.days[0]).long
    assert "stays down all day" in in_words(winter.days[0]).long
    assert winter.best == ()
    assert winter.cautions == ()
    assert max(q.hard_light for q in winter.days[0].quarters) == 0.0
    assert all(q.longer_stops is None for q in winter.days[0].quarters)


def test_without_a_zone_the_clock_comes_from_the_longitude_and_that_is_doubted() -> None:
    plan = plan_light(Place(0.0, 179.9), date(2026, 3, 20), None, KIT, TABLES)
    assert plan.zone_words == "UTC+12 by longitude"
    assert any("Give --zone" in doubt for doubt in long_words(plan.doubts))
    noon = max(plan.days[0].quarters, key=lambda q: q.sun_height_deg)
    assert abs(noon.time.hour + noon.time.minute / 60 - 12.1) < 0.6


def test_sun_sides_follow_the_heading() -> None:
    def sides(heading: float) -> dict[str, str]:
        plan = plan_light(VALLEY, date(2026, 6, 21), "Europe/Vienna", KIT, TABLES, heading_deg=heading)
        return {f"{q.time:%H:%M}": q.sun_side for q in plan.days[0].quarters}

    south, north = sides(180.0), sides(0.0)
    assert south["13:15"] == "ahead"
    assert north["13:15"] == "behind_camera"
    assert south["08:30"] == north["08:30"] == "side"
    assert sides(360.0) == north
    unknown = plan_light(VALLEY, date(2026, 6, 21), "Europe/Vienna", KIT, TABLES)
    assert {q.sun_side for q in unknown.days[0].quarters} == {"unknown"}


def test_the_sun_in_a_level_frame_is_warned_of_with_its_hours() -> None:
    plan = plan_light(VALLEY, date(2026, 12, 21), "Europe/Vienna", KIT, TABLES, heading_deg=180.0, focal_35mm_mm=24.0)
    inside = [q for q in plan.days[0].quarters if q.sun_in_frame]
    assert inside
    assert all(q.sun_height_deg < 30 and abs(q.sun_bearing_deg - 180) < 40 for q in inside)
    kinds = {one.kind: one for one in plan.cautions}
    assert kinds[CautionKind.SUN_FRAME].sun_in_frame == (inside[0].time, inside[-1].time)
    assert CautionKind.SUN_EYES in kinds
    away = plan_light(VALLEY, date(2026, 12, 21), "Europe/Vienna", KIT, TABLES, heading_deg=0.0, focal_35mm_mm=24.0)
    assert not any(q.sun_in_frame for q in away.days[0].quarters)
    assert away.cautions == ()


def test_the_best_times_are_not_into_the_light_and_days_are_ranked() -> None:
    plan = plan_light(VALLEY, date(2026, 6, 1), "Europe/Vienna", KIT, TABLES, heading_deg=180.0, days=21)
    assert plan.best
    assert not any("into the light" in in_words(w).long for w in plan.best)
    for window in plan.best:
        assert window.minutes >= 30
        assert window.start < window.end
    assert len(plan.days) == 21


def test_hard_light_is_harder_in_clear_air_and_gone_with_the_sun() -> None:
    height = np.array([-5.0, 0.0, 5.0, 20.0, 60.0])
    clear, _ = hard_light_at(height, 0.05, KIT, TABLES)
    hazy, shade = hard_light_at(height, 0.3, KIT, TABLES)
    assert (clear[:2] == 0).all()
    assert (clear[2:] > hazy[2:]).all()
    assert ((clear >= 0) & (clear <= 1)).all()
    assert shade == pytest.approx(-np.log2(1 - hazy))


def test_a_low_sun_needs_longer_as_the_daylight_table_says() -> None:
    # physics sheet section 1: from 45 to 10 degrees the 720 nm band drops by 2.38 stops, to 5 degrees by 3.71
    converted = Kit(sensor="converted")
    longer = longer_stops_at(np.array([45.0, 10.0, 5.0]), 0.1, converted, TABLES)
    assert longer[0] == pytest.approx(0.0, abs=1e-9)
    assert longer[1] == pytest.approx(2.38, abs=0.15)
    assert longer[2] == pytest.approx(3.71, abs=0.3)


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: parse_place("91,11"), "latitude 91"),
        (lambda: parse_place("47,999"), "longitude 999"),
        (lambda: parse_place("here"), "was not understood"),
        (lambda: parse_place("47"), "has 1 numbers"),
        (lambda: parse_date("2026-02-30"), "does not exist"),
        (lambda: parse_date("1066-10-14"), "outside 1900 to 2200"),
        (lambda: parse_zone("Europe/Nowhere", VALLEY), "is not known"),
        (lambda: parse_zone("../etc/passwd", VALLEY), "is not known"),
        (lambda: parse_zone("+25:00", VALLEY), "-12:00 to +14:00"),
        (lambda: parse_moment("2026-13-01T10:00", "UTC", VALLEY), "does not exist"),
        (lambda: parse_moment("2026-03-29T02:30", "Europe/Oslo", VALLEY), "clocks skipped it"),
        (lambda: plan_light(VALLEY, date(2026, 1, 1), "UTC", KIT, TABLES, days=0), "give 1 to 366"),
        (lambda: plan_light(VALLEY, date(2026, 1, 1), "UTC", KIT, TABLES, heading_deg=1e9), "outside 0 to 360"),
        (lambda: plan_light(VALLEY, date(2026, 1, 1), "UTC", KIT, TABLES, focal_35mm_mm=0), "outside 1 to 3000 mm"),
    ],
)
def test_nonsense_gets_one_line_with_a_remedy(call, says: str) -> None:
    with pytest.raises(BadValue) as refused:
        call()
    assert says in str(refused.value)
    assert "\n" not in str(refused.value)


def test_a_moment_takes_its_own_offset_else_the_zones() -> None:
    own = parse_moment("2026-06-21T10:00+05:00", "Europe/Oslo", VALLEY)
    zoned = parse_moment("2026-06-21T10:00", "Europe/Oslo", VALLEY)
    assert own.astimezone(UTC).hour == 5
    assert zoned.astimezone(UTC).hour == 8
    assert math.isclose(parse_place("47.1, 11.4, 800").altitude_m, 800)
