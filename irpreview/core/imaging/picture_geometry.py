"""Where things stand, judged from the picture alone: pixels per radian, the horizon row and a distance per class.

Pinhole geometry, x = f X / d. Distances are estimates: a camera held at eye height over level ground sees the foot of a
thing at depression a from d = h / tan a; where no foot is seen, from the usual height of the thing. They are ranges,
and a distance given by the photographer always replaces them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from irpreview.errors import BadValue
from irpreview.records import CLASS_ID, DistanceBy, HorizonBy, Range

EYE_HEIGHT_M = 1.6
ASSUMED_FOCAL_35MM_MM = 26.0
"""Main camera of a phone, when the picture does not say (common practice)."""
TREE_HEIGHT_M = Range(5.0, 9.0, 18.0)
NEAREST_M, FARTHEST_M = 1.5, 3000.0
FLAT_CLASSES = ("water", "grass", "ground")


def pixels_per_radian(width_px: int, height_px: int, focal_35mm_mm: float) -> float:
    """F / pixel from an equivalent focal length: long side x f35 / 36 mm. [px/rad]"""
    if not math.isfinite(focal_35mm_mm) or not 4.0 <= focal_35mm_mm <= 2000.0:
        raise BadValue(
            f"focal length {focal_35mm_mm:g} mm (35 mm equivalent) cannot be used: 4 to 2000 mm; give the equivalent"
        )
    return max(width_px, height_px) * focal_35mm_mm / 36.0


def print_mm_per_px(width_px: int, height_px: int) -> float:
    """Millimetres on a 30 x 40 cm print per pixel, the picture fitted whole into the sheet. [mm/px]"""
    long_px, short_px = max(width_px, height_px), min(width_px, height_px)
    return min(400.0 / long_px, 300.0 / short_px)


@dataclass(frozen=True, slots=True)
class Horizon:
    """Row of the horizon, from the top [px], with its doubt, and what it was judged from."""

    row: Range
    by: HorizonBy


def horizon_row(label: NDArray[np.uint8]) -> Horizon:
    """Row of the horizon in a picture held about level. Flat water ends just below it, level ground never above it."""
    height = label.shape[0]
    middle, doubt = 0.5 * height, 0.08 * height
    for name, least in (("water", 0.02), ("grass", 0.05), ("ground", 0.05)):
        rows = (label == CLASS_ID[name]).mean(axis=1)
        if rows.mean() < least:
            continue
        top = float(np.searchsorted(np.cumsum(rows) / rows.sum(), 0.02))
        if name == "water" and 0.2 * height < top < 0.75 * height:
            row = min(top, 0.6 * height)
            return Horizon(Range(row - doubt, row, row + 0.3 * doubt), HorizonBy.WATER)
        if 0.2 * height < top < middle:
            return Horizon(Range(top - doubt / 2.0, top, top + doubt), HorizonBy(name))
    return Horizon(Range(middle - doubt, middle, middle + doubt), HorizonBy.MIDDLE)


def ground_distance_m(rows_below_horizon: float, px_per_rad: float, camera_m: float = EYE_HEIGHT_M) -> float:
    """Distance of level ground seen this far below the horizon, h f / rows. [m]"""
    return float(np.clip(camera_m * px_per_rad / max(rows_below_horizon, 1e-6), NEAREST_M, FARTHEST_M))


def foot_rows(mask: NDArray[np.bool_]) -> NDArray[np.intp]:
    """Lowest row of the class per column where it occurs at all. (n,)."""
    columns = mask.any(axis=0)
    return np.asarray(mask.shape[0] - 1 - np.argmax(mask[::-1][:, columns], axis=0), np.intp)


def run_heights(mask: NDArray[np.bool_]) -> NDArray[np.intp]:
    """Tallest unbroken run of the class per column where it occurs at all. (n,) [px]"""
    columns = mask[:, mask.any(axis=0)]
    run = np.zeros(columns.shape[1], np.intp)
    best = run.copy()
    for row in columns:
        run = np.where(row, run + 1, 0)
        best = np.maximum(best, run)
    return best


def class_distance(
    label: NDArray[np.uint8], name: str, px_per_rad: float, horizon: Horizon | None = None
) -> tuple[Range, DistanceBy]:
    """Distance of a class in the picture [m] and how it was judged. An estimate within a factor of about two."""
    horizon = horizon if horizon is not None else horizon_row(label)
    mask = label == CLASS_ID[name]
    if not mask.any():
        return Range(5.0, 30.0, 200.0), DistanceBy.ASSUMED
    tilt = (horizon.row.high - horizon.row.low) / 2.0
    if name in FLAT_CLASSES:
        rows = np.flatnonzero(mask.any(axis=1))
        weights = mask.sum(axis=1)[rows]
        below = rows - horizon.row.likely
        share = np.cumsum(weights) / weights.sum()
        median = float(below[np.searchsorted(share, 0.5)])
        likely = ground_distance_m(max(median, 0.25 * tilt), px_per_rad)
        near = ground_distance_m(max(median, 0.0) + 1.5 * tilt, px_per_rad)
        far = ground_distance_m(max(median - tilt, 0.1 * tilt), px_per_rad)
        return _ordered(near, likely, far), DistanceBy.LEVEL_GROUND
    # things that stand: by their usual height, and by their foot where that is well below the horizon
    size = float(np.percentile(run_heights(mask), 80))
    tall = TREE_HEIGHT_M if name == "tree" else Range(3.0, 7.0, 20.0)
    if name == "other":
        tall = Range(0.8, 1.7, 3.5)
    by_size = [
        float(np.clip(h * px_per_rad / max(size, 1.0), NEAREST_M, FARTHEST_M))
        for h in (tall.low, tall.likely, tall.high)
    ]
    foot = float(np.percentile(foot_rows(mask), 50)) - horizon.row.likely
    if foot > tilt and foot < 0.9 * (label.shape[0] - horizon.row.likely):
        by_foot = ground_distance_m(foot, px_per_rad)
        likely = math.sqrt(by_foot * by_size[1])
        return _ordered(min(likely / 2.0, by_foot), likely, max(likely * 2.0, by_foot)), DistanceBy.FOOT_AND_HEIGHT
    return _ordered(*by_size), DistanceBy.USUAL_HEIGHT


def _ordered(low: float, likely: float, high: float) -> Range:
    return Range(min(low, likely), likely, max(high, likely))


def cloud_elevation_deg(label: NDArray[np.uint8], px_per_rad: float, horizon: Horizon | None = None) -> float:
    """Mean elevation of the clouds (or, without any, of the clear sky) above the horizon, at least 5. [deg]"""
    horizon = horizon if horizon is not None else horizon_row(label)
    mask = label == CLASS_ID["cloud"]
    if not mask.any():
        mask = label == CLASS_ID["clear_sky"]
    if not mask.any():
        return 20.0
    rows = mask.sum(axis=1)
    mean_row = float((rows * np.arange(label.shape[0])).sum() / rows.sum())
    return max(5.0, math.degrees(math.atan2(horizon.row.likely - mean_row, px_per_rad)))
