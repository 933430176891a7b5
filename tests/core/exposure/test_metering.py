"""The phone snap as a light meter, typed readings, the sun model, and what happens when they disagree."""

import dataclasses
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from irpreview.core.exposure.metering import (
    TypedExposure,
    as_if_on_grey,
    compare,
    ev100_of,
    ev100_of_lux,
    from_ev,
    from_meter,
    from_snap,
    from_sun,
    parse_exposure,
)
from irpreview.core.words import in_words, long_words
from irpreview.errors import BadValue
from irpreview.records import Light, Photo, Shot, SnapBlownOut

GREY = np.full((40, 60, 3), 118, np.uint8)


def snap(level: int = 118, **shot: float) -> Photo:
    return Photo(pixels=np.full((40, 60, 3), level, np.uint8), shot=Shot(**shot))


@pytest.mark.parametrize(
    ("text", "shutter_s", "f_number", "iso"),
    [
        ("1/125 at f/10 ISO 64", 1 / 125, 10, 64),
        ("1/125 f/10 ISO 64", 1 / 125, 10, 64),
        ("f10 5min iso100", 300, 10, 100),
        ("2'30\" ISO 200", 150, None, 200),
        ("2 min 30 s f/11, ISO 200", 150, 11, 200),
        ("0,5 s f/2,8 64 ISO", 0.5, 2.8, 64),
        ("1/125s @ f/10, ISO64", 1 / 125, 10, 64),
        ("meter said 1/125 at f/10 ISO 64", 1 / 125, 10, 64),
        ("5 min looked right", 300, None, None),
        ("30s", 30, None, None),
        ("ISO 6400", None, None, 6400),
    ],
)
def test_reads_exposures_as_people_write_them(
    text: str, shutter_s: float | None, f_number: float | None, iso: float | None
) -> None:
    read = parse_exposure(text)
    assert (read.f_number, read.iso) == (f_number, iso)
    assert read.shutter_s == (None if shutter_s is None else pytest.approx(shutter_s))


@given(
    st.sampled_from([1 / 4000, 1 / 125, 1 / 4, 1.0, 30.0, 150.0, 3000.0]),
    st.floats(1.0, 32.0).map(lambda v: round(v, 1)),
    st.integers(25, 102400),
)
def test_what_it_writes_it_reads_back(shutter_s: float, f_number: float, iso: int) -> None:
    written = TypedExposure(shutter_s, f_number, float(iso)).words
    read = parse_exposure(written)
    assert read.f_number == f_number
    assert read.iso == iso
    assert read.shutter_s == pytest.approx(shutter_s, rel=0.13)  # nominal third stops


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("1/125 f/0 ISO 64", "f/0 is outside f/0.7 to f/128"),
        ("1/125 f/8 ISO -5", "ISO -5 is outside ISO 1 to 10000000"),
        ("banana f/8 ISO 100", "cannot be read"),
        ("", "is empty"),
        ("0 s f/8 ISO 100", "cannot be read"),
    ],
)
def test_nonsense_is_refused_in_one_line_with_a_remedy(text: str, says: str) -> None:
    with pytest.raises(BadValue) as refused:
        parse_exposure(text)
    assert says in str(refused.value)
    assert "\n" not in str(refused.value)
    assert ";" in str(refused.value)


def test_a_reading_without_its_iso_is_refused() -> None:
    with pytest.raises(BadValue, match="lacks ISO"):
        from_meter(parse_exposure("1/125 f/10"))


def test_the_snaps_settings_are_a_meter_with_a_wide_range() -> None:
    metered = from_snap(snap(f_number=1.8, iso=50, shutter_s=1 / 4000))
    assert metered is not None
    assert metered.ev100.likely == pytest.approx(math.log2(1.8**2 * 4000) + 1, abs=0.05)
    assert metered.ev100.width >= 1.5


def test_a_snap_that_came_out_dark_means_less_light_than_its_settings_say() -> None:
    settings = {"f_number": 1.8, "iso": 50.0, "shutter_s": 1 / 1000}
    usual, dark, bright = (from_snap(snap(level, **settings)) for level in (118, 60, 190))
    assert usual is not None
    assert dark is not None
    assert bright is not None
    assert dark.ev100.likely < usual.ev100.likely < bright.ev100.likely
    assert dark.ev100.width > usual.ev100.width


def test_a_blown_out_snap_is_open_to_the_bright_side_and_says_so() -> None:
    pixels = GREY.copy()
    pixels[:10] = 255
    metered = from_snap(Photo(pixels=pixels, shot=Shot(f_number=2.0, iso=100, shutter_s=1 / 500)))
    assert metered is not None
    assert metered.ev100.high - metered.ev100.likely > metered.ev100.likely - metered.ev100.low
    assert [type(doubt) for doubt in metered.doubts] == [SnapBlownOut]


def test_what_filled_the_snap_is_taken_off_its_reading() -> None:
    metered = from_snap(snap(f_number=1.8, iso=50, shutter_s=1 / 1000))
    assert metered is not None
    meadow, snow, grey = (as_if_on_grey(metered, mean) for mean in (0.09, 0.72, 0.18))
    assert meadow.ev100.likely == pytest.approx(metered.ev100.likely + 1.0)
    assert snow.ev100.likely == pytest.approx(metered.ev100.likely - 2.0)
    assert grey.ev100.likely == pytest.approx(metered.ev100.likely)
    assert snow.ev100.width > grey.ev100.width > metered.ev100.width
    assert "2.0 stops brighter than middle grey" in in_words(snow.by).long
    by_hand = from_ev(12.0)
    assert as_if_on_grey(by_hand, 0.72) == by_hand


def test_a_snap_without_exposure_data_is_no_meter() -> None:
    assert from_snap(snap()) is None


def test_readings_that_agree_are_quiet_and_the_hand_meter_goes_first() -> None:
    by_hand = from_ev(15.0)
    by_snap = from_snap(snap(f_number=1.8, iso=50, shutter_s=1 / 5000))
    assert by_snap is not None
    chosen = compare((by_snap, by_hand))
    assert chosen.how == "meter"
    assert chosen.doubts == ()
    assert set(chosen.readings) == {"meter", "snap"}


def test_a_large_disagreement_is_told_with_both_numbers() -> None:
    chosen = compare((from_ev(11.0), from_sun(81_920.0, Light(sun_height_deg=45.0))))
    assert chosen.ev100.likely == 11.0
    assert any("disagree by 4.0 stops" in text and "EV 11.0 against 15.0" in text for text in long_words(chosen.doubts))


def test_nothing_to_meter_with_says_what_to_give() -> None:
    with pytest.raises(BadValue, match="give a meter reading"):
        compare(())


def test_no_light_at_night() -> None:
    with pytest.raises(BadValue, match="needs about -6 to 90 degrees"):
        from_sun(1.0, Light(sun_height_deg=-12.0))
    with pytest.raises(BadValue, match="more than 0 lx"):
        ev100_of_lux(0.0)


@given(st.floats(0.7, 64), st.floats(1e-4, 4000), st.floats(25, 1e6))
def test_a_stop_is_a_stop_in_each_of_the_three(f_number: float, shutter_s: float, iso: float) -> None:
    base = ev100_of(f_number, shutter_s, iso)
    assert ev100_of(f_number, shutter_s * 2, iso) == pytest.approx(base - 1)
    assert ev100_of(f_number, shutter_s, iso * 2) == pytest.approx(base - 1)
    assert ev100_of(f_number * math.sqrt(2), shutter_s, iso) == pytest.approx(base + 1)


def test_an_overcast_sun_model_is_less_sure() -> None:
    clear = from_sun(50_000.0, Light())
    covered = from_sun(50_000.0, dataclasses.replace(Light(), sky_state="overcast"))
    assert covered.ev100.width > clear.ev100.width
