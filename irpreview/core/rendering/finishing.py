"""From linear tones to the finished print: exposure on the zone scale, paper grade, an optional film look.

Nothing here flows back into the tones. The print is modelled as a paper: density rises with the log of exposure between
paper white and the deepest black, steeper for harder grades. Grades follow the ISO range R of ISO 6846 (100 x the log
exposure range between 0.04 above base and 0.9 of the maximum density); the R of each grade is the middle of its band
(bands from memory: grade 0 140-170, 1 115-140, 2 95-115, 3 80-95, 4 65-80, 5 50-65).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from irpreview.core.imaging.srgb import DARKEST, MIDDLE_GREY, to_display
from irpreview.errors import BadValue
from irpreview.records import DEFAULT_GRADE, ByteArray, FloatArray, Range, Rendering

ISO_RANGE = (155.0, 127.0, 105.0, 87.0, 72.0, 57.0)
PAPER_BLACK_DENSITY = 2.1
NEGATIVE_GAMMA = 0.55
"""Contrast of the negative (or of a raw file's flat development) that the paper prints."""
FITTING_RANGE_STOPS = 4.6
"""Range of a scene that the usual development suits."""
_GAMMA_LIMITS = (0.34, 0.62)
HIGHLIGHT_ZONE = 6.9
"""Where the brightest extended surface is placed: white with texture. With the default grade the middle of twenty
predictions is drawn at 140 of 255 (139 in the true near-infrared photographs beside them), and the darkest class of a
picture lies about zone III, dark with texture (Adams, The Negative, 1981, ch. 4); at 6.8 it falls a third of a zone."""
_STEPS = 4096
_SCREEN_BLACK = 0.8 * 10.0**-PAPER_BLACK_DENSITY
_STEPS_PER_ROOT = (_STEPS - 1) / float(np.sqrt(2.0))


def iso_range(grade: float) -> float:
    """ISO range R of a paper grade 0..5, between grades by a straight line. Raises BadValue outside."""
    if not 0 <= grade <= 5:
        raise BadValue(f"paper grade {grade:g} is outside 0 to 5; 0 is soft, 2 the default, 5 the hardest")
    return float(np.interp(grade, range(6), ISO_RANGE))


def negative_gamma(root: FloatArray) -> float:
    """Contrast of the negative for a picture (H, W) of square roots of tones: less for a scene of long range.

    Infrared scenes run over six and more stops; the development is held back for them, as for any contrasty negative,
    so that black water and white leaves keep texture on a hard paper. Common practice, no source.
    """
    low, high = np.percentile(root[:: sample_step(root), :: sample_step(root)], (1.5, 97))
    range_stops = 2 * np.log2(max(float(high), 1e-3) / max(float(low), 1e-3))
    return float(np.clip(NEGATIVE_GAMMA * FITTING_RANGE_STOPS / max(range_stops, 0.1), *_GAMMA_LIMITS))


def print_luminance(relative_stops: np.ndarray, grade: float, gamma: float = NEGATIVE_GAMMA) -> np.ndarray:
    """Luminance of the print, paper white = 1, of tones given in stops above (+) or below (-) the middle of the paper.

    The density curve is a logistic in log exposure whose 0.04 and 0.9 points lie R / 100 apart. gamma: contrast of the
    negative.
    """
    span = iso_range(grade) / 100.0
    upper, lower = 0.9, 0.04 / PAPER_BLACK_DENSITY
    logit_span = np.log(upper / (1 - upper)) - np.log(lower / (1 - lower))
    log_exposure = -np.asarray(relative_stops, np.float64) * np.log10(2.0) * gamma
    # more light in the scene = less exposure on the paper; 0 stops sits where density gives an 18 % print
    middle = -np.log10(0.18) / PAPER_BLACK_DENSITY
    density = PAPER_BLACK_DENSITY / (1 + np.exp(-(logit_span / span * log_exposure + np.log(middle / (1 - middle)))))
    return np.asarray(10.0**-density)


def placement_stops(root: FloatArray, grade: float, gamma: float = NEGATIVE_GAMMA) -> float:
    """Exposure correction in stops that puts the brightest extended surface of the picture on its zone.

    root: (H, W) square roots of linear tones.
    """
    step = sample_step(root)
    bright = float(np.percentile(root[::step, ::step], 97)) ** 2
    stops = np.linspace(-8, 8, 1601)
    printed = print_luminance(stops, grade, gamma)
    target = min(0.18 * 2.0 ** (HIGHLIGHT_ZONE - 5), 0.84)
    at = float(np.interp(target, printed, stops))
    return at - float(np.log2(max(bright, 1e-4)))


def screen_luminance(luminance: NDArray[np.float64]) -> NDArray[np.float64]:
    """Luminance on a screen, 0..1, of that of the print, any shape.

    A screen's black is deeper than paper's: most of the paper's own black is taken off (common practice, no source).
    """
    return np.asarray((luminance - _SCREEN_BLACK) / (1 - _SCREEN_BLACK))


_STOP_LIMITS = (-14.0, 10.0)
_STOPS = np.linspace(*_STOP_LIMITS, 2401)


@lru_cache(maxsize=32)
def _tables(grade: float, gamma: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """(print L*, zone as drawn on the screen) of tones given in stops from the middle of the paper, `_STOPS`."""
    luminance = print_luminance(_STOPS, grade, gamma)
    f = np.where(luminance > (6 / 29) ** 3, np.cbrt(luminance), luminance / (3 * (6 / 29) ** 2) + 4 / 29)
    zones = 5 + np.log2(np.maximum(screen_luminance(luminance), DARKEST) / MIDDLE_GREY)
    return np.asarray(116 * f - 16), np.asarray(zones)


@dataclass(frozen=True, slots=True)
class PrintCurve:
    """From scene tones to one print: paper, exposure, and development of the negative."""

    grade: float
    shift_stops: float
    """Exposure: what is added to a tone's log2 so that 0 lies on the middle of the paper. [stops]"""
    gamma: float = NEGATIVE_GAMMA

    @property
    def gain(self) -> float:
        """What placing the picture multiplies square roots of tones by."""
        return float(2.0 ** (self.shift_stops / 2))

    def _read(self, scene_zone: FloatArray | NDArray[np.float64] | float, which: int) -> NDArray[np.float64]:
        stops = np.asarray(scene_zone, np.float64) - 5 + math.log2(MIDDLE_GREY) + self.shift_stops
        table = _tables(self.grade, round(self.gamma, 2))[which]
        return np.asarray(np.interp(np.clip(stops, *_STOP_LIMITS), _STOPS, table))

    def lightness(self, scene_zone: FloatArray | NDArray[np.float64] | float) -> NDArray[np.float64]:
        """CIE 1976 L* of the print (paper white = 100) of scene zones, same shape."""
        return self._read(scene_zone, 0)

    def zone(self, scene_zone: FloatArray | NDArray[np.float64] | float) -> NDArray[np.float64]:
        """Zone in the picture shown, of scene zones (5 + log2(tone / 0.18)), same shape.

        5 + log2(linear / 0.18) of the drawn grey: exposure placed, grade applied. Runs from about -1.8 (the deepest
        black drawn) to 7.5 (paper white).
        """
        return self._read(scene_zone, 1)

    def zone_range(self, scene_zone: Range) -> Range:
        """The zone in the picture shown with its doubt, from that of the scene."""
        low, likely, high = (float(self.zone(v)) for v in (scene_zone.low, scene_zone.likely, scene_zone.high))
        return Range(low, likely, high)

    def print_into(self, out: ByteArray, root: FloatArray, scaled: FloatArray, steps: NDArray[np.uint16]) -> None:
        """Write display tones into `out` (h, w), of square roots of tones (h, w).

        scaled, steps: two such arrays to work in, since new ones cost more than the work on them; scaled may be `root`
        where that is not needed any more.
        """
        table = _display_table(self)
        np.multiply(root, np.float32(_STEPS_PER_ROOT), out=scaled)
        scaled += np.float32(0.5)
        read_table(table, scaled, steps, out)

    def display_table(self, lowest: float, highest: float) -> tuple[ByteArray, float]:
        """(display tones by step of the square root of the tone, steps per unit of the root), for `read_table`.

        lowest, highest: roots beyond which the tone is that of the last within.
        """
        table = _display_table(self).copy()
        first, last = (int(root * _STEPS_PER_ROOT + 0.5) for root in (lowest, highest))
        table[0, :first] = table[0, first]
        table[0, last + 1 :] = table[0, last]
        return table, _STEPS_PER_ROOT


def read_table(table: ByteArray, steps: FloatArray, whole: NDArray[np.uint16], out: ByteArray) -> None:
    """Write display tones into `out` (h, w), of steps of a table (1, 65536) and half a step, (h, w), changed in place.

    whole: another such array to work in.
    """
    np.clip(steps, 0, table.size - 1, out=steps)
    np.copyto(whole, steps, casting="unsafe")
    try:
        cv2.LUT(whole, table, dst=out)
    except cv2.error:  # before OpenCV 5 the index must be 8 bit
        np.take(table[0], whole, out=out, mode="clip")


@lru_cache(maxsize=8)
def _display_table(curve: PrintCurve) -> ByteArray:
    """(1, 65536) display tones by step of the square root of the tone."""
    tone = np.maximum((np.arange(_STEPS) / _STEPS_PER_ROOT) ** 2, 1e-5)
    luminance = print_luminance(np.log2(tone) + curve.shift_stops, curve.grade, curve.gamma)
    table = np.empty((1, 1 << 16), np.uint8)
    table[0, :_STEPS] = np.clip(np.round(255 * to_display(screen_luminance(luminance))), 0, 255)
    table[0, _STEPS:] = table[0, _STEPS - 1]
    return table


def place_print(root: FloatArray, grade: float) -> PrintCurve:
    """The print of a picture from its square roots of tones, (h, w). Raises BadValue for a grade outside 0..5."""
    step = sample_step(root)
    sample = root[::step, ::step]
    gamma = negative_gamma(sample)
    return PrintCurve(grade, placement_stops(sample, grade, gamma), gamma)


def print_of(rendering: Rendering) -> PrintCurve:
    """The print that `Rendering.picture` shows."""
    if rendering.placed_stops is None or rendering.negative_gamma is None:
        return place_print(np.sqrt(np.maximum(rendering.tones, 0)), rendering.grade)
    return PrintCurve(rendering.grade, rendering.placed_stops, rendering.negative_gamma)


def finish(
    root: FloatArray, *, grade: float = DEFAULT_GRADE, film_look: bool = False, curve: PrintCurve | None = None
) -> ByteArray:
    """The finished picture, (H, W) uint8 in display tones, of square roots of linear tones (H, W).

    curve: the print of another picture of the same scene, so that both have the same tones; else placed by this one.
    """
    curve = curve or place_print(root, grade)
    if film_look:
        root = _halation(root, curve.gain)
    picture = np.empty(root.shape, np.uint8)
    rows = min(max(16, (1 << 18) // root.shape[1]), root.shape[0])
    scaled, steps = (np.empty((rows, root.shape[1]), kind) for kind in (np.float32, np.uint16))
    for top in range(0, root.shape[0], rows):  # in strips, so that the steps stay in the cache
        strip = root[top : top + rows]
        curve.print_into(picture[top : top + rows], strip, scaled[: len(strip)], steps[: len(strip)])
    return picture


def sample_step(picture: NDArray[np.generic]) -> int:
    """Every how many pixels each way a picture (H, W) is asked for its range: about 256 along the long side."""
    return max(1, round(int(max(picture.shape)) / 256))


def _halation(root: FloatArray, gain: float) -> FloatArray:
    """Light that passes the emulsion, is thrown back by the base and glows round the brightest parts.

    The infrared films of old had no anti-halation layer; two blurs, a tight and a wide one, stand for the ring.
    """
    h, w = root.shape
    k = min(1.0, 768 / max(h, w))
    small = cv2.resize(root, (max(1, round(w * k)), max(1, round(h * k))), interpolation=cv2.INTER_AREA)
    bright = np.maximum(small * small - (0.55 / gain) ** 2, 0)
    side = max(small.shape)
    glow = 0.16 * cv2.GaussianBlur(bright, (0, 0), 0.004 * side) + 0.10 * cv2.GaussianBlur(bright, (0, 0), 0.016 * side)
    return np.asarray(np.sqrt(root * root + cv2.resize(glow, (w, h), interpolation=cv2.INTER_LINEAR)), np.float32)
