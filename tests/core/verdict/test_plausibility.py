"""Rules of plausibility, each by itself. Climate by latitude and month: from memory."""

from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest

from irpreview.core.verdict.judging import judge_scene
from irpreview.core.verdict.plausibility import (
    believed_layers,
    leafless,
    sky_is_empty,
    sky_worth_waiting_for,
    summer_half,
    sun_is_low,
)
from irpreview.core.words.verdict_words import reasons, sentences
from irpreview.records import Conditions, Layer, Light, Place, Range, Sky, Verdict
from tests.core.drawn_scenes import Canvas, drawn, oak_in_a_meadow, plain_under_blue_sky


def kinds(verdict: Verdict) -> set[str]:
    return {doubt.kind for doubt in verdict.doubts}


@pytest.mark.parametrize(
    ("month", "latitude", "summer"), [(7, 47, True), (1, 47, False), (1, -43, True), (7, -43, False)]
)
def test_summer_is_where_the_sun_is(month: int, latitude: float, summer: bool) -> None:
    assert summer_half(month, latitude) == summer


def test_leaves_fall_beyond_the_subtropics_only() -> None:
    assert leafless(1, 50)
    assert not leafless(1, 10)
    assert leafless(7, -45)
    assert not leafless(7, 45)


def _layer(name: str, share: float, index: int) -> Layer:
    return Layer(index, name, name, share, Range(5, 5, 5), 5.0, (0.5, 0.5))


@pytest.mark.parametrize(("month", "believed"), [(7, "ground"), (1, "snow")])
def test_snow_in_a_green_valley_in_summer_is_pale_ground(month: int, believed: str) -> None:
    photo, _, _ = drawn(plain_under_blue_sky())
    photo = replace(photo, taken_at=datetime(2024, month, 15, 12, tzinfo=UTC), place=Place(47.0, 8.0))
    layer_map = np.zeros((100, 100), np.int16)
    layer_map[40:60] = 1
    layer_map[60:] = 2
    layers = (_layer("clear_sky", 0.4, 0), _layer("grass", 0.2, 1), _layer("snow", 0.1, 2), _layer("tree", 0.3, 3))
    assert believed_layers(layers, layer_map, photo)[2].class_name == believed


def test_snow_on_a_height_against_the_sky_is_believed_in_summer() -> None:
    photo, _, _ = drawn(plain_under_blue_sky())
    photo = replace(photo, taken_at=datetime(2024, 7, 15, 12, tzinfo=UTC), place=Place(47.0, 8.0))
    layer_map = np.zeros((100, 100), np.int16)
    layer_map[40:60], layer_map[60:] = 1, 2
    layers = (_layer("clear_sky", 0.4, 0), _layer("snow", 0.2, 1), _layer("grass", 0.4, 2))
    assert believed_layers(layers, layer_map, photo)[1].class_name == "snow"


def test_empty_and_cloud_in_eighths_are_never_said_together() -> None:
    assert not sky_is_empty(Sky(3, 0.02, "clear", share=0.5))
    assert sky_is_empty(Sky(0, 0.02, "clear", share=0.5))


def test_nobody_waits_for_cloud_in_a_strip_of_sky() -> None:
    assert not sky_worth_waiting_for(Sky(0, 0.01, "clear", share=0.15))
    strip = judge_scene(*drawn(Canvas().box("grass", 0, 0.15, 1, 1).label), Conditions(wind_m_s=12.0), shutter_s=30.0)
    assert strip.wait_for != "cloud"
    assert not any("wait for cloud" in s.text.lower() for s in (*reasons(strip), *sentences(strip)))


@pytest.mark.parametrize(("height", "low"), [(4.0, True), (30.0, False)])
def test_low_sun_is_told(height: float, low: bool) -> None:
    light = Light(sun_height_deg=height, sun_bearing_deg=270.0)
    assert sun_is_low(light) == low
    assert ("low_sun" in kinds(judge_scene(*drawn(oak_in_a_meadow(), light=light)))) == low


def test_a_reddened_sky_means_low_sun_whatever_the_clock_says() -> None:
    photo, scene, rendering = drawn(plain_under_blue_sky())
    red = photo.pixels.copy()
    red[: photo.height // 3] = (235, 150, 90)
    assert "sunset_light" in kinds(judge_scene(replace(photo, pixels=red), scene, rendering))
    assert "sunset_light" not in kinds(judge_scene(photo, scene, rendering))


def test_unknown_wind_is_said_as_an_assumption_and_never_calm() -> None:
    unknown = judge_scene(*drawn(oak_in_a_meadow()), Conditions(), shutter_s=1.0)
    doubt = next(d for d in unknown.doubts if d.kind == "assumed_wind")
    assert doubt.value is not None
    assert 3.4 <= doubt.value <= 5.4  # Beaufort 3, WMO code 1100
    given = judge_scene(*drawn(oak_in_a_meadow()), Conditions(wind_m_s=2.0), shutter_s=1.0)
    assert "assumed_wind" not in kinds(given)
