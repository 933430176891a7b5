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

from irpreview.errors import BadValue
from irpreview.records import CLASS_ID, CLASS_NAMES, ByteArray, FloatArray, Photo, SceneMap, frozen_array

WORKING_SIDE_PX = 1024
_FIT_SIDE_PX = 384
_EDGE_RADIUS_SHARE = 0.017
_EDGE_EPS = 1e-4
"""Colour variance below which a patch counts as flat, (0..1 display value)^2; 2.5 of 255 levels."""
_SKY_SIDE_PX, _SKY_RADIUS_SHARE, _SKY_EPS = 192, 0.07, 1e-3
"""Cloud against clear sky is told at this size, in this window, and by colour beyond 8 of 255 levels."""
_NEGLIGIBLE = 0.15
"""A class whose probability stays below this everywhere cannot become a label and is skipped."""


def size_within(height: int, width: int, side: int) -> tuple[int, int]:
    """(height, width) [px] of a picture scaled down so that its long side is at most `side` px."""
    k = min(1.0, side / max(height, width))
    return max(1, round(height * k)), max(1, round(width * k))


class EdgeGuide:
    """A colour guide (h, w, 3) prepared once for many local-plane fits.

    Colour tells leaves from sky of the same grey. The planes target = slope . colour + intercept are found on a reduced
    copy (the fast variant) and their coefficients enlarged.
    """

    def __init__(self, pixels: ByteArray, radius_share: float = _EDGE_RADIUS_SHARE, eps: float = _EDGE_EPS) -> None:
        """pixels: (h, w, 3) uint8. radius_share: window radius / long side. eps: regularisation, (0..1 colour)^2."""
        h, w = pixels.shape[:2]
        self.shape = (h, w)
        self.reduced = size_within(h, w, _FIT_SIDE_PX)
        small = pixels
        if self.reduced != (h, w):
            small = cv2.resize(pixels, self.reduced[::-1], interpolation=cv2.INTER_AREA)
        self._colour = _with_one(pixels)
        self._small = self._colour if small is pixels else _with_one(small)
        radius = max(1, round(radius_share * max(self.reduced)))
        self._window = (2 * radius + 1, 2 * radius + 1)
        self._mean_colour = self._mean(self._small)[..., :3]
        self._inverse = self._inverse_covariance(eps)

    def _mean(self, a: FloatArray) -> FloatArray:
        return np.asarray(cv2.blur(a, self._window, borderType=cv2.BORDER_REFLECT), np.float32)

    def _inverse_covariance(self, eps: float) -> list[list[FloatArray]]:
        """Inverse of the local colour covariance + eps, by cofactors: rows of six different maps (h, w)."""
        red, green, blue = (self._small[..., k] for k in range(3))
        products = self._mean(np.stack([red * red, red * green, red * blue], -1))
        more = self._mean(np.stack([green * green, green * blue, blue * blue], -1))
        mr, mg, mb = (self._mean_colour[..., k] for k in range(3))
        rr, rg, rb = products[..., 0] - mr * mr + eps, products[..., 1] - mr * mg, products[..., 2] - mr * mb
        gg, gb, bb = more[..., 0] - mg * mg + eps, more[..., 1] - mg * mb, more[..., 2] - mb * mb + eps
        c_rr, c_rg, c_rb = gg * bb - gb * gb, rb * gb - rg * bb, rg * gb - rb * gg
        c_gg, c_gb, c_bb = rr * bb - rb * rb, rb * rg - rr * gb, rr * gg - rg * rg
        scale = 1 / np.maximum(rr * c_rr + rg * c_rg + rb * c_rb, np.float32(eps) ** 3)
        c_rr, c_rg, c_rb, c_gg, c_gb, c_bb = (c * scale for c in (c_rr, c_rg, c_rb, c_gg, c_gb, c_bb))
        return [[c_rr, c_rg, c_rb], [c_rg, c_gg, c_gb], [c_rb, c_gb, c_bb]]

    def plane(self, target: FloatArray) -> FloatArray:
        """(h', w', 4) slopes for red, green, blue and intercept at the reduced size, smoothed over the window."""
        if target.shape != self.reduced:
            shrinks = target.shape[0] > self.reduced[0]
            how = cv2.INTER_AREA if shrinks else cv2.INTER_LINEAR
            target = np.asarray(cv2.resize(target, self.reduced[::-1], interpolation=how), np.float32)
        means = self._mean(self._small * target[..., None])  # of target times red, green, blue, and of target alone
        mean_target = means[..., 3]
        covariance = [means[..., k] - self._mean_colour[..., k] * mean_target for k in range(3)]
        out = np.empty((*self.reduced, 4), np.float32)
        out[..., 3] = mean_target
        for k in range(3):
            row = self._inverse[k]
            out[..., k] = row[0] * covariance[0] + row[1] * covariance[1] + row[2] * covariance[2]
            out[..., 3] -= out[..., k] * self._mean_colour[..., k]
        return self._mean(out)

    def apply(self, plane: FloatArray) -> FloatArray:
        """slope . colour + intercept at the guide's own size, (h, w)."""
        if self.reduced != self.shape:
            plane = cv2.resize(plane, self.shape[::-1], interpolation=cv2.INTER_LINEAR)
        product = cv2.multiply(plane, self._colour)
        return np.asarray(cv2.transform(product, _SUM_OF_FOUR), np.float32).reshape(self.shape)

    def carry(self, target: FloatArray) -> FloatArray:
        """A small map (h', w') brought to the guide's own size along its edges."""
        return self.apply(self.plane(target))


_SUM_OF_FOUR = np.ones((1, 4), np.float32)


def _with_one(pixels: ByteArray) -> FloatArray:
    """(h, w, 4): red, green, blue 0..1, and one."""
    out = np.ones((*pixels.shape[:2], 4), np.float32)
    np.multiply(pixels, np.float32(1 / 255), out=out[..., :3])
    return out


def class_planes(probability: FloatArray, edges: EdgeGuide) -> list[FloatArray | None]:
    """The plane of each class probability (9, h, w); None for a class that is nowhere likely."""
    return [None if float(p.max()) < _NEGLIGIBLE else edges.plane(p) for p in probability]


def probability_at(edges: EdgeGuide, planes: list[FloatArray | None]) -> FloatArray:
    """Class probabilities (9, H, W) at the size of the guide, along its edges, from their planes; sums to 1."""
    out = np.zeros((len(planes), *edges.shape), np.float32)
    for i, plane in enumerate(planes):
        if plane is not None:
            out[i] = edges.apply(plane)
    np.clip(out, 0, 1, out=out)
    out /= np.maximum(out.sum(0), 1e-6)
    return out


def cloud_share_of_sky(small: ByteArray, probability: FloatArray) -> FloatArray:
    """Share of cloud in the sky, 0..1, (h, w): a step only where the snap shows an edge.

    Where haze thins out into blue the classes meet at a line that nobody sees; a change of light or filter that set in
    along it would print as a band. small: (h, w, 3); probability: (9, h, w).
    """
    h, w = small.shape[:2]
    size = size_within(h, w, _SKY_SIDE_PX)[::-1]
    cloud, sky = (cv2.resize(p, size, interpolation=cv2.INTER_AREA) for p in (probability[1], probability[0]))
    both = cloud + sky
    sigma = 0.04 * max(size)
    around = cv2.GaussianBlur(cloud, (0, 0), sigma) / (cv2.GaussianBlur(both, (0, 0), sigma) + np.float32(1e-4))
    share = np.asarray(cloud + (1 - both) * around, np.float32)  # the land is filled from the sky beside it
    reduced = np.asarray(cv2.resize(small, size, interpolation=cv2.INTER_AREA), np.uint8)
    plane = EdgeGuide(reduced, _SKY_RADIUS_SHARE, _SKY_EPS).plane(share)
    out = cv2.resize(plane, (w, h), interpolation=cv2.INTER_LINEAR)
    soft = cv2.transform(cv2.multiply(out, _with_one(small)), _SUM_OF_FOUR).reshape(h, w)
    return np.asarray(np.clip(soft, 0, 1), np.float32)


def working_pixels(pixels: ByteArray) -> ByteArray:
    """The photo (H, W, 3) at the working size of about 1024 px; itself where it is no larger."""
    height, width = pixels.shape[:2]
    h, w = size_within(height, width, WORKING_SIDE_PX)
    if (h, w) == (height, width):
        return pixels
    return np.asarray(cv2.resize(pixels, (w, h), interpolation=cv2.INTER_AREA), np.uint8)


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
    small_label = fine.argmax(0).astype(np.uint8)
    small_confidence = fine.max(0)
    if (h, w) == (height, width):
        label, confidence = small_label + 1, small_confidence
    else:
        label = _label_at_full_size(photo.pixels, edges, planes, small_label)
        confidence = cv2.resize(small_confidence, (width, height), interpolation=cv2.INTER_LINEAR)
    return SceneMap(
        probability=frozen_array(probability.astype(np.float32)),
        label=frozen_array(label),
        confidence=frozen_array(np.asarray(confidence, np.float32)),
        mix=frozen_array(mix.astype(np.float32)),
        model_id=model_id,
        fine=frozen_array(fine),
        small=small,
    )


def _label_at_full_size(
    pixels: ByteArray, edges: EdgeGuide, planes: list[FloatArray | None], small_label: ByteArray
) -> ByteArray:
    height, width = pixels.shape[:2]
    label = cv2.resize(small_label, (width, height), interpolation=cv2.INTER_NEAREST)
    kernel = np.ones((3, 3), np.uint8)
    border = cv2.dilate(small_label, kernel) != cv2.erode(small_label, kernel)
    if border.any():
        strip = cv2.resize(border.view(np.uint8), (width, height), interpolation=cv2.INTER_NEAREST)
        at = np.flatnonzero(strip)
        row, column = np.divmod(at.astype(np.int32), np.int32(width))
        h, w = edges.reduced
        small_at = (row * h // height) * w + column * w // width
        colour = pixels.reshape(-1, 3)[at].astype(np.float32) * np.float32(1 / 255)
        best = np.full(at.size, -1.0, np.float32)
        winner = np.zeros(at.size, np.uint8)
        for i, plane in enumerate(planes):
            if plane is None:
                continue
            local = plane.reshape(-1, 4)[small_at]
            value = np.einsum("nk,nk->n", local[:, :3], colour) + local[:, 3]
            better = value > best
            best[better] = value[better]
            winner[better] = i
        label.ravel()[at] = winner
    return np.asarray(label + 1, np.uint8)


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
    )


def repaint_all(scene: SceneMap, strokes: Sequence[tuple[NDArray[np.bool_], str]]) -> SceneMap:
    """`repaint` for several (mask, class name) in order."""
    for mask, class_name in strokes:
        scene = repaint(scene, mask, class_name)
    return scene
