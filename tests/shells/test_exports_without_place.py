"""What is handed on without its place: the same all over a band of five degrees, so no place can be worked out closer.

The height of the sun at a known time puts a place on a circle around the point under the sun (the Nautical Almanac's
circle of equal altitude, on which sextant fixes rest), one degree of height to one of the ground.
"""

import math
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from hypothesis import HealthCheck, Phase, assume, given, settings
from hypothesis import strategies as st

from irpreview.analysis import Analysis
from irpreview.answers.base import asked_of
from irpreview.answers.picture import render_answer
from irpreview.cards import card_of
from irpreview.core.card.blocks import card_blocks, card_front, footer_words
from irpreview.core.field_log.entries import LogEntry
from irpreview.core.light.coarse_sun import STEP_DEG, coarse_height_deg, coarse_light, coarse_time
from irpreview.core.light.daylight import sun_position
from irpreview.core.scouting.ranking import Snap, arrange, finding_of
from irpreview.core.scouting.sheet import sheet_of
from irpreview.core.words import long_words
from irpreview.io.card_files import card_json
from irpreview.io.log_exchange import facts_of
from irpreview.io.photos import load_photo
from irpreview.io.scout_tables import scouting_csv, scouting_json
from irpreview.records import Place
from irpreview.request import PlannedLight, Request
from tests.shells.page_desk import SCENE

DAYS = st.integers(0, 364).map(lambda n: datetime(2026, 1, 1, tzinfo=UTC) + timedelta(days=n))
TIMES = st.builds(lambda day, s: day + timedelta(seconds=s), DAYS, st.integers(0, 86399))
PLACES = st.builds(Place, st.floats(-65.0, 65.0), st.floats(-180.0, 179.9), st.floats(0.0, 2000.0))


def moved(place: Place, bearing_deg: float, by_deg: float) -> Place:
    """The place so far off along a great circle (spherical trigonometry)."""
    lat, d, b = math.radians(place.latitude_deg), math.radians(by_deg), math.radians(bearing_deg)
    to = math.asin(math.sin(lat) * math.cos(d) + math.cos(lat) * math.sin(d) * math.cos(b))
    east = math.atan2(math.sin(b) * math.sin(d) * math.cos(lat), math.cos(d) - math.sin(lat) * math.sin(to))
    longitude = (place.longitude_deg + math.degrees(east) + 180.0) % 360.0 - 180.0
    return Place(math.degrees(to), longitude, place.altitude_m)


@settings(max_examples=300, deadline=None)
@given(PLACES, TIMES)
def test_no_place_is_told_closer_than_five_degrees(place, when):
    """Whatever the step of the sun, some place 2.5 degrees off towards or away from the sun has the very same, and so
    has the one 3 degrees off on one of the two sides; only the bearing to the sun is as long as the circle."""
    height, bearing = sun_position(place, when)
    assume(8.0 < height < 82.0)
    step = coarse_height_deg(height)
    towards, away = moved(place, bearing, 2.45), moved(place, bearing + 180.0, 2.45)
    beside = [moved(place, bearing + side, 3.0) for side in (-100, -95, -90, -85, -80, 80, 85, 90, 95, 100)]
    same = [coarse_height_deg(sun_position(one, when)[0]) == step for one in (towards, away, *beside)]
    assert any(same[:2])
    assert any(same[2:])


def test_the_steps_are_five_degrees_wide_at_least():
    heights = np.arange(0.05, 90.0, 0.1)
    steps = np.array([coarse_height_deg(h) for h in heights])
    for step in np.unique(steps)[:-1]:  # the last one is that of the zenith, on both of whose sides it lies
        assert np.ptp(heights[steps == step]) >= STEP_DEG - 0.15
    assert coarse_height_deg(-0.1) == coarse_height_deg(-89.0)
    assert np.max(np.abs(steps - heights)) < 4.0


@given(TIMES)
def test_a_time_is_told_on_the_half_hour(when):
    told = coarse_time(when)
    assert told <= when < told + timedelta(minutes=30)
    assert (told.minute % 30, told.second, told.microsecond) == (0, 0, 0)


@pytest.fixture(scope="module")
def snap():
    photo = load_photo(SCENE, max_side=256)
    seen = Analysis(photo, Request()).bare_scene
    return replace(photo, place=None, taken_at=None), seen


def handed_on(snap, place, when, planned=None):
    """Every export of one snap without its place, as text."""
    photo, seen = snap
    photo = replace(photo, place=place, taken_at=when)
    analysis = Analysis(photo, Request(planned=planned), {"bare_scene": seen})
    card = card_of(analysis, "Tower", False)
    coarse = analysis.without_place()
    doubts = long_words(coarse.doubts)
    finding = finding_of(coarse.photo, coarse.scene, coarse.verdict, coarse.shutter_s, doubts)
    empty = np.zeros((16, 16), np.uint8)
    scouting = arrange([Snap("a.jpg", "k", finding, empty)], (), "lead")
    height = round(sun_position(place, when)[0], 1)
    entry = LogEntry(taken_at=when, place=place, sun_height_deg=height, kit_name="k", place_name="Mill", id=1, uid="u")
    head = asked_of(analysis)
    return {
        "card": card_json(card),
        "card's words": repr((card_front(card), card_blocks(card), footer_words(card))),
        "sheet": repr(sheet_of(scouting)),
        "tables": scouting_csv(scouting) + scouting_json(scouting),
        "log": repr(facts_of(entry, locations=False)),
        "head of the JSON": repr((head.light, head.sun_height_deg)),
    }


SIDES = st.sampled_from([-100.0, -90.0, -80.0, 80.0, 90.0, 100.0])
"""Bearings from the sun in which the circle of its height runs on."""


@settings(
    max_examples=2, deadline=None, phases=[Phase.generate], suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(PLACES, TIMES, SIDES, st.booleans())
def test_two_places_three_degrees_apart_give_the_same_exports(snap, place, when, side, as_plan):
    told_alike(snap, place, when, side, as_plan)


@pytest.mark.long
@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(PLACES, TIMES, SIDES, st.booleans())
def test_forty_pairs_of_places_give_the_same_exports(snap, place, when, side, as_plan):
    told_alike(snap, place, when, side, as_plan)


def told_alike(snap, place, when, side, as_plan):
    """Three degrees apart, at the same step of the sun and on the same side of the view."""
    height, bearing = sun_position(place, when)
    assume(8.0 < height < 75.0)
    other = moved(place, bearing + side, 3.0)
    heading = snap[0].heading_deg
    planned = PlannedLight(None, when, None, None) if as_plan else None
    lights = [Analysis(replace(snap[0], place=p, taken_at=when), Request()).snap_light for p in (place, other)]
    told = [coarse_light(light, heading) for light in lights]
    assume(told[0] == told[1])
    assert lights[0] != lights[1]
    here, there = (handed_on(snap, p, when, planned) for p in (place, other))
    for name in here:
        assert here[name] == there[name], name


def test_the_answer_of_a_picture_tells_its_time_on_the_half_hour(snap):
    photo, seen = snap
    when = datetime(2026, 6, 21, 10, 37, 41, tzinfo=UTC)
    analysis = Analysis(replace(photo, place=Place(51.0, 7.0), taken_at=when), Request(), {"bare_scene": seen})
    told = render_answer(analysis, "a.jpg", {}, 1.0)
    assert told.taken_at == "2026-06-21T10:30:00+00:00"
    assert told.sun_height_deg % 5.0 == 0.0
