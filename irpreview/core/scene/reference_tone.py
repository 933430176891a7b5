"""The tone of the `reference-pairs` kit: a local mix of the snap's own channels, predicted by the scene network.

t = sum over k of mix_k * basis_k, with the basis "rgb1y": display red, green, blue (0..1, sRGB-encoded), one, and
linear luminance Y (weights of Rec. ITU-R BT.709; sRGB curve of IEC 61966-2-1). t is a display tone, 0..1, in the look
of the pairs that the network was trained on: exposure and tone curve unknown, only order and relative tone mean
anything.
"""

from __future__ import annotations

import cv2
import numpy as np

from irpreview.core.imaging.srgb import luminance
from irpreview.errors import BadModel
from irpreview.records import ByteArray, FloatArray

MIX_BASIS = "rgb1y"
MIX_MAPS = 5
_DISPLAY = (np.arange(256) / 255.0).astype(np.float32)


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
    cv2.accumulateProduct(luminance(pixels), at_size(mix[4]), tone)
    clipped: FloatArray = np.clip(tone, 0.0, 1.0, out=tone)
    return clipped
