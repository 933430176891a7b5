"""A time that was asked for: the exposure holds, what cannot be reached is said, and what a grey filter would add."""

import functools
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from irpreview.core.exposure.asked_time import NEAR_STOPS, SOFT_FROM_F_NUMBER, setting_for_time
from irpreview.core.words import in_words
from irpreview.records import Kit
from tests.core.exposure.test_setting import plan as planned

plan = functools.lru_cache(planned)  # a few hundred settings each time
EVS = st.integers(12, 32).map(lambda halves: halves / 2)
TIMES_S = st.floats(math.log2(1 / 8000), math.log2(7200.0)).map(lambda stops: 2.0**stops)


def light_let_in(iso: float, f_number: float, shutter_s: float) -> float:
    """log2 of what the sensor makes of a grey: t ISO / N^2, by ISO 2720's relation. [stops]"""
    return math.log2(shutter_s * iso / f_number**2)


@settings(max_examples=120, deadline=None)
@given(EVS, TIMES_S)
def test_a_time_within_reach_keeps_the_exposure(ev, asked_s):
    exposure, kit = plan(ev), Kit()
    asked = setting_for_time(exposure.settings, asked_s, kit)
    best = exposure.recommended
    if asked.setting is None or best is None:
        assert asked.setting is None
        return
    got = asked.setting
    assert abs(math.log2(got.shutter_s.likely / asked_s)) <= NEAR_STOPS
    right = light_let_in(best.iso, best.f_number, best.shutter_s.likely)
    assert light_let_in(got.iso, got.f_number, asked_s) == pytest.approx(right, abs=NEAR_STOPS)
    assert kit.iso_min <= got.iso <= kit.iso_max
    assert kit.f_number_min <= got.f_number <= kit.f_number_max


@settings(max_examples=120, deadline=None)
@given(EVS, TIMES_S)
def test_out_of_reach_says_how_far_and_from_what(ev, asked_s):
    exposure = plan(ev)
    asked = setting_for_time(exposure.settings, asked_s, Kit())
    times = [one.shutter_s.likely for one in exposure.settings]
    assert asked.longest.shutter_s.likely == max(times)
    assert asked.shortest.shutter_s.likely == min(times)
    if asked.off_stops == 0.0:
        assert asked.setting is not None
        return
    assert asked.setting is None
    end = asked.longest if asked.off_stops > 0 else asked.shortest
    assert asked.off_stops == pytest.approx(math.log2(asked_s / end.shutter_s.likely))
    assert "out of reach" in in_words(asked).long
    assert f"{abs(asked.off_stops):.1f} stops too {'bright' if asked.off_stops > 0 else 'dark'}" in in_words(asked).long


@settings(max_examples=120, deadline=None)
@given(EVS, TIMES_S)
def test_a_grey_filter_is_named_where_it_helps_and_keeps_the_exposure(ev, asked_s):
    exposure = plan(ev)
    best = exposure.recommended
    assert best is not None
    asked = setting_for_time(exposure.settings, asked_s, Kit(), best.f_number)
    grey = asked.grey_filter
    too_long = asked.off_stops > 0
    soft = asked.setting is not None and asked.setting.f_number >= SOFT_FROM_F_NUMBER
    assert (grey is not None) == (too_long or soft)
    if grey is None:
        return
    assert grey.stops >= 1
    assert abs(math.log2(grey.shutter_s / asked_s)) <= NEAR_STOPS
    # what the filter takes is made up for by the time: same light on the sensor
    right = light_let_in(best.iso, best.f_number, best.shutter_s.likely)
    assert light_let_in(grey.iso, grey.f_number, grey.shutter_s) - grey.stops == pytest.approx(right, abs=1e-6)
    if soft:
        assert asked.setting is not None
        assert grey.f_number < asked.setting.f_number
    assert f"grey filter of {grey.stops} stop" in in_words(asked).long


def test_a_filter_that_is_stronger_by_a_stop_doubles_the_time():
    exposure = plan(15.0)
    first, second = (setting_for_time(exposure.settings, t, Kit()).grey_filter for t in (7200.0, 14400.0))
    assert first is not None
    assert second is not None
    assert second.stops == first.stops + 1


def test_what_stands_against_the_time_is_said():
    exposure = plan(15.0)
    said = in_words(setting_for_time(exposure.settings, 240.0, Kit()))
    assert said.long.startswith("4 min: ISO ")
    assert "bulb" in said.long
    no_bulb = Kit(has_bulb=False)
    asked = setting_for_time(plan(15.0, kit=no_bulb).settings, 240.0, no_bulb)
    assert "no bulb" in in_words(asked).long
