"""From the network's class probabilities to a map of the scene at the photo's own size.

The network answers at about 512 px; its edges are blurred. A guided filter (He, Sun and Tang, "Guided image filtering",
ECCV 2010; the fast variant of 2015) follows the photo's own edges: each probability is a local straight line of the
photo's grey value, so the line's two coefficients can be found small and applied large.
"""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from irpreview.errors import BadValue
from irpreview.records import CLASS_ID, CLASS_NAMES, ByteArray, FloatArray, Photo, SceneMap, frozen_array

WORKING_SIDE_PX = 1024
_EDGE_RADIUS_SHARE = 0.008
_EDGE_EPS = 4e-4
"""Guide variance below which a patch counts as flat, (0..1 grey)^2; about 5 of 255 levels."""
_NEGLIGIBLE = 0.02
"""A class whose probability stays below this everywhere cannot become a label and is skipped."""


def size_within(height: int, width: int, side: int) -> tuple[int, int]:
    """(height, width) [px] of a picture scaled down so that its long side is at most `side` px."""
    k = min(1.0, side / max(height, width))
    return max(1, round(height * k)), max(1, round(width * k))


def grey_guide(pixels: ByteArray) -> FloatArray:
    """Grey value 0..1, (H, W), of sRGB pixels (H, W, 3): what edges are read from."""
    grey = cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY)
    return np.asarray(cv2.multiply(grey, 1.0 / 255.0, dtype=cv2.CV_32F), np.float32)


class EdgeGuide:
    """A grey guide (h, w) prepared once for many local-line fits.

    The lines are found on a reduced copy (the fast variant) and their coefficients enlarged.
    """

    def __init__(self, guide: FloatArray, radius_px: int, eps: float, reduce: int = 1) -> None:
        """radius_px: window radius at the guide's own size. eps: regularisation in squared units of the guide."""
        h, w = guide.shape
        self._full = guide
        self._shape = (max(1, h // reduce), max(1, w // reduce))
        self._guide = self._small(guide)
        radius = max(1, round(radius_px / reduce))
        self._window = (2 * radius + 1, 2 * radius + 1)
        self._mean_guide = self._mean(self._guide)
        variance = self._mean(np.square(self._guide)) - self._mean_guide * self._mean_guide
        self._inverse = np.asarray(1 / (np.maximum(variance, 0) + np.float32(eps)), np.float32)

    def _small(self, a: FloatArray) -> FloatArray:
        if a.shape == self._shape:
            return a
        shrinks = a.shape[0] >= self._shape[0]
        how = cv2.INTER_AREA if shrinks else cv2.INTER_LINEAR
        return np.asarray(cv2.resize(a, self._shape[::-1], interpolation=how), np.float32)

    def _mean(self, a: FloatArray) -> FloatArray:
        return np.asarray(cv2.blur(a, self._window, borderType=cv2.BORDER_REFLECT), np.float32)

    def line(self, target: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Local lines target = slope * guide + intercept, smoothed over the window, at the reduced size."""
        target = self._small(target)
        mean_target = self._mean(target)
        covariance = self._mean(self._guide * target) - self._mean_guide * mean_target
        slope = covariance * self._inverse
        return self._mean(np.asarray(slope, np.float32)), self._mean(mean_target - slope * self._mean_guide)

    def apply(self, slope: FloatArray, intercept: FloatArray) -> FloatArray:
        """slope * guide + intercept at the guide's own size."""
        size = self._full.shape[::-1]
        value = cv2.multiply(cv2.resize(slope, size, interpolation=cv2.INTER_LINEAR), self._full)
        return np.asarray(cv2.add(value, cv2.resize(intercept, size, interpolation=cv2.INTER_LINEAR)), np.float32)


def edge_guide(guide: FloatArray) -> EdgeGuide:
    """The guide prepared for class probabilities."""
    return EdgeGuide(guide, max(2, round(_EDGE_RADIUS_SHARE * max(guide.shape))), _EDGE_EPS, reduce=2)


def probability_at(probability: FloatArray, edges: EdgeGuide, shape: tuple[int, int]) -> FloatArray:
    """Class probabilities (9, h, w) carried to `shape` (H, W) along the photo's edges; sums to 1."""
    out = np.zeros((len(probability), *shape), np.float32)
    for i, p in enumerate(probability):
        if float(p.max()) < _NEGLIGIBLE:
            continue
        out[i] = edges.apply(*edges.line(p))
    np.clip(out, 0, 1, out=out)
    out /= np.maximum(out.sum(0), 1e-6)
    return out


def scene_from_network(photo: Photo, probability: FloatArray, mix: FloatArray, model_id: str = "") -> SceneMap:
    """Label and confidence at the photo's size from the network's answer.

    probability: (9, h, w), sums to 1. mix: (k, h', w'), handed on to the tone prediction.
    Only the strips along label borders are decided at full size; inside a region the small answer stands.
    """
    if probability.ndim != 3 or len(probability) != len(CLASS_NAMES):
        raise BadValue(f"class probabilities must be (9, h, w), not {probability.shape}")
    height, width = photo.height, photo.width
    h, w = size_within(height, width, WORKING_SIDE_PX)
    small = (
        photo.pixels if (h, w) == (height, width) else cv2.resize(photo.pixels, (w, h), interpolation=cv2.INTER_AREA)
    )
    guide = grey_guide(small)
    edges = edge_guide(guide)
    fine = probability_at(probability, edges, (h, w))
    small_label = fine.argmax(0).astype(np.uint8)
    small_confidence = fine.max(0)
    if (h, w) == (height, width):
        label, confidence = small_label + 1, small_confidence
    else:
        label = _label_at_full_size(photo.pixels, probability, edges, small_label)
        confidence = cv2.resize(small_confidence, (width, height), interpolation=cv2.INTER_LINEAR)
    return SceneMap(
        probability=frozen_array(probability.astype(np.float32)),
        label=frozen_array(label),
        confidence=frozen_array(np.asarray(confidence, np.float32)),
        mix=frozen_array(mix.astype(np.float32)),
        model_id=model_id,
    )


def _label_at_full_size(
    pixels: ByteArray, probability: FloatArray, edges: EdgeGuide, small_label: ByteArray
) -> ByteArray:
    height, width = pixels.shape[:2]
    label = cv2.resize(small_label, (width, height), interpolation=cv2.INTER_NEAREST)
    kernel = np.ones((3, 3), np.uint8)
    border = cv2.dilate(small_label, kernel) != cv2.erode(small_label, kernel)
    if border.any():
        strip = cv2.resize(border.view(np.uint8), (width, height), interpolation=cv2.INTER_NEAREST)
        at = np.flatnonzero(strip)
        row, column = np.divmod(at, width)
        h, w = edges.line(probability[0])[0].shape
        small_at = (row * h // height) * w + column * w // width
        grey = cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY).ravel()[at].astype(np.float32) * np.float32(1 / 255)
        best = np.full(at.size, -1.0, np.float32)
        winner = np.zeros(at.size, np.uint8)
        for i, p in enumerate(probability):
            if float(p.max()) < _NEGLIGIBLE:
                continue
            slope, intercept = edges.line(p)
            value = slope.ravel()[small_at] * grey + intercept.ravel()[small_at]
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
    )


def repaint_all(scene: SceneMap, strokes: Sequence[tuple[NDArray[np.bool_], str]]) -> SceneMap:
    """`repaint` for several (mask, class name) in order."""
    for mask, class_name in strokes:
        scene = repaint(scene, mask, class_name)
    return scene
