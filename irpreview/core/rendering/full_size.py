"""From maps of stops at the working size to tones and finished picture at the photo's own size, along its own edges."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np

from irpreview.core.imaging.side_by_side import side_by_side
from irpreview.core.imaging.srgb import exp2_in_place
from irpreview.core.rendering.finishing import PrintCurve, finish, read_table
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

    def around(m: FloatArray, out: FloatArray, between: FloatArray) -> FloatArray:
        # two means in a row: nearly a normal distribution, a third of the time
        cv2.blur(m, window, dst=between)
        return np.asarray(cv2.blur(between, window, dst=out), np.float32)

    fine, spare = np.empty_like(residual), np.empty_like(residual)
    if land is None:
        around(residual, fine, spare)
        np.subtract(residual, fine, out=fine)
    else:
        around(cv2.multiply(residual, land, dst=fine), fine, spare)
        of_land = around(land, np.empty_like(residual), spare)
        of_land += np.float32(1e-3)
        fine /= of_land
        np.subtract(residual, fine, out=fine)
        fine *= land
    fine *= np.float32(-_TEXTURE_TAKEN)
    return np.asarray(np.clip(fine, -_TEXTURE_LIMIT_STOPS, _TEXTURE_LIMIT_STOPS, out=fine), np.float32)


def print_root(stops: FloatArray, texture: FloatArray) -> FloatArray:
    """Square roots of the tones that are printed, from two maps (h, w) in stops."""
    root = stops + texture
    root *= np.float32(0.5)
    exp2_in_place(root)
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
        if film_look:  # its glow reaches over strips
            root = np.empty(self.pixels.shape[:2], np.float32)

            def kept(strip: slice, here: FloatArray, _: FloatArray) -> None:
                np.clip(here, _LOWEST_ROOT, _HIGHEST_ROOT, out=root[strip])

            self._each_strip(kept)
            return finish(root, film_look=True, curve=curve)
        out = np.empty(self.pixels.shape[:2], np.uint8)
        table, per_root = curve.display_table(float(_LOWEST_ROOT), float(_HIGHEST_ROOT))

        def printed(strip: slice, here: FloatArray, spare: FloatArray) -> None:
            steps = spare.reshape(-1).view(np.uint16)[: spare.size].reshape(spare.shape)
            read_table(table, here, steps, out[strip])

        # in steps of the table and half a step more, so that nothing but the lookup is left to do for each pixel
        self._each_strip(printed, per_root, 0.5)
        return out

    def maps(self) -> tuple[FloatArray, FloatArray]:
        """(tones (H, W), spread (H, W) [stops])."""
        if self._is_small():
            return np.clip(np.exp2(self.stops), LOWEST_TONE, HIGHEST_TONE), self.spread
        without_texture = exp2_in_place(-self.texture)  # tones keep what the network says
        of_rows = _Rows(without_texture, self.pixels.shape[:2])
        tones = np.empty(self.pixels.shape[:2], np.float32)

        def squared(strip: slice, here: FloatArray, spare: FloatArray) -> None:
            np.clip(here, _LOWEST_ROOT, _HIGHEST_ROOT, out=here)
            cv2.multiply(here, here, dst=here)
            here *= of_rows.enlarged(0, of_rows.at(strip), spare)
            np.clip(here, LOWEST_TONE, HIGHEST_TONE, out=tones[strip])

        self._each_strip(squared)
        size = (self.pixels.shape[1], self.pixels.shape[0])
        return tones, np.asarray(cv2.resize(self.spread, size, interpolation=cv2.INTER_LINEAR), np.float32)

    def _is_small(self) -> bool:
        return self.small.shape == self.pixels.shape

    def _each_strip(
        self,
        then: Callable[[slice, FloatArray, FloatArray], None],
        scale: float = 1.0,
        offset: float = 0.0,
    ) -> None:
        """Square roots of the printed tones (H, W), not yet held within their bounds, a few rows at a time.

        scale, offset: what they are multiplied by, and what is added. then: what is done with these rows, in place, and
        with another such array to work in.

        Rows that fit into the cache together, in arrays that are used again: two whole maps of a 12-megapixel photo
        are 24,000 pages that the system must hand out, which takes longer than the work on them.
        """
        slope, intercept = _lines_of_grey(self.root, self.small)
        slope *= np.float32(scale)
        intercept *= np.float32(scale)
        intercept += np.float32(offset)
        height, width = self.pixels.shape[:2]
        lines = _Rows(np.hstack([slope, intercept]), (height, width), parts=2)
        rows = max(16, (1 << 17) // width)
        strips = [slice(top, min(top + rows, height)) for top in range(0, height, rows)]
        turns = max(1, cv2.getNumThreads())

        def worked(strips: list[slice]) -> None:
            room = [np.empty((rows, width), np.float32) for _ in range(3)]
            room_for_grey = np.empty((rows, width), np.uint8)
            for strip in strips:
                count = strip.stop - strip.start
                here, spare, grey = (one[:count] for one in room)
                # the product below wants one kind of numbers
                np.copyto(grey, cv2.cvtColor(self.pixels[strip], cv2.COLOR_RGB2GRAY, dst=room_for_grey[:count]))
                lines_here = lines.at(strip)
                lines.enlarged(1, lines_here, here)
                cv2.accumulateProduct(lines.enlarged(0, lines_here, spare), grey, here)
                then(strip, here, spare)

        side_by_side(worked, [strips[k::turns] for k in range(turns)])


class _Rows:
    """Maps (h, w) side by side, to be enlarged by straight lines to (H, W) a few rows at a time."""

    def __init__(self, maps: FloatArray, size: tuple[int, int], parts: int = 1) -> None:
        """maps: (h, parts x w). size: (H, W)."""
        self._maps, self._parts, self._size = maps, parts, size
        at = (np.arange(size[0]) + 0.5) * (len(maps) / size[0]) - 0.5
        at = np.clip(at, 0, len(maps) - 1)
        self._above = np.minimum(at.astype(np.intp), max(len(maps) - 2, 0))
        self._share_below = (at - self._above).astype(np.float32)[:, None]

    def at(self, strip: slice) -> FloatArray:
        """All maps at some rows of the large size, (rows, parts x w)."""
        above = self._above[strip]
        upper = self._maps.take(above, axis=0)
        lower = self._maps.take(np.minimum(above + 1, len(self._maps) - 1), axis=0)
        lower -= upper
        lower *= self._share_below[strip]
        upper += lower
        return np.asarray(upper, np.float32)

    def enlarged(self, part: int, rows: FloatArray, out: FloatArray) -> FloatArray:
        """One of the maps at these rows, written into `out` (rows, W)."""
        width = rows.shape[1] // self._parts
        rows = rows[:, part * width : (part + 1) * width]
        return np.asarray(cv2.resize(rows, out.shape[::-1], dst=out, interpolation=cv2.INTER_LINEAR), np.float32)


def _lines_of_grey(root: FloatArray, small: ByteArray) -> tuple[FloatArray, FloatArray]:
    """Slope and intercept of the local lines root = slope . grey + intercept, (h, w) each."""
    radius = max(2, round(_CARRY_RADIUS_SHARE * max(root.shape)))
    window = (2 * radius + 1, 2 * radius + 1)

    guide, mean_guide, mean_root, variance, line, spare = (np.empty_like(root) for _ in range(6))

    def mean(a: FloatArray, out: FloatArray) -> FloatArray:
        return np.asarray(cv2.blur(a, window, dst=out, borderType=cv2.BORDER_REFLECT), np.float32)

    np.copyto(guide, cv2.cvtColor(small, cv2.COLOR_RGB2GRAY))
    mean(guide, mean_guide)
    mean(root, mean_root)
    mean(cv2.multiply(guide, guide, dst=spare), variance)
    variance -= cv2.multiply(mean_guide, mean_guide, dst=spare)
    np.maximum(variance, 0, out=variance)
    variance += np.float32(255**2 * _CARRY_EPS)
    mean(cv2.multiply(guide, root, dst=spare), line)
    line -= cv2.multiply(mean_guide, mean_root, dst=spare)
    line /= variance
    mean_root -= cv2.multiply(line, mean_guide, dst=spare)
    return mean(line, guide), mean(mean_root, variance)
