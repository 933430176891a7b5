"""What is typed of a day: stays, speeds, clock times."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from irpreview.core.planning.day_request import parse_clock, parse_speed, parse_stay
from irpreview.core.words.day_plan_words import duration_text
from irpreview.errors import BadValue


@pytest.mark.parametrize(
    ("text", "minutes"),
    [("40", 40), ("40min", 40), ("40 min", 40), ("1h", 60), ("1h30", 90), ("1h30m", 90), ("1:30", 90), ("0.5h", 30)],
)
def test_stays(text: str, minutes: int) -> None:
    assert parse_stay(text) == minutes


@pytest.mark.parametrize("text", ["", "soon", "0", "-5", "13h", "1:75", "nan", "40 m²"])
def test_stays_that_make_no_sense(text: str) -> None:
    with pytest.raises(BadValue, match="stay"):
        parse_stay(text)


@given(st.integers(1, 720))
def test_a_stay_as_it_is_said_is_read_back(minutes: int) -> None:
    assert parse_stay(duration_text(minutes)) == minutes


@pytest.mark.parametrize(("text", "km_h"), [("4", 4), ("4km/h", 4), ("4.5 km/h", 4.5), ("1m/s", 3.6), ("30mph", 48.28)])
def test_speeds(text: str, km_h: float) -> None:
    """Mile 1609.344 m: International Yard and Pound Agreement 1959."""
    assert parse_speed(text) == pytest.approx(km_h, abs=0.001)


@pytest.mark.parametrize("text", ["", "fast", "0", "-4", "900km/h", "4 knots", "nan", "1e9"])
def test_speeds_that_make_no_sense(text: str) -> None:
    with pytest.raises(BadValue, match="speed"):
        parse_speed(text)


@pytest.mark.parametrize(
    ("text", "minutes"), [("8", 480), ("08:30", 510), ("8.30", 510), ("00:00", 0), ("24:00", 1440)]
)
def test_clock_times(text: str, minutes: int) -> None:
    assert parse_clock(text) == minutes


@pytest.mark.parametrize("text", ["", "24:01", "25:00", "8:60", "noon", "-1:00", "8:5"])
def test_clock_times_that_do_not_exist(text: str) -> None:
    with pytest.raises(BadValue, match="time of day"):
        parse_clock(text)
