"""The sRGB curve, against figures of its standard and against itself in higher precision."""

import numpy as np
import pytest

from irpreview.core.imaging.srgb import (
    LINEAR_OF_LEVEL,
    linear_pixels,
    luminance,
    stops_of_display,
    to_display,
    to_linear,
)


def test_the_curve_is_the_standards():
    # IEC 61966-2-1:1999, 5.2: below 0.04045 a straight line of slope 1/12.92, above it a power of 2.4; 8-bit 188 is
    # about one half, 118 about the grey card's 18 %
    assert to_linear(0.04045) == pytest.approx(0.04045 / 12.92, abs=1e-12)
    assert to_linear([0.0, 1.0]) == pytest.approx([0.0, 1.0])
    assert float(to_linear(188 / 255)) == pytest.approx(0.5029, abs=2e-4)
    assert float(to_linear(118 / 255)) == pytest.approx(0.1812, abs=2e-4)
    assert float(to_display(0.18)) == pytest.approx(0.4614, abs=2e-4)


def test_there_and_back_is_the_same_for_every_level():
    levels = np.arange(256)
    assert np.array_equal(np.round(255 * to_display(LINEAR_OF_LEVEL)), levels)
    assert np.array_equal(linear_pixels(levels.astype(np.uint8)), LINEAR_OF_LEVEL)
    assert (np.diff(LINEAR_OF_LEVEL) > 0).all()


def test_luminance_is_the_weighted_sum_of_linear_channels():
    # Rec. ITU-R BT.709-6, item 3.2: Y = 0.2126 R + 0.7152 G + 0.0722 B
    pixels = np.random.default_rng(3).integers(0, 256, (40, 60, 3), np.uint8)
    exact = to_linear(pixels / 255.0) @ np.array([0.2126, 0.7152, 0.0722])
    assert np.allclose(luminance(pixels), exact, atol=5e-7)
    grey = np.full((4, 4, 3), 119, np.uint8)
    assert float(luminance(grey)[0, 0]) == pytest.approx(0.1845, abs=2e-4)


def test_stops_of_display_are_those_of_the_linear_light():
    display = np.linspace(0.0, 1.0, 5001, dtype=np.float32)[None]
    lowest = 0.002
    exact = np.log2(np.maximum(to_linear(display), lowest))
    assert np.abs(stops_of_display(display, lowest) - exact).max() < 2e-5
