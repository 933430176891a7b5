"""The tone of the `reference-pairs` kit: a local mix of the snap's own channels, predicted by the scene network.

t = sum over k of mix_k * basis_k, with the basis "rgb1y": display red, green, blue (0..1, sRGB-encoded), one, and
linear luminance Y (weights of Rec. ITU-R BT.709; sRGB curve of IEC 61966-2-1). t is a display tone, 0..1, in the look
of the pairs that the network was trained on: exposure and tone curve unknown, only order and relative tone mean
anything.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from irpreview.errors import BadModel
from irpreview.records import ByteArray, FloatArray

MIX_BASIS = "rgb1y"
MIX_MAPS = 5
_DISPLAY = (np.arange(256) / 255.0).astype(np.float32)
_LINEAR = np.where(_DISPLAY <= 0.04045, _DISPLAY / 12.92, ((_DISPLAY + 0.055) / 1.055) ** 2.4).astype(np.float32)
_LUMINANCE_OF = [(weight * _LINEAR).astype(np.float32) for weight in (0.2126, 0.7152, 0.0722)]


def reference_tone(pixels: ByteArray, mix: FloatArray, basis: str = MIX_BASIS) -> FloatArray:
    """Display tone (H, W) 0..1 of sRGB pixels (H, W, 3) uint8 under mix maps (5, h, w) of any smaller size.

    Raises BadModel for a basis other than "rgb1y" or a mix with another number of maps.
    """
    if basis != MIX_BASIS or mix.ndim != 3 or mix.shape[0] != 5:
        raise BadModel(
            f"tone basis {basis!r} with {mix.shape[0]} maps is unknown here; this version reads {MIX_BASIS!r} "
            "with 5 maps: reinstall irpreview so that weights and program belong together"
        )
    h, w = pixels.shape[:2]

    def at_size(m: FloatArray) -> FloatArray:
        if m.shape == (h, w):
            return m
        return np.asarray(cv2.resize(np.ascontiguousarray(m), (w, h), interpolation=cv2.INTER_LINEAR), np.float32)

    tone = np.array(at_size(mix[3]), np.float32)
    for k, channel in enumerate(cv2.split(pixels)):
        cv2.accumulateProduct(np.asarray(cv2.LUT(channel, _DISPLAY), np.float32), at_size(mix[k]), tone)
    cv2.accumulateProduct(luminance_of(pixels), at_size(mix[4]), tone)
    clipped: FloatArray = np.clip(tone, 0.0, 1.0, out=tone)
    return clipped


def luminance_of(pixels: ByteArray) -> FloatArray:
    """Linear luminance 0..1 (H, W) of sRGB pixels (H, W, 3) uint8."""
    luminance = np.zeros(pixels.shape[:2], np.float32)
    for k, channel in enumerate(cv2.split(pixels)):
        luminance += cv2.LUT(channel, _LUMINANCE_OF[k])
    return luminance


def tone_from_coefficients(pixels: ByteArray, coefficients: NDArray[np.float32]) -> FloatArray:
    """Display tone (H, W) 0..1 of sRGB pixels (H, W, 3) uint8 under one mix (5,) for the whole picture."""
    return reference_tone(pixels, np.asarray(coefficients, np.float32).reshape(-1, 1, 1))


def display_stops(display: FloatArray, lowest: float) -> FloatArray:
    """log2 of the linear light of display tones (h, w), not below that of `lowest`, 0..0.003. [stops]"""
    x = np.maximum(display, np.float32(12.92 * lowest))
    curved = x + np.float32(0.055)
    curved *= np.float32(1 / 1.055)
    np.log2(curved, out=curved)
    curved *= np.float32(2.4)
    near_black = x <= 0.04045
    curved[near_black] = np.log2(x[near_black] * np.float32(1 / 12.92))
    return curved
