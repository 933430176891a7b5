"""One kind of thing, two distances: near hill and far hill, a tree before the wood, rock in front of a mountain.

The classes do not tell them apart, a person does: by haze (the farther the bluer and paler), by light, by what stands
before what. A region is split in two only where everything agrees: tones of two clear heaps, each nearly all in one
piece, a short border with a step across it, and feet at different heights in the frame.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from irpreview.records import FloatArray

LEAST_SHARE_TO_SPLIT, LEAST_PART = 0.08, 0.04
"""Shares of the picture: of a region that may be split, and of each part."""
LEAST_STEP_ZONES = 0.8
"""[zones, or stops of blue over red] between the means of the two parts."""
_LEAST_OVER_SPREAD, _LEAST_OVER_SMOOTH_SPREAD = 1.8, 2.6
"""The same over the standard deviation within the parts, as it is and smoothed."""
_LEAST_KEPT = 0.9
"""Share of the region that the two largest pieces take."""
_LONGEST_BORDER = 1.3
"""Length of the border between the parts over the region's width or height: a mottled slope has a long one."""
_LEAST_EDGE_SHARE = 0.45
"""Share of the step that shows across the border itself: a slow gradient shows none."""
_LEAST_FOOT_STEP = 0.05
"""[shares of the height] between the feet of the parts: things stand on the ground, so the foot tells the distance."""
_SMOOTH_PX, _MAJORITY_PX = 5, 8


@dataclass(frozen=True, slots=True)
class Parts:
    """Two masks (h, w) of one region, and how clearly they part."""

    one: NDArray[np.bool_]
    other: NDArray[np.bool_]
    clearness: float


def masked_mean(values: FloatArray, inside: NDArray[np.bool_], radius_px: int) -> tuple[FloatArray, FloatArray]:
    """Mean of `values` over the part of each window that lies inside, and how much of the window that is (0..1)."""
    size = (2 * radius_px + 1, 2 * radius_px + 1)
    weight = inside.astype(np.float32)
    cover = cv2.blur(weight, size, borderType=cv2.BORDER_CONSTANT)
    total = cv2.blur(values.astype(np.float32) * weight, size, borderType=cv2.BORDER_CONSTANT)
    return np.asarray(total / np.maximum(cover, 1e-6), np.float32), np.asarray(cover, np.float32)


def two_heaps(values: FloatArray) -> tuple[float, float]:
    """Threshold between the two heaps of values (n,) that differ most (Otsu 1979), and the distance of their means."""
    low, high = (float(v) for v in np.percentile(values, (0.5, 99.5)))
    if high - low < 1e-3:
        return low, 0.0
    count, edges = np.histogram(np.clip(values, low, high), 96)
    middle = (edges[1:] + edges[:-1]) / 2
    below = np.cumsum(count) / values.size
    moment = np.cumsum(count * middle) / values.size
    with np.errstate(divide="ignore", invalid="ignore"):
        distance = (moment[-1] - moment) / (1 - below) - moment / below
        between = below * (1 - below) * distance**2
    best = int(np.nanargmax(np.where(np.isfinite(between), between, -1)))
    return float(edges[best + 1]), float(distance[best])


def _largest(part: NDArray[np.bool_]) -> NDArray[np.bool_]:
    count, ids, stats, _ = cv2.connectedComponentsWithStats(part.astype(np.uint8), connectivity=8)
    return np.asarray(ids == 1 + int(stats[1:, cv2.CC_STAT_AREA].argmax())) if count > 1 else part


def _foot(part: NDArray[np.bool_]) -> float:
    """Row below which a twelfth of the part lies."""
    above = np.cumsum(part.sum(axis=1))
    return float(np.searchsorted(above, 0.92 * above[-1]))


def _split_by(values: FloatArray, inside: NDArray[np.bool_], picture_px: int, picture_height: int) -> Parts | None:
    smooth, _ = masked_mean(values, inside, _SMOOTH_PX)
    threshold, distance = two_heaps(smooth[inside])
    if distance < LEAST_STEP_ZONES:
        return None
    share, _ = masked_mean((smooth > threshold).astype(np.float32), inside, _MAJORITY_PX)
    upper = inside & (share > 0.5)
    one, other = _largest(upper), _largest(inside & ~upper)
    sizes = int(one.sum()), int(other.sum())
    if min(sizes) < LEAST_PART * picture_px or sum(sizes) < _LEAST_KEPT * int(inside.sum()):
        return None
    if abs(_foot(one) - _foot(other)) < _LEAST_FOOT_STEP * picture_height:
        return None
    a, b = values[one], values[other]
    step = float(a.mean() - b.mean())
    spread = max(float(np.sqrt((a.var() + b.var()) / 2)), 0.05)
    smooth_spread = max(float(np.sqrt((smooth[one].var() + smooth[other].var()) / 2)), 0.05)
    clearness = step / smooth_spread
    if step < max(LEAST_STEP_ZONES, _LEAST_OVER_SPREAD * spread) or clearness < _LEAST_OVER_SMOOTH_SPREAD:
        return None
    border = cv2.dilate(one.astype(np.uint8), np.ones((3, 3), np.uint8)).astype(bool) & other
    across = max(int(inside.any(axis=0).sum()), int(inside.any(axis=1).sum()))
    if int(border.sum()) > _LONGEST_BORDER * across:
        return None
    to_other, to_one = (cv2.distanceTransform((~p).astype(np.uint8), cv2.DIST_L2, 3) for p in (other, one))
    near_one, near_other = (p & (d > 2) & (d < 10) for p, d in ((one, to_other), (other, to_one)))
    if not near_one.any() or not near_other.any():
        return None
    at_border = float(values[near_one].mean() - values[near_other].mean())
    return Parts(one, other, clearness) if at_border > _LEAST_EDGE_SHARE * step else None


def split_by_distance(inside: NDArray[np.bool_], cues: tuple[FloatArray, ...]) -> Parts | None:
    """The region (h, w) in two parts, or None where a person would name one thing.

    cues: maps (h, w) in zones or stops, each tried alone (haze, light in the photo, light in infrared); the clearest
    split counts.
    """
    if inside.mean() < LEAST_SHARE_TO_SPLIT:
        return None
    rows, columns = np.flatnonzero(inside.any(axis=1)), np.flatnonzero(inside.any(axis=0))
    cut = np.s_[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]
    found = [_split_by(cue[cut], inside[cut], inside.size, inside.shape[0]) for cue in cues]
    best = max((f for f in found if f is not None), key=lambda f: f.clearness, default=None)
    if best is None:
        return None
    whole = []
    for part in (best.one, best.other):
        full = np.zeros(inside.shape, bool)
        full[cut] = part
        whole.append(full)
    return Parts(whole[0], whole[1], best.clearness)
