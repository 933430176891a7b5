"""The snap as light: its colour and luminance in stops, the camera's development undone, what lies in open shade."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from irpreview.core.imaging.srgb import LINEAR_OF_LEVEL, LUMINANCE_WEIGHTS, UNDEVELOPED_OF_LEVEL, log2_in_place
from irpreview.core.scene.scene_map import DARKEST_SEEN
from irpreview.records import ByteArray, FloatArray

AROUND_STEP = 4
"""What is so smooth that a quarter of the size holds it is worked out at that."""
_FLOORED = np.maximum(LINEAR_OF_LEVEL, np.float32(DARKEST_SEEN))
_FLOORED_STOPS = np.log2(_FLOORED)
_UNDEVELOPED_LUMINANCE = [
    np.asarray(weight * np.maximum(UNDEVELOPED_OF_LEVEL, np.float32(DARKEST_SEEN / 3.5)), np.float32)
    for weight in LUMINANCE_WEIGHTS
]


@dataclass(frozen=True, slots=True)
class SnapLight:
    """The snap at its working size, (h, w) each. [stops]"""

    redness: FloatArray
    """log2(R / G)"""
    blueness: FloatArray
    """log2(B / G)"""
    luminance: FloatArray
    """log2 of linear luminance, full scale = 0."""


def snap_light(small: ByteArray) -> SnapLight:
    """Colour and luminance of the snap (h, w, 3) sRGB."""
    channels = cv2.split(small)
    red, green, blue = (np.asarray(cv2.LUT(c, _FLOORED_STOPS), np.float32) for c in channels)
    luminance = np.zeros(green.shape, np.float32)
    for channel, weight in zip(channels, LUMINANCE_WEIGHTS, strict=True):
        luminance += cv2.LUT(channel, np.asarray(weight * _FLOORED, np.float32))
    red -= green
    blue -= green
    return SnapLight(red, blue, log2_in_place(luminance))


def undeveloped_stops(small: ByteArray) -> FloatArray:
    """log2 of the luminance of the scene (h, w), white = 0: with the development of highlights undone. [stops]"""
    luminance = np.zeros(small.shape[:2], np.float32)
    for channel, of_level in zip(cv2.split(small), _UNDEVELOPED_LUMINANCE, strict=True):
        luminance += cv2.LUT(channel, of_level)
    return log2_in_place(luminance)


def shade_share(visible_stops: FloatArray, blueness: FloatArray, land: FloatArray) -> FloatArray:
    """How far each pixel lies in open shade, 0..1, (h, w): darker and bluer than its surroundings on land.

    A guess from one picture: dark material and shade look alike, so it stays below 1 unless both signs agree.
    land: share of land in each pixel, (h, w).
    """
    h, w = visible_stops.shape
    size = max(3, round(0.12 * max(h, w) / AROUND_STEP) | 1)

    def around(m: FloatArray) -> FloatArray:  # so smooth that a quarter of the size holds it
        reduced = cv2.resize(m, (-(-w // AROUND_STEP), -(-h // AROUND_STEP)), interpolation=cv2.INTER_AREA)
        smooth = cv2.blur(reduced, (size, size), borderType=cv2.BORDER_REFLECT)
        return np.asarray(cv2.resize(smooth, (w, h), interpolation=cv2.INTER_LINEAR), np.float32)

    share = around(visible_stops)
    share -= visible_stops
    share -= np.float32(0.7)
    share *= np.float32(1 / 1.3)
    np.clip(share, 0, 1, out=share)
    bluer = blueness - around(blueness)
    bluer += np.float32(0.1)
    bluer *= np.float32(1 / 0.5)
    np.clip(bluer, 0, 1, out=bluer)
    bluer *= np.float32(0.6)
    bluer += np.float32(0.4)
    share *= bluer
    share *= land
    return share
