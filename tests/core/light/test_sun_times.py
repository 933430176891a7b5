"""When the sun is up: ordinary days, days without night, nights without day, across midnight."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from hypothesis import given, settings
from hypothesis import strategies as st

from irpreview.core.light.daylight import sun_positions
from irpreview.core.light.sun_times import sun_up_spans
from irpreview.records import Place


def test_at_the_equator_at_equinox_day_is_twelve_hours_and_a_few_minutes() -> None:
    """Refraction and the sun's disc make it about seven minutes longer than half a day (from memory)."""
    start = datetime(2026, 3, 20, tzinfo=UTC)
    ((rise, down),) = sun_up_spans(Place(0.0, 0.0), start, start + timedelta(days=1))
    assert abs(down - rise - timedelta(hours=12, minutes=6.7)) < timedelta(minutes=1)


def test_a_polar_day_is_one_span_and_a_polar_night_none() -> None:
    start = datetime(2026, 6, 21, tzinfo=UTC)
    end = start + timedelta(days=1)
    assert sun_up_spans(Place(71.0, 25.0), start, end) == ((start, end),)
    assert sun_up_spans(Place(-71.0, 25.0), start, end) == ()


def test_a_night_in_the_middle_gives_two_spans_in_the_zone_asked_in() -> None:
    zone = ZoneInfo("Europe/Oslo")
    start = datetime(2026, 5, 1, 12, tzinfo=zone)
    spans = sun_up_spans(Place(60.0, 10.0), start, start + timedelta(days=1))
    assert len(spans) == 2
    assert spans[0][0] == start
    assert spans[0][1] < spans[1][0]
    assert {edge.tzinfo for span in spans for edge in span} == {zone}


@settings(max_examples=30, deadline=None)
@given(st.floats(-65, 65), st.floats(-180, 180), st.integers(0, 364))
def test_the_sun_is_seen_within_the_spans_and_at_no_other_time(latitude: float, longitude: float, day: int) -> None:
    place, start = Place(latitude, longitude), datetime(2026, 1, 1, tzinfo=UTC) + timedelta(days=day)
    spans = sun_up_spans(place, start, start + timedelta(days=1))
    times = [start + timedelta(minutes=7 * i) for i in range(206)]
    heights, _ = sun_positions(place, times)
    for when, height in zip(times, heights, strict=True):
        near = min((abs(when - edge) for span in spans for edge in span), default=timedelta(days=1))
        if near > timedelta(seconds=2):
            assert any(a < when < b for a, b in spans) == (height > -0.5)
