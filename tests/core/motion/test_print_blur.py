"""Words of blur: monotone in wind, time and focal length; limits from visual acuity.

Sources: decimal acuity 1 = one minute of arc (ISO 8596); circle of confusion = diagonal / 1500 (depth-of-field tables,
common practice).
"""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from irpreview.core.motion.blur import movement_at, rates_of_motion
from irpreview.core.motion.print_blur import (
    BLUR_WORDS,
    CAUTIOUS_SHARP_MM,
    SHARP_MM,
    blur_word,
    felt_mm,
    kept_by,
)
from irpreview.records import ClassMoves, Conditions, Range
from tests.core.drawn_scenes import drawn, oak_in_a_meadow


def test_limits_are_what_an_eye_sees_at_arms_length() -> None:
    """One minute of arc at 0.5 and 0.7 m; diagonal of 30 x 40 cm over 1500."""
    minute = math.tan(math.radians(1 / 60)) * 1000
    assert 0.5 * minute <= SHARP_MM <= 0.7 * minute * 1.01
    assert pytest.approx(500 / 1500, abs=0.02) == CAUTIOUS_SHARP_MM


def test_words_in_order() -> None:
    words = [blur_word(Range(mm, mm, mm)) for mm in (0.1, 0.4, 1.0, 5.0)]
    assert words == ["sharp", "slightly_soft", "soft_shapes", "plain_tone"]
    assert blur_word(Range(0.01, 0.1, 0.5)) == "slightly_soft"  # likely unseen, but not surely


SCENE = drawn(oak_in_a_meadow())


def _print_mm(wind: float, shutter: float, focal: float) -> Range:
    photo, scene, _ = SCENE
    day = Conditions(wind_m_s=wind, focal_35mm_mm=focal)
    return movement_at(rates_of_motion(scene, day, photo), shutter).classes["tree"].print_mm


_WIND, _TIME, _FOCAL = st.floats(0.3, 20), st.floats(0.001, 300), st.floats(24, 200)


@settings(max_examples=40, deadline=None)
@given(_WIND, _WIND, _TIME, _TIME, _FOCAL, _FOCAL)
def test_words_never_get_better_with_more_wind_time_or_focal_length(
    wind: float, more_wind: float, time: float, more_time: float, focal: float, more_focal: float
) -> None:
    less = _print_mm(min(wind, more_wind), min(time, more_time), min(focal, more_focal))
    more = _print_mm(max(wind, more_wind), max(time, more_time), max(focal, more_focal))
    assert felt_mm(more) >= felt_mm(less) * (1 - 1e-9)
    assert BLUR_WORDS.index(blur_word(more)) >= BLUR_WORDS.index(blur_word(less))
    assert kept_by(felt_mm(more)) <= kept_by(felt_mm(less)) + 1e-9


@settings(max_examples=40, deadline=None)
@given(_WIND, _FOCAL)
def test_sharp_until_is_where_the_word_changes(wind: float, focal: float) -> None:
    """The time told is on the words' own scale: sharp just below it, not sharp just above."""
    photo, scene, _ = SCENE
    rates = rates_of_motion(scene, Conditions(wind_m_s=wind, focal_35mm_mm=focal), photo)
    until = movement_at(rates, 1.0).classes["tree"].sharp_until_s
    assert until is not None
    if 1e-4 < until < 3600:
        assert blur_word(movement_at(rates, 0.97 * until).classes["tree"].print_mm) == "sharp"
        assert blur_word(movement_at(rates, 1.03 * until).classes["tree"].print_mm) != "sharp"


@settings(max_examples=30, deadline=None)
@given(_WIND, _TIME)
def test_the_movement_speaks_of_plants_exactly_where_they_are_not_sharp(wind: float, time: float) -> None:
    photo, scene, _ = SCENE
    moved = movement_at(rates_of_motion(scene, Conditions(wind_m_s=wind), photo), time)
    told = any(isinstance(note, ClassMoves) and note.class_name == "tree" for note in moved.notes)
    assert told == (blur_word(moved.classes["tree"].print_mm) != "sharp")


def test_rustling_leaves_are_not_sharp_after_half_a_minute() -> None:
    """Beaufort 2: leaves rustle (WMO code 1100); 3 m/s and 30 s are never sharp (common practice)."""
    assert blur_word(_print_mm(3.0, 30.0, 26.0)) != "sharp"


def test_what_is_kept_falls_steadily() -> None:
    kept = [kept_by(float(mm)) for mm in np.geomspace(0.05, 10, 60)]
    assert kept == sorted(kept, reverse=True)
    assert (kept[0], kept[-1]) == (1.0, 0.0)
