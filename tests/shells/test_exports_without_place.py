"""What is handed on without its place: the same wherever the snap was taken.

The two figures that are left, the height in a plan by place and hour and that of a frame of the log, hold no place
closer than five degrees, looked for by grid.

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
from irpreview.core.light import daylight
from irpreview.core.light.coarse_sun import (
    STEP_DEG,
    coarse_height_deg,
    coarse_light,
    coarse_time,
    without_its_place,
)
from irpreview.core.light.daylight import sun_position
from irpreview.core.scouting.ranking import Snap, arrange, finding_of
from irpreview.core.scouting.sheet import sheet_of
from irpreview.core.words import long_words
from irpreview.io.card_files import card_json
from irpreview.io.log_exchange import facts_of
from irpreview.io.photos import load_photo
from irpreview.io.scout_tables import scouting_csv, scouting_json
from irpreview.records import LightBy, LightKnown, Place, Shot
from irpreview.request import PlannedLight, Request
from irpreview.steps import light_at
from tests.shells.page_desk import SCENE

DAYS = st.integers(0, 364).map(lambda n: datetime(2026, 1, 1, tzinfo=UTC) + timedelta(days=n))
TIMES = st.builds(lambda day, s: day + timedelta(seconds=s), DAYS, st.integers(0, 86399))
PLACES = st.builds(Place, st.floats(-65.0, 65.0), st.floats(-180.0, 179.9), st.floats(0.0, 2000.0))


DAY_OF_SNAPS = 8
"""So many snaps of one day: bands of five degrees, one for each, would cross within two."""


def moved(place: Place, bearing_deg: float, by_deg: float) -> Place:
    """The place so far off along a great circle (spherical trigonometry)."""
    lat, d, b = math.radians(place.latitude_deg), math.radians(by_deg), math.radians(bearing_deg)
    to = math.asin(math.sin(lat) * math.cos(d) + math.cos(lat) * math.sin(d) * math.cos(b))
    east = math.atan2(math.sin(b) * math.sin(d) * math.cos(lat), math.cos(d) - math.sin(lat) * math.sin(to))
    longitude = (place.longitude_deg + math.degrees(east) + 180.0) % 360.0 - 180.0
    return Place(math.degrees(to), longitude, place.altitude_m)


@pytest.fixture(autouse=True, scope="module")
def the_earths_way_is_worked_out_once_for_each_moment():
    """Where the earth stands on its way hangs on the moment alone, and is nine tenths of a position of the sun; here
    many places are tried at one moment."""
    spa = daylight._spa()
    sums, nutation = spa.sum_mult_cos_add_mult, spa.longitude_obliquity_nutation
    known: dict[object, np.ndarray] = {}

    def sums_once(terms, moment):
        key = (id(terms), moment.tobytes())
        if key not in known:
            known[key] = sums(terms, moment)
        return known[key]

    def nutation_once(*given):
        *moments, out = given
        key = tuple(one.tobytes() for one in moments)
        if key not in known:
            nutation(*given)
            known[key] = out.copy()
        out[:] = known[key]

    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(spa, "sum_mult_cos_add_mult", sums_once)
        patched.setattr(spa, "longitude_obliquity_nutation", nutation_once)
        yield


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
EXPORTS = settings(
    deadline=None,
    phases=[Phase.generate],
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.filter_too_much],
)


@settings(EXPORTS, max_examples=2)
@given(PLACES, PLACES, TIMES)
def test_two_places_anywhere_give_the_same_exports(snap, place, other, when):
    told_alike(snap, place, other, when)


@settings(EXPORTS, max_examples=1)
@given(PLACES, TIMES, SIDES)
def test_two_places_three_degrees_apart_give_the_same_plan_by_the_hour(snap, place, when, side):
    planned_alike(snap, place, when, side)


@pytest.mark.long
@settings(EXPORTS, max_examples=40)
@given(PLACES, TIMES, SIDES, st.floats(0.1, 40.0))
def test_forty_pairs_of_places_give_the_same_exports(snap, place, when, side, apart):
    told_alike(snap, place, moved(place, side, 3.0), when)
    told_alike(snap, place, moved(place, side, apart), when)


@pytest.mark.long
@settings(EXPORTS, max_examples=20)
@given(PLACES, TIMES, SIDES)
def test_twenty_pairs_of_places_give_the_same_plan_by_the_hour(snap, place, when, side):
    planned_alike(snap, place, when, side)


def told_alike(snap, place, other, when):
    """By day or by night, at the border of a step of the sun or not."""
    here, there = (handed_on(snap, p, when) for p in (place, other))
    for name in here:
        if name not in ("log", "head of the JSON"):  # both hold a height in steps, see below
            assert here[name] == there[name], name


def planned_alike(snap, place, when, side):
    """Three degrees apart, at the same step of the sun and on the same side of the view."""
    height, bearing = sun_position(place, when)
    assume(8.0 < height < 75.0)
    other = moved(place, bearing + side, 3.0)
    heading = snap[0].heading_deg
    lights = [Analysis(replace(snap[0], place=p, taken_at=when), Request()).snap_light for p in (place, other)]
    told = [coarse_light(light, heading) for light in lights]
    assume(told[0] == told[1])
    assert lights[0] != lights[1]
    here, there = (handed_on(snap, p, when, PlannedLight(None, when, None, None)) for p in (place, other))
    for name in here:
        assert here[name] == there[name], name


def test_handing_on_twice_is_handing_on_once(snap):
    photo = replace(snap[0], place=Place(51.0, 7.0), taken_at=datetime(2026, 6, 21, 10, 0, tzinfo=UTC))
    once = Analysis(photo, Request()).without_place()
    assert once.full_photo.place is None
    assert once.without_place() is once


def test_a_snap_without_exposure_data_is_metered_by_a_sun_of_middle_height_and_says_so(snap):
    when = datetime(2026, 6, 21, 10, 0, tzinfo=UTC)
    told = []
    for place in (Place(51.0, 7.0), Place(20.0, 30.0)):
        photo = replace(snap[0], place=place, taken_at=when, shot=Shot())
        card = card_of(Analysis(photo, Request(), {"bare_scene": snap[1]}), "Tower", False)
        assert "Sun: left out, taken as 45° high." in [words.short for words in card.facts.assumptions]
        told.append(card.exposure.recommended)
    assert told[0] == told[1]


# --- working a place out from what is told --------------------------------------------------------------------------


def extent_deg(places, around):
    """How far apart the places lie in the direction in which they lie closest, as seen from one of them. [degrees]"""
    apart = [((p.longitude_deg - around.longitude_deg + 540.0) % 360.0 - 180.0) for p in places]
    east = np.array(apart) * math.cos(math.radians(around.latitude_deg))
    north = np.array([p.latitude_deg - around.latitude_deg for p in places])
    turns = np.radians(np.arange(0.0, 180.0, 10.0))
    return min(float(np.ptp(east * math.cos(turn) + north * math.sin(turn))) for turn in turns)


@settings(max_examples=3, deadline=None, phases=[Phase.generate])
@given(PLACES, DAYS, st.randoms(use_true_random=False))
def test_a_day_of_snaps_leaves_the_whole_earth(place, day, draw):
    """What goes into an export is one light a snap; a searcher tries places all over the earth for all of them."""
    times = [day + timedelta(seconds=draw.randrange(86400)) for _ in range(DAY_OF_SNAPS)]
    asked = Request().conditions

    def told(at):
        lights = [light_at(at, when, 14.0, asked) for when in times]
        return [without_its_place(light, 14.0) for light in lights]

    tried = [Place(float(lat), float(lon), 0.0) for lat in range(-80, 81, 20) for lon in range(-180, 180, 40)]
    left = [at for at in tried if told(at) == told(place)]
    assert left == tried
    assert extent_deg(left, place) > 60.0


@settings(max_examples=10, deadline=None, phases=[Phase.generate])
@given(PLACES, TIMES)
def test_a_plan_by_the_hour_leaves_five_degrees_whichever_way(place, when):
    """One height in steps, the hour known to the second and the bearing of the view too: the worst that can be told."""
    height, _ = sun_position(place, when)
    assume(height > 3.0)
    light = replace(light_at(place, when, 14.0, Request().conditions), planned=True)
    light = replace(light, known=LightKnown(LightBy.PLANNED_TIME))
    told = without_its_place(light, 14.0)
    grid = [
        moved(place, bearing, by) for bearing in range(0, 360, 20) for by in (0.0, *np.arange(0.4, 6.0, 0.4).tolist())
    ]

    left = [at for at in grid if coarse_height_deg(sun_position(at, when)[0]) == told.sun_height_deg]
    assert extent_deg(left, place) >= STEP_DEG - 0.5  # the grid's own width


@settings(max_examples=40, deadline=None, phases=[Phase.generate])
@given(PLACES, st.lists(TIMES, min_size=1, max_size=30))
def test_a_log_of_a_year_leaves_a_latitude_open_by_eighteen_degrees(place, times):
    """All frames of one place, days known, times of the day not: which latitudes have such a height on each day?

    On a day of declination d the sun stands at 90 - |latitude - d| at noon and no higher (spherical trigonometry).
    """
    frames = [(when, sun_position(place, when)[0]) for when in times]
    told = [
        (when, facts_of(LogEntry(taken_at=when, sun_height_deg=height, kit_name="k"), locations=False))
        for when, height in frames
        if height > 0.0
    ]
    assume(told)
    latitudes = np.arange(-90.0, 90.01, 0.1)
    left = np.ones(len(latitudes), bool)
    for when, facts in told:
        assert facts["taken_at"] is None
        declination = declination_deg(when)
        left &= 90.0 - np.abs(latitudes - declination) >= facts["sun_height_deg"] - 2.5
    assert np.ptp(latitudes[left]) >= 18.0 - 0.2  # the grid's own steps
    assert latitudes[left].min() - 0.6 <= place.latitude_deg <= latitudes[left].max() + 0.6


def declination_deg(when):
    """Of the sun, to a fiftieth of a degree (Astronomical Almanac, low precision formula for the sun, page C5)."""
    days = (when - datetime(2000, 1, 1, 12, tzinfo=UTC)).total_seconds() / 86400.0
    anomaly = math.radians(357.528 + 0.9856003 * days)
    longitude = math.radians(280.460 + 0.9856474 * days + 1.915 * math.sin(anomaly) + 0.020 * math.sin(2 * anomaly))
    return math.degrees(math.asin(math.sin(math.radians(23.439)) * math.sin(longitude)))


def test_the_answer_of_a_picture_tells_its_time_on_the_half_hour(snap):
    photo, seen = snap
    when = datetime(2026, 6, 21, 10, 37, 41, tzinfo=UTC)
    analysis = Analysis(replace(photo, place=Place(51.0, 7.0), taken_at=when), Request(), {"bare_scene": seen})
    told = render_answer(analysis, "a.jpg", {}, 1.0)
    assert told.taken_at == "2026-06-21T10:30:00+00:00"
    assert told.sun_height_deg % 5.0 == 0.0
