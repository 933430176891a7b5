"""The sky: okta by the book, texture on patterns with a known answer, words, and what a shutter makes of it."""

from __future__ import annotations

import math

import numpy as np
import pytest

from irpreview.core.verdict.layers import ground_of
from irpreview.core.verdict.sky import (
    BAND_SHARES_OF_WIDTH,
    clouds_after_shutter,
    okta_of,
    read_sky,
    texture_stops,
    texture_word,
)
from irpreview.records import ClassMovement, HowKnown, KnownBy, Movement, Moving, Range
from tests.core.drawn_scenes import Canvas, drawn, layered_view, oak_in_a_meadow, plain_under_blue_sky


@pytest.mark.parametrize(
    ("share", "okta"), [(0, 0), (0.01, 0), (0.03, 1), (0.125, 1), (0.25, 2), (0.5, 4), (0.9, 7), (0.97, 7), (1.0, 8)]
)
def test_okta_0_and_8_are_kept_for_the_clear_and_the_covered_sky(share: float, okta: int) -> None:
    """WMO-No. 8, Guide to Instruments and Methods of Observation, cloud amount: a trace is 1, a gap makes it 7."""
    assert okta_of(share) == okta


def test_okta_of_a_drawn_sky() -> None:
    """Three eighths of the sky are cloud by construction."""
    label = Canvas().box("cloud", 0, 0, 0.375, 0.6).box("grass", 0, 0.6, 1, 1).label
    assert read_sky(ground_of(*drawn(label))).okta == 3


def test_a_plane_is_no_texture_but_a_ripple_is() -> None:
    """A sine of amplitude a has rms a / sqrt 2; the bands (1 and 2 sigma) pass what the Gaussian transforms say."""
    height, width = 300, 400
    y, x = np.mgrid[0:height, 0:width].astype(np.float32)
    everywhere = np.ones((height, width), bool)
    ramp = 0.01 * x + 0.02 * y
    assert texture_stops(ramp.astype(np.float32), everywhere) < 0.02
    period, amplitude = 40.0, 0.5
    ripple = amplitude * np.sin(2 * math.pi * x / period)

    def passed(sigma: float) -> float:
        return math.exp(-2 * (math.pi * sigma / period) ** 2)

    expected = np.mean(
        [abs(passed(s * width) - passed(2 * s * width)) * amplitude / math.sqrt(2) for s in BAND_SHARES_OF_WIDTH]
    )
    assert texture_stops((ramp + ripple).astype(np.float32), everywhere) == pytest.approx(expected, rel=0.12)


def test_texture_scales_with_contrast_and_ignores_what_is_not_sky() -> None:
    rng = np.random.default_rng(0)
    zones = 0.4 * rng.standard_normal((200, 300)).astype(np.float32)
    sky = np.zeros((200, 300), bool)
    sky[:100] = True
    once = texture_stops(zones, sky)
    other = zones.copy()
    other[104:] += 9
    assert texture_stops(2 * zones, sky) == pytest.approx(2 * once, rel=0.02)
    assert texture_stops(other, sky) == pytest.approx(once, rel=1e-6)


@pytest.mark.parametrize(("stops", "word"), [(0.02, "blank"), (0.06, "faint"), (0.1, "lively"), (0.2, "dramatic")])
def test_texture_words_set_by_eye(stops: float, word: str) -> None:
    assert texture_word(stops) == word


def test_words_of_drawn_skies() -> None:
    assert read_sky(ground_of(*drawn(oak_in_a_meadow()))).word == "clear"
    assert read_sky(ground_of(*drawn(layered_view()))).word == "textured"
    covered = Canvas(background="cloud").box("grass", 0, 0.6, 1, 1).label
    assert read_sky(ground_of(*drawn(covered, cloud_texture_stops=0.01))).word == "overcast"
    assert read_sky(ground_of(*drawn(covered, cloud_texture_stops=0.6))).word == "textured"
    none = read_sky(ground_of(*drawn(Canvas(background="tree").label)))
    assert (none.word, none.okta, none.clear_zone) == ("none", None, None)


def test_a_white_cloudless_sky_is_haze() -> None:
    photo, scene, rendering = drawn(plain_under_blue_sky(), colour_gain={"clear_sky": 1.0})
    pixels = photo.pixels.copy()
    pixels[scene.label == 1] = (214, 216, 219)
    hazy = type(photo)(pixels=pixels)
    assert read_sky(ground_of(hazy, scene, rendering)).word == "hazy"


def test_the_clear_part_has_the_zone_it_was_drawn_with() -> None:
    sky = read_sky(ground_of(*drawn(plain_under_blue_sky(), {"clear_sky": 0.045})))
    assert sky.clear_zone is not None
    assert sky.clear_zone.likely == pytest.approx(3.0, abs=0.05)
    assert sky.clear_zone.width > 0.5


def _drifting(share_of_height: float) -> Movement:
    share = Range(share_of_height / 2, share_of_height, share_of_height * 2)
    cloud = ClassMovement(share, share, share, None, None, {}, HowKnown(KnownBy.USUAL, Moving.CLOUDS))
    return Movement(30.0, {"cloud": cloud}, cloud, None, None)


@pytest.mark.parametrize(
    ("share", "okta", "word"),
    [
        (0.001, 3, "still"),
        (0.02, 3, "softened"),
        (0.08, 3, "blurred"),
        (0.2, 3, "streaks"),
        (0.6, 3, "veil"),
        (0.3, 8, "even_grey"),
    ],
)
def test_longer_drift_takes_the_clouds_from_still_to_veil(share: float, okta: int, word: str) -> None:
    """Common practice, no source: less than a third of a cloud's width softens, one to three widths streak."""
    assert clouds_after_shutter(okta, 0.3, _drifting(share)) == word


def test_nothing_is_said_of_clouds_that_are_not_there_or_not_known() -> None:
    assert clouds_after_shutter(0, 0.0, _drifting(0.2)) is None
    assert clouds_after_shutter(4, 0.3, None) is None
