"""Lays a filtered frame over the plain one. Infrared turns tones round (dark leaves go bright), edges stay: only the
strength of edges is compared, first coarsely by phase correlation, then by the enhanced correlation coefficient
(Evangelidis and Psarakis 2008, as OpenCV has it)."""

from __future__ import annotations

import contextlib
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from irpreview.records import FloatArray

SIDES_PX = (160, 320, 640)
SAME_SCENE = 0.08
"""Least `bite` of two frames of one scene: 31 research pairs of visible and infrared frames gave 0.18 and more,
62 pictures of other or mirrored scenes at most 0.03."""


@dataclass(frozen=True, slots=True)
class Alignment:
    matrix: NDArray[np.float32]
    """(2, 3) from plain pixel coordinates to filtered ones, at the plain frame's own size."""
    likeness: float
    """Correlation of edge strength, -1..1."""
    bite: float
    """How much of it goes when the frame is moved by a hundredth of its width in the direction that matters least."""
    shift_share: float
    """How far the middle moved, share of the width."""

    def lay_over(self, picture: FloatArray, height: int, width: int) -> FloatArray:
        """`picture` (filtered, at the plain frame's size) as seen from the plain frame; outside = NaN."""
        return np.asarray(
            cv2.warpAffine(
                picture,
                self.matrix,
                (width, height),
                flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
                borderMode=cv2.BORDER_CONSTANT,
                borderValue=(np.nan,) * 4,
            ),
            np.float32,
        )


def align(plain: FloatArray, filtered: FloatArray) -> Alignment:
    """Find where the filtered frame lies. plain, filtered: (H, W) brightness of any scale, equal sizes.

    Tried in turn until one bites well: not moved at all (a tripod), moved as the phase correlation says. Each is
    refined coarse to fine, and a refinement that bites less than its start is dropped.
    """
    tall, wide = plain.shape
    best = _judged(plain, filtered, np.eye(2, 3, dtype=np.float32))
    for by_phase in (True, False):
        start = _coarse(plain, filtered) if by_phase else np.eye(2, 3, dtype=np.float32)
        for matrix in _refined(plain, filtered, start):
            found = _judged(plain, filtered, matrix)
            if found.bite > best.bite:
                best = found
        if best.bite > 3.0 * SAME_SCENE:
            break
    shift = best.matrix @ np.array([wide / 2, tall / 2, 1.0]) - np.array([wide / 2, tall / 2])
    return replace(best, shift_share=float(np.hypot(*shift)) / wide)


def _coarse(plain: FloatArray, filtered: FloatArray) -> NDArray[np.float32]:
    """Displacement by phase correlation of edge strength, at a small size."""
    scale = min(1.0, SIDES_PX[0] / max(plain.shape))
    a, b = _edges(plain, scale), _edges(filtered, scale)
    window = np.outer(np.hanning(a.shape[0]), np.hanning(a.shape[1])).astype(np.float32)
    (dx, dy), _ = cv2.phaseCorrelate(a * window, b * window)
    matrix = np.eye(2, 3, dtype=np.float32)
    if abs(dx) < 0.2 * a.shape[1] and abs(dy) < 0.2 * a.shape[0]:
        matrix[:, 2] = (dx / scale, dy / scale)
    return matrix


def _refined(plain: FloatArray, filtered: FloatArray, start: NDArray[np.float32]) -> list[NDArray[np.float32]]:
    """`start`, then turned and shifted to fit by strong edges from coarse to fine, then stretched by fine edges."""
    out, matrix, last = [start], start, 0.0
    for side in SIDES_PX:
        scale = min(1.0, side / max(plain.shape))
        if scale == last:
            break
        last = scale
        matrix = _fit(_edges(plain, scale), _edges(filtered, scale), matrix, scale, cv2.MOTION_EUCLIDEAN)
    out.append(matrix)
    fine = _edges(plain, last, fine=True), _edges(filtered, last, fine=True)
    out.append(_fit(*fine, matrix, last, cv2.MOTION_AFFINE))
    return out


def _fit(a: FloatArray, b: FloatArray, matrix: NDArray[np.float32], scale: float, motion: int) -> NDArray[np.float32]:
    here = matrix.copy()
    here[:, 2] *= scale
    stop = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, 30, 3e-4)
    with contextlib.suppress(cv2.error):  # it says so when two pictures have nothing to hold on to
        _, here = cv2.findTransformECC(a, b, here, motion, stop, None, 5)
    here[:, 2] /= scale
    return here


def _judged(plain: FloatArray, filtered: FloatArray, matrix: NDArray[np.float32]) -> Alignment:
    """How well a placement agrees; slight misframing only, no mirror, no strong turn or stretch."""
    modest = np.abs(matrix[:, :2] - np.eye(2)).max() < 0.15 and np.abs(matrix[:, 2]).max() < 0.35 * plain.shape[1]
    likeness, bite = _agreement(plain, filtered, matrix) if modest else (0.0, 0.0)
    return Alignment(matrix, likeness, bite, 0.0)


def _agreement(plain: FloatArray, filtered: FloatArray, matrix: NDArray[np.float32]) -> tuple[float, float]:
    """(likeness of fine edges, what a small displacement takes from it): two horizons agree, but slide along."""
    scale = min(1.0, SIDES_PX[-1] / max(plain.shape))
    a, b = _edges(plain, scale, fine=True), _edges(filtered, scale, fine=True)
    here = matrix.copy()
    here[:, 2] *= scale
    likeness = _likeness(a, b, here)
    step = max(2.0, 0.01 * a.shape[1])
    moved = []
    for dx, dy in ((step, 0.0), (-step, 0.0), (0.0, step), (0.0, -step)):
        aside = here.copy()
        aside[:, 2] += (dx, dy)
        moved.append(_likeness(a, b, aside))
    return likeness, likeness - max(moved)


def _is_modest(matrix: NDArray[np.float32], wide: int) -> bool:
    """Slight misframing only: no mirror, no strong turn or stretch."""
    return bool(np.abs(matrix[:, :2] - np.eye(2)).max() < 0.15 and np.abs(matrix[:, 2]).max() < 0.35 * wide)


def _edges(picture: FloatArray, scale: float, fine: bool = False) -> FloatArray:
    small = cv2.resize(picture, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    grey = np.log2(np.maximum(small, np.float32(1e-6)) + np.float32(0.02) * np.float32(max(float(small.mean()), 1e-6)))
    grey = cv2.GaussianBlur(grey.astype(np.float32), (0, 0), 1.2)
    strength = np.hypot(cv2.Sobel(grey, cv2.CV_32F, 1, 0), cv2.Sobel(grey, cv2.CV_32F, 0, 1))
    strength = np.sqrt(strength if fine else cv2.GaussianBlur(strength, (0, 0), 1.2))
    strength -= cv2.GaussianBlur(strength, (0, 0), 4.0 if fine else max(strength.shape) / 8.0)
    return np.asarray(strength / max(float(strength.std()), 1e-9), np.float32)


def _likeness(a: FloatArray, b: FloatArray, matrix: NDArray[np.float32]) -> float:
    size = (a.shape[1], a.shape[0])
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    moved = cv2.warpAffine(b, matrix, size, flags=flags)
    inside = cv2.warpAffine(np.ones_like(b), matrix, size, flags=flags) > 0.99
    if inside.mean() < 0.4:
        return -1.0
    x, y = a[inside], moved[inside]
    x, y = x - x.mean(), y - y.mean()
    return float((x @ y) / max(float(np.sqrt((x @ x) * (y @ y))), 1e-9))
