"""Depth of field, hyperfocal distance and the infrared shift."""

import dataclasses
import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from irpreview.core.exposure.focus import (
    blur_circle_mm,
    depth_of_field_m,
    f_number_for_depth,
    focal_on_kit_mm,
    focus_advice,
    hyperfocal_m,
    infrared_shift_mm,
    shift_is_covered,
    with_lens,
)
from irpreview.core.words.exposure_words import focus_lines
from irpreview.errors import BadValue
from irpreview.records import FocusAdvice, Kit

KIT = Kit()


@given(st.floats(10, 400), st.floats(1.4, 32), st.floats(0.5, 200))
def test_the_focused_distance_lies_within_what_is_sharp(focal: float, f_number: float, distance: float) -> None:
    if distance <= 2 * focal / 1000:
        return
    near, far = depth_of_field_m(focal, f_number, distance, 0.029)
    assert 0 < near <= distance * 1.0001
    assert far >= distance * 0.9999


@given(st.floats(10, 400), st.floats(1.4, 32))
def test_focused_at_the_hyperfocal_distance_half_of_it_to_infinity_is_sharp(focal: float, f_number: float) -> None:
    h = hyperfocal_m(focal, f_number, 0.029)
    near, far = depth_of_field_m(focal, f_number, h, 0.029)
    assert math.isinf(far)
    assert near == pytest.approx(h / 2, rel=0.02)


@given(st.floats(14, 200), st.floats(1.0, 50))
def test_the_aperture_asked_for_gives_the_depth_wanted(focal: float, nearest: float) -> None:
    need = f_number_for_depth(focal, nearest, 0.029)
    assume(1.0 < need < 100)
    near, far = depth_of_field_m(focal, need, 2 * nearest, 0.029)
    assert math.isinf(far) or far > 1e4
    assert near == pytest.approx(nearest, rel=0.02)


def said(advice: FocusAdvice) -> str:
    return " ".join(one.long for one in focus_lines(advice))


def test_depth_of_field_covers_a_wide_lens_and_not_a_long_one_wide_open() -> None:
    circle = blur_circle_mm(KIT)
    assert shift_is_covered(infrared_shift_mm(24, 800).likely, 8, circle)
    assert not shift_is_covered(infrared_shift_mm(200, 800).likely, 4, circle)
    wide, long = focus_advice(KIT, 24, 8, 800), focus_advice(KIT, 200, 4, 800)
    assert wide.shift_covered == "yes"
    assert long.shift_covered == "no"


def test_what_to_do_depends_on_how_the_camera_focuses() -> None:
    on_sensor = said(focus_advice(KIT, 24, 8, 800))
    beside = said(focus_advice(dataclasses.replace(KIT, focus="separate"), 24, 8, 800))
    assert "focus through the fitted filter" in on_sensor
    assert "Filter fitted after focusing" in on_sensor
    assert "infrared mark" in beside
    assert "fitted filter" not in beside


def test_a_smaller_format_takes_a_shorter_lens_and_a_smaller_circle() -> None:
    small = dataclasses.replace(KIT, format_width_mm=23.5, format_height_mm=15.7)
    assert focal_on_kit_mm(small, 36.0) == pytest.approx(23.5, abs=0.2)
    assert blur_circle_mm(small) < blur_circle_mm(KIT)


def test_what_stands_too_near_is_said() -> None:
    says = said(focus_advice(KIT, 50, 8, 800, nearest_m=1.0))
    assert "takes f/" in says


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: hyperfocal_m(0, 8, 0.03), "outside 1 to 3000 mm"),
        (lambda: hyperfocal_m(50, 0, 0.03), "f/0 is outside"),
        (lambda: depth_of_field_m(50, 8, 0.01, 0.03), "not beyond the focal length"),
        (lambda: f_number_for_depth(50, -1, 0.03), "above 0 m"),
    ],
)
def test_nonsense_gets_one_line(call, says: str) -> None:
    with pytest.raises(BadValue, match=says):
        call()


def test_another_lens_and_a_crop_have_their_own_focus() -> None:
    """Hyperfocal distance f^2 / (N c) + f (any handbook): 50 mm at f/9 against 24 mm; a crop to 2/3 of the long side is
    enlarged half as much again for the same print, so that c shrinks to 2/3.
    """
    kit = Kit()
    whole = focus_advice(kit, 24.0, 9.0, 800.0, nearest_m=None)
    other = with_lens(whole, kit, 50.0, 9.0)
    circle_mm = math.hypot(36.0, 24.0) / 1500.0
    assert other.focus_at_m == pytest.approx((50.0**2 / (9.0 * circle_mm) + 50.0) / 1000.0)
    assert other.near_m == pytest.approx(other.focus_at_m / 2, rel=0.01)
    assert (other.focal_mm, other.f_number, other.band_nm) == (50.0, 9.0, 800.0)
    cropped = with_lens(whole, kit, 50.0, 9.0, sensor_share=2 / 3)
    assert cropped.focus_at_m == pytest.approx((50.0**2 / (9.0 * circle_mm * 2 / 3) + 50.0) / 1000.0)
    near = with_lens(focus_advice(kit, 24.0, 9.0, 800.0, nearest_m=1.0), kit, 50.0, 16.0)
    assert near.focus_at_m == pytest.approx(2.0)
    assert near.needs_f_number is not None
    assert near.needs_f_number > 16.0
