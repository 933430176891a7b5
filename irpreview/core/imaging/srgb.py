"""The sRGB curve of IEC 61966-2-1, in both directions: written once, used everywhere."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from irpreview.records import ByteArray, FloatArray

LUMINANCE_WEIGHTS = np.array([0.2126, 0.7152, 0.0722], np.float32)
"""Red, green and blue in linear luminance (Rec. 709)."""
MIDDLE_GREY = 0.18
"""Linear tone of zone V."""
DARKEST = 2.0**-12
"""Linear tone below which a zone is not told any more."""


def to_linear(display: ArrayLike) -> NDArray[np.float64]:
    """Linear tone 0..1 of display values 0..1, any shape."""
    x = np.asarray(display, np.float64)
    return np.asarray(np.where(x <= 0.04045, x / 12.92, (np.maximum(x, 0.0) / 1.055 + 0.055 / 1.055) ** 2.4))


def to_display(linear: ArrayLike) -> NDArray[np.float64]:
    """Display values 0..1 of linear tones 0..1, any shape."""
    x = np.asarray(linear, np.float64)
    return np.asarray(np.where(x <= 0.0031308, 12.92 * x, 1.055 * np.maximum(x, 0.0) ** (1 / 2.4) - 0.055))


LINEAR_OF_LEVEL = to_linear(np.arange(256) / 255.0).astype(np.float32)
"""(256,) linear tone of each 8-bit level."""
_LUMINANCE_OF_LEVEL = [(weight * LINEAR_OF_LEVEL).astype(np.float32) for weight in LUMINANCE_WEIGHTS]


UNDEVELOPED_OF_LEVEL = (LINEAR_OF_LEVEL / (3.5 - 2.5 * LINEAR_OF_LEVEL)).astype(np.float32)
"""(256,) light in the scene of each 8-bit level, white = 1: a camera's development of highlights undone.

No phone draws the sRGB curve straight: what is bright is crowded together below white, so clouds lose their light and
shade, and blue on its way to white loses colour. Light y / (3.5 - 2.5 y) undoes a usual development: contrast times
1.15 at middle grey, 2 at a cloud's 0.7. It drew light 0.25 and 0.5 at 0.54 and 0.78; the default tone curve of the DNG
reference code (dng_render.cpp, "ACR3 default") draws them at 0.52 and 0.80."""


def linear_pixels(pixels: ByteArray) -> FloatArray:
    """Linear tones 0..1 of 8-bit sRGB pixels, any shape."""
    return np.asarray(LINEAR_OF_LEVEL[pixels], np.float32)


def luminance(pixels: ByteArray) -> FloatArray:
    """Linear luminance 0..1 (H, W) of sRGB pixels (H, W, 3) uint8.

    Channel by channel through a table: 0.6 of the time of the product of linear pixels and weights (1024 x 768 px,
    medians of 25 turns each).
    """
    out = np.zeros(pixels.shape[:2], np.float32)
    for table, channel in zip(_LUMINANCE_OF_LEVEL, cv2.split(pixels), strict=True):
        out += cv2.LUT(channel, table)
    return out


def log2_in_place(m: FloatArray) -> FloatArray:
    """log2 of values above 0, any shape, written over them.

    OpenCV's logarithm and power take a tenth of the time of NumPy's where the processor lacks its widest instructions
    (1024 x 768 px: 0.4 against 4.5 ms), and differ in the last digit of single precision only.
    """
    cv2.log(m, dst=m)
    m *= np.float32(1 / np.log(2))
    return m


def exp2_in_place(m: FloatArray) -> FloatArray:
    """2 to the power of values, any shape, written over them; as `log2_in_place`."""
    m *= np.float32(np.log(2))
    cv2.exp(m, dst=m)
    return m


def stops_of_display(display: FloatArray, lowest: float) -> FloatArray:
    """log2 of the linear light of display tones (h, w), not below that of `lowest`, 0..0.003. [stops]

    In one pass in single precision, the logarithm taken before the power.
    """
    x = np.maximum(display, np.float32(12.92 * lowest))
    curved = x + np.float32(0.055)
    curved *= np.float32(1 / 1.055)
    log2_in_place(curved)
    curved *= np.float32(2.4)
    near_black = x <= 0.04045
    curved[near_black] = np.log2(x[near_black] * np.float32(1 / 12.92))
    return curved
