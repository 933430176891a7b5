"""What is typed of place, time, kit and day becomes a request."""

from datetime import timedelta

import pytest

from irpreview import request as inputs
from irpreview.errors import BadValue
from irpreview.records import Conditions
from irpreview.request import Inputs


@pytest.mark.parametrize(
    ("text", "latitude", "longitude"),
    [
        ("51.2, -7.4", 51.2, -7.4),
        ("51.2 N, 7.4 W", 51.2, -7.4),
        ("33.5S 151.2E", -33.5, 151.2),
        ("51.2 7.4", 51.2, 7.4),
        ("51.2° n 7.4° w", 51.2, -7.4),
        ("51.2, 7.4, 640", 51.2, 7.4),
    ],
)
def test_places_are_read(text, latitude, longitude):
    place = inputs.parse_place(text)
    assert place is not None
    assert (place.latitude_deg, place.longitude_deg) == (latitude, longitude)


@pytest.mark.parametrize("text", ["", "  ", "unknown", "?"])
def test_an_unknown_place_is_none(text):
    assert inputs.parse_place(text) is None


@pytest.mark.parametrize("text", ["91, 0", "0, 181", "here", "1", "1, 2, 3, 4", "nan, 0", "inf, 1"])
def test_places_not_on_earth_are_refused(text):
    with pytest.raises(BadValue, match=r"place|latitude|longitude"):
        inputs.parse_place(text)


def test_a_time_without_a_zone_stays_unknown():
    assert inputs.parse_when("2026-06-21 14:30", "") is None
    for text, zone in (("2026-06-21 14:30", "+02:00"), ("2026-06-21T14:30:00+02:00", "")):
        when = inputs.parse_when(text, zone)
        assert when is not None
        assert when.utcoffset() == timedelta(hours=2)


def test_limits_of_the_kit_are_followed():
    kit = inputs.kit_of(Inputs(widest_f_number=4.0, lowest_iso=100, highest_iso=3200))
    assert (kit.f_number_min, kit.iso_min, kit.iso_max) == (4.0, 100, 3200)
    with pytest.raises(BadValue, match="highest ISO"):
        inputs.kit_of(Inputs(lowest_iso=800, highest_iso=100))


def test_conditions_left_empty_are_unknown():
    assert inputs.conditions_of(Inputs()) == Conditions()
