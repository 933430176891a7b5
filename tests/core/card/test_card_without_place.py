"""What a card without its place tells of the place: the sun's height and the day lead back to a latitude to half a
degree (solar declination, e.g. Meeus, Astronomical Algorithms, chapter 25), so neither stands on it."""

import json
from dataclasses import replace
from datetime import UTC, datetime

from hypothesis import given, settings
from hypothesis import strategies as st

from irpreview.core.card.card import card_dict
from irpreview.core.light.daylight import sun_position
from irpreview.core.light.light_plan import plan_light
from irpreview.io.card_files import card_json
from irpreview.io.tables import load_tables
from irpreview.records import Kit, Light, LightBy, LightKnown, Place, SunReading
from tests.core.card.test_card import card, exposure, rendering

TABLES = load_tables()
WHEN = datetime(2026, 6, 21, 12, 0, tzinfo=UTC)


def plan_at(place: Place):
    return plan_light(place, WHEN.date(), "UTC", Kit(), TABLES)


def made_at(place: Place, with_place: bool, by: LightBy):
    height, bearing = sun_position(place, WHEN)
    light = Light(sun_height_deg=height, sun_bearing_deg=bearing, known=LightKnown(by, "clear", WHEN))
    by_sun = replace(exposure(), metered_by=SunReading(14.0 + height / 100.0, height, 1000.0 * height))
    return card(
        rendering=replace(rendering(), light=light),
        exposure=by_sun,
        place=place,
        with_place=with_place,
        day_plan=plan_at(place),
    )


@settings(max_examples=40, deadline=None)
@given(
    st.floats(-55.0, 55.0),
    st.floats(-60.0, 60.0),
    st.sampled_from([(3.0, 0.0), (0.0, 3.0), (-2.1, 2.1)]),
    st.sampled_from([LightBy.PLACE_AND_TIME, LightBy.PLANNED_TIME]),
)
def test_two_places_three_degrees_apart_give_the_same_card(latitude, longitude, step, by):
    here = Place(latitude, longitude, 0.0)
    there = Place(latitude + step[0], longitude + step[1], 0.0)
    assert card_json(made_at(here, False, by)) == card_json(made_at(there, False, by))
    assert card_json(made_at(here, True, by)) != card_json(made_at(there, True, by))


def test_the_height_of_the_sun_and_the_hours_are_there_with_the_place_only():
    place = Place(51.0, 7.0, 100.0)
    without, with_it = (card_dict(made_at(place, told, LightBy.PLACE_AND_TIME)) for told in (False, True))
    assert without["light"]["sun_height_deg"] is None
    assert with_it["light"]["sun_height_deg"] == round(sun_position(place, WHEN)[0])
    assert "° high" not in json.dumps(without["assumptions"])
    assert len(without["light"]["window"]) == 1
    assert "stay off" in without["light"]["window"][0]
    assert with_it["light"]["window"][0].startswith("21 June 2026: sun up about")


def test_a_height_that_was_typed_or_assumed_tells_no_place_and_stays():
    for by in (LightBy.PLANNED_HEIGHT, LightBy.ASSUMED):
        assert card_dict(made_at(Place(51.0, 7.0, 0.0), False, by))["light"]["sun_height_deg"] is not None
