"""Where an infrared frame came out brighter or darker than predicted, as a picture with its scale."""

from __future__ import annotations

import cv2
import numpy as np

from irpreview.core.imaging.lettering import text_width, write
from irpreview.records import ByteArray, FloatArray

FULL_COLOUR_STOPS = 2.0
_NO_COLOUR_STOPS = 0.15
_BRIGHTER, _DARKER = np.array([213.0, 94.0, 0.0]) / 255.0, np.array([0.0, 114.0, 178.0]) / 255.0
"""Okabe and Ito 2008: vermilion against blue, told apart by everyone."""
_PAPER, _INK = (250, 249, 246), (28, 27, 25)
TICKS = (-2, -1, 0, 1, 2)
"""Marked on the scale. [stops]"""
_SCALE_STOPS = 1.1 * FULL_COLOUR_STOPS
"""So far it reaches either way."""
LEFT_WORDS, RIGHT_WORDS = "darker than predicted", "brighter than predicted"


def difference_picture(difference_stops: FloatArray, zones: FloatArray) -> ByteArray:
    """(H, W, 3) sRGB: the predicted picture in grey; orange = the frame is brighter, blue = darker, full at 2 stops.

    difference_stops: (H, W) taken minus predicted, NaN where it cannot be told (drawn darker). zones: (H, W) of the
    prediction.
    """
    grey = np.clip((zones - 1.0) / 8.0, 0.0, 1.0)[..., None] * 0.55 + 0.2
    mixed = _coloured(np.nan_to_num(difference_stops)[..., None], grey)
    mixed = np.where(np.isfinite(difference_stops)[..., None], mixed, grey * 0.6)
    return np.asarray(np.clip(mixed * 255.0 + 0.5, 0.0, 255.0), np.uint8)


def _coloured(stops: FloatArray, grey: FloatArray) -> FloatArray:
    span = FULL_COLOUR_STOPS - _NO_COLOUR_STOPS
    amount = np.clip((np.abs(stops) - _NO_COLOUR_STOPS) / span, 0.0, 1.0) ** 0.7
    colour = np.where(stops > 0, _BRIGHTER, _DARKER)
    return np.asarray(grey * (1.0 - amount) + (0.35 * grey + 0.65 * colour) * amount, np.float32)


def scale_colours(count: int) -> ByteArray:
    """(count, 3) sRGB from darker to brighter, on middle grey."""
    stops = np.linspace(-_SCALE_STOPS, _SCALE_STOPS, count, dtype=np.float32)[:, None]
    return np.asarray(np.clip(_coloured(stops, np.full_like(stops, 0.5)) * 255.0 + 0.5, 0.0, 255.0), np.uint8)


def tick_at(stops: float) -> float:
    """Where so many stops stand on the scale, 0 to 1 from the left."""
    return stops / (2.0 * _SCALE_STOPS) + 0.5


def with_scale(picture: ByteArray) -> ByteArray:
    """The picture (H, W, 3) with its scale beneath: colours, signs, stops, and what they mean; as wide as before."""
    wide = int(picture.shape[1])
    size = max(9, round(wide / 36.0))
    pad, bar = round(0.7 * size), round(1.1 * size)
    while size > 7 and text_width(LEFT_WORDS, size) + text_width(RIGHT_WORDS, size) + 5 * pad > wide:
        size -= 1
    strip = np.empty((3 * pad + bar + round(2.6 * size), wide, 3), np.uint8)
    strip[:] = _PAPER
    inner = wide - 4 * pad
    strip[pad : pad + bar, 2 * pad : 2 * pad + inner] = scale_colours(inner)
    base = 2 * pad + bar + size
    for tick in TICKS:
        x = 2 * pad + round(tick_at(tick) * (inner - 1))
        cv2.line(strip, (x, pad), (x, pad + bar + pad // 2), _INK, max(1, size // 12))
        words = f"{tick:+d}" if tick else "0 stops"
        write(strip, words, (x - text_width(words, size) // 2, base), size, _INK)
    second = base + round(1.4 * size)
    write(strip, LEFT_WORDS, (2 * pad, second), size, _INK)
    write(strip, RIGHT_WORDS, (wide - 2 * pad - text_width(RIGHT_WORDS, size), second), size, _INK)
    return np.vstack((picture, strip))
