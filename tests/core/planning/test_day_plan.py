"""A day's plan: what is right, what is left out and why, clocks that change, days without night, nights without day."""

import itertools
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from irpreview.core.light.light_plan import GOOD_SCORE, plan_light
from irpreview.core.planning.day_plan import STEP_MIN, plan_day, travelling_min
from irpreview.core.planning.day_request import parse_clock, span_of
from irpreview.core.scouting.places import straight_m
from irpreview.core.words.day_plan_words import sun_sentence
from irpreview.errors import BadValue
from irpreview.io.tables import load_tables
from irpreview.records import CautionKind, Kit, Place
from irpreview.records.day_plan import DayPlanDoubtKind, LeftOutReason, Travelling, Viewpoint

TABLES, KIT = load_tables(), Kit()
LISBON, OSLO = ZoneInfo("Europe/Lisbon"), ZoneInfo("Europe/Oslo")
HOME = Place(40.0, -8.0)


def north(metres: float, of: Place = HOME) -> Place:
    return Place(of.latitude_deg + metres / 111_195.0, of.longitude_deg)


def planned(views, day="2026-06-20", first="08:00", last="20:00", zone=LISBON, **given):
    span, _ = span_of(date.fromisoformat(day), parse_clock(first), parse_clock(last), zone)
    return plan_day(views, *span, "test", KIT, TABLES, **given)


def minutes(a: datetime, b: datetime) -> float:
    return (b.astimezone(UTC) - a.astimezone(UTC)).total_seconds() / 60.0


def check_whole(plan) -> None:
    """What must hold of every plan, reckoned again from its own times."""
    at, moment = plan.start, plan.first
    for stay in plan.stays:
        straight = 0.0 if at is None else straight_m(at, stay.view.place)
        assert stay.distance_m == pytest.approx(straight)
        needed = straight * plan.travelling.detour / (plan.travelling.speed_km_h * 1000 / 60)
        assert needed <= stay.travel_min + 1e-6 < needed + 1.0001
        assert minutes(moment, stay.arrive) == stay.travel_min
        assert minutes(stay.arrive, stay.begin) == stay.spare_min >= 0
        assert minutes(stay.begin, stay.end) == stay.view.stay_min
        assert stay.may_slip_min >= 0
        if stay.right_light:
            assert any(a <= stay.begin and minutes(stay.end, b) >= 0 for a, b in stay.hours.right)
        at, moment = stay.view.place, stay.end
    for one, following in itertools.pairwise(plan.stays):
        assert one.may_slip_min <= following.spare_min
    assert minutes(moment, plan.last) >= 0
    if plan.back_at_start and plan.stays:
        assert minutes(plan.back_at, plan.last) >= 0
    named = [s.view.name for s in plan.stays] + [o.view.name for o in plan.left_out]
    assert len(named) == len(set(named))


def test_a_morning_view_comes_before_an_evening_view_though_it_lies_further_off() -> None:
    looks_west = Viewpoint("looks west", north(3000), 270.0, stay_min=180)
    looks_east = Viewpoint("looks east", north(200), 90.0, stay_min=180)
    plan = planned([looks_east, looks_west], last="19:00", start=HOME)
    assert [stay.view.name for stay in plan.stays] == ["looks west", "looks east"]
    assert all(stay.right_light for stay in plan.stays)
    check_whole(plan)


def test_right_light_is_that_of_the_light_command() -> None:
    """The same quarter hours as `irpreview light` calls good."""
    view = Viewpoint("wall", HOME, 10.0, 28.0)
    plan = planned([view], zone=LISBON)
    day = plan_light(HOME, date(2026, 6, 20), "Europe/Lisbon", KIT, TABLES, heading_deg=10.0, focal_35mm_mm=28.0)
    good = {q.time for q in day.days[0].quarters if q.score >= GOOD_SCORE and 8 <= q.time.hour < 20}
    spans = plan.stays[0].hours.right
    assert good
    assert good == {q.time for q in day.days[0].quarters if any(a <= q.time <= b for a, b in spans)} - {plan.last}


def test_slips_and_waits_leave_the_next_stay_and_the_light_as_they_are() -> None:
    views = [Viewpoint(f"v{i}", north(900 * i), 45.0 * i, stay_min=25 + 10 * i) for i in range(5)]
    plan = planned(views, start=HOME, back_at_start=True)
    check_whole(plan)
    for stay in plan.stays:
        later = stay.begin.astimezone(UTC) + timedelta(minutes=stay.may_slip_min)
        end = later + timedelta(minutes=stay.view.stay_min)
        if stay.right_light:
            assert any(a.astimezone(UTC) <= later and end <= b.astimezone(UTC) for a, b in stay.hours.right)


@settings(max_examples=25, deadline=None)
@given(
    st.lists(
        st.tuples(st.integers(0, 6000), st.integers(0, 359), st.integers(10, 120)), min_size=1, max_size=6, unique=True
    ),
    st.booleans(),
    st.booleans(),
    st.sampled_from(["2026-01-10", "2026-03-29", "2026-06-20", "2026-10-25"]),
)
def test_every_plan_adds_up(places, has_start: bool, back: bool, day: str) -> None:
    views = [Viewpoint(f"v{i}", north(m), float(h), stay_min=s) for i, (m, h, s) in enumerate(places)]
    start = HOME if has_start else None
    check_whole(planned(views, day, "06:00", "21:00", start=start, back_at_start=back and has_start))


# ---- what is left out


def reason(plan) -> dict[str, LeftOutReason]:
    return {one.view.name: one.reason for one in plan.left_out}


def test_what_cannot_be_reached_or_lit_is_left_out_with_its_reason() -> None:
    (first, last), _ = span_of(date(2026, 6, 20), 7 * 60, 7 * 60 + 30, LISBON)
    views = [
        Viewpoint("far", north(60_000), 90.0),
        Viewpoint("closed", north(500), 270.0, hours=(first, last)),
        Viewpoint("sun in the frame", north(800), 95.0, 12.0),
        Viewpoint("good", north(1000), 270.0),
    ]
    plan = planned(views, first="08:00", last="10:00", start=HOME, travelling=Travelling(4.0, 1.3))
    assert "good" in {stay.view.name for stay in plan.stays}
    told = reason(plan)
    assert told["far"] is LeftOutReason.TOO_FAR
    assert told["sun in the frame"] is LeftOutReason.NO_LIGHT
    assert told["closed"] is LeftOutReason.OWN_HOURS
    far = next(one for one in plan.left_out if one.view.name == "far")
    assert far.travel_min == pytest.approx(60_000 * 1.3 / (4000 / 60), abs=2)


def test_only_one_of_two_places_with_the_same_half_hour_is_taken_and_the_other_is_said() -> None:
    views = [Viewpoint("near", north(100), 270.0), Viewpoint("there", north(2500), 270.0)]
    plan = planned(views, first="08:00", last="09:45", start=HOME)
    assert [stay.view.name for stay in plan.stays] == ["near"]
    assert reason(plan) == {"there": LeftOutReason.NO_ROOM}
    assert plan.left_out[0].alone_begin is not None


def test_a_stay_longer_than_the_day_does_not_fit() -> None:
    plan = planned([Viewpoint("long", HOME, 0.0, stay_min=400)], first="09:00", last="12:00")
    assert reason(plan) == {"long": LeftOutReason.TOO_FAR}


def test_its_own_hours_are_kept() -> None:
    (first, last), _ = span_of(date(2026, 6, 20), 15 * 60, 16 * 60, LISBON)
    plan = planned([Viewpoint("low tide", north(300), 0.0, hours=(first, last))], start=HOME)
    stay = plan.stays[0]
    assert first <= stay.begin
    assert stay.end <= last


def test_without_room_for_the_way_back_a_place_is_too_far() -> None:
    view = Viewpoint("there", north(5000), 270.0)
    assert planned([view], last="10:30", start=HOME).stays
    assert reason(planned([view], last="10:30", start=HOME, back_at_start=True)) == {"there": LeftOutReason.TOO_FAR}


# ---- no night, no day, clocks


def test_polar_night_has_no_plan_and_says_so() -> None:
    tromso = Place(69.65, 18.95)
    plan = planned([Viewpoint("pier", tromso, 180.0)], "2026-12-21", zone=OSLO)
    assert plan.stays == ()
    assert reason(plan) == {"pier": LeftOutReason.NO_SUN}
    assert plan.sun_up == ()
    assert sun_sentence(plan) == "The sun stays down all day."
    assert plan.cautions == ()


def test_polar_day_can_be_planned_across_midnight_and_has_no_dusk() -> None:
    north_cape = Place(71.0, 25.8)
    views = [Viewpoint("south face", north_cape, 180.0, stay_min=30), Viewpoint("west", north_cape, 250.0, stay_min=30)]
    plan = planned(views, "2026-06-21", "22:00", "04:00", OSLO)
    assert plan.last.date() == date(2026, 6, 22)
    assert plan.stays
    assert sun_sentence(plan) == "The sun stays up all day."
    assert {c.kind for c in plan.cautions}.isdisjoint({CautionKind.DUSK, CautionKind.DUSK_BACK})
    check_whole(plan)


def test_a_span_not_later_than_its_begin_ends_the_next_day() -> None:
    (first, last), _ = span_of(date(2026, 7, 1), 20 * 60, 2 * 60, OSLO)
    assert minutes(first, last) == 360
    (first, last), _ = span_of(date(2026, 7, 1), 0, 24 * 60, OSLO)
    assert minutes(first, last) == 1440


@pytest.mark.parametrize(("day", "length"), [("2026-03-29", 23), ("2026-10-25", 25), ("2026-06-20", 24)])
def test_a_day_on_which_the_clocks_change_is_as_long_as_it_is(day: str, length: int) -> None:
    """European Union summer time, directive 2000/84/EC: last Sundays of March and October, 01:00 UTC."""
    plan = planned([Viewpoint("v", HOME, 180.0)], day, "00:00", "24:00")
    assert minutes(plan.first, plan.last) == 60 * length
    check_whole(plan)


def test_times_across_the_change_of_clocks_are_told_in_the_new_time() -> None:
    plan = planned([Viewpoint("v", HOME, 270.0)], "2026-10-25", "00:30", "12:00")
    assert plan.first.utcoffset() == timedelta(hours=1)
    assert plan.stays[0].begin.utcoffset() == timedelta(0)
    assert minutes(plan.first, plan.stays[0].arrive) == 0


def test_a_clock_time_that_was_skipped_is_refused_and_one_that_comes_twice_is_the_first() -> None:
    with pytest.raises(BadValue, match="01:30 does not exist on 2026-03-29"):
        span_of(date(2026, 3, 29), 90, 600, LISBON)
    (first, _), twice = span_of(date(2026, 10, 25), 90, 600, LISBON)
    assert first.utcoffset() == timedelta(hours=1)
    assert twice == ("01:30",)


# ---- dusk


def dusk_kinds(plan) -> set[CautionKind]:
    return {c.kind for c in plan.cautions} & {CautionKind.DARK_START, CautionKind.DUSK, CautionKind.DUSK_BACK}


def test_a_last_stay_that_ends_after_sunset_is_said_with_both_times() -> None:
    view = Viewpoint("east wall", HOME, 80.0, stay_min=240)
    plan = planned([view], first="17:30", last="23:00")
    assert plan.stays
    dusk = next(c for c in plan.cautions if c.kind is CautionKind.DUSK)
    sunset, end = dusk.sun_line
    assert end == plan.stays[-1].end
    assert sunset < end
    assert abs(minutes(sunset, plan.sun_up[0][1])) < 1.0


def test_a_way_back_in_the_dark_and_one_out_before_sunrise_are_said() -> None:
    evening = planned([Viewpoint("v", north(9000), 80.0)], first="15:00", last="19:45", start=HOME)
    assert dusk_kinds(evening) == {CautionKind.DUSK_BACK}
    morning = planned([Viewpoint("v", north(9000), 270.0)], first="03:00", last="08:00", start=HOME)
    assert dusk_kinds(morning) == {CautionKind.DARK_START}
    noon = planned([Viewpoint("v", north(900), 0.0)], first="10:00", last="15:00", start=HOME)
    assert dusk_kinds(noon) == set()


def test_tide_edges_and_local_rules_are_always_said() -> None:
    plan = planned([Viewpoint("v", HOME, 0.0)])
    assert {CautionKind.TIDE, CautionKind.EDGE_WIND_UNKNOWN, CautionKind.LOCAL_RULES} <= {c.kind for c in plan.cautions}
    assert DayPlanDoubtKind.TIDE_AND_WEATHER in {d.kind for d in plan.doubts}
    assert DayPlanDoubtKind.STRAIGHT_WAYS in {d.kind for d in plan.doubts}


# ---- one place twice


def test_two_snaps_of_one_view_are_one_stay_and_two_views_of_one_spot_are_two() -> None:
    a = Viewpoint("a", HOME, 100.0, stay_min=30, snaps=("a.jpg",))
    b = Viewpoint("b", north(40), 115.0, stay_min=50, snaps=("b.jpg",))
    other_way = Viewpoint("c", north(20), 280.0, snaps=("c.jpg",))
    plan = planned([a, b, other_way])
    assert {stay.view.name for stay in plan.stays} == {"a", "c"}
    one = next(stay.view for stay in plan.stays if stay.view.name == "a")
    assert one.snaps == ("a.jpg", "b.jpg")
    assert one.stay_min == 50
    same = [d for d in plan.doubts if d.kind is DayPlanDoubtKind.SAME_VIEW]
    assert [d.names for d in same] == [("b", "a")]
    check_whole(plan)


def test_the_same_place_named_twice_counts_once_towards_the_twelve() -> None:
    views = [Viewpoint(f"v{i}", north(500.0 * i), 0.0, stay_min=10) for i in range(12)]
    plan = planned([*views, *(replace(view, name="again") for view in views)])
    assert len(plan.stays) + len(plan.left_out) == 12


def test_two_places_of_one_name_are_told_apart() -> None:
    plan = planned([Viewpoint("photo", HOME, 0.0), Viewpoint("photo", north(4000), 0.0)])
    assert {s.view.name for s in plan.stays} | {o.view.name for o in plan.left_out} == {"photo", "photo (2)"}


def test_places_on_both_sides_of_the_date_line_are_near() -> None:
    views = [Viewpoint("east", Place(-17.0, 179.99), 0.0), Viewpoint("west", Place(-17.0, -179.99), 180.0)]
    plan = planned(views, zone=ZoneInfo("Pacific/Fiji"), start=Place(-17.0, 179.98))
    assert max(stay.distance_m for stay in plan.stays) < 3000


# ---- refusals


def test_more_than_twelve_none_and_nonsense_are_refused_in_one_line() -> None:
    views = [Viewpoint(f"v{i}", north(500.0 * i), 0.0) for i in range(13)]
    with pytest.raises(BadValue, match=r"13 places cannot be put in order; give 1 to 12"):
        planned(views)
    with pytest.raises(BadValue, match=r"0 places"):
        planned([])
    for given_, words in (
        ({"travelling": Travelling(0.0, 1.3)}, "speed"),
        ({"travelling": Travelling(4.0, 0.5)}, "detours"),
        ({"back_at_start": True}, "give --start"),
        ({"start": Place(99.0, 0.0)}, "latitude"),
    ):
        with pytest.raises(BadValue, match=words):
            planned(views[:1], **given_)
    with pytest.raises(BadValue, match="heading"):
        planned([Viewpoint("v", HOME, 400.0)])


def test_a_way_without_speed_limits_is_the_straight_one() -> None:
    assert travelling_min(4000.0, Travelling(4.0, 1.0)) == 60
    assert travelling_min(4000.0, Travelling(4.0, 1.5)) == 90
    assert travelling_min(0.0, Travelling()) == 0
    assert travelling_min(1.0, Travelling()) == 1
    assert STEP_MIN == 5


def test_climbs_between_known_altitudes_are_said() -> None:
    low, high = Place(40.0, -8.0, 100.0), Place(40.01, -8.0, 500.0)
    plan = planned([Viewpoint("top", high, 0.0)], start=low)
    climb = next(d for d in plan.doubts if d.kind is DayPlanDoubtKind.CLIMB_LEFT_OUT)
    assert climb.value == 400.0
    driving = planned([Viewpoint("top", high, 0.0)], start=low, travelling=Travelling(40.0, 1.3))
    assert DayPlanDoubtKind.CLIMB_LEFT_OUT not in {d.kind for d in driving.doubts}
