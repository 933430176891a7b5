"""From the network's class probabilities to a map of the scene at the photo's own size.

The network answers at about 512 px; its edges are blurred. A guided filter (He, Sun and Tang, "Guided image filtering",
ECCV 2010; the fast variant of 2015) follows the photo's own edges: each probability is a local plane of the photo's
colour, so the plane's coefficients can be found small and applied large.
"""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from irpreview.core.rendering.reference_tone import MIX_MAPS, luminance_of, reference_tone
from irpreview.errors import BadValue
from irpreview.records import CLASS_ID, CLASS_NAMES, ByteArray, FloatArray, Photo, SceneMap, frozen_array

WORKING_SIDE_PX = 1024
_FIT_SIDE_PX = 384
_EDGE_RADIUS_SHARE = 0.017
_EDGE_EPS = 1e-4
"""Colour variance below which a patch counts as flat, (0..1 display value)^2; 2.5 of 255 levels."""
_SKY_SIDE_PX, _SKY_RADIUS_SHARE, _SKY_EPS = 192, 0.07, 1e-3
"""Cloud against clear sky is told at this size, in this window, and by colour beyond 8 of 255 levels."""
_LEAST_SKY_SHARE = 0.005
_NEGLIGIBLE = 0.15
"""A class whose probability stays below this everywhere cannot become a label and is skipped."""


def size_within(height: int, width: int, side: int) -> tuple[int, int]:
    """(height, width) [px] of a picture scaled down so that its long side is at most `side` px."""
    k = min(1.0, side / max(height, width))
    return max(1, round(height * k)), max(1, round(width * k))


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
    ) -> None:
        """pixels: (h, w, 3) uint8. radius_share: window radius / long side. eps: regularisation, (0..1 colour)^2.

        fit_side: long side of the reduced copy [px]. like: another guide of the same pixels, to share its colours.
        """
        h, w = pixels.shape[:2]
        self.shape = (h, w)
        self.reduced = size_within(h, w, fit_side)
        self._colour: list[FloatArray] = _channels(pixels) if like is None else like._colour
        self._small = self._colour
        if self.reduced != (h, w):
            self._small = _channels(cv2.resize(pixels, self.reduced[::-1], interpolation=cv2.INTER_AREA))
        radius = max(1, round(radius_share * max(self.reduced)))
        self._window = (2 * radius + 1, 2 * radius + 1)
        self._mean_colour = [self._mean(c) for c in self._small]
        self._inverse = self._inverse_covariance(eps)

    def _mean(self, a: FloatArray) -> FloatArray:
        return np.asarray(cv2.blur(a, self._window, borderType=cv2.BORDER_REFLECT), np.float32)

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
        mean_target = self._mean(target)
        covariance = [
            self._mean(cv2.multiply(c, target)) - m * mean_target
            for c, m in zip(self._small, self._mean_colour, strict=True)
        ]
        out = np.empty((4, *self.reduced), np.float32)
        intercept = mean_target
        for k, row in enumerate(self._inverse):
            slope = cv2.multiply(row[0], covariance[0])
            cv2.accumulateProduct(row[1], covariance[1], slope)
            cv2.accumulateProduct(row[2], covariance[2], slope)
            intercept = intercept - slope * self._mean_colour[k]
            out[k] = self._mean(slope)
        out[3] = self._mean(intercept)
        return out

    def apply(self, plane: FloatArray) -> FloatArray:
        """slope . colour + intercept at the guide's own size, (h, w)."""
        if self.reduced == self.shape:
            out, slopes = plane[3].copy(), [plane[0], plane[1], plane[2]]
        else:
            size = self.shape[::-1]
            out, *slopes = (cv2.resize(plane[k], size, interpolation=cv2.INTER_LINEAR) for k in (3, 0, 1, 2))
        for slope, colour in zip(slopes, self._colour, strict=True):
            cv2.accumulateProduct(slope, colour, out)
        return np.asarray(out, np.float32)

    def tone(self, planes: FloatArray, luminance: FloatArray) -> FloatArray:
        """Clipped tone 0..1 of five carried maps under the basis red, green, blue, one, luminance, (h, w).

        planes: (5, 4, h', w') of `plane`; luminance: (h, w). The five carried maps are linear in colour, so their
        products with it are one polynomial of second degree: 14 maps to enlarge instead of 20.
        """
        by = planes.reshape(MIX_MAPS, 4, *self.reduced)
        size = self.shape[::-1]

        def add(coefficient: FloatArray, factor: FloatArray) -> None:
            enlarged = cv2.resize(coefficient, size, interpolation=cv2.INTER_LINEAR)
            cv2.accumulateProduct(enlarged, factor, out)

        out = np.asarray(cv2.resize(by[3, 3], size, interpolation=cv2.INTER_LINEAR), np.float32)
        product = np.empty_like(out)
        for i, one in enumerate(self._colour):
            add(by[i, 3] + by[3, i], one)
            for k in range(i, 3):
                cv2.multiply(one, self._colour[k], dst=product)
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


def class_planes(probability: FloatArray, edges: EdgeGuide) -> list[FloatArray | None]:
    """The plane of each class probability (9, h, w); None for a class that is nowhere likely."""
    return [None if float(p.max()) < _NEGLIGIBLE else edges.plane(p) for p in probability]


def probability_at(edges: EdgeGuide, planes: list[FloatArray | None]) -> FloatArray:
    """Class probabilities (9, H, W) at the size of the guide, along its edges, from their planes; sums to 1."""
    out = np.zeros((len(planes), *edges.shape), np.float32)
    total = np.full(edges.shape, 1e-6, np.float32)
    present = [i for i, plane in enumerate(planes) if plane is not None]
    for i in present:
        plane = planes[i]
        assert plane is not None
        np.clip(edges.apply(plane), 0, 1, out=out[i])
        total += out[i]
    np.divide(1, total, out=total)
    for i in present:
        out[i] *= total
    return out


def _most_likely(probability: FloatArray) -> tuple[ByteArray, FloatArray]:
    """(index of the most likely class (h, w), its probability); classes that are nowhere cost next to nothing."""
    best = probability[0].copy()
    index = np.zeros(best.shape, np.uint8)
    for i in range(1, len(probability)):
        if not probability[i].any():
            continue
        index[cv2.compare(probability[i], best, cv2.CMP_GT).view(np.bool_)] = i
        cv2.max(probability[i], best, dst=best)
    return index, best


def network_tone(small: ByteArray, mix: FloatArray, edges: EdgeGuide) -> FloatArray:
    """Display tone (h, w) of the network's mix (5, h', w'), carried along the photo's edges.

    The network's own edges are too soft for a print. edges: the guide of `small`. Raises BadModel for another mix.
    """
    if mix.ndim != 3 or len(mix) != MIX_MAPS or edges.reduced == edges.shape:
        return reference_tone(small, np.stack([edges.carry(m) for m in mix]))
    return edges.tone(np.stack([edges.plane(m) for m in mix]), luminance_of(small))


def cloud_share_of_sky(small: ByteArray, probability: FloatArray, edges: EdgeGuide | None = None) -> FloatArray | None:
    """Share of cloud in the sky, 0..1, (h, w): a step only where the snap shows an edge. None without both.

    Where haze thins out into blue the classes meet at a line that nobody sees; a change of light or filter that set in
    along it would print as a band. small: (h, w, 3); probability: (9, h, w); edges: the guide of `small`, if there is.
    """
    h, w = small.shape[:2]
    size = size_within(h, w, _SKY_SIDE_PX)[::-1]
    cloud, sky = (cv2.resize(p, size, interpolation=cv2.INTER_AREA) for p in (probability[1], probability[0]))
    if min(float(cloud.mean()), float(sky.mean())) < _LEAST_SKY_SHARE:
        return None
    both = cloud + sky
    sigma = 0.04 * max(size)
    around = cv2.GaussianBlur(cloud, (0, 0), sigma) / (cv2.GaussianBlur(both, (0, 0), sigma) + np.float32(1e-4))
    share = np.asarray(cloud + (1 - both) * around, np.float32)  # the land is filled from the sky beside it
    soft = EdgeGuide(small, _SKY_RADIUS_SHARE, _SKY_EPS, _SKY_SIDE_PX, edges).carry(share)
    return np.asarray(np.clip(soft, 0, 1, out=soft), np.float32)


def working_pixels(pixels: ByteArray) -> ByteArray:
    """The photo (H, W, 3) at the working size of about 1024 px; itself where it is no larger."""
    height, width = pixels.shape[:2]
    h, w = size_within(height, width, WORKING_SIDE_PX)
    if (h, w) == (height, width):
        return pixels
    # halving is exact and a fifth of the time of the area mean; from 1.6 to 2 times no more than two pixels each way
    # are needed, as 12 and 48 megapixels leave them
    while height >= 3.2 * h and height % 2 == 0 and width % 2 == 0:
        height, width = height // 2, width // 2
        pixels = np.asarray(cv2.resize(pixels, (width, height), interpolation=cv2.INTER_AREA), np.uint8)
    how = cv2.INTER_LINEAR if 1.6 * h < height < 2 * h else cv2.INTER_AREA
    return np.asarray(cv2.resize(pixels, (w, h), interpolation=how), np.uint8)


def scene_from_network(
    photo: Photo, probability: FloatArray, mix: FloatArray, model_id: str = "", small: ByteArray | None = None
) -> SceneMap:
    """Label and confidence at the photo's size from the network's answer.

    probability: (9, h, w), sums to 1. mix: (k, h', w'), handed on to the tone prediction. small: the photo's
    `working_pixels` where the caller has them.
    Only the strips along label borders are decided at full size; inside a region the small answer stands.
    """
    if probability.ndim != 3 or len(probability) != len(CLASS_NAMES):
        raise BadValue(f"class probabilities must be (9, h, w), not {probability.shape}")
    height, width = photo.height, photo.width
    h, w = size_within(height, width, WORKING_SIDE_PX)
    small = working_pixels(photo.pixels) if small is None else small
    edges = EdgeGuide(small)
    planes = class_planes(probability, edges)
    fine = probability_at(edges, planes)
    small_label, small_confidence = _most_likely(fine)
    if (h, w) == (height, width):
        label, confidence = small_label + 1, small_confidence
    else:
        label = _label_at_full_size(photo.pixels, edges, planes, small_label)
        confidence = cv2.resize(small_confidence, (width, height), interpolation=cv2.INTER_LINEAR)
    cloud_share = cloud_share_of_sky(small, fine, edges)
    return SceneMap(
        probability=frozen_array(probability.astype(np.float32)),
        label=frozen_array(label),
        confidence=frozen_array(np.asarray(confidence, np.float32)),
        mix=frozen_array(mix.astype(np.float32)),
        model_id=model_id,
        fine=frozen_array(fine),
        small=small,
        # a mix that cannot be read is left to the rendering, which says so
        network_tone=frozen_array(network_tone(small, mix, edges)) if mix.ndim == 3 and len(mix) == MIX_MAPS else None,
        cloud_share=None if cloud_share is None else frozen_array(cloud_share),
    )


def _label_at_full_size(
    pixels: ByteArray, edges: EdgeGuide, planes: list[FloatArray | None], small_label: ByteArray
) -> ByteArray:
    height, width = pixels.shape[:2]
    label = np.asarray(cv2.resize(small_label, (width, height), interpolation=cv2.INTER_NEAREST), np.uint8)
    kernel = np.ones((3, 3), np.uint8)
    border = cv2.compare(cv2.dilate(small_label, kernel), cv2.erode(small_label, kernel), cv2.CMP_NE)
    if border.any():
        strip = cv2.resize(border, (width, height), interpolation=cv2.INTER_NEAREST)
        at = np.flatnonzero(strip.view(np.bool_))
        row, column = np.divmod(at.astype(np.int32), np.int32(width))
        h, w = edges.reduced
        small_at = (np.arange(height) * h // height * w).take(row) + (np.arange(width) * w // width).take(column)
        colours = pixels.reshape(-1, 3).take(at, axis=0)
        red, green, blue = (np.multiply(colours[:, k], np.float32(1 / 255), dtype=np.float32) for k in range(3))
        best = np.full(at.size, -1.0, np.float32)
        winner = np.zeros(at.size, np.uint8)
        for i, plane in enumerate(planes):
            if plane is None:
                continue
            by_red, by_green, by_blue, value = (coefficient.ravel().take(small_at) for coefficient in plane)
            value += by_red * red
            value += by_green * green
            value += by_blue * blue
            winner[value > best] = i
            np.maximum(value, best, out=best)
        label.ravel()[at] = winner
    label += 1
    return label


def repaint(scene: SceneMap, mask: NDArray[np.bool_], class_name: str) -> SceneMap:
    """The scene with every pixel of `mask` (H, W) set to a class by hand.

    Later strokes win over earlier ones. Raises BadValue for an unknown class or a mask of another size.
    """
    if class_name not in CLASS_ID:
        raise BadValue(f"there is no class '{class_name}'; take one of: {', '.join(CLASS_NAMES)}")
    if mask.shape != scene.label.shape:
        raise BadValue(
            f"the painted mask is {mask.shape[1]} x {mask.shape[0]} px but the photo "
            f"{scene.label.shape[1]} x {scene.label.shape[0]} px; paint on this photo"
        )
    mask = mask.astype(bool)
    label, confidence = scene.label.copy(), scene.confidence.copy()
    label[mask] = CLASS_ID[class_name]
    confidence[mask] = 1.0
    probability = scene.probability.copy()
    h, w = probability.shape[1:]
    covered = cv2.resize(mask.astype(np.float32), (w, h), interpolation=cv2.INTER_AREA)
    probability *= 1 - covered
    probability[CLASS_ID[class_name] - 1] += covered
    painted = mask if scene.repainted is None else scene.repainted | mask
    return SceneMap(
        probability=frozen_array(probability),
        label=frozen_array(label),
        confidence=frozen_array(confidence),
        mix=scene.mix,
        repainted=frozen_array(painted.copy()),
        model_id=scene.model_id,
        fine=scene.fine,
        small=scene.small,
        network_tone=scene.network_tone,
        cloud_share=scene.cloud_share,
    )


def repaint_all(scene: SceneMap, strokes: Sequence[tuple[NDArray[np.bool_], str]]) -> SceneMap:
    """`repaint` for several (mask, class name) in order."""
    for mask, class_name in strokes:
        scene = repaint(scene, mask, class_name)
    return scene
