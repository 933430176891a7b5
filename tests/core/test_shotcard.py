"""The card's words and tables, against published scales and hand-worked figures."""

import math

import numpy as np
import pytest

from irpreview.core import shotcard
from irpreview.records import (
    ClassTone,
    Conditions,
    Exposure,
    Kit,
    Light,
    Place,
    Range,
    Rendering,
    SceneMap,
    Sentence,
    Setting,
    Sky,
    Verdict,
)


def setting(iso, shutter_s, text=None, f_number=8.0):
    return Setting(
        iso=iso,
        f_number=f_number,
        shutter_s=Range(shutter_s / 3, shutter_s, shutter_s * 3),
        shutter_text=text or shotcard.shutter_words(shutter_s),
    )


def exposure(**changes):
    values = {
        "factor_stops": Range(12.0, 13.5, 15.5),
        "factor_parts": {},
        "metered_ev100": Range(14.0, 14.5, 15.0),
        "metered_by": "the phone's own exposure",
        "settings": (setting(64, 100.0), setting(400, 16.0), setting(6400, 1.0)),
        "recommended": setting(64, 100.0),
        "freezes": setting(6400, 1.0),
        "streaks": setting(64, 100.0),
        "reasons": (),
        "test_frames": ({"iso": 6400.0, "shutter_text": "1 s", "f_number": 8.0},),
        "focus": {"sentence": "Focus on the far trees."},
    }
    return Exposure(**{**values, **changes})


def verdict(lead="foliage", **changes):
    values = {
        "layers": (),
        "gaps": (),
        "layer_map": np.full((40, 60), -1, np.int16),
        "sky": Sky(okta=3, texture_stops=0.2, word="textured"),
        "lead": lead,
        "lead_reasons": (),
        "turns_at_wind_m_s": Range(2.0, 3.0, 5.0),
        "composition": {},
        "layered_contrast": 0.5,
        "layered_contrast_parts": {},
        "sentences": (Sentence("The trees stand clear of the sky.", "gap 2.1 zones"),),
    }
    return Verdict(**{**values, **changes})


def scene():
    label = np.full((40, 60), 4, np.uint8)
    label[:20] = 1
    label[30:, :20] = 6
    return SceneMap(
        probability=np.full((9, 4, 6), 1 / 9, np.float32),
        label=label,
        confidence=np.ones((40, 60), np.float32),
        mix=np.zeros((1, 2, 2), np.float32),
        model_id="network-of-the-test",
    )


def rendering(light=None, kit=None):
    tones = np.full((40, 60), 0.18, np.float32)
    zone = Range(4.0, 5.0, 6.0)
    return Rendering(
        tones=tones,
        spread_stops=np.ones_like(tones),
        classes={"clear_sky": ClassTone(0.5, zone, Range(-2, -1, 0)), "tree": ClassTone(0.4, zone, Range(2, 3, 4))},
        picture=np.full((40, 60), 120, np.uint8),
        kit=kit or Kit(),
        light=light or Light(),
    )


def card(**changes):
    values = {
        "title": "Ford below Anselt",
        "snap": np.full((40, 60, 3), 90, np.uint8),
        "infrared": np.full((40, 60), 160, np.uint8),
        "scene": scene(),
        "rendering": rendering(),
        "verdict": verdict(),
        "exposure": exposure(),
        "movement": None,
        "conditions": Conditions(),
    }
    return shotcard.build_card(**{**values, **changes})


@pytest.mark.parametrize(
    ("shutter_s", "words"),
    [
        (1 / 60, "1/60"),
        (1 / 250, "1/250"),
        (0.5, "0.5 s"),
        (1.3, "1.3 s"),
        (2.0, "2 s"),
        (30.0, "30 s"),
        (149.7, "2 min 30 s"),
        (60.0, "1 min"),
        (3605.0, "1 h"),
        (3900.0, "1 h 5 min"),
        (59.7, "1 min"),
    ],
)
def test_shutter_times_read_as_on_a_camera_or_a_watch(shutter_s, words):
    assert shotcard.shutter_words(shutter_s) == words


@pytest.mark.parametrize("nonsense", [0.0, -1.0, math.nan, math.inf])
def test_a_time_that_is_none_is_said_to_be_unknown(nonsense):
    assert shotcard.shutter_words(nonsense) == "unknown"


@pytest.mark.parametrize(
    ("wind_m_s", "force"),
    # Limits as printed in the Beaufort table of the weather services (10 m mean wind).
    [
        (0.0, 0),
        (0.2, 0),
        (0.3, 1),
        (1.5, 1),
        (1.6, 2),
        (3.3, 2),
        (3.4, 3),
        (5.4, 3),
        (5.5, 4),
        (7.9, 4),
        (8.0, 5),
        (10.7, 5),
        (10.8, 6),
        (13.8, 6),
        (13.9, 7),
        (17.1, 7),
        (17.2, 8),
        (40.0, 8),
    ],
)
def test_beaufort_limits(wind_m_s, force):
    assert shotcard.beaufort_of(wind_m_s) == force


def test_the_middle_of_each_force_lies_within_it():
    for force in range(1, 8):
        assert shotcard.beaufort_of(shotcard.beaufort_middle_m_s(force)) == force


def test_red_channel_steps_follow_the_srgb_curve():
    # IEC 61966-2-1 worked by hand: 0.5 -> 0.2140 linear, 0.87 -> 0.7278, so 1.77 stops.
    rows = dict(shotcard.red_channel_rows())
    assert rows[0.5] == pytest.approx(1.77, abs=0.01)
    assert rows[0.25] > rows[0.5] > rows[0.75] > 0


def test_the_aim_of_the_red_channel_is_zone_seven():
    # Zone VII = two stops over 18 %.
    assert shotcard._linear(shotcard.FINE_RED_SHARE) == pytest.approx(0.18 * 4, rel=0.02)


def test_red_channel_words_depend_on_the_camera():
    assert "alone" in shotcard.red_channel_words(Kit())[0]
    assert "alone" not in shotcard.red_channel_words(Kit(sensor="converted", filter_cut_on_nm=590.0))[0]


def test_a_faster_setting_lets_foliage_lead_in_more_wind():
    def blur(wind, shutter):
        return Range(0.0, wind * shutter, 2 * wind * shutter)

    rows = shotcard.wind_table(exposure(), verdict(), blur, pixels_wide=6000)
    assert [row.beaufort for row in rows] == [1, 2, 3, 4, 5, 6, 7]
    assert [row.lead for row in rows[:3]] == ["foliage"] * 3
    assert all(row.iso == 6400 for row in rows[:3])
    assert rows[-1].lead == "structure"
    assert rows[-1].iso == 64


def test_still_air_takes_the_cleanest_setting():
    rows = shotcard.wind_table(exposure(), verdict(), lambda wind, shutter: Range(0, 0.1, 0.2), pixels_wide=6000)
    assert {row.iso for row in rows} == {64}


def test_the_blur_limit_follows_the_width_of_the_snap():
    def blur(wind, shutter):
        return Range(2.0, 3.0, 4.0)

    small = shotcard.wind_table(exposure(), verdict(), blur, pixels_wide=1024)
    large = shotcard.wind_table(exposure(), verdict(), blur, pixels_wide=6000)
    assert small[0].lead == "structure"
    assert large[0].lead == "foliage"


def test_without_anything_that_stands_still_a_gale_says_wait():
    rows = shotcard.wind_table(
        exposure(), verdict(), lambda wind, shutter: Range(90, 99, 120), pixels_wide=6000, can_lead=("foliage",)
    )
    assert {row.lead for row in rows} == {"wait"}


def test_a_scene_without_foliage_keeps_its_lead_in_any_wind():
    rows = shotcard.wind_table(exposure(), verdict("sky"), None, pixels_wide=6000, can_lead=("sky",))
    assert {row.lead for row in rows} == {"sky"}
    assert {row.blur_px for row in rows} == {None}


def test_sky_corrections_from_the_usual_exposure_values():
    # EV 15 in sun, 13 to 14 behind thin cloud, 11 to 12 under overcast (common practice): 2-4 and 8-16 times.
    thin, overcast = shotcard.sky_corrections("clear", setting(64, 60.0))
    assert (thin.times_low, thin.times_high) == (2.0, 4.0)
    assert (overcast.times_low, overcast.times_high) == (8.0, 16.0)
    assert thin.shutter_text == "2 min to 4 min"


def test_a_plan_for_overcast_is_shortened_when_the_sun_comes_out():
    sun = shotcard.sky_corrections("overcast", setting(64, 600.0))[0]
    assert "Sun out" in sun.when
    assert sun.times_high < 0.2


def test_minutes_per_frame_count_the_dark_frame_and_the_hands():
    assert shotcard.minutes_per_frame(setting(64, 120.0)) == pytest.approx(5.0)
    assert shotcard.minutes_per_frame(setting(64, 1.0)) == pytest.approx(61 / 60)
    assert shotcard.minutes_per_frame(None) is None


@pytest.mark.parametrize(
    "text",
    [
        "sun for 51.2345 N, 7.4321 E at noon",
        "lat 51.23 lon -7.43",
        "latitude: 51.2, longitude: 7.4",
        "at 51.2345, 7.4321 today",
        "51.23 north and 7.43 east",
        "51° N 7° E",
    ],
)
def test_coordinates_are_taken_out_of_sentences(text):
    cleaned = shotcard.without_coordinates(text)
    assert "51" not in cleaned
    assert "the photo's place" in cleaned


def test_ordinary_figures_stay_in_sentences():
    for text in ("13.5 stops (12.0 to 15.5)", "3 N of wind", "f/8, ISO 64, 2 min 30 s", "5 Ends of it"):
        assert shotcard.without_coordinates(text) == text


def test_no_place_on_the_card_unless_asked_for():
    place = Place(51.23456, 7.65432)
    light = Light(how_known="computed for 51.2346 N, 7.6543 E at noon")
    text = str(shotcard.card_dict(card(place=place, rendering=rendering(light)))) + str(
        shotcard.card_blocks(card(place=place, rendering=rendering(light)))
    )
    assert "51.2" not in text
    assert "7.65" not in text


def test_the_place_is_there_when_ticked():
    made = card(place=Place(51.23456, -7.65432), with_place=True)
    assert shotcard.card_dict(made)["place"]["latitude_deg"] == 51.23456
    assert any("51.2346 N, 7.6543 W" in line for block in shotcard.card_blocks(made) for line in block.lines)


def test_every_part_is_on_the_card():
    made = card(light_window=("Best between 10:00 and 15:00.",), sources=("A handbook.",), version="9.9")
    headings = [block.heading for block in shotcard.card_blocks(made)]
    for wanted in ("Setting", "Test frames", "If the wind differs", "If the sky differs", "Order of work", "Notes"):
        assert wanted in headings
    for wanted in ("Reading the red channel", "White balance", "Take care", "Taken for granted"):
        assert wanted in headings


def test_the_order_of_work_puts_focus_before_the_filter():
    steps = shotcard.order_of_work(Kit(), exposure())
    where = {word: next(i for i, step in enumerate(steps) if step.startswith(word)) for word in ("Frame", "Focus")}
    where |= {
        word: next(i for i, step in enumerate(steps) if step.startswith(word)) for word in ("Lock", "Fit", "Check")
    }
    assert where["Frame"] < where["Focus"] < where["Lock"] < where["Fit"] < where["Check"]
    assert "Focus on the far trees." in steps[where["Focus"]]


def test_a_title_with_control_characters_is_one_printable_line():
    made = card(title="a\nb\x00<script>\u202e")
    assert made.title.isprintable()
    assert "\n" not in made.title


def test_without_a_setting_the_card_says_so():
    made = card(exposure=exposure(settings=(), recommended=None, freezes=None, streaks=None))
    assert "No setting" in shotcard.card_blocks(made)[0].lines[0]
    assert shotcard.card_dict(made)["exposure"]["recommended"] is None
    assert shotcard.card_dict(made)["wind_table"][0]["iso"] is None


@pytest.mark.parametrize(
    ("zone", "words"), [(5.0, "V"), (6.5, "VI+"), (6.9, "VII"), (-1.0, "0"), (12.0, "X"), (0.2, "0")]
)
def test_zones_in_roman_numbers(zone, words):
    assert shotcard.zone_words(zone) == words
