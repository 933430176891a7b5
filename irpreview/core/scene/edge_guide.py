"""What is known small brought to a photo's edges.

The network answers at about 512 px; its edges are blurred. A guided filter (He, Sun and Tang, "Guided image filtering",
ECCV 2010; the fast variant of 2015) follows the photo's own edges: each map is a local plane of the photo's colour, so
the plane's coefficients can be found small and applied large.
"""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np

from irpreview.core.imaging.resize import size_within
from irpreview.core.scene.reference_tone import MIX_MAPS
from irpreview.records import ByteArray, FloatArray

_FIT_SIDE_PX = 384
_EDGE_RADIUS_SHARE = 0.017
_EDGE_EPS = 1e-4
"""Colour variance below which a patch counts as flat, (0..1 display value)^2; 2.5 of 255 levels."""


class EdgeGuide:
    """A colour guide (h, w, 3) prepared once for many local-plane fits.

    Colour tells leaves from sky of the same grey. The planes target = slope . colour + intercept are found on a reduced
    copy (the fast variant) and their coefficients enlarged. Everything is kept as separate maps of one value: four
    times as fast as maps of four values.
    """

    def __init__(
        self,
        pixels: ByteArray,
        radius_share: float = _EDGE_RADIUS_SHARE,
        eps: float = _EDGE_EPS,
        fit_side: int = _FIT_SIDE_PX,
        like: EdgeGuide | None = None,
        weight: FloatArray | None = None,
    ) -> None:
        """pixels: (h, w, 3) uint8. radius_share: window radius / long side. eps: regularisation, (0..1 colour)^2.

        fit_side: long side of the reduced copy [px]. like: another guide of the same pixels, to share its colours.
        weight: (h', w') of any size, how much each place counts in a fit; None = all alike.
        """
        h, w = pixels.shape[:2]
        self.shape = (h, w)
        self.reduced = size_within(h, w, fit_side)
        self._colour: list[FloatArray] = _channels(pixels) if like is None else like._colour
        self._small = self._colour
        if like is not None and like.reduced == self.reduced:
            self._small = like._small
        elif self.reduced != (h, w):
            self._small = _channels(cv2.resize(pixels, self.reduced[::-1], interpolation=cv2.INTER_AREA))
        radius = max(1, round(radius_share * max(self.reduced)))
        self._window = (2 * radius + 1, 2 * radius + 1)
        self._weight: FloatArray | None = None
        if weight is not None:
            self._weight = np.asarray(
                cv2.resize(weight, self.reduced[::-1], interpolation=cv2.INTER_LINEAR), np.float32
            )
            self._per_total = 1 / (self._plain_mean(self._weight) + np.float32(1e-9))
        self._mean_colour = [self._mean(c) for c in self._small]
        self._inverse = self._inverse_covariance(eps)

    def _plain_mean(self, a: FloatArray) -> FloatArray:
        return np.asarray(cv2.blur(a, self._window, borderType=cv2.BORDER_REFLECT), np.float32)

    def _mean(self, a: FloatArray) -> FloatArray:
        if self._weight is None:
            return self._plain_mean(a)
        return np.asarray(self._plain_mean(a * self._weight) * self._per_total, np.float32)

    def _means(self, maps: Sequence[FloatArray]) -> list[FloatArray]:
        """`_mean` of four maps in one go: half the time of one after the other."""
        if self._weight is not None:
            maps = [cv2.multiply(a, self._weight) for a in maps]
        found = list(cv2.split(self._plain_mean(cv2.merge(list(maps)))))
        if self._weight is not None:
            for a in found:
                a *= self._per_total
        return found

    def _inverse_covariance(self, eps: float) -> list[list[FloatArray]]:
        """Inverse of the local colour covariance + eps, by cofactors: rows of six different maps (h, w)."""
        red, green, blue = self._small
        mr, mg, mb = self._mean_colour
        rr, rg, rb = (self._mean(red * c) - mr * m for c, m in ((red, mr), (green, mg), (blue, mb)))
        gg, gb = (self._mean(green * c) - mg * m for c, m in ((green, mg), (blue, mb)))
        bb = self._mean(blue * blue) - mb * mb
        rr += eps
        gg += eps
        bb += eps
        c_rr, c_rg, c_rb = gg * bb - gb * gb, rb * gb - rg * bb, rg * gb - rb * gg
        c_gg, c_gb, c_bb = rr * bb - rb * rb, rb * rg - rr * gb, rr * gg - rg * rg
        scale = 1 / np.maximum(rr * c_rr + rg * c_rg + rb * c_rb, np.float32(eps) ** 3)
        c_rr, c_rg, c_rb, c_gg, c_gb, c_bb = (c * scale for c in (c_rr, c_rg, c_rb, c_gg, c_gb, c_bb))
        return [[c_rr, c_rg, c_rb], [c_rg, c_gg, c_gb], [c_rb, c_gb, c_bb]]

    def plane(self, target: FloatArray) -> FloatArray:
        """(4, h', w') slopes for red, green, blue and intercept at the reduced size, smoothed over the window."""
        if target.shape != self.reduced:
            shrinks = target.shape[0] > self.reduced[0]
            how = cv2.INTER_AREA if shrinks else cv2.INTER_LINEAR
            target = np.asarray(cv2.resize(target, self.reduced[::-1], interpolation=how), np.float32)
        *covariance, mean_target = self._means([*(cv2.multiply(c, target) for c in self._small), target])
        for of_colour, m in zip(covariance, self._mean_colour, strict=True):
            of_colour -= m * mean_target
        slopes, intercept = [], mean_target
        for row, m in zip(self._inverse, self._mean_colour, strict=True):
            slope = cv2.multiply(row[0], covariance[0])
            cv2.accumulateProduct(row[1], covariance[1], slope)
            cv2.accumulateProduct(row[2], covariance[2], slope)
            intercept -= cv2.multiply(slope, m)
            slopes.append(slope)
        return np.stack(self._means([*slopes, intercept]))

    def apply(self, plane: FloatArray, out: FloatArray | None = None) -> FloatArray:
        """Slope . colour + intercept at the guide's own size, (h, w); written into `out` where that is given."""
        size = self.shape[::-1]
        enlarges = self.reduced != self.shape
        if enlarges:
            out = np.asarray(cv2.resize(plane[3], size, dst=out, interpolation=cv2.INTER_LINEAR), np.float32)
        elif out is None:
            out = plane[3].copy()
        else:
            out[...] = plane[3]
        room = np.empty_like(out) if enlarges else None
        for slope, colour in zip(plane, self._colour, strict=False):
            large = cv2.resize(slope, size, dst=room, interpolation=cv2.INTER_LINEAR) if enlarges else slope
            cv2.accumulateProduct(large, colour, out)
        return out

    def tone(self, planes: FloatArray, pixels: ByteArray, luminance: FloatArray) -> FloatArray:
        """Clipped tone 0..1 of five carried maps under the basis red, green, blue, one, luminance, (h, w).

        planes: (5, 4, h', w') of `plane`; pixels (h, w, 3) whose tone it is, and their linear luminance (h, w). The
        five carried maps are linear in colour, so their products with it are one polynomial of second degree: 14 maps
        to enlarge instead of 20.
        """
        by = planes.reshape(MIX_MAPS, 4, *self.reduced)
        size = self.shape[::-1]

        out = np.asarray(cv2.resize(by[3, 3], size, interpolation=cv2.INTER_LINEAR), np.float32)
        enlarged, product = np.empty_like(out), np.empty_like(out)

        def add(coefficient: FloatArray, factor: FloatArray) -> None:
            cv2.resize(coefficient, size, dst=enlarged, interpolation=cv2.INTER_LINEAR)
            cv2.accumulateProduct(enlarged, factor, out)

        colour = _channels(pixels)
        for i, one in enumerate(colour):
            add(by[i, 3] + by[3, i], one)
            for k in range(i, 3):
                cv2.multiply(one, colour[k], dst=product)
                add(by[i, k] + by[k, i] if k > i else by[i, i], product)
            cv2.multiply(one, luminance, dst=product)
            add(by[4, i], product)
        add(by[4, 3], luminance)
        return np.clip(out, 0, 1, out=out)

    def carry(self, target: FloatArray) -> FloatArray:
        """A small map (h', w') brought to the guide's own size along its edges."""
        return self.apply(self.plane(target))


def _channels(pixels: ByteArray) -> list[FloatArray]:
    """Red, green, blue 0..1, (h, w) each."""
    return [np.multiply(c, np.float32(1 / 255), dtype=np.float32) for c in cv2.split(pixels)]
