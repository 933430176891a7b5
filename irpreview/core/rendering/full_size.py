"""From maps of stops at the working size to tones and finished picture at the photo's own size, along its own edges."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np

from irpreview.core.imaging.side_by_side import side_by_side
from irpreview.core.rendering.finishing import PrintCurve, finish
from irpreview.records import ByteArray, FloatArray

LOWEST_TONE, HIGHEST_TONE = 2.0**-10, 2.0
"""Physical bounds: a cavity still scatters a thousandth; a bright cloud edge can be twice a white card."""
_LOWEST_ROOT, _HIGHEST_ROOT = np.float32(LOWEST_TONE**0.5), np.float32(HIGHEST_TONE**0.5)
_CARRY_RADIUS_SHARE = 0.002
"""Of the long side: as small as a window can be that still holds a line, so that nothing spills over an edge."""
_CARRY_EPS = 2e-4
_TEXTURE_SHARE, _TEXTURE_TAKEN, _TEXTURE_LIMIT_STOPS = 0.0035, 0.45, 0.5


def fine_texture(residual: FloatArray, land: FloatArray | None = None) -> FloatArray:
    """Texture that the finished picture shows beyond the tones. [stops], (h, w).

    The research pairs fit each other to about a pixel, so the network learned soft leaves and stones. For the eye the
    finest texture is taken back from the snap, through the class alone; the tones keep what the network says.
    land: share of what is not sky, (h, w); the sky has no such texture, and none may spill over its edge.
    """
    radius = max(1, round(1.2 * _TEXTURE_SHARE * max(residual.shape)))
    window = (2 * radius + 1, 2 * radius + 1)

    def around(m: FloatArray) -> FloatArray:  # two means in a row: nearly a normal distribution, a third of the time
        return np.asarray(cv2.blur(cv2.blur(m, window), window), np.float32)

    if land is None:
        fine = residual - around(residual)
    else:
        of_land = around(land)
        of_land += np.float32(1e-3)
        fine = around(residual * land)
        fine /= of_land
        np.subtract(residual, fine, out=fine)
        fine *= land
    return np.asarray(np.clip(-_TEXTURE_TAKEN * fine, -_TEXTURE_LIMIT_STOPS, _TEXTURE_LIMIT_STOPS), np.float32)


def print_root(stops: FloatArray, texture: FloatArray) -> FloatArray:
    """Square roots of the tones that are printed, from two maps (h, w) in stops."""
    root = stops + texture
    root *= np.float32(0.5)
    np.exp2(root, out=root)
    return np.asarray(np.clip(root, _LOWEST_ROOT, _HIGHEST_ROOT, out=root), np.float32)


@dataclass(frozen=True, slots=True)
class FullSize:
    """From maps at the working size to tones and picture at the photo's own.

    Square roots of tones are carried to full size by local lines of the grey value, found small, applied large. The
    root is used because it is nearly even to the eye, so one epsilon serves shadows and lights, and its square is one
    multiplication. At this scale grey is guide enough, and a quarter of the work of colour.
    """

    pixels: ByteArray
    small: ByteArray
    stops: FloatArray
    """(h, w) tones. [stops]"""
    texture: FloatArray
    """(h, w) what the print shows beyond them. [stops]"""
    root: FloatArray
    """(h, w) `print_root` of both."""
    spread: FloatArray
    """(h, w) [stops]"""

    def picture(self, curve: PrintCurve, film_look: bool) -> ByteArray:
        """The finished picture (H, W)."""
        if self._is_small():
            return finish(self.root, film_look=film_look, curve=curve)
        out = np.empty(self.pixels.shape[:2], np.uint8)
        root = self._root(None if film_look else lambda strip, here: out.__setitem__(strip, curve.printed(here)))
        return finish(root, film_look=True, curve=curve) if film_look else out

    def maps(self) -> tuple[FloatArray, FloatArray]:
        """(tones (H, W), spread (H, W) [stops])."""
        if self._is_small():
            return np.clip(np.exp2(self.stops), LOWEST_TONE, HIGHEST_TONE), self.spread
        without_texture = self._enlarged(np.exp2(-self.texture))  # tones keep what the network says

        def squared(strip: slice, here: FloatArray) -> None:
            cv2.multiply(here, here, dst=here)
            cv2.multiply(here, without_texture[strip], dst=here)
            np.clip(here, LOWEST_TONE, HIGHEST_TONE, out=here)

        tones = self._root(squared)
        return tones, self._enlarged(self.spread, without_texture)

    def _is_small(self) -> bool:
        return self.small.shape == self.pixels.shape

    def _root(self, then: Callable[[slice, FloatArray], None] | None) -> FloatArray:
        """Square roots of the printed tones (H, W). then: what is done with each strip of them in turn, in place."""
        slope, intercept = (self._enlarged(line) for line in _lines_of_grey(self.root, self.small))

        def worked(strip: slice) -> None:
            here = slope[strip]
            cv2.multiply(here, cv2.cvtColor(self.pixels[strip], cv2.COLOR_RGB2GRAY), dst=here, dtype=cv2.CV_32F)
            cv2.add(here, intercept[strip], dst=here)
            np.clip(here, _LOWEST_ROOT, _HIGHEST_ROOT, out=here)
            if then is not None:
                then(strip, here)

        side_by_side(worked, self._strips())
        return slope

    def _enlarged(self, m: FloatArray, out: FloatArray | None = None) -> FloatArray:
        size = (self.pixels.shape[1], self.pixels.shape[0])
        return np.asarray(cv2.resize(m, size, dst=out, interpolation=cv2.INTER_LINEAR), np.float32)

    def _strips(self) -> list[slice]:
        """Rows that fit into the cache together."""
        height, width = self.pixels.shape[:2]
        rows = max(16, (1 << 18) // width)
        return [slice(top, min(top + rows, height)) for top in range(0, height, rows)]


def _lines_of_grey(root: FloatArray, small: ByteArray) -> tuple[FloatArray, FloatArray]:
    """Slope and intercept of the local lines root = slope . grey + intercept, (h, w) each."""
    radius = max(2, round(_CARRY_RADIUS_SHARE * max(root.shape)))
    window = (2 * radius + 1, 2 * radius + 1)

    def mean(a: FloatArray) -> FloatArray:
        return np.asarray(cv2.blur(a, window, borderType=cv2.BORDER_REFLECT), np.float32)

    guide = cv2.cvtColor(small, cv2.COLOR_RGB2GRAY).astype(np.float32)
    mean_guide, mean_root = mean(guide), mean(root)
    variance = np.maximum(mean(guide * guide) - mean_guide * mean_guide, 0) + np.float32(255**2 * _CARRY_EPS)
    line = np.asarray((mean(guide * root) - mean_guide * mean_root) / variance, np.float32)
    return mean(line), mean(mean_root - line * mean_guide)
