"""Drift of clouds in a steadied clip: templates of sky found again a second or more later, by normalised correlation.

Optical flow is pulled to zero on soft cloud and phase correlation locks to it; templates with a sub-pixel parabola do
neither, once the broad brightness of the sky and the fixed edge of the land are taken out.
"""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from irpreview.records import CLASS_ID, ByteArray, ClipDoubt, ClipDoubtKind, Doubt, FloatArray


def drift_of_sky(
    steady: list[ByteArray], sky: NDArray[np.bool_], fps: float, at_row: float
) -> tuple[tuple[float, float] | None, float, float, list[Doubt]]:
    """Drift of the sky (right, down) at a row [px/s], its spread, how well templates matched, doubts."""
    height, width = sky.shape
    side = int(np.clip(min(width, height) // 5, 24, 96))
    places = [
        (y, x)
        for y in range(0, height - side, side // 2)
        for x in range(0, width - side, side // 2)
        if sky[y : y + side, x : x + side].mean() > 0.98
    ]
    nothing = (None, 0.0, 0.0)
    if not places:
        return *nothing, [ClipDoubt(ClipDoubtKind.LITTLE_SKY)]
    n = len(steady)
    gap = min(max(1, round(fps)), n - 1)
    smooth: dict[int, FloatArray] = {}

    def plane(k: int) -> FloatArray:
        if k not in smooth:
            smooth[k] = _sky_detail(steady[k], sky)
        return smooth[k]

    while True:
        reach = int(min(40, 0.12 * width))
        starts = np.unique(np.linspace(0, n - 1 - gap, min(10, n - gap)).astype(int))
        votes = []
        for k in starts:
            votes += _matches(plane(k), plane(k + gap), places, side, reach)
        if len(votes) < 3:
            return *nothing, [ClipDoubt(ClipDoubtKind.BLANK_SKY)]
        v = np.array(votes)
        middle = np.median(v[:, :2], axis=0)
        # a flat layer runs faster high in the picture: what differs by half may still be one drift
        near = np.hypot(*(v[:, :2] - middle).T) < max(1.0, 0.5 * float(np.hypot(*middle)))
        # move less than three pixels: take frames further apart while the clip has them
        if np.hypot(*middle) >= 3.0 or 2 * gap > n - 1:
            break
        gap = min(2 * gap, n - 1)
    if near.mean() < 0.4:
        return *nothing, [ClipDoubt(ClipDoubtKind.CLOUDS_DISAGREE)]
    kept = v[near]
    weight = kept[:, 2] ** 2
    shift, left_over = _at_row(kept, weight, at_row, float(height))
    seconds = gap / fps
    doubts: list[Doubt] = []
    if np.hypot(*shift) < 0.5:
        doubts.append(ClipDoubt(ClipDoubtKind.CLOUDS_HARDLY_MOVED, float(np.hypot(*shift)), seconds))
    spread = left_over / seconds
    dx, dy = (float(c) / seconds for c in shift)
    return (dx, dy), max(spread, 0.1 / seconds), float(kept[:, 2].mean()), doubts


def cloud_row(label: ByteArray) -> float:
    """Mean row of the clouds, or of the whole sky where no cloud is named."""
    rows = np.nonzero(label == CLASS_ID["cloud"])[0]
    if len(rows) == 0:
        rows = np.nonzero(label == CLASS_ID["clear_sky"])[0]
    return float(rows.mean()) if len(rows) else 0.0


def _at_row(
    votes: NDArray[np.float64], weight: NDArray[np.float64], row: float, height: float
) -> tuple[NDArray[np.float64], float]:
    """Shift at a row, by a straight line over rows where the votes cover enough of them, and the rms left over."""
    rows = votes[:, 3]
    mean_row = float((rows * weight).sum() / weight.sum())
    spread = math.sqrt(float((weight * (rows - mean_row) ** 2).sum() / weight.sum()))
    base = np.ones((len(votes), 1))
    if spread > 0.04 * height:
        base = np.stack([np.ones(len(votes)), rows - mean_row], axis=1)
    root = np.sqrt(weight)[:, None]
    answer = np.linalg.lstsq(base * root, votes[:, :2] * root, rcond=None)[0]
    left_over = float(np.sqrt(((votes[:, :2] - base @ answer) ** 2).sum(axis=1).mean()))
    shift = answer[0].copy()
    if len(answer) > 1:
        shift += answer[1] * float(np.clip(row - mean_row, -2.0 * spread, 2.0 * spread))
    return shift, left_over


def _sky_detail(frame: ByteArray, sky: NDArray[np.bool_]) -> FloatArray:
    """Sky less its broad brightness, from sky pixels alone: an edge of the land would hold the match in place."""
    mask = sky.astype(np.float32)
    f = cv2.GaussianBlur(frame.astype(np.float32), (0, 0), 1.0)
    small = (max(8, sky.shape[1] // 8), max(8, sky.shape[0] // 8))
    over, under = (cv2.resize(a, small, interpolation=cv2.INTER_AREA) for a in (f * mask, mask))
    over, under = (cv2.GaussianBlur(a, (0, 0), small[0] / 10.0) for a in (over, under))
    broad = cv2.resize(over / np.maximum(under, 1e-3), sky.shape[::-1], interpolation=cv2.INTER_LINEAR)
    return np.asarray((f - broad) * mask, np.float32)


def _matches(
    a: FloatArray, b: FloatArray, places: list[tuple[int, int]], side: int, reach: int
) -> list[tuple[float, float, float, float]]:
    """Shift (right, down), correlation and row of every textured template that is found again."""
    found = []
    height, width = a.shape
    for y, x in places:
        template = a[y : y + side, x : x + side]
        if template.std() < 0.6:
            continue
        top, left = max(0, y - reach), max(0, x - reach)
        bottom, right = min(height, y + side + reach), min(width, x + side + reach)
        score = cv2.matchTemplate(b[top:bottom, left:right], template, cv2.TM_CCOEFF_NORMED)
        _, best, _, (cx, cy) = cv2.minMaxLoc(score)
        if best < 0.5 or not (0 < cx < score.shape[1] - 1 and 0 < cy < score.shape[0] - 1):
            continue
        sx = _parabola(score[cy, cx - 1], score[cy, cx], score[cy, cx + 1])
        sy = _parabola(score[cy - 1, cx], score[cy, cx], score[cy + 1, cx])
        found.append((left + cx + sx - x, top + cy + sy - y, float(best), y + side / 2.0))
    return found


def _parabola(a: float, b: float, c: float) -> float:
    bend = a - 2.0 * b + c
    return float(np.clip(0.5 * (a - c) / bend, -0.5, 0.5)) if abs(bend) > 1e-12 else 0.0
